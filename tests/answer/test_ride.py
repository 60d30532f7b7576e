"""Rides by hand: what flows in, what waits, what freezes, what is kept back; and how sure a ride says it is."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ridethrough.answer.ledger import ledger
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import Ride, ride, spread
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import fit_rundowns
from ridethrough.measure.meter import Meter
from ridethrough.measure.meterlog import MeterLog
from ridethrough.model.inverter import Inverter
from ridethrough.model.load import Load
from ridethrough.model.recharge import Recharge
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal

NO_LOSS = Inverter.fit([("0 W", "0 W"), ("500 W", "500 W"), ("900 W", "900 W")], "900 W")
FIFTY = Load.daily([("0:00", "24:00", "50 W")], "50 W")  # one step a day, so that nothing is cut but by what flows in
BEGINS = {"begins": "0:00"}
DRAWS = 10_000


def plain(capacity: str = "400 Wh", **told: Any) -> BackupUnit:
    """A unit of which all is known: nothing is lost, and its charger takes what comes until it is full."""
    return BackupUnit.from_print("plain", **{
        "capacity": Estimate.exact(capacity), "chemistry": "iron phosphate", "inverter": NO_LOSS, "rated": "900 W",
        "depth_of_discharge": "100 %", "rating_hours": "6 min", "charge_power": "900 W", "taper_from": "100 %",
    } | told)  # fmt: skip


def measured(**told: Any) -> BackupUnit:
    runs = [("0 W", "71 h"), ("70 W", "13.6 h"), ("260 W", "4.4 h")]
    line = fit_rundowns(runs, repeatability="3 %", rate_exponent="1", room="20 degC")
    return BackupUnit.from_rundowns("mine", line, printed="1230 Wh", rated="900 W", **told)


def normal(power: str, u: str, name: str = "power") -> Load:
    return Load.steady(Estimate.standard(power, u, name), name)


def through(length: str, *, load: Load = FIFTY, unit: BackupUnit | None = None, restart: Any = "0 %", times: int = 240,
            **told: Any) -> Ride:  # fmt: skip
    """Ride through an outage that begins at midnight, at best estimates."""
    return ride(load, unit or plain(), Outage(length, **BEGINS | told), restart=restart, draws=2, times=times)


def sun(*power_w: float, step: str = "1 h", efficiency: Any = "80 %", **told: Any) -> Recharge:
    return Recharge.series(power_w, step=step, efficiency=efficiency, **told)


def mains(*windows: tuple[str, str], power: str = "60 W") -> Recharge:
    return Recharge.mains(windows, power=power, efficiency="80 %")


# --- Recharge by hand -------------------------------------------------------------------------------


def test_what_is_left_over_from_adding_up_is_no_energy() -> None:
    """Less comes than is asked, hour by hour: nothing is without room, to the last figure."""
    weak = Recharge.series([f"{power:.3f} W" for power in np.random.default_rng(5).uniform(0, 60, 72)])
    load = Load.steady(Estimate.within("32.1 W", "3 W", "x"))
    found = ledger(load, plain("4 kWh"), Outage("72 h", start="97 %", recharge=weak))
    assert str(found.wasted) == "0 Wh, give or take 0 Wh"
    assert not found.rows["energy (Wh)"].abs().between(0, 1e-6, inclusive="neither").any()


@pytest.mark.parametrize(
    ("seen", "lasts_h", "left_wh", "unserved_wh", "wasted_wh"),
    [
        # 400 Wh less 3 h x 50 W; 2 h of 60 W x 80 %; then 50 W again, for 346/50 h; 1 h 55 min are missing
        (lambda: through("14 h", recharge=mains(("3 h", "5 h"))), 5 + 346 / 50, -104, 104, 0),
        # the mains fills it in time, and gives no more: nothing of the mains is wasted
        (lambda: through("6 h", recharge=mains(("3 h", "5 h"), power="300 W")), 6, 350, 0, 0),
        (lambda: through("6 h", reserve="100 Wh", recharge=mains(("3 h", "5 h"), power="300 W")), 6, 250, 0, 0),
        # the first 50 W of the sun go to the load without loss, 80 W x 75 % into the battery
        (lambda: through("5 h", start="50 %", recharge=sun(0, 0, 130, 130, 30, efficiency="75 %")), 5, 200, 0, 0),
        # what the sun brings to a full battery is wasted, and so is what its charger does not take
        (lambda: through("2 h", recharge=sun(0, 250)), 2, 400, 0, 200 - 50 / 0.8),
        (lambda: through("2 h", start="50 %", unit=plain(charge_power="100 W"), recharge=sun(250, 250)),
         2, 360, 0, 200),
        # begun full, 40 W short at first: there is room for 10 W x 80 % then
        (lambda: through("2 h", recharge=sun(10, 60)), 2, 368, 0, 0),
        # a unit begun empty passes on what comes
        (lambda: through("4 h", start="0 %", recharge=sun(20, 20, 20, 20)), 0, -120, 120, 0),
        # nothing comes after the windows of the mains; two suns add
        (lambda: through("24 h", start="50 %", recharge=mains(("0 h", "1 h"))), 1 + 248 / 50, -902, 902, 0),
        (lambda: through("2 h", start="50 %", recharge=[sun(60, 0), sun(40, 40, efficiency="40 %")]), 2, 222, 0, 0),
    ],
    ids=["mains", "filled", "reserve", "sun", "wasted", "limit", "full", "empty", "after", "two"],
)  # fmt: skip
def test_recharge_by_hand(seen: Any, lasts_h: float, left_wh: float, unserved_wh: float, wasted_wh: float) -> None:
    found = seen()
    assert found.lasts.value.magnitude == pytest.approx(lasts_h)
    sums = found.left.magnitude, found.unserved.magnitude, found.wasted.magnitude
    assert sums == pytest.approx((left_wh, unserved_wh, wasted_wh), abs=1e-6)


def test_a12_a_charger_takes_what_it_can_and_no_more() -> None:
    """5,000 W into a charger of 500 W x 80 %: 400 Wh in an hour. Without a number the table holds it back."""
    stored = [through("1 h", start="0 %", unit=plain("1 kWh", **told), recharge=mains(("0 h", "1 h"), power="5 kW"))
              .walk.state.stored[0] for told in ({"charge_power": "500 W"}, {"charge_power": None})]  # fmt: skip
    assert stored == pytest.approx([400, 0.8 * 300])  # 0.3 W for each watt-hour printed


def test_near_full_a_charger_takes_less_and_less() -> None:
    """80 % full, 100 W at 100 %, from 80 % in proportion to what is missing: 80 Wh less exp(-t 100/80)."""
    seen = through("4 h", start="80 %", unit=plain(charge_power="100 W", taper_from="80 %"), times=4,
                   recharge=Recharge.mains([("0 h", "4 h")], power="500 W", efficiency="100 %"))  # fmt: skip
    assert seen.walk.told[:, 0] == pytest.approx(400 - 80 * np.exp(-np.arange(5) * 100 / 80))


def test_a_fuller_battery_is_told_in_the_middle_of_a_step_too() -> None:
    """300 Wh and 180 W into 400 Wh: full after 33 minutes, and so it says after an hour."""
    seen = through("10 h", start="75 %", load=Load.daily([("0:00", "24:00", "20 W")]), times=10,
                   recharge=sun(200, 0, step="5 h", efficiency="100 %"))  # fmt: skip
    assert seen.walk.told[:, 0] == pytest.approx([300, *[400] * 5, 380, 360, 340, 320, 300])


# --- A unit that waits -----------------------------------------------------------------------------


@pytest.mark.parametrize(("restart", "served_wh"), [("0 %", 100 + 100), ("19 %", 181), ("20 %", 180), ("21 %", 100)])
def test_a_unit_that_ran_empty_waits_for_its_restart(restart: str, served_wh: float) -> None:
    """Empty after 2 h; an hour later 2 h of 50 W x 80 % make 80 Wh, 20 % of full: reached is reached. At 19 % it is on
    again for 6 minutes of sun, and has 76 Wh then."""
    seen = through("8 h", start="25 %", recharge=sun(0, 0, 0, 50, 50, 0, 0, 0), restart=restart)
    assert seen.lasts.value.magnitude == pytest.approx(2)
    assert seen.served.magnitude == pytest.approx(served_wh, abs=1e-6)


def test_a_unit_that_waits_turns_off_where_the_cold_takes_its_charge_too() -> None:
    """20 Wh, then 150 W x 80 %: on at 80 Wh, 107 after 20 minutes more; 57 are left when 64 are out of reach,
    and less than 80 when it is warm again."""
    seen = through("5 h", start="5 %", recharge=sun(0, 150, 0, 0, 0), restart="20 %",
                   unit_at=["25 degC", "25 degC", "25 degC", "-10 degC", "25 degC"])  # fmt: skip
    assert seen.served.magnitude == pytest.approx(20 + 50 / 3 + 50)


def test_what_is_asked_to_the_last_watt_hour_is_served() -> None:
    assert through("8 h").survives
    assert through("8 h").left.magnitude == pytest.approx(0)
    assert not through("8 h", unit=plain("399.999999 Wh")).survives


# --- Frost -------------------------------------------------------------------------------------------

FROST = {"unit_at": "-10 degC", "start": "0 %"}
HEATED = {"heater": (Estimate.exact("12 W"), "0 degC")}


@pytest.mark.parametrize("load", [FIFTY, Load.steady("50 W")], ids=["one step", "many"])
@pytest.mark.parametrize(("hours", "stored_wh"), [(2, 0), (4, 48), (8, 240), (15, 400)])
def test_a12_a_dead_battery_is_warmed_before_it_is_charged(load: Load, hours: int, stored_wh: float) -> None:
    """The mains brings 60 W x 80 %, once the heater warmed the cells for the table's three hours."""
    back = mains(("5 h", f"{5 + hours} h"))
    seen = through("24 h", load=load, unit=plain(**HEATED), recharge=back, **FROST)
    assert seen.walk.state.stored[0] == pytest.approx(stored_wh)
    assert seen.wasted.magnitude == 0


