"""How far one day's draw lies from the next, and what a log of a few days can say about it.

A power is taken as its long-run mean times one and four parts that vary about it: what lasts for days (weather, room,
season), what is new each day (guests, shopping), what comes back each day (meals), and what is new each hour (doors,
cycles). How large each is the log tells by its stretches of some hours: all sizes in the table's bands are weighed by
how likely they make what was seen. What was not seen keeps its band.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..known import COVERAGE, student
from ..model.pattern import DAY_H, Pattern
from ..sampling import FEWEST_DOF
from ..sources import lookup
from .cycles import Switching
from .log import MeterLog

DAY_S = 3600 * DAY_H
WHOLE_DAY = 0.8  # share of 24 h that must be covered for a day to count
FEWEST_DAYS = 3  # with fewer, how days differ rests on the stated bands more than on what was seen
STRETCHES_H, MOST_STRETCHES = (4, 6, 8, 12, 24, 48, 168, 672), 42  # the shortest of which there are no more
LEAST_SEEN = 0.3  # share of a usual stretch outside defrosts, from which it counts
HARMONICS = 6  # of a day's rhythm: 24 h, 12 h, 8 h ...
LONGEST_STEP_S = 3.5 * 3600  # from which energies read one by one no longer tell the hours of a day
PARTS = {"for days": 9, "each day": 5, "each hour": 5, "by the clock": 4}  # how many sizes of each are weighed


@dataclass(frozen=True)
class DaySpread:
    """How days differ, and what that rests on.

    Parameters
    ----------
    of_day_w : float
        Standard deviation of one day's mean power about the long run's [W].
    of_mean_w : float
        Standard deviation of the log's mean power about the long run's [W].
    dof : float
        Degrees of freedom of both [-].
    likeness : float
        Correlation of one day's mean power with the next one's [-].
    rhythm : float
        Standard deviation of what comes back at the same hours of each day, over the mean [-].
    days : float
        Covered time of the log, in days [-].
    """

    of_day_w: float
    of_mean_w: float
    dof: float
    likeness: float
    rhythm: float
    days: float


def day_spread(log: MeterLog, seen: Switching, mean_w: float) -> DaySpread:
    """Return how far one day lies from the long run's mean, and how far the log's mean does.

    cov = s^2 lasting + d^2 daily + w^2 hourly + h^2 rhythm                                   (1)
    u^2 = a' cov a,   s_day^2 = s^2 + d^2 + w^2 / 24                                          (2)

    a are the stretches' shares of the time seen. Each set of sizes s, d, w, h counts as much as it makes the stretches
    likely, whatever their mean; u and s_day are such that their 95 % intervals are those of all sets together.

    Notes
    -----
    What lasts for days fades exponentially, as fast as the table's likeness has it. Defrosts are left out. From one day
    on nothing is larger than the spread of the readings themselves: a steady load gets no band.

    References
    ----------
    C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning, MIT Press 2006, 2.7 (the mean
    integrated out) and 5.2, from memory.
    """
    days = float(log.duration_s[seen.steady | seen.defrost].sum()) / 3600 / DAY_H
    stretches, alike = _stretches(log, seen, mean_w), lookup("likeness of successive days")
    bands = [(lookup(f"how a draw varies, {part}"), count) for part, count in PARTS.items()]
    sizes = np.stack([each.ravel() for each in np.meshgrid(*(np.geomspace(b.low, b.high, n) for b, n in bands))])
    found = np.concatenate([_weighed(likeness, sizes, *stretches) for likeness in (alike.low, alike.high)], axis=1)
    chance = np.exp(found[0] - found[0].max())
    chance /= chance.sum()
    day, next_day, after, rhythm = (float(chance @ each) for each in found[2:])
    dof = _degrees(chance, np.log(found[1]))
    mean, day_sd = (_all_together(chance, np.sqrt(each)) / student(dof) for each in found[1:3])
    most = 1.0
    if log.kind == "power" and days >= WHOLE_DAY and mean_w:
        apart_w2 = np.average((log.power_w - mean_w) ** 2, weights=log.duration_s)
        most = min(1.0, math.sqrt(apart_w2) / mean_w / day_sd)
    likeness = math.sqrt(1 + (2 * next_day + after) / day) - 1  # with it three days differ as they do
    return DaySpread(most * day_sd * mean_w, most * mean * mean_w, dof, likeness, math.sqrt(rhythm), days)


def _weighed(likeness: float, sizes: np.ndarray, begin_h: np.ndarray, end_h: np.ndarray, seen_h: np.ndarray,
             level: np.ndarray) -> np.ndarray:  # fmt: skip
    """Return for each set of sizes: log of its chance, variances of mean and day, covariances of days, of a rhythm."""
    share, tau_h, squares = seen_h / seen_h.sum(), -DAY_H / math.log(likeness), sizes**2
    day = ((begin_h + end_h) / 2 - begin_h[0]) // DAY_H
    over = np.sqrt(np.maximum(1, (end_h - begin_h) / DAY_H))
    daily = np.equal.outer(day, day) / np.outer(over, over)
    parts = np.stack([_lasting(begin_h, end_h, tau_h), daily, np.diag(1 / seen_h), _rhythm(begin_h, end_h)])
    cov = np.einsum("pg,pij->gij", squares, parts) + 1e-12 * np.eye(level.size)
    sides = np.stack([np.ones(level.size), level], axis=1)
    (ones, cross), (_, all_seen) = np.moveaxis(sides.T @ np.linalg.solve(cov, sides), 0, 2)
    logs = (np.linalg.slogdet(cov)[1] + np.log(ones)) / 2
    chance = -logs - (all_seen - cross**2 / ones) / 2 if level.size > 1 else np.zeros(ones.size)
    of_mean = np.einsum("i,pij,j->p", share, parts, share) @ squares
    lasts = squares[0] * float(_lasting(np.zeros(1), np.full(1, DAY_H), tau_h)[0, 0])
    of_day = lasts + squares[1] + squares[2] / DAY_H
    return np.stack([chance, of_mean, of_day, likeness * lasts, likeness**2 * lasts, squares[3]])


def _lasting(begin_h: np.ndarray, end_h: np.ndarray, tau_h: float) -> np.ndarray:
    """Return the covariances of means over stretches of what fades as exp(-t / tau) [-]."""

    def twice(one_h: np.ndarray, other_h: np.ndarray) -> np.ndarray:
        far = np.abs(np.subtract.outer(one_h, other_h)) / tau_h
        return np.asarray(np.exp(-far) + far)

    total = twice(end_h, begin_h) + twice(begin_h, end_h) - twice(begin_h, begin_h) - twice(end_h, end_h)
    length = (end_h - begin_h) / tau_h
    return np.asarray(total / np.outer(length, length))


def _rhythm(begin_h: np.ndarray, end_h: np.ndarray) -> np.ndarray:
    """Return the covariances of means over stretches of what comes back each day, at whatever hours [-]."""
    rate = 2 * math.pi / DAY_H * np.arange(1, HARMONICS + 1)[:, np.newaxis]
    length = rate * (end_h - begin_h)
    cosine = (np.sin(rate * end_h) - np.sin(rate * begin_h)) / length
    sine = (np.cos(rate * begin_h) - np.cos(rate * end_h)) / length
    return np.asarray((cosine.T @ cosine + sine.T @ sine) / HARMONICS)


def _all_together(chance: np.ndarray, sd: np.ndarray) -> float:
    """Return half the width of the 95 % interval of normal distributions about one middle, each with its chance."""
    from scipy.optimize import brentq
    from scipy.special import ndtr

    return float(brentq(lambda half: chance @ ndtr(-half / sd) - (1 - COVERAGE) / 2, 0, 3 * sd.max()))


def _degrees(chance: np.ndarray, log_variance: np.ndarray) -> float:
    """Return the degrees of freedom of a variance whose logarithm is as uncertain as that, three or more [-].

    var(log variance) = trigamma(dof / 2),   trigamma(x) about 1 / x + 1 / (2 x^2)            (1)
    """
    var = float(chance @ log_variance**2 - (chance @ log_variance) ** 2)
    return max(FEWEST_DOF, (1 + math.sqrt(1 + 2 * var)) / max(var, 1e-3))  # (1)


def _stretches(log: MeterLog, seen: Switching, mean_w: float) -> tuple[np.ndarray, ...]:
    """Return stretches of some hours of a log, without defrosts; of an appliance that switches, in whole cycles.

    For each: when it begins and ends, how much of it was seen [h], and its power over the mean [-].
    """
    ends_s = log.start_s + log.duration_s
    span_s = float(ends_s[-1] - log.start_s[0])
    step_s = next((3600 * h for h in STRETCHES_H if span_s <= 3600 * h * MOST_STRETCHES), span_s)
    places_s = np.append(log.start_s, ends_s[-1])
    if len(seen.cycles) and not seen.steady.all():
        begins_s = 3600 * seen.cycles["start_h"].to_numpy()
        lasts_s = 60 * (seen.cycles["on_min"] + seen.cycles["off_min"]).to_numpy()
        places_s = np.sort(np.append(begins_s, begins_s + lasts_s))
    wanted_s = np.append(log.start_s[0] + np.arange(0, max(span_s - step_s / 2, 1), step_s), ends_s[-1])
    after = np.clip(np.searchsorted(places_s, wanted_s), 1, places_s.size - 1)
    nearer = wanted_s - places_s[after - 1] < places_s[after] - wanted_s
    marks_s = np.unique(places_s[after - nearer])
    knots_s = np.column_stack([log.start_s, ends_s]).ravel()
    counted_s = np.column_stack([log.duration_s * seen.steady, np.zeros(ends_s.size)])  # and nothing in gaps
    seen_h, energy_wh = (_between(marks_s, knots_s, (counted_s * each).ravel()[:-1]) / 3600
                         for each in (1, log.power_w[:, np.newaxis]))  # fmt: skip
    held = seen_h >= LEAST_SEEN * np.median(seen_h)
    level = energy_wh[held] / seen_h[held] / (mean_w or 1)
    return marks_s[:-1][held] / 3600, marks_s[1:][held] / 3600, seen_h[held], level


# -- how it goes through time ----------------------------------------------------------------------


def through_time(log: MeterLog, seen: Switching, rhythm: float) -> Pattern:
    """Return how the power goes through time: the log's own whole days, or all of it where it is shorter than one.

    P(t) mean / (mean of the 24 h about t), defrosts left out of both means                   (1)

    How days differ is in the day-to-day spread, so that it is taken out here. What was not seen, or does not belong
    to the long run, is taken at the mean. Readings too far apart to tell the hours of a day stand for one in which as
    much comes back as ``rhythm`` says: half of it above the mean, half below [-].
    """
    if log.kind != "power" and log.duration_s.max() > LONGEST_STEP_S:
        return Pattern(np.full(2, DAY_H / 2), 1 + min(rhythm, 1) * np.array([1, -1]))
    days = int(log.span_s / DAY_S)
    round_s = days * DAY_S or log.span_s
    held = (seen.steady | seen.defrost) & (log.start_s < round_s)
    begin_s, end_s = log.start_s[held], np.minimum((log.start_s + log.duration_s)[held], round_s)
    edges_s = np.concatenate([[0.0], np.column_stack([begin_s, end_s]).ravel(), [round_s]])
    length_s, mean_w = np.diff(edges_s), float(np.average(log.power_w[held], weights=end_s - begin_s))
    power_w, calm = np.full(length_s.size, mean_w), np.ones(length_s.size, bool)  # between what is held: gaps
    power_w[1::2], calm[1::2] = log.power_w[held], seen.steady[held]
    about_w = _day_about(edges_s, power_w, calm)
    shape_w = power_w * np.average(about_w, weights=length_s) / np.where(about_w > 0, about_w, mean_w or 1)  # (1)
    clock_h = (log.begins - log.begins.normalize()).total_seconds() / 3600 if days and log.begins is not None else None
    kept = length_s > 1e-6
    return Pattern(length_s[kept] / 3600, shape_w[kept], clock_h)


def _day_about(edges_s: np.ndarray, power_w: np.ndarray, calm: np.ndarray) -> np.ndarray:
    """Return for each step the mean power of the calm ones in the 24 h about it, the record going round [W]."""
    length_s, halves_s = np.diff(edges_s), np.array([[-DAY_S / 2], [DAY_S / 2]])
    rounds_s = np.append(0.0, np.cumsum(np.tile(length_s, 3)))
    middles_s = edges_s[-1] + (edges_s[:-1] + edges_s[1:]) / 2
    about_ws, about_s = (_between(middles_s + halves_s, rounds_s, np.tile(length_s * each * calm, 3))[0]
                         for each in (power_w, 1))  # fmt: skip
    return np.asarray(about_ws / np.maximum(about_s, 1e-9))


def _between(marks: np.ndarray, knots: np.ndarray, amounts: np.ndarray) -> np.ndarray:
    """Return what comes between each mark and the next, of amounts that come evenly from each knot to the next."""
    return np.diff(np.interp(marks, knots, np.append(0.0, np.cumsum(amounts))), axis=0)
