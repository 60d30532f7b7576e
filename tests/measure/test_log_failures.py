"""Power failures in a log, stretches cut out of it, what is logged beside the watts, and the table of refusals."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from string import Formatter
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from ridethrough.answer.headroom import headroom
from ridethrough.measure import layout
from ridethrough.measure.draw import measure_draw
from ridethrough.measure.layout import LogRefusal
from ridethrough.measure.log import Meter, MeterLog, hand_readings, read_log
from ridethrough.model.inverter import Ratings
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal

# -- invented logs, a reading a minute ------------------------------------------------------------

ON, OFF, RUN_W = 15, 30, 70.0  # minutes of a cycle, watts in it


def cycles(count: int, rest_w: float) -> np.ndarray:
    return np.tile(np.r_[np.full(ON, RUN_W), np.full(OFF, rest_w)], count)


def with_failure(minutes: int, rest_w: float, catch_up: int = 50) -> np.ndarray:
    """Thirty cycles, a failure, the catch-up and its rest, and thirty more."""
    after = np.r_[np.full(catch_up, RUN_W), np.full(OFF, rest_w)]
    return np.r_[cycles(30, rest_w), np.zeros(minutes), after, cycles(30, rest_w)]


FAILED = 30 * (ON + OFF)  # the minute at which it begins


def write(path: Path, **columns: Any) -> Path:
    """Write a log of these columns, the first of them watts."""
    table = pd.DataFrame({name.replace("__", " "): values for name, values in columns.items()})
    times = pd.Timestamp("2026-01-10 08:00") + pd.to_timedelta(np.arange(len(table)), "min")
    table.insert(0, "time", times.strftime("%Y-%m-%d %H:%M"))
    table.to_csv(path, index=False)
    return path


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "made.csv"


def lines_of(log: MeterLog) -> list[str]:
    """Return the lines that a log's one question says to type."""
    (question,) = log.questions
    return re.findall(r"log\.without\([^)]*\)", question)


# -- power failures ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("minutes", "rest_w"), [(110, 1.4), (20, 1.4), (110, 0.0), (1440, 1.4), (1440, 0.0)])
def test_a_failure_is_a_question_and_its_lines_can_be_typed(path: Path, minutes: int, rest_w: float) -> None:
    log = read_log(write(path, power_w=with_failure(minutes, rest_w)))
    assert log.questions[0] in " ".join(map(str, log.findings))
    assert log.questions[0] in " ".join(measure_draw(log).warnings)
    assert "kept; if the power was off" in repr(log)
    outage, with_catch_up = lines_of(log)
    true_w = (ON * RUN_W + OFF * rest_w) / (ON + OFF)
    for line, catch_up in ((outage, 0), (with_catch_up, 50)):
        settled: MeterLog = eval(line)
        assert not settled.questions
        assert settled.findings[-1].what == "cut out"
        rest = OFF if rest_w == 0 else 0  # the rest before the failure reads 0 W as it does
        assert (log.covered - settled.covered).m_as("min") == pytest.approx(minutes + catch_up + rest)
        assert measure_draw(settled).mean_power.value.magnitude == pytest.approx(true_w, rel=0.01)
        assert not any("power failure" in warning for warning in measure_draw(settled).warnings)
    assert eval(with_catch_up).mean_power_w() == pytest.approx(true_w, rel=0.03)


@pytest.mark.parametrize(
    "power",
    [
        cycles(60, 0.0),
        cycles(60, 1.4),
        with_failure(20, 0.0, ON),  # half again as long a rest, no catch-up
        with_failure(110, 0.0, ON),  # a long rest in a cold night
        cycles(2, 0.0),
        np.tile(np.r_[np.zeros(18 * 60), np.full(6 * 60, 60.0)], 3),  # a lamp
        np.zeros(500),
        np.full(500, 40.0),
    ],
)
def test_rests_of_its_own_are_no_failures(path: Path, power: np.ndarray) -> None:
    assert not read_log(write(path, power_w=power)).questions


def test_a_compressor_that_never_rests_is_asked_about_its_one_stretch_without_power(path: Path) -> None:
    wave = 45 + 5 * np.sin(np.arange(1500) / 40)
    log = read_log(write(path, power_w=np.r_[wave, np.zeros(110), wave].round(1)))
    assert lines_of(log) == ['log.without("2026-01-11 09:00:00", "2026-01-11 10:50:00")']


