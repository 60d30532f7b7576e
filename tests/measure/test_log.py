"""Logs as meters write them: each feature on a small invented file written here, no two with the same columns."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridethrough.measure.layout import LogRefusal
from ridethrough.measure.log import KEPT, Meter, MeterLog, hand_readings, read_log
from ridethrough.measure.meterlog import Finding
from ridethrough.units import Q_, Refusal

Read = Callable[..., MeterLog]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Return a function that writes text to a file and reads it as a log."""

    def written(text: str, encoding: str = "utf-8", name: str = "made.csv", **told: Any) -> MeterLog:
        path = tmp_path / name
        path.write_bytes(text.encode(encoding))
        return read_log(path, **told)

    return written


def rows(head: str, step_s: float, values: list[Any], begin: str = "2026-02-03T22:00:00", mark: str = ",") -> str:
    """Return a table with ISO times ``step_s`` apart."""
    times = pd.Timestamp(begin) + pd.to_timedelta(np.arange(len(values)) * step_s, "s")
    return (
        head + "\n" + "".join(f"{time.isoformat()}{mark}{value}\n" for time, value in zip(times, values, strict=True))
    )


def found(log: MeterLog, what: str) -> Finding:
    """Return the one finding of that name."""
    (finding,) = [finding for finding in log.findings if finding.what == what]
    return finding


# -- the meter -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("accuracy", "gain_u", "offset_u"),
    [
        ("1 %", 0.01 / math.sqrt(3), 0),
        ("0.5 W", 0, 0.5 / math.sqrt(3)),
        ("1 % + 0.5 W", 0.01 / math.sqrt(3), 0.5 / math.sqrt(3)),
        ("±2 % + 300 mW", 0.02 / math.sqrt(3), 0.3 / math.sqrt(3)),
        (None, 0, 0),
    ],
)
def test_limits_of_error_become_standard_uncertainties(accuracy: str | None, gain_u: float, offset_u: float) -> None:
    """JCGM 100:2008, 4.3.7: limits a of a uniform band give u = a / sqrt 3."""
    meter = Meter(accuracy)
    assert meter.gain.value.magnitude == 1
    assert meter.offset.value == Q_(0, "W")
    assert meter.gain.u.magnitude == pytest.approx(gain_u)
    assert meter.offset.u.to("W").magnitude == pytest.approx(offset_u)


def test_what_one_meter_measured_shares_its_error() -> None:
    one, other = Meter("1 %"), Meter("1 %")
    assert (one.gain - one.gain).u.magnitude == 0
    assert (one.gain - other.gain).u.magnitude == pytest.approx(0.01 * math.sqrt(2 / 3))


@pytest.mark.parametrize("accuracy", ["one percent", "1 V", "1 % + 2 %", "", "1 % + ", "-1 %", "150 %", "nan W", "1"])
def test_other_accuracies_are_refused(accuracy: str) -> None:
    with pytest.raises(Refusal, match=r'accuracy="1 % \+ 0.5 W"'):
        Meter(accuracy)


def test_a_meters_steps_need_their_units() -> None:
    with pytest.raises(Refusal):
        Meter(power_step="0.1")
    with pytest.raises(Refusal):
        Meter(energy_step="-0.01 kWh")


# -- the file's dress ----------------------------------------------------------------------------

STEADY = [40, 60, 40, 60, 50]  # W, each held for a minute; the last closes the log


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_delimiters_and_line_ends(read: Read, encoding: str, delimiter: str, end: str) -> None:
    text = rows("Größe der Zeit,Watts", 60, STEADY).replace(",", delimiter).replace("\n", end)
    log = read(text, encoding)
    np.testing.assert_allclose(log.power_w, STEADY[:-1])
    np.testing.assert_allclose(log.duration_s, 60)
    assert log.mapping["time"] == ("Größe der Zeit", "guessed")


@pytest.mark.parametrize(
    "table",
    [
        "Instant;P/W\n2026-02-03 22:00;40,0\n2026-02-03 22:01;60,5\n2026-02-03 22:02;1\n",
        'instant,"power, active [W]"\n2026-02-03 22:00,"40,0"\n2026-02-03 22:01,"60,5"\n2026-02-03 22:02,"1,25"\n',
        "when it was\tactive_power_w\n2026-02-03 22:00\t40.0\n2026-02-03 22:01\t60.5\n2026-02-03 22:02\t1\n",
        "when;kilowatts (kW)\n2026-02-03 22:00;0,0400\n2026-02-03 22:01;0,0605\n2026-02-03 22:02;0,1\n",
        "stamp,mW of power (mW)\n2026-02-03 22:00,40000\n2026-02-03 22:01,60500\n2026-02-03 22:02,1\n",
        '"tick","draw (Watt)"\n"2026-02-03 22:00","40.0"\n"2026-02-03 22:01","60.5"\n"2026-02-03 22:02","1"\n',
        "Logger 7; shown in W\nSerial;1234\nStart;2026-02-03\n\nTag;Wirkleistung [W]\n2026-02-03 22:00;40,0\n"
        "2026-02-03 22:01;60,5\n2026-02-03 22:02;0,5\n",
        "Moment;Reading\n;W\n2026-02-03 22:00;40,0\n2026-02-03 22:01;60,5\n2026-02-03 22:02;0,5\n",
        "At,State,P [W],\n2026-02-03 22:00,on,40.0,\n2026-02-03 22:01,off,60.5,\n2026-02-03 22:02,on,0,\n",
    ],
)
def test_decimal_marks_units_quotes_and_preambles(read: Read, table: str) -> None:
    log = read(table)
    np.testing.assert_allclose(log.power_w, [40, 60.5])
    assert log.kind == "power"
    assert log.begins == pd.Timestamp("2026-02-03 22:00")


