"""Rides through an outage: one with the ledger where both can tell, their account closed, and no loss a help."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ridethrough.answer.ledger import ledger
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import Ride, ride
from ridethrough.measure.bench import fit_rundowns
from ridethrough.measure.meterlog import MeterLog
from ridethrough.model.battery import CHEMISTRIES
from ridethrough.model.inverter import Inverter
from ridethrough.model.load import Load
from ridethrough.model.recharge import Recharge
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal

LINE = fit_rundowns([("0 W", "71 h"), ("70 W", "13.6 h"), ("260 W", "4.4 h")], repeatability="1.5 %", room="20 degC")
NO_LOSS = Inverter.fit([("0 W", "0 W"), ("500 W", "500 W"), ("900 W", "900 W")], "900 W")


def printed(capacity: Any = "1230 Wh", standby: Any = "8 W", **more: Any) -> BackupUnit:
    given: dict[str, Any] = {"chemistry": "iron phosphate", "pack": "710 Wh", "packs_max": 3, "pack_standby": "1.5 W"}
    unit = BackupUnit.from_print("mine", capacity=capacity, standby="8 W", efficiency="87 %", at="250 W", rated="900 W",
                                 **given | more)  # fmt: skip
    return unit.with_standby(standby)


def measured(standby: Any = None, **more: Any) -> BackupUnit:
    unit = BackupUnit.from_rundowns("mine", LINE, printed="1230 Wh", rated="900 W", pack="710 Wh", packs_max=3,
                                    pack_standby="1.5 W", k1="0 %", **more)  # fmt: skip
    return unit if standby is None else unit.with_standby(standby)


def plain(capacity: Any = "400 Wh", **more: Any) -> BackupUnit:
    """A unit that loses nothing: what is asked at the outlet is asked of the battery, watt by watt."""
    return BackupUnit.from_print(
        "plain", capacity=capacity, chemistry="iron phosphate", inverter=NO_LOSS, rated="900 W",
        depth_of_discharge="100 %", rating_hours="6 min", **more,  # at every rate the same energy
    )  # fmt: skip


def wh(value: Any) -> float:
    return float(getattr(value, "value", value).m_as("Wh"))


def hours(value: Any) -> float:
    return float(getattr(value, "value", value).m_as("h"))


def worth(seen: Ride) -> float:
    """What a ride comes to: what it has left, less what it lacked [Wh]."""
    return wh(seen.left) - wh(seen.unserved)


units = st.one_of(
    st.builds(
        lambda capacity, standby, chemistry, health, heater: printed(
            Q_(capacity, "Wh"), Q_(standby, "W"), chemistry=chemistry, health=health, heater=heater
        ),
        st.floats(200, 6000), st.floats(0, 40), st.sampled_from(CHEMISTRIES), st.floats(0.5, 1),
        st.sampled_from([None, ("22 W", "3 degC")]),
    ),
    st.builds(
        lambda standby, health, heater: measured(Q_(standby, "W"), health=health, heater=heater),
        st.floats(0, 40), st.floats(0.5, 1), st.sampled_from([None, ("22 W", "3 degC")]),
    ),
)  # fmt: skip
packs = st.integers(0, 3)
starts = st.floats(0, 1)
colds = st.sampled_from([None, "-8 degC", "4 degC", "25 degC", "33 degC"])


# --- With the ledger --------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(
    unit=units, count=packs, watts=st.lists(st.floats(0, 250), min_size=1, max_size=3), length=st.floats(0.01, 400),
    start=starts, unit_at=colds, reserve=st.floats(0, 300),
)  # fmt: skip
def test_ledger_and_ride_are_one_for_steady_loads(
    unit: BackupUnit, count: int, watts: list[float], length: float, start: float, unit_at: Any, reserve: float
) -> None:
    load = sum(
        (Load.steady(Q_(power, "W"), str(n)) for n, power in enumerate(watts[1:])), Load.steady(Q_(watts[0], "W"))
    )
    assume(sum(watts) + unit.standby.value.magnitude > 0.1)
    unit = unit.with_packs(count)
    outage = Outage(Q_(length, "h"), start=start, unit_at=unit_at)
    account, seen = ledger(load, unit, outage), ride(load, unit, outage)
    lasts = hours(account.lasts)
    slack = 1e-9 * (1 + wh(account.available) + wh(account.needed))
    if lasts < length * (1 - 1e-9):
        assert hours(seen.lasts) == pytest.approx(lasts, rel=1e-9, abs=1e-9)
        assert not seen.survives
    elif lasts > length * (1 + 1e-9):
        assert seen.survives
        assert hours(seen.lasts) == length
    assert wh(seen.left) - wh(seen.unserved) == pytest.approx(wh(account.left), abs=slack)
    assert wh(seen.served) + wh(seen.unserved) == pytest.approx(wh(account.needed), rel=1e-9)
    kept = ledger(load, unit, Outage(Q_(length, "h"), start=start, unit_at=unit_at, reserve=Q_(reserve, "Wh")))
    until = hours(kept.lasts)
    if 0 < until < length:  # the reserve is what the ride has left when the ledger's time is up
        then = ride(load, unit, Outage(Q_(until, "h"), start=start, unit_at=unit_at))
        assert wh(then.left) == pytest.approx(reserve, abs=10 * slack)


@settings(max_examples=30, deadline=None)
@given(
    unit=units, running=st.lists(st.tuples(st.floats(5, 250), st.floats(0.05, 0.95)), min_size=1, max_size=3),
    length=st.floats(2, 300), start=starts,
)  # fmt: skip
def test_ledger_and_ride_are_one_within_a_cycle_for_cycling_loads(
    unit: BackupUnit, running: list[tuple[float, float]], length: float, start: float
) -> None:
    loads = [Load.cycling(Q_(power, "W"), duty) for power, duty in running]
    load = Load(tuple(each.appliances[0] for each in loads))
    cycle = load.appliances[0].through_time.period_h
    outage = Outage(Q_(length, "h"), start=start)
    account, seen = ledger(load, unit, outage), ride(load, unit, outage)
    whole = sum(power for power, _ in running) * cycle
    # peaks of several that coincide lose more in an inverter than the ledger's, which takes them as independent
    assert worth(seen) == pytest.approx(wh(account.left), abs=whole + 0.02 * wh(account.needed))
    lasts = hours(account.lasts)
    if lasts + cycle < 0.98 * length:
        assert hours(seen.lasts) == pytest.approx(lasts, abs=cycle + 0.02 * lasts)
    elif lasts > 1.02 * length + cycle:
        assert seen.survives


def test_whole_cycles_ask_what_the_ledger_says() -> None:
    load = Load.cycling("90 W", "35 %")
    for unit in (printed(), measured()):
        account, seen = ledger(load, unit, "9 h"), ride(load, unit, "9 h")
        assert wh(seen.served) == pytest.approx(wh(account.needed), rel=1e-12)
        assert wh(seen.left) == pytest.approx(wh(account.left), rel=1e-12)


def test_a_days_spread_moves_no_best_estimate() -> None:
    one, two = (
        ride(Load.cycling("90 W", "35 %", day_spread=spread), printed(), "50 h") for spread in ("0 Wh", "90 Wh")
    )
    assert one.lasts == two.lasts


# --- The account ------------------------------------------------------------------------------------

recharges = st.one_of(
    st.just(()),
    st.builds(
        lambda begin, length, gap, power, eta: Recharge.mains(
            [(Q_(begin, "h"), Q_(begin + length, "h")),
             (Q_(begin + length + gap, "h"), Q_(begin + length + gap + 1, "h"))],
            power=Q_(power, "W"), efficiency=eta,
        ),
        st.floats(0, 30), st.floats(0.1, 8), st.floats(0.1, 30), st.floats(1, 900), st.floats(0.3, 1),
    ),
    st.builds(
        lambda power, step, eta: Recharge.series(power, step=Q_(step, "h"), efficiency=eta),
        st.lists(st.floats(0, 900), min_size=1, max_size=40), st.floats(0.2, 5), st.floats(0.3, 1),
    ),
)  # fmt: skip
loads = st.builds(
    lambda steady, running, duty, evening: Load.steady(Q_(steady, "W")) + Load.cycling(Q_(running, "W"), duty)
    + Load.daily([("18:00", "22:30", Q_(evening, "W")), ("22:30", "6:15", "3 W")]),
    st.floats(0, 80), st.floats(10, 250), st.floats(0.05, 0.95), st.floats(1, 120),
)  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(
    unit=units, load=loads, length=st.floats(0.5, 100), start=starts, recharge=recharges,
    restart=st.sampled_from([0, 0.05, 0.4, 1]), unit_at=colds,
)  # fmt: skip
def test_the_energy_account_closes(
    unit: BackupUnit, load: Load, length: float, start: float, recharge: Any, restart: float, unit_at: Any
) -> None:
    outage = Outage(Q_(length, "h"), start=start, recharge=recharge, begins="17:20", unit_at=unit_at)
    seen = ride(load, unit, outage, restart=restart)
    account = seen.account
    throughput = wh(seen.served) + wh(seen.unserved) + float(account.stored_wh[0]) + wh(seen.wasted) + wh(seen.capacity)
    assert abs(wh(seen.residual)) <= 1e-9 * throughput
    assert 0 <= wh(seen.left) <= wh(seen.capacity) * (1 + 1e-12)
    assert min(wh(seen.unserved), wh(seen.wasted)) >= -1e-9 * throughput
    charge = seen.state_of_charge
    assert charge["charge (Wh)"].between(-1e-9, wh(seen.capacity) * (1 + 1e-12)).all()
    assert charge["charge (Wh)"].iloc[-1] == pytest.approx(wh(seen.left), abs=1e-9 * throughput)


@settings(max_examples=25, deadline=None)
@given(
    watts=st.floats(1, 300),
    start=starts,
    power=st.lists(st.floats(0, 600), min_size=1, max_size=12),
    eta=st.floats(0.3, 1),
)
def test_the_account_added_up_by_hand(watts: float, start: float, power: list[float], eta: float) -> None:
    """A plain loop over the hours on a unit without loss: every watt-hour asked, given and left."""
    unit, length = plain(), len(power)
    outage = Outage(Q_(length, "h"), start=start, recharge=Recharge.series(power, efficiency=eta))
    seen = ride(Load.steady(Q_(watts, "W")), unit, outage)
    charge, unserved, wasted = 400 * start, 0.0, 0.0
    for each in power:
        net = each - watts
        charge += net * (eta if net > 0 else 1)
        unserved, charge = unserved + max(0, -charge), max(0, charge)
        wasted, charge = wasted + max(0, charge - 400) / eta, min(400, charge)
    assert wh(seen.left) == pytest.approx(charge, abs=1e-7)
    assert wh(seen.unserved) == pytest.approx(unserved, abs=1e-7)
    assert wh(seen.wasted) == pytest.approx(wasted, abs=1e-7)
    assert wh(seen.served) == pytest.approx(watts * length - unserved, abs=1e-7)


# --- No loss helps ----------------------------------------------------------------------------------


@settings(max_examples=30, deadline=None)
@given(
    unit=units, load=loads, length=st.floats(0.5, 100), start=starts, recharge=recharges, more=st.floats(0.5, 30),
    less=st.floats(0.05, 0.95),
)  # fmt: skip
def test_more_standby_load_or_hours_and_less_charge_never_help(
    unit: BackupUnit, load: Load, length: float, start: float, recharge: Any, more: float, less: float
) -> None:
    def through(plugged: Load = load, by: BackupUnit = unit, over: float = length, full: float = start) -> Ride:
        return ride(plugged, by, Outage(Q_(over, "h"), start=full, recharge=recharge))

    base = through()
    standing = through(by=unit.with_standby(unit.standby.value + Q_(more, "W")))
    plugged = through(load + Load.steady(Q_(more, "W"), "more"))
    emptier = through(full=start * less)
    for worse in (standing, plugged, emptier):
        assert hours(worse.lasts) <= hours(base.lasts) + 1e-9
        assert wh(worse.unserved) >= wh(base.unserved) - 1e-6
        assert worth(worse) <= worth(base) + 1e-6
    if not recharge:
        longer = through(over=length + more)
        assert base.survives or not longer.survives
        assert worth(longer) <= worth(base) + 1e-6


@pytest.mark.parametrize("extra", [0.2, 0.5, 7.7, 100])
def test_a_run_time_does_not_depend_on_how_long_the_outage_goes_on(extra: float) -> None:
    """What happens after a unit ran empty changes nothing before it."""
    load = Load.cycling("90 W", "35 %") + Load.daily([("8:00", "20:00", "10 W")])
    for unit in (plain(), printed(), measured()):
        first = ride(load, unit, "60 h")
        assert not first.survives
        longer = ride(load, unit, Q_(60 + extra, "h"))
        assert hours(longer.lasts) == pytest.approx(hours(first.lasts), rel=1e-9)


# --- Loads by the clock, and a log ------------------------------------------------------------------


def by_the_minute(unit: BackupUnit, power_w: np.ndarray, start: float) -> tuple[float, float]:
    """Return when a unit without loss first runs empty [h] and what it was asked [Wh], minute by minute."""
    left = 400 * start - np.cumsum(power_w) / 60
    empty = np.flatnonzero(left < -1e-9)
    if not empty.size:
        return float("inf"), float(power_w.sum() / 60)
    at = empty[0]
    before = left[at - 1] if at else 400 * start
    return (at + before / (power_w[at] / 60)) / 60, float(power_w.sum() / 60)


EVENING, NIGHT = ("18:00", "22:30", "60 W"), ("23:00", "6:15", "9 W")


def evening(begins_min: int, minutes: int) -> np.ndarray:
    at = (begins_min + np.arange(minutes)) % 1440
    return np.where((at >= 1080) & (at < 1350), 60, 0) + np.where((at >= 1380) | (at < 375), 9, 0)


@settings(max_examples=25, deadline=None)
@given(begins=st.integers(0, 1439), days=st.integers(1, 3), start=st.floats(0.01, 1))
def test_a_daily_schedule_goes_by_the_clock(begins: int, days: int, start: float) -> None:
    load = Load.daily([EVENING, NIGHT])
    outage = Outage(Q_(days, "day"), start=start, begins=f"{begins // 60}:{begins % 60:02d}")
    seen = ride(load, plain(), outage)
    empty, asked = by_the_minute(plain(), evening(begins, days * 1440), start)
    assert wh(seen.served) + wh(seen.unserved) == pytest.approx(asked)
    assert seen.survives == (empty == float("inf"))
    assert seen.survives or hours(seen.lasts) == pytest.approx(empty, abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(begins=st.integers(0, 1439), minutes=st.integers(10, 3000))
def test_in_part_of_a_day_a_schedule_asks_what_the_clock_says(begins: int, minutes: int) -> None:
    """Lights of the evening take all their power in an outage of that evening, and none in one of the morning."""
    load = Load.daily([EVENING, NIGHT])
    outage = Outage(Q_(minutes, "min"), begins=f"{begins // 60}:{begins % 60:02d}")
    asked = by_the_minute(plain(), evening(begins, minutes), 1)[1]
    seen = ride(load, plain("4 kWh"), outage)
    assert wh(seen.served) == pytest.approx(asked, abs=1e-6)
    assert wh(ledger(load, plain("4 kWh"), outage).needed) == pytest.approx(asked, abs=1e-6)


def test_a_log_is_ridden_as_it_was_measured() -> None:
    """A quiet night first: in an outage of five hours the load takes what the log's first five hours took."""
    power_w = np.concatenate([np.full(5, 20.0), np.full(19, 60.0)])
    step = np.full(24, 3600.0)
    log = MeterLog("fridge", "power", np.arange(24) * 3600.0, step, power_w, None, 86400.0, Q_(0.1, "W"))
    seen = ride(log.as_load(), plain(), "5 h")
    assert wh(seen.served) == pytest.approx(100)
    whole = ride(log.as_load(), plain(), "10 h")
    assert hours(whole.lasts) == pytest.approx(5 + 300 / 60)


