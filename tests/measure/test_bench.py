"""Run-downs: the line, its budget, refusals and warnings; and whether the intervals hold on simulated benches."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.append(str(Path(__file__).parent))
import bench_coverage as coverage

from ridethrough.answer.ride import ride
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import fit_rundowns, next_test, with_standby
from ridethrough.measure.draw import measure_draw
from ridethrough.measure.log import hand_readings
from ridethrough.measure.meter import Meter
from ridethrough.measure.meterlog import MeterLog
from ridethrough.measure.rundown import Rundown
from ridethrough.measure.standby import standby_from_empty, standby_from_gauge, standby_from_refill
from ridethrough.model.load import Load
from ridethrough.model.rundowns import RundownLine
from ridethrough.model.unit import BackupUnit
from ridethrough.sources import lookup
from ridethrough.teach.scenario import KITCHEN_METER, path
from ridethrough.units import Q_, Refusal

METER = Meter("1 % + 0.5 W", power_step="0.1 W", energy_step="0.01 kWh")
RUNS = [("0 W", "56.2 h"), ("60 W", "11.8 h"), ("250 W", "3.4 h")]


def fit(runs: Any = RUNS, **told: Any) -> RundownLine:
    """Return the line of a unit that idles no deeper with nothing plugged in, unless told otherwise."""
    return fit_rundowns(runs, **{"meter": METER, "repeatability": "1.5 %", "room": "20 degC", "idling": "1",
                                   "chemistry": "iron phosphate"} | told)  # fmt: skip


def true_hours(power_w: float, energy_wh: float = 900, standby_w: float = 15, k: float = 1, bend: float = 0) -> str:
    """Return how long a unit without any spread runs, as text; its energy holds for a drain of 100 W."""
    drain_w = standby_w + power_w + bend * power_w**2
    return f"{energy_wh / drain_w * (100 / drain_w) ** (k - 1):.9f} h"


def value(estimate: Estimate, unit: str) -> float:
    return float(estimate.to(unit).value.magnitude)


def u(estimate: Estimate, unit: str) -> float:
    return float(estimate.to(unit).u.magnitude)


def shares(estimate: Estimate) -> pd.Series:
    """Return the share of each influence in the variance."""
    return estimate.budget().groupby("influence")["share"].sum()


def bench_log(levels_w: list[float], step_s: float = 600) -> MeterLog:
    """Return a log of a meter between a unit and its load."""
    power_w = np.array(levels_w, float)
    at = np.arange(power_w.size) * step_s
    return MeterLog("run.csv", "power", at, np.full(at.size, step_s), power_w, None, power_w.size * step_s,
                    Q_(0.1, "W"), METER)  # fmt: skip


# -- the line --------------------------------------------------------------------------------------------


@given(st.floats(200, 5000), st.floats(3, 60), st.lists(st.floats(20, 900), min_size=1, max_size=5, unique=True))
@settings(max_examples=60)
def test_runs_without_spread_give_the_true_line_and_run_time(
    energy_wh: float, standby_w: float, loads: list[float]
) -> None:
    runs = [(f"{load} W", true_hours(load, energy_wh, standby_w)) for load in (0.0, *loads)]
    line = fit(runs, meter=None)
    assert value(line.energy, "Wh") == pytest.approx(energy_wh, rel=1e-5)
    assert value(line.standby, "W") == pytest.approx(standby_w, rel=1e-5)
    assert value(line.hours("35 W"), "h") == pytest.approx(energy_wh / (standby_w + 35), rel=1e-5)
    assert np.abs(line.points["longer by (%)"]).max() < 1e-3


def test_run_time_is_energy_over_drain_whatever_the_runs() -> None:
    line = fit()
    for power in ("0 W", "17 W", "250 W", "600 W"):
        assert value(line.hours(power), "h") == pytest.approx(value(line.energy / (line.standby + power), "h"))


@pytest.mark.parametrize("k", [1.0, 1.05, 1.1])
def test_a_stated_rate_exponent_gives_the_true_standby(k: float) -> None:
    runs = [(f"{load} W", true_hours(load, standby_w=14.8, k=k)) for load in (60, 250)]
    line = fit(runs, rate_exponent=str(k))
    assert value(line.standby, "W") == pytest.approx(14.8, rel=1e-5)
    assert value(line.hours("20 W"), "h") == pytest.approx(float(true_hours(20, standby_w=14.8, k=k)[:-2]), rel=1e-5)


def test_two_heavy_runs_and_a_rate_effect_hide_the_standby() -> None:
    """The straight line has 3 W for a true 14.8 W, and two warnings say so; a run at 0 W mends most of it."""
    runs = [(f"{load} W", true_hours(load, standby_w=14.8, k=1.1)) for load in (60, 250)]
    line = fit(runs)
    assert 3 < value(line.standby, "W") < 5
    assert u(line.standby, "W") > 2.5
    assert any("no run-down is lighter than 60 W" in warning for warning in line.warnings)
    assert any("do not settle the standby" in warning for warning in line.warnings)
    mended = fit([("0 W", true_hours(0, standby_w=14.8, k=1.1)), *runs])
    assert value(mended.standby, "W") > 11
    assert any("off the straight line" in warning for warning in mended.warnings)
    told = fit([("0 W", true_hours(0, standby_w=14.8, k=1.1)), *runs], rate_exponent="1.00 to 1.12")
    low, high = told.standby.interval()
    assert low < Q_(14.8, "W") < high


def test_energy_and_standby_stay_correlated() -> None:
    line = fit()
    assert 0.72 < line.energy.correlation(line.standby) < 0.98
    apart = math.hypot(u(line.energy, "Wh") / value(line.energy, "Wh"),
                       u(line.standby, "W") / (value(line.standby, "W") + 5))  # fmt: skip
    together = line.energy / (line.standby + "5 W")
    assert u(together, "h") / value(together, "h") < 0.6 * apart


def test_what_the_ledger_needs_is_there() -> None:
    line = fit()
    unit = BackupUnit.from_rundowns("mine", line, printed="1 kWh", rated="800 W")
    assert unit.standby.correlation(line.standby) == pytest.approx(1)


# -- the budget ------------------------------------------------------------------------------------------


def test_the_gain_of_one_meter_cancels_in_the_run_time_and_not_in_energy_or_standby() -> None:
    poor = Meter("10 %")
    line = fit(meter=poor)
    assert shares(line.energy)["meter gain"] > 0.3
    assert shares(line.standby)["meter gain"] > 0.05
    same = line.hours(poor.gain * Q_(40, "W"))
    other = line.hours(Meter("10 %").gain * Q_(40, "W"))
    assert shares(same).get("meter gain", 0) < 1e-6
    assert shares(other)[["meter gain", "meter gain (2)"]].sum() > 0.5


def test_a_measured_draw_keeps_its_meter() -> None:
    poor = Meter("10 %")
    draw = measure_draw(hand_readings([("0:00", "2.000"), ("100:00", "6.000")], unit="kWh", meter=poor))
    assert shares(fit(meter=poor).hours(draw.mean_power)).get("meter gain", 0) < 1e-6
    assert shares(fit(meter=poor).hours(draw.as_load())).get("meter gain", 0) < 1e-6


def test_nothing_plugged_in_needs_no_meter() -> None:
    assert Rundown("0 W", "56 h").power(METER).u.magnitude == 0
    assert Rundown("10 W", "56 h").power(METER).u.magnitude > 0


def polyfit_run_times(load_w: float, draws: int, rng: np.random.Generator) -> np.ndarray:
    """Return run times at a load that one meter read, by NumPy's own fit, every error drawn anew [h].

    The errors: the meter's gain and offset (uniform, one for all readings), its resolution, run-to-run
    spread of 1.5 % in each run and the next. The rate exponent is 1 and the loss does not bend.
    """
    found = []
    for _ in range(draws):
        gain, offset = rng.uniform(0.99, 1.01), rng.uniform(-0.5, 0.5)
        true_w = [0, *(gain * shown + offset + rng.uniform(-0.05, 0.05) for shown in (60, 250))]
        share = np.array([56.2, 11.8, 3.4]) * (1 + 0.015 * rng.standard_normal(3))
        beta, alpha = np.polyfit(true_w, 1 / share, 1, w=share)
        found.append((1 + 0.015 * rng.standard_normal()) / (alpha + beta * (gain * load_w + offset)))
    return np.array(found)


@pytest.mark.parametrize("load_w", [12.0, 40.0, 250.0])
def test_the_budget_is_that_of_a_monte_carlo_run(load_w: float) -> None:
    """Shared gain, E and S correlated, offset not at 0 W: any of them wrong moves u by more than 5 %."""
    known = Estimate.standard("1.5 %", "0.001 %", "as drawn")
    line = fit(repeatability=known, rate_exponent="1.0", rated="1e9 W")
    ours = line.hours(METER.gain * Q_(load_w, "W") + METER.offset)
    drawn = polyfit_run_times(load_w, 8000, np.random.default_rng(3))
    assert value(ours, "h") == pytest.approx(drawn.mean(), rel=2e-3)
    assert u(ours, "h") == pytest.approx(drawn.std(), rel=0.04)


def test_a_stated_repeatability_counts_as_known_to_a_third_and_disagreeing_runs_widen_it() -> None:
    runs = [(f"{load} W", true_hours(load)) for load in (0, 60, 250)]
    agreeing = fit(runs)
    dof = agreeing.next_run.budget()["degrees of freedom"].iloc[0]
    assert dof == pytest.approx(0.5 * (0.02 / (0.01 / math.sqrt(3))) ** 2 + 1)
    assert u(agreeing.next_run, "1") == pytest.approx(0.015 * math.sqrt((dof - 1) / dof), rel=1e-4)
    bent = [runs[0], ("60 W", "13.5 h"), runs[2]]
    assert u(fit(bent).next_run, "1") > 1.3 * 0.015
    assert u(fit(bent).rate_exponent, "1") > 1.2 * u(agreeing.rate_exponent, "1")
    assert any("off the straight line" in warning for warning in fit(bent).warnings)
    assert not any("off the straight line" in warning for warning in agreeing.warnings)


def test_runs_narrow_the_band_of_the_rate_exponent() -> None:
    stated = fit([("60 W", true_hours(60)), ("250 W", true_hours(250))]).rate_exponent
    assert u(stated, "1") == pytest.approx(0.05 / math.sqrt(3))
    many = [(f"{load} W", true_hours(load)) for load in (0, 0, 30, 100, 400, 400)]
    assert u(fit(many).rate_exponent, "1") < 0.6 * u(stated, "1")


def test_a_rating_limits_the_bend() -> None:
    assert u(fit(rated="2 kW").bend, "1/W") == pytest.approx(0.04 / 2000 / math.sqrt(3))
    assert u(fit().bend, "1/W") == pytest.approx(0.04 / 300 / math.sqrt(3))


def part(estimate: Estimate, influence: str) -> float:
    """Return what an influence makes of the relative standard uncertainty of a run time."""
    return math.sqrt(shares(estimate).get(influence, 0.0)) * u(estimate, "h") / value(estimate, "h")


CYCLING = Load.cycling("160 W", "25 %")  # 40 W on average


RUNS_AND_RESTS = [(0.25, 160.0), (0.75, 0.0)]  # the same, as shares of time and powers [W]


def hours_by_hand(line: RundownLine, levels: list[tuple[float, float]], k: float, c: float = 0.0) -> float:
    """Return the run time if each level drains by itself: E over the mean of x (x T / E)^(k - 1) [h]."""
    energy_wh, reference_h = value(line.energy, "Wh"), line.reference.m_as("h")
    asked_w = [value(line.standby, "W") + power_w + c * power_w**2 for _, power_w in levels]
    drained_w = [x * (x * reference_h / energy_wh) ** (k - 1) for x in asked_w]
    return energy_wh / sum(share * x for (share, _), x in zip(levels, drained_w, strict=True))


@pytest.mark.parametrize(
    ("load", "levels"),
    [("40 W", [(1, 40)]), ("250 W", [(1, 250)]), ("0 W", [(1, 0)]), (CYCLING, RUNS_AND_RESTS)],
    ids=["light", "heavy", "none", "cycling"],
)
def test_hours_by_hand_with_rate_and_bend(load: Any, levels: list[tuple[float, float]]) -> None:
    """A load that runs and rests pays for each at its own rate, and its mean square bends the loss."""
    line = replace(fit(rate_exponent="1.1"), bend=Estimate.exact(Q_(2e-4, "1/W")))
    assert line.reference.m_as("h") == pytest.approx((56.2 * 11.8 * 3.4) ** (1 / 3))
    assert value(line.hours(load), "h") == pytest.approx(hours_by_hand(line, levels, 1.1, 2e-4))


@pytest.mark.parametrize("runs", [RUNS, RUNS[1:]], ids=["with 0 W", "without"])
def test_the_wider_of_moment_and_mean_gives_the_width(runs: Any) -> None:
    """By how much the run time moves with the rate exponent, from lines fitted with one a little higher."""
    line, even, steeper = fit(runs), fit(runs, rate_exponent="1.0"), fit(runs, rate_exponent="1.0002")
    moves = [abs(math.log(hours_by_hand(steeper, levels, 1.0002) / hours_by_hand(even, levels, 1)))
             for levels in (RUNS_AND_RESTS, [(1, 40.0)])]  # fmt: skip
    expected = max(moves) / 0.0002 * u(line.rate_exponent, "1")
    assert part(line.hours(CYCLING), "rate exponent, iron phosphate") == pytest.approx(expected, rel=5e-3)
    assert value(line.hours(CYCLING), "h") == pytest.approx(value(line.hours("40 W"), "h"))


def test_whether_the_moment_or_the_mean_decides_is_a_doubt_where_rates_matter() -> None:
    """From the run time by the moment to that by the mean, evenly: u is a third of the square between them."""
    line = fit(rate_exponent="1.1")
    by_moment, by_mean = (hours_by_hand(line, levels, 1.1) for levels in (RUNS_AND_RESTS, [(1, 40.0)]))
    assert by_mean > 1.02 * by_moment
    found = part(line.hours(CYCLING), "rate of the moment") * value(line.hours(CYCLING), "h")
    assert found == pytest.approx((by_mean - by_moment) / math.sqrt(3), rel=1e-3)
    for none in (line.hours("40 W"), fit(rate_exponent="1").hours(CYCLING)):
        assert part(none, "rate of the moment") == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize("load", ["20 W", "200 W", CYCLING], ids=["light", "heavy", "cycling"])
def test_a_unit_made_of_the_line_rides_as_long_as_the_line_says(load: Any) -> None:
    """Two ways to one number: the line's own, and the charge followed through time at the best estimate."""
    line = fit(rate_exponent="1.08")
    unit = BackupUnit.from_rundowns("mine", line, printed="1 kWh", rated="800 W")
    plugged = load if isinstance(load, Load) else Load.steady(load)
    assert ride(plugged, unit, "1 h", draws=2).lasts.magnitude == pytest.approx(value(line.hours(load), "h"))


