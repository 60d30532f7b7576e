"""The state of charge of a battery unit through time, for one draw or many thousands at once.

Plain arrays in named units; every power and energy on one side, as a unit's route has it. Time is cut into steps of
constant power. In each, only the surplus of recharge over load is charged:

    offered = (recharge_w - battery_w) * duration_h
    net     = min(offered, eta_c * offered)                                                   (1)

which is eta_c * offered where there is a surplus and all of it where there is none, as eta_c is at most 1. The charge
moves by ``net`` and stops at 0 (empty: the rest is unserved) and at the capacity (full: the rest is spilled).

How it is worked out. A stretch of time takes a charge ``s`` at its beginning to

    clip(s + shift, low, high)                                                                (2)

at its end, where ``low`` and ``high`` are the ends of two runs through it, from empty and from full; what a start at
``s`` leaves unserved and spills follows from the same two runs (3, 4). Such stretches join into longer ones of the same
form, and so does a day that repeats: its states after any number of days are written down at once (5). So

1. steps that are a surplus for every draw, or a deficit for every draw, become one;
2. about sqrt(n) stretches of about sqrt(n) of what is left are walked all at the same time, by two runs each;
3. the stretches are joined to a day, the days to the outage;
4. the moment a draw first empties is looked for in the one stretch where it must lie, by the closed form (6).

All this is exact, up to rounding, for power constant in each step. Charging that tapers, or goes on until full, depends
on the state and lies outside.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import isqrt
from typing import Any, NamedTuple

import numpy as np

from ..units import Refusal

Array = np.ndarray

AT_ONCE = 2 * 100 * 100  # numbers handled by one NumPy call: few enough to stay in a processor's cache


@dataclass(frozen=True)
class Powers:
    """The power of every draw in every step: a few profiles, and what each draw takes of each.

    power_w = factors @ profiles_w                                                            (7)

    Parameters
    ----------
    profiles_w : array of shape (profiles, steps)
        Powers shared by all draws [W]; a constant, such as a standby, is a row of ones.
    factors : array of shape (draws, profiles), or (1, profiles) where all draws agree
        How much each draw takes of each profile [-].

    Notes
    -----
    10,000 draws of a week in minutes are 800 MB written out, and 0.3 MB in this form. A table of its own power for
    each of a few draws is ``Powers(table, np.eye(len(table)))``.

    Example
    -------
    >>> Powers([[70.0, 0.0], [1.0, 1.0]], [[1.0, 9.0], [1.1, 12.0]]).table_w()
    array([[79.,  9.],
           [89., 12.]])
    """

    profiles_w: Array = field(repr=False)
    factors: Array = field(repr=False)

    def __post_init__(self) -> None:
        profiles, factors = np.asarray(self.profiles_w, float), np.asarray(self.factors, float)
        fits = profiles.ndim == factors.ndim == 2 and factors.shape[1] == len(profiles)
        if not (fits and profiles.size and factors.size):
            raise Refusal(
                f"profiles of shape {profiles.shape} and factors of shape {factors.shape}",
                "shapes (profiles, steps) and (draws, profiles)",
                "Give one factor a draw for each profile.",
            )
        if not (np.isfinite(profiles).all() and np.isfinite(factors).all()):
            raise Refusal("powers that are not finite", "finite numbers", "Take out what is missing or infinite.")
        object.__setattr__(self, "profiles_w", profiles)
        object.__setattr__(self, "factors", factors)
        if min(profiles.min(), factors.min(), 0) < 0 and any((part < 0).any() for part in self._parts()):
            raise Refusal("a power below zero", "powers of zero or more", "Give what flows back as recharge.")

    @classmethod
    def of(cls, power: Any) -> Powers:
        """Return ``power`` as it is, or one row of it [W], shape (steps,), taken by all draws alike."""
        return power if isinstance(power, cls) else cls(np.asarray(power, float)[np.newaxis], np.ones((1, 1)))

    def table_w(self) -> Array:
        """Return the powers written out [W], shape (draws, steps)."""
        return self.factors @ self.profiles_w  # (7)

    def _parts(self) -> Iterator[Array]:
        rows = max(1, AT_ONCE // self.profiles_w.shape[1])
        return (self.factors[at : at + rows] @ self.profiles_w for at in range(0, len(self.factors), rows))


@dataclass(frozen=True)
class Charge:
    """What the battery did, one number for each draw; energies on the side of the inputs.

    Parameters
    ----------
    first_empty_h : array of shape (draws,)
        When more is first asked than battery and recharge hold [h]; inf where that never happens.
    end_wh : array of shape (draws,)
        Charge at the end [Wh].
    served_wh, unserved_wh : arrays of shape (draws,)
        What was asked and came, what was asked and did not come [Wh].
    stored_wh, wasted_wh : arrays of shape (draws,)
        Recharge that went into the battery, before charge loss, and recharge that found no room [Wh]. The rest of what
        was offered went straight to the load.
    residual_wh : array of shape (draws,)
        start - end + eta_c * stored - taken from the battery [Wh]: rounding, or a mistake. Every part is added up on
        its own, and the end is found without them.
    soc_wh : array of shape (draws, times), optional
        Charge at the times wanted [Wh].
    """

    first_empty_h: Array
    end_wh: Array
    served_wh: Array
    unserved_wh: Array
    stored_wh: Array
    wasted_wh: Array
    residual_wh: Array
    soc_wh: Array | None = None

    def __repr__(self) -> str:
        draws, lasting = len(self.first_empty_h), int(np.isinf(self.first_empty_h).sum())
        return f"<Charge: {draws:,} {'draw' if draws == 1 else 'draws'}, {lasting:,} never empty>"


def charge_through(
    duration_h: Any, battery_w: Any, recharge_w: Any = None, *, capacity_wh: Any, start_wh: Any,
    charge_efficiency: Any = 1.0, restart_wh: Any = 0.0, off_w: Any = 0.0, repeats: int = 1, at_h: Any = None,
) -> Charge:  # fmt: skip
    """Return the battery's charge, and what it could not serve or hold, through steps of constant power.

    Parameters
    ----------
    duration_h : array of shape (steps,)
        Length of each step [h].
    battery_w : Powers, or array of shape (steps,)
        What load and unit ask of the battery, standby and losses in it [W].
    recharge_w : Powers, or array of shape (steps,), optional
        Recharge at the battery's terminals, before charge loss [W].
    capacity_wh : float or array of shape (draws,)
        Usable capacity, from cut-off to full [Wh].
    start_wh : float or array of shape (draws,)
        Charge at the beginning, from 0 to the capacity [Wh].
    charge_efficiency : float or array of shape (draws,)
        Share of what is stored that comes back, above 0 and at most 1 [-].
    restart_wh : float or array of shape (draws,)
        Charge at which a unit that ran empty turns on again [Wh]; a start at 0 counts as having run empty. At 0, for
        all draws, there is no such threshold: the load takes what recharge comes.
    off_w : float or array of shape (draws,)
        What a unit waiting for its restart takes for itself, as far as there is any [W].
    repeats : int
        How many times the steps follow each other [-]: 365 for a year of one day.
    at_h : array of shape (times,), optional
        Times at which the charge is wanted [h].

    Returns
    -------
    Charge

    Raises
    ------
    Refusal
        If shapes do not fit, or a number lies outside what it can be.

    Notes
    -----
    A repeating day costs one day. With a restart threshold what happens depends on what happened: every draw is
    followed from one switching to the next, every repeat included; so a threshold below a thousandth of the capacity
    is refused. What may be a rounding error of the sums (1e-13 of what flowed) counts neither as lacking nor as short
    of the threshold: who asks to the last watt-hour is served.

    Example
    -------
    A battery of 400 Wh carries 50 W; after six hours there are four of sun.

    >>> day = charge_through([6, 4, 14], [50, 50, 50], [0, 150, 0], capacity_wh=400, start_wh=350,
    ...                      charge_efficiency=0.9, at_h=[6, 10])
    >>> day.soc_wh, day.first_empty_h, day.unserved_wh, day.wasted_wh
    (array([[ 50., 400.]]), array([18.]), array([300.]), array([11.11111111]))
    """
    powers = Powers.of(np.zeros(np.shape(duration_h)) if recharge_w is None else recharge_w), Powers.of(battery_w)
    unit = _unit(powers, capacity_wh=capacity_wh, start_wh=start_wh, charge_efficiency=charge_efficiency, off_w=off_w,
                 restart_wh=restart_wh)  # fmt: skip
    course = _course(np.asarray(duration_h, float), powers, unit.factors, repeats, at_h)
    follow = _switching if unit.restart.any() else _joined
    abreast = course.window if unit.restart.any() else course.blocks.shape[1]
    rows = max(1, AT_ONCE // abreast)
    parts = [follow(course, unit.part(slice(at, at + rows))) for at in range(0, unit.start.size, rows)]
    tally = _Tally(*(np.concatenate(part, axis=-1) for part in zip(*parts, strict=True)))
    asked = -repeats * (course.energy[:, course.sources :].sum(axis=0) @ unit.factors[course.sources :])
    wasted = tally.spilled / unit.eta
    stored = tally.surplus - wasted
    return Charge(
        tally.first_empty_h, tally.end, asked - tally.unserved, tally.unserved, stored, wasted,
        unit.start - tally.end + unit.eta * stored - tally.taken, None if at_h is None else tally.soc.T,
    )  # fmt: skip


# --- What is given ----------------------------------------------------------------------------------


class _Unit(NamedTuple):
    """What differs from draw to draw; draws stand along the last axis."""

    factors: Array  # of each profile, recharge before load
    capacity: Array
    start: Array
    eta: Array
    off_w: Array
    restart: Array

    def part(self, draws: slice | Array) -> _Unit:
        return _Unit(*(value[..., draws] for value in self))


class _Course(NamedTuple):
    """What all draws share: the steps of one day, cut where a charge is wanted, and the runs they make."""

    duration_h: Array
    ends_h: Array  # 0, then the end of each step
    energy: Array  # (steps, profiles): offered in each step for a factor of one
    sources: int  # profiles of recharge; they stand before those of the load
    repeats: int
    first: Array  # first step of each run
    blocks: Array  # (runs in a block, blocks, profiles): offered in each run
    day: Array  # of each time wanted
    before: Array  # steps of that day before each time wanted

    @property
    def window(self) -> int:
        """Steps that a draw with a restart looks ahead."""
        return isqrt(len(self.energy) * self.repeats)


def _demand(fine: Any, name: str, needed: str, given: Any) -> None:
    if not np.all(fine):
        shown = f"{np.min(given):g} to {np.max(given):g}" if isinstance(given, Array) and given.size else given
        raise Refusal(f"{name}: {shown}", needed, f"Look through {name} and correct what does not fit.")


def _unit(powers: tuple[Powers, Powers], **given: Any) -> _Unit:
    """Return the draws' own numbers, one for each draw, or refuse what cannot be."""
    values = {name: np.asarray(value, float) for name, value in given.items()}
    shapes = {name: value.shape for name, value in values.items()}
    shapes |= {"recharge_w": powers[0].factors.shape[:1], "battery_w": powers[1].factors.shape[:1]}
    draws = max(max(shape, default=1) for shape in shapes.values())
    for name, shape in shapes.items():
        _demand(shape in {(), (1,), (draws,)}, name, f"one, or one for each of {draws} draws", f"shape {shape}")
    capacity, start, eta, off_w, restart = values.values()
    _demand((capacity >= 0) & (capacity < np.inf), "capacity_wh", "finite, zero or more", capacity)
    _demand((start >= 0) & (start <= capacity), "start_wh", "from 0 to the capacity", start)
    _demand((eta > 0) & (eta <= 1), "charge_efficiency", "above 0, at most 1", eta)
    _demand((off_w >= 0) & (off_w < np.inf), "off_w", "finite, zero or more", off_w)
    _demand((restart >= 0) & (restart <= capacity), "restart_wh", "from 0 to the capacity", restart)
    waits = (restart > 0) & (restart >= capacity / 1000)
    _demand(waits.all() or not restart.any(), "restart_wh", "0 for all draws, or a thousandth of capacity or more",
            restart)  # fmt: skip
    factors = np.hstack([np.broadcast_to(power.factors, (draws, power.factors.shape[1])) for power in powers]).T
    return _Unit(factors, *(np.broadcast_to(value, draws) for value in values.values()))


