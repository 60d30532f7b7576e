"""The ledger in any room, of any unit by either route: it sums, cold and loss never help, and nothing counts twice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ridethrough.answer.ledger import Ledger, ledger
from ridethrough.answer.outage import Outage
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import RundownLine, fit_rundowns
from ridethrough.measure.meter import Meter
from ridethrough.model.battery import CHEMISTRIES
from ridethrough.model.load import Load
from ridethrough.model.temperature import TemperatureCurve
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal

METER = Meter("1 % + 0.5 W", power_step="0.1 W")
RUNS = [("0 W", "58 h"), ("55 W", "12.4 h"), ("240 W", "3.5 h")]
RUNS_AT = "16 degC"
OWN = {
    chemistry: TemperatureCurve.from_runs(chemistry, ("22 degC", "10 h"), ("2 degC", "8.4 h"))
    for chemistry in CHEMISTRIES
}


@cache
def line(chemistry: str = "iron phosphate", own: bool = False, k: str | None = None) -> RundownLine:
    curve: Any = OWN[chemistry] if own else chemistry
    return fit_rundowns(RUNS, meter=METER, room=RUNS_AT, chemistry=curve, rate_exponent=k)


def wh(found: Estimate) -> float:
    return float(found.value.to("Wh").magnitude)


def hours(account: Ledger) -> float:
    return float(account.lasts.value.to("h").magnitude)


# -- what is drawn: any unit, load and outage ----------------------------------------------------------------


@dataclass(frozen=True)
class Case:
    """The numbers of a unit; ``unit()`` makes it, so that one of them can be changed."""

    measured: bool = False
    chemistry: str = "iron phosphate"
    own: bool = False
    k: str | None = None
    capacity: float = 1000
    efficiency: float = 0.88
    standby: float | None = None
    health: float = 1
    heater: tuple[float, float] | None = None
    packs: int = 0
    pack_standby: float | None = None

    def unit(self) -> BackupUnit:
        told: dict[str, Any] = {
            "rated": "800 W", "pack": "700 Wh", "packs_max": 3, "health": self.health,
            "heater": None if self.heater is None else (Q_(self.heater[0], "W"), Q_(self.heater[1], "degC")),
            "pack_standby": None if self.pack_standby is None else Q_(self.pack_standby, "W"),
        }  # fmt: skip
        if self.measured:
            unit = BackupUnit.from_rundowns("mine", line(self.chemistry, self.own, self.k),
                                            printed=Q_(max(self.capacity, 1000), "Wh"), **told)  # fmt: skip
        else:
            unit = BackupUnit.from_print(
                "mine", capacity=Q_(self.capacity, "Wh"), chemistry=self.chemistry, standby="9 W", at="250 W",
                efficiency=self.efficiency, curve=OWN[self.chemistry] if self.own else None, **told,
            )  # fmt: skip
        unit = unit.with_packs(self.packs)
        return unit if self.standby is None else unit.with_standby(Q_(self.standby, "W"))


CASES = st.builds(
    Case, measured=st.booleans(), chemistry=st.sampled_from(CHEMISTRIES), own=st.booleans(),
    k=st.sampled_from([None, "1.0", "1.02 to 1.12"]), capacity=st.floats(50, 20_000), efficiency=st.floats(0.6, 0.95),
    standby=st.none() | st.floats(0, 60), health=st.floats(0, 1),
    heater=st.none() | st.tuples(st.floats(0, 60), st.floats(-10, 10)), packs=st.integers(0, 3),
    pack_standby=st.none() | st.floats(0, 8),
)  # fmt: skip
CELLS = st.floats(-18, 38)  # what every chemistry's table holds
POWER, SHARE = st.floats(0, 400), st.floats(0, 1)


@st.composite
def loads(draw: Any) -> Load:
    """Draw a steady load, a cycling one, cold appliances with their rooms, or several of these."""
    fridge = Load.cycling("95 W", draw(st.floats(0.2, 0.9)), "fridge", day_spread="40 Wh").in_a_room_of("21 degC")
    chest = Load.steady(METER.gain * Q_(draw(st.floats(5, 90)), "W"), "chest").in_a_room_of("18 degC", "freezer")
    kinds = [
        Load.steady(Q_(draw(POWER), "W")),
        Load.cycling(Q_(draw(POWER), "W"), draw(SHARE), day_spread="25 Wh"),
        fridge, chest, fridge + Load.steady("6 W", "router"), chest + fridge,
    ]  # fmt: skip
    return draw(st.sampled_from(kinds))


@st.composite
def outages(draw: Any, load: Load) -> Outage:
    """Draw an outage whose rooms the load's appliances and every battery are known for."""
    cabinets = {appliance.cabinet for appliance in load.appliances if appliance.room is not None}
    rooms = st.floats(-10 if cabinets == {"freezer"} else 10, 43) if cabinets else st.nothing()
    room = draw(st.none() | rooms)
    at = draw(st.none() | CELLS)
    return Outage(
        Q_(draw(st.floats(0.5, 200)), "h"), start=draw(SHARE), reserve=Q_(draw(st.just(0.0) | st.floats(0, 900)), "Wh"),
        room=None if room is None else Q_(room, "degC"), unit_at=None if at is None else Q_(at, "degC"),
    )  # fmt: skip


