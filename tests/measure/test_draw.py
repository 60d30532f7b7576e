"""Measured draw: what a log says about an appliance, and how sure that is."""

from __future__ import annotations

import importlib.util
import math
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridethrough.measure.cycles import find_switching
from ridethrough.measure.draw import measure_draw, time_to_log
from ridethrough.measure.log import Meter, MeterLog, hand_readings
from ridethrough.model.nameplate import in_room
from ridethrough.model.pattern import Pattern
from ridethrough.sources import lookup
from ridethrough.units import Q_, Refusal

EXACT = Meter("0 W")


def power_log(power_w: object, step_s: float = 60, meter: Meter = EXACT, step_w: float = 0.0) -> MeterLog:
    """Return readings of power, one each ``step_s``, as a log."""
    power = np.asarray(power_w, float)
    at = np.arange(power.size) * step_s
    return MeterLog("a log", "power", at, np.full(power.size, float(step_s)), power, None, power.size * step_s,
                    Q_(step_w, "W"), meter)  # fmt: skip


def cycling(days: float, on: int = 20, off: int = 40, running_w: float = 90.0, rest_w: float = 0.0) -> np.ndarray:
    """Return power by the minute: ``off`` minutes at rest, ``on`` minutes running, and so on."""
    cycle = np.r_[np.full(off, rest_w), np.full(on, running_w)]
    return np.tile(cycle, math.ceil(days * 1440 / cycle.size))[: round(days * 1440)]


def without(log: MeterLog, first: int, stop: int) -> MeterLog:
    """Return the log with a gap where steps ``first`` to before ``stop`` were."""
    keep = np.r_[0:first, stop : log.start_s.size]
    return replace(log, start_s=log.start_s[keep], duration_s=log.duration_s[keep], power_w=log.power_w[keep])


def watts(estimate: object) -> float:
    return float(estimate.value.to("W").magnitude)  # type: ignore[attr-defined]


# -- the mean ------------------------------------------------------------------------------------------


@settings(deadline=None)
@given(power=st.floats(0.5, 500), minutes=st.integers(10, 6000))
def test_a_constant_load_is_met_exactly(power: float, minutes: int) -> None:
    draw = measure_draw(power_log(np.full(minutes, power)))
    assert watts(draw.mean_power) == pytest.approx(power, rel=1e-12)
    assert draw.daily_energy.value.to("Wh").magnitude == pytest.approx(24 * power, rel=1e-12)
    assert draw.cycles.empty
    assert draw.running_power is None
    if minutes >= 1440:  # a steady load seen for a day has no band
        assert draw.mean_power.u.magnitude < 1e-9 * power


@settings(max_examples=25, deadline=None)
@given(factor=st.floats(0.2, 8), days=st.floats(0.3, 5))
def test_twice_the_power_is_twice_everything(factor: float, days: float) -> None:
    one, other = measure_draw(power_log(cycling(days))), measure_draw(power_log(factor * cycling(days)))
    assert watts(other.mean_power) == pytest.approx(factor * watts(one.mean_power))
    assert other.mean_power.u.magnitude == pytest.approx(factor * one.mean_power.u.magnitude)
    energies = [draw.energy_over("30 h").value.magnitude for draw in (one, other)]
    assert energies[1] == pytest.approx(factor * energies[0])
    assert len(other.cycles) == len(one.cycles)


@settings(max_examples=25, deadline=None)
@given(first=st.integers(1, 4000), length=st.integers(1, 1200))
def test_a_gap_does_not_change_the_mean_of_a_constant_load(first: int, length: int) -> None:
    log = power_log(np.full(5500, 63.0))
    assert watts(measure_draw(without(log, first, first + length)).mean_power) == pytest.approx(63.0, rel=1e-12)


@settings(max_examples=25, deadline=None)
@given(first=st.integers(1, 4000), length=st.integers(1, 1200))
def test_nothing_is_carried_across_a_gap(first: int, length: int) -> None:
    draw = measure_draw(without(power_log(cycling(4)), first, first + length))
    assert watts(draw.mean_power) == pytest.approx(30.0, rel=1e-12)
    assert draw.cycles["on_min"].unique().tolist() == [20.0]
    assert draw.cycles["off_min"].unique().tolist() == [40.0]