def test_several_appliances_add_up() -> None:
    load = (Load.cycling("90 W", "33 %", "refrigerator") + Load.steady("7 W", "router")
            + Load.daily([EVENING], "lights") + Load.steady("0 W", "spare"))  # fmt: skip
    alone = [ride(Load((each,)), plain("6 kWh"), "2 days") for each in load.appliances]
    together = ride(load, plain("6 kWh"), "2 days")
    assert wh(together.served) == pytest.approx(sum(wh(each.served) for each in alone))
    assert wh(together.left) == pytest.approx(6000 - sum(wh(each.served) for each in alone))


@pytest.mark.parametrize("unit", [printed("9 kWh"), measured(), plain("40 kWh")], ids=["printed", "measured", "plain"])
def test_a_year_of_repeating_days_is_the_same_days_written_out(unit: BackupUnit) -> None:
    load = Load.cycling("90 W", "35 %") + Load.daily([EVENING, NIGHT])
    for length in ("3 days", "8760 h"):
        short = Outage(length, begins="17:20")
        written_out = Outage(length, begins="17:20", recharge=Recharge.series([0], efficiency=1))
        one, two = ride(load, unit, short), ride(load, unit, written_out)
        assert hours(one.lasts) == pytest.approx(hours(two.lasts), rel=1e-12)
        for what in ("served", "unserved", "left"):
            assert wh(getattr(one, what)) == pytest.approx(wh(getattr(two, what)), rel=1e-9, abs=1e-6)
        assert one.charge_wh == pytest.approx(two.charge_wh, abs=1e-6)


