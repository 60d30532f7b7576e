"""Estimates: influences shared and not, degrees of freedom, budgets."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridethrough.estimate import Estimate, estimate
from ridethrough.measure.meter import Meter
from ridethrough.units import Q_, Refusal


def test_a_shared_influence_cancels_in_a_ratio_and_adds_in_a_sum() -> None:
    gain = Estimate.within(Q_(1, "1"), Q_(0.01, "1"), "gain")
    fridge, freezer = gain * Q_(40, "W"), gain * Q_(20, "W")
    assert (fridge / freezer).u.magnitude == pytest.approx(0, abs=1e-15)
    assert (fridge + freezer).u.magnitude == pytest.approx(0.6 / math.sqrt(3))
    assert fridge.correlation(freezer) == pytest.approx(1)


def test_two_meters_do_not_share() -> None:
    one = Estimate.standard("40 W", "3 W", "gain")
    other = Estimate.standard("20 W", "4 W", "gain")
    assert (one + other).u.magnitude == pytest.approx(5)


def test_an_interval_uses_the_effective_degrees_of_freedom() -> None:
    mean = Estimate.readings([9, 10, 11], "scatter", "W")
    assert mean.dof == 2
    low, high = mean.interval(0.95)
    assert (high - low).magnitude / 2 == pytest.approx(4.302653 / math.sqrt(3), rel=1e-6)
    known = Estimate.standard("10 W", "1 W", "gain")
    assert known.dof == math.inf
    assert known.expanded(0.95).magnitude == pytest.approx(1.959964, rel=1e-6)


def test_welch_satterthwaite_groups_what_was_found_together() -> None:
    energy, standby = Estimate.jointly([900, 16], [[100, 4], [4, 0.5]], ["Wh", "W"], "fit", dof=3)
    assert energy.correlation(standby) == pytest.approx(4 / math.sqrt(50))
    assert (energy / standby).dof == pytest.approx(3)
    assert (energy / standby).u.magnitude == pytest.approx(
        math.sqrt(100 / 16**2 + 900**2 * 0.5 / 16**4 - 2 * 900 * 4 / 16**3)
    )


def test_the_budget_names_and_ranks() -> None:
    total = Estimate.standard("10 W", "3 W", "scatter", dof=5) + Estimate.standard("1 W", "4 W", "gain", source="plate")
    table = total.budget()
    assert list(table["influence"]) == ["gain", "scatter"]
    assert table["share"].tolist() == pytest.approx([0.64, 0.36])
    assert table["source"][0] == "plate"


def test_temperatures_have_differences() -> None:
    room = Estimate.within("20 degC", "2 degC", "room")
    assert room.u.magnitude == pytest.approx(2 / math.sqrt(3))
    assert Estimate.within("20 degC", "3.6 degF", "room").u.magnitude == pytest.approx(2 / math.sqrt(3))
    assert str(room) == "20.0 °C, give or take 2.3 °C"
    assert str(Estimate.within("293.15 K", "2 K", "room")) == "293.1 K, give or take 2.3 K"


@pytest.mark.parametrize("u", ["-1 W", "3 h"])
def test_a_wrong_uncertainty_is_refused(u: str) -> None:
    with pytest.raises(Refusal, match="an uncertainty"):
        Estimate.standard("10 W", u, "x")


def test_one_reading_is_no_spread() -> None:
    with pytest.raises(Refusal, match="two or more"):
        Estimate.readings([1], "x", "W")
    with pytest.raises(Refusal, match="coverage"):
        Estimate.exact("1 W").interval(95)


def test_the_guard_takes_text_and_estimates() -> None:
    assert estimate("1 kW", "W", "power").value.magnitude == 1000
    assert estimate(Estimate.standard("1 kW", "1 W", "x"), "W", "power").u.magnitude == pytest.approx(1)
    with pytest.raises(Refusal):
        estimate(Estimate.exact("1 Wh"), "W", "power")


@given(st.floats(1, 1e4), st.floats(0.01, 10), st.floats(1, 1e4), st.floats(0.01, 10))
def test_sums_and_products_follow_the_rules_of_the_guide(a: float, ua: float, b: float, ub: float) -> None:
    one, two = Estimate.standard(Q_(a, "W"), Q_(ua, "W"), "a"), Estimate.standard(Q_(b, "h"), Q_(ub, "h"), "b")
    assert (one * two).u.magnitude == pytest.approx(math.hypot(b * ua, a * ub))
    assert (one / two).u.magnitude == pytest.approx(math.hypot(ua / b, a * ub / b**2))
    assert (one + one).u.magnitude == pytest.approx(2 * ua)
    assert (one - one).u.magnitude == 0


def test_a_budget_tells_influences_of_one_name_apart_and_meters_by_their_names() -> None:
    kitchen, store, named = Meter("1 %"), Meter("1 %"), Meter("1 %", name="clamp")
    total = kitchen.gain * 30 + store.gain * 20 + named.gain * 10
    assert list(total.budget()["influence"]) == ["meter gain", "meter gain (2)", "clamp gain"]
    assert list((kitchen.gain * 30 + kitchen.gain * 20).budget()["influence"]) == ["meter gain"]


def test_an_estimate_is_itself_and_no_other_thing() -> None:
    gain = Meter("1 %").gain
    assert gain == gain
    assert gain in [Meter("1 %").gain, gain]
    assert gain != Meter("1 %").gain
    assert gain != "1"
    assert {gain: 1}[gain] == 1


def test_rounding_is_no_give_or_take() -> None:
    assert str(Estimate.standard("8 h", "1e-15 h", "rounding")) == "8 h, give or take 0 h"
    assert str(Estimate.standard("0 h", "1e-15 h", "small")).startswith("0.0")
