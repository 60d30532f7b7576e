"""Wrong things in the right place: each is refused in the kit's own words, with the argument's name."""

from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

import ridethrough as rt
from ridethrough.model.price import Price, PriceList

DATA = Path(__file__).parents[1] / "data"
UNITS = rt.read_units(DATA / "units.csv", prices=DATA / "prices.csv")
LOG = rt.hand_readings([("0:00", "2.05"), ("100:00", "5.15")], unit="kWh", meter=rt.Meter("1 %"))
DRAW = rt.measure_draw(LOG)
LOAD, UNIT = DRAW.as_load(), UNITS["Unit A"]
RIDE, DAY = rt.ledger(LOAD, UNIT, "12 h", draws=20), date(2026, 2, 1)
CABINET = rt.Cabinet(rt.Load.cycling("90 W", "30 %", "freezer").in_a_room_of("20 degC", "freezer"))
HOURS = pd.DataFrame(
    5.0, index=pd.date_range("2025-06-01", periods=24, freq="h", tz="UTC"), columns=["ghi", "dni", "dhi"]
)
odd_power = rt.Estimate.within("50 W", "5 W", "odd")


def printed(**more: Any) -> rt.BackupUnit:
    sheet = {} if "inverter" in more else {"standby": "9 W", "efficiency": "88 %", "at": "300 W"}
    return rt.BackupUnit.from_print("u", capacity="1 kWh", chemistry="iron phosphate", rated="1 kW", **sheet, **more)


def priced(**more: Any) -> pd.DataFrame:
    return rt.compare(LOAD, UNITS, ["6 h"], **more)


def sun(**more: Any) -> rt.Sun:
    return rt.Sun(**{"watts": "200 W", "place": (50, 10), "when": "June", "tilt": 0} | more)


