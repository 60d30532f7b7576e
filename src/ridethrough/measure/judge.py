"""Readings judged: put in order and on UTC, told what kind they are, rid of twins, refused where no meter shows
them, and taken as power held over steps of time. What was found on the way stands in the log.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any
from zoneinfo import available_timezones

import numpy as np
import pandas as pd

from ..units import Q_, number
from .layout import BASE, WORDS, words_of
from .meter import Meter
from .meterlog import Finding, MeterLog, taken
from .readings import BESIDE, LATEST_S, NS, Readings
from .steps import counter_steps, failures, falls, held_steps, interval_steps, note, note_unmoved, runs_of, seconds_of


def judge(readings: Readings, meter: Meter, choices: Mapping[str, Any]) -> MeterLog:
    """Return the log that readings make: put in order, checked, and turned into steps of power."""
    readings.place.refuse_if("no meter", not isinstance(meter, Meter), meter=meter)
    found: list[Finding] = []
    readings = _in_order(readings, choices.get("timezone"), found)
    readings.place.refuse_if("no values", not np.isfinite(readings.value).any())
    kind, told = (choices["kind"], "given") if "kind" in choices else _kind(readings)
    readings = _trusted(_no_twins(readings, kind, found), kind, found)
    note_unmoved(readings, found)
    hold = choices.get("hold")
    readings.place.refuse_if("hold for energy", hold is not None and readings.role == "energy", hold=hold)
    make = {"counter": counter_steps, "interval energy": interval_steps}.get(kind, held_steps)
    start_s, duration_s, power_w, span_s, sampling, ahead_s = make(readings, hold, found)
    covered = np.isfinite(power_w)
    kept = slice(power_w.size) if covered.all() else np.flatnonzero(covered)
    _check_power(readings, start_s[kept], power_w[kept])
    zone, begin_ns = choices.get("timezone", "UTC"), int(readings.ns[0]) + int(ahead_s * NS)
    begins = pd.Timestamp(begin_ns, tz=zone if readings.clock == "utc" else None)
    stated, unit = meter.energy_step if readings.role == "energy" else meter.power_step, BASE[readings.role]
    step = number(stated, unit, "step") if stated and unit != "VA" else readings.step
    log = MeterLog(readings.place.name, kind, start_s[kept], duration_s[kept], power_w[kept],
                   None if readings.clock == "elapsed" else begins, span_s, Q_(step, unit), meter,
                   readings.notes | {"kind": (kind, told), "readings": sampling},
                   **taken(readings, BESIDE, kept))  # fmt: skip
    return replace(log, findings=(*found, *failures(log)))


# -- order and zone ------------------------------------------------------------------------------

LATE_SHARE = 0.1  # of rows behind the others: more, and the clock can't be trusted


def _in_order(readings: Readings, timezone: str | None, found: list[Finding]) -> Readings:
    """Return the readings with time going forward, on UTC where the zone is known."""
    ns = readings.ns
    if ns[-1] < ns[0] and (ns[1:] <= ns[:-1]).all():
        found.append(Finding("rows run newest first", "whole log", ns.size, "read from the end"))
        readings = readings.take(np.arange(ns.size)[::-1])
    readings = _on_utc(readings, timezone)
    late = readings.ns < np.maximum.accumulate(readings.ns)
    why = "times of day" if readings.clock == "elapsed" else "backward"
    readings.place.refuse_if(why, late & (late.mean() > LATE_SHARE), count=late.sum())
    note(found, "backward time", readings, late, "these rows were left out")
    return readings.take(np.flatnonzero(~late)) if late.any() else readings


def _on_utc(readings: Readings, timezone: str | None) -> Readings:
    """Return local times as UTC where the zone is given; refuse clocks put back where it is not."""
    if timezone is None:
        return _not_put_back(readings) if readings.clock == "local" else readings
    readings.place.refuse_if("no zone", timezone not in available_timezones(), zone=timezone)
    readings.place.refuse_if("zone of elapsed", readings.clock == "elapsed", zone=timezone)
    return _localized(readings, timezone) if readings.clock == "local" else readings


def _not_put_back(readings: Readings) -> Readings:
    """Refuse local times that go back by about an hour: the end of summer time, in all likelihood."""
    step_s = np.diff(readings.ns) / NS
    if step_s.min() > 0 or step_s.max() <= 0:
        return readings
    usual = float(np.median(step_s[step_s > 0]))
    twin = (step_s == 0) & (np.diff(readings.value) == 0)
    back = (step_s <= 0) & ~twin & (np.abs(step_s + 3600 - usual) <= usual / 2) | (step_s >= -3600) & (step_s < -1800)
    readings.place.refuse_if("put back", np.append(False, back))
    return readings


def _localized(readings: Readings, zone: str) -> Readings:
    """Return local times as UTC; an hour that comes twice is told apart by where its times go back."""
    ns = readings.ns
    stamps = pd.DatetimeIndex(ns.view("M8[ns]"))
    summer = np.zeros(ns.size, bool)
    skipped = np.asarray(stamps.tz_localize(zone, ambiguous=summer, nonexistent="NaT").isna())
    readings.place.refuse_if("skipped hour", skipped, zone=zone)
    twice = np.asarray(stamps.tz_localize(zone, ambiguous="NaT").isna())
    for begin, end in runs_of(twice).T:
        step = np.diff(ns[begin:end])
        turn = np.flatnonzero(step < 0) if (step < 0).any() else np.flatnonzero(step == 0)
        readings.place.refuse_if("hour twice", not turn.size, zone=zone, at=begin)
        summer[begin : begin + turn[0] + 1] = True
    utc = stamps.tz_localize(zone, ambiguous=summer).as_unit("ns").asi8
    return replace(readings, ns=np.array(utc), clock="utc")


# -- kind ----------------------------------------------------------------------------------------

FEW, BOTH_W = 6, 500  # fewer readings of energy than this, all rising, may be either if intervals meant less power
MOST_OF_A_DAY_H = 20.0


def _kind(readings: Readings) -> tuple[str, str]:
    """Return what the readings are, and how that is known: energy may be a counter's or each interval's."""
    if readings.role != "energy":
        return readings.role, "guessed"
    words = words_of(readings.notes["energy"][0])
    value = readings.value[np.isfinite(readings.value)]
    rise, rolled, reset = falls(value)
    fall, up = rise < 0, rise[rise > 0]
    reset &= value[:-1] >= 3 * np.median(up) if up.size else True
    usual_h = float(np.median(np.diff(readings.ns))) / NS / 3600
    readings.place.refuse_if("day's counter", "today" in words and usual_h > MOST_OF_A_DAY_H)
    for kind in ("counter", "interval energy"):
        if words & WORDS[kind]:
            return kind, "from the header"
    falling = fall.sum() > 0.1 * fall.size
    counts = up.size and fall.sum() <= (reset | rolled).sum() and not falling
    if counts and not (value.size < FEW and np.median(value) < BOTH_W * usual_h):
        return "counter", "guessed"
    if falling:
        return "interval energy", "guessed"
    raise readings.place.refuse("counter or interval", at=fall.argmax() + 1 if fall.size else 0)


# -- twins and trust -----------------------------------------------------------------------------

YEAR_S, MOST_YEARS = 365.25 * 86_400, 20
NEGATIVE_SHARE = 0.01
SMALLEST_GUESS_W = 5  # a column without a unit that stays below may as well be in kW


def _no_twins(readings: Readings, kind: str, found: list[Finding]) -> Readings:
    """Return one reading for each time."""
    first = np.diff(readings.ns, prepend=readings.ns[0] - 1) > 0
    if first.all():
        return readings
    value, group = readings.value, np.cumsum(first) - 1
    same = (value == value[first][group]) | np.isnan(value) & np.isnan(value[first][group])
    note(found, "repeated rows", readings, ~first & same, "kept once")
    done = "the last kept" if kind == "counter" else "their mean kept"
    note(found, "different readings with the same time", readings, ~same, done)
    readings.place.refuse_if("energies at once", ~same & (kind == "interval energy"))
    if kind == "counter":
        return readings.take(np.flatnonzero(np.append(first[1:], True)))
    return replace(readings.take(np.flatnonzero(first)), value=pd.Series(value).groupby(group).mean().to_numpy())


def _trusted(readings: Readings, kind: str, found: list[Finding]) -> Readings:
    """Return the readings with stray negatives set to zero, or refuse what no meter shows."""
    place, ns, value = readings.place, readings.ns, readings.value
    place.refuse_if("one time", ns.size < 2)
    if readings.clock != "elapsed":
        off = not (ns[0] >= 0 and ns[-1] < LATEST_S * NS)
        place.refuse_if("no date of a log", off, at=0 if ns[0] < 0 else ns.size - 1)
    years, most = (ns[-1] - ns[0]) / NS / YEAR_S, np.nanmax(value)
    place.refuse_if("too long", years > MOST_YEARS, years=years, at=np.diff(ns).argmax() + 1)
    guessed = readings.notes.get("unit") == ("W", "guessed")
    place.refuse_if("kilowatts", guessed and 0 < most < SMALLEST_GUESS_W, most=most)
    negative = value < 0
    few = -value[negative].sum() <= NEGATIVE_SHARE * np.nansum(np.abs(value))
    place.refuse_if("negative", negative & (kind == "counter" or not few), count=negative.sum())
    note(found, "negative readings", readings, negative, "set to zero")
    return replace(readings, value=np.where(negative, 0.0, value)) if negative.any() else readings


LARGEST_W = 100_000  # more than an outlet gives: the unit is wrong


def _check_power(readings: Readings, start_s: np.ndarray, power_w: np.ndarray) -> None:
    """Refuse a log that covers nothing, or whose powers no outlet gives."""
    readings.place.refuse_if("nothing covered", not power_w.size)
    if power_w.max() > LARGEST_W:
        at = np.searchsorted(seconds_of(readings), start_s[power_w.argmax()])
        raise readings.place.refuse("too much power", power=power_w.max(), most=LARGEST_W, at=at)
