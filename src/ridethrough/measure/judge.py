"""Readings judged: put in order and on UTC, told what kind they are, rid of twins, and refused where no meter
shows them. `judge` makes a `MeterLog` of what is left.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from ..units import Q_, number
from .columns import BASE, NS, words_of
from .meter import Meter
from .meterlog import Finding, MeterLog
from .readings import LATEST_S, Readings
from .steps import check_power, counter_steps, held_steps, interval_steps, note, note_unmoved, rolled_over


def judge(readings: Readings, role: str, meter: Meter, choices: Mapping[str, Any]) -> MeterLog:
    """Return the log that readings make: put in order, checked, and turned into steps of power."""
    if not isinstance(meter, Meter):
        raise readings.place.refuse(f"meter={meter!r}", "a Meter", 'Write meter=Meter("1 % + 0.5 W").')
    found: list[Finding] = []
    readings = _in_order(readings, choices.get("timezone"), found)
    kind, told = (choices["kind"], "given") if "kind" in choices else _kind(readings, role)
    readings = _trusted(_no_twins(readings, kind, found), kind, found)
    note_unmoved(readings, found)
    if make := {"counter": counter_steps, "interval energy": interval_steps}.get(kind):
        if "hold" in choices:
            raise readings.place.refuse(f"hold={choices['hold']!r} for energy", "readings of power", "Leave hold out.")
        steps = make(readings, found)
    else:
        steps = held_steps(readings, choices.get("hold"), found)
    check_power(readings, steps)
    clock, zone = readings.clock, choices.get("timezone")
    begins = None if clock == "elapsed" else pd.Timestamp(int(readings.ns[0]) - int(steps.ahead_s * NS))
    if begins is not None and clock == "utc":
        begins = begins.tz_localize("UTC").tz_convert(zone or "UTC")
    stated, unit = (meter.power_step, BASE[role]) if kind in {"power", "apparent power"} else (meter.energy_step, "Wh")
    return MeterLog(
        name=readings.place.name,
        kind=kind,
        start_s=steps.start_s,
        duration_s=steps.duration_s,
        power_w=steps.power_w,
        begins=begins,
        span_s=steps.span_s,
        resolution=Q_(number(stated, unit, "step") if stated and unit != "VA" else readings.step, unit),
        meter=meter,
        mapping=readings.notes | {"kind": (kind, told), "readings": steps.sampling},
        findings=tuple(found),
    )


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
        remedy = {"elapsed": "If these are times of day, add a column with the date."}
        raise readings.place.refuse(
            f"time that goes backward, {late.sum()} rows behind those before", "times in order",
            remedy.get(readings.clock, "Cut the log where the clock was changed."), at=late.argmax())  # fmt: skip
    note(found, "backward time", readings, late, "these rows were left out")
    return readings.take(np.flatnonzero(~late))


def _on_utc(readings: Readings, timezone: str | None) -> Readings:
    """Return local times as UTC where the zone is given; refuse clocks put back where it is not."""
    clock = readings.clock
    if timezone is not None:
        try:
            ZoneInfo(timezone)
        except (KeyError, ValueError, OSError):
            raise readings.place.refuse(f"timezone={timezone!r}", "a place in the time zone data base",
                                        'Write for example timezone="Europe/Vienna".') from None  # fmt: skip
        if clock == "elapsed":
            raise readings.place.refuse(f"timezone={timezone!r} for elapsed times", "dates", "Leave timezone out.")
        return _localized(readings, timezone) if clock == "local" else readings
    if clock == "local":
        _check_put_back(readings)
    return readings


def _check_put_back(readings: Readings) -> None:
    """Refuse local times that go back by about an hour: the end of summer time, in all likelihood."""
    step = np.diff(readings.ns)
    if step.min() > 0 or step.max() <= 0:
        return
    step_s = step / NS
    usual = float(np.median(step_s[step_s > 0]))
    twin = (step_s == 0) & (np.diff(readings.value) == 0)
    back = (step_s <= 0) & ~twin & (np.abs(step_s + 3600 - usual) <= usual / 2) | (step_s >= -3600) & (step_s < -1800)
    if back.any():
        raise readings.place.refuse(
            "local time that goes back by about an hour", "times that go forward, or the zone they are in",
            'If clocks were set back here, write timezone="Europe/Vienna" with your own zone.',
            at=back.argmax() + 1)  # fmt: skip


def _localized(readings: Readings, zone: str) -> Readings:
    """Return local times as UTC; an hour that comes twice is told apart by where its times go back."""
    ns = readings.ns
    stamps = pd.DatetimeIndex(ns.view("M8[ns]"))
    no_summer = np.zeros(ns.size, bool)
    skipped = np.asarray(stamps.tz_localize(zone, ambiguous=no_summer, nonexistent="NaT").isna())
    if skipped.any():
        raise readings.place.refuse(f"a local time that clocks in {zone} skip", "times of that zone",
                                    "Give the zone of the meter's clock.", at=skipped.argmax())  # fmt: skip
    twice = np.asarray(stamps.tz_localize(zone, ambiguous="NaT").isna())
    summer = no_summer.copy()
    for begin, end in np.flatnonzero(np.diff(np.r_[False, twice, False])).reshape(-1, 2):
        step = np.diff(ns[begin:end])
        turn = np.flatnonzero(step < 0) if (step < 0).any() else np.flatnonzero(step == 0)
        if not turn.size:
            raise readings.place.refuse(f"a local time that comes twice in {zone}", "a log that shows both hours",
                                        "Cut the log before this row, or log in UTC.", at=begin)  # fmt: skip
        summer[begin : begin + turn[0] + 1] = True
    utc = stamps.tz_localize(zone, ambiguous=summer).as_unit("ns").asi8
    return replace(readings, ns=np.array(utc), clock="utc")


# -- kind ----------------------------------------------------------------------------------------

FEW, BOTH_W = 6, 500  # fewer readings of energy than this, all rising, may be either if intervals meant less power
COUNTER_WORDS = {"counter", "total", "cumulative", "meter", "register", "accumulated", "lifetime", "today"}
INTERVAL_WORDS = {"interval", "hourly", "delta", "per", "increment"}
MOST_OF_A_DAY_H = 20.0


def _kind(readings: Readings, role: str) -> tuple[str, str]:
    """Return what the readings are, and how that is known: energy may be a counter's or each interval's."""
    if role != "energy":
        return role, "guessed"
    words = words_of(readings.notes[role][0])
    value = readings.value[np.isfinite(readings.value)]
    rise, before, after = np.diff(value), value[:-1], value[1:]
    fall, usual = rise < 0, float(np.median(rise[rise > 0])) if (rise > 0).any() else 0.0
    reset = fall & (after <= before / 10) & (before >= 3 * usual)
    usual_h = float(np.median(np.diff(readings.ns))) / NS / 3600
    if "today" in words and usual_h > MOST_OF_A_DAY_H:
        raise readings.place.refuse("a day's counter read once a day", "whether each reading is that day's own energy",
                                    'Write kind="interval energy" if so, kind="counter" if it goes on.')  # fmt: skip
    if words & COUNTER_WORDS:
        return "counter", "from the header"
    if words & INTERVAL_WORDS:
        return "interval energy", "from the header"
    counts = (rise > 0).any() and fall.sum() <= reset.sum() + rolled_over(before, after).sum() and fall.mean() <= 0.1
    if counts and not (value.size < FEW and np.median(value) < BOTH_W * usual_h):
        return "counter", "guessed"
    if fall.mean() > 0.1:
        return "interval energy", "guessed"
    raise readings.place.refuse("energy that may be a counter's or each interval's", "which of the two",
                                'Write kind="counter" or kind="interval energy".', at=fall.argmax() + 1)  # fmt: skip


# -- twins and trust -----------------------------------------------------------------------------

LONGEST_S = 20 * 366 * 86_400
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
    if kind == "interval energy" and not same.all():
        raise readings.place.refuse("different energies for the same time", "one for each interval",
                                    "If clocks were set back here, write timezone=.", at=(~same).argmax())  # fmt: skip
    one = readings.take(np.flatnonzero(first))
    if kind == "counter":
        return replace(one, value=value[np.r_[np.flatnonzero(first)[1:] - 1, value.size - 1]])
    there = np.isfinite(value)
    with np.errstate(invalid="ignore"):
        mean = np.bincount(group, np.where(there, value, 0)) / np.bincount(group, there)
    return replace(one, value=np.where(np.bincount(group, ~same) > 0, mean, one.value))


def _trusted(readings: Readings, kind: str, found: list[Finding]) -> Readings:
    """Return the readings with stray negatives set to zero, or refuse what no meter shows."""
    place, ns, value = readings.place, readings.ns, readings.value
    if ns.size < 2:
        raise place.refuse("readings that all have the same time", "times that go forward", "Check the time column.")
    if not np.isfinite(value).any():
        raise place.refuse("no reading in any row", "two or more", "Name the column that holds the readings.")
    if readings.clock != "elapsed" and not (ns[0] >= 0 and ns[-1] < LATEST_S * NS):
        raise place.refuse("dates before 1970 or after 2100", "the dates of a meter's log", "Correct them.",
                           at=0 if ns[0] < 0 else ns.size - 1)  # fmt: skip
    if (ns[-1] - ns[0]) / NS > LONGEST_S:
        raise place.refuse(f"a log of {(ns[-1] - ns[0]) / NS / 86_400 / 365.25:,.0f} years", "at most twenty",
                           "Cut it where the clock jumps.", at=np.diff(ns).argmax() + 1)  # fmt: skip
    if readings.notes.get("unit") == ("W", "guessed") and 0 < np.nanmax(value) < SMALLEST_GUESS_W:
        raise place.refuse(
            f"powers up to {np.nanmax(value):g} in a column without a unit", "its unit", 'Write unit="W".'
        )
    negative = value < 0
    if not negative.any():
        return readings
    if -value[negative].sum() > NEGATIVE_SHARE * np.nansum(np.abs(value)) or kind == "counter":
        raise place.refuse(f"{negative.sum()} negative readings", "what an appliance draws, zero or more",
                           "Turn the meter or clamp round, or name another column.", at=negative.argmax())  # fmt: skip
    note(found, "negative readings", readings, negative, "set to zero")
    return replace(readings, value=np.where(negative, 0.0, value))
