"""The two routes: one truth gives both the same answer, and each takes its own losses once."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridethrough.answer.compare import compare
from ridethrough.answer.ledger import Ledger, ledger
from ridethrough.answer.outage import Outage
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import RundownLine, fit_rundowns
from ridethrough.measure.meter import Meter
from ridethrough.model.inverter import Inverter, Ratings
from ridethrough.model.load import Load
from ridethrough.model.recharge import Recharge
from ridethrough.model.unit import BackupUnit
from ridethrough.sampling import Sampler
from ridethrough.units import Q_, Refusal

HEATER = ("14 W", "-2 degC")


def account(unit: BackupUnit, load: Load, start: Any = "100 %", at: Any = None, **told: Any) -> Ledger:
    return ledger(load, unit, Outage("5 h", start=start, unit_at=at, **told), draws=2)


def usable_wh(unit: BackupUnit, start: Any = "100 %", at: Any = None) -> float:
    return account(unit, Load.steady("60 W"), start, at).available.magnitude


def hours(unit: BackupUnit, load: Load, start: Any = "100 %", at: Any = None) -> float:
    return account(unit, load, start, at).lasts.magnitude


def losses(of: Ledger) -> dict[str, float]:
    """Return the lines by what stands before their first comma [Wh]."""
    return {line.label.split(",")[0]: line.energy.magnitude for line in of.lines}


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
        runs.append((load, (Q_(usable_wh(unit), "Wh") / drain.value).to("h")))
    return fit_rundowns(runs, room=room, rate_exponent="1.0", rated="80 MW")


def k1(unit: BackupUnit) -> float:
    return float(unit.inverter.k1.value.magnitude)


def measured(unit: BackupUnit, heater_w: float | None = None, room: str | None = "25 degC") -> BackupUnit:
    heater = None if heater_w is None else (Q_(heater_w / (1 + k1(unit)), "W"), HEATER[1])
    return BackupUnit.from_rundowns("mine", rundowns(unit, room), printed="1 kWh", rated="80 MW", heater=heater,
                                    pack="600 Wh", packs_max=3, k1=unit.inverter.k1)  # fmt: skip


def lossless(chemistry: str, **told: Any) -> BackupUnit:
    """Return a unit that asks of its battery what it gives, so that rates are easily reckoned."""
    even = Inverter.fit([(power, power) for power in ("0 W", "100 W", "200 W")], rated="1 kW")
    return printed(chemistry=chemistry, inverter=even, standby=None, efficiency=None, at=None, **told)


LOAD = Load.steady("60 W")
PRINTED, HEATED = printed(), printed(heater=HEATER)
MEASURED, MEASURED_HEATED = measured(PRINTED), measured(PRINTED, 14)
STEEP = fit_rundowns([("0 W", "60 h"), ("75 W", "9 h")], room="20 degC", rate_exponent="1.1")


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
    assert one == pytest.approx(two, rel=1e-4)


def test_the_two_stand_on_their_own_sides() -> None:
    battery, outlet = usable_wh(PRINTED, "70 %", "-10 degC"), usable_wh(MEASURED, "70 %", "-10 degC")
    assert battery == pytest.approx(1000 * 0.95 * (0.7 - 0.16))
    assert outlet == pytest.approx(battery / (1 + k1(PRINTED)), rel=1e-4)


def test_run_downs_in_a_cold_room_are_lifted_from_there() -> None:
    """A line for 0 degC holds 0.92 of the line for 25 degC; at 25 degC the unit gives that much more again."""
    cold = BackupUnit.from_rundowns("mine", rundowns(PRINTED, "0 degC"), printed="1 kWh", rated="1 kW")
    assert usable_wh(cold, at="25 degC") == pytest.approx(usable_wh(cold) / 0.92)
    assert usable_wh(cold, at="-10 degC") == pytest.approx(usable_wh(cold) * 0.84 / 0.92)


def test_health_is_over_the_print_or_over_the_tests() -> None:
    for unit, label in ((PRINTED, "90 % health"), (MEASURED, "90 % health since the tests")):
        whole, worn = (account(unit.with_health(health), LOAD) for health in ("100 %", "90 %"))
        assert losses(worn)[label] < 0
        assert not [name for name in losses(whole) if "health" in name]
        assert worn.available.magnitude == pytest.approx(0.9 * whole.available.magnitude)


# -- cold, warmth, and the charge at the start ---------------------------------------------------------------


def test_cold_raises_the_empty_limit() -> None:
    """It keeps back its share of a full unit: what it takes does not depend on the charge, while that is there."""
    full, partly, little = (losses(account(PRINTED, LOAD, start, "-10 degC")) for start in ("100 %", "50 %", "10 %"))
    label = "cells at -10 °C: 84 %"
    assert full[label] == pytest.approx(-950 * 0.16)
    assert partly[label] == pytest.approx(-950 * 0.16)
    assert little[label] == pytest.approx(-950 * 0.1)  # no more than there is
    assert little["usable"] == pytest.approx(0, abs=1e-9)


def test_warmth_makes_each_charge_last_longer() -> None:
    """At 45 degC a battery gives 1.02 of what it gives at 25, full or half full."""
    for start in ("100 %", "50 %"):
        assert usable_wh(PRINTED, start, "45 degC") == pytest.approx(1.02 * usable_wh(PRINTED, start))


@pytest.mark.parametrize("cells", [None, "25 degC", "77 degF"])
def test_what_changes_nothing_has_no_line(cells: str | None) -> None:
    known = printed(capacity=Estimate.exact("1 kWh"), depth_of_discharge="100 %")
    assert [line.label for line in account(known, LOAD, at=cells).lines][:2] == ["printed on the box", "usable"]


# -- rate ----------------------------------------------------------------------------------------------------


def given_up(unit: BackupUnit, load: Load) -> float:
    """Return what a discharge gives up by being fast, over what it gives [-]."""
    found = ledger(load, unit, "1 h", draws=2)
    return -losses(found).get("rate of the discharge", 0.0) / found.needed.magnitude


@pytest.mark.parametrize(
    ("chemistry", "rating_w", "k"), [("iron phosphate", 200, 1.06), ("sealed lead-acid", 50, 1.12)]
)
def test_above_the_rating_the_rate_exponent_takes_its_share(chemistry: str, rating_w: float, k: float) -> None:
    """1 kWh rated at 5 or 20 hours: nothing at its rating, and at 1.5 times that 1.5^(k - 1) - 1 of what it gives."""
    unit = lossless(chemistry)
    assert given_up(unit, Load.steady(Q_(rating_w, "W"))) == 0
    assert given_up(unit, Load.steady(Q_(1.5 * rating_w, "W"))) == pytest.approx(1.5 ** (k - 1) - 1)


def test_a_load_on_half_the_time_drains_as_fast_as_it_runs() -> None:
    """150 W on average from 300 W: what runs lies above the rating of 200 W, the mean does not."""
    unit = lossless("iron phosphate")
    assert given_up(unit, Load.steady("150 W")) == 0
    assert given_up(unit, Load.cycling("300 W", "50 %")) == pytest.approx(1.5**0.06 - 1)


def test_own_rating_hours_move_the_rating() -> None:
    ten = lossless("flooded lead-acid", rating_hours="10 h")
    assert given_up(ten, Load.steady("100 W")) == 0
    assert given_up(ten, Load.steady("150 W")) == pytest.approx(1.5**0.12 - 1)


def test_a_measured_unit_s_rate_is_a_ratio_to_its_tests() -> None:
    """k = 1.1 about a run as long as the reference: slower gives more than the line's energy, faster less."""
    unit = BackupUnit.from_rundowns("mine", STEEP, printed="1 kWh", rated="1 kW")
    energy_wh, tests_h = STEEP.energy.value.m_as("Wh"), STEEP.reference.m_as("h")
    for power_w in (20.0, 200.0):
        load, drain_w = Q_(power_w, "W"), power_w + STEEP.standby.value.m_as("W")
        expected = energy_wh / drain_w * (drain_w / (energy_wh / tests_h)) ** -0.1
        assert hours(unit, Load.steady(load)) == pytest.approx(expected)
        assert STEEP.hours(load).value.m_as("h") == pytest.approx(expected)