def test_the_bend_of_the_loss_takes_the_mean_square_of_a_cycling_load() -> None:
    line = fit(rate_exponent="1")
    apart = line.hours(CYCLING) - line.hours("40 W")
    drain_w = value(line.standby, "W") + 40
    variance_w2 = 160**2 * 0.25 * 0.75
    assert value(apart, "h") == pytest.approx(0, abs=1e-9)
    assert u(apart, "h") == pytest.approx(
        value(line.energy, "Wh") / drain_w**2 * variance_w2 * u(line.bend, "1/W"), rel=1e-3
    )


def test_the_day_to_day_spread_of_a_load_is_in_its_run_time() -> None:
    calm, restless = Load.cycling("80 W", "50 %"), Load.cycling("80 W", "50 %", day_spread="300 Wh")
    assert u(fit().hours(restless), "h") > 1.5 * u(fit().hours(calm), "h")


# -- entries ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("entry", [
    ("60 W", "12 h"),
    ("0.72 kWh", "12 h"),
    ("720 Wh", "720 min"),
    (Q_(60, "W"), Q_(12, "h")),
    Rundown("60 W", "12 h"),
    Rundown(delivered="0.72 kWh", hours="12 h"),
    (Load.steady("60 W"), "12 h"),
    bench_log([60.0] * 72),
    Rundown(bench_log([60.0] * 72)),
    bench_log([120.0, 0.0] * 36),
])  # fmt: skip
def test_one_run_down_in_many_forms(entry: Any) -> None:
    run = Rundown.of(entry)
    assert run.duration.m_as("h") == pytest.approx(12)
    assert value(run.power(METER), "W") == pytest.approx(60)


