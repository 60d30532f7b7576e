"""Batteries against published numbers: the Army's two tables kept apart, IEEE 485, NREL, Peukert, storage by hand.

Where a number of the kit comes from the very source it is held against, the test says "consistency". Where the book
lies away from the kit, both stand here with their distance, and the band is not widened for it.
"""

from __future__ import annotations

from typing import Any

import pytest

from ridethrough.answer.ledger import ledger
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import ride
from ridethrough.model.battery import peukert_hours, takes_charge
from ridethrough.model.inverter import Inverter
from ridethrough.model.load import Load
from ridethrough.model.temperature import TemperatureCurve
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal, number

LEAD = ("sealed lead-acid", "flooded lead-acid")
LITHIUM = ("iron phosphate", "nickel-manganese-cobalt")


def capacity(chemistry: str, celsius: float) -> tuple[float, float, float]:
    """Return the kit's capacity over that at 25 degC: value and the ends of its 95 % interval."""
    found = TemperatureCurve(chemistry).at(Q_(celsius, "degC"))
    low, high = found.interval()
    return float(found.value.magnitude), float(low.magnitude), float(high.magnitude)


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def gives_wh(drain: str, at: str | None = None, **box: Any) -> float:
    """Return what a full battery gives at a steady power, from its box through a unit that loses nothing [Wh]."""
    even = Inverter.fit([(power, power) for power in ("0 W", "1 W", "2 W")], rated="10 kW")
    unit = BackupUnit.from_print("bare", rated="10 kW", inverter=even, **box)
    lasts = ride(Load.steady(drain), unit, Outage("1 h", unit_at=at), draws=2).lasts
    return lasts.magnitude * number(drain, "W", "drain")


# -- lead-acid in the cold ---------------------------------------------------------------------------------------

# Shares by degF: US Army TM 10-6140-200-14, 1-9, and US Army TM 5-4210-230-14&P-1, Table 3.
ARMY_CAPACITY: dict[float, float] = {77: 1.00, 32: 0.75, 0: 0.40}
ARMY_CRANKING: dict[float, float] = {80: 1.00, 32: 0.65, 0: 0.40, -20: 0.20}


@pytest.mark.parametrize("chemistry", LEAD)
@pytest.mark.parametrize("fahrenheit", ARMY_CAPACITY)
def test_army_capacity_was_read_right(chemistry: str, fahrenheit: float) -> None:
    """Consistency, not evidence: the table's points are this manual's. 0 degF is 0.2 K above the table's -18 degC,
    where the line has risen by 0.0043."""
    value, _, _ = capacity(chemistry, celsius(fahrenheit))
    assert value == pytest.approx(ARMY_CAPACITY[fahrenheit], abs=0.005)


@pytest.mark.parametrize("chemistry", LEAD)
@pytest.mark.parametrize(("fahrenheit", "apart"), [(80, 0.008), (32, 0.100), (0, 0.004)])
def test_army_cranking_power_is_another_quantity(chemistry: str, fahrenheit: float, apart: float) -> None:
    """The kit does not use the cranking table: it lies 0.100 above it at 32 degF, outside the kit's 95 % band.

    At 80 degF and 0 degF the manual's two tables, and so the kit, are the same within rounding: no way to tell there.
    """
    value, low, high = capacity(chemistry, celsius(fahrenheit))
    assert value - ARMY_CRANKING[fahrenheit] == pytest.approx(apart, abs=0.001)
    assert (low <= ARMY_CRANKING[fahrenheit] <= high) == (fahrenheit != 32)


@pytest.mark.parametrize("chemistry", LEAD)
def test_where_only_the_cranking_table_goes_the_kit_does_not(chemistry: str) -> None:
    """-20 degF has a cranking power, 20 %, and no capacity: refused."""
    assert -20 in ARMY_CRANKING
    assert -20 not in ARMY_CAPACITY
    with pytest.raises(Refusal, match="as far as the table goes"):
        capacity(chemistry, celsius(-20))


@pytest.mark.parametrize("chemistry", LEAD)
@pytest.mark.parametrize(
    ("at", "book", "apart"),
    [(-3.9, 1.52, -0.037), (4.4, 1.30, -0.041), (10.0, 1.19, -0.014), (15.6, 1.11, -0.006), (21.1, 1.04, 0.001),
     (32.2, 0.94, 0.028), (37.8, 0.91, 0.034)],
)  # fmt: skip
def test_ieee_485_cell_size_factors(chemistry: str, at: float, book: float, apart: float) -> None:
    """IEEE 485, Table 1, base 25 degC, from memory (to 0.015): sizes to buy over sizes needed, so 1 / capacity.

    Another source than the kit's points. The kit loses up to 0.041 less to the cold, and gains up to 0.034 less from
    heat; every factor lies inside its 95 % band. From 10 to 21 degC the two agree within the memory's 0.015.
    """
    value, low, high = capacity(chemistry, at)
    assert 1 / value - book == pytest.approx(apart, abs=0.001)
    assert 1 / high <= book <= 1 / low
    assert (abs(1 / value - book) < 0.015) == (10 <= at <= 21.1)