# --- Recharge ---------------------------------------------------------------------------------------


def test_the_mains_carries_the_load_and_charges() -> None:
    """400 Wh less 3 h x 50 W; 2 h of 60 W x 80 %; then 50 W again, until 346/50 h after 5 h."""
    back = Recharge.mains([("3 h", "5 h")], power="60 W", efficiency="80 %")
    seen = ride(Load.steady("50 W"), plain(), Outage("24 h", recharge=back))
    assert hours(seen.lasts) == pytest.approx(5 + (400 - 150 + 96) / 50)
    assert wh(seen.served) == pytest.approx(3 * 50 + 346)
    assert wh(seen.wasted) == 0


def test_the_mains_fills_it_and_no_more() -> None:
    back = Recharge.mains([("3 h", "5 h")], power="300 W", efficiency="80 %")
    seen = ride(Load.steady("50 W"), plain(), Outage("6 h", recharge=back))
    assert wh(seen.left) == pytest.approx(350)
    assert wh(seen.wasted) == pytest.approx(600 - 150 / 0.8)


def test_a_full_unit_holds_its_reserve_too() -> None:
    """Of 400 Wh 100 are kept back: the mains fills it, and there are 300 to take, 50 of them taken in the last hour."""
    back = Recharge.mains([("3 h", "5 h")], power="300 W", efficiency="80 %")
    kept, none = (ride(Load.steady("50 W"), plain(), Outage("6 h", reserve=each, recharge=back)) for each in (
        "100 Wh", "0 Wh"))  # fmt: skip
    assert wh(kept.left) == pytest.approx(250)
    assert wh(kept.wasted) == pytest.approx(wh(none.wasted))
    assert wh(none.left) == pytest.approx(350)


