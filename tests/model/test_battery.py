"""From the printed capacity to what may be used: by hand, and what must hold whatever the battery."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridethrough.estimate import Estimate
from ridethrough.model.battery import CHEMISTRIES, Battery, aged, charge_after, peukert_hours, stored_energy
from ridethrough.model.temperature import TemperatureCurve
from ridethrough.units import Q_, Refusal

EXACT_1 = Estimate.exact("100 %").to("1")
CHEMISTRY = st.sampled_from(CHEMISTRIES)


def watts(drain: float) -> Estimate:
    return Estimate.exact(Q_(drain, "W"))


def share(found: Estimate) -> float:
    return float(found.value.to("1").magnitude)


def wh(found: Estimate) -> float:
    return float(found.value.to("Wh").magnitude)


def box(capacity: float = 1000, chemistry: str = "iron phosphate", **told: Any) -> Battery:
    return Battery.from_print(Q_(capacity, "Wh"), chemistry, **told)


# -- from printed to usable ----------------------------------------------------------------------------------


def test_by_hand_in_the_cold() -> None:
    """1000 Wh at 90 % health are 900; from 80 % full down to an empty limit that -10 degC raises by 16 %."""
    steps = box(depth_of_discharge="100 %", health="90 %").steps("80 %", watts(100), "-10 degC")
    assert [(label, round(wh(energy), 9)) for label, energy in steps] == [
        ("printed on the box", 1000), ("90 % health", -100), ("80 % full at the start", -180),
        ("cells at -10 °C: 84 %", -144),
    ]  # fmt: skip


def test_by_hand_at_twice_the_rating() -> None:
    """1000 Wh rated at 20 h are 50 W; at 100 W the exponent 1.12 leaves 2^-0.12."""
    lead = box(chemistry="sealed lead-acid")
    factor, k = lead.rate_factor(watts(100)), lead.rate_exponent
    assert share(factor) == pytest.approx(2**-0.12)
    assert factor.u.magnitude == pytest.approx(2**-0.12 * math.log(2) * k.u.magnitude)
    assert dict(lead.steps("100 %", watts(100)))["rate, 100 W: 92 %"].value.magnitude == pytest.approx(
        1000 * 0.5 * (2**-0.12 - 1)
    )


@given(start=st.floats(0.4, 1), at=st.floats(-20, 24.9))
def test_the_cold_takes_its_share_of_the_full_capacity_however_full(start: float, at: float) -> None:
    """Cold raises the empty limit: what it takes does not depend on the charge, as long as that is there."""
    full, partly = (dict(box().steps(charge, watts(10), Q_(at, "degC"))) for charge in (1.0, start))
    (label,) = [label for label in full if label.startswith("cells at")]
    assert wh(full[label]) == pytest.approx(wh(partly[label])) or sum(map(wh, partly.values())) == pytest.approx(0)


def test_cold_takes_no_more_than_there_is() -> None:
    steps = dict(box().steps("10 %", watts(10), "-20 degC"))
    assert wh(steps["cells at -20 °C: 65 %"]) == pytest.approx(-1000 * 0.95 * 0.1)
    assert sum(map(wh, steps.values())) == pytest.approx(0, abs=1e-9)


@given(
    chemistry=CHEMISTRY, start=st.floats(0, 1), health=st.floats(0, 1), depth=st.floats(0.01, 1),
    drain=st.floats(0, 2000), at=st.none() | st.floats(-18, 38),
)  # fmt: skip
def test_steps_sum_to_the_equation(
    chemistry: str, start: float, health: float, depth: float, drain: float, at: float | None
) -> None:
    battery = box(chemistry=chemistry, health=health, depth_of_discharge=depth)
    cells = None if at is None else Q_(at, "degC")
    cold = 1.0 if cells is None else share(TemperatureCurve(chemistry).at(cells))
    rated_w = 1000 / (20 if "lead" in chemistry else 5)
    k = share(battery.rate_exponent)
    rate = max(1.0, drain / rated_w) ** (1 - k)
    left = cold * rate
    expected = 1000 * health * depth * (start * left if left > 1 else max(0, start - (1 - left)))
    assert sum(wh(energy) for _, energy in battery.steps(start, watts(drain), cells)) == pytest.approx(
        expected, abs=1e-9
    )


@pytest.mark.parametrize("cells", [None, "25 degC", "77 degF"])
def test_what_changes_nothing_has_no_entry(cells: str | None) -> None:
    steps = box(depth_of_discharge="100 %").steps("100 %", watts(10), cells)
    assert [label for label, _ in steps] == ["printed on the box"]


# -- rate ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_up_to_the_rating_the_rate_takes_nothing_and_is_not_in_doubt(chemistry: str) -> None:
    battery = box(chemistry=chemistry)
    factor = battery.rate_factor(Estimate.exact((battery.printed / battery.rating_hours).to("W")))
    assert (share(factor), factor.u.magnitude) == (1, 0)


def test_an_exponent_of_one_takes_nothing_at_any_rate() -> None:
    even = replace(box(), rate_exponent=EXACT_1)
    assert not [label for label, _ in even.steps("100 %", watts(5000)) if label.startswith("rate")]


@given(chemistry=CHEMISTRY, one=st.floats(0, 4000), two=st.floats(0, 4000), more=st.floats(0, 5000))
def test_faster_never_gives_more_and_a_larger_battery_never_less(
    chemistry: str, one: float, two: float, more: float
) -> None:
    slow, fast = sorted((one, two))
    battery = box(chemistry=chemistry)
    assert share(battery.rate_factor(watts(fast))) <= share(battery.rate_factor(watts(slow))) <= 1
    assert share(battery.with_more(Q_(more, "Wh")).rate_factor(watts(fast))) >= share(battery.rate_factor(watts(fast)))


def test_own_rating_hours_move_the_rating() -> None:
    ten = box(chemistry="flooded lead-acid", rating_hours="10 h")
    assert share(ten.rate_factor(watts(100))) == 1
    assert share(ten.rate_factor(watts(200))) == pytest.approx(2**-0.12)


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


@given(st.floats(5, 3000))
def test_the_rate_factor_is_peukert_s_relation_at_a_steady_voltage(drain: float) -> None:
    lead = Battery.from_print("100 Ah", "sealed lead-acid", volts="12 V")
    amperes = Q_(drain / 12, "A")
    hours = peukert_hours("100 Ah", amperes, share(lead.rate_exponent), rating_hours="20 h").magnitude
    assert 1200 / drain * share(lead.rate_factor(watts(drain))) == pytest.approx(hours)


# -- ampere-hours, age, storage, charging --------------------------------------------------------------------


def test_ampere_hours_mean_nothing_without_their_voltage() -> None:
    cell, battery = (stored_energy("50 Ah", volts).magnitude for volts in ("3.2 V", "12.8 V"))
    assert (cell, battery) == (pytest.approx(160), pytest.approx(640))
    assert Battery.from_print("50 Ah", "iron phosphate", volts="12.8 V").printed.to("Wh").magnitude == battery


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
            lambda: Battery.from_print("100 Ah", "iron phosphate"), 'capacity="100 Ah", volts="12.8 V"',
            lambda: Battery.from_print(capacity="100 Ah", chemistry="iron phosphate", volts="12.8 V"),
        ),
        (
            lambda: Battery.from_print("1 kWh", "iron phosphate", volts="12 V"), "Leave volts out",
            lambda: Battery.from_print("1 kWh", "iron phosphate"),
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
            lambda: box().steps(97, watts(10)), 'start="97 %"', lambda: box().steps("97 %", watts(10)),
        ),
        (
            lambda: box().steps("97 %", watts(10), "-30 degC"), 'unit_at="5 degC"',
            lambda: box().steps("97 %", watts(10), "5 degC"),
        ),
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
