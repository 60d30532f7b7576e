"""The two routes: one truth gives both the same answer, and each takes its own losses once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridethrough.estimate import Estimate
from ridethrough.measure.bench import RundownLine, fit_rundowns
from ridethrough.model.load import Load
from ridethrough.model.routes import Measured, Printed
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal

HEATER = ("14 W", "-2 degC")


def wh(found: Estimate) -> float:
    return float(found.value.to("Wh").magnitude)


def usable_wh(unit: BackupUnit, load: Load, start: Any = "100 %", at: Any = None) -> float:
    return sum(wh(energy) for _, energy, _ in unit.route.steps(load, start, at))


def printed(**told: Any) -> BackupUnit:
    """Return a unit whose resistive loss is next to nothing, so that its run-downs are a straight line."""
    known: dict[str, Any] = {
        "capacity": "1 kWh", "chemistry": "iron phosphate", "standby": "9 W", "rated": "80 MW", "efficiency": "88 %",
        "at": "250 W", "depth_of_discharge": "95 %", "pack": "600 Wh", "packs_max": 3,
    }  # fmt: skip
    return BackupUnit.from_print("mine", **known | told)


def rundowns(unit: BackupUnit, room: str | None = "25 degC") -> RundownLine:
    """Return the line through the run-downs that this unit from print would give at 25 degC, below its rating."""
    runs = []
    for load in (Q_(0, "W"), Q_(40, "W"), Q_(120, "W")):
        drain = unit.inverter.battery_power(load)
        runs.append((load, (Q_(usable_wh(unit, Load.steady(load)), "Wh") / drain.value).to("h")))
    return fit_rundowns(runs, room=room, rate_exponent="1.0", rated="80 MW")


def k1(unit: BackupUnit) -> float:
    return float(unit.inverter.k1.value.magnitude)


def measured(unit: BackupUnit, heater_w: float | None = None, room: str | None = "25 degC") -> BackupUnit:
    heater = None if heater_w is None else (Q_(heater_w / (1 + k1(unit)), "W"), HEATER[1])
    return BackupUnit.from_rundowns("mine", rundowns(unit, room), printed="1 kWh", rated="80 MW", heater=heater,
                                    pack="600 Wh", packs_max=3)  # fmt: skip


PRINTED, HEATED = printed(), printed(heater=HEATER)
MEASURED, MEASURED_HEATED = measured(PRINTED), measured(PRINTED, 14)


def hours(unit: BackupUnit, load: Load, start: Any = "100 %", at: Any = None) -> float:
    """Return usable energy over what load and unit take, both on the route's own side."""
    hour = Q_(1, "h")
    taken = -sum(wh(energy) for _, energy, _ in unit.route.losses(load, hour, at))
    return usable_wh(unit, load, start, at) / (taken + wh(load.energy_over(hour)))


# -- one truth, two routes -----------------------------------------------------------------------------------


@given(
    load_w=st.floats(0, 120), start=st.floats(0, 1), health=st.floats(0.5, 1), at=st.none() | st.floats(-20, 45),
    packs=st.integers(0, 3), heated=st.booleans(),
)  # fmt: skip
def test_a_true_print_and_its_run_downs_last_alike(
    load_w: float, start: float, health: float, at: float | None, packs: int, heated: bool
) -> None:
    """In any room, from any charge, at any age, with packs and heater; below the rating, where no rate enters."""
    load, cells = Load.steady(Q_(load_w, "W")), None if at is None else Q_(at, "degC")
    pair = (HEATED, MEASURED_HEATED) if heated else (PRINTED, MEASURED)
    one, two = (hours(unit.with_health(health).with_packs(packs), load, start, cells) for unit in pair)
    assert one == pytest.approx(two, rel=1e-4, abs=1e-6)


def test_the_two_stand_on_their_own_sides() -> None:
    load = Load.steady("60 W")
    battery, outlet = usable_wh(PRINTED, load, "70 %", "-10 degC"), usable_wh(MEASURED, load, "70 %", "-10 degC")
    assert battery == pytest.approx(1000 * 0.95 * (0.7 - 0.16))
    assert outlet == pytest.approx(battery / (1 + k1(PRINTED)), rel=1e-4)


def test_run_downs_in_a_cold_room_are_lifted_from_there() -> None:
    """A line for 0 degC holds 0.92 of the line for 25 degC; at 25 degC the unit gives that much more again."""
    cold = BackupUnit.from_rundowns("mine", rundowns(PRINTED, "0 degC"), printed="1 kWh", rated="1 kW")
    load = Load.steady("60 W")
    assert usable_wh(cold, load, at="25 degC") == pytest.approx(usable_wh(cold, load) / 0.92)
    assert usable_wh(cold, load, at="-10 degC") == pytest.approx(usable_wh(cold, load) * 0.84 / 0.92)


def test_health_is_over_the_print_or_over_the_tests() -> None:
    for unit, label in ((PRINTED, "90 % health"), (MEASURED, "90 % health since the tests")):
        whole, worn = (unit.with_health(health).route for health in ("100 %", "90 %"))
        load = Load.steady("60 W")
        assert label in [name for name, _, _ in worn.steps(load, "100 %")]
        assert not [name for name, _, _ in whole.steps(load, "100 %") if "health" in name]
        assert usable_wh(unit.with_health("90 %"), load) == pytest.approx(0.9 * usable_wh(unit, load))


