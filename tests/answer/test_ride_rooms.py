"""A room whose temperature changes from hour to hour: a ride follows it, and the ledger takes its mean."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from ridethrough.answer.hourly import hour_by_hour
from ridethrough.answer.spread import spread

from ridethrough.answer.ledger import ledger
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import ride
from ridethrough.model.load import Load
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal

UNIT = BackupUnit.from_print("mine", capacity="1.6 kWh", chemistry="iron phosphate", standby="9 W", rated="800 W",
                             efficiency="88 %", at="300 W")  # fmt: skip
FREEZER = Load.steady("40 W", "freezer").in_a_room_of("6 degC", cabinet="freezer")
FRIDGE = Load.cycling("85 W", "40 %", "fridge", day_spread="70 Wh").in_a_room_of("20 degC")
FALLING = [f"{celsius} degC" for celsius in np.linspace(14, -9, 40)]


def hours(of: Any) -> float:
    return float(of.to("h").magnitude)


def test_a_room_that_does_not_change_is_the_one_temperature() -> None:
    for load, celsius in ((FREEZER, "-3 degC"), (FRIDGE + Load.steady("6 W"), "27 degC")):
        one, many = (ride(load, UNIT, Outage("60 h", room=room)) for room in (celsius, [celsius] * 60))
        assert hours(many.lasts) == pytest.approx(hours(one.lasts), rel=1e-9)
        assert many.served.magnitude == pytest.approx(one.served.magnitude, rel=1e-9)


def test_the_whole_outage_takes_what_the_mean_temperature_takes() -> None:
    """Draw is a line in the temperature, so its mean counts; when it is taken differs."""
    falling = Outage("24 h", room=FALLING)
    account, seen = ledger(FREEZER, UNIT, falling), ride(FREEZER, UNIT, falling)
    assert account.load.appliances[0].room.m_as("degC") == pytest.approx(np.linspace(14, -9, 40)[:24].mean())
    assert seen.left.magnitude == pytest.approx(float(account.left.value.magnitude), rel=2e-3)
    charge = np.interp([8, 16], seen.times_h, seen.charge_wh)
    assert seen.charge_wh[0] - charge[0] > 1.1 * (charge[0] - charge[1])


def test_hour_by_hour_comes_to_the_same_moment() -> None:
    """An account for each hour, added up, with the unit in the warm: another way through the same night."""
    night = hour_by_hour(FREEZER, UNIT, np.linspace(14, -9, 40))
    seen = ride(FREEZER, UNIT, Outage("40 h", room=FALLING))
    assert hours(seen.lasts) == pytest.approx(hours(night.ends_warm.value), rel=2e-3)


def test_a_spread_follows_it_too() -> None:
    falling = Outage("40 h", room=FALLING)
    found = spread(FREEZER, UNIT, falling, draws=500)
    assert float(np.median(found.lasts)) == pytest.approx(hours(ride(FREEZER, UNIT, falling).lasts), rel=0.03)


def test_what_does_not_feel_the_room_goes_on_as_before() -> None:
    both = ride(FREEZER + Load.steady("30 W", "lamp"), UNIT, Outage("12 h", room=FALLING))
    alone = ride(FREEZER, UNIT, Outage("12 h", room=FALLING))
    lamp = ride(Load.steady("30 W", "lamp"), UNIT, Outage("12 h"))
    assert both.served.magnitude - alone.served.magnitude == pytest.approx(lamp.served.magnitude - 9 * 12, rel=2e-2)


@pytest.mark.parametrize(
    ("load", "room", "says"),
    [
        (FREEZER, FALLING[:12], "Give more hours"),
        (FREEZER, [3, 4] * 20, "degC"),
        (FREEZER, [], "Give more hours"),
        (FRIDGE, FALLING, "a room between"),
        (FREEZER, ["50 degC", *FALLING], "a room between"),
        (FREEZER, Q_(np.full(30, np.nan), "degC"), "finite"),
    ],
)
def test_it_refuses(load: Load, room: Any, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        ride(load, UNIT, Outage("24 h", room=room))