def test_a_line_of_units_below_the_names(read: Read) -> None:
    log = read(
        "Moment;Reading;Room\n;kW;°C\n2026-02-03 22:00;0,04;21\n2026-02-03 22:01;0,06;21\n2026-02-03 22:02;0,5;20\n"
    )
    assert log.mapping["power"] == ("Reading (kW)", "guessed")
    np.testing.assert_allclose(log.power_w, [40, 60])


def test_thousands_marks_that_show_themselves_late_are_found(read: Read) -> None:
    values = ["999"] * 9000 + ["1.250"] * 60 + ["0"]
    with pytest.raises(LogRefusal, match="thousands"):
        read(rows("uhr;p_w", 10, values, mark=";"))


def test_rows_that_hold_nothing_are_left_out_and_counted_as_lines(read: Read) -> None:
    head, *lines = rows("uhr;p_w", 10, STEADY, mark=";").splitlines()
    table = "\n".join([head, *lines[:2], ";", "", "  ", *lines[2:], ";", ""])
    np.testing.assert_allclose(read(table).power_w, STEADY[:-1])
    with pytest.raises(LogRefusal, match="no date") as refused:
        read(table.replace("\n;\n", "\n;7\n", 1))
    assert refused.value.row == 4
    with pytest.raises(LogRefusal, match="'4O'") as refused:
        read(table.replace(lines[2], lines[2].replace("40", "4O")))
    assert refused.value.row == 7


def test_a_quote_alone_is_no_empty_field(read: Read) -> None:
    with pytest.raises(LogRefusal, match="no number") as refused:
        read(rows("uhr;p_w", 10, [40, '""""', 60, 50], mark=";"))
    assert refused.value.row == 3


def test_quotes_may_have_a_blank_before_them(read: Read) -> None:
    log = read('uhr, p_w\n"2026-02-03 22:00", "40,5"\n"2026-02-03 22:01", "60,5"\n2026-02-03 22:02, "7"\n')
    np.testing.assert_allclose(log.power_w, [40.5, 60.5])


def test_a_decimal_mark_that_shows_itself_late_is_found(read: Read) -> None:
    values = ["0"] * 9000 + ["12,5"] * 60 + ["0"]
    log = read(rows("uhr;p_w", 10, values, mark=";"))
    assert log.power_w.max() == 12.5
    assert log.mapping["decimal mark"] == (",", "guessed")


@pytest.mark.parametrize(("mark", "mean"), [(",", 1.5), (".", None)])
def test_a_comma_that_may_group_thousands_is_refused_until_told(read: Read, mark: str, mean: float | None) -> None:
    table = rows("clock;real power (kW)", 60, ["1,500", "1", "2"], mark=";").replace("1\n", "1,500\n")
    table = rows("clock;real power (kW)", 60, ["1,500", "999", "1,500"], mark=";")
    with pytest.raises(LogRefusal, match='decimal=","') as refused:
        read(table)
    assert refused.value.column == "real power (kW)"
    table = table.replace("999", "1,5")
    if mean:
        assert read(table, decimal=mark).mean_power_w() == mean * 1000
        with pytest.raises(LogRefusal, match="row 3"):
            read(table.replace("1,5\n", "1.5\n"), decimal=mark)
    else:
        with pytest.raises(LogRefusal, match="row 2"):
            read(table, decimal=mark)


# -- what is logged ------------------------------------------------------------------------------


def test_power_is_held_until_the_next_reading(read: Read) -> None:
    log = read("t_iso,watt\n2026-02-03 22:00:00,100\n2026-02-03 22:00:10,0\n2026-02-03 22:00:25,50\n")
    np.testing.assert_allclose(log.duration_s, [10, 15])
    assert log.mean_power_w() == pytest.approx(100 * 10 / 25)
    assert log.covered.to("s").magnitude == pytest.approx(25)
    assert log.coverage == 1
    assert log.span_s == 25


def test_a_counter_tells_the_mean_between_readings(read: Read) -> None:
    log = read(rows("ts,meter total (kWh)", 1800, ["812.10", "812.13", "812.13", "812.18", "812.20"]))
    assert log.kind == "counter"
    assert log.mean_power_w() == pytest.approx(100 / 2)
    assert log.resolution == Q_(10, "Wh")


def test_a_counter_that_starts_again_each_day(read: Read) -> None:
    day = [f"{0.3 * hour / 10:.2f}" for hour in range(24)]
    log = read(rows("at;E_today [kWh]", 3600, [*day, *day, *day], begin="2026-02-03", mark=";"))
    assert log.kind == "counter"
    assert found(log, "counter resets").count == 2
    assert "2026-02-05 00:00" not in found(log, "counter resets").where
    assert log.coverage == pytest.approx(69 / 71)
    assert log.mean_power_w() == pytest.approx(30)


