"""Draws of estimates: each as its kind says, all that shares an influence together, limits kept."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridethrough.estimate import Estimate
from ridethrough.sampling import Sampler
from ridethrough.units import Q_, Refusal

DRAWS = 40_000


def test_the_same_seed_gives_the_same_draws() -> None:
    power = Estimate.standard("50 W", "1 W", "reading")
    first, again, other = (Sampler(100, seed).of(power) for seed in (3, 3, 4))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_an_influence_is_drawn_once() -> None:
    gain, one = Estimate.within("100 %", "3 %", "gain"), Estimate.standard("40 W", "1 W", "one")
    sampler = Sampler(500, 1)
    assert np.array_equal(sampler.of(one), sampler.of(one))
    assert sampler.of(gain * 50) / sampler.of(gain * 20) == pytest.approx(2.5)
    assert sampler.of(one - one) == pytest.approx(0, abs=1e-12)
    assert len(sampler.influences) == 2


@settings(max_examples=40, deadline=None)
@given(value=st.floats(-1e3, 1e3), u=st.floats(1e-3, 1e3), seed=st.integers(0, 1000))
def test_mean_and_spread_are_those_of_the_estimate(value: float, u: float, seed: int) -> None:
    for estimate in (
        Estimate.standard(Q_(value, "W"), Q_(u, "W"), "x"),
        Estimate.within(Q_(value, "W"), Q_(u * math.sqrt(3), "W"), "x"),
    ):
        drawn = Sampler(10_000, seed).of(estimate)
        assert drawn.mean() == pytest.approx(value, abs=6 * u / 100)
        assert drawn.std() == pytest.approx(u, rel=0.06)


def test_a_band_is_drawn_evenly_between_its_ends_and_u_is_about_the_value() -> None:
    """The value need not stand in the middle: the draws keep to the band, their spread about the value is u."""
    drawn = Sampler(DRAWS, 1).of(band := Estimate.band("1 W", "1 W", "4 W", "k"))
    assert drawn.min() >= 1
    assert drawn.max() <= 4
    assert np.histogram(drawn, 6, (1, 4))[0] / DRAWS == pytest.approx(1 / 6, abs=0.01)
    assert math.sqrt(np.mean((drawn - 1) ** 2)) == pytest.approx(float(band.u.magnitude), rel=0.02)


def test_few_readings_have_wider_tails() -> None:
    few = Estimate.standard("0 W", "1 W", "few", dof=2)
    many = Estimate.standard("0 W", "1 W", "many")
    tails = [float(np.mean(np.abs(Sampler(DRAWS, 1).of(each)) > 3)) for each in (few, many)]
    assert tails[0] > 10 * tails[1]


def test_what_was_found_together_is_drawn_together() -> None:
    covariance = [[4.0, 2.7], [2.7, 3.0]]
    pair = Estimate.jointly([100.0, 20.0], covariance, ["Wh", "W"], "line")
    sampler = Sampler(DRAWS, 1)
    drawn = np.array([sampler.of(each) for each in pair])
    assert np.cov(drawn) == pytest.approx(np.array(covariance), rel=0.05)


def test_what_was_found_together_has_one_width() -> None:
    """Two numbers off one fit with few degrees of freedom are far off in the same draws (JCGM 101, 6.4.9)."""
    pair = Estimate.jointly([0.0, 0.0], np.eye(2), ["W", "W"], "fit", dof=3)
    apart = [Estimate.standard("0 W", "1 W", name, dof=3) for name in ("one", "two")]
    both = []
    for one, two in (pair, apart):
        sampler = Sampler(DRAWS, 1)
        both.append(float(np.mean((np.abs(sampler.of(one)) > 4) & (np.abs(sampler.of(two)) > 4))))
    assert both[0] > 3 * both[1]


def test_draws_beyond_a_limit_are_marked_and_nothing_else() -> None:
    sampler = Sampler(DRAWS, 1)
    charge = sampler.of(Estimate.within("99 %", "2 %", "gauge").to("1"), 0, 1)
    assert charge.max() > 1
    assert np.array_equal(sampler.kept, charge <= 1)
    assert sampler.kept.mean() == pytest.approx(0.75, abs=0.01)
    sampler.of(Estimate.standard("1 W", "1 W", "standby"), 0)
    assert sampler.kept.mean() == pytest.approx(0.75 * 0.841, abs=0.01)


def test_influences_of_the_same_name_stay_apart() -> None:
    sampler = Sampler(100, 1)
    for _ in range(3):
        sampler.of(Estimate.standard("1 W", "1 W", "reading"))
    assert len(sampler.influences) == 3
    assert len({drawn.tobytes() for (drawn,) in sampler.influences.values()}) == 3


def test_an_exact_value_has_no_draws_of_its_own() -> None:
    sampler = Sampler(10, 1)
    assert (sampler.of(Estimate.exact("7 W")) == 7).all()
    assert not sampler.influences


@pytest.mark.parametrize("draws", [1, 0, -5, 10.0, "10", True, math.nan])
def test_draws_are_a_whole_number(draws: Any) -> None:
    with pytest.raises(Refusal, match="draws=10_000"):
        Sampler(draws, 1)


@pytest.mark.parametrize("seed", [-1, 1.0, "1", None, True])
def test_a_seed_is_a_whole_number(seed: Any) -> None:
    with pytest.raises(Refusal, match="seed=1"):
        Sampler(10, seed)