@pytest.mark.parametrize("cut", [0, 10, 30, 45])
def test_only_whole_cycles_are_averaged(cut: int) -> None:
    power = cycling(0.5)[cut:]
    draw = measure_draw(power_log(power))
    assert watts(draw.mean_power) == pytest.approx(30.0)
    assert cut == 0 or abs(power.mean() - 30.0) > 0.1  # the plain mean misses


def test_steps_of_different_length_weigh_by_their_length() -> None:
    at = np.array([0.0, 600.0, 1000.0])
    log = replace(power_log([1.0, 1, 1]), start_s=at, duration_s=np.array([600.0, 400, 2600]),
                  power_w=np.array([60.0, 50, 40]), span_s=3600.0)  # fmt: skip
    assert watts(measure_draw(log).mean_power) == pytest.approx((60 * 600 + 50 * 400 + 40 * 2600) / 3600)


def test_a_log_of_changes_shows_the_same_cycles_as_one_sampled_in_between() -> None:
    sampled = power_log(cycling(2))
    edges = np.flatnonzero(np.r_[True, np.diff(sampled.power_w) != 0])
    ends = np.r_[edges[1:], sampled.power_w.size]
    changes = replace(sampled, start_s=edges * 60.0, duration_s=(ends - edges) * 60.0, power_w=sampled.power_w[edges])
    pd.testing.assert_frame_equal(measure_draw(changes).cycles, measure_draw(sampled).cycles)


# -- what is seen --------------------------------------------------------------------------------------


def test_cycles_are_listed_with_their_times_and_energy() -> None:
    draw = measure_draw(power_log(cycling(1, rest_w=2.0)))
    assert len(draw.cycles) == 23  # the last one's end was not seen
    first = draw.cycles.iloc[0]
    assert first.to_dict() == pytest.approx(
        {"start_h": 40 / 60, "on_min": 20, "off_min": 40, "energy_wh": 90 / 3 + 2 * 2 / 3, "running_w": 90}
    )
    assert draw.duty_cycle is not None
    assert draw.duty_cycle.magnitude == pytest.approx(1 / 3)
    assert draw.running_power == Q_(90, "W")


def test_a_variable_speed_compressor_has_no_cycles() -> None:
    rng = np.random.default_rng(3)
    at = np.arange(3 * 1440) / 1440
    speed = 0.5 + 0.3 * np.sin(2 * np.pi * at) + 0.2 * np.sin(2 * np.pi * 17 * at)
    power = 20 + 60 * np.clip(speed, 0, 1) ** 1.5 + rng.normal(0, 1, at.size)
    draw = measure_draw(power_log(power))
    assert draw.cycles.empty
    assert draw.running_power is None
    assert draw.duty_cycle is None
    assert watts(draw.mean_power) == pytest.approx(power.mean())
    rests = np.where(np.arange(at.size) % 90 < 15, 0.5, power)  # and where it also stops at times
    assert measure_draw(power_log(rests)).cycles.empty


def test_two_levels_alone_do_not_make_a_compressor() -> None:
    close = cycling(1, running_w=60.0, rest_w=40.0)
    assert measure_draw(power_log(close)).cycles.empty
    ramps = np.tile(np.r_[np.geomspace(30, 1, 30), np.full(30, 40.0)], 24)  # comes to rest on many levels
    assert measure_draw(power_log(ramps)).cycles.empty


def test_a_lamp_is_not_a_compressor() -> None:
    power = cycling(1)
    power[5:1440:97] += 15.0
    power[30:34] = 15.0
    power[6:1440:60] = 70.0  # for a minute: too short a run
    power[50:1440:120] = 0.0  # and too short a rest
    draw = measure_draw(power_log(power))
    assert len(draw.cycles) == 23
    assert draw.running_power == Q_(90, "W")