def test_a_pack_of_a_measured_unit_gives_as_measured_and_at_a_lower_rate_no_less() -> None:
    steep = fit_rundowns([("0 W", "60 h"), ("75 W", "9 h")], room="20 degC", rate_exponent="1.1")
    load = Load.steady("200 W")
    for line, more in ((steep, 2**0.1), (MEASURED.route.line, 1)):  # type: ignore[union-attr]
        unit = BackupUnit.from_rundowns("mine", line, printed="1 kWh", rated="1 kW", pack="1 kWh", packs_max=1)
        assert usable_wh(unit.with_packs(1), load) == pytest.approx(2 * more * usable_wh(unit, load))


# -- the heater ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("unit", [HEATED, MEASURED_HEATED], ids=["printed", "measured"])
@pytest.mark.parametrize(("at", "on"), [(None, False), ("5 degC", False), ("-2 degC", False), ("-2.1 degC", True)])
def test_the_heater_is_on_below_its_temperature(unit: BackupUnit, at: str | None, on: bool) -> None:
    entries = unit.route.losses(Load.steady("60 W"), Q_(5, "h"), at)
    losses = {label.split(",")[0]: wh(energy) for label, energy, _ in entries}
    heater = unit.route.heater
    assert heater is not None
    assert ("battery heater" in losses) == on
    if on:
        assert losses["battery heater"] == pytest.approx(-5 * float(heater.power.value.magnitude))


@pytest.mark.parametrize("unit", [HEATED, MEASURED_HEATED], ids=["printed", "measured"])
def test_it_keeps_the_cells_at_its_temperature(unit: BackupUnit) -> None:
    """The cells stay at -2 degC however cold the room, even below the table; its mean power is taken as stated."""
    load = Load.steady("60 W")
    assert usable_wh(unit, load, at="-15 degC") == pytest.approx(usable_wh(unit, load, at="-2 degC"))
    assert hours(unit, load, at="-40 degC") == pytest.approx(hours(unit, load, at="-3 degC"))
    assert hours(unit, load, at="-3 degC") < hours(unit, load, at="-2 degC")


def test_a_heater_pays_on_a_heavy_load_and_costs_on_a_light_one() -> None:
    """At -20 degC 0.65 is left without it; kept at 5 degC 0.936, and 12 W more than the 9 W of standby to carry."""
    bare, heated = printed(), printed(heater=("12 W", "5 degC"))
    light, heavy = ([hours(unit, Load.steady(load), at="-20 degC") for unit in (bare, heated)]
                    for load in ("2 W", "150 W"))  # fmt: skip
    assert light[1] < 0.75 * light[0]
    assert heavy[1] > 1.3 * heavy[0]


def test_the_heater_drains_faster_too() -> None:
    """Above the rating of 200 W its power counts for the rate: 195 W of drain and 14 W."""
    load = Load.steady("165 W")
    for at, over in (("-2 degC", False), ("-3 degC", True)):
        labels = [label for label, _, _ in HEATED.route.steps(load, "100 %", at)]
        assert any(label.startswith("rate") for label in labels) == over


# -- refused -------------------------------------------------------------------------------------------------

NO_ROOM = measured(PRINTED, room=None)


def test_following_the_refusal_works() -> None:
    load = Load.steady("30 W")
    with pytest.raises(Refusal, match=r'fit_rundowns.*room="20 degC"') as refused:
        NO_ROOM.route.steps(load, "100 %", "2 degC")
    assert "leave unit_at out" in refused.value.remedy
    NO_ROOM.route.steps(load, "100 %")
    MEASURED.route.steps(load, "100 %", "2 degC")


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: printed(heater="14 W"), 'heater=("'),
        (lambda: printed(heater=("14 W",)), 'heater=("'),
        (lambda: printed(heater=("-2 degC", "14 W")), "heater"),
        (lambda: printed(heater=(14, "-2 degC")), 'heater="14 W"'),
        (lambda: printed(heater=("14 W", 0)), 'heater="0 degC"'),
        (lambda: printed(heater=("-14 W", "0 degC")), "zero or more"),
        (lambda: measured(PRINTED).with_health("110 %"), 'health="90 %"'),
        (lambda: printed(chemistry="salt"), "iron phosphate"),
        (lambda: printed(capacity="80 Ah"), 'capacity="80 Ah", volts="12.8 V"'),
        (lambda: PRINTED.route.steps(Load.steady("30 W"), "100 %", "-21 degC"), 'unit_at="5 degC"'),
        (lambda: MEASURED.route.steps(Load.steady("30 W"), "100 %", "46 degC"), 'unit_at="5 degC"'),
        (lambda: PRINTED.route.steps(Load.steady("30 W"), "100 %", 2), 'unit_at="2 degC"'),
    ],
)
def test_refused_with_the_line_to_type(call: Callable[[], Any], says: str) -> None:
    with pytest.raises(Refusal) as refused:
        call()
    assert says in str(refused.value)


def test_both_routes_are_there() -> None:
    assert (type(PRINTED.route), type(MEASURED.route)) == (Printed, Measured)