def test_the_sun_serves_the_load_before_the_battery() -> None:
    """The first 50 W of 130 W go straight to the load, without charge loss."""
    sun = Recharge.series([0, 0, 130, 130, 30], efficiency="75 %")
    seen = ride(Load.steady("50 W"), plain(), Outage("5 h", start="50 %", recharge=sun))
    assert wh(seen.left) == pytest.approx(200 - 100 + 2 * 80 * 0.75 - 20)
    assert wh(seen.unserved) == 0


def test_a_unit_begun_empty_passes_on_what_comes() -> None:
    sun = Recharge.series([20, 20, 20, 20], efficiency="75 %")
    seen = ride(Load.steady("50 W"), plain(), Outage("4 h", start="0 %", recharge=sun))
    assert hours(seen.lasts) == 0
    assert wh(seen.unserved) == pytest.approx(4 * 30)
    assert wh(seen.served) == pytest.approx(4 * 20)


def test_nothing_comes_after_the_end_of_a_series() -> None:
    sun = Recharge.series([100.0], efficiency="100 %")
    seen = ride(Load.steady("100 W"), plain(), Outage("24 h", recharge=sun))
    assert hours(seen.lasts) == pytest.approx(1 + 4)


def test_recharges_add() -> None:
    one, two = (Recharge.series([each] * 9, efficiency=0.9) for each in (40, 50))
    together = ride(Load.steady("70 W"), plain(), Outage("9 h", start=0.2, recharge=[one, two]))
    alone = ride(
        Load.steady("70 W"), plain(), Outage("9 h", start=0.2, recharge=Recharge.series([90] * 9, efficiency=0.9))
    )
    assert together.left == alone.left


