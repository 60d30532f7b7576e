"""What the cold leaves: the table's curve, one uncertainty for all of it, and a user's own cold run in its place."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from ridethrough.estimate import Estimate
from ridethrough.model.battery import CHEMISTRIES
from ridethrough.model.temperature import TemperatureCurve
from ridethrough.sources import coefficient
from ridethrough.units import Q_, Refusal

ENDS_C = {chemistry: (-18, 38) if "lead" in chemistry else (-20, 45) for chemistry in CHEMISTRIES}
OWN = TemperatureCurve.from_runs("iron phosphate", ("24 degC", "10 h"), ("-2 degC", "8.6 h"))


def share(found: Estimate) -> float:
    return float(found.value.to("1").magnitude)


def u(found: Estimate) -> float:
    return float(found.u.to("1").magnitude)


def at(curve: TemperatureCurve, celsius: float) -> Estimate:
    return curve.at(Q_(celsius, "degC"))


def own(chemistry: str, warm_c: float, cold_c: float, ratio: float, **told: Any) -> TemperatureCurve:
    """Return the curve from two runs, the warm one of 10 h."""
    return TemperatureCurve.from_runs(chemistry, (Q_(warm_c, "degC"), "10 h"),
                                      (Q_(cold_c, "degC"), Q_(10 * ratio, "h")), **told)  # fmt: skip


# -- the table's curve ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_it_goes_through_the_table_and_nowhere_else(chemistry: str) -> None:
    curve = TemperatureCurve(chemistry)
    assert (min(curve.points), max(curve.points)) == ENDS_C[chemistry]
    for celsius, entry in curve.points.items():
        known = coefficient(entry.name)
        assert (share(at(curve, celsius)), u(at(curve, celsius))) == pytest.approx((share(known), u(known)))
    assert (share(curve.at("25 degC")), u(curve.at("25 degC"))) == (1, 0)


def test_between_two_points_it_is_straight() -> None:
    half = TemperatureCurve("iron phosphate").at("-5 degC")
    ends = [coefficient(f"capacity at {celsius} degC, iron phosphate") for celsius in (-10, 0)]
    assert share(half) == pytest.approx((0.84 + 0.92) / 2)
    assert u(half) == pytest.approx(sum(map(u, ends)) / 2)


def test_fahrenheit_is_the_same_cold() -> None:
    curve = TemperatureCurve("flooded lead-acid")
    assert share(curve.at("32 degF")) == pytest.approx(share(curve.at("0 degC")))


@given(st.sampled_from(CHEMISTRIES), st.floats(0, 1), st.floats(0, 1))
def test_colder_is_never_more(chemistry: str, one: float, two: float) -> None:
    low, high = ENDS_C[chemistry]
    cold, warm = (at(TemperatureCurve(chemistry), low + part * (high - low)) for part in sorted((one, two)))
    assert 0 < share(cold) <= share(warm) + 1e-12


def test_a_battery_that_does_badly_does_badly_at_every_temperature() -> None:
    """One influence: two temperatures of one battery compare better than those of two batteries."""
    curve, other = TemperatureCurve("iron phosphate"), TemperatureCurve("iron phosphate")
    assert curve.at("0 degC").correlation(curve.at("-10 degC")) == pytest.approx(1)
    assert curve.at("0 degC").correlation(other.at("-10 degC")) == pytest.approx(0)
    same, apart = (curve.at("-10 degC") / each.at("0 degC") for each in (curve, other))
    assert u(same) < 0.6 * u(apart)


# -- own runs ------------------------------------------------------------------------------------------------


@given(st.sampled_from(CHEMISTRIES), st.floats(0, 1), st.floats(0, 1), st.floats(0.7, 0.999))
def test_own_runs_come_back(chemistry: str, one: float, two: float, ratio: float) -> None:
    """The curve between the two temperatures is the ratio of the two run times, with the two runs' spread."""
    low, high = ENDS_C[chemistry]
    cold_c, warm_c = (low + part * (high - low) for part in sorted((one, two)))
    assume(min(warm_c, 25) - cold_c >= 10.001)
    found = own(chemistry, warm_c, cold_c, ratio, repeatability="1.5 %")
    over = at(found, cold_c) / at(found, warm_c)
    assert share(over) == pytest.approx(ratio)
    assert u(over) == pytest.approx(ratio * 0.015 * math.sqrt(2))
    assert (share(found.at("25 degC")), u(found.at("25 degC"))) == (1, 0)


@pytest.mark.parametrize("warm", [("24 degC", "10 h"), ("38 degC", "10.3 h")])
def test_a_cold_run_tells_nothing_of_the_warm_side(warm: tuple[str, str]) -> None:
    """A loss of twice the table's in the cold leaves 33 degC where the table has it, with the table's doubt."""
    steep = TemperatureCurve.from_runs("iron phosphate", warm, ("5 degC", "8.5 h"))
    table = TemperatureCurve("iron phosphate")
    assert 1 - share(at(steep, 10)) > 1.8 * (1 - share(at(table, 10)))
    assert (share(at(steep, 33)), u(at(steep, 33))) == pytest.approx((share(at(table, 33)), u(at(table, 33))))
    assert (steep.measured_at("10 degC"), steep.measured_at("33 degC"), steep.measured_at("0 degC")) == (
        True,
        False,
        False,
    )
    assert u(at(steep, 25.001)) == pytest.approx(0, abs=1e-5)