def test_no_draw_has_a_fast_discharge_give_more() -> None:
    """An exponent of 1.02, give or take 0.1: what lies below 1 counts nowhere."""
    steep = Estimate.standard("102 %", "5 %", "own runs").to("1")
    line = fit_rundowns([("0 W", "55 h"), ("60 W", "11 h")], room="25 degC", rate_exponent=steep)
    unit, sampler = BackupUnit.from_rundowns("mine", line, printed="1 kWh", rated="1 kW"), Sampler(500, seed=1)
    drawn = unit.route.rate(sampler.of, 1000.0).exponent
    assert drawn.min() < 1.01
    assert drawn[sampler.within].min() >= 1
    assert not sampler.within.all()


def test_a_pack_of_a_measured_unit_gives_as_measured_and_at_a_lower_rate_more() -> None:
    """Twice the battery at the same drain is half the rate for each: 2^0.1 more from k = 1.1, nothing from k = 1."""
    load = Load.steady("200 W")
    for line, more in ((STEEP, 2**0.1), (MEASURED.route.line, 1)):  # type: ignore[union-attr]
        unit = BackupUnit.from_rundowns("mine", line, printed="1 kWh", rated="1 kW", pack="1 kWh", packs_max=1)
        assert usable_wh(unit.with_packs(1)) == pytest.approx(2 * usable_wh(unit))
        assert hours(unit.with_packs(1), load) == pytest.approx(2 * more * hours(unit, load))