# -- it sums -------------------------------------------------------------------------------------------------


@given(st.data(), CASES, loads())
@settings(max_examples=200, deadline=None)
def test_the_lines_sum_to_what_is_left_with_all_their_doubt(data: st.DataObject, case: Case, load: Load) -> None:
    account = ledger(load, case.unit(), data.draw(outages(load)))
    first, *rest = account.lines
    parts = [first.energy, *(each.energy for each in rest if each.kind != "total")]
    moved = sum(abs(wh(part)) for part in parts)
    total = sum(parts[1:], start=parts[0])
    assert wh(total) == pytest.approx(wh(account.left), abs=1e-12 * moved)
    assert (total - account.left).u.magnitude <= 1e-9 * moved  # one account, not two that agree by chance
    steps = [first.energy, *(each.energy for each in rest if each.kind == "battery")]
    assert wh(sum(steps[1:], start=steps[0])) == pytest.approx(wh(account.available), abs=1e-12 * moved)
    assert [each.kind for each in account.lines if each.kind == "total"] == ["total"] * 3
    assert account.rows["energy (Wh)"].tolist() == [wh(each.energy) for each in account.lines]
    assert wh(account.available) >= -float(account.outage.reserve.magnitude) - 1e-12 * moved


def test_every_room_moves_its_own_lines_and_no_others() -> None:
    """room= changes the cold appliances' lines; unit_at= the battery's."""
    load = Load.steady("40 W", "chest").in_a_room_of("20 degC", "freezer") + Load.steady("6 W", "router")
    for measured in (False, True):
        unit = Case(measured=measured).unit()
        plain, cool, cold = (
            {each.label: wh(each.energy) for each in ledger(load, unit, outage).lines if each.kind != "total"}
            for outage in (Outage("10 h"), Outage("10 h", room="5 degC"), Outage("10 h", unit_at="-5 degC"))
        )
        changed = {label for label in plain if cool[label] != pytest.approx(plain[label])}
        assert changed == ({"chest, 10 h"} if measured else {"chest, 10 h", "conversion loss"})
        assert {label for label in plain if cold[label] != pytest.approx(plain[label])} == set()
        assert [label for label in cold if label not in plain] == [f"cells at -5 °C: {88 if not measured else 91} %"]


