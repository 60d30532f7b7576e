"""The ledger: its lines sum draw by draw, each moves with its own cause, and nothing counts twice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridethrough.answer.ledger import Ledger, ledger
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import ride
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import fit_rundowns
from ridethrough.measure.meter import Meter
from ridethrough.model.battery import CHEMISTRIES
from ridethrough.model.load import Load
from ridethrough.model.recharge import Recharge
from ridethrough.model.temperature import TemperatureCurve
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal

METER = Meter("1 % + 0.5 W", power_step="0.1 W")
RUNS = [("0 W", "58 h"), ("55 W", "12.4 h"), ("240 W", "3.5 h")]
RUNS_AT = "16 degC"


def printed(capacity: float = 1000, standby: float = 9, **told: Any) -> BackupUnit:
    return BackupUnit.from_print("mine", **{
        "capacity": Q_(capacity, "Wh"), "chemistry": "iron phosphate", "standby": Q_(standby, "W"), "rated": "800 W",
        "efficiency": "88 %", "at": "300 W", "pack": "700 Wh", "packs_max": 3, "pack_standby": "1 W",
    } | told)  # fmt: skip


@cache
def curve(chemistry: str) -> TemperatureCurve:
    return TemperatureCurve.from_runs(chemistry, ("22 degC", "10 h"), ("2 degC", "8.4 h"))


def measured(chemistry: Any = "iron phosphate", *, runs: Any = RUNS, room: Any = RUNS_AT, k: Any = None,
             idling: Any = None, **told: Any) -> BackupUnit:  # fmt: skip
    line = fit_rundowns(runs, meter=METER, room=room, chemistry=chemistry, rate_exponent=k, idling=idling)
    return BackupUnit.from_rundowns("mine", line, **{"printed": "1 kWh", "rated": "800 W", "pack": "700 Wh",
                                                     "packs_max": 3, "k1": "8 %"} | told)  # fmt: skip


def wh(account: Ledger, label: str) -> float:
    """Return the energy of the line whose label begins so."""
    return next(line.energy.magnitude for line in account.lines if line.label.startswith(label))


def labels(account: Ledger) -> list[str]:
    return [line.label for line in account.lines]


# --- It sums ------------------------------------------------------------------------------------------

units = st.one_of(
    st.builds(lambda capacity, standby, chemistry, packs, heater: printed(capacity, standby, chemistry=chemistry,
              heater=heater).with_packs(packs), st.floats(50, 20_000), st.floats(0, 20), st.sampled_from(CHEMISTRIES),
              st.integers(0, 3), st.sampled_from([None, ("22 W", "3 degC")])),
    st.builds(lambda chemistry, own, packs, k: measured(curve(chemistry) if own else chemistry, k=k).with_packs(packs),
              st.sampled_from(CHEMISTRIES), st.booleans(), st.integers(0, 3), st.sampled_from([None, "1.02 to 1.12"])),
)  # fmt: skip
loads = st.builds(
    lambda steady, running, duty, room: Load.steady(METER.gain * Q_(steady, "W"), "router")
    + Load.cycling(Q_(running, "W"), duty, "fridge", day_spread="40 Wh").in_a_room_of(room)
    + Load.daily([("18:00", "22:30", "60 W")], "lights"),
    st.floats(5, 300), st.floats(60, 400), st.floats(0.3, 1), st.sampled_from(["20 degC", "24 degC"]),
)  # fmt: skip
outages = st.builds(
    lambda hours, start, reserve, room, at, source: Outage(
        Q_(hours, "h"), start=start, reserve=Q_(reserve, "Wh"), room=room, unit_at=at, begins="17:20", recharge=source),
    st.floats(0.5, 60), st.floats(0, 1), st.just(0.0) | st.floats(0, 900),
    st.sampled_from([None, "12 degC", "31 degC"]),
    st.sampled_from([None, "-9 degC", "3 degC", "34 degC"]),
    st.sampled_from([(), Recharge.mains([("2 h", "4 h")], power="300 W"),
                     Recharge.daily([("7:00", "18:00", "150 W")], factor=Estimate.within("100 %", "30 %", "weather"))]),
)  # fmt: skip


@given(units, loads, outages)
@settings(max_examples=40)
def test_the_lines_sum_to_what_is_left_draw_by_draw(unit: BackupUnit, load: Load, outage: Outage) -> None:
    account = ledger(load, unit, outage, draws=20)
    first, *rest = account.lines
    moved = sum(np.abs(line.energy.rows) for line in account.lines)
    total = first.energy.rows + sum(line.energy.rows for line in rest if line.kind != "total")
    np.testing.assert_array_less(np.abs(total - rest[-1].energy.rows), 1e-9 * moved + 1e-9)
    supply = first.energy.rows + sum(line.energy.rows for line in rest if line.kind == "battery")
    np.testing.assert_array_less(np.abs(supply - account.available.rows), 1e-9 * moved + 1e-9)
    assert account.rows["energy (Wh)"].tolist() == [line.energy.magnitude for line in account.lines]
    assert (account.available.rows[account.case.sampler.within] >= 0).all()


def test_by_hand() -> None:
    """1000 Wh x 90 % x 50 % = 450 Wh; 10 h of 20 W + 9 W standby + k1 20 W + k2 400/800 W."""
    account = ledger(Load.steady("20 W"), printed(chemistry="sealed lead-acid"), Outage("10 h", start="90 %"))
    k1 = 1 / 0.88 - 1 - 9 / 300 - 0.02 * 300 / 800
    needs = 10 * (20 + 9 + 20 * k1 + 0.02 * 400 / 800)
    assert account.available.magnitude == pytest.approx(450)
    assert account.needed.magnitude == pytest.approx(needs)
    assert account.left.magnitude == pytest.approx(450 - needs)
    assert account.lasts.magnitude == pytest.approx(10 * 450 / needs)


def test_by_hand_at_the_outlet() -> None:
    """E and S of the line alone: nothing of depth of discharge or conversion is charged again."""
    unit = measured()
    energy, standby = (float(each.value.magnitude) for each in (unit.route.line.energy, unit.standby))
    account = ledger(Load.steady("30 W"), unit, Outage("10 h", start="90 %"))
    assert account.left.magnitude == pytest.approx(0.9 * energy - 10 * (30 + standby))
    assert set(account.rows["side"]) == {"outlet"}
    assert not {"conversion", "depth"} & {label.split()[0] for label in labels(account)}
    with pytest.raises(Refusal, match="count it twice"):
        _ = unit.inverter
    assert ledger(Load.steady("30 W"), unit.with_packs(1), "10 h").available.magnitude == pytest.approx(1.7 * energy)


def test_by_hand_in_a_cold_store_and_in_a_heat_wave() -> None:
    """A chest freezer of 50 W takes exp(-0.04 x 20) of it 20 K colder, where cells keep 92 %; a refrigerator of 32 W
    exp(0.055 x 10) of it 10 K warmer."""
    freezer = Load.steady("50 W", "chest").in_a_room_of("20 degC", "freezer")
    fridge = Load.cycling("80 W", "40 %", "fridge").in_a_room_of("20 degC")
    cold = ledger(freezer, printed(), Outage("10 h", room="0 degC", unit_at="0 degC"))
    assert cold.available.magnitude == pytest.approx(950 * 0.92)
    assert -wh(cold, "chest") == pytest.approx(500 * np.exp(-0.8))
    assert -wh(ledger(fridge, measured(), Outage("10 h", room="30 degC")), "fridge") == pytest.approx(
        320 * np.exp(0.55)
    )


def test_a_room_by_the_hour_is_its_temperature_and_its_mean_where_that_is_all() -> None:
    load = Load.steady("40 W", "chest").in_a_room_of("6 degC", "freezer") + Load.steady("6 W", "router")
    one, many = (ledger(load, printed(), Outage("30 h", room=room)) for room in ("-3 degC", ["-3 degC"] * 30))
    assert many.left.magnitude == pytest.approx(one.left.magnitude)
    falling = [f"{celsius} degC" for celsius in np.linspace(14, -9, 30)]
    asks = 40 * np.exp(0.04 * (np.linspace(14, -9, 30) - 6)).sum()
    assert -wh(ledger(load, printed(), Outage("30 h", room=falling)), "chest") == pytest.approx(asks)


def test_a_heater_and_a_fast_discharge_have_lines() -> None:
    """12 W for 9 h, and above 200 W, the rating of 1 kWh in 5 h, what (P/200)^0.06 takes more."""
    assert wh(ledger(Load.steady("30 W"), printed(heater=("12 W", "0 degC")), Outage("9 h", unit_at="-5 degC")),
              "battery heater") == pytest.approx(-108)  # fmt: skip
    account = ledger(Load.steady("400 W"), printed(), "1 h")
    asked = account.needed.magnitude
    assert wh(account, "rate of the discharge") == pytest.approx(asked * (1 - (asked / 200) ** 0.06))
    assert not any(label.startswith("rate") for label in labels(ledger(Load.steady("100 W"), printed(), "1 h")))


def test_recharge_has_lines() -> None:
    """200 W x 88 % into a full battery of which 3 h took something: what came, what found no room, what was lost."""
    account = ledger(Load.steady("50 W"), printed(), Outage("9 h", recharge=Recharge.series([0, 0, 0, *[200] * 6])))
    came, spilled, lost = (wh(account, label) for label in ("recharge that came", "without room", "charge loss"))
    assert came == pytest.approx(1200)
    assert spilled == -account.wasted.magnitude < -300
    assert lost == pytest.approx(-0.12 / 0.88 * account.walk.state.stored[0])


# --- Each line moves with its own cause -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("worse", "label"),
    [
        ({"standby": 20}, "standby"), ({"efficiency": "84 %"}, "conversion loss"), ({"health": "90 %"}, "90 % health"),
        ({"chemistry": "sealed lead-acid"}, "depth of discharge"),
    ],
)  # fmt: skip
def test_more_of_a_loss_is_in_its_line_and_lasts_less_long(worse: dict[str, Any], label: str) -> None:
    good, bad = (ledger(Load.steady("30 W"), printed(**told), "9 h") for told in ({}, worse))
    assert wh(bad, label) < min(
        [line.energy.magnitude for line in good.lines if line.label.startswith(label)], default=0
    )
    assert bad.left.magnitude < good.left.magnitude
    assert bad.lasts.magnitude < good.lasts.magnitude


def test_rooms_move_their_own_lines_and_no_others() -> None:
    """room= changes the cold appliance's line, and the loss with it; unit_at= adds the battery's."""
    load = Load.steady("40 W", "chest").in_a_room_of("20 degC", "freezer") + Load.steady("6 W", "router")
    for unit, more in ((printed(), {"conversion loss"}), (measured(), set())):
        plain, cool, cold = ({line.label: line.energy.magnitude for line in ledger(load, unit, outage).lines
                              if line.kind != "total"} for outage in (
            Outage("10 h"), Outage("10 h", room="5 degC"), Outage("10 h", unit_at="-5 degC")))  # fmt: skip
        assert {label for label in plain if cool[label] != pytest.approx(plain[label])} == {"chest, 10 h"} | more
        assert {label for label in plain if cold[label] != pytest.approx(plain[label])} == set()
        assert [label for label in cold if label not in plain] == [
            f"cells at -5 °C: {88 if unit.route.side == 'battery' else 91} %"
        ]


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
@pytest.mark.parametrize("own", [False, True], ids=["table", "own"])
@pytest.mark.parametrize("at", [None, RUNS_AT, "60.8 degF"])  # 60.8 degF are 16 degC
def test_a_measured_unit_where_it_was_measured_has_only_what_was_measured(
    chemistry: str, own: bool, at: str | None
) -> None:
    """Run as in its run-downs, no line for cold, depth or conversion, and no doubt of a table's cold."""
    unit = measured(curve(chemistry) if own else chemistry)
    account = ledger(Load.steady("55 W"), unit, Outage("10 h", unit_at=at))
    found = [label.split(",")[0] for label in labels(account) if not label.startswith(("rate", "loss that bends"))]
    assert found == ["printed on the box", "printed to measured at the outlet", "usable", "steady load", "standby",
                     "left over"]  # fmt: skip
    shares = account.shares.set_index("influence")["share"]
    assert shares[shares.index.str.contains("in the cold")].sum() < 0.01