@pytest.mark.parametrize("restart", ["0 %", "20 %"])
def test_a_battery_that_ran_empty_in_the_cold_is_warmed_once(restart: str) -> None:
    """The sun is enough for the heater from 2 h on; three hours later 100 W x 80 %, or 162 W until the restart."""
    seen = through("8 h", start="10 %", unit_at="-10 degC", unit=plain(**HEATED), restart=restart,
                   recharge=sun(0, 0, *[162, 161.9] * 3))  # fmt: skip
    waits_h = 80 / (162 * 0.8) if restart == "20 %" else 0.0
    assert seen.walk.state.stored[0] == pytest.approx(0.8 * (300 + 62 * waits_h), abs=0.2)


def test_cells_too_cold_take_nothing_in_and_say_so() -> None:
    day = sun(*[100] * 8)
    cold, mild = (through("8 h", start="50 %", unit_at=at, recharge=day) for at in ("-5 degC", "5 degC"))
    assert mild.survives
    assert not mild.cautions
    assert not cold.survives
    assert cold.wasted.magnitude == pytest.approx(800)
    assert any("do not charge" in each for each in cold.cautions)
    assert "caution" in repr(cold)
    assert "do not charge" in cold._repr_html_()
    assert through("8 h", start="50 %", unit=plain(**HEATED), unit_at="-5 degC", recharge=day).survives


