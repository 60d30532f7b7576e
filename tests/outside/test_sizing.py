"""Sizing by hand: a published load list, a handbook's storage, and numbers of the trade."""

from __future__ import annotations

from typing import Any

import pytest

from ridethrough.answer.ledger import ledger
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import ride, spread
from ridethrough.answer.size import size
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import fit_rundowns
from ridethrough.model.inverter import Inverter
from ridethrough.model.load import Load
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_

NO_LOSS = Inverter.fit([("0 W", "0 W"), ("900 W", "900 W"), ("3000 W", "3000 W")], "3000 W")


def wh(value: Any) -> float:
    return float(getattr(value, "value", value).m_as("Wh"))


# --- Car and Deep Cycle Battery FAQ, 7.9.1, as quoted: a load list at 120 V ------------------------------------------

FAQ_791 = [
    (Load.daily([("18:00", "22:00", "60 W")], "lamp") + Load.daily([("18:00", "22:00", "60 W")], "lamp"), 4.0),
    (Load.cycling("200 W", "25 %", "refrigerator"), 10.0),
    (Load.cycling("600 W", 25 * 15 / 86_400, "drill, 5 A 25 times for 15 s"), 0.52),
    (Load.cycling("1200 W", "50 %", "pump, 10 A"), 120.0),
]


@pytest.mark.parametrize(("load", "amp_hours"), FAQ_791, ids=lambda each: getattr(each, "name", None))
def test_a_load_list_by_hand(load: Load, amp_hours: float) -> None:
    """The list's ampere-hours of a day, through the load, the ledger and the ride of a unit that loses nothing."""
    unit = BackupUnit.from_print("exact", capacity=Estimate.exact("30 kWh"), chemistry="flooded lead-acid", inverter=NO_LOSS,
                                 rated="3000 W", rating_hours="6 min")  # fmt: skip
    for energy in (load.energy_over("24 h"), ledger(load, unit, "24 h").needed, ride(load, unit, "24 h").served):
        assert wh(energy) / 120 == pytest.approx(amp_hours, abs=0.005)


def test_the_list_adds_up() -> None:
    load = FAQ_791[0][0] + FAQ_791[1][0] + FAQ_791[2][0] + FAQ_791[3][0]
    assert wh(load.energy_over("24 h")) / 120 == pytest.approx(134.52, abs=0.01)


# --- Open Source Solar Project handbook, "Energy storage sizing and selection" ---------------------------------------


@pytest.mark.parametrize(("days", "usable_ah"), [(1, 205), (2, 410), (3, 615)])
def test_storage_by_hand(days: int, usable_ah: float) -> None:
    """Daily ampere-hours times days of autonomy over depth of discharge: 205 Ah a day at 0.5, of a 12 V bank."""
    like = BackupUnit.from_print("bank", capacity=Estimate.exact("1200 Wh"), chemistry="flooded lead-acid", rated="3000 W",
                                 inverter=NO_LOSS, depth_of_discharge="50 %")  # fmt: skip
    found = size(Load.steady(Q_(205 * 12 / 24, "W")), Q_(days, "day"), like=like)
    assert wh(found.printed) / 12 == pytest.approx(usable_ah / 0.5, rel=1e-5)


# --- Facts of the trade: common practice, no source ----------------------------------------------------------------


def unit(standby_w: float, energy_wh: float) -> BackupUnit:
    """A unit whose run-downs give this standby and energy at the outlet, its printed capacity of no account."""
    runs = [(f"{load} W", f"{energy_wh / (standby_w + load):.9f} h") for load in (0, 40, 150)]
    line = fit_rundowns(runs, repeatability="1 %", room="20 degC")
    return BackupUnit.from_rundowns("mine", line, printed="30 kWh", rated="1500 W")


FRIDGE = Load.steady(Q_(1300 / 24, "W"))


@pytest.mark.parametrize(
    ("standby_w", "hours", "needs_wh"), [(37, 72, 6564), (20, 72, 5340), (37, 168, 15_316), (47, 168, 16_996)]
)
def test_what_an_outage_asks_at_the_outlet(standby_w: float, hours: float, needs_wh: float) -> None:
    """Common practice, no source: 1,300 Wh a day and the standby, for three days and for a week."""
    account = ledger(FRIDGE, unit(standby_w, 6000), Q_(hours, "h"))
    assert wh(account.needed) == pytest.approx(needs_wh)
    seen = ride(FRIDGE, unit(standby_w, 20_000), Q_(hours, "h"))
    assert wh(seen.served) == pytest.approx(needs_wh)


def test_a_capacity_that_is_short_on_one_standby_and_covers_on_another() -> None:
    """Common practice, no source: 6,000 Wh (invented) last 65.8 h with 37 W of standby, and three days with 20 W."""
    thirsty, modest = unit(37, 6000), unit(20, 6000)
    assert ledger(FRIDGE, thirsty, "72 h").lasts.magnitude == pytest.approx(65.8, abs=0.05)
    assert ride(FRIDGE, thirsty, "72 h").lasts.magnitude == pytest.approx(65.8, abs=0.05)
    assert ledger(FRIDGE, thirsty, "72 h").verdict == "short"
    assert spread(FRIDGE, thirsty, "72 h", draws=2000).verdict == "short"
    assert ride(FRIDGE, modest, "72 h").survives
    assert ledger(FRIDGE, modest, "72 h").verdict == "covered"
    assert spread(FRIDGE, modest, "72 h", draws=2000).verdict == "covered"


def test_a_margin_of_five_percent_is_tight() -> None:
    """Common practice, no source: where the load is known to 15 % in 95 of 100 cases, as days differ."""
    load = Load.steady(Estimate.standard(Q_(1300 / 24, "W"), Q_(0.15 / 1.96 * 1300 / 24, "W"), "days"))
    almost = unit(37, 1.05 * 15_316)
    assert ledger(load, almost, "1 week").verdict == "tight"
    assert spread(load, almost, "1 week", draws=4000).verdict == "tight"
    assert ledger(load, unit(37, 1.25 * 15_316), "1 week").verdict == "covered"


def test_the_start_and_reserve_come_off_first() -> None:
    """Common practice, no source: what is not charged, and what is kept back, is not there for the load."""
    outage = Outage("72 h", start="90 %", reserve="300 Wh")
    assert wh(ledger(FRIDGE, unit(20, 6000), outage).left) == pytest.approx(0.9 * 6000 - 300 - 5340)