def test_a_counter_without_a_telling_name_is_known_by_its_pattern(read: Read) -> None:
    day = [f"{0.05 * hour:.2f}" for hour in range(24)]
    assert read(rows("x,e/kWh", 3600, day)).mapping["kind"] == ("counter", "guessed")
    assert read(rows("x,e/kWh", 3600, [*day, *day])).kind == "counter"


def test_a_counter_that_rolls_over_counts_on(read: Read) -> None:
    log = read(rows("date time,register kWh", 3600, ["9999.92", "9999.96", "0.01", "0.05"]))
    assert found(log, "counter roll-over").count == 1
    assert log.coverage == 1
    assert log.mean_power_w() == pytest.approx(130 / 3)


def test_a_daily_reset_below_one_kilowatt_hour_is_no_roll_over(read: Read) -> None:
    log = read(rows("q,counter [Wh]", 3600, ["990", "995", "2", "6"]))
    assert found(log, "counter resets").count == 1
    assert log.coverage == pytest.approx(2 / 3)


def test_a_falling_counter_is_refused_with_its_row(read: Read) -> None:
    with pytest.raises(LogRefusal, match="counter that falls from 12400 to 11900") as refused:
        read(rows("q,counter [kWh]", 3600, ["12.3", "12.4", "11.9", "12.0"]))
    assert refused.value.row == 4


def test_a_coarse_counter_is_read_from_change_to_change(read: Read) -> None:
    """36 W on a counter of 0.01 kWh: a count every 1000 s, not a spike of 3600 W in each tenth second."""
    counts = [f"{3.10 + 0.01 * (at // 100):.2f}" for at in range(1060)]
    log = read(rows("u,plug counter kWh", 10, counts))
    np.testing.assert_allclose(log.power_w[:-1], 36)
    assert log.power_w[-1] == pytest.approx(10 / 1590 * 3600)  # the quiet end belongs to the last count
    assert found(log, "readings closer than the counter's last digit").count == 1060


def test_a_fine_counter_keeps_its_quiet_hours(read: Read) -> None:
    log = read(rows("u,plug counter kWh", 3600, ["5.000", "5.000", "5.000", "5.240", "5.480"]))
    np.testing.assert_allclose(log.power_w, [0, 0, 240, 240])


@given(st.lists(st.integers(0, 3), min_size=2, max_size=60), st.integers(1, 5))
def test_no_energy_is_lost_between_a_counters_ends(counts: list[int], minutes: int) -> None:
    """P_mean = (E2 - E1) / (t2 - t1), whatever is put together."""
    total = np.cumsum(counts)
    hand = [(f"{at * minutes // 60}:{at * minutes % 60:02}", f"{5 + 0.01 * n:.2f}") for at, n in enumerate(total)]
    log = hand_readings(hand, "kWh")
    assert log.coverage == 1
    hours = (len(counts) - 1) * minutes / 60
    assert log.mean_power_w() == pytest.approx(10 * (total[-1] - total[0]) / hours, abs=1e-6)


@pytest.mark.parametrize(("name", "begins"), [("hour", "2026-02-03 22:00"), ("interval end", "2026-02-03 21:00")])
def test_energy_per_interval(read: Read, name: str, begins: str) -> None:
    log = read(rows(f"{name};used [kWh]", 3600, ["0,04", "0,02", "0,05", "0,01", "0,05"], mark=";"))
    assert log.kind == "interval energy"
    np.testing.assert_allclose(log.power_w, [40, 20, 50, 10, 50])
    assert log.span_s == 5 * 3600
    assert log.begins == pd.Timestamp(begins)


def test_idle_intervals_are_no_counter_resets(read: Read) -> None:
    often = rows("hour,e (Wh)", 300, [0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0] * 3)
    assert read(often).kind == "interval energy"
    seldom = rows("hour,e (Wh)", 300, [0] * 9 + [*[0] * 14, 1, *[0] * 15] * 3)
    with pytest.raises(LogRefusal, match="kind="):
        read(seldom)
    assert read(seldom, kind="interval energy").power_w.max() == 12


def test_volts_and_amperes_are_apparent_power_and_no_watts(read: Read) -> None:
    log = read(rows("record,U [V],I [mA],cos phi", 1, ["230.1,400,0.9", "229.9,0,0.9", "230.0,500,0.9"]))
    assert log.kind == "apparent power"
    np.testing.assert_allclose(log.power_w, [92.04, 0])
    assert "VA" in repr(log)
    with pytest.raises(Refusal, match="not watts"):
        log.mean_power_w()
    with pytest.raises(Refusal, match="not watts"):
        log.as_load()
    direct = read(rows("record,S (VA)", 1, ["92", "0", "3"]))
    assert direct.kind == "apparent power"


def test_an_interval_or_a_counter_is_as_told(read: Read) -> None:
    table = rows("c1,c2 kWh", 3600, ["0.01", "0.02", "0.03", "0.04"])
    with pytest.raises(LogRefusal, match='kind="counter"'):  # 10 to 40 W in each hour, or 10 W on a counter
        read(table)
    assert read(table, kind="counter").mean_power_w() == pytest.approx(10)
    assert read(rows("c1,c2 kWh", 3600, ["8.01", "8.02", "8.03", "8.04"])).kind == "counter"  # no 8 kW in each hour
    told = read(table, kind="interval energy")
    assert told.mapping["kind"] == ("interval energy", "given")
    np.testing.assert_allclose(told.power_w, [10, 20, 30, 40])