def test_the_display_s_last_digit_is_in_the_load() -> None:
    assert u(Rundown("60 W", "12 h").power(Meter(power_step="1 W")), "W") == pytest.approx(1 / math.sqrt(12))
    energy = Rundown(delivered="0.72 kWh", hours="12 h").power(Meter(energy_step="0.01 kWh"))
    assert u(energy, "W") == pytest.approx(10 / 12 / math.sqrt(12))


def test_a_logged_run_is_as_sharp_as_the_same_log_of_a_draw() -> None:
    """A counter is read at both ends: twice half a step of 10 Wh in 12 h, both equally likely anywhere in it."""
    log = hand_readings([("0:00", "4.20"), ("12:00", "4.92")], "kWh", meter=Meter("1 %", energy_step="0.01 kWh"))
    power = Rundown(log).power(Meter())
    assert value(power, "W") == pytest.approx(60)
    resolution = power.budget().set_index("influence").iloc[:, 0]["meter resolution"]
    assert resolution == pytest.approx(math.sqrt(2) * 10 / 12 / math.sqrt(12))
    drawn = np.random.default_rng(1).uniform(-5, 5, (2, 200_000))
    assert resolution == pytest.approx(np.std((drawn[1] - drawn[0]) / 12), rel=0.01)


def test_a_log_brings_its_own_meter() -> None:
    line = fit([("0 W", "56.2 h"), bench_log([60.0] * 71)], meter=Meter("30 %"))
    assert shares(line.hours(METER.gain * Q_(60, "W"))).get("meter gain", 0) < 1e-6


