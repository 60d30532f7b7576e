"""Readings judged: put in order and on UTC, told what kind they are, rid of twins, refused where no meter shows
them, and taken as power held over steps of time. What was found on the way stands in the log.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from ..units import Q_, number
from .layout import BASE, WORDS, Note, words_of
from .meter import Meter
from .meterlog import Finding, MeterLog, failures
from .readings import BESIDE, LATEST_S, NS, Readings, taken


def judge(readings: Readings, role: str, meter: Meter, choices: Mapping[str, Any]) -> MeterLog:
    """Return the log that readings make: put in order, checked, and turned into steps of power."""
    if not isinstance(meter, Meter):
        raise readings.place.refuse("no meter", meter=meter)
    found: list[Finding] = []
    readings = _in_order(readings, choices.get("timezone"), found)
    kind, told = (choices["kind"], "given") if "kind" in choices else _kind(readings, role)
    readings = _trusted(_no_twins(readings, kind, found), kind, found)
    _note_unmoved(readings, found)
    if make := {"counter": _counter_steps, "interval energy": _interval_steps}.get(kind):
        if "hold" in choices:
            raise readings.place.refuse("hold for energy", hold=choices["hold"])
        steps, sampling, ahead_s = make(readings, found)
    else:
        steps, sampling, ahead_s = _held_steps(readings, choices.get("hold"), found)
    _check_power(readings, steps["start_s"], steps["power_w"])
    zone, begin_ns = choices.get("timezone", "UTC"), int(readings.ns[0]) - int(ahead_s * NS)
    begins = pd.Timestamp(begin_ns, tz=zone if readings.clock == "utc" else None)
    stated, unit = (meter.power_step, BASE[role]) if kind in {"power", "apparent power"} else (meter.energy_step, "Wh")
    step = number(stated, unit, "step") if stated and unit != "VA" else readings.step
    notes = readings.notes | {"kind": (kind, told), "readings": sampling}
    log = MeterLog(readings.place.name, kind, begins=None if readings.clock == "elapsed" else begins,
                   resolution=Q_(step, unit), meter=meter, mapping=notes, **steps)  # fmt: skip
    return replace(log, findings=(*found, *failures(log)))


# -- order and zone ------------------------------------------------------------------------------

LATE_SHARE = 0.1  # of rows behind the others: more, and the clock can't be trusted


def _in_order(readings: Readings, timezone: str | None, found: list[Finding]) -> Readings:
    """Return the readings with time going forward, on UTC where the zone is known."""
    step = np.diff(readings.ns)
    if step.max() <= 0 and step.min() < 0:
        found.append(Finding("rows run newest first", "whole log", step.size + 1, "read from the end"))
        readings = readings.take(np.arange(step.size, -1, -1))
    del step
    readings = _on_utc(readings, timezone)
    if np.diff(readings.ns).min() >= 0:
        return readings
    late = readings.ns < np.maximum.accumulate(readings.ns)
    if late.mean() > LATE_SHARE:
        why = "times of day" if readings.clock == "elapsed" else "backward"
        raise readings.place.refuse(why, at=late.argmax(), count=late.sum())
    _note(found, "backward time", readings, late, "these rows were left out")
    return readings.take(np.flatnonzero(~late))


def _on_utc(readings: Readings, timezone: str | None) -> Readings:
    """Return local times as UTC where the zone is given; refuse clocks put back where it is not."""
    if timezone is not None:
        try:
            ZoneInfo(timezone)
        except (KeyError, ValueError, OSError):
            raise readings.place.refuse("no zone", zone=timezone) from None
        if readings.clock == "elapsed":
            raise readings.place.refuse("zone of elapsed", zone=timezone)
    if readings.clock != "local":
        return readings
    return _localized(readings, timezone) if timezone else _not_put_back(readings)


def _not_put_back(readings: Readings) -> Readings:
    """Refuse local times that go back by about an hour: the end of summer time, in all likelihood."""
    step = np.diff(readings.ns)
    if step.min() > 0 or step.max() <= 0:
        return readings
    step_s = step / NS
    usual = float(np.median(step_s[step_s > 0]))
    twin = (step_s == 0) & (np.diff(readings.value) == 0)
    back = (step_s <= 0) & ~twin & (np.abs(step_s + 3600 - usual) <= usual / 2) | (step_s >= -3600) & (step_s < -1800)
    if back.any():
        raise readings.place.refuse("put back", at=back.argmax() + 1)
    return readings


def _localized(readings: Readings, zone: str) -> Readings:
    """Return local times as UTC; an hour that comes twice is told apart by where its times go back."""
    ns = readings.ns
    stamps = pd.DatetimeIndex(ns.view("M8[ns]"))
    summer = np.zeros(ns.size, bool)
    skipped = np.asarray(stamps.tz_localize(zone, ambiguous=summer, nonexistent="NaT").isna())
    if skipped.any():
        raise readings.place.refuse("skipped hour", zone=zone, at=skipped.argmax())
    twice = np.asarray(stamps.tz_localize(zone, ambiguous="NaT").isna())
    for begin, end in np.flatnonzero(np.diff(np.r_[False, twice, False])).reshape(-1, 2):
        step = np.diff(ns[begin:end])
        turn = np.flatnonzero(step < 0) if (step < 0).any() else np.flatnonzero(step == 0)
        if not turn.size:
            raise readings.place.refuse("hour twice", zone=zone, at=begin)
        summer[begin : begin + turn[0] + 1] = True
    utc = stamps.tz_localize(zone, ambiguous=summer).as_unit("ns").asi8
    return replace(readings, ns=np.array(utc), clock="utc")


# -- kind ----------------------------------------------------------------------------------------

FEW, BOTH_W = 6, 500  # fewer readings of energy than this, all rising, may be either if intervals meant less power
MOST_OF_A_DAY_H = 20.0


def _kind(readings: Readings, role: str) -> tuple[str, str]:
    """Return what the readings are, and how that is known: energy may be a counter's or each interval's."""
    if role != "energy":
        return role, "guessed"
    words = words_of(readings.notes[role][0])
    value = readings.value[np.isfinite(readings.value)]
    rise, rolled, reset = _falls(value)
    fall, up = rise < 0, rise[rise > 0]
    reset &= value[:-1] >= 3 * np.median(up) if up.size else True
    usual_h = float(np.median(np.diff(readings.ns))) / NS / 3600
    if "today" in words and usual_h > MOST_OF_A_DAY_H:
        raise readings.place.refuse("day's counter")
    for kind in ("counter", "interval energy"):
        if words & WORDS[kind]:
            return kind, "from the header"
    counts = up.size and fall.sum() <= (reset | rolled).sum() and fall.mean() <= 0.1
    if counts and not (value.size < FEW and np.median(value) < BOTH_W * usual_h):
        return "counter", "guessed"
    if fall.mean() > 0.1:
        return "interval energy", "guessed"
    raise readings.place.refuse("counter or interval", at=fall.argmax() + 1)


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
    _note(found, "repeated rows", readings, ~first & same, "kept once")
    done = "the last kept" if kind == "counter" else "their mean kept"
    _note(found, "different readings with the same time", readings, ~same, done)
    if kind == "interval energy" and not same.all():
        raise readings.place.refuse("energies at once", at=(~same).argmax())
    if kind == "counter":
        return readings.take(np.flatnonzero(np.append(first[1:], True)))
    one, means = readings.take(np.flatnonzero(first)), pd.Series(value).groupby(group).mean().to_numpy()
    return replace(one, value=np.where(np.bincount(group, ~same) > 0, means, one.value))


def _trusted(readings: Readings, kind: str, found: list[Finding]) -> Readings:
    """Return the readings with stray negatives set to zero, or refuse what no meter shows."""
    place, ns, value = readings.place, readings.ns, readings.value
    if ns.size < 2:
        raise place.refuse("one time")
    if not np.isfinite(value).any():
        raise place.refuse("no values")
    if readings.clock != "elapsed" and not (ns[0] >= 0 and ns[-1] < LATEST_S * NS):
        raise place.refuse("no date of a log", at=0 if ns[0] < 0 else ns.size - 1)
    if (years := (ns[-1] - ns[0]) / NS / YEAR_S) > MOST_YEARS:
        raise place.refuse("too long", years=years, at=np.diff(ns).argmax() + 1)
    if readings.notes.get("unit") == ("W", "guessed") and 0 < np.nanmax(value) < SMALLEST_GUESS_W:
        raise place.refuse("kilowatts", most=np.nanmax(value))
    negative = value < 0
    few = -value[negative].sum() <= NEGATIVE_SHARE * np.nansum(np.abs(value))
    if negative.any() and (kind == "counter" or not few):
        raise place.refuse("negative", count=negative.sum(), at=negative.argmax())
    _note(found, "negative readings", readings, negative, "set to zero")
    return replace(readings, value=np.where(negative, 0.0, value)) if negative.any() else readings


# -- what was found ------------------------------------------------------------------------------

UNMOVED_S, UNMOVED_READINGS = 6 * 3600, 10


def _when(readings: Readings, at: int) -> str:
    """Return when a reading was taken, in words."""
    ns = int(readings.ns[at])
    if readings.clock == "elapsed":
        return f"{ns // NS // 3600}:{ns // NS // 60 % 60:02}:{ns // NS % 60:02}"
    return f"{pd.Timestamp(ns):%Y-%m-%d %H:%M:%S}{' UTC' if readings.clock == 'utc' else ''}"


def _note(found: list[Finding], what: str, readings: Readings, there: np.ndarray, done: str, more: str = "") -> None:
    """Add what is true of the readings ``there``, if of any."""
    if there.any():
        found.append(Finding(what, f"first at {_when(readings, int(there.argmax()))}{more}", int(there.sum()), done))


def _note_gaps(found: list[Finding], readings: Readings, step_s: np.ndarray, longest: float, done: str) -> None:
    """Add the gaps, if there are any; one of an hour on a local clock may be the beginning of summer time."""
    gap, usual = step_s > longest, float(np.median(step_s))
    if readings.clock == "local" and np.any(np.abs(step_s[gap] - 3600 - usual) <= usual / 2):
        done += "; if clocks were put forward there, write timezone="
    _note(found, "gaps", readings, gap, done, f", the longest {step_s.max() / 3600:.3g} h")


def _note_unmoved(readings: Readings, found: list[Finding]) -> None:
    """Note readings that stood still for hours: a steady load, or a meter that hung."""
    ns, last = readings.ns, readings.value.size - 1
    ends = np.r_[-1, np.flatnonzero(readings.value[1:] != readings.value[:-1]), last]  # of each run of one value
    long = np.flatnonzero(np.diff(ends) >= UNMOVED_READINGS)
    still_s = (ns[ends[long + 1]] - ns[ends[long] + 1]) / NS
    stuck = still_s >= UNMOVED_S
    if stuck.any():
        where = f"first at {_when(readings, ends[long][stuck][0] + 1)}, the longest {still_s.max() / 3600:.3g} h"
        found.append(Finding("unchanged for hours", where, int(stuck.sum()), "kept; look at the meter"))


# -- steps ---------------------------------------------------------------------------------------


# The fields of a log that hold its steps, how readings were taken to stand for them, and how far it begins ahead [s].
_Steps = tuple[dict[str, Any], Note, float]

UNTIL_NEXT = "until the next"


def _seconds(readings: Readings) -> np.ndarray:
    return (readings.ns - readings.ns[0]) / NS


def _sampling(step_s: np.ndarray, value: np.ndarray) -> tuple[str, float, float]:
    """Return how the meter wrote its readings, from their pattern, in words; how long one may stand until the next [s],
    and how long it stands where that comes later [s].

    At a steady pace a step half as long again as usual is a gap. A meter that writes only changes never
    repeats a value; one that also writes at a steady beat repeats values at that beat.
    """
    usual = float(np.median(step_s))
    steady = (f"one every {usual:g} s", 1.5 * usual, usual)
    if step_s.max() <= 1.5 * usual:
        return steady
    same = value[1:] == value[:-1]
    long = step_s > 1.5 * usual
    beat = float(np.median(step_s[same])) if same.sum() >= 3 else 0.0
    if beat > 1.5 * usual and np.mean(np.abs(step_s[same] - beat) <= beat / 4) >= 0.8:
        return (f"on each change, and at least every {beat:g} s", 1.5 * beat, beat)
    paced = np.mean(np.abs(step_s - usual) <= usual / 2) >= 0.75
    returns = long.sum() >= 3 and np.unique(value[:-1][long]).size <= long.sum() / 2
    if same.mean() <= 0.01 and (returns or not paced):
        return (f"on each change, the longest after {step_s.max() / 3600:.3g} h", math.inf, math.inf)
    return steady if paced else (f"at uneven times, {usual:g} s apart in the middle", 10 * usual, usual)


def _held_steps(readings: Readings, hold: str | None, found: list[Finding]) -> _Steps:
    """Return the steps of a log of power: each reading stands until the next, or until a gap."""
    time_s = _seconds(readings)
    step_s = np.diff(time_s)
    if hold is None:
        (words, longest, stands), told = _sampling(step_s, readings.value), "guessed"
    else:
        longest = math.inf if hold == UNTIL_NEXT else number(hold, "s", "hold")
        if longest <= 0:
            raise readings.place.refuse("hold", hold=hold)
        words, stands, told = f"each holds {hold}", longest, "given"
    _note_gaps(found, readings, step_s, longest, f"not covered; the reading before stands for {stands:g} s")
    step_s = np.where(step_s > longest, stands, step_s)
    there = np.isfinite(readings.value[:-1])
    _note(found, "empty readings", readings, ~there, "not covered")
    kept = slice(step_s.size) if there.all() else np.flatnonzero(there)
    steps = {"start_s": time_s[kept], "duration_s": step_s[kept], "power_w": readings.value[kept]}
    return steps | taken(readings, BESIDE, kept) | {"span_s": float(time_s[-1])}, (words, told), 0.0


# -- energy --------------------------------------------------------------------------------------


def _interval_steps(readings: Readings, found: list[Finding]) -> _Steps:
    """Return the steps of a log of energy per interval: P = E / interval."""
    time_s = _seconds(readings)
    step_s = np.diff(time_s)
    usual = float(np.median(step_s))
    _note_gaps(found, readings, step_s, 1.5 * usual, "not covered")
    duration_s = np.minimum(np.append(step_s, usual), usual)
    there = np.isfinite(readings.value)
    _note(found, "empty readings", readings, ~there, "not covered")
    at_end = bool(words_of(readings.notes["time"][0]) & WORDS["end"])
    words = f"energy of {usual:g} s {'before' if at_end else 'after'} each time"
    power_w = readings.value[there] / duration_s[there] * 3600
    steps = {"start_s": time_s[there], "duration_s": duration_s[there], "power_w": power_w}
    return steps | {"span_s": float(time_s[-1]) + usual}, (words, "guessed"), usual if at_end else 0.0


def _counter_steps(readings: Readings, found: list[Finding]) -> _Steps:
    """Return the steps of an energy counter: P = (E2 - E1) / (t2 - t1), between readings that tell them apart.

    A reset leaves its step uncovered, since nobody knows how far the counter had come; a roll-over does not.
    """
    begin_ns, there = int(readings.ns[0]), np.isfinite(readings.value)
    _note(found, "empty readings", readings, ~there, "bridged by the counter")
    readings = readings.take(np.flatnonzero(there))
    if readings.value.size < 2:
        raise readings.place.refuse("one count", at=0)
    time_s = (readings.ns - begin_ns) / NS
    rise_wh = _rises(readings, found)
    words, longest, _ = _sampling(np.diff(time_s), readings.value)
    _note_gaps(found, readings, np.diff(time_s), longest, "bridged by the counter")
    stop = _stops(rise_wh, readings.step)
    if stop.size < time_s.size:
        done = f"put together to {stop.size - 1} steps from one change of the counter to the next"
        found.append(Finding("readings closer than the counter's last digit", "whole log", time_s.size, done))
    energy_wh, duration_s = np.add.reduceat(rise_wh, stop[:-1]), np.diff(time_s[stop])
    known = np.isfinite(energy_wh)
    power_w = energy_wh[known] / duration_s[known] * 3600
    steps = {"start_s": time_s[stop[:-1]][known], "duration_s": duration_s[known], "power_w": power_w}
    return steps | {"span_s": float(time_s[-1])}, (words, "guessed"), 0.0


def _rises(readings: Readings, found: list[Finding]) -> np.ndarray:
    """Return what a counter counted between its readings, nan across a reset [Wh]."""
    before, (rise, rolled, reset) = readings.value[:-1], _falls(readings.value)
    odd = (rise < 0) & ~rolled & ~reset
    if odd.any():
        at = int(odd.argmax())
        raise readings.place.refuse("falling counter", before=before[at], after=readings.value[at + 1], at=at + 1)
    _note(found, "counter roll-over", readings, np.r_[False, rolled], "counted on")
    _note(found, "counter resets", readings, np.r_[False, reset], "the time since the reading before is not covered")
    return np.where(reset, np.nan, np.where(rolled, rise + _largest(before), rise))


def _falls(value: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return how much readings rise, where a counter went from all nines to zero, and where it may have been reset."""
    before, after, largest = value[:-1], value[1:], _largest(value[:-1])
    rolled = (largest >= 1e5) & (before >= 0.99 * largest) & (after <= 0.01 * largest)  # Wh
    return after - before, rolled, (after < before) & ~rolled & (after <= before / 10)