def test_energy_that_may_be_either_is_refused(read: Read) -> None:
    level = ["4.0"] * 3 + ["4.2", "4.4", "3.9"] + ["4.9"] * 14
    with pytest.raises(LogRefusal, match='kind="counter"') as refused:
        read(rows("c1,c2 kWh", 3600, level))
    assert refused.value.row == 7
    with pytest.raises(LogRefusal, match='kind="counter"'):
        read(rows("c1,c2 kWh", 3600, ["4.0"] * 5))


# -- times ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("head", "times"),
    [
        ("epoch", ["1770156000", "1770156060", "1770156120"]),
        ("epoch", ["1770156000000", "1770156060000", "1770156120000"]),
        ("epoch", ["1770156000000000", "1770156060000000", "1770156120000000"]),
        ("epoch", ["1770156000000000000", "1770156060000000000", "1770156120000000000"]),
        ("unix ms", ["1770156000000", "1770156060000", "1770156120000"]),
        ("time", ["2026-02-03T22:00:00Z", "2026-02-03T22:01:00Z", "2026-02-03T22:02:00Z"]),
        ("time", ["2026-02-03 23:00:00+01:00", "2026-02-03 23:01:00+01:00", "2026-02-03 22:02:00+00:00"]),
        ("time", ["2026-02-03 23:00:00 +0100", "2026-02-03 23:01:00 +0100", "2026-02-03 23:02:00 +0100"]),
        ("time utc", ["2026-02-03 22:00", "2026-02-03 22:01", "2026-02-03 22:02"]),
        ("time utc", ["2026/2/3 22:00", "2026/2/3 22:01", "2026/2/3 22:02"]),
    ],
)
def test_times_that_name_their_zone(read: Read, head: str, times: list[str]) -> None:
    table = f"{head},w\n" + "".join(f"{time},{10 + at}\n" for at, time in enumerate(times))
    log = read(table)
    assert log.begins == pd.Timestamp("2026-02-03 22:00", tz="UTC")
    np.testing.assert_allclose(log.duration_s, 60)
    assert read(table, timezone="Asia/Tokyo").begins.hour == 7


@pytest.mark.parametrize(
    ("head", "times", "steps"),
    [
        ("elapsed (s)", ["0", "60", "120.5"], [60, 60.5]),
        ("t/ms", ["0", "60000", "120500"], [60, 60.5]),
        ("Time [min]", ["0", "1", "2.5"], [60, 90]),
        ("seconds", ["5", "65", "125"], [60, 60]),
        ("run time", ["0:00:00", "0:01:00", "0:02:00.500"], [60, 60.5]),
        ("run time", ["23:59:00", "24:00:00", "100:00:00"], [60, 76 * 3600]),
    ],
)
def test_elapsed_times(read: Read, head: str, times: list[str], steps: list[float]) -> None:
    log = read(f"{head},p_w\n" + "".join(f"{time},{10 + at}\n" for at, time in enumerate(times)), hold="until the next")
    np.testing.assert_allclose(log.duration_s, steps)
    assert log.begins is None


@pytest.mark.parametrize(
    "table",
    [
        "Day,Clock,Power/W\n2026-02-03,22:00:30,40\n2026-02-03,23:59:30,60\n2026-02-04,00:00:30,10\n",
        "Clock,Power/W,Day\n22:00:30,40,03.02.2026\n23:59:30,60,03.02.2026\n00:00:30,10,14.02.2026\n",
        "Day,Clock,Power/W\n02/03/2026,10:00:30 PM,40\n02/03/2026,11:59:30 PM,60\n02/14/2026,12:00:30 AM,10\n",
    ],
)
def test_date_and_time_in_two_columns(read: Read, table: str) -> None:
    log = read(table, hold="until the next")
    assert log.begins == pd.Timestamp("2026-02-03 22:00:30")
    assert log.duration_s[0] == 7140
    assert (log.span_s - 7200) % 86_400 == 0
    assert log.mapping["date"] == ("Day", "guessed")


def test_day_first_or_month_first_is_refused_until_told_or_shown(read: Read) -> None:
    table = "s;P in W\n03.04.2026 08:00;40\n03.04.2026 08:01;60\n{}03.04.2026 08:02;60\n"
    with pytest.raises(LogRefusal, match=r"3 April 2026 \(day first\) or 4 March 2026 \(month first\)") as refused:
        read(table.format(""))
    assert refused.value.row == 2
    assert refused.value.value == "03.04.2026"
    assert read(table.format(""), dayfirst=True).begins == pd.Timestamp("2026-04-03 08:00")
    assert read(table.format(""), dayfirst=False).begins == pd.Timestamp("2026-03-04 08:00")
    shown = read(
        table.format("").replace("08:02", "08:02").replace("03.04.2026 08:02", "13.04.2026 08:02"), hold="60 s"
    )
    assert shown.begins == pd.Timestamp("2026-04-03 08:00")
    assert shown.mapping["times"] == ("dates, day first", "guessed")


def test_days_that_read_alike_both_ways_are_read(read: Read) -> None:
    table = "s;P in W\n03.03.2026 08:00;40\n03.03.2026 08:01;60\n{}.2026 08:02;60\n"
    assert read(table.format("03.03")).begins == pd.Timestamp("2026-03-03 08:00")
    with pytest.raises(LogRefusal, match="4 March 2026") as refused:
        read(table.format("04.03"))
    assert refused.value.row == 4