def test_a_start_is_told_from_running() -> None:
    power = np.repeat(cycling(1), 6)
    starts = np.flatnonzero(np.diff(power) > 0) + 1
    power[starts[::2]] = 700.0
    draw = measure_draw(power_log(power, step_s=10))
    assert (draw.peak_power, draw.surge) == (Q_(700, "W"), Q_(700, "W"))
    load = draw.as_load()
    assert (load.appliances[0].peak, load.appliances[0].surge) == (Q_(90, "W"), Q_(700, "W"))
    assert any("24 starts, the inrush caught in 12" in finding for finding in draw.findings)
    assert draw.running_power == Q_(90, "W")


def with_defrosts(days: int, at_min: tuple[int, ...], heater_w: float = 250.0) -> np.ndarray:
    """Return a cycling appliance whose defrosts take 30 min of heater, 10 min to drip, then a run of 60 min."""
    power = cycling(days)
    detour = np.r_[np.full(30, heater_w), np.full(10, 0.0), np.full(60, 90.0), np.full(20, 0.0)]
    for minute in at_min:
        power[minute : minute + detour.size] = detour
    return power


def test_defrosts_are_kept_apart() -> None:
    draw = measure_draw(power_log(with_defrosts(5, (1480, 2920, 4360, 5800))))
    assert draw.defrosts["start_h"].tolist() == pytest.approx([1480 / 60, 2920 / 60, 4360 / 60, 5800 / 60])
    extra = 250 * 0.5 + 90 * 1.0 - 30 * 2  # heater and long run, less what steady cycles would have taken
    assert draw.defrosts["extra_wh"].tolist() == pytest.approx([extra] * 4)
    assert draw.cycles["energy_wh"].tolist() == pytest.approx([30.0] * len(draw.cycles))
    assert watts(draw.mean_power) == pytest.approx(30 + extra / 24)  # P_ss + dE_df / t_df
    assert draw.surge is None
    assert draw.as_load().appliances[0].peak == Q_(250, "W")


def test_defrosts_of_a_variable_speed_compressor_are_kept_apart() -> None:
    """No cycles, a heater for 20 min each 11 h 40 min, and 40 min at full speed after it."""
    at = np.arange(3 * 1440)
    power = 30 + 8 * np.sin(2 * np.pi * at / 1440)
    for begin in range(300, at.size - 200, 700):
        power[begin : begin + 20], power[begin + 20 : begin + 60] = 250.0, 70.0
    draw = measure_draw(power_log(power))
    assert draw.cycles.empty
    assert draw.defrosts["start_h"].tolist() == pytest.approx([(300 + 700 * n) / 60 for n in range(6)])
    extra = (20 * (250 - 30) + 40 * (70 - 30)) / 60
    assert draw.defrosts["extra_wh"].tolist() == pytest.approx([extra] * 6, abs=17)  # 2 h of a day's rhythm of 8 W
    assert watts(draw.mean_power) == pytest.approx(30 + extra * 60 / 700, rel=0.01)
    assert any("6 defrosts, kept apart" in finding for finding in draw.findings)
    without_heat = measure_draw(power_log(30 + 8 * np.sin(2 * np.pi * at / 1440)))
    assert without_heat.defrosts.empty


def test_a_defrost_that_was_cut_off_still_counts_for_how_often() -> None:
    whole = measure_draw(power_log(with_defrosts(3, (1480, 2920))))
    cut = measure_draw(power_log(with_defrosts(3, (1480, 2920))[: 2920 + 20]))
    assert np.isnan(cut.defrosts["extra_wh"].iloc[1])
    assert watts(cut.mean_power) == pytest.approx(watts(whole.mean_power))


def test_with_no_whole_defrost_the_mean_is_over_all_the_log() -> None:
    power = with_defrosts(2, (1400,))[:1430]
    draw = measure_draw(power_log(power))
    assert draw.defrosts["extra_wh"].isna().all()
    assert watts(draw.mean_power) == pytest.approx(power.mean())
    assert any("the mean is over all of it" in finding for finding in draw.findings)


def test_one_defrost_leaves_the_rate_open() -> None:
    one = measure_draw(power_log(with_defrosts(3, (1480,))))
    budget = one.mean_power.budget().set_index("influence")
    extra = float(one.defrosts["extra_wh"].iloc[0])
    assert budget.iloc[:, 0]["time between defrosts"] == pytest.approx(extra / 72 / math.sqrt(3))