@pytest.mark.parametrize("load", [Load.steady("30 W"), Load.steady("150 W"), Load.steady("600 W")])
def test_the_measured_ledger_lasts_what_the_line_says(load: Load) -> None:
    unit = measured(k="1.02 to 1.12", idling="1.1 to 1.2")
    lasts, says = ledger(load, unit, "1 h", draws=4000).lasts, unit.route.line.hours(load)
    assert lasts.magnitude == pytest.approx(says.value.m_as("h"), rel=1e-6)
    assert lasts.expanded().magnitude == pytest.approx(says.expanded().m_as("h"), rel=0.15)


def test_a_heater_that_ran_in_the_tests_is_not_charged_again() -> None:
    unit = measured(runs=[("0 W", "30 h"), ("100 W", "6.5 h")], room="-8 degC", k="1", heater=("14 W", "0 degC"))
    there = ledger(Load.steady("50 W"), unit, Outage("5 h", unit_at="-8 degC")).lasts
    assert there.magnitude == pytest.approx(unit.route.line.hours("50 W").value.m_as("h"))


@pytest.mark.parametrize("unit", [printed(standby=10), measured(k="1")], ids=["printed", "measured"])
def test_at_low_charge_the_same_cold_leaves_nothing(unit: BackupUnit) -> None:
    """16 % of the full capacity lie below the empty limit of -10 degC: from 12 % nothing comes, from 25 % little."""
    load = Load.steady("20 W")
    cold = {
        start: ledger(load, unit, Outage("5 h", start=start, unit_at="-10 degC")).lasts for start in ("12 %", "25 %")
    }
    warm = ledger(load, unit, Outage("5 h", start="25 %", unit_at="25 degC")).lasts
    assert cold["12 %"].magnitude == 0
    assert 0 < cold["25 %"].magnitude < 0.5 * warm.magnitude
    empty = ledger(load, unit, Outage("12 h", start="0 %", unit_at="35 degC"))
    assert empty.available.magnitude == 0  # a fuller battery is not conjured out of heat