def test_by_hand_in_a_cold_store() -> None:
    """A chest freezer of 50 W at 20 degC takes 3 % a kelvin less: 20 W at 0 degC, where cells keep 92 %."""
    load = Load.steady("50 W", "chest").in_a_room_of("20 degC", "freezer")
    unit = Case(standby=10).unit()
    warm, cold = ledger(load, unit, "10 h"), ledger(load, unit, Outage("10 h", room="0 degC", unit_at="0 degC"))
    k1 = float(unit.inverter.k1.value.magnitude)
    assert wh(cold.available) == pytest.approx(950 * 0.92)
    assert wh(cold.needed) == pytest.approx(10 * (20 * (1 + k1) + 0.02 * 20**2 / 800 + 10))
    assert hours(cold) > 1.5 * hours(warm)  # the colder battery and the thriftier freezer, in all


def test_by_hand_in_a_heat_wave() -> None:
    """A refrigerator of 32 W at 20 degC takes 4 % a kelvin more: 44.8 W at 30 degC, and lasts less long."""
    load = Load.cycling("80 W", "40 %", "fridge").in_a_room_of("20 degC")
    unit = Case(measured=True).unit()
    mild, hot = ledger(load, unit, "10 h"), ledger(load, unit, Outage("10 h", room="30 degC"))
    assert -wh(hot.lines[-3].energy) == pytest.approx(448)
    assert hours(hot) < hours(mild)


# -- cold ----------------------------------------------------------------------------------------------------


@given(CASES, loads(), SHARE, CELLS, CELLS)
@settings(max_examples=200, deadline=None)
def test_a_colder_battery_at_the_same_load_never_lasts_longer(
    case: Case, load: Load, start: float, one: float, two: float
) -> None:
    """By both routes, from any charge: cold raises the empty limit. A heater changes nothing about it: it costs its
    whole mean power as soon as it is on, and from there on colder is no worse and no better."""
    assume(case.standby is None or case.standby > 1e-3 or load.mean_power.value.magnitude > 1e-3)
    unit, (cold_c, warm_c) = case.unit(), sorted((one, two))
    cold, warm = (
        ledger(load, unit, Outage("12 h", start=start, unit_at=Q_(celsius, "degC"))) for celsius in (cold_c, warm_c)
    )
    assert wh(cold.left) <= wh(warm.left) + 1e-9 * case.capacity
    assert hours(cold) <= hours(warm) * (1 + 1e-9) + 1e-9
    if case.heater is not None and warm_c < case.heater[1]:
        assert hours(cold) == pytest.approx(hours(warm), abs=1e-9)


@pytest.mark.parametrize("measured", [False, True], ids=["printed", "measured"])
def test_at_low_charge_the_same_cold_leaves_nothing(measured: bool) -> None:
    """16 % of the full capacity lie below the empty limit of -10 degC: from 15 % nothing comes, from 25 % little."""
    unit, load = Case(measured=measured, standby=10).unit(), Load.steady("20 W")
    at = {start: ledger(load, unit, Outage("5 h", start=start, unit_at="-10 degC")) for start in ("12 %", "25 %")}
    assert hours(at["12 %"]) == pytest.approx(0, abs=1e-9)
    assert 0 < hours(at["25 %"]) < 0.5 * hours(ledger(load, unit, Outage("5 h", start="25 %", unit_at="25 degC")))


# -- more loss -----------------------------------------------------------------------------------------------


@given(
    st.data(), CASES, loads(), st.sampled_from(["standby", "efficiency", "health", "heater", "pack_standby"]),
)  # fmt: skip
@settings(max_examples=200, deadline=None)
def test_more_loss_in_the_unit_never_helps(data: st.DataObject, case: Case, load: Load, what: str) -> None:
    outage = data.draw(outages(load))
    low, high = sorted(data.draw(st.tuples(SHARE, SHARE)))
    worse, better = (0.6 + 0.35 * low, 0.6 + 0.35 * high) if what in ("health", "efficiency") else (60 * high, 60 * low)
    changes: list[dict[str, Any]] = [{what: (each, 4.0) if what == "heater" else each} for each in (worse, better)]
    bad, good = (ledger(load, replace(case, **change).unit(), outage) for change in changes)
    assert wh(bad.left) <= wh(good.left) + 1e-9 * (case.capacity + 100_000)
    if good.needed.value.magnitude > 1e-3 and good.available.value.magnitude >= 0:
        assert hours(bad) <= hours(good) * (1 + 1e-9) + 1e-9


