"""Wrong things in the right place: each is refused in the kit's own words, with the argument's name."""

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

import ridethrough as rt

UNITS = rt.read_units(Path(__file__).parents[1] / "data" / "units.csv")
LOG = rt.hand_readings([("0:00", "2.05"), ("100:00", "5.15")], unit="kWh", meter=rt.Meter("1 %"))
DRAW = rt.measure_draw(LOG)
LOAD, UNIT = DRAW.as_load(), UNITS["Unit A"]
odd_power = rt.Estimate.within("50 W", "5 W", "odd")


def printed(**more: Any) -> rt.BackupUnit:
    sheet = {} if "inverter" in more else {"standby": "9 W", "efficiency": "88 %", "at": "300 W"}
    return rt.BackupUnit.from_print("u", capacity="1 kWh", chemistry="iron phosphate", rated="1 kW", **sheet, **more)


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