def test_a_first_cool_down_is_left_out() -> None:
    power = np.r_[np.full(20, 0.0), np.full(300, 90.0), np.full(40, 0.0), cycling(1)[40:]]
    draw = measure_draw(power_log(power))
    assert watts(draw.mean_power) == pytest.approx(30.0)
    assert any("first cool-down that ran 5.0 h" in finding for finding in draw.findings)
    assert draw.cycles["on_min"].max() == 20


def test_slow_samples_show_no_cycles() -> None:
    draw = measure_draw(power_log(cycling(3)[::15], step_s=900))
    assert draw.cycles.empty
    assert draw.running_power is None


def test_times_count_from_the_log_not_from_its_gaps() -> None:
    log = power_log(cycling(1))
    found = find_switching(replace(log, start_s=log.start_s + 7200.0))
    assert found.cycles["start_h"].iloc[0] == pytest.approx(40 / 60 + 2)


# -- hand readings and counters ------------------------------------------------------------------------


def test_hand_readings_do_not_know_what_they_cannot_know() -> None:
    meter = Meter("1 % + 0.5 W", energy_step="0.01 kWh")
    draw = measure_draw(hand_readings([("0:00", "4.20"), ("40:00", "5.40")], unit="kWh", meter=meter), name="chest")
    assert watts(draw.mean_power) == pytest.approx(1200 / 40)
    assert (draw.peak_power, draw.surge, draw.duty_cycle, draw.running_power) == (None, None, None, None)
    assert repr(draw).count("not measured") >= 4
    assert "chest" in repr(draw)
    assert draw.cycles.empty


def test_a_counter_is_read_at_both_ends() -> None:
    meter = Meter("1 % + 0.5 W", energy_step="0.01 kWh")
    draw = measure_draw(hand_readings([("0:00", "4.20"), ("40:00", "5.40")], unit="kWh", meter=meter))
    budget = draw.mean_power.budget().set_index("influence").iloc[:, 0]
    assert budget["meter resolution"] == pytest.approx(10 / math.sqrt(12) * math.sqrt(2) / 40)
    assert budget["meter gain"] == pytest.approx(0.01 * 30 / math.sqrt(3))
    assert budget["meter offset"] == pytest.approx(0.5 / math.sqrt(3))


def test_interval_energies_round_one_by_one_and_all_alike_on_a_plateau() -> None:
    log = replace(
        power_log(np.tile([60.0, 0.0, 120.0], 80), step_s=600), kind="interval energy", resolution=Q_(1, "Wh")
    )
    for power, roundings in ((log.power_w, math.sqrt(240)), (np.full(240, 60.0), 240)):
        budget = measure_draw(replace(log, power_w=power)).mean_power.budget().set_index("influence").iloc[:, 0]
        assert budget["meter resolution"] == pytest.approx(1 / math.sqrt(12) * roundings / 40)


def test_the_resolution_of_samples_does_not_average_out() -> None:
    for minutes in (1440, 14400):
        draw = measure_draw(power_log(np.full(minutes, 63.0), step_w=1.0))
        assert draw.mean_power.u.magnitude == pytest.approx(1 / math.sqrt(12))


def test_one_meter_is_one_influence() -> None:
    meter = Meter("2 %")
    one, other = (measure_draw(power_log(np.full(1440, p), meter=meter)).mean_power for p in (40.0, 80.0))
    assert (other / one).u.magnitude == pytest.approx(0, abs=1e-12)
    assert (one + other).u.magnitude == pytest.approx(0.02 * 120 / math.sqrt(3))
    apart = measure_draw(power_log(np.full(1440, 80.0), meter=Meter("2 %"))).mean_power
    assert (apart / one).u.magnitude > 0.02


def test_volt_amperes_are_refused() -> None:
    log = replace(power_log(cycling(1)), kind="apparent power")
    with pytest.raises(Refusal, match="Volt-amperes are not watts"):
        measure_draw(log)


# -- how sure ------------------------------------------------------------------------------------------