# -- recharge ------------------------------------------------------------------------------------------------


def test_recharge_counts_less_on_the_outlet_s_side() -> None:
    """Of 50 W into the battery 1 / (1 + k1) comes out at the outlet again."""
    sun = Recharge.series([50] * 5, efficiency="100 %")
    battery, outlet = (losses(account(unit, LOAD, "50 %", recharge=sun))["recharge that came"]
                       for unit in (PRINTED, MEASURED))  # fmt: skip
    assert battery == pytest.approx(250)
    assert outlet == pytest.approx(250 / (1 + k1(PRINTED)))


def test_recharge_at_the_outlet_needs_the_inverter_s_loss() -> None:
    bare = BackupUnit.from_rundowns("mine", STEEP, printed="1 kWh", rated="1 kW")
    sun = Recharge.series([50] * 5)
    with pytest.raises(Refusal, match=r'from_rundowns\(..., k1="8 %"\)'):
        account(bare, LOAD, recharge=sun)
    account(BackupUnit.from_rundowns("mine", STEEP, printed="1 kWh", rated="1 kW", k1="8 %"), LOAD, recharge=sun)
    account(bare, LOAD)


def test_a_charge_counts_at_the_rating_on_both_routes() -> None:
    """Lead-acid, run down in 1 to 2 h and rated at 20 h: what was charged by the sun lasts alike on both routes."""
    unit = printed(chemistry="sealed lead-acid")
    k = str(unit.route.rate_exponent.value.magnitude)
    runs = [(Q_(power_w, "W"), hours(unit, Load.steady(Q_(power_w, "W")))) for power_w in (150.0, 250.0, 400.0)]
    line = fit_rundowns([(power, Q_(ran_h, "h")) for power, ran_h in runs], room="25 degC", rate_exponent=k,
                        chemistry="sealed lead-acid", rated="80 MW", repeatability="0.1 %")  # fmt: skip
    own = BackupUnit.from_rundowns("mine", line, printed="1 kWh", rated="80 MW", k1=unit.inverter.k1)
    sun = Recharge.series([120] * 5 + [0] * 45, efficiency="100 %")
    for power in ("40 W", "60 W"):
        told, measured_so = (ledger(Load.steady(power), each, Outage("50 h", start="30 %", recharge=sun), draws=2)
                             for each in (unit, own))  # fmt: skip
        assert 5 < measured_so.lasts.magnitude == pytest.approx(told.lasts.magnitude, rel=1e-6)


# -- a loss curve as meters read it --------------------------------------------------------------------------

READ = [("0 W", "10 W"), ("100 W", "120.5 W"), ("200 W", "232 W"), ("400 W", "458 W")]  # 10 W, 10 % and 2.5 %