def test_a_dead_battery_in_the_frost_gets_nothing_from_the_sun_and_loses_all_of_it() -> None:
    dead = through("8 h", start="0 %", unit_at="-5 degC", recharge=sun(*[100] * 8))
    assert (dead.wasted.magnitude, dead.unserved.magnitude) == pytest.approx((800, 400))


def test_cold_that_comes_by_the_hour_keeps_charge_back() -> None:
    """Of 400 Wh 92 % are left at 0 degC and 84 % at -10: 32 and 64 Wh lie out of reach until it is warm again."""
    seen = through("6 h", unit_at=["25 degC", "0 degC", "0 degC", "-10 degC", "25 degC", "25 degC"], times=12)
    assert seen.walk.told[1::2, 0] == pytest.approx([375, 325 - 32, 275 - 32, 225 - 64, 175, 125])
    assert seen.walk.state.kept_back[0] == pytest.approx(0)
    assert through("6 h", start="50 %", unit_at=["25 degC"] * 3 + ["-10 degC"] * 3).lasts.value.magnitude == (
        pytest.approx(3)
    )


# --- Reserve and edges ------------------------------------------------------------------------------


@pytest.mark.parametrize("unit", [plain(), measured()], ids=["printed", "measured"])
def test_a12_a_start_below_the_reserve_is_one_number_everywhere(unit: BackupUnit) -> None:
    outage, load = Outage("9 h", start="10 %", reserve="300 Wh"), normal("50 W", "5 W")
    account, seen, drawn = ledger(load, unit, outage), ride(load, unit, outage), spread(load, unit, outage)
    assert account.left.magnitude == seen.left.magnitude == drawn.left.magnitude == -account.needed.magnitude
    assert account.available.magnitude == account.lasts.magnitude == account.chance == 0
    total = account.lines[0].energy.rows + sum(each.energy.rows for each in account.lines if each.kind != "total")
    assert total == pytest.approx(account.left.rows)