def test_where_volts_were_logged_they_decide(path: Path) -> None:
    """A long rest with the mains on is no failure; 15 minutes without volts are one, and only they."""
    power = with_failure(110, 0.0)
    volts = np.full(power.size, 231.0)
    assert not read_log(write(path, power_w=power, u=volts)).questions
    volts[FAILED : FAILED + 15] = 0
    (line, _) = lines_of(read_log(write(path, power_w=power, u=volts)))
    assert line == 'log.without("2026-01-11 06:30:00", "2026-01-11 06:45:00")'


def test_a_gap_with_a_catch_up_is_asked_about(path: Path) -> None:
    """The meter itself fell dark with the mains."""
    for catch_up, asked in ((50, 1), (ON, 0)):
        file = write(path, power_w=with_failure(120, 1.4, catch_up))
        head, *lines = file.read_text().splitlines(keepends=True)
        file.write_text("".join([head, *lines[:FAILED], *lines[FAILED + 120 :]]))
        assert len(read_log(file).questions) == asked


def test_two_failures_are_two_questions_each_with_its_line(path: Path) -> None:
    log = read_log(write(path, power_w=np.r_[with_failure(110, 1.4), with_failure(90, 1.4)]))
    assert len(log.questions) == 2
    second = FAILED * 3 + 110 + 50 + OFF
    settled = log.without("2026-01-11 06:30", "2026-01-11 08:20")
    assert len(settled.questions) == 1
    assert settled.findings[-2].span_s == (second * 60, (second + 90) * 60)
    assert len(log.first("30 h").questions) == 1
    part = log.between("20 h", "30 h")
    assert part.findings[0].span_s == pytest.approx(((22.5 - 20) * 3600, (22.5 - 20) * 3600 + 110 * 60))


@settings(max_examples=150)
@given(
    parts=st.lists(st.tuples(st.sampled_from([0.0, 0.0, 1.5, 60.0, 80.0, None]), st.integers(1, 300)), min_size=2),
    dated=st.booleans(),
    volts=st.booleans(),
)
def test_whatever_was_logged_each_line_can_be_typed(
    tmp_path_factory: pytest.TempPathFactory, parts: list[tuple[float | None, int]], dated: bool, volts: bool
) -> None:
    """Stretches of any power and length, with gaps: each question's stretch is gone once its line was typed."""
    power = np.concatenate([np.full(minutes, np.nan if watts is None else watts) for watts, minutes in parts])
    minute = np.flatnonzero(np.isfinite(power))
    times = pd.Timestamp("2026-03-28 22:30") + pd.to_timedelta(minute, "min")
    table = pd.DataFrame({"time": times.strftime("%Y-%m-%d %H:%M"), "p (W)": power[minute]})
    if not dated:
        table["time"] = [f"{at // 60}:{at % 60:02}" for at in minute]
    if volts:
        table["u (V)"] = 230 * (power[minute] > 0)
    path = tmp_path_factory.getbasetemp() / "any failures.csv"
    table.to_csv(path, index=False)
    try:
        log = read_log(path, hold="1 min")
    except LogRefusal:
        return
    event(f"{min(len(log.questions), 3)} questions")
    for finding in (finding for finding in log.findings if finding.span_s):
        for line in re.findall(r"log\.without\([^)]*\)", finding.done):
            settled: MeterLog = eval(line)
            assert finding not in settled.findings
            assert len(settled.questions) < len(log.questions)
            assert 0 < settled.duration_s.sum() < log.duration_s.sum() or "not covered" in finding.done
            assert settled.span_s == log.span_s


# -- stretches cut out ------------------------------------------------------------------------------

HAND = hand_readings([("0:00", "0"), ("10:00", "1"), ("20:00", "3"), ("30:00", "4")], "kWh")


@given(st.floats(0.01, 29.9), st.floats(0.01, 40))
def test_what_is_cut_out_and_what_stays_make_the_whole(begin: float, length: float) -> None:
    cut = Q_(begin, "h"), Q_(begin + length, "h")
    part, rest = HAND.between(*cut), HAND.without(*cut)
    assert (part.covered + rest.covered).m_as("h") == pytest.approx(30)
    energies = [each.mean_power_w() * each.covered.m_as("h") for each in (part, rest)]
    assert sum(energies) == pytest.approx(4000)
    assert rest.coverage == pytest.approx(rest.covered.m_as("h") / 30)


def test_a_cut_leaves_two_parts_and_a_gap(path: Path) -> None:
    log = read_log(write(path, power_w=cycles(40, 1.4), u=np.full(40 * 45, 230.0)))
    rest = log.without("2026-01-10 20:00", "2026-01-11 02:00")
    assert rest.span_s == log.span_s
    assert (log.covered - rest.covered).m_as("h") == pytest.approx(6)
    at = int(np.diff(rest.start_s).argmax())
    assert rest.start_s[at + 1] - rest.start_s[at] == pytest.approx(6 * 3600 + 60)
    assert rest.volts is not None
    assert rest.volts.size == rest.power_w.size
    assert "cut out: 1, 2026-01-10 20:00:00 to 2026-01-11 02:00:00; not covered, as told" in repr(rest)