# --- Verdict, words, refusals ---------------------------------------------------------------------------


def test_the_verdict_follows_the_chance_to_last() -> None:
    load = Load.cycling("80 W", "40 %", day_spread="60 Wh")
    found = [ledger(load, printed(capacity), "24 h") for capacity in (950, 1180, 1210, 1600)]
    assert [account.verdict for account in found] == ["short", "tight", "tight", "covered"]
    for account in found:
        assert account.chance == ride(load, account.unit, "24 h").chance
        assert account.verdict == (
            "covered" if account.chance >= 0.9 else "tight" if account.chance >= 0.5 else "short"
        )


def test_a_reserve_is_kept() -> None:
    load = Load.steady("30 W")
    plain, kept = ledger(load, printed(), "12 h"), ledger(load, printed(), Outage("12 h", reserve="450 Wh"))
    assert (plain.verdict, kept.verdict) == ("covered", "short")
    assert plain.left.magnitude - kept.left.magnitude == pytest.approx(450)
    assert "missing" in kept.headline
    assert kept.lasts.magnitude < 12 < plain.lasts.magnitude


def test_it_reads_as_text_and_table() -> None:
    account = ledger(Load.steady("30 W", "router"), printed(), "24 h")
    assert "router, 24 h" in str(account)
    assert account.headline in account._repr_html_()
    assert set(account.rows["basis"]) == {"total", "assumed"}
    assert "depth of discharge, iron phosphate" in set(account.sources()["coefficient"])


