"""A standby on the battery's side, the outlet's and the wall's; what a generator burns with nothing plugged in."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridethrough.estimate import Estimate
from ridethrough.measure.bench import fit_rundowns
from ridethrough.measure.standby import SIDES, idle_fuel, standby_from_empty, standby_from_refill, standby_on
from ridethrough.model.inverter import Inverter
from ridethrough.units import Q_, Refusal

K1 = Estimate.within(Q_(0.1, "1"), Q_(0.02, "1"), "k1")
ETA = Estimate.within(Q_(0.8, "1"), Q_(0.05, "1"), "charger")
FOUND = Estimate.standard("11 W", "0.5 W", "reading")


def w(found: Estimate) -> float:
    return float(found.value.to("W").magnitude)


# -- by hand -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("side", "found_on", "watts"),
    [
        ("outlet", "battery", 11 / 1.1),
        ("wall", "battery", 11 / 0.8),
        ("battery", "outlet", 11 * 1.1),
        ("wall", "outlet", 11 * 1.1 / 0.8),
        ("battery", "wall", 11 * 0.8),
        ("outlet", "wall", 11 * 0.8 / 1.1),
    ],
)
def test_six_ways_by_hand(side: Any, found_on: Any, watts: float) -> None:
    found = standby_on(side, "11 W", found_on=found_on, k1="10 %", charger_efficiency="80 %")
    assert w(found) == pytest.approx(watts)
    assert found.u.magnitude == 0


@pytest.mark.parametrize("side", SIDES)
def test_on_its_own_side_it_stays_as_it_is(side: Any) -> None:
    same = standby_on(side, FOUND, found_on=side)
    assert w(same) == w(FOUND)
    assert (same - FOUND).u.magnitude == 0


def test_only_what_is_crossed_is_in_doubt() -> None:
    across: dict[tuple[Any, Any], set[str]] = {
        ("outlet", "battery"): {"reading", "k1"},
        ("wall", "battery"): {"reading", "charger"},
        ("wall", "outlet"): {"reading", "k1", "charger"},
    }
    for (side, found_on), names in across.items():
        found = standby_on(side, FOUND, found_on=found_on, k1=K1, charger_efficiency=ETA)
        assert set(found.budget()["influence"]) == names


@given(st.sampled_from(SIDES), st.sampled_from(SIDES), st.sampled_from(SIDES), st.floats(0, 60))
def test_there_and_back_and_round_about(one: Any, two: Any, three: Any, watts: float) -> None:
    """By the same k1 and charger every way to a side is one number, with one uncertainty."""
    found = Estimate.standard(Q_(watts, "W"), Q_(0.5, "W"), "reading")

    def on(side: Any, standby: Estimate, found_on: Any) -> Estimate:
        return standby_on(side, standby, found_on=found_on, k1=K1, charger_efficiency=ETA)

    direct, about = on(three, found, one), on(three, on(two, found, one), two)
    assert w(about) == pytest.approx(w(direct))
    assert (about - direct).u.magnitude == pytest.approx(0, abs=1e-9)


def test_without_its_own_the_charger_is_the_table_s() -> None:
    found = standby_on("wall", "11 W", found_on="battery")
    assert w(found) == pytest.approx(11 / 0.88)
    assert list(found.budget()["influence"]) == ["charger efficiency"]
    assert found.budget()["source"][0]


# -- a second way --------------------------------------------------------------------------------------------


def test_run_downs_find_the_outlet_s_side_of_what_the_battery_gives() -> None:
    """900 Wh behind P_b = P_0 + (1 + k1) P run down in 900 Wh / P_b: the line's standby is P_0 / (1 + k1)."""
    inverter = Inverter.fit([("0 W", "11 W"), ("100 W", "123 W"), ("200 W", "235 W")], rated="1 kW")
    runs = [(Q_(load, "W"), (Q_(900, "Wh") / inverter.battery_power(Q_(load, "W")).value).to("h"))
            for load in (0, 50, 200)]  # fmt: skip
    line = fit_rundowns(runs, rate_exponent="1.0", rated="10 kW")
    assert w(standby_on("outlet", "11 W", found_on="battery", k1=inverter.k1)) == pytest.approx(w(line.standby))
    assert w(standby_on("battery", line.standby, found_on="outlet", k1=inverter.k1)) == pytest.approx(11)
    drained_h = (Q_(900, "Wh") / Q_(11, "W")).to("h")
    assert w(standby_from_empty(drained_h, line.energy)) == pytest.approx(w(line.standby))
    assert w(standby_from_empty(drained_h, "900 Wh")) == pytest.approx(11)