def test_a_log_that_goes_on_after_the_end_is_refused() -> None:
    with pytest.raises(Refusal, match="ends with 2 h without any draw"):
        fit([("0 W", "56.2 h"), bench_log([60.0] * 71 + [0.0] * 12)])
    assert Rundown(bench_log([60.0] * 71 + [0.0] * 12), "11.8 h").duration == Q_(11.8, "h")


def test_a_run_stopped_early_counts_as_at_least() -> None:
    line = fit()
    early = [*RUNS, Rundown("40 W", "10 h", stopped_early=True)]
    assert value(fit(early).energy, "Wh") == pytest.approx(value(line.energy, "Wh"), rel=1e-4)  # 16 h were expected
    longer = fit([*RUNS, Rundown("40 W", "18 h", stopped_early=True)])
    taken = fit([*RUNS, ("40 W", "18 h")])
    assert value(line.energy, "Wh") * 1.01 < value(longer.energy, "Wh") < value(taken.energy, "Wh") * 1.05
    assert list(longer.points["counted as"]) == ["full", "full", "full", "at least"]
    assert value(longer.hours("40 W"), "h") > value(line.hours("40 W"), "h") + 0.3


def test_the_bound_of_an_early_run_is_a_censored_normal_s_likelihood() -> None:
    """Least squares and "at least" together are the maximum of the likelihood, found here by scipy."""
    from scipy.optimize import minimize
    from scipy.stats import norm

    known = Estimate.standard("3 %", "0.003 %", "as drawn")
    line = fit([*RUNS, Rundown("40 W", "16.5 h", stopped_early=True)], meter=None, repeatability=known,
               rate_exponent="1", rated="1e9 W")  # fmt: skip
    load_w, share = np.array([0, 60, 250, 40]), 1 / np.array([56.2, 11.8, 3.4, 16.5])
    first = fit(meter=None, rate_exponent="1", rated="1e9 W")
    spread = u(line.next_run, "1") * np.array(
        [*share[:3], (value(first.standby, "W") + 40) / value(first.energy, "Wh")]
    )

    def surprise(at: np.ndarray) -> float:
        z = (share - (at[0] * 15 + load_w) / (at[1] * 900)) / spread
        return float((z[:3] ** 2).sum() / 2 - norm.logcdf(z[3]))

    best = minimize(surprise, [1, 1], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12}).x
    assert value(line.standby, "W") == pytest.approx(15 * best[0], rel=1e-5)
    assert value(line.energy, "Wh") == pytest.approx(900 * best[1], rel=1e-5)