def half(draw: object) -> float:
    """Return half the interval of the mean over the mean [-]."""
    mean = draw.mean_power  # type: ignore[attr-defined]
    return float((mean.expanded() / mean.value).to("").magnitude)


def with_duty(*on_minutes: int) -> np.ndarray:
    """Return power by the minute, each day with its own minutes of running in an hour."""
    return np.concatenate([cycling(1, on=on, off=60 - on) for on in on_minutes])


def test_sizes_are_weighed_as_a_plain_reckoning_weighs_them() -> None:
    """Five daily readings: covariances summed hour by hour, densities by SciPy, the quantile by root finding."""
    from scipy.optimize import brentq
    from scipy.stats import multivariate_normal, norm

    wh, hours = np.array([800.0, 900, 700, 900, 950]), np.arange(120)
    readings = [(f"{24 * n}:00", f"{sum(wh[:n]) / 1000}") for n in range(6)]
    found = measure_draw(hand_readings(readings, unit="kWh"))
    level, day = wh / wh.mean(), hours // 24
    contrasts = np.eye(5)[:4] - 0.2  # of the days to their mean, which they leave open
    means = (day == np.arange(5)[:, np.newaxis]) / 24
    grid = [(lookup(f"how a draw varies, {part}"), n)
            for part, n in (("for days", 9), ("each day", 5), ("each hour", 5))]  # fmt: skip
    table = []
    for r in (lookup("likeness of successive days").low, lookup("likeness of successive days").high):
        alike_hours = r ** (np.abs(np.subtract.outer(hours, hours)) / 24)
        lasts = means @ alike_hours @ means.T
        for s, d, w in np.array(np.meshgrid(*(np.geomspace(c.low, c.high, n) for c, n in grid))).reshape(3, -1).T:
            cov = s**2 * lasts + (d**2 + w**2 / 24) * np.eye(5)  # a rhythm leaves no trace in whole days
            log_chance = multivariate_normal.logpdf(contrasts @ level, cov=contrasts @ cov @ contrasts.T)
            table.append((log_chance, cov.mean()))
    log_chance, variance = np.array(table).T
    chance = np.exp(log_chance - log_chance.max())
    chance /= chance.sum()
    says = brentq(lambda at: chance @ norm.sf(at / np.sqrt(variance)) - 0.025, 0, 2)
    varied = found.mean_power - found.metered
    assert varied.expanded().magnitude / 35.4167 == pytest.approx(says, rel=0.03)


def test_a_calm_home_shows_itself_and_a_lively_one_too() -> None:
    """Before three days a band is said to weigh most; days alike narrow it, unlike ones keep it wide."""
    one, calm, lively = (measure_draw(power_log(with_duty(*on))) for on in ((20,), (20,) * 5, (16, 22, 18, 24, 20)))
    assert any("stated bands" in warning for warning in one.warnings)
    assert not calm.warnings
    assert half(one) > 3 * half(calm)
    assert half(calm) < 0.02
    assert lively.appliance.next_days is not None
    day = float(
        (lively.appliance.next_days * lively.appliance.day_spread / lively.daily_energy.value).expanded().magnitude
    )
    assert 0.75 < day / 1.96 / np.std([0.8, 1.1, 0.9, 1.2, 1.0], ddof=1) < 1.6
    assert half(lively) > 4 * half(calm)


def test_on_one_long_log_each_day_narrows_it() -> None:
    """Homes whose days differ by 6 % at random, logged for 1 to 10 days: no rule switches that would widen it."""
    rng = np.random.default_rng(4)
    homes = [with_duty(*np.round(20 * (1 + 0.06 * rng.standard_normal(10))).astype(int)) for _ in range(9)]
    widths = np.array([[half(measure_draw(power_log(home[: round(1440 * days)]))) for days in (1, 2, 3, 5, 7, 10)]
                       for home in homes])  # fmt: skip
    assert (np.diff(np.median(widths, axis=0)) < 0).all()


