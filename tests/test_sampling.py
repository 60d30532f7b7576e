"""Draws of estimates: each as its kind says, all that shares an influence together, limits kept; and what they say."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from ridethrough.estimate import Estimate
from ridethrough.sampling import Drawn, Sampler
from ridethrough.units import Q_, Refusal

DRAWS = 40_000


def drawn(estimate: Estimate, seed: int = 1, draws: int = DRAWS) -> np.ndarray:
    """Return the draws without the best estimate."""
    return Sampler(draws, seed).of(estimate)[1:]


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
    assert list(sampler.inputs) == ["one", "gain"]


@settings(max_examples=40)
@given(value=st.floats(-1e3, 1e3), u=st.floats(1e-3, 1e3), seed=st.integers(0, 1000))
def test_mean_and_spread_are_those_of_the_estimate(value: float, u: float, seed: int) -> None:
    for estimate in (
        Estimate.standard(Q_(value, "W"), Q_(u, "W"), "x"),
        Estimate.within(Q_(value, "W"), Q_(u * math.sqrt(3), "W"), "x"),
    ):
        rows = Sampler(1000, seed).of(estimate)
        assert rows[0] == value
        assert rows[1:].mean() == pytest.approx(value, abs=1e-6 * u)  # one of as many equal parts each
        assert rows[1:].std() == pytest.approx(u, rel=0.01)


def test_a_band_is_drawn_evenly_between_its_ends_and_u_is_about_the_value() -> None:
    """The value need not stand in the middle: the draws keep to the band, their spread about the value is u."""
    band = Estimate.band("1 W", "1 W", "4 W", "k")
    rows = drawn(band)
    assert rows.min() >= 1
    assert rows.max() <= 4
    assert np.histogram(rows, 6, (1, 4))[0] / DRAWS == pytest.approx(1 / 6, abs=1e-4)
    assert math.sqrt(np.mean((rows - 1) ** 2)) == pytest.approx(float(band.u.magnitude), rel=1e-3)


@pytest.mark.parametrize("dof", [1, 2, 3, 10])
def test_few_readings_have_student_s_tails(dof: float) -> None:
    """95 in 100 within Student's t; below three degrees of freedom t has no variance, but its 95 % are as wide."""
    rows = np.abs(drawn(Estimate.standard("0 W", "1 W", "few", dof=dof)))
    assert np.quantile(rows, 0.95) == pytest.approx(stats.t.ppf(0.975, dof), rel=0.02)
    assert np.quantile(rows, 0.999) < stats.t.ppf(0.9995, max(dof, 3)) * stats.t.ppf(0.975, dof)


def test_what_was_found_together_is_drawn_together() -> None:
    covariance = [[4.0, 2.7], [2.7, 3.0]]
    pair = Estimate.jointly([100.0, 20.0], covariance, ["Wh", "W"], "line")
    sampler = Sampler(DRAWS, 1)
    rows = np.array([sampler.of(each)[1:] for each in pair])
    assert np.cov(rows) == pytest.approx(np.array(covariance), rel=0.02)


def test_what_was_found_together_has_one_width() -> None:
    """Two numbers off one fit with few degrees of freedom are far off in the same draws (JCGM 101, 6.4.9)."""
    pair = Estimate.jointly([0.0, 0.0], np.eye(2), ["W", "W"], "fit", dof=3)
    apart = [Estimate.standard("0 W", "1 W", name, dof=3) for name in ("one", "two")]
    both = []
    for one, two in (pair, apart):
        sampler = Sampler(DRAWS, 1)
        both.append(float(np.mean((np.abs(sampler.of(one)) > 4) & (np.abs(sampler.of(two)) > 4))))
    assert both[0] > 3 * both[1]


def test_draws_beyond_a_limit_are_marked_and_count_nowhere() -> None:
    sampler = Sampler(DRAWS, 1)
    charge = sampler.of(Estimate.within("99 %", "2 %", "gauge").to("1"), 0, 1)
    assert charge.max() == 1
    assert sampler.within.mean() == pytest.approx(0.75, abs=1e-3)
    sampler.of(Estimate.standard("1 W", "1 W", "standby"), 0)
    assert sampler.within.mean() == pytest.approx(0.75 * stats.norm.cdf(1), abs=0.01)
    assert sampler.within[0]
    found = sampler.result(charge, "1")
    assert found.draws.size == sampler.within.sum() - 1
    assert found.magnitude == pytest.approx(0.99)


def test_a_best_estimate_beyond_a_limit_is_put_on_it() -> None:
    assert Sampler(10, 1).of(Estimate.standard("-1 W", "5 W", "standby"), 0)[0] == 0


def test_influences_of_the_same_name_stay_apart() -> None:
    sampler = Sampler(100, 1)
    rows = [sampler.of(Estimate.standard("1 W", "1 W", "reading")) for _ in range(3)]
    assert list(sampler.inputs) == ["reading", "reading (2)", "reading (3)"]
    assert len({each.tobytes() for each in rows}) == 3


