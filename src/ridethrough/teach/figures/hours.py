"""What happens hour by hour: logged powers, energies counted, charges that fall."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pint
from matplotlib.axes import Axes
from matplotlib.ticker import MultipleLocator

from ...measure.log import MeterLog
from ...units import show
from .base import APPLIANCE, ASSUMED, HELD, KEPT, MAINS, SHORT, SUM_ASSUMED, Known, apart, beside, clock, level, plain

_SINCE, _POWER = "hours since the log began (h)", "power at the outlet (W)"
_STEPS_H = (1, 3, 6, 12, 24)  # between the marks of an axis of hours


def trace_figure(
    axes: Axes, log: MeterLog, mean: Known, sticker: pint.Quantity, *, hours: tuple[float, float],
    marks: Sequence[tuple[float, float, str]] = (),
) -> Sequence[str]:  # fmt: skip
    """Draw the power that a meter logged, with its mean and what the sticker says.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    log : MeterLog
        What the meter wrote.
    mean : Known
        The measured mean power [W].
    sticker : pint.Quantity
        The power on the appliance's sticker [W].
    hours : (float, float)
        The part of the log to show, counted from its beginning [h].
    marks : sequence of (float, float, str)
        What to name in the picture: when [h], at which power [W], and its name.
    """
    axes.figure.subplots_adjust(right=0.80)
    x, y = _outline(log, *hours)
    top = max(float(np.nanmax(y)), plain(sticker))
    axes.fill_between(x, 0, y, color=APPLIANCE, alpha=0.3)
    axes.plot(x, y, color=APPLIANCE, linewidth=0.8)
    level(axes, plain(mean), f"mean {show(mean.value)}")
    level(axes, plain(sticker), f"sticker {show(sticker)}", linestyle="--", **SUM_ASSUMED)
    for when, power, name in marks:
        axes.text(when, power + 0.03 * top, name, ha="center")
    axes.set(xlim=hours, ylim=(0, 1.15 * top), xlabel=_SINCE, ylabel=_POWER)
    return log.name, "shaded: energy that flowed"


def _outline(log: MeterLog, begin: float, end: float) -> tuple[np.ndarray, np.ndarray]:
    """Return hours and powers of a log as a line of steps, lifted where nothing was logged."""
    starts, ends = log.start_s / 3600, (log.start_s + log.duration_s) / 3600
    shown = (ends > begin) & (starts < end)
    x, y = np.column_stack([starts, ends])[shown].ravel(), np.repeat(log.power_w[shown], 2)
    gaps = 2 * (np.flatnonzero(starts[shown][1:] - ends[shown][:-1] > 1e-6) + 1)
    return np.insert(x, gaps, np.nan), np.insert(y, gaps, np.nan)


def starts_figure(
    axes: Axes, hours: np.ndarray, power_w: np.ndarray, running_w: float, times: tuple[float, float]
) -> Sequence[str]:
    """Draw what a meter showed at each start of a compressor, beside the band where starts lie.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    hours, power_w : arrays of shape (n,)
        When each start was, and the highest reading in it [h], [W].
    running_w : float
        Power of the settled compressor [W].
    times : (float, float)
        Ends of the band, as multiples of ``running_w`` [-].
    """
    axes.figure.subplots_adjust(right=0.80)
    low, high = (running_w * factor for factor in times)
    caught = power_w >= low
    axes.axhspan(low, high, alpha=0.5, **ASSUMED)
    axes.plot(hours, power_w, "o", color=APPLIANCE, markersize=4)
    axes.plot(hours[caught], power_w[caught], "o", color=APPLIANCE)
    level(axes, running_w, f"running {running_w:.0f} W", linestyle="--", linewidth=1.5)
    beside(axes, (low + high) / 2, f"a start asks\n{times[0]:g} to {times[1]:g} times\nas much", 1.015)
    axes.set(xlim=(0, 1.02 * hours[-1]), ylim=(0, 1.08 * high), xlabel=_SINCE, ylabel=_POWER)
    return "a dot: the highest reading in a start's first minute", "large: a start was caught", "hatched: assumed"


def parting_figure(axes: Axes, lines: Sequence[tuple[str, np.ndarray, np.ndarray, bool]]) -> Sequence[str]:
    """Draw energies counted from the same moment, labelled where they end.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    lines : sequence of (str, array, array, bool)
        Label, hours [h], energy so far [Wh], and whether it was measured; three at most were not.
    """
    axes.figure.subplots_adjust(left=0.11, right=0.78)
    ends = [float(energy_wh[-1]) for _, _, energy_wh, _ in lines]
    broken = iter(("--", ":", "-."))
    for (label, hours, energy_wh, measured), y in zip(lines, apart(ends, 0.07 * max(ends)), strict=True):
        colour, style = (APPLIANCE, "-") if measured else (SUM_ASSUMED["color"], next(broken))
        axes.plot(hours, energy_wh, color=colour, linestyle=style, linewidth=3)
        beside(axes, y, f"{label} {energy_wh[-1]:,.0f} Wh", 1.015, color=colour, fontweight="bold")
    axes.set(xlim=(0, max(hours[-1] for _, hours, _, _ in lines)), ylim=(0, 1.05 * max(ends)), xlabel=_SINCE,
             ylabel="energy so far, at the outlet (Wh)")  # fmt: skip
    return ("broken lines: not measured",)


def charge_figure(
    axes: Axes, times_h: np.ndarray, levels_wh: np.ndarray, empty_h: Sequence[float], *, full_wh: float,
    mains_h: Sequence[tuple[float, float]] = (),
) -> Sequence[str]:  # fmt: skip
    """Draw the charge through an outage as a fan: the middle of many rides, half of them, 19 of 20.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    times_h : array of shape (n,)
        Moments, from the outage's beginning to its end [h].
    levels_wh : array of shape (5, n)
        Charge that 1 in 40, a quarter, half, three quarters, 39 in 40 of the rides are below [Wh].
    empty_h : (float, float)
        When the first and the last of 19 in 20 rides run empty; the outage's end where they do not [h].
    full_wh : float
        Where the upright axis ends [Wh].
    mains_h : sequence of (float, float)
        When the mains are back: from and to [h].
    """
    end, (low, lower, middle, upper, high) = float(times_h[-1]), levels_wh
    axes.fill_between(times_h, low, high, color=HELD, alpha=0.22)
    axes.fill_between(times_h, lower, upper, color=HELD, alpha=0.35)
    axes.plot(times_h, middle, color=HELD, linewidth=3)
    axes.axhline(0, linewidth=0.9)
    for begin, until in mains_h:
        axes.axvspan(begin, until, color=MAINS, alpha=0.45)
        axes.text((begin + until) / 2, 0.99 * full_wh, "mains", ha="center", va="top")
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


def emptying_figure(
    axes: Axes, charge_wh: np.ndarray, limit_wh: np.ndarray, ends: tuple[Known, Known], *, begins: int
) -> Sequence[str]:
    """Draw what a battery holds hour by hour, and below it the part that the cold keeps back.

    Parameters
    ----------
    axes
        As in `ledger_figure`.
    charge_wh : array of shape (n + 1,)
        What is in it at the full hours, falling [Wh].
    limit_wh : array of shape (n,)
        What can't be taken out during each hour [Wh].
    ends : (Known, Known)
        When the charge meets the limit, and when it would meet zero [h].
    begins : int
        The clock's hour at the beginning [h].
    """
    hours, limit = np.arange(charge_wh.size), np.append(limit_wh, limit_wh[-1])
    end, zero = (plain(each) for each in ends)
    before = np.append(hours[hours < end], end)
    charge = np.interp(before, hours, charge_wh)
    axes.fill_between(before, limit[before.astype(int)], charge, color=HELD, alpha=0.75)
    axes.fill_between(hours, 0, limit, step="post", color=KEPT, alpha=0.3)
    axes.plot(hours, limit, drawstyle="steps-post")
    axes.plot([end, zero], [charge[-1], 0], color=HELD, linestyle="--")
    marks = ((charge[-1], SHORT, "empty in the cold", ends[0]), (0.0, HELD, "in the warm", ends[1]))
    for y, colour, words, when in marks:
        at, width = plain(when), [plain(end) for end in when.interval()]
        axes.plot(width, [y, y], color=colour, linewidth=3, clip_on=False)
        axes.plot(at, y, "o", color=colour, markersize=11, clip_on=False)
        axes.text(at + 0.5, y + 0.05 * charge_wh[0], f"{words}: {show(when.value)}", fontweight="bold", color=colour)
    clock(axes, begins, limit_wh.size, 0, 3)
    axes.set(xlim=(0, limit_wh.size), ylim=(0, 1.1 * charge_wh[0]), ylabel="in the battery (Wh)")
    return "pale: out of reach in the cold", "flat lines: 95 % interval"
