"""Load, battery, inverter and unit."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridethrough.estimate import Estimate
from ridethrough.model.battery import Rate, drained_of_cycles_w, drained_w
from ridethrough.model.inverter import Inverter
from ridethrough.model.load import Load
from ridethrough.model.nameplate import apparent_power, in_room, label_power
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal

UNIT = BackupUnit.from_print(
    "mine", capacity="1000 Wh", chemistry="iron phosphate", standby="9 W", rated="800 W", efficiency="88 %",
    at="300 W", pack="700 Wh", packs_max=2,
)  # fmt: skip


def test_no_load_costs_the_standby() -> None:
    assert UNIT.inverter.battery_power("0 W").value.magnitude == pytest.approx(9)


def test_a_step_in_which_nothing_is_drawn_costs_the_standby() -> None:
    """Also where the pattern around it varies."""
    rate = Rate(100.0, 1.1, 0.01)
    found = drained_of_cycles_w(np.array([0.0, 20.0]), np.array([1600.0, 1600.0]), (9.0, 1.1, 1e-5), rate)
    assert found[0] == pytest.approx(drained_w(9.0, 9.0, *rate))
    assert np.isfinite(found).all()


def test_the_stated_efficiency_comes_back() -> None:
    assert UNIT.inverter.efficiency("300 W").value.magnitude == pytest.approx(0.88)
    exact = Inverter.from_efficiency("9 W", "88 %", "300 W", "800 W")
    assert exact.efficiency("300 W").u.magnitude == pytest.approx(0, abs=1e-12)


# -- numbers of a sheet, and numbers that are known --------------------------------------------------------------

SHEET = {"standby": "9 W", "efficiency": "88 %"}
KNOWN = {"capacity": Estimate.exact("1 kWh")} | {name: Estimate.exact(text) for name, text in SHEET.items()}


def printed(**told: Any) -> BackupUnit:
    return BackupUnit.from_print("mine", **{"capacity": "1 kWh", "chemistry": "iron phosphate", "rated": "800 W",
                                            "at": "300 W"} | SHEET | told)  # fmt: skip


def test_a_sheet_s_numbers_have_the_table_s_bands_and_their_own_values() -> None:
    sheet, known = printed(), printed(**KNOWN)
    for of in (lambda unit: unit.standby, lambda unit: unit.inverter.efficiency("300 W")):
        assert of(sheet).value.magnitude == pytest.approx(of(known).value.magnitude)
    assert {"standby over its sheet", "efficiency beyond its sheet", "capacity over its print"} <= entries(sheet)
    assert not {name for name in entries(known) if "sheet" in name or "print" in name}
    assert sheet.standby.u.magnitude == pytest.approx(9 * (0.5**2 / 12 + 0.15**2) ** 0.5)  # 0.9 to 1.4 about 1
    assert known.standby.u.magnitude == 0


def entries(unit: BackupUnit) -> set[str]:
    """Return the table's coefficients that the unit's numbers are uncertain by."""
    inputs = (*unit.route.holds, unit.standby, unit.inverter.k1)
    return {name for each in inputs for name in each.budget()["influence"]}


def test_another_standby_is_a_sheet_s_too_unless_it_is_known() -> None:
    assert list(UNIT.with_standby("12 W").standby.budget()["influence"]) == ["standby over its sheet"]
    assert UNIT.with_standby(Estimate.exact("12 W")).standby.u.magnitude == 0


def test_a_charger_is_the_table_s_or_as_given() -> None:
    charger = printed(charge_power="300 W", taper_from="85 %")
    assert (charger.charge_power.value, charger.taper_from.value) == (Q_(300, "W"), Q_(0.85, "1"))
    assert (charger.charge_power.u.magnitude, charger.taper_from.u.magnitude) == (0, 0)
    table = printed(capacity="2 kWh")
    assert table.charge_power.value.m_as("W") == pytest.approx(2000 * 0.3)
    assert list(table.charge_power.budget()["influence"]) == ["charge power over printed capacity"]
    assert list(table.taper_from.budget()["influence"]) == ["taper from"]
    assert printed(pack="1 kWh", packs_max=1).with_packs(1).charge_power.value == printed().charge_power.value


@pytest.mark.parametrize(
    ("told", "says"),
    [({"charge_power": "0 W"}, "above zero"), ({"charge_power": 300}, 'charge_power="300 W"'),
     ({"taper_from": "120 %"}, "between 0 and 1")],
)  # fmt: skip
def test_a_charger_that_can_t_be_is_refused(told: dict[str, Any], says: str) -> None:
    with pytest.raises(Refusal, match=says):
        printed(**told)


# -- loads and losses ----------------------------------------------------------------------------------------------


def test_a_cycling_load_takes_more_than_its_mean() -> None:
    mean = UNIT.inverter.battery_power("40 W").value
    cycling = UNIT.inverter.battery_power(Load.cycling("80 W", "50 %")).value
    assert (cycling - mean).magnitude == pytest.approx(0.02 * 40**2 / 800)


def test_two_cycling_loads_add_their_variances() -> None:
    one, two = Load.cycling("80 W", "50 %"), Load.cycling("20 W", "25 %")
    assert (one + two).variance_w2 == pytest.approx(40**2 + 20**2 * 0.25 * 0.75)
    assert (one + two).mean_power.value.magnitude == pytest.approx(45)
    assert (one + two).peak == Q_(100, "W")


def test_an_efficiency_needs_its_load() -> None:
    with pytest.raises(Refusal, match="charged twice"):
        Inverter.from_efficiency("9 W", "88 %", None, "800 W")


def test_an_efficiency_must_leave_room_for_the_standby() -> None:
    with pytest.raises(Refusal, match="room for the standby"):
        Inverter.from_efficiency("15 W", "90 %", "100 W", "800 W")


def test_packs_add_capacity_and_nothing_else() -> None:
    bigger = UNIT.with_packs(2)
    assert bigger.printed.magnitude == pytest.approx(2400)
    assert bigger.inverter == UNIT.inverter
    assert bigger.label == "mine with 2 packs"
    assert UNIT.with_packs(1).with_packs(1) == bigger
    with pytest.raises(Refusal, match="at most 2 more"):
        UNIT.with_packs(3)
    with pytest.raises(Refusal, match="at most 1 more"):
        UNIT.with_packs(1).with_packs(2)
    with pytest.raises(Refusal, match="whole number"):
        UNIT.with_packs(-1)


def test_another_standby_leaves_the_conversion_loss() -> None:
    load = Load.steady("50 W")
    other = UNIT.with_standby("30 W")
    assert other.inverter.conversion_loss(load).value == UNIT.inverter.conversion_loss(load).value
    assert other.inverter.battery_power(load).value - UNIT.inverter.battery_power(load).value == Q_(21, "W")


@pytest.mark.parametrize(
    ("capacity", "chemistry", "says"),
    [
        ("100 Ah", "iron phosphate", "without a voltage"),
        ("0 Wh", "iron phosphate", "above zero"),
        ("1 kWh", "salt", "one of"),
    ],
)
def test_a_box_that_says_too_little_is_refused(capacity: str, chemistry: str, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        printed(capacity=capacity, chemistry=chemistry)


def test_the_next_outage_is_less_certain_than_the_mean() -> None:
    load = Load.cycling(Estimate.standard("80 W", "1 W", "gain"), "40 %", "fridge", day_spread="60 Wh")
    day, week = load.energy_over("24 h"), load.energy_over("7 days")
    assert day.u.magnitude == pytest.approx((9.6**2 + 60**2) ** 0.5)
    assert (week.u / week.value).magnitude < (day.u / day.value).magnitude


def test_a_day_s_spread_is_one_influence_whatever_its_load_is_called() -> None:
    """Renamed, made for a voltage, given a peak or a room, it is the same appliance on the same days."""
    fridge = Load.cycling("80 W", "40 %", "fridge", day_spread="60 Wh")
    same = [fridge.named("kitchen"), fridge.made_for("230 V"), fridge.with_peak("90 W"), fridge.in_a_room_of("20 degC"),
            in_room(fridge, measured_at="20 degC", room="20 degC")]  # fmt: skip
    for other in same:
        assert other.energy_over("24 h").correlation(fridge.energy_over("24 h")) == pytest.approx(1)
    twin = Load.cycling("80 W", "40 %", "fridge", day_spread="60 Wh")
    assert twin.energy_over("24 h").correlation(fridge.energy_over("24 h")) == 0


def test_only_what_a_motor_runs_has_one() -> None:
    assert Load.cycling("80 W", "40 %").appliances[0].motor == Q_(80, "W")
    assert Load.cycling("80 W", "40 %", motor=False).appliances[0].motor is None
    assert Load.steady("80 W").appliances[0].motor is None


def test_loads_refuse_what_is_none() -> None:
    with pytest.raises(Refusal, match="zero or more"):
        Load.steady("-3 W")
    with pytest.raises(Refusal, match="a load"):
        Load.steady("3 W") + "5 W"  # type: ignore[operator]
    with pytest.raises(Refusal, match="duty"):
        Load.cycling("80 W", 40)


@pytest.mark.parametrize("standby", ["-3 W", Estimate.standard("-3 W", "1 W", "x")])
def test_a_standby_below_nothing_is_refused(standby: object) -> None:
    with pytest.raises(Refusal, match="zero or more"):
        UNIT.with_standby(standby)
    with pytest.raises(Refusal, match="zero or more"):
        Inverter.from_efficiency(standby, "88 %", "300 W", "800 W")


def test_an_efficiency_of_nothing_is_refused() -> None:
    with pytest.raises(Refusal, match="above zero"):
        Inverter.from_efficiency("3 W", 0, "300 W", "800 W")


def test_a_fit_that_lies_on_its_bound_has_scatter() -> None:
    """The middle point bends the wrong way: k2 is held at zero, and three points leave one degree of freedom."""
    fitted = Inverter.fit([("0 W", "10 W"), ("100 W", "130 W"), ("200 W", "215 W")], rated="500 W")
    assert fitted.k2.value.magnitude == 0
    assert fitted.standby.u.magnitude > 0
    assert fitted.standby.dof == pytest.approx(1)


def test_nameplate() -> None:
    assert apparent_power("230 V", "0.5 A") == Q_(115, "VA")
    assert label_power("87.6 kWh/year") == Q_(10, "W")
    with pytest.raises(Refusal):
        label_power("300 W")


@given(st.floats(0, 800), st.floats(0, 800), st.floats(0, 40))
def test_more_load_or_more_standby_never_takes_less(one: float, two: float, standby: float) -> None:
    low, high = sorted((one, two))
    inverter = UNIT.with_standby(Q_(standby, "W")).inverter
    assert inverter.battery_power(Q_(low, "W")).value <= inverter.battery_power(Q_(high, "W")).value
    assert inverter.battery_power(Q_(low, "W")).value.magnitude >= low + standby