def test_facts_of_the_trade() -> None:
    """Common practice, no source: 18 W of standby take another 216 Wh in 12 h, with 650 Wh of load 866 Wh together."""
    account = ledger(Load.steady(Q_(1300 / 24, "W")), printed(standby=18), "12 h")
    assert -wh(account, "standby") == pytest.approx(216)
    assert -wh(account, "steady load") - wh(account, "standby") == pytest.approx(866)


@pytest.mark.parametrize(
    ("chemistry", "at", "warned"),
    [("iron phosphate", "-1 degC", True), ("nickel-manganese-cobalt", "-1 degC", True), ("iron phosphate", None, False),
     ("iron phosphate", "1 degC", False), ("sealed lead-acid", "-10 degC", False)],
)  # fmt: skip
def test_a_battery_too_cold_to_charge_is_told(chemistry: str, at: str | None, warned: bool) -> None:
    for unit in (printed(chemistry=chemistry), measured(chemistry)):
        account = ledger(Load.steady("30 W"), unit, Outage("5 h", unit_at=at))
        assert ("do not charge it below 0 °C" in str(account)) == warned


FRIDGE = Load.cycling("95 W", "40 %", "fridge")
FALLING = [f"{celsius} degC" for celsius in np.linspace(14, -19, 12)]


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: ledger(FRIDGE, printed(), Outage("9 h", room="15 degC")), 'load.in_a_room_of("20 degC")'),
        (lambda: ledger(FRIDGE.in_a_room_of("20 degC"), printed(), Outage("9 h", room="-16 degC")), "a room between"),
        (lambda: ledger(FRIDGE.in_a_room_of("20 degC"), printed(), Outage("12 h", room=FALLING)), "a room between"),
        (lambda: ledger(FRIDGE, measured(room=None), Outage("9 h", unit_at="4 degC")),
         'fit_rundowns(..., room="20 degC")'),
        (lambda: ledger(FRIDGE, printed(), Outage("9 h", unit_at="-25 degC")), 'unit_at="5 degC"'),
        (lambda: ledger(FRIDGE, measured(), Outage("9 h", unit_at="50 degC")), 'unit_at="5 degC"'),
        (lambda: ledger("38 W", printed(), "24 h"), "Load.steady"),  # type: ignore[arg-type]
        (lambda: Outage("24 h", room=FALLING), "Give more hours"),
        (lambda: Outage("24 h", room=[]), "Give more hours"),
        (lambda: Outage("9 h", room=[3, 4] * 9), "degC"),
        (lambda: Outage("9 h", room=4), 'room="4 degC"'),
        (lambda: Outage("9 h", unit_at="4 C"), "degC"),
        (lambda: Outage("9 h", start="105 %"), 'start="90 %"'),
        (lambda: Outage("24 h", start=97), 'start="97 %"'),
        (lambda: Outage("12 h", reserve="-5 Wh"), "zero or more"),
        (lambda: Outage(24), 'duration="24 h"'),
        (lambda: Outage("0 h"), "above zero"),
        (lambda: Outage("24 Wh"), "an energy"),
        (lambda: Outage("9 h", recharge=None), "Recharge.mains"),
        (lambda: FRIDGE.in_a_room_of(20), 'room="20 degC"'),
        (lambda: FRIDGE.in_a_room_of("20 degC", "larder"), 'cabinet="freezer"'),
    ],
)  # fmt: skip
def test_refused_with_the_line_to_type(call: Callable[[], Any], says: str) -> None:
    with pytest.raises(Refusal) as refused:
        call()
    assert says in str(refused.value)