def test_a_date_that_fits_neither_order_names_its_row(read: Read) -> None:
    with pytest.raises(LogRefusal, match="in no calendar") as refused:
        read("s;P in W\n13.04.2026 08:00;40\n04.13.2026 08:01;60\n")
    assert refused.value.row == 3


AUTUMN = [f"2026-10-25 {time}" for time in ("01:30", "02:00", "02:30", "02:00", "02:30", "03:00")]
SPRING = [f"2026-03-29 {time}" for time in ("01:00", "01:30", "03:00", "03:30")]


def test_clocks_set_back_are_refused_until_the_zone_is_told(read: Read) -> None:
    table = "local,w\n" + "".join(f"{time},{10 * at}\n" for at, time in enumerate(AUTUMN))
    with pytest.raises(LogRefusal, match="timezone=") as refused:
        read(table)
    assert refused.value.row == 5
    log = read(table, timezone="Europe/Vienna")
    np.testing.assert_allclose(np.diff(log.start_s), 1800)
    assert str(log.begins) == "2026-10-25 01:30:00+02:00"


def test_hourly_readings_across_clocks_set_back(read: Read) -> None:
    times = [f"2026-10-25 {hour:02}:00" for hour in (0, 1, 2, 2, 3, 4)]
    table = "local,hourly kWh\n" + "".join(f"{time},0.0{5 - at}\n" for at, time in enumerate(times))
    with pytest.raises(LogRefusal, match="timezone="):
        read(table)
    log = read(table, timezone="Europe/Vienna")
    np.testing.assert_allclose(log.duration_s, 3600)
    assert log.power_w.size == 6


def test_an_hour_that_comes_twice_but_was_logged_once_is_refused(read: Read) -> None:
    table = "local,w\n2026-10-25 02:10,1\n2026-10-25 02:20,80\n2026-10-25 03:00,1\n"
    with pytest.raises(LogRefusal, match="comes twice in Europe/Vienna") as refused:
        read(table, timezone="Europe/Vienna")
    assert refused.value.row == 2


def test_clocks_put_forward(read: Read) -> None:
    table = "local,w\n" + "".join(f"{time},{10 * at + 10}\n" for at, time in enumerate(SPRING * 1))
    more = "".join(f"2026-03-29 {hour:02}:{minute},7\n" for hour in range(4, 9) for minute in ("00", "30"))
    assert found(read(table + more), "gaps").done.endswith("write timezone=")
    log = read(table + more, timezone="Europe/Vienna")
    np.testing.assert_allclose(log.duration_s, 1800)
    assert not log.findings
    with pytest.raises(LogRefusal, match="that clocks in America/New_York skip") as refused:
        read("local,w\n2026-03-08 01:59,1\n2026-03-08 02:30,1\n", timezone="America/New_York")
    assert refused.value.row == 3


@pytest.mark.parametrize("zone", ["Middle/Earth", "", "/etc/passwd", "Europe"])
def test_an_unknown_zone_is_refused(read: Read, zone: str) -> None:
    with pytest.raises(LogRefusal, match="Europe/Vienna"):
        read(rows("a,w", 1, STEADY), timezone=zone)


def test_a_zone_for_elapsed_times_is_refused(read: Read) -> None:
    with pytest.raises(LogRefusal, match="elapsed"):
        read("elapsed s,w\n0,40\n10,50\n", timezone="Europe/Vienna")


# -- gaps, changes and what else is found -----------------------------------------------------------


def test_a_gap_is_reported_and_not_covered(read: Read) -> None:
    table = rows("z,w", 10, [40] * 30) + rows("", 10, [80] * 30, begin="2026-02-03T23:00:00")[1:]
    log = read(table)
    gap = found(log, "gaps")
    assert gap.count == 1
    assert "2026-02-03 22:04:50" in gap.where
    assert log.covered.to("s").magnitude == pytest.approx(30 * 10 + 29 * 10)
    assert log.coverage == pytest.approx(590 / 3890)
    assert log.mapping["readings"] == ("one every 10 s", "guessed")
    assert read(table, hold="until the next").coverage == 1
    assert read(table, hold="60 s").covered.to("s").magnitude == pytest.approx(29 * 10 + 60 + 29 * 10)


def test_a_meter_that_writes_only_changes_is_told_from_gaps(read: Read) -> None:
    """A meter asked every 10 s writes a reading where it differs from the one before."""
    rng, cycle = np.random.default_rng(3), []
    for _ in range(8):
        cycle += [f"{watts:.1f}" for watts in 70 + rng.integers(-9, 9, 110) / 10] + ["1.2"] * 190
    changed = [at for at, value in enumerate(cycle) if at == 0 or value != cycle[at - 1]]
    log = read("elapsed_s,change (W)\n" + "".join(f"{10 * at},{cycle[at]}\n" for at in changed))
    assert log.mapping["readings"][0].startswith("on each change")
    assert log.coverage == 1
    assert not log.findings
    assert log.mean_power_w() == pytest.approx(np.mean([float(value) for value in cycle[: changed[-1]]]))


