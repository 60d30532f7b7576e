"""Windows by hand: what the unit saves while it is off, what the gaps cost, and which windows are best."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ridethrough.answer.ledger import ledger
from ridethrough.answer.nothing import do_nothing
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import ride
from ridethrough.answer.stages import Stages, plan_stages
from ridethrough.estimate import Estimate
from ridethrough.model.cabinet import Cabinet
from ridethrough.model.inverter import Inverter
from ridethrough.model.load import Load
from ridethrough.model.recharge import Recharge
from ridethrough.model.unit import BackupUnit
from ridethrough.sources import CAUTIONS
from ridethrough.units import Q_, Refusal, read_quantity

EXACT = Estimate.exact


def unit(standby: str = "10 W", capacity: str = "400 Wh", **told: Any) -> BackupUnit:
    """A unit of which all is known, and nothing is lost but its standby."""
    power = Q_(standby).m_as("W")
    inverter = Inverter.fit([(f"{at} W", f"{at + power} W") for at in (0, 500, 900)], "900 W")
    return BackupUnit.from_print("plain", **{
        "capacity": EXACT(capacity), "chemistry": "iron phosphate", "inverter": inverter, "rated": "900 W",
        "depth_of_discharge": "100 %", "rating_hours": "6 min", "charge_power": "900 W", "taper_from": "100 %",
    } | told)  # fmt: skip


def cabinet(kind: str = "freezer", running: str = "84 W", duty: str = "35 %", **told: Any) -> Cabinet:
    return Cabinet(Load.cycling(running, duty, kind).in_a_room_of("21 degC", kind), **told)


def plan(*given: Any, draws: int = 40, **told: Any) -> Stages:
    return plan_stages(*given, draws=draws, **told)


# -- the unit off between windows, by hand -----------------------------------------------------------------


def test_a_unit_that_is_off_takes_nothing() -> None:
    """60 W in 2 h of every 6 h: 120 Wh each time; of 400 Wh 40 are left after 18 h, and are gone 40 min later."""
    windows = Outage("24 h", on=[("0 h", "2 h")], every="6 h")
    found = ride(Load.steady("50 W"), unit(), windows, draws=2)
    assert found.lasts.magnitude == pytest.approx(18 + 40 / 60)
    assert found.unserved.magnitude == pytest.approx(80)
    assert windows.on_hours == 8
    lines = {line.label: line.energy.magnitude for line in ledger(Load.steady("50 W"), unit(), windows, draws=2).lines}
    assert lines["standby, 8 h x 10 W"] == pytest.approx(-80)
    assert lines["steady load, 24 h"] == pytest.approx(-400)


def test_what_a_window_cuts_in_two_is_counted_once() -> None:
    """Windows of odd lengths, over midnight, and an outage that ends in one."""
    windows = Outage("1 day 7 h", on=[("1 h 7 min", "2 h"), ("23 h", "25 h 30 min")], every="26 h", begins="17:00")
    hours = 53 / 60 + 2.5 + 53 / 60
    assert windows.on_hours == pytest.approx(hours)
    found = ride(Load.steady("50 W"), unit(), windows, draws=2)
    assert found.left.magnitude == pytest.approx(400 - 60 * hours)
    once = Outage("30 h", on=[("1 h", "2 h"), ("5 h", "6 h")])
    assert once.on_hours == pytest.approx(2 + 8)  # without every: again from the end of the last on


def test_windows_end_with_the_outage() -> None:
    """What is left after it is not ridden on: nobody knows how it would be switched then."""
    found = ride(Load.steady("50 W"), unit(), Outage("9 h", on=[("0 h", "2 h")], every="6 h"), draws=2)
    assert str(found.lasts) == "at least 9 h"
    assert found.left.magnitude == pytest.approx(400 - 4 * 60)


def test_nothing_is_charged_while_it_is_off() -> None:
    """100 W of sun all day; only in the four hours on the unit takes 90 W more than it asks, less nothing."""
    sun = Recharge.series([100] * 12, efficiency="80 %")
    windows = Outage("12 h", start="25 %", on=[("4 h", "8 h")], every="12 h", recharge=sun)
    found = ride(Load.steady("40 W"), unit(), windows, draws=2)
    assert found.left.magnitude == pytest.approx(100 + 4 * 0.8 * 50)
    assert found.wasted.magnitude == pytest.approx(8 * 100)
    assert abs(found.residual.magnitude) < 1e-9


def test_windows_all_along_are_none() -> None:
    load = cabinet().as_load()
    always, windows = (ride(load, unit(), each, draws=100)
                       for each in ("30 h", Outage("30 h", on=[("0 h", "30 h")])))  # fmt: skip
    for each in ("left", "served", "unserved", "mean_power"):
        assert getattr(windows, each).magnitude == pytest.approx(getattr(always, each).magnitude)


def test_a_cabinet_draws_its_gap_again() -> None:
    """In its windows it asks more than all along, in the whole less: while it is warmer less leaks in."""
    box = cabinet("refrigerator", inside="3 degC")
    windows = Outage("24 h", on=[("3 h", "6 h")], every="6 h")
    asked = -ledger(box.as_load(), unit(), windows, draws=2).lines[2].energy.magnitude
    assert 84 * 0.35 * 12 * 1.4 < asked < 84 * 0.35 * 24
    assert asked < 84 * 12
    other = ride(Load.cycling("84 W", "35 %", "freezer"), unit(), windows, draws=2)
    assert any(CAUTIONS["no cabinet"] in each for each in other.cautions)
    assert not any(CAUTIONS["no cabinet"] in each for each in ride(box.as_load(), unit(), windows, draws=2).cautions)


@pytest.mark.parametrize("kind", ["refrigerator", "freezer"])
def test_the_account_closes_with_windows(kind: str) -> None:
    windows = Outage("50 h", on=[("2 h 10 min", "4 h")], every="5 h", room=[f"{15 + n % 12} degC" for n in range(50)],
                     unit_at="-5 degC", reserve="30 Wh")  # fmt: skip
    for small in (unit(), unit(capacity="2 kWh")):
        account = ledger(cabinet(kind).as_load() + Load.steady("7 W", "router"), small, windows, draws=300)
        assert np.abs(account.residual.rows).max() < 1e-9
        total = sum(line.energy.rows for line in account.lines if line.kind != "total") + account.lines[0].energy.rows
        assert total == pytest.approx(account.left.rows, abs=1e-9)


# -- which windows ---------------------------------------------------------------------------------------


def test_the_best_windows_by_hand() -> None:
    """Twenty tons of food do not warm: what is least on is best, and the agencies' four hours are all that binds.

    Of periods of 6 h and longer only those on for all but four hours are allowed: 2 of 6, 4 of 8, 8 of 12, 20 of 24 h.
    2 of 6 h is least: 8 h on a day. With a switching every two hours 20 min of 4 h is.
    """
    box = cabinet("refrigerator", food="20000 kg", inside="3 degC")
    best = plan(box, unit(), "48 h", switchings=8)
    assert best.pattern == "on for the last 2 h of every 6 h"
    assert best.outage.on_hours == 16
    assert best.windows[:2] == (("4 h", "6 h"), ("10 h", "12 h"))
    allowed = best.table[best.table["note"] == ""]
    assert set(zip(allowed["on (h)"], allowed["every (h)"], strict=True)) == (
        {(n / 2, 6.0) for n in range(4, 12)} | {(n * 2 / 3, 8.0) for n in range(6, 12)}
        | {(float(n), 12.0) for n in range(8, 12)} | {(n * 2.0, 24.0) for n in range(10, 13)}
    )  # fmt: skip
    assert plan(box, unit(), "48 h").pattern == "on for the last 20 min of every 4 h"
    assert plan(box, unit(), "48 h", switchings=8, thermometer=True).outage.on_hours == 4


def test_the_best_windows_are_the_best_of_all_rides() -> None:
    """Each pattern ridden for itself: none that keeps the food leaves more."""
    box, small = cabinet("freezer", food="30 kg", inside="-18 degC"), unit("15 W", "3 kWh")
    found = plan(box, small, "40 h", switchings=6)
    asked = []
    for row in found.table.itertuples(index=False):
        outage = Outage("40 h")
        if row[0] < row[1]:
            outage = outage.switched(row[1] - row[0], row[0])
        asked.append(float(ride(box.as_load(), small, outage, draws=2).walk.state.asked[0]))
    assert found.table["asked (Wh)"].to_numpy() == pytest.approx(asked, rel=1e-9)
    assert found.table["asked (Wh)"].is_monotonic_increasing
    kept = (found.table["note"] == "").to_numpy()
    assert 0 < kept.sum() < kept.size
    assert float(found.ride.walk.state.asked[0]) == pytest.approx(min(np.array(asked)[kept]))


def test_a_large_standby_gains_and_a_small_one_does_not() -> None:
    """25 W beside a freezer of 14 W: windows more than double the hours. 1 W beside 42 W: not a tenth more."""
    small_load, large_load = cabinet(running="70 W", duty="20 %"), cabinet("refrigerator", "120 W", inside="3 degC")
    much, little = plan(small_load, unit("25 W", "1 kWh"), "72 h"), plan(large_load, unit("1 W", "1 kWh"), "72 h")
    assert much.gained.magnitude > 1.2 * much.always.lasts.magnitude
    assert little.gained.magnitude < 0.1 * little.always.lasts.magnitude
    saved = much.table.loc[much.table["unit on (h)"] == much.outage.on_hours, "standby saved (Wh)"].iloc[0]
    assert saved == pytest.approx(25 * (72 - much.outage.on_hours))


def test_food_that_is_not_kept_by_a_unit_that_runs_empty() -> None:
    """The unit's hours and the food's are two: after the last watt-hour the food still keeps for a while."""
    found = plan(cabinet(food="50 kg", inside="-18 degC"), unit("20 W", "500 Wh"), "5 days")
    assert found.always.lasts.magnitude < found.food_always.magnitude < found.food.magnitude
    closed = found.cabinet.hours_until(draws=40).magnitude
    assert found.food_always.magnitude == pytest.approx(found.always.lasts.magnitude + closed, rel=0.03)
    assert found.food_always.chance_above("5 days") == 0


def test_windows_never_risk_food_that_a_unit_on_all_along_would_keep() -> None:
    """A unit with more than enough: windows save, but only as far as every draw that kept its food still does."""
    found = plan(cabinet(), unit("10 W", "4 kWh"), "24 h", draws=300)
    assert found.food_always.chance_above("24 h") == 1
    assert found.food.chance_above("24 h") == 1
    assert found.outage.on is not None
    assert CAUTIONS["stages not needed"] in found.cautions
    assert CAUTIONS["nothing charged while off"] not in found.cautions
    sunny = plan(cabinet(), unit(), Outage("24 h", recharge=Recharge.series([60] * 24)))
    assert CAUTIONS["nothing charged while off"] in sunny.cautions
    own = Outage("24 h", on=[("2 h", "4 h")], every="6 h", recharge=Recharge.series([60] * 24))
    assert CAUTIONS["nothing charged while off"] in ride(cabinet().as_load(), unit(), own, draws=20).cautions
    assert sunny.cautions.count(CAUTIONS["nothing charged while off"]) == 1
    needed = plan(cabinet(), unit("20 W", "400 Wh"), "48 h")
    assert CAUTIONS["stages not needed"] not in needed.cautions


def test_without_a_thermometer_no_hours_are_longer_than_the_agencies() -> None:
    """Food that would keep for weeks: four hours, and four more after the unit ran empty, are all that is said."""
    box = cabinet("refrigerator", food="5000 kg", inside="3 degC")
    said, free = (plan(box, unit("20 W"), "72 h", thermometer=each) for each in (False, True))
    gaps = said.table.loc[said.table["note"] == "", ["every (h)", "on (h)"]].to_numpy()
    assert (gaps[:, 0] - gaps[:, 1] <= 4 + 1e-9).all()
    assert said.food_always.rows == pytest.approx(said.always.walk.state.empty_h + 4)
    assert np.isinf(free.food_always.rows).all()
    assert CAUTIONS["no thermometer"] in said.cautions
    assert CAUTIONS["thermometer"] in free.cautions


@pytest.mark.parametrize("kind", ["refrigerator", "freezer"])
def test_the_food_is_always_spoken_of(kind: str) -> None:
    found = plan(cabinet(kind), unit(), "30 h")
    assert CAUTIONS[f"food, {kind}"] in found.cautions
    for said in (repr(found), found._repr_html_()):
        assert all(words in said for words in ("40 °F (4.4 °C)", "2 h or more"))
        assert {"refrigerator": "about 4 h", "freezer": "about 48 h"}[kind] in said


@pytest.mark.parametrize("kind", ["refrigerator", "freezer"])
def test_a_ride_speaks_of_the_food_where_it_may_warm(kind: str) -> None:
    """Of every cabinet, and of every cold appliance that windows switch off; of nothing else, and once."""
    box, said = cabinet(kind), CAUTIONS[f"food, {kind}"]
    windows, cold = Outage("24 h", on=[("0 h", "10 min")], every="24 h"), box.load
    for load, outage, count in (
        (box.as_load(), "24 h", 1), (box.as_load(), windows, 1), (cold, windows, 1), (cold, "24 h", 0),
        (box.as_load() + box.as_load(), windows, 1), (Load.steady("5 W", "router"), windows, 0),
    ):  # fmt: skip
        assert ride(load, unit(), outage, draws=2).cautions.count(said) == count
    assert said in ledger(box.as_load(), unit(), windows, draws=2).cautions
    found = plan(box, unit(), "30 h")
    assert said in found.ride.cautions
    assert found.cautions.count(said) == 1


def test_a_unit_that_need_not_run_is_left_off() -> None:
    """Ten hours, of which the first gap takes all: nothing is asked, and no window is told."""
    found = plan(cabinet(), unit(), "10 h")
    assert found.pattern == "leave it off: the food keeps as long without it"
    assert (found.windows, float(found.ride.walk.state.asked[0])) == ((), 0)
    assert CAUTIONS["stages not needed"] not in found.cautions
    assert plan(cabinet(), unit(), "30 h").pattern.startswith("on for the last")


def test_windows_are_told_by_the_clock_where_it_is_known() -> None:
    box = cabinet("refrigerator", food="20000 kg", inside="3 degC")
    told = plan(box, unit(), Outage("1 day", begins="21:30"), switchings=8).windows
    assert told == (("1:30", "3:30"), ("7:30", "9:30"), ("13:30", "15:30"), ("19:30", "21:30"))
    told = plan(box, unit(), "24 h", switchings=8).windows
    assert Outage("24 h", on=told).on_hours == 8
    assert read_quantity(told[0][0]).m_as("h") == 4


def test_what_runs_beside_it_runs_in_its_windows() -> None:
    box, router = cabinet(food="60 kg", inside="-18 degC"), Load.steady("9 W", "router")
    alone, beside = plan(box, unit(), "24 h"), plan(box, unit(), "24 h", beside=router)
    assert beside.outage.on_hours == alone.outage.on_hours
    more = float(beside.ride.walk.state.asked[0] - alone.ride.walk.state.asked[0])
    assert more == pytest.approx(9 * alone.outage.on_hours)


# -- doing nothing ---------------------------------------------------------------------------------------


def test_doing_nothing() -> None:
    freezer = do_nothing(cabinet(food="60 kg", inside="-18 degC"), "24 h", ice="5 kg", colder="4 degC", draws=200)
    assert list(freezer["choice"]) == ["door closed", "door closed, 5 kg of ice", "in a place of 4 °C",
                                       "unplugged first, plugged in after"]  # fmt: skip
    closed, ice, colder, first = freezer["predicted (h)"]
    assert closed < ice < colder
    assert first == closed
    assert freezer["saves (Wh)"][0] == pytest.approx(84 * 0.35 * min(24, freezer["kept (h)"][0]))
    assert 0 < freezer["saves (Wh)"][3] < freezer["saves (Wh)"][0]
    assert freezer["caution"].str.len().min() > 20
    fridge = do_nothing(cabinet("refrigerator"), Outage("24 h", room="30 degC"), draws=200)
    assert len(fridge) == 2
    assert fridge["predicted (h)"][0] == pytest.approx(
        cabinet("refrigerator").hours_until(room="30 degC", draws=200).magnitude
    )


@pytest.mark.parametrize("cool_first", [True, False])
def test_the_hours_of_a_room_count_one_by_one(cool_first: bool) -> None:
    """While the first twelve hours are as warm as one room, food that is lost in them is lost as there."""
    hours = (["5 degC"] * 12 + ["40 degC"] * 12) if cool_first else (["40 degC"] * 12 + ["5 degC"] * 12)
    found = do_nothing(cabinet("refrigerator"), Outage("24 h", room=hours), thermometer=True, draws=40)
    alone = do_nothing(cabinet("refrigerator"), Outage("24 h", room=hours[0]), thermometer=True, draws=40)
    kept = found["kept (h)"][0]
    assert kept > 12 if cool_first else kept == pytest.approx(alone["kept (h)"][0])
    drawn_w = 84 * 0.35 / 18 * np.array([2.0 if cool_first else 37.0, 37.0 if cool_first else 2.0])
    assert found["saves (Wh)"][0] == pytest.approx(drawn_w @ [min(kept, 12), max(kept - 12, 0)], rel=0.02)


def test_what_outlasts_all_that_is_followed_is_at_least_so_long() -> None:
    free, ruled = (do_nothing(cabinet(), Outage("24 h", room="-20 degC"), thermometer=each, draws=40)
                   for each in (True, False))  # fmt: skip
    for table in (free, ruled):
        assert table["caution"].str.contains("predicted at least 336 h").all()
    assert free["give or take (h)"].isna().all()
    assert ruled["give or take (h)"].notna().all()
    assert not do_nothing(cabinet(), "24 h", draws=40)["caution"].str.contains("at least").any()


def test_food_that_is_not_cold_when_the_outage_begins_keeps_for_nothing() -> None:
    found = do_nothing(cabinet(inside="-0.6 degC"), "24 h", draws=40)
    assert (found["kept (h)"][0], found["saves (Wh)"][0]) == (0, 0)


def test_fresh_food_freezes_in_a_place_that_is_too_cold() -> None:
    """Fresh food only, and only there."""
    fresh = do_nothing(cabinet("refrigerator"), "24 h", colder="-10 degC", draws=40)
    assert list(fresh["caution"].str.contains(CAUTIONS["food freezes"], regex=False)) == [False, False, True]
    frosty = do_nothing(cabinet("refrigerator"), Outage("3 h", room=["4 degC", "-1 degC", "4 degC"]), draws=40)
    assert frosty["caution"].str.contains(CAUTIONS["food freezes"], regex=False).all()
    for other in (do_nothing(cabinet(), "24 h", colder="-10 degC", draws=40),
                  do_nothing(cabinet("refrigerator"), "24 h", colder="2 degC", draws=40)):  # fmt: skip
        assert not other["caution"].str.contains(CAUTIONS["food freezes"], regex=False).any()


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: plan(Load.steady("5 W"), unit(), "3 h"), "Needed: a cabinet"),
        (lambda: do_nothing("freezer", "3 h"), "Needed: a cabinet"),
        (lambda: do_nothing(cabinet(), "3 h", ice="2 L"), "a volume"),
        (lambda: plan(cabinet(), unit(), Outage("3 h", on=[("0 h", "1 h")])), "Leave on and every out"),
        (lambda: plan(cabinet(), unit(), "3 h", switchings=1), "2 or more"),
        (lambda: Outage("3 h", on="2 h"), "Needed: from and to"),
        (lambda: Outage("9 h", on=[("2 h", "5 h")], every="4 h"), "Needed: windows that end by then"),
        (lambda: Outage("9 h", on=[("0 h", "2 h"), ("2 h 4 min", "3 h")]), "off for 4 min"),
        (lambda: Outage("9 h", on=[]), "one after the other"),
        (lambda: Outage("24 h", on=[("30 h", "40 h")]), "Needed: one that begins before its end"),
        (lambda: plan(cabinet(), unit(), "3 h", thermometer="no"), "thermometer='no'. Needed: True or False"),
    ],
)
def test_what_cannot_be_planned_is_refused(call: Any, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        call()
