"""Draws of estimates: each as its kind says, all that shares an influence together, limits kept; what comes of them."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridethrough.drawn import Drawn
from ridethrough.estimate import Estimate
from ridethrough.sampling import Sampler
from ridethrough.units import Q_, Refusal

DRAWS = 10_000


def test_row_0_is_the_best_estimate_and_the_same_seed_gives_the_same_draws() -> None:
    power = Estimate.standard("50 W", "1 W", "reading")
    first, again, other = (Sampler(100, seed).of(power) for seed in (3, 3, 4))
    assert first[0] == other[0] == 50
    np.testing.assert_array_equal(first, again)
    assert not np.array_equal(first, other)


def test_an_influence_is_drawn_once() -> None:
    gain, one = Estimate.within("100 %", "3 %", "gain"), Estimate.standard("40 W", "1 W", "one")
    sampler = Sampler(500, 1)
    np.testing.assert_array_equal(sampler.of(one), sampler.of(one))
    assert sampler.of(gain * 50) / sampler.of(gain * 20) == pytest.approx(2.5)
    assert sampler.of(one - one) == pytest.approx(0, abs=1e-12)
    assert list(sampler.inputs) == ["one", "gain"]


def test_an_influence_is_drawn_alike_for_whoever_asks_and_in_whatever_order() -> None:
    """By its name: what else is uncertain does not shuffle it."""
    one, other = Estimate.standard("40 W", "1 W", "one"), Estimate.standard("7 W", "1 W", "other")
    first, second = Sampler(100, 1), Sampler(100, 1)
    second.of(other)
    np.testing.assert_array_equal(first.of(one), second.of(one))
    again = Estimate.standard("80 W", "2 W", "one")  # the same reason, another object: as of the same sheet read twice
    np.testing.assert_allclose(Sampler(100, 1).of(again), 2 * first.of(one))


@settings(max_examples=40, deadline=None)
@given(value=st.floats(-1e3, 1e3), u=st.floats(1e-3, 1e3), seed=st.integers(0, 1000))
def test_mean_and_spread_are_those_of_the_estimate(value: float, u: float, seed: int) -> None:
    """Strata leave hardly any chance: 1,000 draws have mean and spread to a thousandth of u and half a percent."""
    for estimate in (
        Estimate.standard(Q_(value, "W"), Q_(u, "W"), "x"),
        Estimate.within(Q_(value, "W"), Q_(u * math.sqrt(3), "W"), "x"),
    ):
        drawn = Sampler(1000, seed).of(estimate)[1:]
        assert drawn.mean() == pytest.approx(value, abs=1e-3 * u)
        assert drawn.std() == pytest.approx(u, rel=5e-3)


def test_one_draw_lies_in_each_part_of_a_distribution() -> None:
    drawn = Sampler(50, 1).of(Estimate.band("1 W", "1 W", "6 W", "k"))[1:]
    np.testing.assert_array_equal(np.histogram(drawn, 50, (1, 6))[0], 1)
    phase = Sampler(50, 1).evenly("phase")
    assert phase[0] == 0
    np.testing.assert_array_equal(np.histogram(phase[1:], 50, (0, 1))[0], 1)


def test_a_band_keeps_to_its_ends_and_its_u_is_about_the_value() -> None:
    drawn = Sampler(DRAWS, 1).of(band := Estimate.band("1 W", "1 W", "4 W", "k"))[1:]
    assert (drawn.min(), drawn.max()) == pytest.approx((1, 4), abs=1e-3)
    assert math.sqrt(np.mean((drawn - 1) ** 2)) == pytest.approx(float(band.u.magnitude), rel=1e-3)


def test_what_was_found_together_is_drawn_together_with_one_width() -> None:
    """JCGM 101, 6.4.9: two numbers off one fit with few degrees of freedom are far off in the same draws."""
    covariance = [[4.0, 2.7], [2.7, 3.0]]
    sampler = Sampler(DRAWS, 1)
    drawn = np.array([sampler.of(each)[1:] for each in Estimate.jointly([100, 20], covariance, ["Wh", "W"], "line")])
    assert np.cov(drawn) == pytest.approx(np.array(covariance), rel=0.05)
    pair = Estimate.jointly([0.0, 0.0], np.eye(2), ["W", "W"], "fit", dof=4)
    apart = [Estimate.standard("0 W", "1 W", name, dof=4) for name in ("one", "two")]
    both = []
    for one, two in (pair, apart):
        sampler = Sampler(DRAWS, 1)
        both.append(float(np.mean((np.abs(sampler.of(one)) > 3) & (np.abs(sampler.of(two)) > 3))))
    assert both[0] > 3 * both[1]


def test_draws_beyond_a_limit_are_marked_and_put_on_it() -> None:
    sampler = Sampler(DRAWS, 1)
    charge = sampler.of(Estimate.within("99 %", "2 %", "gauge").to("1"), 0, 1)
    assert charge.max() == 1
    assert sampler.within[1:].mean() == pytest.approx(0.75, abs=0.001)
    sampler.of(Estimate.standard("1 W", "1 W", "standby"), 0)
    assert sampler.within[1:].mean() == pytest.approx(0.75 * 0.841, abs=0.01)
    assert sampler.within[0]
    found = sampler.result(charge, "1")
    assert found.draws.size == sampler.within[1:].sum()
    assert Sampler(10, 1).of(Estimate.exact("-1 W"), 0)[0] == 0


def test_influences_of_the_same_name_stay_apart() -> None:
    sampler = Sampler(100, 1)
    drawn = [sampler.of(Estimate.standard("1 W", "1 W", "reading")) for _ in range(3)]
    assert list(sampler.inputs) == ["reading", "reading (2)", "reading (3)"]
    assert len({each.tobytes() for each in drawn}) == 3


def test_an_exact_value_has_no_draws_of_its_own() -> None:
    sampler = Sampler(10, 1)
    assert (sampler.of(Estimate.exact("7 W")) == 7).all()
    assert not sampler.inputs


# --- What comes of them -------------------------------------------------------------------------------


def hours(rows: Any, horizon: float = math.inf) -> Drawn:
    return Drawn(np.asarray(rows, float), "h", Sampler(len(rows) - 1, 1), horizon)


def test_value_is_row_0_and_the_interval_holds_as_many_below_as_above() -> None:
    found = hours([7, *range(101)])
    assert found.value == Q_(7, "h")
    assert [end.magnitude for end in found.interval(0.9)] == pytest.approx([5, 95])
    assert found.expanded(0.9).magnitude == 45
    assert found.chance_above("50 h") == pytest.approx(51 / 101)
    assert found.chance_above(Q_(50, "h")) == pytest.approx(51 / 101)
    assert found.to("min").value.magnitude == 420
    for coverage in (0, 1, 95):
        with pytest.raises(Refusal, match="coverage"):
            found.interval(coverage)


def test_rows_beyond_limits_count_nowhere() -> None:
    found = hours([5, 1, math.nan, 3])
    assert found.draws.tolist() == [1, 3]
    assert found.u.magnitude == pytest.approx(2**0.5)


def test_sums_and_differences_are_taken_row_by_row() -> None:
    one, two = hours([1, 2, 3]), hours([10, 10, 20])
    assert (one + two).rows.tolist() == [11, 12, 23]
    assert (one - one).u.magnitude == 0
    assert (-one).rows.tolist() == [-1, -2, -3]
    assert (one + two.to("min")).rows == pytest.approx([11, 12, 23])


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ([28.4, *np.linspace(25, 32, 50)], "28.4 h, give or take 3.3 h"),
        ([math.inf] * 51, "at least 72 h"),
        ([60, *np.linspace(50, 70, 25), *[math.inf] * 25], "51 h to at least 72 h"),
        ([8, *[8] * 50], "8 h, give or take 0 h"),
    ],
)
def test_it_is_spoken_to_the_second_figure_of_its_doubt(rows: list[float], says: str) -> None:
    assert str(hours(rows, 72)) == says


@pytest.mark.parametrize("draws", [-5, 10.0, "10", True, math.nan])
def test_draws_are_a_whole_number(draws: Any) -> None:
    with pytest.raises(Refusal, match="draws="):
        Sampler(draws, 1)


@pytest.mark.parametrize("seed", [-1, 1.0, "1", None, True])
def test_a_seed_is_a_whole_number(seed: Any) -> None:
    with pytest.raises(Refusal, match="seed=1"):
        Sampler(10, seed)
