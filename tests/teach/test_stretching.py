"""Lesson 09's view: what it says against rides, fuel and food of the same outage, worked apart from it."""

from __future__ import annotations

import re
from typing import Any

import pytest

from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import ride
from ridethrough.answer.stages import plan_stages
from ridethrough.estimate import Estimate
from ridethrough.model.cabinet import Cabinet
from ridethrough.model.load import Load
from ridethrough.model.recharge import Generator
from ridethrough.model.sun import Sun
from ridethrough.model.unit import BackupUnit
from ridethrough.teach.figures import canvas
from ridethrough.teach.panels import Panel
from ridethrough.teach.views.outages import stretch_panel, stretch_view

EXACT = Estimate.exact
FRIDGE = Cabinet(Load.cycling("90 W", "40 %", "fridge").in_a_room_of("20 degC", "refrigerator"))
UNIT = BackupUnit.from_print("mine", capacity="1200 Wh", chemistry="iron phosphate", standby="10 W", rated="900 W",
                             efficiency="88 %", at="300 W", charge_power=EXACT("400 W"))  # fmt: skip
SUN = Sun.peak_hours("300 W", "2 h")
HELPS: dict[str, dict[str, Any]] = {"nothing": {}, "sun": {"recharge": [SUN]}, "gaps": {"on": [("2 h", "4 h")]}}


@pytest.fixture(scope="module")
def panel() -> Panel:
    return stretch_panel(FRIDGE, UNIT, HELPS, rated="1 kW", start="90 %")


def outage(helped: str, generator: float) -> Outage:
    """Return what the panel's position stands for."""
    recharge = [*HELPS[helped].get("recharge", [])]
    recharge += (
        [Generator("1 kW", hours=f"8:00-{8 + int(generator)}:{60 * (generator % 1):02.0f}")] if generator else []
    )
    return Outage("3 days", start="90 %", begins="18:00", recharge=recharge, on=HELPS[helped].get("on"))


@pytest.mark.parametrize("helped", HELPS)
@pytest.mark.parametrize("generator", [0, 2.5])
def test_it_says_what_the_ride_says(panel: Panel, helped: str, generator: float) -> None:
    view, rides = panel.at(helped=helped, generator=generator), ride(
        FRIDGE.as_load(), UNIT, outage(helped, generator), draws=200, times=144
    )  # fmt: skip
    low, high = (end.magnitude for end in rides.lasts.interval())
    assert list(view.table.iloc[0, 1:]) == [pytest.approx(low), pytest.approx(high)]
    assert f"{round(200 * rides.chance)} of 200 rides last: {rides.verdict}" in view.text
    assert (f"burns {rides.fuel}" in view.text) if generator else ("burns" not in view.text)
    assert stretch_view(FRIDGE, rides).text == view.text


def test_more_help_lasts_longer_and_gaps_cost_the_food(panel: Panel) -> None:
    ends = {helped: panel.at(helped=helped).table.set_index("what")["from (h)"] for helped in HELPS}
    assert ends["sun"]["the unit runs"] > ends["nothing"]["the unit runs"] + 2
    assert ends["gaps"]["the unit runs"] > ends["nothing"]["the unit runs"] + 2
    assert ends["gaps"]["the food is kept"] < 8 < ends["nothing"]["the food is kept"]


def test_food_is_the_one_that_a_plan_of_the_same_outage_keeps(panel: Panel) -> None:
    """Nothing is better for a cabinet that never may be off, so a plan's food is the panel's."""
    plan = plan_stages(FRIDGE, UNIT, outage("nothing", 0), draws=200)
    low, high = (end.magnitude for end in plan.food_always.interval())
    assert list(panel.at().table.iloc[1, 1:]) == [pytest.approx(low), pytest.approx(high)]


def test_after_the_unit_food_is_counted_for_the_agencies_hours_at_most(panel: Panel) -> None:
    runs, food = panel.at().table.iloc[:, 2]
    assert runs < food <= runs + FRIDGE.rule.value


def test_cautions_come_with_what_needs_them(panel: Panel) -> None:
    assert "Caution" not in panel.at().text
    both = panel.at(helped="sun", generator=1)
    assert re.search("20 ft from openings, burns .* Caution: snow on the panel.*; carbon monoxide kills", both.text)
    assert both.note == "sun of a real place, else invented data"


def test_the_picture_has_a_generator_each_morning(panel: Panel) -> None:
    figure = canvas()
    panel.at(generator=3).draw(figure)
    patches: Any = figure.axes[0].patches
    spans = [(patch.get_x(), patch.get_x() + patch.get_width()) for patch in patches]
    assert spans == [pytest.approx((begin, begin + 3)) for begin in (14, 38, 62)]
