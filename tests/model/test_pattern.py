"""Patterns of power through time, against the clock read minute by minute."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridethrough.model.load import Load
from ridethrough.model.pattern import Pattern, alike, clock
from ridethrough.sources import lookup
from ridethrough.units import Q_, Refusal

DAY_MIN = 24 * 60

# Edges of a day's windows in minutes, each window with a power.
edges = st.lists(st.integers(0, DAY_MIN - 1), min_size=2, max_size=8, unique=True).map(sorted)


def text(minute: int) -> str:
    return f"{minute // 60}:{minute % 60:02d}"


def schedule(cuts: list[int], across: bool) -> tuple[list[tuple[str, str, str]], np.ndarray]:
    """Return windows from every other cut to the next, one of them past midnight if wanted, and a day in minutes."""
    turned = [*cuts[1:], cuts[0]] if across else cuts
    pairs = list(zip(turned[::2], turned[1::2], strict=False))
    windows, minutes = [], np.zeros(DAY_MIN)
    for number, (begin, end) in enumerate(pairs, start=1):
        windows.append((text(begin), text(end), f"{10 * number} W"))
        for minute in range(begin, end if end > begin else end + DAY_MIN):
            minutes[minute % DAY_MIN] += 10 * number
    return windows, minutes


@settings(max_examples=100)
@given(cuts=edges, across=st.booleans(), begins=st.integers(0, DAY_MIN - 1))
def test_a_schedule_is_what_the_clock_says_minute_by_minute(cuts: list[int], across: bool, begins: int) -> None:
    windows, minutes = schedule(cuts, across and len(cuts) % 2 == 0)
    pattern = Pattern.daily(windows)
    middles = (np.arange(3 * DAY_MIN) + 0.5) / 60
    assert pattern.period_h == pytest.approx(24)
    assert pattern.mean_w == pytest.approx(minutes.mean())
    expected = minutes[(begins + np.arange(3 * DAY_MIN)) % DAY_MIN]
    assert pattern.begins_h == 0
    assert np.array_equal(pattern.at(begins / 60 + middles), expected)
    assert Load.daily(windows).mean_power.value.magnitude == pytest.approx(minutes.mean())


@settings(max_examples=100)
@given(
    durations=st.lists(st.integers(1, 400), min_size=1, max_size=7),
    hours=st.integers(1, 60),
    since=st.floats(0, 100),
)
def test_power_holds_still_between_the_cuts(durations: list[int], hours: int, since: float) -> None:
    pattern = Pattern(np.array(durations) / 60, np.arange(1.0, len(durations) + 1))
    cuts = np.array([0.0, *pattern.cuts_h(since, hours), hours])
    assert (np.diff(cuts) > -1e-9).all()
    for begin, end in pairwise(cuts):
        if end - begin > 1e-6:
            seen = pattern.at(since + np.linspace(begin + 1e-7, end - 1e-7, 5))
            assert np.unique(seen).size == 1


@pytest.mark.parametrize(
    ("since", "hours", "cuts"),
    [(0, 3, [0.25, 1, 1.25, 2, 2.25]), (0.5, 1, [0.5, 0.75]), (7.5, 1, [0.5, 0.75]), (0.25, 0.75, []), (0.1, 0.1, [])],
)
def test_cuts_by_hand(since: float, hours: float, cuts: list[float]) -> None:
    """An hour that begins with a quarter of running, begun so long ago."""
    assert list(Pattern.of_levels([80, 0], [0.25, 0.75]).cuts_h(since, hours)) == pytest.approx(cuts)


@given(
    levels=st.lists(st.floats(0, 500), min_size=1, max_size=5),
    weights=st.lists(st.floats(0.01, 1), min_size=5, max_size=5),
)
def test_a_cycle_keeps_levels_and_shares(levels: list[float], weights: list[float]) -> None:
    shares = np.array(weights[: len(levels)]) / sum(weights[: len(levels)])
    cycle = Pattern.of_levels(levels, shares)
    assert cycle.mean_w == pytest.approx(float(np.dot(levels, shares)), abs=1e-9)
    assert cycle.variance_w2 == pytest.approx(float(np.dot(np.square(levels), shares)) - cycle.mean_w**2, abs=1e-6)
    assert list(cycle.power_w) == levels
    assert cycle.period_h == pytest.approx(lookup("cycle of a cold appliance").value)


def test_a_level_that_never_comes_takes_no_step() -> None:
    assert list(Pattern.of_levels([0, 80, 200], [0.5, 0.5, 0]).power_w) == [0, 80]


def test_a_schedule_begins_at_midnight_and_a_cycle_nobody_knows_when() -> None:
    assert Pattern.daily([("18:00", "22:00", "30 W")]).begins_h == 0
    assert Pattern.of_levels([0, 80], [0.75, 0.25]).begins_h is None


# -- means of windows ----------------------------------------------------------------------------------------


@given(
    durations=st.lists(st.floats(0.01, 5), min_size=1, max_size=6),
    powers=st.lists(st.floats(0, 500), min_size=6, max_size=6),
    length_h=st.floats(0.02, 30),
    parts=st.integers(1, 12),
)
def test_windows_keep_the_mean_and_lie_within_the_levels(
    durations: list[float], powers: list[float], length_h: float, parts: int
) -> None:
    pattern = Pattern(np.array(durations), np.array(powers[: len(durations)]))
    means = pattern.windows(length_h, parts)
    assert means.mean() == pytest.approx(pattern.mean_w, abs=1e-6)
    assert (means >= pattern.power_w.min() - 1e-6).all()
    assert (means <= pattern.power_w.max() + 1e-6).all()
    assert means.var() <= pattern.variance_w2 * (1 + 1e-9) + 1e-6


@pytest.mark.parametrize(
    ("length_h", "parts", "means"),
    [
        (0.25, 1, [80, 0, 0, 0]),  # whole quarters
        (0.5, 2, [40, 0, 0, 40]),  # half an hour, begun each quarter; the last runs into the next round
        (2.0, 4, [20, 20]),  # two rounds in each window
        (24.0, 1, [20]),  # longer than a round: at least one
    ],
)
def test_windows_by_hand(length_h: float, parts: int, means: list[float]) -> None:
    """A quarter of an hour at 80 W in each hour."""
    assert list(Pattern.of_levels([80, 0], [0.25, 0.75]).windows(length_h, parts)) == pytest.approx(means)


# -- days that are alike -------------------------------------------------------------------------------------


@pytest.mark.parametrize("likeness", [0.0, 0.4, 0.8])
def test_alike_days_say_less_than_as_many_unlike_ones(likeness: float) -> None:
    for days in (1, 2, 3, 7, 20):
        apart = np.abs(np.subtract.outer(np.arange(days), np.arange(days)))
        assert alike(days, likeness) == pytest.approx((likeness**apart).mean())
    assert alike(0.04, likeness) == pytest.approx(1)


# -- times of day --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "hours"), [("0:00", 0), ("6:30", 6.5), ("18:45", 18.75), (" 23:59 ", 23 + 59 / 60), ("24:00", 24)]
)
def test_a_time_of_day(written: str, hours: float) -> None:
    assert clock(written, "begins") == pytest.approx(hours)


@pytest.mark.parametrize("written", ["25:00", "18:60", "24:01", "18", "6 pm", "", 18, None, "-1:00", "18:5"])
def test_what_is_no_time_of_day(written: Any) -> None:
    with pytest.raises(Refusal, match="18:30"):
        clock(written, "begins")


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Pattern.daily([]), "one or more"),
        (lambda: Pattern.daily([("8:00", "12:00", "5 W"), ("11:59", "13:00", "5 W")]), "within another"),
        (lambda: Pattern.daily([("22:00", "6:00", "5 W"), ("5:00", "7:00", "5 W")]), "within another"),
        (lambda: Pattern.daily([("8:00", "12:00", "-5 W")]), "below zero"),
        (lambda: Pattern.daily([("8:00", "12:00", 5)]), "bare number"),
        (lambda: Pattern.daily([("8:00", "12:00", "5 VA")]), "power factor"),
        (lambda: Pattern(np.array([1.0, 2.0]), np.array([1.0])), "same length"),
        (lambda: Pattern(np.array([]), np.array([])), "one or more"),
        (lambda: Pattern(np.array([1.0, 0.0]), np.array([1.0, 1.0])), "without length"),
        (lambda: Pattern(np.array([1.0, -1.0]), np.array([1.0, 1.0])), "without length"),
        (lambda: Pattern(np.array([1.0]), np.array([math.nan])), "missing"),
        (lambda: Pattern(np.array([math.nan]), np.array([1.0])), "without length"),
        (lambda: Pattern(np.array([1.0]), np.array([-1.0])), "below zero"),
    ],
)  # fmt: skip
def test_it_refuses(make: Any, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        make()


@pytest.mark.parametrize(
    "make",
    [
        lambda: Pattern.daily([("18:00", "18:00", "30 W")]),  # nothing, or the whole day?
        lambda: Pattern.daily([("18:00", "22:00")]),  # type: ignore[list-item]
        lambda: Pattern.daily(("18:00", "22:00", "30 W")),  # type: ignore[arg-type]
        lambda: Pattern(np.array([math.inf]), np.array([1.0])),
        lambda: Pattern.of_levels([0, 80], [0.5, 0.4]),
        lambda: Pattern.of_levels([0, 80], [1.5, -0.5]),
    ],
    ids=["begins where it ends", "no power", "a window, not a list", "endless", "time missing", "a share below zero"],
)
def test_it_refuses_what_has_no_one_meaning(make: Any) -> None:
    with pytest.raises(Refusal):
        make()


def test_a_windows_power_may_be_a_quantity() -> None:
    assert Pattern.daily([("0:00", "12:00", Q_(0.02, "kW"))]).mean_w == pytest.approx(10)