def test_two_meters_differ_and_one_meter_only_scales() -> None:
    """Of one meter the gain is in P_0 and cancels in k1; of two the loss takes the difference of large readings."""
    one, gain = Meter("1 %"), 0.01 / math.sqrt(3)
    exact, shared, apart = (Inverter.fit(READ, "500 W", meter=meter) for meter in (None, one, (one, Meter("1 %"))))
    assert exact.k1.u.magnitude == pytest.approx(0, abs=1e-9)
    assert shared.standby.u.m_as("W") == pytest.approx(10 * gain, rel=1e-6)
    assert shared.standby.correlation(one.gain * 1.0) == pytest.approx(1)
    assert shared.k1.u.magnitude == pytest.approx(0, abs=1e-9)
    assert apart.k1.u.magnitude == pytest.approx(1.1 * math.sqrt(2) * gain, rel=1e-6)


def test_the_fit_with_meters_is_that_of_a_monte_carlo_run() -> None:
    """By NumPy's least squares, gain, offset and last digit of two meters drawn anew."""
    meters = (Meter("1 % + 0.5 W", power_step="0.2 W"), Meter("2 %", power_step="1 W"))
    rng, out_w, into_w, found = np.random.default_rng(5), np.array([0.0, 100, 200, 400]), [10, 120.5, 232, 458], []
    for _ in range(10_000):
        gain, offset_w, other = rng.uniform(0.99, 1.01), rng.uniform(-0.5, 0.5), rng.uniform(0.98, 1.02)
        true_w = np.where(out_w > 0, gain * out_w + offset_w + rng.uniform(-0.1, 0.1, 4), 0)
        loss_w = other * np.array(into_w) + rng.uniform(-0.5, 0.5, 4) - true_w
        found.append(np.linalg.lstsq(np.column_stack([np.ones(4), true_w, true_w**2 / 500]), loss_w)[0])
    fitted = Inverter.fit(READ, "500 W", meter=meters)
    ours = [float(part.u.magnitude) for part in (fitted.standby, fitted.k1, fitted.k2)]
    assert ours == pytest.approx(np.std(found, axis=0), rel=0.03)


# -- the heater ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("unit", [HEATED, MEASURED_HEATED], ids=["printed", "measured"])
@pytest.mark.parametrize(("at", "on"), [(None, False), ("5 degC", False), ("-2 degC", False), ("-2.1 degC", True)])
def test_the_heater_is_on_below_its_temperature(unit: BackupUnit, at: str | None, on: bool) -> None:
    found, heater = losses(account(unit, LOAD, at=at)), unit.route.heater
    assert heater is not None
    assert ("battery heater" in found) == on
    if on:
        assert found["battery heater"] == pytest.approx(-5 * float(heater.power.value.magnitude))


@pytest.mark.parametrize("unit", [HEATED, MEASURED_HEATED], ids=["printed", "measured"])
def test_it_keeps_the_cells_at_its_temperature(unit: BackupUnit) -> None:
    """The cells stay at -2 degC however cold the room, even below the table; its mean power is taken as stated."""
    assert usable_wh(unit, at="-15 degC") == pytest.approx(usable_wh(unit, at="-2 degC"))
    assert hours(unit, LOAD, at="-40 degC") == pytest.approx(hours(unit, LOAD, at="-3 degC"))
    assert hours(unit, LOAD, at="-3 degC") < hours(unit, LOAD, at="-2 degC")


def test_a_heater_that_was_on_in_the_tests_is_in_their_standby() -> None:
    """Run down at -5 degC with its heater on, the unit stands no worse there, and gains the heater where it is off."""
    line = fit_rundowns([("0 W", "30 h"), ("60 W", "9 h")], room="-5 degC", rate_exponent="1.0")
    unit = BackupUnit.from_rundowns("mine", line, printed="1 kWh", rated="1 kW", heater=HEATER)
    cold, mild = (losses(account(unit, LOAD, at=at)) for at in ("-20 degC", "5 degC"))
    assert "battery heater" not in cold
    assert mild["no battery heater"] == pytest.approx(5 * 14)
    assert cold["usable"] == pytest.approx(line.energy.value.m_as("Wh"))
    assert hours(unit, LOAD, at="-5 degC") == pytest.approx(line.hours("60 W").value.m_as("h"))