def test_readings_by_hand_and_a_log_by_the_minute_tell_one_story() -> None:
    rng = np.random.default_rng(8)
    hourly = 30 * (1 + 0.2 * rng.standard_normal(120)) * np.repeat([0.95, 1.1, 0.9, 1.05, 1.0], 24)
    power = np.repeat(hourly, 60)
    counted = np.append(0, np.cumsum(power.reshape(5, -1).sum(axis=1))) / 60_000
    by_hand = measure_draw(hand_readings([(f"{24 * n}:00", f"{kwh}") for n, kwh in enumerate(counted)], unit="kWh"))
    log = measure_draw(power_log(power))
    assert watts(by_hand.mean_power) == pytest.approx(watts(log.mean_power), rel=0.01)
    assert half(by_hand) == pytest.approx(half(log), rel=0.35)


def test_daily_hand_readings_show_days_and_one_long_interval_does_not() -> None:
    readings = [("0:00", "0"), ("24:00", "0.80"), ("48:00", "1.70"), ("72:00", "2.40"), ("96:00", "3.30")]
    daily = measure_draw(hand_readings(readings, unit="kWh"))
    ends = measure_draw(hand_readings([readings[0], readings[-1]], unit="kWh"))
    assert watts(daily.mean_power) == pytest.approx(watts(ends.mean_power))
    assert (
        daily.appliance.day_spread > 1.2 * ends.appliance.day_spread
    )  # 0.8, 0.9, 0.7, 0.9 lie further apart than most days do


@pytest.mark.parametrize("hours", [3, 6, 12])
def test_a_short_outage_is_as_uncertain_as_the_log_s_own_windows(hours: int) -> None:
    """A heater each ten hours, and evenings at twice the nights: windows of this length all through the log."""
    power = with_defrosts(4, (600, 1200, 1800, 2400, 3000, 3600, 4200, 4800))
    power *= np.tile(np.repeat([0.7, 1.3], 720), 4)
    sums = np.cumsum(np.concatenate([[0.0], power, power[: 60 * hours]]))
    windows_wh = (sums[60 * hours :] - sums[: -60 * hours]) / 60
    draw = measure_draw(power_log(power))
    hour = dict(draw.energy_over(Q_(hours, "h")).budget().set_index("influence").iloc[:, 0])
    assert hour["hour at which it begins, a log"] == pytest.approx(windows_wh.std(), rel=0.1)


def test_logs_by_the_hour_know_the_hours_of_a_day_and_logs_by_the_day_a_band() -> None:
    evening = np.tile(np.repeat([20.0, 40.0], 12), 4)
    hourly = replace(power_log(evening, step_s=3600), kind="interval energy", resolution=Q_(1, "Wh"))
    pattern = measure_draw(hourly).appliance.pattern
    assert pattern.period_h == 96
    assert pattern.windows(6, 10).std() / pattern.mean_w == pytest.approx(math.sqrt(2 / 27), rel=0.05)
    daily = measure_draw(hand_readings([("0:00", "0"), ("96:00", "2.88")], unit="kWh")).appliance.pattern
    assert daily.windows(6, 10).std() / daily.mean_w > 0.08
    assert daily.windows(24, 10).std() / daily.mean_w == pytest.approx(0, abs=1e-9)


# -- the room it stands in -------------------------------------------------------------------------------


def test_a_log_knows_its_room_or_says_that_it_does_not() -> None:
    log = power_log(cycling(3.2))
    untold, told = measure_draw(log), measure_draw(log, room="20 degC", cabinet="freezer")
    assert any('measure_draw(log, room="20 degC")' in finding for finding in untold.findings)
    assert not any("room" in finding for finding in told.findings)
    assert (told.appliance.room, told.appliance.cabinet) == (Q_(20, "degC"), "freezer")
    assert told.mean_power is not None
    with pytest.raises(Refusal, match="without the room"):
        in_room(untold.as_load(), room="25 degC")
    warmer = in_room(told.as_load(), room="25 degC")
    assert watts(warmer.mean_power) == pytest.approx(30 * math.exp(5 * 0.04))
    assert warmer.mean_power.u > 1.2 * told.mean_power.u