@pytest.mark.parametrize("start", ["0 %", "5 %", "100 %"])
def test_a12_a_run_time_is_never_less_than_none(start: str) -> None:
    """Neither in any draw nor at an end of its interval."""
    for told in ({}, {"reserve": "5 kWh"}, {"unit_at": "-15 degC"}):
        lasts = spread(normal("50 W", "10 W"), BackupUnit.from_print(
            "mine", capacity="1 kWh", chemistry="sealed lead-acid", standby="9 W", rated="800 W", efficiency="88 %",
            at="300 W"), Outage("20 h", start=start, **told)).lasts  # fmt: skip
        assert lasts.draws.min() >= 0
        assert lasts.interval()[0].magnitude >= 0


def test_a_reserve_ends_the_run_as_it_does_in_the_ledger() -> None:
    assert through("9 h", reserve="100 Wh").lasts.value.magnitude == pytest.approx(6)
    assert ledger(FIFTY, plain(), Outage("9 h", reserve="100 Wh")).lasts.value.magnitude == pytest.approx(6)


def test_nothing_asked_of_a_unit_without_standby_has_no_end() -> None:
    for load in (Load.steady("0 W"), Load.daily([("8:00", "9:00", "0 W")]), Load.cycling("50 W", "0 %")):
        seen = through("1 week", load=load)
        assert seen.survives
        assert (seen.served.magnitude, seen.unserved.magnitude, seen.left.magnitude) == (0, 0, 400)
        assert str(seen.lasts).startswith("at least")
        assert "at least" in repr(seen)


def test_a_unit_that_holds_nothing_has_no_percentage_that_is_wrong() -> None:
    charge = through("4 h", unit=plain(health="0 %")).state_of_charge["charge (%)"]
    assert charge.isna().all() or (charge == 0).all()


def test_a_log_is_ridden_as_it_was_measured() -> None:
    """A quiet night first, from 0:00: in five hours the load takes what the log's first five hours took."""
    power_w = np.concatenate([np.full(5, 20.0), np.full(19, 60.0)])
    log = MeterLog("fridge", "power", np.arange(24) * 3600.0, np.full(24, 3600.0), power_w, None, 86400.0, Q_(0.1, "W"))
    asks = ride(log.as_load(), plain("4 kWh"), "5 h", draws=4000).served
    assert asks.rows[0] == pytest.approx(5 * power_w.mean())  # begun at any of its hours
    assert (asks.draws.min(), asks.draws.max()) == pytest.approx((100, 300), abs=1)


def test_several_appliances_add_up() -> None:
    load = (
        Load.cycling("90 W", "33 %", "fridge") + Load.steady("7 W", "router") + Load.daily([("18:00", "22:30", "60 W")])
    )
    parts = [through("2 days", load=Load((each,)), unit=plain("6 kWh")).served.rows[0] for each in load.appliances]
    assert through("2 days", load=load, unit=plain("6 kWh")).served.rows[0] == pytest.approx(sum(parts))
    assert sum(parts) == pytest.approx(48 * (29.7 + 7) + 2 * 4.5 * 60)


# --- How sure ----------------------------------------------------------------------------------------


def test_the_same_seed_gives_the_same_rides_and_another_hardly_another() -> None:
    one, again, other = (spread(normal("50 W", "5 W"), plain(), "7 h", draws=2000, seed=seed) for seed in (1, 1, 2))
    np.testing.assert_array_equal(one.lasts.rows, again.lasts.rows)
    assert not np.array_equal(one.lasts.rows, other.lasts.rows)
    assert one.chance == pytest.approx(other.chance, abs=0.002)