def test_a_unit_that_waits_for_its_restart() -> None:
    """Empty after 2 h. The mains charges 40 Wh in an hour; 80 Wh turn it on again after two: then 50 W for 1.6 h."""
    back = Recharge.series([0, 0, 0, 50, 50, 0, 0, 0], efficiency="80 %")
    outage = Outage("8 h", start="25 %", recharge=back)
    load = Load.steady("50 W")
    waits, at_once = ride(load, plain(), outage, restart="20 %"), ride(load, plain(), outage)
    assert hours(waits.lasts) == hours(at_once.lasts) == pytest.approx(2)
    assert wh(at_once.served) == pytest.approx(100 + 100)
    assert wh(waits.served) == pytest.approx(100 + 80)
    assert wh(waits.unserved) == pytest.approx(8 * 50 - 180)


def test_lithium_too_cold_stores_nothing_and_says_so() -> None:
    sun = Recharge.series([200] * 10, efficiency=0.9)
    cold, mild = (ride(Load.steady("50 W"), plain(), Outage("10 h", start="50 %", unit_at=at, recharge=sun))
                  for at in ("-5 degC", "5 degC"))  # fmt: skip
    assert not cold.survives
    assert mild.survives
    assert any("do not charge" in each for each in cold.cautions)
    assert "caution" in repr(cold)
    assert not mild.cautions