def test_moments_are_those_of_the_log_s_clock(path: Path) -> None:
    local = write(path, power_w=cycles(40, 1.4))
    named, zoned = read_log(local), read_log(local, timezone="Europe/Vienna")
    assert named.between("2026-01-10 10:00", "2026-01-10 12:30").span_s == 2.5 * 3600
    assert named.between("2 h", "2026-01-10 12:30").begins == pd.Timestamp("2026-01-10 10:00")
    for begin in ("2026-01-10 10:00", "2026-01-10 10:00+01:00", "2026-01-10 09:00Z", "2 h"):
        assert zoned.between(begin, "3 h").begins == pd.Timestamp("2026-01-10 10:00", tz="Europe/Vienna")


@pytest.mark.parametrize(
    ("begin", "end", "says"),
    [
        ("10.01.2026 10:00", "11.01.2026 10:00", "2026-01-10"),
        ("2026-01-10 10:00Z", "2026-01-10 11:00Z", "its clock, which begins at 2026-01-10 08:00:00"),
        ("2026-01-10 10:00", "2026-01-10 09:00", "readings stand for"),
        ("2027-01-10", "2027-01-11", "readings stand for"),
        ("-1 h", "99 h", "Cut out less"),
        ("3:40", "5 h", "3 h 40 min"),
        (3, "5 h", 'begin="3 h"'),
        (None, "5 h", "begin"),
    ],
)
def test_a_stretch_that_can_not_be_cut_out_is_refused(path: Path, begin: Any, end: Any, says: str) -> None:
    with pytest.raises(Refusal) as refused:
        read_log(write(path, power_w=cycles(40, 1.4))).without(begin, end)
    assert says in str(refused.value)


def test_hours_alone_have_no_dates() -> None:
    with pytest.raises(Refusal, match="hand readings"):
        HAND.without("2026-01-10 10:00", "2026-01-10 11:00")
    assert "5.000 h to 7.000 h" in repr(HAND.without("5 h", "7 h"))


# -- what is logged beside the watts --------------------------------------------------------------------


POWER = np.r_[60.0, 80, 40, 70, 60]
VOLT_AMPERES = [
    {"s__(VA)": [100, 160, 90, 120, 100]},
    {"apparent__power": [100, 160, 90, 120, 100]},
    {"s__(kVA)": [0.1, 0.16, 0.09, 0.12, 0.1]},
    {"u__[V]": [200, 200, 200, 200, 200], "i__[mA]": [500, 800, 450, 600, 500]},
    {"q__(VAr)": np.sqrt(np.array([100, 160, 90, 120, 100]) ** 2 - POWER**2)},
]


@pytest.mark.parametrize("beside", VOLT_AMPERES)
def test_volt_amperes_beside_watts_reach_the_inverter_s_check(path: Path, beside: dict[str, Any]) -> None:
    log = read_log(write(path, power_w=POWER, **beside))
    assert log.kind == "power"
    (one,) = log.as_load().appliances
    assert one.peak == Q_(80, "W")
    assert one.apparent is not None
    assert one.apparent.m_as("VA") == pytest.approx(160)
    for rated, finding in (("161 VA", "carries it"), ("159 VA", "does not carry it")):
        check = headroom(log.as_load(), unit(rated))[1]
        assert check.finding == finding
        assert "asks 160 VA of" in check.why


def unit(rated_va: str) -> BackupUnit:
    ratings = Ratings.of("800 W", rated_va=rated_va)
    return BackupUnit.from_print("mine", capacity="1 kWh", chemistry="iron phosphate", standby="9 W", rated=ratings,
                                 efficiency="88 %", at="300 W")  # fmt: skip


def test_a_measured_draw_s_volt_amperes_are_those_outside_its_starts(path: Path) -> None:
    """A motor of 70 W and 110 VA; nothing is assumed of its power factor. Starts ask 900 VA."""
    power, apparent = cycles(100, 1.4), np.where(cycles(100, 0.0) > 0, 110.0, 4.0)
    power[:: ON + OFF], apparent[:: ON + OFF] = 600.0, 900.0
    power, apparent = power[ON:], apparent[ON:]  # it begins with a rest
    draw = measure_draw(read_log(write(path, power_w=power, s__VA=apparent)))
    (one,) = draw.as_load().appliances
    assert one.surge == Q_(600, "W")
    assert one.apparent == Q_(110, "VA")
    assert headroom(draw.as_load(), unit("111 VA"))[1].finding == "carries it"
    assert measure_draw(read_log(write(path, power_w=power))).appliance.apparent is None