def test_one_meters_gain_is_shared_by_all_that_it_read() -> None:
    """Two loads of one size: one meter's error adds, two meters' add in squares. In load and run-downs it cancels."""
    one, other = Meter("3 %"), Meter("3 %")
    same, apart = (
        Load.steady(one.reading("30 W"), "a") + Load.steady(meter.reading("30 W"), "b") for meter in (one, other)
    )
    left = [float(ride(load, plain("9 kWh"), "15 h", draws=DRAWS).left.u.magnitude) for load in (same, apart)]
    assert left[0] / left[1] == pytest.approx(2**0.5, rel=0.02)
    assert left[0] == pytest.approx(0.03 / 3**0.5 * 60 * 15, rel=0.02)
    meters = Meter("8 %"), Meter("8 %")
    line = fit_rundowns([("70 W", "13.6 h"), ("260 W", "4.4 h")], meter=meters[0], repeatability="0.1 %",
                        rate_exponent="1", room="20 degC")  # fmt: skip
    unit = BackupUnit.from_rundowns("mine", line, printed="1230 Wh", rated="900 W")
    known, unknown = (ride(Load.steady(meter.reading("100 W")), unit, "20 h").lasts.u for meter in meters)
    assert unknown > 5 * known


def test_energy_and_standby_of_a_line_are_drawn_together() -> None:
    """Their errors cancel at loads between the run-downs: the run time is known better than either."""
    runs = [("30 W", "24.7 h"), ("70 W", "13.2 h"), ("120 W", "8.3 h")]
    line = fit_rundowns(runs, repeatability="2 %", rate_exponent="1", room="20 degC")
    unit = BackupUnit.from_rundowns("mine", line, printed="1230 Wh", rated="900 W")
    lasts, says = ride(Load.steady("60 W"), unit, "30 h", draws=DRAWS).lasts, line.hours("60 W")
    assert lasts.value.magnitude == pytest.approx(says.value.m_as("h"))
    assert lasts.expanded().magnitude == pytest.approx(says.expanded().m_as("h"), rel=0.08)


def test_a_doubtful_sun_enters_chance_and_shares() -> None:
    """A12. 50 W of load and 60 W of sun, half of it in doubt: it decides whether 100 Wh last."""
    weather = Estimate.within("100 %", "50 %", "weather")
    day = Recharge.series([60] * 10, efficiency=Estimate.exact("100 %"), factor=weather)
    seen = ride(FIFTY, plain(), Outage("10 h", start="25 %", recharge=day), draws=2000)
    assert seen.chance == pytest.approx((1.5 - 40 / 60) / 1, abs=0.02)  # 40 W of sun are enough
    assert seen.shares["influence"][0] == "weather"
    assert seen.shares["share"][0] > 0.9


def test_a_series_begins_by_the_clock_where_it_says_so() -> None:
    """A day from 3:00 on with sun from 6:00 to 8:00, in an outage from 5:00: in its second and third hour."""
    day = sun(0, 0, 0, 100, 100, *[0] * 20, efficiency="100 %", begins="3:00")
    seen = through("6 h", begins="5:00", start="50 %", recharge=day, times=6)
    assert seen.walk.told[:, 0] == pytest.approx([200, 150, 200, 250, 200, 150, 100])
    with pytest.raises(Refusal, match="as many hours as the outage has"):
        ride(FIFTY, plain(), Outage("7 days", begins="6:00", recharge=sun(1, 2, 3)))
    with pytest.raises(Refusal, match="begins="):
        ride(FIFTY, plain(), Outage("6 h", recharge=day))


def test_survivors_read_at_least_only_where_nothing_tells_what_comes_after() -> None:
    load = normal("50 W", "5 W")
    plainly, by_sun = (spread(load, plain("1 kWh"), Outage("20 h", recharge=each)) for each in ((), sun(*[0] * 20)))
    assert plainly.lasts.horizon > 20
    assert "at least" not in str(plainly.lasts)
    assert (by_sun.lasts.horizon, by_sun.lasts.interval()[1].magnitude) == (20, 20)
    assert str(by_sun.lasts).endswith("at least 20 h")
    assert np.isinf(by_sun.lasts.draws).mean() == by_sun.chance == plainly.chance
    assert by_sun.chance == pytest.approx(0.5, abs=0.01)