# -- lithium ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("chemistry", LITHIUM)
@pytest.mark.parametrize(("at", "share", "outside"), [(-15, 0.65, 0), (0, 0.85, 0), (25, 1.00, 0), (40, 1.04, 0.008)])
def test_nrel_inputs_as_a_band(chemistry: str, at: float, share: float, outside: float) -> None:
    """NREL SSC, inputs of a test, lithium-ion block: assumed there, not measured.

    In the cold consistency only: the table's lower ends were chosen by them. At 40 degC, which was not, they lie 0.008
    above the kit's 95 % interval: the kit expects less from warmth, which errs to the safe side.
    """
    _, low, high = capacity(chemistry, at)
    assert max(share - high, low - share, 0) == pytest.approx(outside, abs=0.001)


@pytest.mark.parametrize("chemistry", LITHIUM)
def test_jeita_no_charging_below_freezing(chemistry: str) -> None:
    """JEITA guideline, from memory, as is the table's number: consistency, and that a ledger says so."""
    assert [takes_charge(chemistry, at) for at in ("-0.5 degC", "31 degF", "0 degC", "33 degF")] == [
        False, False, True, True,
    ]  # fmt: skip
    unit = BackupUnit.from_print("mine", capacity="1 kWh", chemistry=chemistry, standby="9 W", rated="800 W",
                                 efficiency="88 %", at="250 W")  # fmt: skip
    said = [ledger(Load.steady("30 W"), unit, Outage("5 h", unit_at=at)).cautions for at in ("-0.5 degC", "0.5 degC")]
    assert [any("charge" in caution for caution in cautions) for cautions in said] == [True, False]


# -- Peukert ------------------------------------------------------------------------------------------------------


def test_peukert_with_its_rating_hours() -> None:
    """A published tutoring page's worked example: 120 Ah at 20 h, 120 A, k 1.4 last 0.302 h."""
    assert peukert_hours("120 Ah", "120 A", 1.4, rating_hours="20 h").magnitude == pytest.approx(0.302, abs=5e-4)


def test_peukert_s_own_definition_is_another_number() -> None:
    """electrotechnik.net's worked example: C_p = I^k t of 100, k 1.2, 5 A last 14.5 h; "100 Ah" at 20 h last 20.0 h."""
    own = peukert_hours("100 Ah", "5 A", 1.2, rating_current="1 A").magnitude
    rated = peukert_hours("100 Ah", "5 A", 1.2, rating_hours="20 h").magnitude
    assert own == pytest.approx(14.5, abs=0.05)
    assert rated == pytest.approx(20.0, abs=0.05)


# -- sizing by hand -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("days", "stored_ah"), [(1, 205), (2, 410), (3, 615)])
def test_storage_by_hand(days: int, stored_ah: float) -> None:
    """Open Source Solar Project handbook, "Energy storage sizing and selection": 205 Ah a day for 1, 2, 3 days are
    205, 410, 615 Ah, over a depth of discharge of 0.5; here at 12 V, for the kit's battery has no ampere-hours.

    The depth is given, not the table's, which has it from the same page. The battery so sized carries the load for
    exactly those days: its 20 h rating is faster, so no rate enters.
    """
    drain_w = 205 * 12 / 24
    given_wh = gives_wh(f"{drain_w} W", capacity=Q_(stored_ah / 0.5, "Ah"), volts="12 V", depth_of_discharge="50 %",
                        chemistry="flooded lead-acid")  # fmt: skip
    assert given_wh / drain_w == pytest.approx(24 * days)
    assert given_wh == pytest.approx(stored_ah * 12)


@pytest.mark.parametrize(("days", "stored_ah"), [(1, 205), (2, 410), (3, 615)])
def test_storage_by_hand_through_the_ledger(days: int, stored_ah: float) -> None:
    """The same rows with an inverter before the load: 205 Ah a day at 12 V are 2460 Wh at the battery, whatever of it
    reaches the outlet. Asked by the ledger, nothing is left over after those days and nothing missing."""
    unit = BackupUnit.from_print("mine", capacity=Q_(stored_ah / 0.5, "Ah"), volts="12 V", depth_of_discharge="50 %",
                                 chemistry="flooded lead-acid", standby="6 W", rated="1 kW", efficiency="90 %",
                                 at="200 W")  # fmt: skip
    low, high = 0.0, 200.0  # the load at the outlet that takes 205 Ah a day from the battery
    while high - low > 1e-9:
        middle = (low + high) / 2
        taken_ah = 24 * float(unit.inverter.battery_power(Q_(middle, "W")).value.magnitude) / 12
        low, high = (middle, high) if taken_ah < 205 else (low, middle)
    account = ledger(Load.steady(Q_(low, "W")), unit, Q_(days, "day"))
    assert account.left.magnitude == pytest.approx(0, abs=1e-5)
    assert account.needed.magnitude == pytest.approx(stored_ah * 12)


def test_ieee_485_ageing_factor() -> None:
    """IEEE 485, from memory: a factor of 1.25 allows for end of life at 80 %. A battery bought 1.25 times as large and
    worn to 80 % gives what the new one of the size needed gives, slower than both their ratings, in the cold too."""
    lead = {"chemistry": "flooded lead-acid"}
    for at, of_new in ((None, 1), ("5 degC", (0.75 * 20 + 1.00 * 5) / 25)):
        needed = gives_wh("40 W", at, capacity="1 kWh", **lead)
        bought = gives_wh("40 W", at, capacity="1.25 kWh", health="80 %", **lead)
        assert bought == pytest.approx(needed) == pytest.approx(500 * of_new)
