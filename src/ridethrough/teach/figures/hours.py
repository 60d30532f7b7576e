"""What happens hour by hour: logged powers, energies counted, charges that fall, what several loads ask."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd
import pint
from matplotlib.axes import Axes
from matplotlib.ticker import MultipleLocator

from ...answer.outage import Outage
from ...answer.ride import Ride
from ...measure.draw import Draw
from ...measure.log import MeterLog
from ...sources import Coefficient
from ...units import show
from .base import About, add_axes, apart, beside, clock, level, plain
from .palette import APPLIANCE, ASSUMED, HELD, INK, KEPT, MAINS, SHORT, SUM_ASSUMED

_SINCE, _POWER = "hours since the log began (h)", "power at the outlet (W)"
_SPAN_H = 30.0  # the part of an outage that is shown of a household
_LEFT, _WIDTH = 0.09, 0.66
_STEPS_H = (1, 3, 6, 12, 24)  # between the marks of an axis of hours


def trace_figure(axes: Axes, log: MeterLog, draw: Draw, sticker: pint.Quantity, hours: tuple[float, float]) -> About:
    """Draw the power that a meter logged, with its mean, what the sticker says, and what a learner should find.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    log : MeterLog
        What the meter wrote.
    draw : Draw
        What was measured in it.
    sticker : pint.Quantity
        The power on the appliance's sticker [W].
    hours : (float, float)
        The part of the log to show, counted from its beginning [h].
    """
    axes.figure.subplots_adjust(right=0.80)
    x, y = _outline(log, *hours)
    top = max(float(np.nanmax(y)), plain(sticker))
    axes.fill_between(x, 0, y, color=APPLIANCE, alpha=0.3)
    axes.plot(x, y, color=APPLIANCE, linewidth=0.8)
    level(axes, plain(draw.mean_power), f"mean {show(draw.mean_power)}")
    level(axes, plain(sticker), f"sticker {show(sticker)}", linestyle="--", **SUM_ASSUMED)
    for when, power_w, name in _marks(log, draw, hours):
        axes.text(when, power_w + 0.03 * top, name, ha="center")
    axes.set(xlim=hours, ylim=(0, 1.15 * top), xlabel=_SINCE, ylabel=_POWER)
    return log.name, "shaded: energy that flowed"


def _marks(log: MeterLog, draw: Draw, hours: tuple[float, float]) -> Iterator[tuple[Any, float, str]]:
    """Yield when each defrost, and the highest start caught, was at its highest, and that power."""
    power = pd.Series(log.power_w, log.start_s / 3600).loc[hours[0] : hours[1]]
    seen = [(start, start + 0.5, "defrost") for start in draw.defrosts["start_h"]]
    seen += [] if draw.surge is None else [(*hours, "a start")]
    for begin, end, name in seen:
        held = power.loc[begin:end]
        if held.size:
            yield held.idxmax(), held.max(), name


def _outline(log: MeterLog, begin: float, end: float) -> tuple[np.ndarray, np.ndarray]:
    """Return hours and powers of a log as a line of steps, lifted where nothing was logged."""
    starts, ends = log.start_s / 3600, (log.start_s + log.duration_s) / 3600
    shown = (ends > begin) & (starts < end)
    x, y = np.column_stack([starts, ends])[shown].ravel(), np.repeat(log.power_w[shown], 2)
    gaps = 2 * (np.flatnonzero(starts[shown][1:] - ends[shown][:-1] > 1e-6) + 1)
    return np.insert(x, gaps, np.nan), np.insert(y, gaps, np.nan)


def starts_figure(axes: Axes, hours: np.ndarray, power_w: np.ndarray, running_w: float, times: Coefficient) -> About:
    """Draw what a meter showed at each start of a compressor, beside the band where starts lie.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    hours, power_w : arrays of shape (n,)
        When each start was, and the highest reading in it [h], [W].
    running_w : float
        Power of the settled compressor [W].
    times : Coefficient
        The band, as multiples of ``running_w`` [-].
    """
    axes.figure.subplots_adjust(right=0.80)
    low, high = running_w * times.low, running_w * times.high
    caught = power_w >= low
    axes.axhspan(low, high, alpha=0.5, **ASSUMED)
    axes.plot(hours, power_w, "o", color=APPLIANCE, markersize=4)
    axes.plot(hours[caught], power_w[caught], "o", color=APPLIANCE)
    level(axes, running_w, f"running {running_w:.0f} W", linestyle="--", linewidth=1.5)
    beside(axes, (low + high) / 2, f"a start asks\n{times.low:g} to {times.high:g} times\nas much", 1.015)
    axes.set(xlim=(0, 1.02 * hours[-1]), ylim=(0, 1.08 * high), xlabel=_SINCE, ylabel=_POWER)
    return "a dot: the highest reading in a start's first minute", "large: a start was caught", "hatched: assumed"


def parting_figure(axes: Axes, counted_wh: pd.DataFrame, measured: str) -> About:
    """Draw energies counted from the same moment, labelled where they end.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    counted_wh : pandas.DataFrame
        A column for each way of counting, three at most beside the measured one [Wh]; the index counts hours [h].
    measured : str
        Which of them was measured.
    """
    axes.figure.subplots_adjust(left=0.11, right=0.78)
    ends, broken = counted_wh.iloc[-1], iter(("--", ":", "-."))
    for (name, energy_wh), y in zip(counted_wh.items(), apart(list(ends), 0.07 * ends.max()), strict=True):
        colour, style = (APPLIANCE, "-") if name == measured else (SUM_ASSUMED["color"], next(broken))
        axes.plot(energy_wh, color=colour, linestyle=style, linewidth=3)
        beside(axes, y, f"{name} {energy_wh.iloc[-1]:,.0f} Wh", 1.015, color=colour, fontweight="bold")
    axes.set(xlim=(0, counted_wh.index[-1]), ylim=(0, 1.05 * ends.max()), xlabel=_SINCE,
             ylabel="energy so far, at the outlet (Wh)")  # fmt: skip
    return ("broken lines: not measured",)


def charge_figure(axes: Axes, rides: Ride, levels_wh: np.ndarray) -> About:
    """Draw the charge through an outage as a fan: the middle of many rides, half of them, 19 of 20.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    rides : Ride
        What is shown.
    levels_wh : array of shape (5, n)
        Charge that 1 in 40, a quarter, half, three quarters, 39 in 40 of them are below, at each moment told [Wh].
    """
    times_h, empty_h = rides.case.told_h, [plain(end) for end in rides.interval()]
    end, full_wh, (low, lower, middle, upper, high) = times_h[-1], 1.08 * levels_wh.max(), levels_wh
    axes.fill_between(times_h, low, high, color=HELD, alpha=0.22)
    axes.fill_between(times_h, lower, upper, color=HELD, alpha=0.35)
    axes.plot(times_h, middle, color=HELD, linewidth=3)
    axes.axhline(0, linewidth=0.9)
    for begin, until, name in _carried(rides.outage):
        axes.axvspan(begin, until, color=MAINS, alpha=0.45)
        axes.text((begin + until) / 2, 0.99 * full_wh, name, ha="center", va="top")
    if empty_h[0] < end:
        axes.plot(np.minimum(empty_h, end), [0, 0], color=SHORT, linewidth=7, clip_on=False)
        until_h = f"to {empty_h[1]:.1f} h" if empty_h[1] < end else "or later"
        at, shift, side = (empty_h[1], 8, "left") if empty_h[1] < end / 2 else (empty_h[0], -8, "right")
        axes.annotate(f"empty after {empty_h[0]:.1f} h {until_h}", (at, 0), xytext=(shift, 12), ha=side,
                      textcoords="offset points", fontweight="bold", color=SHORT)  # fmt: skip
    axes.xaxis.set_major_locator(MultipleLocator(next((step for step in _STEPS_H if end <= 8 * step), _STEPS_H[-1])))
    axes.set(xlim=(0, end), ylim=(0, full_wh), xlabel="hours since the power failed (h)",
             ylabel="charge that can be used (Wh)")  # fmt: skip
    return "line: middle ride", "dark: half of the rides", "light: 19 of 20"


def _carried(outage: Outage) -> Iterator[tuple[float, float, str]]:
    """Yield when mains or generator carry the load: from and to [h], and which where that begins."""
    for recharge in outage.recharge:
        edges_h, power_w = recharge.window(outage.hours, outage.begins_h)
        for back in np.flatnonzero((power_w > 0) & recharge.carries):
            yield edges_h[back], edges_h[back + 1], "" if back and power_w[back - 1] else recharge.kind


def emptying_figure(axes: Axes, night: Ride, warm: Ride, begins: int) -> About:
    """Draw what a battery holds hour by hour, and below it the part that the cold keeps back.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    night, warm : Ride
        In a room given by the hour, told at every full hour; and what it would be with the unit in the warm.
    begins : int
        The clock's hour at the beginning [h].
    """
    told = night.state_of_charge
    limit = told["kept back (Wh)"].to_numpy()
    charge_wh, hours = told["charge (Wh)"].to_numpy() + limit, np.arange(limit.size)
    limit = np.append(limit[:-1], limit[-2])  # of each hour, the last one to its end
    end, zero = plain(night.lasts), plain(warm.lasts)
    before = np.append(hours[hours < end], end)
    charge = np.interp(before, hours, charge_wh)
    axes.fill_between(before, limit[before.astype(int)], charge, color=HELD, alpha=0.75)
    axes.fill_between(hours, 0, limit, step="post", color=KEPT, alpha=0.3)
    axes.plot(hours, limit, drawstyle="steps-post")
    axes.plot([end, zero], [charge[-1], 0], color=HELD, linestyle="--")
    marks = (charge[-1], SHORT, "empty in the cold", night.lasts), (0.0, HELD, "in the warm", warm.lasts)
    for y, colour, words, when in marks:
        at, width = plain(when), [plain(end) for end in when.interval()]
        axes.plot(width, [y, y], color=colour, linewidth=3, clip_on=False)
        axes.plot(at, y, "o", color=colour, markersize=11, clip_on=False)
        axes.text(at + 0.5, y + 0.05 * charge_wh[0], f"{words}: {show(when)}", fontweight="bold", color=colour)
    clock(axes, begins, hours[-1], 0, 3)
    axes.set(xlim=(0, hours[-1]), ylim=(0, 1.1 * charge_wh[0]), ylabel="in the battery (Wh)")
    return "pale: out of reach in the cold", "flat lines: 95 % interval"


def household_figure(axes: Axes, power_w: pd.DataFrame, taken_wh: pd.DataFrame, *, colours: Mapping[Any, str],
                     levels_w: tuple[float, float], begins: int) -> About:  # fmt: skip
    """Draw power under the inverter's rating, and below it energy up to what the unit holds.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    power_w : pandas.DataFrame
        A column for each load, its power from each moment on [W]; the index counts from the beginning [h].
    taken_wh : pandas.DataFrame
        What each has taken by each moment, and last what the unit took for itself [Wh], until it is empty [h].
    colours : mapping from name to str
        A colour for each.
    levels_w : (float, float)
        What the inverter may carry, and all peaks together [W].
    begins : int
        The clock's hour at the beginning [h].
    """
    figure: Any = axes.figure
    below = figure.axes[1] if len(figure.axes) > 1 else add_axes(figure)
    axes.set_position((_LEFT, 0.60, _WIDTH, 0.24))
    below.set_position((_LEFT, 0.13, _WIDTH, 0.41))
    shown = power_w[: power_w.index.searchsorted(_SPAN_H) + 1]
    axes.stackplot(shown.index, shown.T, step="post", colors=[colours[name] for name in shown])
    rated_w, peaks_w = levels_w
    rating_at, peaks_at = apart([rated_w, peaks_w], 0.20 * rated_w)
    level(axes, rated_w, f"rating {rated_w:,.0f} W", label_at=rating_at)
    level(axes, peaks_w, f"all peaks {peaks_w:,.0f} W", label_at=peaks_at, linestyle="--",
          color=SHORT if peaks_w > rated_w else INK)  # fmt: skip
    axes.set(ylim=(0, 1.2 * rated_w), ylabel="power (W)")
    below.stackplot(taken_wh.index, taken_wh.T, colors=[colours[name] for name in taken_wh])
    _energies(below, taken_wh.iloc[-1], colours)
    for each in (axes, below):
        each.set_xlim(0, _SPAN_H)
        each.axvline(taken_wh.index[-1], linestyle=":")
    axes.set_xticks([])
    axes.locator_params(axis="y", nbins=3)
    clock(below, begins, _SPAN_H + 1, -begins % 6, 6)
    return "above: how fast", "below: how much, until the unit is empty", "dotted: empty"


def _energies(axes: Axes, ends: pd.Series, colours: Mapping[Any, str]) -> None:
    """Name what each has taken, one on top of the other, beside its end, and what the unit holds."""
    holds = float(ends.sum())
    places = apart(list(np.cumsum(ends) - ends / 2), 0.115 * holds)
    axes.scatter([1.03] * len(places), places, s=90, c=[colours[name] for name in ends.index], marker="s",
                 transform=axes.get_yaxis_transform(), clip_on=False)  # fmt: skip
    for y, (name, energy) in zip(places, ends.items(), strict=True):
        beside(axes, y, f"{name} {energy:,.0f} Wh", 1.055, fontsize=12.5)
    axes.axhline(holds)
    axes.text(0.3, 1.03 * holds, f"the unit holds {holds:,.0f} Wh", fontsize=12.5)
    axes.set(ylim=(0, 1.18 * holds), ylabel="energy (Wh)")