def test_a_beat_between_changes_tells_gaps(read: Read) -> None:
    """A meter that writes each change, and every 600 s what has not changed; it was unplugged once."""
    beat = [(at, "1.2") for at in range(0, 86_400, 600)]
    change = [(hour + at, f"{70 + at % 7}") for hour in range(0, 86_400, 3600) for at in range(300, 420, 10)]
    lines = [line for line in sorted(beat + change) if not 40_000 < line[0] < 50_000]
    log = read("elapsed_s,w\n" + "".join(f"{second},{value}\n" for second, value in lines))
    assert log.mapping["readings"][0] == "on each change, and at least every 600 s"
    assert found(log, "gaps").count == 1


def test_repeated_rows_and_readings_at_one_time(read: Read) -> None:
    table = "at,w\n" + "".join(
        f"2026-02-03 22:{minute},{watts}\n"
        for minute, watts in (("00", 40), ("01", 60), ("01", 60), ("02", 30), ("02", 50), ("03", 5))
    )
    log = read(table)
    np.testing.assert_allclose(log.power_w, [40, 60, 40])
    assert found(log, "repeated rows").count == 1
    assert found(log, "different readings with the same time").count == 1
    counter = read("at,counter Wh\n0:00,40\n0:01,60\n0:01,61\n0:02,63\n")
    np.testing.assert_allclose(counter.power_w, [21 * 60, 2 * 60])
    assert found(counter, "different readings with the same time").done == "the last kept"


def test_rows_out_of_order_are_left_out_and_counted(read: Read) -> None:
    table = (
        rows("at,w", 10, [40] * 50) + "2026-02-03T22:00:05,9999\n" + rows("", 10, [60] * 9, "2026-02-03T22:08:20")[1:]
    )
    log = read(table)
    assert found(log, "backward time").count == 1
    assert "22:00:05" in found(log, "backward time").where
    assert log.power_w.max() == 60


def test_a_clock_that_goes_back_for_good_is_refused(read: Read) -> None:
    table = rows("at,w", 10, [40] * 50) + rows("", 10, [60] * 50, "2026-02-03T22:00:05")[1:]
    with pytest.raises(LogRefusal, match="goes backward") as refused:
        read(table)
    assert refused.value.row == 52


def test_times_of_day_past_midnight_need_a_date(read: Read) -> None:
    with pytest.raises(LogRefusal, match="add a column with the date"):
        read("clock,w\n23:59:40,40\n23:59:50,40\n0:00:00,40\n0:00:10,40\n")


def test_newest_first_is_read_from_the_end(read: Read) -> None:
    head, *lines = rows("at,w", 10, STEADY).splitlines()
    log = read("\n".join([head, *lines[::-1]]))
    np.testing.assert_allclose(log.power_w, STEADY[:-1])
    assert found(log, "rows run newest first").count == 5


def test_rows_are_named_after_reversal_and_leaving_out(read: Read) -> None:
    head, *lines = rows("at,counter kWh", 10, ["1.0", "1.1", "0.9", "1.2"]).splitlines()
    with pytest.raises(LogRefusal) as refused:
        read("\n".join(["# made up", head, "", *lines[::-1]]))
    assert refused.value.row == 5


def test_stray_negatives_are_zero_and_counted_many_are_refused(read: Read) -> None:
    log = read(rows("at,w", 10, [*STEADY * 10, -0.1, *STEADY]))
    assert found(log, "negative readings").count == 1
    assert log.power_w.min() == 0
    with pytest.raises(LogRefusal, match="clamp") as refused:
        read(rows("at,w", 10, [5, -40, -60, 40]))
    assert refused.value.row == 3


def test_empty_readings_are_not_covered(read: Read) -> None:
    log = read(rows("at,w,note", 10, ["40,", "60,x", ",", ",", "60,", "40,"]))
    assert found(log, "empty readings").count == 2
    assert log.coverage == pytest.approx(3 / 5)
    counter = read(rows("at,total kWh", 600, ["1.00", "", "1.02", "1.03"]))
    assert found(counter, "empty readings").done == "bridged by the counter"
    assert counter.mean_power_w() == pytest.approx(60)
    late = read(rows("at,total kWh", 600, ["", "1.01", "1.02", "1.03"]))
    assert late.begins == pd.Timestamp("2026-02-03 22:00")
    assert late.start_s[0] == 600
    assert late.coverage == pytest.approx(2 / 3)


def test_readings_that_stand_still_for_hours_are_noted(read: Read) -> None:
    moving = [50 + at % 2 for at in range(100)]
    log = read(rows("at,w", 60, [*moving, *[63] * 400, *moving]))
    assert found(log, "unchanged for hours").count == 1
    assert "2026-02-03 23:40:00, the longest 6.65 h" in found(log, "unchanged for hours").where
    assert not read(rows("at,w", 60, [*moving, *[63] * 300, *moving])).findings


# -- what is guessed, given and kept ------------------------------------------------------------------


def test_several_columns_are_refused_with_the_list(read: Read) -> None:
    table = rows("at,P1 (W),P2 (W)", 10, ["1,2", "3,4"])
    with pytest.raises(LogRefusal, match=r"'P1 \(W\)', 'P2 \(W\)'"):
        read(table)
    assert read(table, columns={"power": "P2 (W)"}).mapping["power"] == ("P2 (W)", "given")
    with pytest.raises(LogRefusal, match="Its columns are"):
        read(table, columns={"power": "P3"})
    with pytest.raises(LogRefusal, match="several columns of time"):
        read("from,to,kWh\n2026-02-03 22:00,2026-02-03 23:00,0.1\n2026-02-03 23:00,2026-02-04 00:00,0.1\n")


