"""One appliance through an outage: its power in steps, drawn many times, by its clock and in its room."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from ..model.cabinet import Cabinet
from ..model.inside import Inside, steps_h
from ..model.load import Appliance
from ..model.nameplate import caution, room_celsius, warmer
from ..model.pattern import DAY_H, LEAST
from ..sampling import Sampler
from ..sources import CAUTIONS, lookup
from ..units import Q_
from .outage import Outage

TENTHS = 10  # of a step, to which the phase of a pattern is drawn
SCHEDULE = 48  # steps of a day up to which each is followed by itself


class Course(NamedTuple):
    """A cabinet's way through an outage with windows.

    Parameters
    ----------
    inside : Inside
        As it is at the end.
    edges_h : array of shape (steps + 1,)
        The moments between which its power is told [h].
    shape, most : arrays of shape (steps, rows)
        Its power and its running power, over what it draws all along [-].
    """

    inside: Inside
    edges_h: np.ndarray
    shape: np.ndarray
    most: np.ndarray


@dataclass(frozen=True)
class Power:
    """One appliance, drawn; make it with `power_of`.

    Parameters
    ----------
    appliance, outage, sampler
        Whose power, through what, and its draws.
    measured_w : array of shape (rows,)
        Its mean power in the room of its measurement [W].
    slope : array of shape (rows,), optional
        Change for each kelvin of another room [1/K].
    since_h : float
        Time since its pattern began, where that is known when the outage begins [h].
    offset : array of shape (rows,), optional
        Tenth of a step of its pattern at which the outage begins, where that is drawn [-].
    known : array of shape (days,), optional
        The same for each of its days, where the outage's hour is known [-]; None where it may be any tenth.
    windows_w : array of shape (tenths,)
        Mean in the step that begins with each tenth, over the pattern's mean [-].
    course : Course, optional
        Of a cabinet in an outage with windows: what it draws in them.
    """

    appliance: Appliance
    outage: Outage
    sampler: Sampler
    measured_w: np.ndarray = field(repr=False)
    slope: np.ndarray | None = field(repr=False)
    since_h: float
    offset: np.ndarray | None = field(repr=False)
    known: np.ndarray | None = field(repr=False)
    windows_w: np.ndarray = field(repr=False)
    course: Course | None = field(default=None, repr=False)

    @property
    def moved(self) -> bool:
        """Whether it stands in another room than that of its measurement."""
        there, measured = self.outage.room, self.appliance.room
        return there is not None and measured is not None and bool(np.any(there.celsius != measured.m_as("degC")))

    @property
    def cautions(self) -> Iterator[str]:
        """What is said of its food, and what it may do otherwise than counted where its room is cold or not told."""
        one, there = self.appliance, self.outage.room
        switched_off = self.outage.on is not None and (one.room is not None or one.motor is not None)
        if one.thermal is not None or switched_off:
            yield CAUTIONS[f"food, {one.cabinet}"]
        if switched_off and self.course is None and one.motor is not None:
            yield f"the {one.name} {CAUTIONS['no cabinet']}"
        elif one.room is not None:
            yield from caution(one, one.room.m_as("degC") if there is None else float(there.celsius.min()))
        elif one.measured and one.motor is not None:
            yield from caution(one, None)

    @property
    def mean_w(self) -> np.ndarray:
        """Its mean power in the outage's room [W]."""
        room = self.outage.room
        return self._there(self.measured_w, None if room is None else room.mean.m_as("degC"))

    def cuts_h(self, low: float, high: float) -> np.ndarray:
        """Return the moments at which its power changes in any row [h]."""
        if self.course is not None or self.offset is not None:
            return steps_h(low, high)[1:-1]
        if self.appliance.pattern.power_w.size == 1:
            return np.zeros(0)
        return low + self.appliance.pattern.cuts_h(self.since_h + low, high - low)

    def kinds(self, middles: np.ndarray) -> np.ndarray:
        """Return what tells steps apart, by their middles [h]: in those of a day, a room and one number it is alike."""
        if self.course is not None:
            return np.searchsorted(self.course.edges_h, middles) - 1
        if self.offset is not None:
            return TENTHS * (middles / (lookup("step of a ride").value / 60)).astype(int) % self.windows_w.size
        return self.appliance.pattern.at(self.since_h + middles)

    def at(self, middles: np.ndarray) -> tuple[np.ndarray, Any]:
        """Return power and variance in steps, by their middles [h]: shape (steps, rows) [W], [W2].

        Within the steps nothing varies that varies from day to day. Of a pattern whose phase is drawn the best
        estimate takes the mean, and all of its variance.
        """
        scale_w, now, pattern = self._scale_w(middles), self.kinds(middles), self.appliance.pattern
        if self.course is not None:
            power_w, runs_w = self.course.shape[now] * scale_w, self.course.most[now] * scale_w
            return power_w, power_w * np.maximum(runs_w - power_w, 0)
        over = pattern.mean_w or 1.0
        if self.offset is None:
            shape = now / over if pattern.mean_w else np.ones(middles.size)
            return shape[:, np.newaxis] * scale_w, 0.0
        twice, all_w2 = np.append(self.windows_w, self.windows_w), pattern.variance_w2 / over / over
        shape = np.stack([twice[shift:].take(self.offset) for shift in now])
        variance = np.full((middles.size, shape.shape[1]), max(all_w2 - float(self.windows_w.var()), 0.0))
        if self.known is None:
            shape[:, 0], variance[:, 0] = 1.0, all_w2
        else:
            each = np.stack([twice[shift:].take(self.known) for shift in now])
            shape[:, 0], variance[:, 0] = each.mean(axis=1), variance[:, 0] + each.var(axis=1)
        return shape * scale_w, variance * scale_w**2

    def _scale_w(self, middles: np.ndarray) -> np.ndarray:
        """Return the mean power of these days in their room [W]."""
        scale_w = self.measured_w
        if self.appliance.next_days is not None:
            day_w = self.appliance.day_spread.m_as("Wh") / DAY_H
            scale_w = np.maximum(scale_w + day_w * self._day(int(middles[0] // DAY_H)), 0)
        if self.slope is None or self.outage.room is None:
            return scale_w
        return self._there(scale_w, self.outage.room.at(middles)[:, np.newaxis])

    def _day(self, number: int) -> np.ndarray:
        """Return how far a day lies from the mean, in standard deviations, each alike the one before it [-]."""
        assert self.appliance.next_days is not None
        (variable,), r = self.appliance.next_days.slopes(), self.appliance.likeness
        while len(self._days) <= number:
            new = self.sampler.standard(variable, len(self._days))
            self._days.append(r * self._days[-1] + np.sqrt(1 - r * r) * new if self._days else new)
        return self._days[number]

    @cached_property
    def _days(self) -> list[np.ndarray]:
        return []

    def _there(self, mean_w: np.ndarray, celsius: Any) -> np.ndarray:
        """Return what it draws where it stands [W], at most what its motor takes all the time."""
        motor, room = self.appliance.motor, self.appliance.room
        if self.slope is None or room is None:
            return mean_w
        there_w = np.asarray(mean_w * warmer(self.slope, celsius - room.m_as("degC")))
        return there_w if motor is None else np.minimum(there_w, np.maximum(motor.m_as("W"), mean_w))


def power_of(appliance: Appliance, name: str, outage: Outage, sampler: Sampler) -> Power:
    """Return an appliance's power through an outage.

    Parameters
    ----------
    appliance : Appliance
        What is plugged in.
    name : str
        Of its own, also where two of a load are called alike.
    outage, sampler
        Through what, and its draws.
    """
    slope = None
    if outage.room is not None and appliance.room is not None and appliance.room_slope is not None:
        for celsius in {outage.room.celsius.min(), outage.room.celsius.max()} - {appliance.room.m_as("degC")}:
            room_celsius(Q_(float(celsius), "degC"), "room")
        slope = sampler.of(appliance.room_slope)
    measured_w = sampler.of(appliance.mean_power, 0)
    windows_w = appliance.pattern.windows(lookup("step of a ride").value / 60, TENTHS)
    begun = _phase(appliance, name, outage, sampler, windows_w.size)
    shape, course = windows_w / (appliance.pattern.mean_w or 1), None
    if outage.on is not None and appliance.thermal is not None:
        begun, course = (0.0, None, None), course_of(appliance.thermal, outage, sampler)
    return Power(appliance, outage, sampler, measured_w, slope, *begun, shape, course)


def course_of(cabinet: Cabinet, outage: Outage, sampler: Sampler, until_h: Any = np.inf) -> Course:
    """Return what a cabinet draws in an outage's windows, by a unit that runs until then, or all along [h]."""
    inside, room = cabinet.at(sampler), cabinet.room_of(outage.room)
    edges_h = steps_h(0.0, outage.hours, outage.cuts_h(0.0, outage.hours))
    power_w = inside.through(edges_h, room, lambda at: outage.powered(at) & (at < until_h))
    steady_w = np.maximum(inside.steady_w(room((edges_h[:-1] + edges_h[1:]) / 2)[:, np.newaxis]), LEAST)
    return Course(inside, edges_h, power_w / steady_w, inside.most_w / steady_w)


def _phase(
    appliance: Appliance, name: str, outage: Outage, sampler: Sampler, windows: int
) -> tuple[float, np.ndarray | None, np.ndarray | None]:
    """Return how long ago its pattern began [h]; where that is drawn, the window that it is in, and what is known."""
    pattern, begins_h = appliance.pattern, outage.begins_h
    if not np.ptp(pattern.power_w):
        return 0.0, None, None

    def window(since_h: Any) -> np.ndarray:
        return np.floor(np.asarray(since_h) / pattern.period_h * windows + 1e-9).astype(int) % windows

    if pattern.begins_h is None:
        since_h = pattern.period_h * sampler.evenly(f"moment in the cycle of the {name}")
        return 0.0, window(since_h), None
    days = round(pattern.period_h / DAY_H)
    day = np.zeros(sampler.draws + 1)
    if days > 1:
        day = np.floor(days * sampler.evenly(f"which of its days the {name} has"))
    if begins_h is None:
        hour_h = DAY_H * sampler.evenly("hour at which it begins")
        return 0.0, window((hour_h - pattern.begins_h) % DAY_H + DAY_H * day), None
    since = (begins_h - pattern.begins_h) % DAY_H
    if days == 1 and pattern.power_w.size <= SCHEDULE:
        return since, None, None
    return 0.0, window(since + DAY_H * day), window(since + DAY_H * np.arange(days))
