"""A battery as its box describes it, and what a fast discharge costs it: by hand, and what must hold whatever it is."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridethrough.estimate import Estimate
from ridethrough.model.battery import CHEMISTRIES, aged, charge_after, drained_w, peukert_hours, stored_energy
from ridethrough.model.routes import Route
from ridethrough.model.temperature import TemperatureCurve
from ridethrough.model.unit import BackupUnit
from ridethrough.sources import lookup
from ridethrough.units import Q_, Refusal

ROUNDING = 4 * sys.float_info.epsilon  # of what is taken to a power
CHEMISTRY = st.sampled_from(CHEMISTRIES)


def share(found: Estimate) -> float:
    return float(found.value.to("1").magnitude)


def box(capacity: Any = "1 kWh", chemistry: str = "iron phosphate", **told: Any) -> Route:
    unit = BackupUnit.from_print("mine", capacity=capacity, chemistry=chemistry, standby="9 W", rated="800 W",
                                 efficiency="88 %", at="300 W", **told)  # fmt: skip
    return unit.route


# -- what print is worth -------------------------------------------------------------------------------------


def test_a_printed_number_has_the_table_s_band_and_its_own_value() -> None:
    (holds,), entry = box().holds, lookup("capacity over its print")
    assert share(holds) == 1
    assert holds.u.magnitude > 0
    assert list(holds.budget()["influence"]) == [entry.name]


@pytest.mark.parametrize("known", [Estimate.exact("1 kWh"), Estimate.standard("1 kWh", "20 Wh", "own test")])
def test_an_estimate_of_the_capacity_is_taken_as_it_is(known: Estimate) -> None:
    battery = box(known)
    assert battery.printed == Q_(1000, "Wh")
    assert (battery.holds[0] * Q_(1, "kWh")).u == known.u
    assert "capacity over its print" not in set(battery.holds[0].budget()["influence"])


# -- a fast discharge ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "running", "least", "drained"),
    [
        (100, 100, 1, 100 * 2**0.12),  # twice the rating of 50 W
        (100, 200, 1, 100 * 4**0.12),  # on half the time: what runs counts
        (25, 25, 1, 25),  # slower than the rating, of which nothing is known
        (25, 25, 0, 25 / 2**0.12),  # slower than run-downs, which tell
        (0, 0, 1, 0),
    ],
)
def test_what_leaves_it_by_hand(asked: float, running: float, least: float, drained: float) -> None:
    assert drained_w(asked, running, 50, 1.12, least) == pytest.approx(drained)


@given(asked=st.floats(0, 5000), reference=st.floats(1, 5000), least=st.sampled_from([0.0, 1.0]))
def test_an_exponent_of_one_takes_nothing_at_any_rate(asked: float, reference: float, least: float) -> None:
    assert drained_w(asked, asked, reference, 1.0, least) == asked


@given(st.floats(1, 4000), st.floats(1, 4000), st.floats(1, 4000), st.floats(1, 4000), st.floats(1, 1.9))
def test_faster_never_gives_more_and_a_larger_battery_never_less(
    one: float, two: float, small: float, more: float, k: float
) -> None:
    """Of each watt that is asked, no less leaves the battery at a faster rate, and no more where it is larger."""
    slow, fast = sorted((one, two))
    of_a_watt = [drained_w(1.0, rate, small, k, 1) for rate in (slow, fast)]
    assert 1 <= of_a_watt[0] <= of_a_watt[1] * (1 + ROUNDING)
    assert drained_w(1.0, fast, small + more, k, 1) <= of_a_watt[1] * (1 + ROUNDING)


# -- Peukert -------------------------------------------------------------------------------------------------

CHARGE, CURRENT, EXPONENT = st.floats(1, 1000), st.floats(0.1, 500), st.floats(1, 1.9)


@given(CHARGE, CURRENT, EXPONENT, st.floats(1, 100))
def test_a_rating_in_hours_or_as_its_current_is_one_rating(ah: float, amperes: float, k: float, hours: float) -> None:
    found = [peukert_hours(Q_(ah, "Ah"), Q_(amperes, "A"), k, **rating).magnitude
             for rating in ({"rating_hours": Q_(hours, "h")}, {"rating_current": Q_(ah / hours, "A")})]  # fmt: skip
    assert found[0] == pytest.approx(found[1])
    assert found[0] <= ah / amperes * (1 + 1e-12)


@given(CHARGE, CURRENT, CURRENT, EXPONENT, EXPONENT)
def test_more_current_or_a_larger_exponent_never_lasts_longer(
    ah: float, one: float, two: float, k: float, other: float
) -> None:
    def hours(amperes: float, exponent: float) -> float:
        return float(peukert_hours(Q_(ah, "Ah"), Q_(amperes, "A"), exponent, rating_hours="20 h").magnitude)

    assert hours(max(one, two), k) <= hours(min(one, two), k)
    assert hours(one, max(k, other)) <= hours(one, min(k, other)) * (1 + 1e-12)


@given(st.floats(5, 3000), EXPONENT)
def test_what_leaves_it_is_peukert_s_relation_at_a_steady_voltage(drain: float, k: float) -> None:
    """100 Ah at 12 V and 20 hours: a power of 60 W, a current of 5 A."""
    hours = peukert_hours("100 Ah", Q_(drain / 12, "A"), k, rating_hours="20 h").magnitude
    assert 1200 / drained_w(drain, drain, 60, k, 1) == pytest.approx(hours)


# -- ampere-hours, age, storage, charging --------------------------------------------------------------------


def test_ampere_hours_mean_nothing_without_their_voltage() -> None:
    cell, battery = (stored_energy("50 Ah", volts).magnitude for volts in ("3.2 V", "12.8 V"))
    assert (cell, battery) == (pytest.approx(160), pytest.approx(640))
    assert box("50 Ah", volts="12.8 V").printed.to("Wh").magnitude == battery


@given(CHEMISTRY, st.floats(0, 6), st.floats(0, 6))
def test_older_is_never_more_and_less_certain(chemistry: str, one: float, two: float) -> None:
    young, old = (aged(Q_(years, "year"), chemistry) for years in sorted((one, two)))
    assert 0 <= share(old) <= share(young) <= 1
    assert old.u >= young.u


def test_a_new_one_is_whole() -> None:
    assert (share(aged("0 years", "iron phosphate")), aged("0 years", "iron phosphate").u.magnitude) == (1, 0)


@pytest.mark.parametrize("years", ["60 years", "-1 years"])
def test_an_age_at_which_nothing_is_left_is_refused(years: str) -> None:
    with pytest.raises(Refusal):
        aged(years, "sealed lead-acid")


@given(CHEMISTRY, st.floats(0, 8), st.floats(0, 8), st.floats(0.8, 1))
def test_storage_never_charges(chemistry: str, one: float, two: float, start: float) -> None:
    short, long = (charge_after(Q_(months, "month"), chemistry, start) for months in sorted((one, two)))
    assert share(long) <= share(short) <= start
    assert long.u >= short.u


def test_a_battery_that_would_be_empty_in_storage_is_refused() -> None:
    with pytest.raises(Refusal, match="Charge it now"):
        charge_after("40 months", "iron phosphate")


# -- refused, with the line to type --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "says", "told"),
    [
        (
            lambda: box("100 Ah"), 'capacity="100 Ah", volts="12.8 V"',
            lambda: box(capacity="100 Ah", volts="12.8 V"),
        ),
        (
            lambda: box("1 kWh", volts="12 V"), "Leave volts out",
            lambda: box("1 kWh"),
        ),
        (
            lambda: box(depth_of_discharge=80), 'depth_of_discharge="80 %"', lambda: box(depth_of_discharge="80 %"),
        ),
        (
            lambda: box(depth_of_discharge="110 %"), 'depth_of_discharge="90 %"',
            lambda: box(depth_of_discharge="90 %"),
        ),
        (lambda: box(health=1.2), "a share between 0 and 1", lambda: box(health=1)),
        (lambda: box(health=95), 'health="95 %"', lambda: box(health="95 %")),
        (lambda: box(rating_hours=20), 'rating_hours="20 h"', lambda: box(rating_hours="20 h")),
        (
            lambda: peukert_hours("100 Ah", "5 A", 1.2), 'rating_hours="20 h"',
            lambda: peukert_hours("100 Ah", "5 A", 1.2, rating_hours="20 h"),
        ),
        (
            lambda: peukert_hours("100 Ah", "5 A", 1.2, rating_hours="20 h", rating_current="5 A"),
            'rating_hours="20 h"', lambda: peukert_hours("100 Ah", "5 A", 1.2, rating_hours="20 h"),
        ),
        (
            lambda: peukert_hours("1.2 kWh", "5 A", 1.2, rating_hours="20 h"), 'capacity="100 Ah"',
            lambda: peukert_hours(capacity="100 Ah", current="5 A", exponent=1.2, rating_hours="20 h"),
        ),
        (
            lambda: peukert_hours("100 Ah", "5 A", 0.9, rating_hours="20 h"), "1.1",
            lambda: peukert_hours("100 Ah", "5 A", 1.1, rating_hours="20 h"),
        ),
        (lambda: aged("3 years", "salt"), "iron phosphate", lambda: aged("3 years", "iron phosphate")),
        (lambda: aged(3, "iron phosphate"), '"3 year"', lambda: aged("3 year", "iron phosphate")),
        (
            lambda: charge_after("3 months", "salt"), "iron phosphate",
            lambda: charge_after("3 months", "iron phosphate"),
        ),
    ],
)  # fmt: skip
def test_refused_with_the_line_to_type(call: Callable[[], Any], says: str, told: Callable[[], Any]) -> None:
    with pytest.raises(Refusal) as refused:
        call()
    assert says in str(refused.value)
    told()


def test_a_curve_of_another_chemistry_is_refused() -> None:
    with pytest.raises(Refusal):
        box(curve=TemperatureCurve("sealed lead-acid"))
