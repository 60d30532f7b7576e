"""Lesson 05's views: a unit that empties hour by hour, against the ledger, which knows one temperature."""

from __future__ import annotations

import numpy as np
import pytest
from ridethrough.answer.hourly import Emptying, hour_by_hour

from ridethrough.answer.ledger import ledger
from ridethrough.answer.outage import Outage
from ridethrough.measure.bench import fit_rundowns
from ridethrough.model.load import Load
from ridethrough.model.unit import BackupUnit
from ridethrough.teach import pantry
from ridethrough.teach.figures import canvas, png
from ridethrough.teach.views.weather import cold_panel, emptying_view
from ridethrough.units import Q_, Refusal


def freezer() -> Load:
    load = Load.cycling("60 W", duty="40 %", day_spread="30 Wh", name="freezer")
    return load.in_a_room_of("4 degC", cabinet="freezer")


def measured_unit() -> BackupUnit:
    line = fit_rundowns(pantry.pantry_rundowns()["Unit B"], room="20 degC")
    return BackupUnit.from_rundowns("measured", line, printed="1430 Wh", rated="1150 W")


UNITS = pytest.mark.parametrize("unit", [pantry.pantry_unit(), measured_unit()], ids=["printed", "measured"])


def hours(night: Emptying) -> float:
    return float(night.ends.value.magnitude)


@UNITS
@pytest.mark.parametrize("room_c", [-12.0, 4.0, 11.0])
def test_in_a_steady_room_it_is_the_ledger(unit: BackupUnit, room_c: float) -> None:
    """In value, and in how sure it is: an hour's slope is the next hour's slope too."""
    night = hour_by_hour(freezer(), unit, [room_c] * 60, start="90 %")
    room = Q_(room_c, "degC")
    lasts = ledger(freezer(), unit, Outage(night.ends.value, start="90 %", room=room, unit_at=room)).lasts
    assert hours(night) == pytest.approx(float(lasts.value.magnitude), rel=1e-9)
    assert float(night.ends.u.magnitude) == pytest.approx(float(lasts.u.magnitude), rel=0.02)


@UNITS
def test_it_ends_where_what_was_used_meets_what_is_usable(unit: BackupUnit) -> None:
    room_c = np.linspace(8, -14, 60)
    night = hour_by_hour(freezer(), unit, room_c, start="80 %")
    used = np.interp(hours(night), np.arange(61), [float(e.value.magnitude) for e in night.used])
    assert used == pytest.approx(float(night.usable[int(hours(night))].value.magnitude), rel=1e-9)
    assert hours(night) < float(night.ends_warm.value.magnitude)


@UNITS
def test_the_draw_takes_the_mean_and_the_limit_the_last_hour(unit: BackupUnit) -> None:
    """Each hour as cold as in another order: used alike, and ended by the hour that comes last."""
    falling = np.linspace(5, -12, 40)
    night = hour_by_hour(freezer(), unit, falling, start="90 %")
    passed = int(hours(night)) + 1
    again = hour_by_hour(freezer(), unit, [*falling[:passed][::-1], *falling[passed:]], start="90 %")
    assert float(again.used[passed].value.magnitude) == pytest.approx(float(night.used[passed].value.magnitude))
    assert hours(again) > hours(night)


def test_a_limit_that_rises_over_what_is_left_ends_the_hour() -> None:
    night = hour_by_hour(freezer(), measured_unit(), [4, 4, 4, -15, -15], start="30 %")
    assert hours(night) == 3


def test_a_unit_that_is_not_empty_is_refused() -> None:
    with pytest.raises(Refusal, match="not empty"):
        _ = hour_by_hour(freezer(), measured_unit(), [4] * 3).ends


def test_a_load_without_its_room_is_refused() -> None:
    load = Load.steady("20 W")
    with pytest.raises(Refusal, match="in_a_room_of"):
        hour_by_hour(load, measured_unit(), [4] * 3)
    with pytest.raises(Refusal, match="in_a_room_of"):
        cold_panel(load, load, measured_unit(), kitchen="19 degC")


def test_the_view_tells_when_and_what_stays() -> None:
    room_c = np.linspace(-4, -9, 60)
    night = hour_by_hour(freezer(), measured_unit(), room_c, start="45 %")
    view = emptying_view(night, room_c, begins=22)
    assert str(night.ends) in view.text
    assert list(view.table["clock"][:3]) == ["22:00", "23:00", "0:00"]
    last = view.table.iloc[-1]
    stays = float((night.warm - night.usable[int(hours(night))]).value.magnitude)
    assert last["out of reach (Wh)"] == pytest.approx(stays)
    assert last["out of reach (Wh)"] < last["in the battery (Wh)"]
    assert last["in the battery (Wh)"] - last["taken in the hour (Wh)"] < last["out of reach (Wh)"]
    figure = canvas()
    view.draw(figure)
    assert png(figure).startswith(b"\x89PNG")


def test_the_opening_of_the_panel_is_the_surprise() -> None:
    """In a colder store the freezer runs longer and the router shorter; with the unit in the warm both gain."""
    panel = cold_panel(freezer(), Load.steady("5 W", "router"), measured_unit(), kitchen="19 degC")
    for place, signs in (("in the store", [1, -1]), ("in the kitchen", [1, 1])):
        table = panel.at(place=place).table
        assert list(np.sign(table["runs (h)"] - table["in the ordinary week (h)"])) == signs