@given(st.data(), CASES, loads(), st.sampled_from(["start", "reserve", "duration"]))
@settings(max_examples=200, deadline=None)
def test_a_longer_outage_less_charge_or_a_reserve_never_help(
    data: st.DataObject, case: Case, load: Load, what: str
) -> None:
    unit, outage = case.unit(), data.draw(outages(load))
    told: dict[str, Any] = {"duration": outage.duration, "start": outage.start, "reserve": outage.reserve,
                            "room": outage.room, "unit_at": outage.unit_at}  # fmt: skip
    low, high = sorted(data.draw(st.tuples(SHARE, SHARE)))
    worse, better = {
        "start": (low, high),
        "reserve": (Q_(900 * high, "Wh"), Q_(900 * low, "Wh")),
        "duration": (Q_(1 + 99 * high, "h"), Q_(1 + 99 * low, "h")),
    }[what]
    bad, good = (ledger(load, unit, Outage(**told | {what: value})) for value in (worse, better))
    assert wh(bad.left) <= wh(good.left) + 1e-9 * (case.capacity + 100_000)
    if good.needed.value.magnitude > 1e-3:
        assert hours(bad) <= hours(good) + 1e-9 * max(1, abs(hours(good)))
        if what == "duration":  # how long it lasts is not a matter of how long it must
            assert hours(bad) == pytest.approx(hours(good))


def test_a_run_time_is_never_less_than_none() -> None:
    """A reserve larger than what is there leaves nothing to run on."""
    account = ledger(Load.steady("30 W"), Case().unit(), Outage("12 h", reserve="5 kWh"))
    assert account.verdict == "short"
    assert hours(account) >= 0


def test_a_fuller_battery_is_not_conjured_out_of_heat() -> None:
    """An empty battery stays empty, however warm."""
    account = ledger(Load.steady("30 W"), Case().unit(), Outage("12 h", start="0 %", unit_at="40 degC"))
    assert wh(account.available) == pytest.approx(0, abs=1e-9)


# -- the measured ledger and the line's own run time -----------------------------------------------------------

STEADY = st.floats(0, 600).map(lambda load: Load.steady(METER.gain * Q_(load, "W") + METER.offset))
PATTERNED = st.builds(lambda load, duty: Load.cycling(METER.gain * Q_(load, "W"), duty), st.floats(1, 600), SHARE)
LINES = st.builds(line, st.sampled_from(CHEMISTRIES), st.booleans(), st.sampled_from([None, "1.0", "1.02 to 1.12"]))


@given(LINES, STEADY | PATTERNED | st.tuples(STEADY, PATTERNED).map(lambda pair: pair[0] + pair[1]),
       st.floats(0.5, 300))  # fmt: skip
@settings(max_examples=200, deadline=None)
def test_the_measured_ledger_lasts_what_the_line_says(fitted: RundownLine, load: Load, outage_h: float) -> None:
    """At full start, in the tests' room: value and uncertainty, whatever the outage asked about."""
    unit = BackupUnit.from_rundowns("mine", fitted, printed="1 kWh", rated="800 W")
    lasts, says = ledger(load, unit, Q_(outage_h, "h")).lasts, fitted.hours(load)
    assert float(lasts.value.magnitude) == pytest.approx(float(says.value.to("h").magnitude), rel=1e-9)
    assert float(lasts.u.magnitude) == pytest.approx(float(says.u.to("h").magnitude), rel=1e-9)