def test_a_refill_at_the_wall_is_what_the_standby_costs_there() -> None:
    """24 h of a standby, refilled: the wall's energy over the 24 h is the standby on the wall's side."""
    found = standby_from_refill("330 Wh", "24 h", charger_efficiency=ETA)
    assert w(found) == pytest.approx(330 * 0.8 / 24)
    there = standby_on("wall", found, found_on="battery", charger_efficiency=ETA)
    assert w(there) == pytest.approx(330 / 24)
    assert there.u.magnitude == pytest.approx(0, abs=1e-9)


# -- a generator with nothing plugged in ---------------------------------------------------------------------


def test_idle_fuel_by_hand() -> None:
    """1.4 L in 4 h, read off a can of 0.1 L steps twice: each reading has u = 0.1 L / sqrt 12."""
    found = idle_fuel("2.9 L", "1.5 L", "4 h", resolution="0.1 L")
    assert found.value.to("L/h").magnitude == pytest.approx(0.35)
    assert found.u.to("L/h").magnitude == pytest.approx(0.1 / math.sqrt(12) * math.sqrt(2) / 4)
    assert set(found.budget()["influence"]) == {"measuring can before", "measuring can after"}


def test_gallons_and_days_are_the_same_fuel() -> None:
    """1 US gallon is 3.785411784 L by definition."""
    assert idle_fuel("2 gal", "1 gal", "0.5 days").value.to("L/h").magnitude == pytest.approx(3.785411784 / 12)


@given(st.floats(0, 20), st.floats(0.01, 20), st.floats(0.1, 100), st.floats(0.1, 100))
def test_longer_on_the_same_fuel_is_less_an_hour(after: float, burnt: float, one: float, two: float) -> None:
    short, long = (idle_fuel(Q_(after + burnt, "L"), Q_(after, "L"), Q_(hours, "h")) for hours in sorted((one, two)))
    assert long.value <= short.value
    assert float(long.value.magnitude) * max(one, two) == pytest.approx(burnt, rel=1e-6, abs=1e-9)


# -- refused -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: standby_on("outlet", "11 W", found_on="battery"), 'k1="10 %"'),
        (lambda: standby_on("wall", "11 W", found_on="outlet"), "k1=unit.inverter.k1"),
        (lambda: standby_on("socket", "11 W", found_on="battery"), 'side="outlet"'),  # type: ignore[arg-type]
        (lambda: standby_on("outlet", "11 W", found_on="plug"), 'found_on="outlet"'),  # type: ignore[arg-type]
        (lambda: standby_on("outlet", "11 W", found_on="battery", k1=10), 'k1="10 %"'),
        (lambda: standby_on("outlet", 11, found_on="battery", k1="10 %"), 'standby="11 W"'),
        (lambda: standby_on("outlet", "-1 W", found_on="battery", k1="10 %"), "zero or more"),
        (lambda: standby_on("wall", "11 W", found_on="battery", charger_efficiency=88), 'charger_efficiency="88 %"'),
        (lambda: standby_on("wall", "11 W", found_on="battery", charger_efficiency="0 %"), "charger_efficiency"),
        (lambda: idle_fuel("2 L", "2 L", "3 h"), "less after than before"),
        (lambda: idle_fuel("1 L", "2 L", "3 h"), "less after than before"),
        (lambda: idle_fuel("3 L", "2 L", "0 h"), "above zero"),
        (lambda: idle_fuel(3, "2 L", "3 h"), 'before="3 L"'),
        (lambda: idle_fuel("3 kWh", "2 L", "3 h"), "before"),
    ],
)
def test_refused_with_the_line_to_type(call: Callable[[], Any], says: str) -> None:
    with pytest.raises(Refusal) as refused:
        call()
    assert says in str(refused.value)