def test_columns_that_only_sound_like_readings_are_left_alone(read: Read) -> None:
    log = read(rows("at,power factor,power cost,p (W)", 10, [f"0.9,1,{watts}" for watts in STEADY]))
    np.testing.assert_allclose(log.power_w, STEADY[:-1])


def test_power_comes_before_energy_and_a_kind_chooses(read: Read) -> None:
    table = rows("at,Power W,Total kWh", 3600, ["40,1.00", "50,1.04", "60,1.09"])
    assert read(table).kind == "power"
    assert read(table, kind="counter").mean_power_w() == pytest.approx(45)
    with pytest.raises(LogRefusal, match="a column of energy"):
        read(table, kind="counter", columns={"power": "Power W"})


def test_volts_and_amperes_keep_their_own_units(read: Read) -> None:
    with pytest.raises(LogRefusal, match="Leave unit out"):
        read(rows("at,V,A", 10, ["230,1", "230,2"]), unit="W")


def test_a_date_alone_is_half_a_time(read: Read) -> None:
    with pytest.raises(LogRefusal, match="none for the time"):
        read("Day,Clock,Power/W\n2026-02-03,22:00:30,40\n2026-02-03,23:59:30,60\n", columns={"date": "Day"})


def test_a_column_named_after_another_zone_is_not_utc(read: Read) -> None:
    assert read(rows("time (UTC+1),w", 10, STEADY)).begins.tz is None


def test_columns_without_names_that_tell_are_read_when_told(read: Read) -> None:
    table = "a,b,c\n1,0.5,40\n2,60.5,60\n3,120.5,50\n"
    with pytest.raises(LogRefusal, match="no column of times among 'a', 'b', 'c'"):
        read(table)
    log = read(table, columns={"time": "b", "power": "c"}, unit="kW")
    np.testing.assert_allclose(log.power_w, [40_000, 60_000])
    np.testing.assert_allclose(log.duration_s, 60)


def test_units_that_are_not_stated(read: Read) -> None:
    assert read(rows("at,power", 10, STEADY)).mapping["unit"] == ("W", "guessed")
    with pytest.raises(LogRefusal, match='unit="W"'):
        read(rows("at,power", 10, [0.04, 0.06, 0.05]))
    assert read(rows("at,power", 10, [0.04, 0.06, 0.05]), unit="kW").mean_power_w() == pytest.approx(50)
    with pytest.raises(LogRefusal, match='unit="kWh"'):
        read(rows("at,energy", 10, [1, 2, 3]))
    with pytest.raises(LogRefusal, match="a unit of power"):
        read(rows("at,power", 10, STEADY), unit="kWh")
    with pytest.raises(LogRefusal, match="two ways"):
        read(rows("at,power_mw", 10, STEADY))


def test_the_mapping_is_kept_for_the_next_file(read: Read, tmp_path: Path) -> None:
    table = "uno;due;tre\n03.04.2026 08:00;40;1\n03.04.2026 08:01;60;2\n"
    told = {"columns": {"power": "due"}, "dayfirst": True, "unit": "kW"}
    first = read(table, name="one.csv", **told)
    assert not (tmp_path / KEPT).exists()
    read(table, name="one.csv", **told, keep_mapping=True)
    again = read(table.replace("40", "50"), name="two.csv")
    assert again.power_w[0] == 50_000
    assert again.begins == first.begins
    assert again.mapping["power"] == ("due", f"from {KEPT}")
    assert KEPT in repr(again)
    assert read(table, name="two.csv", columns={"power": "tre"}, unit="W").power_w[0] == 1
    assert read(table, name="two.csv", dayfirst=False).begins.month == 3
    other = read(rows("at,w", 10, STEADY), name="three.csv")
    assert other.mapping["power"] == ("w", "guessed")
    assert "not used" in repr(other)


@pytest.mark.parametrize(
    "text",
    [
        "{",
        "[]",
        '{"columns": 5}',
        '{"kind": "watts"}',
        '{"x": 1}',
        "null",
        '{"columns": {"power": ["w"]}}',
        '{"columns": {"power": 3}}',
        '{"unit": 3}',
        "[" * 9999,
    ],
)
def test_a_broken_mapping_is_refused(read: Read, tmp_path: Path, text: str) -> None:
    (tmp_path / KEPT).write_text(text)
    with pytest.raises(LogRefusal, match=f"Delete {KEPT}"):
        read(rows("at,w", 10, STEADY))


def test_the_mapping_names_no_more_than_it_must(read: Read, tmp_path: Path) -> None:
    read(rows("at,w", 10, STEADY), keep_mapping=True)
    assert json.loads((tmp_path / KEPT).read_text()) == {"columns": {"time": "at", "power": "w"}, "kind": "power"}


@pytest.mark.parametrize("told", [{"kind": "watts"}, {"decimal": ";"}, {"dayfirst": 1}, {"columns": "P"}, {"unit": 5},
                                  {"hold": "for ever"}, {"hold": "5 W"}, {"hold": "0 s"}, {"unit": "hp"},
                                  {"columns": {"load": "w"}}, {"timezone": 1}, {"meter": "1 %"}])  # fmt: skip
def test_arguments_that_make_no_sense_are_refused(read: Read, told: dict[str, Any]) -> None:
    with pytest.raises(Refusal):
        read(rows("at,w", 10, STEADY), **told)


