"""What flows back: mains windows and series, in time and size as they were given."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from ridethrough.answer.outage import Outage
from ridethrough.estimate import Estimate
from ridethrough.model.recharge import Recharge
from ridethrough.sources import lookup
from ridethrough.units import Q_, Refusal


def test_the_mains_comes_in_its_windows() -> None:
    back = Recharge.mains([("2 h", "3 h"), ("20 h", "23.5 h")], power="400 W")
    assert back.carries
    assert list(back.pattern.at(np.array([1.9, 2.1, 2.9, 3.1, 19.9, 20.1, 23.4]))) == [0, 400, 400, 0, 0, 400, 400]
    assert back.pattern.period_h == pytest.approx(23.5)
    assert back.pattern.begins_h is None


def test_the_mains_may_be_there_from_the_beginning() -> None:
    back = Recharge.mains([("0 h", "30 min"), (Q_(1, "day"), Q_(25, "h"))], power="0.4 kW")
    assert list(back.pattern.power_w) == [400, 0, 400]
    assert list(back.pattern.duration_h) == pytest.approx([0.5, 23.5, 1])


def test_a_series_follows_its_steps() -> None:
    sun = Recharge.series([0, 120.5, "0.2 kW", Q_(50, "W"), np.float64(7)], step="30 min")
    assert not sun.carries
    assert list(sun.pattern.power_w) == [0, 120.5, 200, 50, 7]
    assert sun.pattern.period_h == pytest.approx(2.5)


def window(recharge: Recharge, hours: float, begins_h: float | None = None) -> list[tuple[float, float]]:
    """Return when it changes within an outage [h], and the power from there on [W]."""
    edges, power_w = recharge.window(hours, begins_h)
    assert (edges[0], edges[-1]) == (0, hours)
    return list(zip(edges[:-1].tolist(), power_w.tolist(), strict=True))


def test_the_mains_comes_once_and_is_gone_after_its_last_window() -> None:
    back = Recharge.mains([("2 h", "3 h")], power="400 W")
    assert [(begin, power) for begin, power in window(back, 48) if power] == [(2, 400)]
    assert (3, 0) in window(back, 48)


def test_what_comes_daily_comes_by_the_clock_again_and_again() -> None:
    sun = Recharge.daily([("6:00", "18:00", "100 W")])
    assert window(sun, 48, 0) == [(0, 0), (6, 100), (18, 0), (30, 100), (42, 0)]
    assert window(sun, 24, 9.5) == [(0, 100), (8.5, 0), (20.5, 100)]
    assert not sun.carries
    assert Recharge.daily([("6:00", "8:00", "1 kW")], carries=True).carries


def test_a_series_may_begin_at_a_time_of_day() -> None:
    """Steps from 6:00 on, in an outage that begins at 7:30; the series must reach its end."""
    sun = Recharge.series([10, 20, 30, 40], begins="6:00")
    assert window(sun, 2.5, 7.5) == [(0, 20), (0.5, 30), (1.5, 40)]
    with pytest.raises(Refusal, match="4 h for an outage of 3 h"):
        window(sun, 3, 7.5)
    with pytest.raises(Refusal, match=r'begins="18:00"'):
        window(sun, 2, None)


def test_a_series_must_not_end_before_the_outage_and_the_mains_may() -> None:
    assert window(Recharge.series([10, 20]), 2) == [(0, 10), (1, 20)]
    with pytest.raises(Refusal, match=r"Recharge\.daily for what comes every day"):
        window(Recharge.series([10, 20]), 2.1)
    window(Recharge.mains([("1 h", "2 h")], power="400 W"), 20)


def test_by_the_clock_it_needs_the_outage_s_clock() -> None:
    with pytest.raises(Refusal, match=r'Outage\(..., begins="18:00"\)'):
        window(Recharge.daily([("6:00", "18:00", "100 W")]), 5, None)


def test_how_much_of_it_comes_is_as_sure_as_it_is_told() -> None:
    weather = Estimate.within("100 %", "20 %", "weather")
    assert Recharge.series([100], factor=weather).factor.u.magnitude == pytest.approx(0.2 / 3**0.5)
    assert Recharge.daily([("6:00", "18:00", "100 W")], factor="80 %").factor.value.magnitude == pytest.approx(0.8)
    unsure = Recharge.mains([("1 h", "2 h")], power=Estimate.standard("400 W", "20 W", "charger"))
    assert (unsure.factor.value.magnitude, unsure.factor.u.magnitude) == (1, pytest.approx(0.05))


def test_its_efficiency_is_the_tables_or_as_given() -> None:
    table = lookup("charger efficiency")
    assert Recharge.series([1.0]).efficiency.value.magnitude == table.value
    assert Recharge.series([1.0]).efficiency.u.magnitude > 0
    own = Recharge.mains([("1 h", "2 h")], power="9 W", efficiency=Estimate.within("91 %", "2 %", "charger"))
    assert own.efficiency.value.magnitude == pytest.approx(0.91)
    assert Recharge.series([1.0], efficiency=0.9).efficiency.u.magnitude == 0


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Recharge.mains([], power="400 W"), "one after the other"),
        (lambda: Recharge.mains([("3 h", "2 h")], power="400 W"), "one after the other"),
        (lambda: Recharge.mains([("2 h", "2 h")], power="400 W"), "one after the other"),
        (lambda: Recharge.mains([("1 h", "3 h"), ("2 h", "4 h")], power="400 W"), "one after the other"),
        (lambda: Recharge.mains([("5 h", "6 h"), ("1 h", "2 h")], power="400 W"), "one after the other"),
        (lambda: Recharge.mains([("-1 h", "2 h")], power="400 W"), "one after the other"),
        (lambda: Recharge.mains([(1, 2)], power="400 W"), "bare number"),
        (lambda: Recharge.mains([("1 h", "2 h")], power=400), "bare number"),
        (lambda: Recharge.mains([("1 h", "2 h")], power="0 W"), "above zero"),
        (lambda: Recharge.mains([("1 h", "2 h")], power="9 W", efficiency="0 %"), "above zero"),
        (lambda: Recharge.mains([("1 h", "2 h")], power="9 W", efficiency=88), "88 %"),
        (lambda: Recharge.mains([("1 h", "2 h")], power="9 W", efficiency=-0.1), "between 0 and 1"),
        (lambda: Recharge.series([]), "one or more"),
        (lambda: Recharge.series([1.0, math.nan]), "missing"),
        (lambda: Recharge.series([1.0, -0.1]), "below zero"),
        (lambda: Recharge.series([None]), "with its unit"),
        (lambda: Recharge.series(["20"]), "with its unit"),
        (lambda: Recharge.series([1.0], step="0 h"), "above zero"),
        (lambda: Recharge.series([1.0], step=1), "bare number"),
        (lambda: Outage("5 h", recharge=["400 W"]), "Recharge.mains"),  # type: ignore[list-item]
        (lambda: Recharge.series([1.0], begins="25:00"), "18:30"),
        (lambda: Recharge.daily([("6:00", "6:00", "5 W")]), "not its beginning"),
    ],
)
def test_it_refuses(make: Any, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        make()


@pytest.mark.parametrize(
    "make",
    [
        lambda: Recharge.mains(("1 h", "2 h"), power="9 W"),  # type: ignore[arg-type]
        lambda: Recharge.mains([("1 h", "2 h", "3 h")], power="9 W"),  # type: ignore[list-item]
        lambda: Recharge.series(400),  # type: ignore[arg-type]
        lambda: Outage("5 h", recharge=None),  # type: ignore[arg-type]
    ],
    ids=["a window, not a list", "three ends", "a number, not a list", "None"],
)
def test_it_says_what_to_type(make: Any) -> None:
    with pytest.raises(Refusal):
        make()