def test_a_refrigerator_measured_where_it_stands_is_taken_as_measured() -> None:
    """Below 10 degC its thermostat may not call, which is said; a draw measured there needs no carrying."""
    there = ledger(FRIDGE.in_a_room_of("7 degC"), printed(), Outage("9 h", room="7 degC"))
    assert there.needed.magnitude == pytest.approx(ledger(FRIDGE, printed(), "9 h").needed.magnitude)
    assert any("below 10 °C the" in caution and "may not run" in caution for caution in there.cautions)
    for mild in (FRIDGE.in_a_room_of("12 degC"), FRIDGE.in_a_room_of("7 degC", "freezer")):
        assert not any("may not run" in caution for caution in ledger(mild, printed(), "9 h").cautions)
    assert any("may not run" in said for said in ledger(FRIDGE.in_a_room_of("20 degC"), printed(),
                                                        Outage("9 h", room=FALLING[:9])).cautions)  # fmt: skip


def test_a_measured_cold_appliance_whose_room_is_not_told_says_so() -> None:
    appliance = FRIDGE.appliances[0]
    untold = Load((replace(appliance, measured=True, motor=Q_(90, "W")),))
    assert any("in a room that is not told" in said for said in ledger(untold, printed(), "9 h").cautions)
    for told in (untold.in_a_room_of("20 degC"), FRIDGE, Load((replace(appliance, measured=True, motor=None),))):
        assert not any("which room" in said for said in ledger(told, printed(), "9 h").cautions)


@pytest.mark.parametrize(
    ("told", "measured"),
    [
        ({}, set()),
        ({"standby": Estimate.standard(Q_(11, "W"), Q_(0.3, "W"), "own meter")}, {"standby"}),
        ({"standby": Estimate.exact("11 W"), "efficiency": Estimate.exact("88 %")}, {"standby", "conversion"}),
        ({"depth_of_discharge": Estimate.standard(Q_(0.93, "1"), Q_(0.01, "1"), "own gauge")}, {"depth"}),
        ({"capacity": Estimate.standard(Q_(990, "Wh"), Q_(9, "Wh"), "own test")}, {"cells"}),
    ],
)
def test_what_was_measured_stays_measured_beside_what_the_sheet_says(told: dict[str, Any], measured: set[str]) -> None:
    sheet = {"capacity": "1 kWh", "chemistry": "iron phosphate", "standby": "11 W", "rated": "900 W",
             "efficiency": "88 %", "at": "300 W"} | told  # fmt: skip
    lines = ledger(FRIDGE, BackupUnit.from_print("u", **sheet), Outage("9 h", start="97 %")).lines
    assert {line.label.split()[0].rstrip(",") for line in lines if line.measured} == measured
    start = Estimate.standard(Q_(0.97, "1"), Q_(0.01, "1"), "gauge")
    lines = ledger(FRIDGE, BackupUnit.from_print("u", **sheet), Outage("9 h", start=start)).lines
    assert {line.label.split()[0].rstrip(",") for line in lines if line.measured} == measured | {"97"}