def test_a_wider_interval_holds_a_narrower_one_and_the_band_runs_from_start_to_left() -> None:
    seen = spread(normal("40 W", "2 W"), plain("1 kWh"), "15 h", times=10)
    ends = [[float(end.magnitude) for end in seen.interval(coverage)] for coverage in (0.99, 0.95, 0.5)]
    assert ends[0][0] < ends[1][0] < ends[2][0] < ends[2][1] < ends[1][1] < ends[0][1]
    outer, inner = seen.band(0.99), seen.band(0.5)
    assert (outer["low (Wh)"] <= inner["low (Wh)"]).all()
    assert list(outer["time (h)"]) == pytest.approx(list(np.linspace(0, 15, 11)))
    assert (outer.iloc[0, 1:] == 1000).all()
    assert seen.charges_wh.shape == (11, 2000)
    np.testing.assert_allclose(seen.charges_wh[-1], seen.left.draws)


def test_draws_beyond_physical_limits_count_nowhere_and_most_of_them_are_refused() -> None:
    """Evenly from 97 to 100 %, no heap at 100 %; of a watt give or take two 31 % lie below zero."""
    seen = ride(Load.steady("40 W"), plain(), Outage("1 h", start=Estimate.within("99 %", "2 %", "gauge")), draws=DRAWS)
    assert seen.charges_wh[0].max() <= 400
    assert seen.charges_wh[0].mean() == pytest.approx(0.985 * 400, abs=0.2)
    assert seen.case.sampler.within.mean() == pytest.approx(0.75, abs=0.01)
    assert ride(normal("1 W", "2 W"), plain(), "9 h", draws=2000).left.draws.max() <= 400
    doubtful = sum((normal("1 mW", "1 W", f"load {n}") for n in range(1, 8)), normal("1 mW", "1 W"))
    with pytest.raises(Refusal, match="known better"):
        ride(doubtful, plain(), "9 h", draws=200)


def test_shares_are_those_of_the_variances_whatever_was_asked_before() -> None:
    """1, 2 and 3 W in a sum: r^2 = 1/14, 4/14 and 9/14; of ranks, (6/pi asin(r/2))^2 (Pearson 1907)."""
    load = normal("20 W", "1 W", "little") + normal("20 W", "2 W", "some") + normal("20 W", "3 W", "most")
    seen = ride(load + Load.steady("1 W")._with(day_spread=Q_(1, "Wh")), plain("1 kWh"), "5 h", draws=2000)
    first = seen.shares
    assert list(first["influence"][:3]) == ["most", "some", "little"]
    r = np.sqrt([9 / 14, 4 / 14, 1 / 14])
    assert list(first["share"][:3]) == pytest.approx(list((6 / np.pi * np.arcsin(r / 2)) ** 2), abs=0.02)
    assert seen.lasts.value.magnitude > 15
    assert seen.shares.equals(first)


# --- What it says, what it refuses ---------------------------------------------------------------------


def test_it_reads_well() -> None:
    assert repr(through("10 h")) == (
        "<Ride of plain through 10 h: lasts 8 h, give or take 0 h, chance 0 %: short; 100 Wh unserved, 0 Wh wasted>"
    )
    charge = through("10 h").state_of_charge
    assert list(charge.columns) == ["time (h)", "charge (Wh)", "kept back (Wh)", "charge (%)"]
    assert (charge["charge (%)"].iloc[0], charge["charge (%)"].iloc[-1]) == (100, 0)


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"draws": 1}, "draws"), ({"draws": 1e4}, "draws"), ({"draws": "many"}, "draws"), ({"draws": True}, "draws"),
        ({"seed": -1}, "seed"), ({"times": 0}, "times"), ({"times": 2.5}, "times"), ({"restart": 20}, "restart"),
        ({"restart": -0.1}, "restart"), ({"restart": "120 %"}, "restart"), ({"restart": "5 W"}, "restart"),
        ({"load": "38 W"}, "a load"), ({"unit": "mine"}, "unit"), ({"outage": 4}, "4 h"),
        ({"unit": measured(), "outage": Outage("9 h", recharge=mains(("0 h", "1 h")))}, 'k1="8 %"'),
    ],
)  # fmt: skip
def test_it_refuses(how: dict[str, Any], says: str) -> None:
    given: dict[str, Any] = {"load": FIFTY, "unit": plain(), "outage": "4 h", "draws": 10} | how
    with pytest.raises(Refusal, match=says):
        ride(given.pop("load"), given.pop("unit"), given.pop("outage"), **given)


@pytest.mark.parametrize("coverage", [0, 1, 95, -0.5])
def test_a_coverage_is_a_chance(coverage: float) -> None:
    for ask in (through("4 h").interval, through("4 h").left.expanded):
        with pytest.raises(Refusal, match="coverage"):
            ask(coverage)