@pytest.mark.parametrize("k", [None, "1.02 to 1.12"])
def test_the_same_unit_and_load_have_the_same_doubt_twice(k: str | None) -> None:
    """Influence by influence: between two accounts of one load on one unit nothing is in doubt."""
    fitted, load = line(k=k), Load.cycling("90 W", "35 %")
    unit = BackupUnit.from_rundowns("mine", fitted, printed="1 kWh", rated="800 W")
    once, twice = (ledger(load, unit, "10 h").lasts for _ in range(2))
    assert (once - twice).u.magnitude == pytest.approx(0, abs=1e-9)
    assert (once - fitted.hours(load)).u.magnitude == pytest.approx(0, abs=1e-6)


def test_with_days_that_differ_they_agree_however_long_the_outage() -> None:
    """The days' spread shrinks with their number: both take the days until the unit is empty."""
    load = Load.cycling("90 W", "35 %", "fridge", day_spread="90 Wh")
    says = line().hours(load)
    unit = Case(measured=True).unit()
    same, close = ledger(load, unit, says.value).lasts, ledger(load, unit, 1.2 * says.value).lasts
    assert same.u.magnitude == pytest.approx(says.u.to("h").magnitude, rel=1e-9)
    assert close.value.magnitude == pytest.approx(says.value.to("h").magnitude)
    assert close.u.magnitude == pytest.approx(says.u.to("h").magnitude, rel=1e-6)


# -- nothing counts twice ------------------------------------------------------------------------------------


def labels(account: Ledger) -> list[str]:
    return [each.label for each in account.lines]


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
@pytest.mark.parametrize("own", [False, True], ids=["table", "own"])
@pytest.mark.parametrize("at", [None, RUNS_AT, "60.8 degF"])  # 60.8 degF are 16 degC
def test_a_measured_unit_where_it_was_measured_has_only_what_was_measured(
    chemistry: str, own: bool, at: str | None
) -> None:
    """No line for cold, rate, depth or conversion: the run-downs had them all."""
    account = ledger(Load.cycling("200 W", "45 %"), Case(measured=True, chemistry=chemistry, own=own).unit(),
                     Outage("10 h", unit_at=at))  # fmt: skip
    assert labels(account)[:3] == ["printed on the box", "printed to measured at the outlet", "usable"]
    assert [label.split(",")[0] for label in labels(account)[3:-1]] == ["cycling load", "standby"]
    assert "in the cold" not in " ".join(account.left.budget()["influence"])


def test_a_heater_that_ran_in_the_tests_is_not_charged_again() -> None:
    """Run-downs at -8 degC with the heater on have its draw in their standby, and its warmth in their energy."""
    cold = fit_rundowns([("0 W", "30 h"), ("100 W", "6.5 h")], room="-8 degC")
    unit = BackupUnit.from_rundowns("mine", cold, printed="1 kWh", rated="800 W", heater=("14 W", "0 degC"))
    load = Load.steady("50 W")
    there = ledger(load, unit, Outage("5 h", unit_at="-8 degC"))
    assert hours(there) == pytest.approx(float(cold.hours(load).value.to("h").magnitude))


@given(st.floats(-18, 38), st.floats(0, 700), SHARE)
@settings(max_examples=50, deadline=None)
def test_no_rate_line_where_the_rate_takes_nothing(at: float, load_w: float, start: float) -> None:
    """Measured: never. From print: not up to the rating, 200 W for 1 kWh at 5 h."""
    load, outage = Load.steady(Q_(load_w, "W")), Outage("6 h", start=start, unit_at=Q_(at, "degC"))
    assert not [label for label in labels(ledger(load, Case(measured=True).unit(), outage)) if label.startswith("rate")]
    unit = Case().unit()
    above = float(unit.inverter.battery_power(load).value.magnitude) > 1000 / 5
    found = [label for label in labels(ledger(load, unit, outage)) if label.startswith("rate")]
    assert bool(found) == above