def _largest(before: np.ndarray) -> np.ndarray:
    """Return where a counter rolls over: at a power of ten."""
    return 10.0 ** np.ceil(np.log10(np.maximum(before, 1.0)))


def _stops(rise_wh: np.ndarray, step_wh: float) -> np.ndarray:
    """Return the readings between which power is told: all, or where the counter's last digit is too coarse
    for that, those at which it changed. The first and the last reading always belong, so no energy is lost."""
    everything = np.arange(rise_wh.size + 1)
    moved = rise_wh != 0
    up = rise_wh[rise_wh > 0]
    if not up.size or np.median(up) > 2.5 * step_wh or moved.mean() > 0.7:
        return everything
    reset = np.flatnonzero(np.isnan(rise_wh))
    changes = np.flatnonzero(moved) + 1
    if changes.size > 1 and changes[-1] < rise_wh.size and not np.isnan(rise_wh[changes[-1] - 1 :]).any():
        changes = changes[:-1]  # the quiet end belongs to the last count
    return np.unique(np.r_[0, changes, reset, rise_wh.size])


LARGEST_W = 100_000  # more than an outlet gives: the unit is wrong


def _check_power(readings: Readings, start_s: np.ndarray, power_w: np.ndarray) -> None:
    """Refuse a log that covers nothing, or whose powers no outlet gives."""
    if not power_w.size:
        raise readings.place.refuse("nothing covered")
    if power_w.max() > LARGEST_W:
        at = np.searchsorted(_seconds(readings), start_s[power_w.argmax()])
        raise readings.place.refuse("too much power", power=power_w.max(), most=LARGEST_W, at=at)