def test_a_warm_room_lends_capacity() -> None:
    warm = fit([Rundown(load, hours, room="24 degC") for load, hours in RUNS])
    assert value(warm.energy, "Wh") == pytest.approx(value(fit().energy, "Wh") * 0.984 / 0.9968)
    assert value(warm.standby, "W") == pytest.approx(value(fit().standby, "W"))
    assert shares(warm.energy)["iron phosphate in the cold"] > 0.01
    lead = fit([Rundown(load, hours, room="24 degC") for load, hours in RUNS], chemistry="sealed lead-acid",
               rate_exponent="1")  # fmt: skip
    assert value(lead.energy, "Wh") == pytest.approx(value(fit().energy, "Wh") * 0.95 / 0.99)


def test_rooms_alike_need_no_correction() -> None:
    alike = fit([Rundown(load, hours, room="27 degC") for load, hours in RUNS], room=None)
    assert value(alike.energy, "Wh") == pytest.approx(value(fit().energy, "Wh"))


def test_the_pantry_s_own_run_downs() -> None:
    """Unit B of the scenario; the numbers are invented and made with a loss that bends a little."""
    rows = pd.read_csv(path("bench-rundowns.csv"))
    runs = [Rundown(Q_(row.load_w, "W"), Q_(row.hours, "h"), room=Q_(row.room_c, "degC"))
            for row in rows[rows["unit"] == "Unit B"].itertuples()]  # fmt: skip
    line = fit_rundowns(runs, meter=Meter(**KITCHEN_METER), room="20 degC", rated="1150 W", chemistry="iron phosphate")
    assert 900 < value(line.energy, "Wh") < 1430
    assert line.warnings == ()


# -- what it refuses and warns of ------------------------------------------------------------------------


@pytest.mark.parametrize(("runs", "told", "words"), [
    ([], {}, "a list of run-downs"),
    ("60 W", {}, "a list of run-downs"),
    ([("60 W", "0 h"), ("0 W", "56 h")], {}, "a time above zero"),
    ([("60 W", "-3 h"), ("0 W", "56 h")], {}, "a time above zero"),
    ([("60 W", "11 h"), ("60 W", "11.2 h")], {}, 'best with nothing plugged in: .*standby="15 W"'),
    ([("60 W", "11 h")], {}, "two loads or more"),
    ([Rundown("60 W", "11 h", stopped_early=True), ("0 W", "56 h")], {}, "leaving out what was stopped early"),
    ([("60 W", "11 h"), ("100 W", "11.5 h")], {}, "do not fall with the load"),
    ([("-60 W", "11 h"), ("0 W", "56 h")], {}, "a load of zero or more"),
    ([(60, "11 h"), ("0 W", "56 h")], {}, 'load="60 W"'),
    ([("60 VA", "11 h"), ("0 W", "56 h")], {}, "Volt-amperes are not watts"),
    ([("60 W", 11), ("0 W", "56 h")], {}, 'hours="11 h"'),
    ([("60 W",)], {}, r"Write \(.60 W., .11.8 h.\)"),
    ([Rundown("60 W", "11 h", delivered="660 Wh")], {}, "either a load or the energy delivered"),
    (RUNS, {"standby": "15 W"}, "Leave standby out"),
    ([("0 W", "56 h")], {"standby": "0 W"}, 'emptied the unit. .*standby="15 W"'),
    (RUNS, {"rated": "200 W"}, "a rating no smaller than the loads"),
    (RUNS, {"repeatability": "0 %"}, "a spread above zero"),
    (RUNS, {"rate_exponent": "0.9"}, '"1.02 to 1.08"'),
    (RUNS, {"rate_exponent": "1.08 to 1.02"}, '"1.02 to 1.08"'),
    (RUNS, {"rate_exponent": "steep"}, '"1.02 to 1.08"'),
    (RUNS, {"chemistry": "paper"}, "iron phosphate"),
    (RUNS, {"room": "20"}, 'room="20 degC"'),
    (RUNS, {"meter": "1 %"}, "meter=Meter"),
    (RUNS, {"idling": "0.6"}, 'idling="1.05"'),
    ([("60", "11 h"), *RUNS], {}, 'load="60 W"'),
    ([*RUNS, Rundown("60 W", "11 h", packs=1), Rundown("60 W", "11 h", packs=2)], {}, "two counts of packs"),
    ([*RUNS, Rundown("60 W", "11 h", packs=0.5)], {}, "packs=1"),
    ([*RUNS, Rundown("60 W", "1 h", left="98 %")], {}, "3 % that a gauge may be off"),
])  # fmt: skip
def test_refused_with_the_way_out(runs: Any, told: dict[str, Any], words: str) -> None:
    with pytest.raises(Refusal, match=words):
        fit(runs, **told)