# -- cautions and refusals -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("chemistry", "at", "warned"),
    [("iron phosphate", "-1 degC", True), ("nickel-manganese-cobalt", "-1 degC", True), ("iron phosphate", None, False),
     ("iron phosphate", "1 degC", False), ("sealed lead-acid", "-10 degC", False)],
)  # fmt: skip
def test_a_battery_too_cold_to_charge_is_told(chemistry: str, at: str | None, warned: bool) -> None:
    for measured in (False, True):
        account = ledger(Load.steady("30 W"), Case(measured=measured, chemistry=chemistry).unit(),
                         Outage("5 h", unit_at=at))  # fmt: skip
        assert ("do not charge it below 0 °C" in str(account)) == warned
        assert any("do not charge" in caution for caution in account.cautions) == warned


FRIDGE = Load.cycling("95 W", "40 %", "fridge")
UNPLACED = BackupUnit.from_rundowns("mine", fit_rundowns(RUNS), printed="1 kWh", rated="800 W")


@pytest.mark.parametrize(
    ("call", "says", "told"),
    [
        (
            lambda: ledger(FRIDGE, Case().unit(), Outage("9 h", room="15 degC")), 'load.in_a_room_of("20 degC")',
            lambda: ledger(FRIDGE.in_a_room_of("20 degC"), Case().unit(), Outage("9 h", room="15 degC")),
        ),
        (
            lambda: ledger(FRIDGE.in_a_room_of("20 degC"), Case().unit(), Outage("9 h", room="4 degC")),
            'in_a_room_of(..., cabinet="freezer")',
            lambda: ledger(FRIDGE.in_a_room_of("20 degC", cabinet="freezer"), Case().unit(),
                           Outage("9 h", room="4 degC")),
        ),
        (
            lambda: ledger(FRIDGE, UNPLACED, Outage("9 h", unit_at="4 degC")), 'fit_rundowns(..., room="20 degC")',
            lambda: ledger(FRIDGE, BackupUnit.from_rundowns("mine", fit_rundowns(RUNS, room="20 degC"), printed="1 kWh",
                                                            rated="800 W"), Outage("9 h", unit_at="4 degC")),
        ),
        (
            lambda: ledger(FRIDGE, Case().unit(), Outage("9 h", unit_at="-25 degC")), 'unit_at="5 degC"',
            lambda: ledger(FRIDGE, Case().unit(), Outage("9 h", unit_at="5 degC")),
        ),
        (
            lambda: ledger(FRIDGE, Case(measured=True).unit(), Outage("9 h", unit_at="50 degC")), 'unit_at="5 degC"',
            lambda: ledger(FRIDGE, Case(measured=True).unit(), Outage("9 h", unit_at="5 degC")),
        ),
        (lambda: Outage("9 h", room=4), 'room="4 degC"', lambda: Outage("9 h", room="4 degC")),
        (lambda: Outage("9 h", unit_at="4 C"), "degC", lambda: Outage("9 h", unit_at="4 degC")),
        (lambda: Outage("9 h", start="105 %"), 'start="90 %"', lambda: Outage("9 h", start="90 %")),
        (lambda: FRIDGE.in_a_room_of(20), 'room="20 degC"', lambda: FRIDGE.in_a_room_of(room="20 degC")),
        (
            lambda: FRIDGE.in_a_room_of("20 degC", "larder"), 'cabinet="freezer"',
            lambda: FRIDGE.in_a_room_of("20 degC", cabinet="freezer"),
        ),
    ],
)  # fmt: skip
def test_refused_with_the_line_to_type(call: Callable[[], Any], says: str, told: Callable[[], Any]) -> None:
    with pytest.raises(Refusal) as refused:
        call()
    assert says in str(refused.value)
    told()


def test_a_refrigerator_measured_where_it_stands_is_taken_as_measured() -> None:
    """The refusal below 10 degC says to measure it where it stands; a draw measured there needs no carrying."""
    load = FRIDGE.in_a_room_of("7 degC")
    account = ledger(load, Case().unit(), Outage("9 h", room="7 degC"))
    assert wh(account.needed) == pytest.approx(wh(ledger(load, Case().unit(), "9 h").needed))