def test_a_heater_pays_on_a_heavy_load_and_costs_on_a_light_one() -> None:
    """At -20 degC 0.65 is left without it; kept at 5 degC 0.936, and 12 W more than the 9 W of standby to carry."""
    bare, heated = printed(), printed(heater=("12 W", "5 degC"))
    light, heavy = ([hours(unit, Load.steady(load), at="-20 degC") for unit in (bare, heated)]
                    for load in ("2 W", "150 W"))  # fmt: skip
    assert light[1] < 0.75 * light[0]
    assert heavy[1] > 1.3 * heavy[0]


def test_the_heater_drains_faster_too() -> None:
    """Above the rating of 200 W its power counts for the rate: 195 W of drain and 60 W."""
    unit, load = printed(heater=("60 W", "-2 degC")), Load.steady("165 W")
    for at, over in (("-2 degC", False), ("-3 degC", True)):
        assert ("rate of the discharge" in losses(account(unit, load, at=at))) == over


# -- refused -------------------------------------------------------------------------------------------------

NO_ROOM = measured(PRINTED, room=None)


def test_following_the_refusal_works() -> None:
    with pytest.raises(Refusal, match=r'fit_rundowns.*room="20 degC"') as refused:
        account(NO_ROOM, LOAD, at="2 degC")
    assert "leave unit_at out" in refused.value.remedy
    account(NO_ROOM, LOAD)
    account(MEASURED, LOAD, at="2 degC")


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: printed(heater="14 W"), 'heater=("'),
        (lambda: printed(capacity=1200), 'capacity="1200 Wh"'),
        (lambda: printed(capacity="1200"), 'capacity="1200 Wh"'),
        (lambda: printed(capacity="1.05 Wh"), "Wh and kWh are a factor of 1000 apart"),
        (lambda: printed(pack="1200 kWh"), "pack=1,200,000.00 Wh"),
        (lambda: printed(rated=Ratings.of("1500 W", surge="900 W")), "surge=900 W beside rated=1,500 W"),
        (lambda: printed(packs_max="2"), "packs_max=1"),
        (lambda: printed().with_packs(True), "count=1"),
        (lambda: Inverter.fit(READ, "500 W", meter="1 %"), "meter=Meter('1 %')"),
        (lambda: Inverter.fit([5, 6, 7], "500 W"), "pairs of powers"),  # type: ignore[list-item]
        (lambda: Outage("5 h", room="68 degC"), "degC and degF are easily taken for each other"),
        (lambda: Outage("5"), 'duration="5 h"'),
        (lambda: compare(LOAD, {"mine": PRINTED}, "1 day"), 'outages=["1 day"]'),
        (lambda: compare(LOAD, {}, ["1 day"]), "units={}"),
        (lambda: Estimate.within("1 W", "0.1 W", "any").interval("95 %"), "coverage=0.95"),  # type: ignore[arg-type]
        (lambda: Meter(1), "accuracy=1"),  # type: ignore[arg-type]
        (lambda: printed(heater=("14 W",)), 'heater=("'),
        (lambda: printed(heater=("-2 degC", "14 W")), "heater"),
        (lambda: printed(heater=(14, "-2 degC")), 'heater="14 W"'),
        (lambda: printed(heater=("14 W", 0)), 'heater="0 degC"'),
        (lambda: printed(heater=("-14 W", "0 degC")), "zero or more"),
        (lambda: measured(PRINTED).with_health("110 %"), 'health="90 %"'),
        (lambda: printed(chemistry="salt"), "iron phosphate"),
        (lambda: printed(capacity="80 Ah"), 'capacity="80 Ah", volts="12.8 V"'),
        (lambda: account(PRINTED, LOAD, "100 %", "-21 degC"), 'unit_at="5 degC"'),
        (lambda: account(MEASURED, LOAD, "100 %", "46 degC"), 'unit_at="5 degC"'),
        (lambda: account(PRINTED, LOAD, "100 %", 2), 'unit_at="2 degC"'),
    ],
)
def test_refused_with_the_line_to_type(call: Callable[[], Any], says: str) -> None:
    with pytest.raises(Refusal) as refused:
        call()
    assert says in str(refused.value)


def test_both_routes_are_there() -> None:
    assert (PRINTED.route.side, MEASURED.route.side) == ("battery", "outlet")