# --- At the edges -----------------------------------------------------------------------------------


def test_an_outage_shorter_than_a_step() -> None:
    for length in ("1 s", "5 min"):
        seen = ride(Load.cycling("90 W", "35 %") + Load.daily([EVENING]), measured(), Outage(length, begins="3:00"))
        assert seen.survives
        assert seen.times_h[-1] == pytest.approx(hours(seen.outage.duration))


def test_a_load_of_nothing_on_a_unit_without_standby_lasts() -> None:
    for load in (Load.steady("0 W"), Load.daily([("8:00", "9:00", "0 W")]), Load.cycling("50 W", "0 %")):
        seen = ride(load, plain(), "1 week")
        assert seen.survives
        assert wh(seen.served) == wh(seen.unserved) == 0
        assert wh(seen.left) == 400


def test_a_unit_begun_empty_lasts_no_time() -> None:
    seen = ride(Load.steady("50 W"), plain(), Outage("4 h", start="0 %"))
    assert hours(seen.lasts) == 0
    assert not seen.survives
    assert wh(seen.unserved) == 200


def test_a_unit_that_holds_nothing_has_no_percentage_that_is_wrong() -> None:
    seen = ride(Load.steady("50 W"), plain(health="0 %"), "4 h")
    assert wh(seen.capacity) == 0
    assert seen.state_of_charge["charge (%)"].isin([0.0]).all() or seen.state_of_charge["charge (%)"].isna().all()


def test_it_reads_well() -> None:
    there = ride(Load.steady("50 W"), plain(), "4 h")
    assert repr(there) == "<Ride of plain through 4 h: lasts at least 4 h, 0 Wh unserved, 0 Wh wasted>"
    gone = ride(Load.steady("50 W"), plain().with_capacity("100 Wh"), "4 h")
    assert repr(gone) == "<Ride of plain through 4 h: lasts 2 h, 100 Wh unserved, 0 Wh wasted>"
    assert list(gone.state_of_charge.columns) == ["time (h)", "charge (Wh)", "charge (%)"]
    assert gone.state_of_charge["charge (%)"].iloc[0] == 100
    assert replace(gone, charge_wh=gone.charge_wh / 2).state_of_charge["charge (%)"].iloc[0] == 50


@pytest.mark.parametrize("restart", [20, -0.1, "120 %", "5 W", None])
def test_a_restart_is_a_share(restart: Any) -> None:
    with pytest.raises(Refusal, match="restart"):
        ride(Load.steady("50 W"), plain(), "4 h", restart=restart)


@pytest.mark.parametrize(
    ("load", "unit"), [("38 W", plain()), (Load.steady("38 W"), "mine"), (None, plain())], ids=["text", "name", "None"]
)  # fmt: skip
def test_load_and_unit_are_what_they_are_called(load: Any, unit: Any) -> None:
    with pytest.raises(Refusal):
        ride(load, unit, "4 h")


@pytest.mark.parametrize("watts", [20, 120])
def test_recharge_counts_alike_on_both_sides(watts: float) -> None:
    """One unit known by its loss curve and by its run-downs, k1 = 10 %: what flows into the battery lasts as long."""
    curve = Inverter.fit([("0 W", "11 W"), ("100 W", "121 W"), ("200 W", "231 W")], "900 W")
    by_print = BackupUnit.from_print("one", capacity="1 kWh", chemistry="iron phosphate", inverter=curve, rated="900 W",
                                     depth_of_discharge="100 %")  # fmt: skip
    line = fit_rundowns([("0 W", f"{1000 / 11} h"), ("90 W", f"{1000 / 110} h")], rate_exponent="1", room="20 degC")
    by_runs = BackupUnit.from_rundowns("one", line, printed="1 kWh", rated="900 W", k1="10 %")
    outage = Outage("60 h", start="60 %", recharge=Recharge.series([0, 0, *[watts] * 5], efficiency="90 %"))
    found = [hours(ride(Load.steady("30 W"), unit, outage).lasts) for unit in (by_print, by_runs)]
    assert found[1] == pytest.approx(found[0], rel=1e-6)
    with pytest.raises(Refusal, match='k1="8 %"'):
        ride(Load.steady("30 W"), BackupUnit.from_rundowns("one", line, printed="1 kWh", rated="900 W"), outage)