def test_one_run_down_and_the_standby() -> None:
    line = fit([("60 W", "12 h")], standby=Estimate.standard("15 W", "1 W", "gauge"))
    assert value(line.energy, "Wh") == pytest.approx(900)
    assert value(line.hours("60 W"), "h") == pytest.approx(12)
    assert shares(line.hours("20 W"))["gauge"] > 0.1
    assert "gauge" not in shares(line.hours("60 W")) or shares(line.hours("60 W"))["gauge"] < 1e-6


def test_two_run_downs_are_an_exact_line_that_nothing_checks() -> None:
    line = fit(RUNS[:2])
    assert np.abs(line.points["longer by (%)"]).max() < 1e-6
    assert any("nothing checks this line" in warning for warning in line.warnings)
    assert not any("nothing checks this line" in warning for warning in fit().warnings)


def test_warnings_say_what_is_missing() -> None:
    assert fit().warnings == ()
    assert any("accuracy is not stated" in warning for warning in fit(meter=None).warnings)
    assert any("room's temperature" in warning for warning in fit(room=None).warnings)


@pytest.mark.parametrize("standby_w", [-3.0, 1.0, 4.0, 30.0])
def test_a_standby_is_never_below_zero_and_the_energy_goes_with_it(standby_w: float) -> None:
    """Mean and spread of what is left of joint normal draws once those with a standby below zero are struck out."""
    mean, spread = [700.0, standby_w], [[40.0**2, 0.9 * 40 * 5], [0.9 * 40 * 5, 5.0**2]]
    energy, standby = with_standby(*Estimate.jointly(mean, spread, ["Wh", "W"], "found together"))
    drawn = np.random.default_rng(4).multivariate_normal(mean, spread, 400_000)
    left = drawn[drawn[:, 1] >= 0]
    assert (value(standby, "W"), u(standby, "W")) == pytest.approx((left[:, 1].mean(), left[:, 1].std()), rel=0.01)
    assert (value(energy, "Wh"), u(energy, "Wh")) == pytest.approx((left[:, 0].mean(), left[:, 0].std()), rel=0.01)
    assert energy.correlation(standby) == pytest.approx(np.corrcoef(left.T)[0, 1], abs=0.01)


def test_a_line_through_no_standby_keeps_its_run_times() -> None:
    """A straight line through these two has a standby of -0.2 W, and none could be ridden with nothing plugged in."""
    line = fit([("60 W", "11 h"), ("250 W", "2.6 h")])
    assert 1 < value(line.standby, "W") < 5
    assert value(line.hours("0 W"), "h") > 100
    assert value(line.hours("60 W"), "h") == pytest.approx(11, rel=0.025)
    assert value(line.hours("250 W"), "h") == pytest.approx(2.6, rel=0.03)


def test_heavy_runs_alone_do_not_promise_too_much() -> None:
    """Without the standby's limit a cycling load is told 7 % more than it lasts, on average of these benches."""
    found = coverage.claims("heavy only", 60, 2)
    assert abs(float(np.mean(found.middle_h / found.truth_h)) - 1) < 0.04
    assert found.held >= 0.92


# -- a unit that idles deeper with nothing plugged in -----------------------------------------------------

DEEPER = "standby under load over standby alone"


def test_a_run_with_nothing_plugged_in_leaves_open_what_the_unit_takes_under_load() -> None:
    """Anywhere in the table's band: u is its length / sqrt(3) of it. With nothing plugged in it stays as sure."""
    high = lookup(DEEPER).high
    open_, sure = (fit([RUNS[0], RUNS[2]], idling=idling) for idling in (None, "1"))
    assert value(open_.standby, "W") == pytest.approx(value(sure.standby, "W"))
    assert part_w(open_.standby, DEEPER) == pytest.approx(value(sure.standby, "W") * (high - 1) / math.sqrt(3), rel=0.1)
    assert DEEPER not in shares(sure.standby)
    assert u(open_.standby / open_.idling, "W") < 1.1 * u(sure.standby / sure.idling, "W")
    assert u(open_.hours("0 W"), "h") < 1.1 * u(sure.hours("0 W"), "h")


def part_w(estimate: Estimate, influence: str) -> float:
    return math.sqrt(shares(estimate)[influence]) * u(estimate, "W")


def test_runs_under_load_alone_know_nothing_of_idling() -> None:
    open_, sure = (fit(RUNS[1:], idling=idling) for idling in (None, "1"))
    assert DEEPER not in shares(open_.standby)
    assert u(open_.standby, "W") == pytest.approx(u(sure.standby, "W"))


def test_a_light_run_tells_whether_it_idles_deeper() -> None:
    light = [("0 W", true_hours(0)), ("15 W", true_hours(15)), ("60 W", true_hours(60)), ("250 W", true_hours(250))]
    without = [light[0], light[3]]
    assert u(fit(light, idling=None).standby, "W") < 0.35 * u(fit(without, idling=None).standby, "W")
    assert next_test(fit(without, idling=None), "15 W")["load (W)"][0] == 15


