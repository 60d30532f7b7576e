"""Several loads on one unit: the views of lesson 10 against sums worked by hand and against the ride."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from matplotlib.collections import PolyCollection
from matplotlib.colors import same_color

from ridethrough.answer.headroom import headroom
from ridethrough.answer.ledger import ledger
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import ride
from ridethrough.model.load import Load
from ridethrough.model.unit import BackupUnit
from ridethrough.teach.figures import canvas
from ridethrough.teach.figures.palette import OWN
from ridethrough.teach.views import appliances as household
from ridethrough.units import Q_, Refusal

UNIT = BackupUnit.from_print(
    "mine", capacity="1 kWh", chemistry="iron phosphate", standby="10 W", rated="500 W", efficiency="80 %",
    at="100 W", depth_of_discharge="100 %",
)  # fmt: skip
LOADS = {
    "pump": Load.steady("40 W", "pump"),
    "lamp": Load.daily([("18:00", "22:00", "60 W")], "lamp"),
    "iron": Load.daily([("09:00", "09:06", "470 W")], "iron"),
}


def test_the_pantrys_day_by_hand() -> None:
    """Watts times hours, typed here from the lesson's table."""
    by_hand = {"boiler pump": 43 * 8, "router": 8 * 24, "lights": 30 * 4.5, "coffee maker": 900 * 7 / 60, "phones": 30}
    loads = household.pantry_loads()
    assert list(loads)[:2] == ["fridge-freezer", "chest freezer"]
    assert [a.measured for a in household.all_together(loads).appliances] == [True, True, *[False] * 5]
    for name, energy_wh in by_hand.items():
        assert loads[name].energy_over("24 h").value.magnitude == pytest.approx(energy_wh)


def test_the_chest_freezer_keeps_its_mean_and_gets_a_largest_power() -> None:
    """In its log of 5-minute energies no three readings in a row count more than 16 Wh, seen in the file."""
    (freezer,) = household.pantry_loads()["chest freezer"].appliances
    assert freezer.peak.to("W").magnitude == pytest.approx(16 / 0.25)
    assert freezer.mean_power.value.magnitude == pytest.approx(20.8, abs=0.05)


def test_the_panel_says_what_the_ride_and_the_check_say() -> None:
    panel = household.household_panel(LOADS, UNIT, opens="lamp")
    for plugged, load in {
        "pump and lamp": LOADS["pump"] + LOADS["lamp"],
        "all 3": household.all_together(LOADS),
    }.items():
        for begins in (0, 7, 18):
            lasts = ride(load, UNIT, Outage("48 h", begins=f"{begins}:00")).lasts.to("h").magnitude
            text = panel.at(plugged=plugged, begins=begins).text
            assert f"lasts {lasts:.1f} h, " in text
            fits = headroom(load, UNIT)[0].finding == "carries it"
            assert ("within the inverter's 500 W" in text) is fits
    assert "less than" not in panel.at(plugged="pump alone").text


def test_what_was_taken_is_what_the_unit_held() -> None:
    """By hand: until empty the pump takes 40 W without a break; all bands together are the usable energy."""
    panel = household.household_panel(LOADS, UNIT, opens="lamp")
    table = panel.at(plugged="all 3", begins=8).table.set_index("what")["taken until empty (Wh)"]
    lasts = ride(household.all_together(LOADS), UNIT, Outage("48 h", begins="8:00")).lasts.to("h").magnitude
    assert table["pump"] == pytest.approx(40 * lasts)
    assert table["iron"] == pytest.approx(47)
    assert 0 < table["lamp"] <= 240
    assert table.sum() == pytest.approx(1000)
    assert table["the unit itself"] > 10 * lasts


def is_own(band: Any) -> bool:
    return isinstance(band, PolyCollection) and same_color(band.get_facecolor(), OWN)


def test_the_picture_ends_where_the_unit_is_empty() -> None:
    panel, figure = household.household_panel(LOADS, UNIT, opens="lamp"), canvas()
    for plugged in ("pump alone", "all 3", "pump and lamp"):  # one figure, drawn on again and again
        panel.at(plugged=plugged).draw(figure)
    below = figure.axes[1]
    lasts = ride(LOADS["pump"] + LOADS["lamp"], UNIT, Outage("48 h", begins="18:00")).lasts.to("h").magnitude
    assert len(figure.axes) == 2
    assert [line.get_xdata()[0] for line in below.lines if line.get_linestyle() == ":"] == [pytest.approx(lasts)]
    (own,) = (path.vertices for band in below.collections if is_own(band) for path in band.get_paths())
    assert own[own[:, 0] == 0, 1].max() == pytest.approx(0)
    assert own[:, 1].max() == pytest.approx(1000)


def test_hours_gained_are_the_difference_of_two_accounts() -> None:
    outage = Outage("24 h", start="90 %")
    table = household.shedding_view(LOADS, UNIT, outage).table.set_index("unplugged")
    everything = household.all_together(LOADS)
    without_pump = ledger(LOADS["lamp"] + LOADS["iron"], UNIT, outage).lasts - ledger(everything, UNIT, outage).lasts
    assert table["hours gained (h)"]["pump"] == pytest.approx(without_pump.value.magnitude)
    assert list(table.index) == ["pump", "lamp", "iron"]
    assert np.allclose(table["energy in a day (Wh)"], [960, 240, 47])


def test_the_largest_power_is_not_the_first_to_shed() -> None:
    text = household.shedding_view(LOADS, UNIT, "24 h").text
    assert text.index("pump") < text.index("lamp") < text.index("iron")


def test_a_load_without_its_largest_power_is_refused() -> None:
    (appliance,) = Load.steady("30 W", "fridge").appliances
    unknown = {"lamp": LOADS["lamp"], "fridge": Load((replace(appliance, peak=None),))}
    with pytest.raises(Refusal, match="fridge, whose largest power"):
        household.shedding_view(unknown, UNIT, "24 h")


def test_a_unit_that_lasts_is_refused_by_the_panel() -> None:
    large = UNIT.with_capacity(Q_(9000, "Wh"))
    with pytest.raises(Refusal, match="lasts 48 h and longer"):
        household.household_panel(LOADS, large, opens="lamp").at(plugged="pump alone")