@pytest.mark.parametrize(
    ("beside", "says"),
    [
        ({"s__(VA)": ["100", "x", "9", "8", "7"]}, "not used"),
        ({"s__(VA)": [10, 16, 9, 12, 10]}, "less than the watts"),
        ({"s1__(VA)": [100, 160, 90, 120, 100], "s2__(VA)": [1, 1, 1, 1, 1]}, None),
        ({"s__(VA)": ["", "", "", "", ""]}, None),
        ({"u__[V]": [200, "", 200, "", 200], "i__[A]": ["", 1, "", 1, ""]}, "volt-amperes: not used"),
        ({"power__factor": [0.9, 0.9, 0.9, 0.9, 0.9]}, None),
    ],
)
def test_volt_amperes_that_can_not_be_are_left_out(path: Path, beside: dict[str, Any], says: str | None) -> None:
    log = read_log(write(path, power_w=POWER, **beside))
    np.testing.assert_allclose(log.power_w, POWER[:-1])
    assert log.largest_apparent() is None
    assert (says or "") in repr(log)


def test_a_kept_mapping_keeps_what_is_beside_the_watts(path: Path) -> None:
    table = write(path, power_w=POWER, u__V=[200] * 5, i__A=[0.5, 0.8, 0.45, 0.6, 0.5], x__W=POWER)
    first = read_log(table, columns={"power": "power_w"}, keep_mapping=True)
    again = read_log(table)
    assert again.mapping["current"][0] == "i A"
    assert again.largest_apparent() == first.largest_apparent() == Q_(160, "VA")


def test_what_is_told_must_be_read(path: Path) -> None:
    table = write(path, power_w=POWER, s1__VA=[100, 160, 90, 120, 100], s2__VA=[100, 110, 90, 120, 100])
    log = read_log(table, columns={"power": "power_w", "apparent power": "s2 VA"})
    assert log.mapping["apparent power"] == ("s2 VA", "given")
    assert log.largest_apparent() == Q_(120, "VA")


# -- a blind meter ------------------------------------------------------------------------------------


def test_a_meter_s_blind_range_is_an_influence_of_its_own(path: Path) -> None:
    """70 W for a third of the time, and from 0 to 5 W for two thirds: 5/3 W more, give or take as much."""
    table = write(path, power_w=cycles(100, 0.0))
    blind, plain = (measure_draw(read_log(table, meter=meter)) for meter in (Meter(smallest_load="5 W"), Meter()))
    more = blind.mean_power.value - plain.mean_power.value
    assert more.m_as("W") == pytest.approx(5 / 3, rel=0.01)
    budget = blind.mean_power.budget().set_index("influence")
    assert "meter blind below 5 W" in budget.index
    assert blind.metered.u.m_as("W") ** 2 - plain.metered.u.m_as("W") ** 2 == pytest.approx((5 / 3) ** 2 / 3, rel=0.01)
    wide = measure_draw(read_log(write(path, power_w=cycles(100, 6.0)), meter=Meter(smallest_load="5 W")))
    assert wide.metered.u == measure_draw(read_log(path)).metered.u


# -- the table of refusals ------------------------------------------------------------------------------


def calls() -> dict[str, set[str]]:
    """Return the facts that the code gives each refusal of the table."""
    given: dict[str, set[str]] = {}
    for module in Path(layout.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "attr", "") in ("refuse", "refuse_if") and node.args:
                name, facts = node.args[0], {keyword.arg or "" for keyword in node.keywords}
                if isinstance(name, ast.Constant):
                    given[name.value] = facts - {"at", "row", "column", "value"}
    return given


def test_every_refusal_is_used_and_gets_its_facts() -> None:
    given = calls()
    given |= {"backward": {"count"}, "times of day": {"count"}}  # chosen a line above
    assert set(given) == set(layout.REFUSALS)
    for name, words in layout.REFUSALS.items():
        blanks = {blank for text in words.values() for _, blank, _, _ in Formatter().parse(text) if blank is not None}
        assert blanks == given[name], name
        assert words["remedy"].endswith("."), name


def test_a_refusal_is_filled_in() -> None:
    refusal = layout.Place("x.csv").refuse("several columns", role="power", names="'a', 'b'", first="a", row=3)
    assert isinstance(refusal, LogRefusal)
    assert str(refusal) == (
        "Given: x.csv, row 3: several columns of power: 'a', 'b'. Needed: one. Write columns={\"power\": 'a'}."
    )
