"""Lesson 05's views: a unit that empties while its room changes by the hour, against the ledger and by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ridethrough.answer.ledger import ledger
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import Ride, ride
from ridethrough.measure.bench import fit_rundowns
from ridethrough.model.load import Load
from ridethrough.model.unit import BackupUnit
from ridethrough.teach import pantry
from ridethrough.teach.figures import canvas, png
from ridethrough.teach.views.outages import cold_panel, emptying_view
from ridethrough.units import Q_, Refusal


def freezer() -> Load:
    load = Load.cycling("60 W", duty="40 %", day_spread="30 Wh", name="freezer")
    return load.in_a_room_of("4 degC", cabinet="freezer")


def measured_unit() -> BackupUnit:
    line = fit_rundowns(pantry.pantry_rundowns()["Unit B"], room="20 degC")
    return BackupUnit.from_rundowns("measured", line, printed="1430 Wh", rated="1150 W")


UNITS = pytest.mark.parametrize("unit", [pantry.pantry_unit(), measured_unit()], ids=["printed", "measured"])


def through(unit: BackupUnit, room_c: Any, *, warm: bool = False, start: Any = "90 %") -> Ride:
    """Return the ride of freezer and unit in a room given by the hour, or of the unit where it is known for."""
    room = [Q_(float(each), "degC") for each in room_c]
    outage = Outage(Q_(len(room), "h"), start=start, room=room, unit_at=None if warm else room)
    return ride(freezer(), unit, outage, draws=200, times=len(room))


@UNITS
@pytest.mark.parametrize("room_c", [-12.0, 4.0, 11.0])
def test_in_a_steady_room_it_is_the_ledger(unit: BackupUnit, room_c: float) -> None:
    """In value, and in every draw: an hour's slope is the next hour's slope too."""
    room = Q_(room_c, "degC")
    told = ledger(freezer(), unit, Outage("60 h", start="90 %", room=room, unit_at=room), draws=200)
    seen = through(unit, [room_c] * 60)
    assert seen.lasts.magnitude == pytest.approx(told.lasts.magnitude, rel=1e-9)
    empty = seen.walk.state.empty_h < 60
    np.testing.assert_allclose(seen.walk.state.empty_h[empty], told.lasts.rows[empty], rtol=1e-9)


@UNITS
def test_the_draw_takes_the_mean_and_the_limit_the_last_hour(unit: BackupUnit) -> None:
    """Each hour as cold as in another order: taken alike, and ended by the hour that comes last."""
    falling = np.linspace(5, -12, 40)
    night = through(unit, falling)
    assert night.lasts.magnitude < through(unit, falling, warm=True).lasts.magnitude
    passed = int(night.lasts.magnitude) + 1
    again = through(unit, [*falling[:passed][::-1], *falling[passed:]])
    assert again.lasts.magnitude > night.lasts.magnitude
    loads = [through(unit, hours).walk.state.loads[0, 0] for hours in (falling, falling[::-1])]
    assert loads[0] == pytest.approx(loads[1])


def test_a_limit_that_rises_over_what_is_left_ends_the_hour() -> None:
    assert through(measured_unit(), [4, 4, 4, -15, -15], start="30 %").lasts.magnitude == 3


def test_a_unit_that_is_not_empty_says_at_least() -> None:
    assert str(through(measured_unit(), [4] * 3).lasts) == "at least 3 h"


def test_a_load_without_its_room_is_refused() -> None:
    load = Load.steady("20 W")
    with pytest.raises(Refusal, match="in_a_room_of"):
        ride(load, measured_unit(), Outage("3 h", room=["4 degC"] * 3))
    with pytest.raises(Refusal, match="in_a_room_of"):
        cold_panel(load, load, measured_unit(), kitchen="19 degC")


def test_the_view_tells_when_and_what_stays() -> None:
    room_c = np.linspace(-4, -9, 60)
    night, warm = (through(measured_unit(), room_c, warm=warm, start="45 %") for warm in (False, True))
    view = emptying_view(night, warm, begins=22)
    assert str(night.lasts) in view.text
    assert str(warm.lasts) in view.text
    assert list(view.table["clock"][:3]) == ["22:00", "23:00", "0:00"]
    last = view.table.iloc[-1]
    assert last["store (°C)"] == pytest.approx(room_c[int(night.lasts.magnitude)])
    assert last["out of reach (Wh)"] < last["in the battery (Wh)"]
    hour = night.state_of_charge.iloc[int(night.lasts.magnitude)]
    assert last["in the battery (Wh)"] == pytest.approx(hour["charge (Wh)"] + hour["kept back (Wh)"])
    figure = canvas()
    view.draw(figure)
    assert png(figure).startswith(b"\x89PNG")


def test_a_cold_store_is_the_surprise() -> None:
    """In a colder store the freezer runs longer and the router shorter; with the unit in the warm both gain."""
    panel = cold_panel(freezer(), Load.steady("5 W", "router"), measured_unit(), kitchen="19 degC")
    for place, signs in (("in the store", [1, -1]), ("in the kitchen", [1, 1])):
        table = panel.at(store=-8, place=place).table
        assert list(np.sign(table["runs (h)"] - table["in the ordinary week (h)"])) == signs