def test_the_next_outage_is_less_certain_than_the_mean() -> None:
    draw = measure_draw(power_log(cycling(3.2)))
    for hours in (24, 72, 168):
        energy = draw.energy_over(Q_(hours, "h"))
        assert energy.value.magnitude == pytest.approx(hours * watts(draw.mean_power))
        assert energy.u.magnitude > 1.02 * hours * draw.mean_power.u.magnitude
        assert draw.as_load().energy_over(Q_(hours, "h")).u.magnitude == pytest.approx(energy.u.magnitude)


def test_as_load_keeps_mean_and_what_it_rests_on() -> None:
    draw = measure_draw(power_log(with_defrosts(5, (1480, 2920, 4360)), meter=Meter("1 %")), name="kitchen")
    appliance = draw.as_load().appliances[0]
    assert appliance is draw.appliance
    assert appliance.name == draw.name == "kitchen"
    assert appliance.measured
    assert draw.energy_over("24 h").correlation(draw.as_load().energy_over("24 h")) == pytest.approx(1)
    assert appliance.pattern.power_w.max() == pytest.approx(250, rel=0.1)  # days are brought to one mean


# -- how it goes through time ----------------------------------------------------------------------------


def days_of(pattern: Pattern) -> list[float]:
    """Return the mean of each whole day of a pattern [W]."""
    edges_h = np.append(0, np.cumsum(pattern.duration_h))
    sums = np.append(0, np.cumsum(pattern.duration_h * pattern.power_w))
    return list(np.diff(np.interp(np.arange(round(pattern.period_h) // 24 + 1) * 24, edges_h, sums)) / 24)


def test_a_pattern_is_the_log_s_own_whole_days_and_24_hours_of_it_are_alike() -> None:
    """Three days and a half, the second with a compressor of 1.2 times the power: cycles stay, days come together."""
    one = cycling(1)
    log = power_log(np.concatenate([one, 1.2 * one, one, one[:720]]))
    pattern = measure_draw(log).appliance.pattern
    assert pattern.period_h == pytest.approx(72)

    def apart(power_w: np.ndarray) -> float:
        """How far means of 24 hours, begun at any minute, lie from each other, over their mean."""
        sums = np.cumsum(np.concatenate([[0.0], power_w, power_w]))
        means = (sums[1440 : 1440 + power_w.size] - sums[: power_w.size]) / 1440
        return float(np.ptp(means) / means.mean())

    minutes = pattern.at((np.arange(4320) + 0.5) / 60)
    assert ((minutes == 0) == (np.tile(one, 3) == 0)).mean() > 0.98
    assert apart(minutes) < 0.5 * apart(log.power_w[:4320])


def test_what_was_not_seen_is_taken_at_the_mean() -> None:
    """Four hours are missing, and taken at the mean of what was seen."""
    log = without(power_log(cycling(2)), 600, 840)
    pattern = measure_draw(log).appliance.pattern
    assert pattern.period_h == pytest.approx(48)
    assert pattern.at(np.array([11.0, 13.9])) == pytest.approx([30, 30], rel=0.03)
    seen = pattern.at(np.linspace(15, 47, 400))
    assert seen[seen > 0] == pytest.approx(90, rel=0.04)
    assert days_of(pattern) == pytest.approx([30, 30], rel=0.03)


@pytest.mark.parametrize(
    ("begins", "clock_h"),
    [(None, None), ("2026-03-01 00:00", 0), ("2026-03-01 17:45", 17.75), ("2026-03-01 17:45+02:00", 17.75)],
)
def test_a_pattern_begins_at_the_log_s_clock(begins: str | None, clock_h: float | None) -> None:
    log = replace(power_log(cycling(1)), begins=None if begins is None else pd.Timestamp(begins))
    assert measure_draw(log).appliance.pattern.begins_h == clock_h


def test_without_a_whole_day_it_is_what_was_seen_and_has_no_clock() -> None:
    log = replace(power_log(cycling(0.5)), begins=pd.Timestamp("2026-03-01 17:45"))
    pattern = measure_draw(log).appliance.pattern
    assert (pattern.period_h, pattern.begins_h) == (12, None)
    assert ((pattern.at((np.arange(720) + 0.5) / 60) > 0) == (cycling(0.5) > 0))[40:660].all()


def test_what_does_not_belong_to_the_long_run_is_not_in_the_pattern() -> None:
    """A first cool-down of ten hours: left out of the mean, and taken at the mean in the pattern."""
    power = cycling(3)
    power[:600] = 90.0
    draw = measure_draw(power_log(power))
    assert any("cool-down" in finding for finding in draw.findings)
    assert draw.appliance.pattern.at(np.array([1.0, 9.0])) == pytest.approx([30, 30], rel=0.02)


@pytest.mark.parametrize("tolerance", [0.03, 0.05, 0.10])
def test_logging_that_long_reaches_the_tolerance(tolerance: float) -> None:
    """Log for the time it says, each day as like the last as the first log's spread has it: the half width fits."""
    first = measure_draw(power_log(with_duty(18, 21, 19, 22)))
    days = time_to_log(first, tolerance).to("day").magnitude
    spread_w = first.appliance.day_spread.magnitude / 24
    apart = np.abs(np.subtract.outer(np.arange(max(1, round(days))), np.arange(max(1, round(days)))))
    u = spread_w * math.sqrt((first.appliance.likeness**apart).mean())
    assert 1.8 * u < tolerance * 30 < 3.6 * u
    assert time_to_log(first, tolerance / 1.5) > time_to_log(first, tolerance)


def test_no_log_betters_the_meter() -> None:
    draw = measure_draw(power_log(cycling(4), meter=Meter("3 %")))
    assert time_to_log(draw, 0.10).check("[time]")
    with pytest.raises(Refusal, match="the meter's own accuracy leaves"):
        time_to_log(draw, 0.03)


def test_warnings_name_what_limits_the_claim() -> None:
    short = measure_draw(power_log(cycling(0.1), meter=Meter(smallest_load="3 W")))
    said = " ".join(short.warnings)
    assert "accuracy is not stated" in said
    assert "nothing below 3 W" in said
    assert "too short: 2.4 h" in said
    assert "too short: 1 whole cycles" in said
    assert not measure_draw(power_log(cycling(3.5))).warnings


# -- simulated appliances: do the intervals hold? --------------------------------------------------------


def load_beside(name: str) -> ModuleType:
    """Return the module ``name`` from this folder (there is a package called coverage on PyPI)."""
    spec = importlib.util.spec_from_file_location(f"beside_{name}", Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def held() -> pd.DataFrame:
    """Few seeds and a coarse step; `coverage.py` prints the full table."""
    coverage = load_beside("coverage")
    found = pd.concat([coverage.trials(kind, 24, seed=2, step_s=60, long_days=50) for kind in coverage.KINDS])
    return coverage.table(found).set_index(["method", "target", "kind"]).sort_index()


@pytest.mark.parametrize("target", ["long-run mean", "next day"])
def test_intervals_hold_the_truth(held: pd.DataFrame, target: str) -> None:
    assert held.loc["kit", target, "all"]["holds"] >= 0.92
    assert held.loc["kit", target]["holds"].min() >= 0.83  # 20 of 24; the bar of 0.90 needs the full table


@pytest.mark.parametrize("target", ["long-run mean", "next day"])
def test_intervals_are_not_twice_as_wide_as_they_must_be(held: pd.DataFrame, target: str) -> None:
    """Wanted are 1.5 times the least; they take up to 1.8 here, where rooms drift that three days can't show. This
    keeps them from growing."""
    assert held.loc["kit", target, "all"]["over the least"] <= 2


def test_the_same_bar_catches_intervals_that_are_too_narrow(held: pd.DataFrame) -> None:
    assert held.loc["every reading independent", "long-run mean", "all"]["holds"] < 0.8
    assert held.loc["every reading independent", "next day", "all"]["holds"] < 0.8


@pytest.mark.parametrize("off", [600, 1440, 2000])
def test_a_day_without_power_in_a_log_of_cycles_is_still_measured(off: int) -> None:
    power_w = cycling(4, on=18, off=27, running_w=95, rest_w=1.2)
    power_w[600 : 600 + off] = 0
    mean_w = measure_draw(power_log(power_w)).mean_power
    assert mean_w.interval()[0].magnitude < power_w.mean() < mean_w.interval()[1].magnitude