def test_deeper_idling_is_found_and_widens() -> None:
    """15 W under load and 9 W with nothing plugged in: the line is caught, and the run time it promises is held."""
    loaded = [(f"{load} W", true_hours(load)) for load in (15, 60, 250)]
    deeper = fit([("0 W", true_hours(0, standby_w=9)), *loaded], idling=None)
    honest = fit([("0 W", true_hours(0)), *loaded], idling=None)
    assert any("with nothing plugged in it takes less" in warning for warning in deeper.warnings)
    assert not any("with nothing plugged in it takes less" in warning for warning in honest.warnings)
    low, high = deeper.standby.interval()
    assert low < Q_(15, "W") < high
    unit = BackupUnit.from_rundowns("mine", deeper, printed="1 kWh", rated="800 W")
    assert any("with nothing plugged in it takes less" in caution for caution in ride(CYCLING, unit, "9 h").cautions)


def test_a_rate_effect_is_not_taken_for_idling() -> None:
    """Where slow runs give more, the one with nothing plugged in lies on the other side of the line."""
    runs = [(f"{load} W", true_hours(load, k=1.05)) for load in (0, 60, 250)]
    open_, sure = (fit(runs, idling=idling) for idling in (None, "1"))
    assert u(open_.rate_exponent, "1") == pytest.approx(u(sure.rate_exponent, "1"), rel=0.05)
    assert not any("with nothing plugged in it takes less" in warning for warning in open_.warnings)


def test_what_is_called_covered_lasts_where_units_idle_deeper() -> None:
    """Of what is called covered at least 88 % last, where they take 30 to 50 % less with nothing plugged in."""
    assert coverage.covered("idles deeper", 30, 2) >= 0.88
    assert coverage.covered("idles deeper", 30, 2, idling="1") < 0.88


# -- runs with packs, and runs that a gauge cut short -----------------------------------------------------


def with_pack(load_w: float) -> Rundown:
    """Return a run with a pack of 540 Wh that takes 3 W."""
    return Rundown(f"{load_w} W", true_hours(load_w, 900 + 540, 15 + 3), packs=1)


BASE = [(f"{load} W", true_hours(load)) for load in (0, 30, 250)]


def test_runs_with_and_without_a_pack_tell_what_a_pack_adds() -> None:
    line = fit([*BASE, with_pack(0), with_pack(30), with_pack(250)])
    alone = fit(BASE)
    assert line.pack is not None
    assert (value(line.pack.energy, "Wh"), value(line.pack.standby, "W")) == pytest.approx((540, 3), rel=1e-4)
    assert value(line.energy, "Wh") == pytest.approx(value(alone.energy, "Wh"))
    assert u(line.standby, "W") == pytest.approx(u(alone.standby, "W"))
    assert not any("straight line" in warning for warning in line.warnings)
    assert len(line.points) == 6
    unit = BackupUnit.from_rundowns("mine", line, printed="1 kWh", rated="800 W", pack="700 Wh", packs_max=2)
    for packs, hours in ((0, 900 / 45), (1, 1440 / 48), (2, 1980 / 51)):
        found = ride(Load.steady("30 W"), unit.with_packs(packs), "1 h", draws=2)
        assert found.lasts.magnitude == pytest.approx(hours, rel=1e-4)


def test_one_run_with_a_pack_tells_its_energy_and_assumes_its_standby() -> None:
    line = fit([*BASE, with_pack(60)])
    assert line.pack is not None
    assert value(line.pack.energy, "Wh") == pytest.approx(540, rel=1e-3)
    assert shares(line.pack.standby)["standby of a pack over its unit's"] > 0.5
    with pytest.raises(Refusal, match="shorter runs at heavier loads"):
        fit([*BASE, Rundown("30 W", "20 h", packs=1), Rundown("250 W", "30 h", packs=1)])


def test_a_run_that_a_gauge_cut_short_counts_with_the_gauge_s_error() -> None:
    """60 % of a run in 7.2 h is one of 12 h, give or take 5 % for a gauge that may be off by 3 % of full."""
    cut = Rundown("60 W", "7.2 h", left="40 %")
    assert value(cut.lasts, "h") == pytest.approx(12)
    assert u(cut.lasts, "h") == pytest.approx(12 * math.hypot(0.03 / math.sqrt(3), 0.005 * math.sqrt(2 / 3)) / 0.6)
    heavy = fit([("0 W", true_hours(0)), cut])
    full = fit([("0 W", true_hours(0)), ("60 W", "12 h")])
    assert value(heavy.energy, "Wh") == pytest.approx(value(full.energy, "Wh"), rel=1e-4)
    assert shares(heavy.energy)["gauge departure"] > 0.3
    assert list(heavy.points["counted as"]) == ["full", "by gauge"]
    among = fit([*BASE, Rundown("60 W", "7.5 h", left="40 %")])
    assert abs(value(among.energy, "Wh") - 900) < 0.3 * abs(value(fit([*BASE, ("60 W", "12.5 h")]).energy, "Wh") - 900)


def test_the_next_test_narrows_the_interval_most() -> None:
    heavy = fit([("120 W", "6.7 h"), ("250 W", "3.4 h")])
    table = next_test(heavy, "0 W")
    assert table["load (W)"][0] == 0
    assert set(table["load (W)"]) == {0, 120, 250}
    narrow = table.iloc[:, 2]
    assert narrow.is_monotonic_increasing
    assert narrow[0] < 0.6 * heavy.hours("0 W").expanded().magnitude
    assert set(next_test(fit())["load (W)"]) == {0, 60, 250}
    alone = next_test(fit([("60 W", "12 h")], standby="15 W"), "40 W")
    assert set(alone["load (W)"]) == {0, 40}