def test_a_warm_run_above_25_degc_keeps_the_table_s_doubt_of_the_warm_side() -> None:
    """The same ratio of run times from 38 degC tells the cold less surely than from 24 degC."""
    hot, mild = (TemperatureCurve.from_runs("sealed lead-acid", (warm, "10 h"), ("0 degC", "7.5 h"))
                 for warm in ("38 degC", "24 degC"))  # fmt: skip
    assert share(at(hot, 0)) == pytest.approx(0.75 * 1.06)
    assert u(at(hot, 0)) > 1.3 * u(at(mild, 0))


def test_own_runs_replace_the_table_s_band() -> None:
    table = TemperatureCurve("iron phosphate")
    assert u(at(OWN, -2)) < u(at(table, -2))
    assert {influence for influence in at(OWN, -2).budget()["influence"]} == {"cold run", "warm run"}
    assert at(OWN, 10).correlation(at(OWN, -2)) == pytest.approx(1)


@given(st.floats(-20, -2), st.floats(-20, -2))
def test_below_the_own_cold_run_the_table_s_band_comes_back(one: float, two: float) -> None:
    colder, cold = (at(OWN, celsius) for celsius in sorted((one, two)))
    assert u(colder) >= u(cold) * (1 - 1e-12) >= u(at(OWN, -2)) * (1 - 1e-12)


def test_what_the_table_adds_below_it_is_its_own_growth() -> None:
    """At -15 degC by the run's own error, and by what the table's doubt has grown by since -2 degC; at -2 by none."""
    table = TemperatureCurve("iron phosphate")
    grown = dict(at(OWN, -15).budget().iloc[:, :2].itertuples(index=False))
    assert grown["iron phosphate in the cold"] == pytest.approx(u(at(table, -15)) - u(at(table, -2)))
    assert "iron phosphate in the cold" not in set(at(OWN, -2).budget()["influence"])


def test_there_is_no_jump_at_the_own_cold_run() -> None:
    assert u(at(OWN, -2.0001)) == pytest.approx(u(at(OWN, -2)), rel=1e-3)
    assert share(at(OWN, -2.0001)) == pytest.approx(share(at(OWN, -2)), abs=1e-4)


def test_two_runs_alike_tell_no_loss() -> None:
    even = own("iron phosphate", 25, 0, 1)
    assert share(even.at("0 degC")) == share(even.at("-15 degC")) == 1
    assert u(even.at("0 degC")) > 0


@pytest.mark.parametrize(("warm_c", "cold_c", "ratio"), [(25, 0, 0.7), (25, 0, 0.1), (20, 5, 0.6), (0, -10, 0.3)])
def test_a_steep_own_run_never_promises_less_than_nothing(warm_c: float, cold_c: float, ratio: float) -> None:
    """A capacity below zero is none; where the table's shape can't follow, refusing is as good."""
    try:
        found = own("iron phosphate", warm_c, cold_c, ratio)
    except Refusal:
        return
    assert all(share(at(found, celsius)) >= 0 for celsius in range(-20, 46, 5))


# -- refused -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_outside_the_table_is_refused(chemistry: str) -> None:
    low, high = ENDS_C[chemistry]
    for celsius in (low - 0.1, high + 0.1):
        with pytest.raises(Refusal, match="as far as the table goes") as refused:
            at(TemperatureCurve(chemistry), celsius)
        assert 'temperature="5 degC"' in refused.value.remedy
    at(TemperatureCurve(chemistry), 5)


@pytest.mark.parametrize("ratio", [1.03, 2, 3, 10])
@pytest.mark.parametrize(("warm_c", "cold_c"), [(25, 0), (20, -5), (0, -10), (40, 5)])
def test_a_cold_run_that_lasts_longer_is_refused(warm_c: float, cold_c: float, ratio: float) -> None:
    with pytest.raises(Refusal, match="no longer"):
        own("iron phosphate", warm_c, cold_c, ratio)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: own("iron phosphate", 20, 11, 0.9), "at least 10 K colder"),
        (lambda: own("iron phosphate", 0, 20, 0.9), "at least 10 K colder"),
        (lambda: own("iron phosphate", 20, -25, 0.9), "as far as the table goes"),
        (lambda: own("iron phosphate", 20, 0, 0), 'run time="12 h"'),
        (lambda: own("iron phosphate", 20, 0, 0.9, repeatability=2), 'repeatability="2 %"'),
        (lambda: own("salt", 20, 0, 0.9), "iron phosphate"),
        (lambda: TemperatureCurve("salt").at("5 degC"), "iron phosphate"),
        (lambda: TemperatureCurve("iron phosphate").at(5), 'temperature="5 degC"'),
        (lambda: TemperatureCurve("iron phosphate").at("5 C"), "degC"),
        (lambda: TemperatureCurve.from_runs("iron phosphate", ("10 h", "20 degC"), ("9 h", "0 degC")), "21 degC"),
    ],
)
def test_refused_with_the_way_out(call: Callable[[], Any], says: str) -> None:
    with pytest.raises(Refusal) as refused:
        call()
    assert says in str(refused.value)