def test_an_influence_of_a_name_is_drawn_alike_whatever_else_there_is() -> None:
    """So that two loads, units or outages compare by what differs between them."""
    other = Sampler(100, 1)
    other.of(Estimate.standard("3 W", "1 W", "something else"))
    assert np.array_equal(other.of(Estimate.standard("1 W", "1 W", "reading")),
                          Sampler(100, 1).of(Estimate.standard("1 W", "1 W", "reading")))  # fmt: skip


def test_what_nobody_knows_is_drawn_evenly_and_the_best_estimate_begins() -> None:
    phase = Sampler(1000, 1).evenly("phase")
    assert phase[0] == 0
    assert np.sort(phase[1:]) == pytest.approx((np.arange(1000) + 0.5) / 1000)


def test_an_exact_value_has_no_draws_of_its_own() -> None:
    sampler = Sampler(10, 1)
    assert (sampler.of(Estimate.exact("7 W")) == 7).all()
    assert not sampler.inputs


@pytest.mark.parametrize("draws", [-5, 10.0, "10", True, math.nan])
def test_draws_are_a_whole_number(draws: Any) -> None:
    with pytest.raises(Refusal, match="draws=1"):
        Sampler(draws, 1)


@pytest.mark.parametrize("seed", [-1, 1.0, "1", None, True])
def test_a_seed_is_a_whole_number(seed: Any) -> None:
    with pytest.raises(Refusal, match="seed=1"):
        Sampler(10, seed)


# -- what comes out ------------------------------------------------------------------------------------------


def told(rows: list[float], horizon: float = math.inf) -> Drawn:
    return Sampler(len(rows) - 1, 1).result(np.array(rows), "h", horizon)


def test_value_interval_and_chance_are_the_rows_own() -> None:
    found = told([5.0, *range(101)])
    assert found.value == Q_(5, "h")
    assert [end.magnitude for end in found.interval()] == pytest.approx([2.5, 97.5])
    assert found.expanded().magnitude == pytest.approx(47.5)
    assert found.u.magnitude == pytest.approx(np.std(range(101), ddof=1))
    assert found.chance_above("50 h") == pytest.approx(51 / 101)
    assert found.chance_above(Q_(3000, "min")) == pytest.approx(51 / 101)
    assert found.to("min").interval()[1].magnitude == pytest.approx(97.5 * 60)


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ([28.0, *np.linspace(24, 32, 401)], "28.0 h, give or take 3.8 h"),
        ([26.5, *np.linspace(24, 32, 401)], "26.5 h, give or take 3.8 h"),
        ([25.0, *np.linspace(24, 32, 401)], "25.0 h, between 24.2 h and 31.8 h"),
        ([24.0, *np.linspace(25, 32, 401)], "24.0 h, between 24.0 h and 31.8 h"),
        ([math.inf] * 50, "at least 72 h"),
        ([60.0, *np.linspace(40, 70, 40), *[math.inf] * 10], "40.9 h to at least 72 h"),
    ],
)
def test_it_says_what_is_known_and_no_more(rows: list[float], says: str) -> None:
    assert str(told(rows, 72)) == says


def test_sums_and_differences_keep_what_is_shared() -> None:
    sampler, gain = Sampler(500, 1), Estimate.within("100 %", "3 %", "gain")
    one, two = (sampler.result(sampler.of(gain * factor), "Wh") for factor in (50, 20))
    assert (one + two).u.magnitude == pytest.approx(one.u.magnitude + two.u.magnitude)
    assert (one - two).u.magnitude == pytest.approx(one.u.magnitude - two.u.magnitude)
    assert (-one).magnitude == -one.magnitude


def test_shares_name_what_makes_it_uncertain_the_largest_first() -> None:
    sampler = Sampler(2000, 1)
    found = sampler.of(Estimate.standard("9 W", "3 W", "large")) + sampler.of(Estimate.standard("9 W", "1 W", "small"))
    table = sampler.result(found, "W").shares()
    assert list(table["influence"]) == ["large", "small"]
    assert table["share"].to_list() == pytest.approx([0.9, 0.1], abs=0.03)


def test_what_was_drawn_is_an_array_to_numpy() -> None:
    sampler = Sampler(1000, seed=1)
    power = sampler.result(sampler.of(Estimate.within("60 W", "6 W", "gain")), "W")
    low, high = power.interval(0.9)
    assert np.quantile(power, [0.05, 0.95]) == pytest.approx([low.magnitude, high.magnitude])
    beyond = sampler.result(np.where(sampler.evenly("x") > 0.5, np.inf, 3.0), "h", 4.0)
    assert set(np.asarray(beyond)) == {3.0, 4.0}