def put() -> None:
    UNITS["mine"] = UNIT


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: rt.ride(DRAW, UNIT, "12 h"), "load=Draw(...). Needed: a load. Write Load.steady"),
        (lambda: rt.ride(LOG, UNIT, "12 h"), "load=MeterLog(...). Needed: a load."),
        (lambda: rt.ride(LOAD, DRAW, "12 h"), "unit=Draw(...). Needed: a unit. Write unit=read_units"),
        (lambda: rt.size(LOAD, "12 h", like=UNITS), "like=UnitTable(...). Needed: a unit. Write like=read_units"),
        (lambda: rt.headroom(DRAW, UNIT), "load=Draw(...)"),
        (lambda: rt.headroom(LOAD, "Unit A"), "unit='Unit A'"),
        (lambda: rt.compare("38 W", UNITS, ["1 day"]), "load='38 W'. Needed: a load."),
        (lambda: LOAD + DRAW, "load + what=Draw(...). Needed: a load."),
        (lambda: 1 + LOAD, "what + load=1. Needed: a load."),
        (lambda: rt.measure_draw("freezer.csv"), "log='freezer.csv'. Needed: a log. Write log=read_log"),
        (lambda: rt.time_to_log(LOG), "draw=MeterLog(...). Needed: a draw."),
        (lambda: rt.BackupUnit.from_rundowns("mine", DRAW, printed="1 kWh", rated="1 kW"), "line=Draw(...)"),
        (lambda: rt.read_units(pd.DataFrame({"name": ["a"]})), "path=DataFrame(...). Needed: a file name."),
        (put, "Write units = units.measured(unit)"),
        (lambda: rt.ride(LOAD, UNIT, "12 h", draws=2).band("95 %"), "Write coverage=0.95."),
        (lambda: LOAD.in_a_room_of("68 degC"), "room=68.00 °C. Needed: a temperature from -50 °C to 60 °C."),
        (lambda: rt.measure_draw(LOG, room="68 degC"), "room=68.00 °C"),
        (lambda: rt.fit_rundowns([("0 W", "60 h"), ("75 W", "10 h")], room="68 degC"), "room=68.00 °C"),
        (lambda: rt.Outage("12 h", begins="12 March 07:10"), "begins='12 March 07:10'. Needed: a time of day."),
        (lambda: rt.show(5), "the bare number 5"),
        (lambda: rt.coefficient(3), "the coefficient 3. Needed: one that the table holds."),
        (lambda: printed(curve=3), "curve=3. Needed: a curve."),
        (lambda: printed(inverter=3), "inverter=3. Needed: an inverter."),
        (lambda: odd_power == rt.Q_(50, "W"), "compared with 50 W. Needed: two numbers without a give or take."),
        (lambda: rt.Q_(50, "W") == odd_power, "Compare its .value"),
        (lambda: odd_power < rt.Q_(60, "W"), "Compare its .value"),
        (lambda: rt.ride(LOAD, UNIT, "12 h").lasts > rt.Q_(5, "h"), "an end of its .interval()"),
        (lambda: rt.ride(LOAD, UNIT, "12 h").lasts + 1, "Calculate with .value"),
        (lambda: odd_power + 1, "watt and dimensionless together. Needed: two quantities of one kind."),
        (lambda: "5 VA" - odd_power, "voltampere and watt together"),
        (lambda: odd_power.to("Wh"), "A power times a time is an energy"),
        (lambda: rt.ledger(LOAD, UNIT, "12 h", draws=0), "draws=0. Needed: a whole number of 2 or more."),
        (lambda: rt.claim("9 h", load=LOAD, unit=UNIT, outage="12 h", draws=0), "draws=0"),
        (lambda: rt.do_nothing(CABINET, "12 h", draws=0), "draws=0"),
        (lambda: CABINET.hours_until(draws=1), "draws=1"),
        (lambda: rt.do_nothing(CABINET, "12 h", ice=2), 'Write the unit with it, for example ice="2 kg".'),
        (lambda: rt.verdicts(5), "table=int(...). Needed: what compare returns. Write verdicts(compare(...))."),
        (lambda: rt.verdicts(pd.DataFrame({"unit": ["a"]})), "table=DataFrame(...)"),
        (lambda: rt.compare(LOAD, {"door closed, ice": UNIT}, ["1 day"]), "a unit named 'door closed, ice'."),
        (lambda: priced(rates=5), "rates=5. Needed: what one unit of each currency"),
        (lambda: priced(rates="x"), "rates='x'"),
        (lambda: priced(rates={"USD": float("inf")}), "rates={'USD': inf}"),
        (lambda: priced(rates={"USD": True}), "rates={'USD': True}"),
        (lambda: priced(stale_after="-3 day"), "stale_after='-3 day'. Needed: a value in day of zero or more."),
        (lambda: Price("a", "unit", "5", "EUR", True, DAY), "amount='5'. Needed: a plain number of zero or more"),
        (lambda: Price("a", "unit", float("nan"), "EUR", True, DAY), "amount=nan"),
        (lambda: Price("a", "unit", -5, "EUR", True, DAY), "amount=-5"),
        (lambda: Price("a", "unit", 5, "EUR", True, str(DAY)), "date='2026-02-01'. Needed: a day."),
        (lambda: PriceList([5]), "prices=5. Needed: a list of prices."),
        (lambda: rt.read_prices(DATA / "prices.csv", units=5), "units=5. Needed: names of units."),
        (lambda: rt.agreement(RIDE, "12 h", within="5 W"), "within='5 W', a power. Needed: a time."),
        (lambda: rt.agreement(RIDE, "12 h", delivered="480 Wh", meter="1 %"), "meter='1 %'. Needed: a meter."),
        (lambda: rt.agreement(RIDE, "12 h", room="banana"), "room='banana'. Needed: a temperature"),
        (lambda: sun(utc=30), "utc=30. Needed: hours from -12 to 14"),
        (lambda: sun(utc="x"), "utc='x'"),
        (lambda: sun(tilt=True), "tilt=True"),
        (lambda: rt.Sun.peak_hours("200 W", "3 h", between=5), "between=5. Needed: two times of day."),
        (lambda: rt.read_weather(5), "path=5. Needed: a file name."),
        (lambda: rt.Weather(5, 50, 10), "hours=5. Needed: a table of hours."),
        (lambda: rt.Weather(HOURS.astype(str), 50, 10), "hours with text in ghi, dni or dhi."),
        (lambda: rt.Weather(1e6 * HOURS, 50, 10), "hours with more than 2000 W/m2 of light."),
        (lambda: rt.Weather(HOURS, 500, 10), "latitude=500. Needed: degrees from -90 to 90"),
        (lambda: rt.Weather(HOURS, 50, "x"), "longitude='x'"),
        (lambda: rt.Generator("1 kW", hours=5), "hours=5. Needed: from and to by the clock."),
        (lambda: rt.Generator("1 kW", hours=None), "hours=None"),
        (lambda: rt.Generator("1e300 W", hours="18:00-19:00"), "rated='1e300 W'. Needed: a finite power."),
        (lambda: sun(watts="1e300 W"), "watts='1e300 W'. Needed: a finite power."),
        (lambda: rt.Sun.peak_hours("200 W", "9.9 h"), 'Write between=("4:00", "20:00").'),
        (lambda: rt.Sun.peak_hours("200 W", "30 h"), "Write fewer hours"),
        (lambda: rt.Outage("5 h", on=5), "on=5. Needed: from and to of each time that the unit is on."),
        (lambda: rt.Outage("5 h", recharge=5), "recharge=5. Needed: one or more of Recharge."),
        (lambda: rt.Outage("5 h", recharge=[5]), "recharge=5"),
        (lambda: rt.Mains(None, power="400 W"), "windows=None. Needed: from and to of each."),
        (lambda: rt.Recharge.daily(5), "windows=5. Needed: from, to, and the power between, of each."),
        (lambda: rt.read_quantity(5), "Given: 5. Needed: a number and a unit."),
        (lambda: rt.read_quantity(None), "Given: None. Needed: a number and a unit."),
        (lambda: rt.coefficient([1]), "the coefficient [1]. Needed: one that the table holds."),
        (lambda: rt.write_templates(5), "folder=5. Needed: a folder."),
        (lambda: rt.method_sheet(RIDE, inputs=5), "inputs=5. Needed: an input file that can be read."),
        (lambda: rt.method_sheet(RIDE).write(5), "folder=5. Needed: a folder."),
    ],
)  # fmt: skip
def test_what_is_no_such_thing_is_refused_by_name(call: Any, says: str) -> None:
    with pytest.raises(rt.Refusal) as caught:
        call()
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


COLD = rt.Load.cycling("90 W", "30 %").in_a_room_of("20 degC")
YES_OR_NO = {
    "thermometer": lambda said: rt.do_nothing(rt.Cabinet(COLD), "3 h", thermometer=said, draws=2),
    "full": lambda said: rt.Cabinet(COLD, full=said),
    "clear": lambda said: rt.Sun("200 W", (40, -105), when="May", tilt=0, clear=said),
    "stopped_early": lambda said: rt.agreement(rt.ride(LOAD, UNIT, "12 h", draws=9), "3 h", stopped_early=said),
    "carries": lambda said: rt.Recharge.daily([("8:00", "9:00", "300 W")], carries=said),
    "motor": lambda said: rt.Load.cycling("90 W", "30 %", motor=said),
}


@pytest.mark.parametrize("name", YES_OR_NO)
def test_text_is_neither_true_nor_false(name: str) -> None:
    for given in ("no", "half", 0, None):
        with pytest.raises(rt.Refusal) as caught:
            YES_OR_NO[name](given)
        assert f"{name}={given!r}. Needed: True or False." in str(caught.value)
    for given in (True, False):
        YES_OR_NO[name](given)