def _course(duration: Array, powers: tuple[Powers, Powers], factors: Array, repeats: int, at_h: Any) -> _Course:
    """Return the shared course of time, or refuse what does not fit."""
    steps = [power.profiles_w.shape[1] for power in powers]
    _demand([duration.shape == (n,) for n in steps], "duration_h", f"one for each of {steps} steps of the powers",
            f"shape {duration.shape}")  # fmt: skip
    _demand((duration > 0) & (duration < np.inf), "duration_h", "finite, above zero", duration)
    _demand(isinstance(repeats, int) and repeats > 0, "repeats", "a whole number, 1 or more", repeats)
    offered_w = np.vstack([powers[0].profiles_w, -powers[1].profiles_w]).T
    ends = np.concatenate([[0], np.cumsum(duration)])
    day = before = np.zeros(0, int)
    if at_h is not None:
        at, total = np.asarray(at_h, float), ends[-1] * repeats
        fine = at.ndim == 1 and (at >= 0) & ((at <= total) | np.isclose(at, total))
        _demand(fine, "at_h", f"a row of times from 0 to {total:g} h", at)
        day = np.minimum(at // ends[-1], repeats - 1).astype(int)
        within = np.clip(at - day * ends[-1], 0, ends[-1])
        cuts = np.union1d(ends, within)
        offered_w = offered_w[np.searchsorted(ends, cuts[:-1], side="right") - 1]
        ends, duration, before = cuts, np.diff(cuts), np.searchsorted(cuts, within)
    energy = offered_w * duration[:, np.newaxis]
    first = _runs(energy, factors, before)
    blocks = isqrt(first.size)
    runs = np.add.reduceat(energy, first)
    runs = np.pad(runs, ((0, -first.size % blocks), (0, 0)))  # runs of nothing change nothing
    runs = np.ascontiguousarray(runs.reshape(blocks, -1, runs.shape[1]).swapaxes(0, 1))
    return _Course(duration, ends, energy, len(powers[0].profiles_w), repeats, first, runs, day, before)


def _runs(energy: Array, factors: Array, cuts: Array) -> Array:
    """Return the first step of each run: steps that no draw needs apart, as all gain in them or all lose.

    The charge moves one way through a run, so that clipping it once at the end is the same as in every step.
    """
    bounds = energy * factors.min(axis=1), energy * factors.max(axis=1)
    gain = np.minimum(*bounds).sum(axis=1) >= 0
    lose = np.maximum(*bounds).sum(axis=1) <= 0
    new = ~(gain | lose)
    new[1:] |= (gain[1:] != gain[:-1]) | new[:-1]
    new[0] = True
    new[cuts[cuts < new.size]] = True
    return np.flatnonzero(new)


# --- Stretches of time, joined ----------------------------------------------------------------------


def _net(offered: Array, eta: Array) -> Array:
    return np.minimum(offered, eta * offered)  # (1)


def _reach(start: Array, shift: Array, end: Array) -> Array:
    return np.clip(start + shift, end[0], end[1])  # (2)


class _Stretch(NamedTuple):
    """Stretches of time, known by two runs through each: from empty [0] and from full [1].

    Two charges keep their distance until the lower one stops at 0 or the upper one at the capacity; once they have met
    they stay together. So a start at s leaves unserved, and spills,

        unserved[1] + max(0, unserved[0] - unserved[1] - s)                                   (3)
        spilled[0] + max(0, s - (capacity - (spilled[1] - spilled[0])))                       (4)
    """

    shift: Array  # sum of net
    surplus: Array  # sum of what is offered above the load
    end: Array
    unserved: Array
    spilled: Array

    def lacking(self, start: Array, slack: Array) -> Array:
        """Return how far ``start`` is from lasting through: above zero where more than ``slack`` stays unserved."""
        return np.where(self.unserved[1] > slack, np.inf, self.unserved[0] - self.unserved[1] - start - slack)

    def unserved_from(self, start: Array) -> Array:
        return self.unserved[1] + np.maximum(0, self.unserved[0] - self.unserved[1] - start)  # (3)

    def spilled_from(self, start: Array, capacity: Array) -> Array:
        return self.spilled[0] + np.maximum(0, start - (capacity - (self.spilled[1] - self.spilled[0])))  # (4)


class _Tally(NamedTuple):
    """What comes of some draws; what has no unit in its name is in Wh, on the side of the inputs."""

    first_empty_h: Array
    end: Array
    unserved: Array
    spilled: Array  # after charge loss
    surplus: Array  # before it
    taken: Array
    soc: Array  # (times, draws)


def _joined(course: _Course, unit: _Unit) -> _Tally:
    """Return what comes of draws without a restart: stretches joined to a day, and days to the whole."""
    stretch, marks = _walk(course, unit)
    now = np.stack([np.zeros_like(unit.start), unit.capacity])
    starts = np.empty_like(stretch.end)  # of every stretch, for a day begun empty and begun full
    for at in range(starts.shape[1]):
        starts[:, at] = now
        now = _reach(now, stretch.shift[at], stretch.end[:, at])
    day = _Stretch(
        stretch.shift.sum(axis=0), stretch.surplus.sum(axis=0), now,
        stretch.unserved_from(starts).sum(axis=1), stretch.spilled_from(starts, unit.capacity).sum(axis=1),
    )  # fmt: skip
    begun = np.cumsum(stretch.shift, axis=0) - stretch.shift
    number, times = _days(unit.start, day, course.repeats)
    mornings = _morning(unit.start, day, number)
    unserved = (times * day.unserved_from(mornings)).sum(axis=0)
    spilled = (times * day.spilled_from(mornings, unit.capacity)).sum(axis=0)
    asked = day.surplus - course.energy.sum(axis=0) @ unit.factors  # of the battery in a day
    slack = _slack(course, unit)
    lacking = np.where(times > 0, day.lacking(mornings, slack), -np.inf)
    which = _first(lacking)
    hours = _hour_empty(course, unit, _reach(_of_each(mornings, which), begun, starts), stretch, slack)
    empty = np.where((lacking > 0).any(axis=0), _of_each(number, which) * course.ends_h[-1] + hours, np.inf)
    soc = _wanted(course, _morning(unit.start, day, course.day[:, np.newaxis]), begun, starts, marks)
    end = _morning(unit.start, day, np.asarray(course.repeats))
    surplus = course.repeats * day.surplus
    return _Tally(empty, end, unserved, spilled, surplus, course.repeats * asked - unserved, soc)


def _morning(start: Array, day: _Stretch, number: Array) -> Array:
    """Return the charge at the beginning of a day that repeats, days counted from 0.

    After the first day it climbs, or falls, by the same shift each day until it meets a limit, and stays there:

        morning[1 + d] = clip(morning[1] + d * shift, low, high)                              (5)
    """
    first = _reach(start, day.shift, day.end)
    return np.where(number == 0, start, _reach(first, (number - 1) * day.shift, day.end))  # (5)


def _days(start: Array, day: _Stretch, repeats: int) -> tuple[Array, Array]:
    """Return the three days that say all, by number, and how often each comes, both of shape (3, draws).

    The first day; the one that reaches a limit; and the first that begins there, which comes again and again. Between
    the first two no limit is met, so nothing is unserved or spilled.
    """
    first = _reach(start, day.shift, day.end)
    room = np.where(day.shift > 0, day.end[1] - first, first - day.end[0])
    pace = np.abs(day.shift)  # where that never gets to a limit, no day is unlike another
    free = np.floor_divide(room, pace, out=np.zeros_like(room), where=repeats * pace > room)
    number = np.stack([np.zeros_like(free), 1 + free, 2 + free])
    return number, np.clip(repeats - number, 0, [[1], [1], [repeats]])


def _walk(course: _Course, unit: _Unit) -> tuple[_Stretch, tuple[Array, Array]]:
    """Return all stretches of a day, walked side by side, and shift and end of each up to the times wanted."""
    length, blocks, _ = course.blocks.shape
    shape = blocks, unit.start.size
    shift, surplus = np.zeros(shape), np.zeros(shape)
    now = np.zeros((2, *shape))
    now[1] = unit.capacity
    unserved, spilled = np.zeros_like(now), np.zeros_like(now)
    block, place = np.divmod(np.searchsorted(course.first, course.before) - 1, length)
    marks = np.zeros((place.size, shape[1])), np.zeros((2, place.size, shape[1]))
    for at, run in enumerate(course.blocks):
        offered = run @ unit.factors
        net = _net(offered, unit.eta)
        surplus += np.maximum(offered, 0)
        shift += net
        raw = now + net
        held = np.maximum(raw, 0)
        now = np.minimum(held, unit.capacity)
        unserved += held - raw
        spilled += held - now
        here = np.flatnonzero(place == at)
        marks[0][here], marks[1][:, here] = shift[block[here]], now[:, block[here]]
    return _Stretch(shift, surplus, now, unserved, spilled), marks


def _wanted(course: _Course, morning: Array, begun: Array, starts: Array, marks: tuple[Array, Array]) -> Array:
    """Return the charge at the times wanted, shape (times, draws): day, stretch and part of a stretch in turn."""
    block = (np.searchsorted(course.first, course.before) - 1) // len(course.blocks)
    within = _reach(_reach(morning, begun[block], starts[:, block]), *marks)
    return np.where(course.before[:, np.newaxis] == 0, morning, within)


def _one_limit(start: Array, net: Array, limit: Array) -> tuple[Array, Array]:
    """Return the charge after each step, and what found no room up to then, of a battery that may owe.

    x = start + cumsum(net),    charge = x - max(0, running max(x - limit))                   (6)

    It is the battery's charge until that first falls below zero.
    """
    x = start + np.cumsum(net, axis=0)
    lost = np.maximum(0, np.maximum.accumulate(x - limit, axis=0))
    return np.minimum(x - lost, limit), lost  # (6), and never a rounding error above the limit


def _share(charge: Array, net: Array) -> Array:
    """Return the share of a step after which ``net`` has used up the charge."""
    return np.clip(charge, 0, np.maximum(-net, 0)) / np.where(net < 0, -net, 1)


def _slack(course: _Course, unit: _Unit) -> Array:
    """Return the energy that may be a rounding error of a day's sums: empty between equal powers lacks nothing."""
    return 100 * np.finfo(float).eps * (unit.capacity + np.abs(course.energy).sum(axis=0) @ np.abs(unit.factors))


def _first(lacking: Array) -> Array:
    """Return where each draw first lacks anything, or all but does."""
    return np.argmax((lacking > 0) | (lacking == lacking.max(axis=0)), axis=0)


def _of_each(table: Array, row: Array) -> Array:
    """Return each draw's entry in its own row of the table."""
    return np.take_along_axis(table, row[np.newaxis], axis=0)[0]


def _before(charges: Array, row: Array, start: Array) -> Array:
    return np.where(row > 0, _of_each(charges, np.maximum(row - 1, 0)), start)


def _hour_empty(course: _Course, unit: _Unit, charges: Array, stretch: _Stretch, slack: Array) -> Array:
    """Return when each draw first lacks anything [h of the day], stretches begun with these charges.

    First the stretch is found, then the run in it, then the step in the run.
    """
    block = _first(stretch.lacking(charges, slack))
    charge = _of_each(charges, block)
    offered = np.einsum("rdp,pd->rd", course.blocks[:, block], unit.factors)
    charges, _ = _one_limit(charge, _net(offered, unit.eta), unit.capacity)
    run = _first(-charges - slack)
    charge = _before(charges, run, charge)
    run = np.minimum(run + block * len(course.blocks), course.first.size - 1)
    begin, last = course.first[run], np.append(course.first[1:], len(course.energy))[run] - 1
    until = np.concatenate([np.zeros_like(course.energy[:1]), np.cumsum(course.energy, axis=0)])

    def left(step: Array) -> Array:
        return charge + np.einsum("dp,pd->d", until[step] - until[begin], unit.factors)

    low, high = begin, last  # the charge falls all through the run: halve it until one step is left
    for _ in range(int((high - low).max()).bit_length()):
        middle = (low + high) // 2
        empty = left(middle + 1) < -slack
        low, high = np.where(empty, low, np.minimum(middle + 1, high)), np.where(empty, middle, high)
    share = _share(left(low), np.einsum("dp,pd->d", course.energy[low], unit.factors))
    return course.ends_h[low] + share * course.duration_h[low]


# --- Off until the restart --------------------------------------------------------------------------


def _switching(course: _Course, unit: _Unit) -> _Tally:
    """Return what comes of draws that turn off when empty and wait for their restart.

    Every draw goes from one switching to the next, all side by side, a window of steps at a time.
    """
    steps, draws = len(course.energy), unit.start.size
    step, gone = np.zeros(draws, int), np.zeros(draws)  # where each draw is: a step, and the share of it gone by
    charge, on = unit.start.copy(), unit.start > 0
    empty = np.where(on, np.inf, 0.0)
    unserved, spilled, surplus, taken = (np.zeros(draws) for _ in _Tally._fields[2:-1])
    soc = np.tile(charge, (course.day.size, 1))
    while (who := np.flatnonzero(step < steps * course.repeats)).size:
        part = unit.part(who)
        ahead = step[who] + np.arange(course.window)[:, np.newaxis]
        at, share, level, sums = _until_switch(course, part, ahead, gone[who], charge[who], on[who])
        index = (course.day * steps + course.before)[:, np.newaxis] - 1 - ahead[0]
        seen = np.take_along_axis(level, np.clip(index, 0, len(ahead) - 1), axis=0)
        soc[:, who] = np.where(index >= 0, seen, soc[:, who])  # what lies past the switching is seen again, after it
        switched = at < len(ahead)
        share = np.where(at == 0, gone[who] + (1 - gone[who]) * share, share)
        step[who] += at
        number, within = np.divmod(step[who], steps)
        hours = number * course.ends_h[-1] + course.ends_h[within] + share * course.duration_h[within]
        empty[who] = np.where(on[who] & switched, np.minimum(empty[who], hours), empty[who])
        charge[who] = np.where(switched, np.where(on[who], 0, part.restart), level[-1])
        gone[who] = np.where(switched, share, 0)
        on[who] ^= switched
        for total, more in zip((unserved, spilled, surplus, taken), sums, strict=True):
            total[who] += more
    return _Tally(empty, charge, unserved, spilled, surplus, taken, soc)


def _until_switch(
    course: _Course, unit: _Unit, ahead: Array, gone: Array, charge: Array, on: Array
) -> tuple[Array, Array, Array, tuple[Array, ...]]:
    """Return the window's step in which each draw switches, the share of it before that, charges and sums up to there.

    What is on loses until it is empty; what is off gains until its restart, the same thing seen from there downwards.
    """
    within = ahead % len(course.energy)
    left = (ahead < len(course.energy) * course.repeats).astype(float)
    left[0] -= gone
    sources = course.sources
    energy = course.energy[within] * left[..., np.newaxis]
    recharge = np.einsum("sdp,pd->sd", energy[..., :sources], unit.factors[:sources])
    load = -np.einsum("sdp,pd->sd", energy[..., sources:], unit.factors[sources:])
    offered = recharge - np.where(on, load, unit.off_w * course.duration_h[within] * left)
    fall = np.where(on, 1, -1) * _net(offered, unit.eta)
    top = np.where(on, unit.capacity, unit.restart)
    height = np.where(on, charge, unit.restart - charge)
    heights, lost = _one_limit(height, fall, top)
    slack = _slack(course, unit)
    below = heights < np.where(on, -slack, slack)
    at = np.where(below.any(axis=0), below.argmax(axis=0), len(ahead))
    here = np.minimum(at, len(ahead) - 1)
    share = _share(_before(heights, at, height), _of_each(fall, here))
    index = np.arange(len(ahead))[:, np.newaxis]
    weight = np.where(index < at, 1, np.where(index == at, share, 0))
    surplus, asked = (weight * np.maximum(offered, 0)).sum(axis=0), (weight * np.maximum(-offered, 0)).sum(axis=0)
    unserved, lost = np.where(on, 0, (weight * load).sum(axis=0)), _of_each(lost, here)
    sums = unserved, np.where(on, lost, 0), surplus, asked - np.where(on, 0, lost)
    return at, share, np.where(on, heights, unit.restart - heights), sums