def test_the_next_test_is_a_table_to_read() -> None:
    """No digit that nobody can tell, and a head above the numbers of its rows."""
    table = next_test(fit())
    assert table.equals(table.round(2))
    assert table.columns.name == "row"


def test_it_shows_itself() -> None:
    line = fit(RUNS[:2])
    assert repr(line).startswith("<RundownLine of 2 run-downs, at the outlet: ")
    assert "warning: nothing checks this line" in repr(line)
    assert "<table" in line._repr_html_()


# -- standby by itself -----------------------------------------------------------------------------------


def test_standby_from_a_run_to_empty_keeps_the_energy_s_errors() -> None:
    line = fit()
    found = standby_from_empty("56.2 h", line.energy, repeatability="1.5 %")
    assert value(found, "W") == pytest.approx(value(line.energy, "Wh") / 56.2)
    assert found.correlation(line.energy) > 0.8
    assert shares(standby_from_empty("56.2 h", "900 Wh"))["run to run"] == pytest.approx(1)


def test_standby_from_the_gauge_rests_on_the_gauge() -> None:
    short, far = (
        standby_from_gauge("100 %", after, hours, "1 kWh") for after, hours in (("93 %", "7 h"), ("30 %", "70 h"))
    )
    assert value(short, "W") == pytest.approx(10)
    assert value(far, "W") == pytest.approx(10)
    assert u(short, "W") == pytest.approx(10 * u(far, "W"))
    assert shares(short)["gauge departure"] > 0.9
    percents = shares(short)[["whole percents before", "whole percents after"]]
    assert percents.sum() == pytest.approx(1 - shares(short)["gauge departure"])
    trusted = standby_from_gauge("100 %", "93 %", "7 h", "1 kWh", gauge="0 %")
    assert u(trusted, "W") == pytest.approx(1000 / 7 * 0.01 * math.sqrt(2 / 12))
    with pytest.raises(Refusal, match="one that falls"):
        standby_from_gauge("93 %", "93 %", "7 h", "1 kWh")


def test_standby_from_a_refill_has_the_charger_in_it() -> None:
    found = standby_from_refill("0.3 kWh", "24 h", meter=METER)
    assert value(found, "W") == pytest.approx(300 * 0.88 / 24)
    assert shares(found)["charger efficiency"] > 0.9
    assert shares(standby_from_refill("0.3 kWh", "24 h", charger_efficiency="88 %", meter=METER))["meter gain"] == 1


@pytest.mark.parametrize("call", [
    lambda: standby_from_empty("0 h", "900 Wh"),
    lambda: standby_from_gauge("100 %", "90 %", "0 h", "1 kWh"),
    lambda: standby_from_refill("-0.3 kWh", "24 h"),
    lambda: standby_from_refill("0.3 kWh", "24 h", charger_efficiency="120 %"),
])  # fmt: skip
def test_standby_refuses_what_can_t_be(call: Any) -> None:
    with pytest.raises(Refusal):
        call()


# -- simulated benches: do the intervals hold? -----------------------------------------------------------


@pytest.fixture(scope="module")
def held() -> dict[str, Any]:
    """Few benches of each kind; `bench_coverage.py` prints the full table."""
    found = {kind: coverage.claims(kind, 60, 2) for kind in coverage.KINDS}
    return found | {"all": coverage.pooled(list(found.values()))}


def test_intervals_hold_and_are_not_much_wider_than_they_must_be(held: dict[str, Any]) -> None:
    assert held["all"].held >= 0.92
    assert held["all"].over_least <= 1.5
    assert min(found.held for found in held.values()) >= 0.85  # 51 of 60; the bar of 0.90 needs the full table


def no_correlation(line: RundownLine, load: Load) -> Estimate:
    """E / (S + P) as if energy and standby had been found apart."""
    energy = Estimate.standard(line.energy.value, line.energy.u, "energy")
    return energy / (Estimate.standard(line.standby.value, line.standby.u, "standby") + load.mean_power)


def line_alone(line: RundownLine, load: Load) -> Estimate:
    """E / (S + P) without the next run's own spread, the bend and the rate."""
    return line.energy / (line.standby + load.mean_power)


@pytest.mark.parametrize(("wrong", "too_wide"), [
    ({"one_meter": False}, True),
    ({"answer": no_correlation}, True),
    ({"answer": line_alone}, False),
], ids=["gain not shared", "energy and standby apart", "no spread of the next run"])  # fmt: skip
def test_the_bar_catches_what_is_wrong(wrong: dict[str, Any], too_wide: bool) -> None:
    """With a meter of 5 %, so that its gain matters, and units that idle no deeper; done right, the bar is met."""
    kinds = ("linear", "light only", "three tests")
    right = coverage.pooled([coverage.claims(kind, 40, 3, limit=0.05, idling="1") for kind in kinds])
    assert right.held >= 0.92
    assert right.over_least <= 1.5
    done = coverage.pooled([coverage.claims(kind, 40, 3, limit=0.05, idling="1", **wrong) for kind in kinds])
    assert done.over_least > 1.5 if too_wide else done.held < 0.9