# -- what a log says ---------------------------------------------------------------------------------


def test_a_stated_step_beats_the_digits(read: Read) -> None:
    table = rows("at,w", 10, ["40.0", "60.5", "50.0"])
    assert read(table).resolution == Q_(0.1, "W")
    assert read(table, meter=Meter(power_step="0.5 W")).resolution == Q_(0.5, "W")
    assert read(rows("at,w", 10, ["40.00", "60.50", "50.00"])).resolution.magnitude == pytest.approx(0.01)
    late = read(rows("at,w", 10, ["40"] * 8000 + ["40.25"] * 2000))
    assert late.resolution.magnitude == pytest.approx(0.01)
    assert read(rows("at,kw (kW)", 10, ["0.040", "0.061"])).resolution.magnitude == pytest.approx(1)


def test_the_repr_shows_what_was_guessed(read: Read) -> None:
    log = read(rows("at,P [W],x", 10, [f"{watts},0" for watts in STEADY]), meter=Meter("1 %"))
    text = repr(log)
    for part in ("made.csv: power", "100 % covered", "time: at (guessed)", "power: P [W] (guessed)",
                 "unit: W (from the header)", "one every 10 s (guessed)", "meter accuracy: 1 %"):  # fmt: skip
        assert part in text
    assert "<li>" in log._repr_html_()
    assert "&lt;" in read(rows("at,<b> (W)", 10, STEADY))._repr_html_()
    assert "not stated" in repr(read(rows("at,w", 10, STEADY)))


def test_a_log_is_a_load(read: Read) -> None:
    rng = np.random.default_rng(5)
    watts = np.where(np.arange(2000) % 70 < 30, 80, 1.5) + rng.normal(0, 0.2, 2000).round(1)
    log = read(rows("at,w", 10, list(watts.round(1))))
    load = log.as_load("freezer")
    assert load.name == "freezer"
    assert load.mean_power.value.magnitude == pytest.approx(log.mean_power_w())
    (one,) = load.appliances
    assert np.array_equal(one.pattern.power_w, log.power_w)
    assert one.pattern.duration_h * 3600 == pytest.approx(log.duration_s)
    assert one.variance_w2 == pytest.approx(np.var(log.power_w))
    assert load.mean_power.u.magnitude == 0
    assert load.peak == Q_(log.power_w.max(), "W")
    assert read(rows("at,w", 10, [0, 0, 0, 0])).as_load().mean_power.value.magnitude == 0
    assert read(rows("at,counter kWh", 3600, ["1.0", "1.1", "1.2"])).as_load().peak is None


# -- hand readings ---------------------------------------------------------------------------------


def test_hand_readings_of_a_counter() -> None:
    log = hand_readings([("2026-01-10 08:00", "12.31"), ("2026-01-11 08:00", "13.14")], unit="kWh", meter=Meter("1 %"))
    assert log.mean_power_w() == pytest.approx(830 / 24)
    assert log.resolution.to("Wh").magnitude == pytest.approx(10)
    assert log.kind == "counter"
    assert log.begins == pd.Timestamp("2026-01-10 08:00")
    run = hand_readings([("47:20", "2.41"), ("71:20", "3.4")], unit="kWh")
    assert run.span_s == 86_400
    assert run.begins is None
    assert run.resolution.to("Wh").magnitude == pytest.approx(10)
    assert hand_readings([("1:00", "2.40"), ("2:00", "2.50")], "kWh").resolution.to("Wh").magnitude == pytest.approx(10)


def test_hand_readings_of_a_power_display() -> None:
    log = hand_readings([("8:00", "60"), ("8:10", "80"), ("8:40", "1"), ("12:00", "1")], unit="W")
    assert log.kind == "power"
    assert log.mean_power_w() == pytest.approx((60 * 10 + 80 * 30 + 1 * 200) / 240)


@pytest.mark.parametrize(
    ("readings", "unit", "row"),
    [
        ([("8:00", "1,5"), ("9:00", "1.6")], "kWh", 1),
        ([("8:00", "1.5"), ("9:00", 1.6)], "kWh", 2),
        ([("8:00", "1.5"), ("nine", "1.6")], "kWh", 2),
        ([("8:00", "1.5"), ("9:00", "")], "kWh", 1),
        ([("8:00", "1.5"), ("7:00", "1.6"), ("9:00", "1.7")], "kWh", 2),
        ([("8:00", "1.5"), ("9:00", "1.4")], "kWh", 2),
        ([("8:00", "1.5"), ("8:00", "1.6")], "kWh", None),
        ([("8:00", "1.5")], "kWh", None),
        ([], "kWh", None),
        ("8:00 1.5", "kWh", None),
        ([("8:00", "1.5"), ("9:00",)], "kWh", 2),
        ([("0", "1.5"), ("5", "1.6")], "kWh", 1),
        ([("8:00", "1.5"), ("2026-01-10 09:00", "1.6")], "kWh", 2),
        ([("03/04/2026 8:00", "1.5"), ("03/04/2026 9:00", "1.6")], "kWh", 1),
        ([("8:00", "1.5"), ("9:00", "1.6")], "VA", 1),
    ],
)
def test_hand_readings_that_make_no_sense_are_refused(readings: Any, unit: str, row: int | None) -> None:
    with pytest.raises(LogRefusal, match="hand readings") as refused:
        hand_readings(readings, unit)
    assert refused.value.row == row
