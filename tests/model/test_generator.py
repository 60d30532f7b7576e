"""A generator: by hand, against a plain loop over minutes, its fuel, its limits and its cautions."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridethrough.answer.compare import compare
from ridethrough.answer.headroom import headroom
from ridethrough.answer.ledger import ledger
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import Ride, ride
from ridethrough.answer.size import size
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import fit_rundowns
from ridethrough.model.load import Load
from ridethrough.model.recharge import Generator, Mains, Recharge
from ridethrough.model.sun import Sun
from ridethrough.model.unit import BackupUnit
from ridethrough.sources import CAUTIONS, lookup
from ridethrough.units import Q_, Refusal, show

exact = Estimate.exact
FUEL = [("0 W", "0.3 L/h"), ("1 kW", "0.8 L/h")]  # 0.3 L/h and 0.5 L/kWh


def unit_of(capacity: str = "1 kWh", charger: str = "400 W", taper: str = "100 %", **more: Any) -> BackupUnit:
    return BackupUnit.from_print(
        "mine", capacity=exact(capacity), chemistry="iron phosphate", standby=exact("10 W"), rated="800 W",
        efficiency=exact("80 %"), at="100 W", depth_of_discharge="100 %", charge_power=exact(charger),
        taper_from=exact(taper), **more,
    )  # fmt: skip


def rode(*recharge: Recharge, days: float = 2, unit: BackupUnit | None = None, load: Load | None = None,
         **outage: Any) -> Ride:  # fmt: skip
    when = Outage(Q_(24 * days, "h"), begins="12:00", recharge=recharge, **outage)
    return ride(load or Load.steady(exact("50 W")), unit or unit_of(), when, draws=60)


def steady(hours: Any = "18:00-19:00", rated: str = "1000 W", **more: Any) -> Generator:
    return Generator(rated, hours=hours, fuel=FUEL, efficiency=exact("90 %"), **more)


def test_one_hour_by_hand() -> None:
    """Half a day: the charger takes 400 W for an hour, load and standby hang on the generator meanwhile."""
    found = rode(steady(), days=0.5, start="40 %")
    assert found.generator_hours.magnitude == pytest.approx(1)
    assert found.fuel.magnitude == pytest.approx(0.3 + 0.5 * (400 + 50 + 10) / 1000)
    assert found.fuel.to("gal").magnitude == pytest.approx(found.fuel.magnitude / 3.785411784)
    asked = found.walk.state.asked[0]
    assert asked == pytest.approx(11 * (10 + 50 * 1.15), rel=0.003)  # 100 W take 125 W, 10 W of it standby
    assert found.walk.state.stored[0] == pytest.approx(360)
    assert found.left.magnitude == pytest.approx(400 + 360 - asked)


def test_the_load_goes_first_and_the_charger_gets_what_it_leaves() -> None:
    """350 W of load on a generator of 600 W: 250 W for the charger, with an hour from 40 %."""
    found = rode(steady(rated="600 W"), days=0.5, load=Load.steady(exact("350 W")))
    assert found.walk.state.stored[0] == pytest.approx(0.9 * 250)
    none = rode(steady(rated="300 W"), days=0.5, load=Load.steady(exact("350 W")))
    assert none.walk.state.stored[0] == 0
    assert any("generator does not carry the load" in said for said in none.cautions)
    assert not any("does not carry" in said for said in found.cautions)
    steadily, *_ = headroom(Load.steady("350 W"), steady(rated="300 W"))
    assert steadily.finding == "does not carry it"


@pytest.mark.parametrize("load", [Load.steady("500 W"), Load.cycling("500 W", "30 %", motor=False)])
def test_one_too_small_for_the_load_serves_nothing_and_says_so(load: Load) -> None:
    """50 W round the clock for 500 W: the ride is what it is without a generator, not a week of covered."""
    small = steady("0:00-24:00", rated="50 W")
    with_it, without = rode(small, days=7, load=load), rode(days=7, load=load)
    assert with_it.verdict == "short"
    assert with_it.unserved.rows == pytest.approx(without.unserved.rows)
    assert with_it.generator_hours.magnitude == with_it.fuel.magnitude == 0
    assert any("generator does not carry the load, steady power" in said for said in with_it.cautions)


def test_it_trips_where_a_draw_takes_more_than_its_rating() -> None:
    """500 W, give or take 20 %, on 500 W: about half of the draws are left alone, and only they."""
    load = Load.steady(Estimate.within("500 W", "100 W", "meter"))
    found = rode(steady(rated="500 W"), days=0.5, load=load)
    ran = found.walk.state.ran > 0
    assert 0.3 < ran.mean() < 0.7
    assert (ran == (found.case.mean_w <= 500)).all()


def test_spaces_about_its_hours_mean_nothing() -> None:
    assert steady(" 18:00-19:00 until full ").until_full


def test_asking_less_charges_less() -> None:
    assert rode(steady(power="100 W"), days=0.5, start="40 %").walk.state.stored[0] == pytest.approx(90)


def loop(generator: Generator, days: int, full: float, charger: float, load: float) -> tuple[float, float, float]:
    """Return hours run, litres burnt and charge at the end: by the minute, from noon, full at the start, no taper."""
    charge, ran, burnt, stopped = full, 0.0, 0.0, False
    own = ledger(Load.steady(exact("50 W")), unit_of(), "1 h", draws=2).walk.state.asked[0]
    begin, end = 18 * 60, 22 * 60
    for minute in range(days * 1440):
        clock = (720 + minute) % 1440
        if clock % 30 == 0:
            stopped = begin <= clock < end and ((stopped and clock != begin) or charge >= 0.98 * full)
        if begin <= clock < end and not stopped:
            taken = min(charger / 60, (full - charge) / 0.9)
            charge, ran = charge + 0.9 * taken, ran + 1 / 60
            burnt += 0.3 / 60 + 0.5 * (taken + (load + 10) / 60) / 1000
        else:
            charge -= own / 60
    return ran, burnt, charge


def test_what_the_generator_carries_is_not_asked_of_the_unit() -> None:
    """The ledger's lines sum, and standby and load count for the hours in which nothing ran."""
    load, when = Load.steady(exact("50 W")), Outage("2 days", begins="12:00", recharge=steady("18:00-20:00"))
    account = ledger(load, unit_of("2 kWh"), when, draws=40)
    lines = {line.label: line.energy.magnitude for line in account.lines}
    assert sum(line.energy.magnitude for line in account.lines if line.kind != "total") + 2000 == pytest.approx(
        account.left.magnitude
    )
    assert lines["standby, 48 h x 10 W"] == pytest.approx(-44 * 10)
    assert lines["steady load, 48 h"] == pytest.approx(-44 * 50)


def test_until_full_against_a_plain_loop() -> None:
    generator = steady("18:00-22:00 until full")
    found = rode(generator, days=3, unit=unit_of(charger="230 W"))
    ran, burnt, charge = loop(generator, 3, 1000, 230, 50)
    assert 0 < ran < 12
    assert found.generator_hours.magnitude == pytest.approx(ran)
    assert found.fuel.magnitude == pytest.approx(burnt, rel=2e-3)
    assert found.left.magnitude == pytest.approx(charge, abs=2)
    assert found.fuel.magnitude < rode(steady("18:00-22:00"), days=3, unit=unit_of(charger="230 W")).fuel.magnitude


def test_each_draw_stops_when_it_is_full() -> None:
    unit = BackupUnit.from_print("sheet", capacity="1 kWh", chemistry="iron phosphate", standby="10 W", rated="800 W",
                                 efficiency="80 %", at="100 W")  # fmt: skip
    found = rode(steady("18:00-22:00 until full"), days=3, unit=unit)
    assert np.unique(found.generator_hours.draws).size > 3
    assert found.generator_hours.draws.max() <= 12


def test_sun_beside_it_saves_fuel_until_full() -> None:
    alone, sunny = (rode(steady("18:00-22:00 until full"), *more, days=3)
                    for more in ((), (Sun.peak_hours("200 W", "3 h"),)))  # fmt: skip
    assert sunny.fuel.magnitude < alone.fuel.magnitude
    together = rode(steady("11:00-13:00"), Sun.peak_hours("200 W", "3 h"), days=1, start="20 %")
    assert together.fuel.magnitude < rode(steady("11:00-13:00"), days=1, start="20 %").fuel.magnitude


@settings(max_examples=15, deadline=None)
@given(st.integers(5, 170), st.integers(1, 60), st.booleans(), st.floats(100, 1500), st.booleans())
def test_a_longer_generator_hour_never_hurts_and_the_account_closes(
    minutes: int, more: int, sun: bool, rated: float, measured: bool
) -> None:
    """Draw by draw, on both routes, with and without sun."""
    line = fit_rundowns([("60 W", "11.8 h"), ("250 W", "3.4 h")], repeatability="1.5 %")
    unit = (BackupUnit.from_rundowns("mine", line, printed="1 kWh", rated="800 W", k1="8 %") if measured
            else unit_of(taper="90 %"))  # fmt: skip
    ways = []
    for length in (minutes, minutes + more):
        end = f"{18 + length // 60}:{length % 60:02d}"
        extra = [Sun.peak_hours("150 W", "2 h")] if sun else []
        ways.append(rode(steady(f"18:00-{end}", f"{rated} W"), *extra, unit=unit, load=Load.cycling("90 W", 0.4)))
    short, long = ways
    assert (long.unserved.rows <= short.unserved.rows + 1e-9).all()
    assert (long.left.rows >= short.left.rows - 1e-6).all()
    assert (long.walk.state.empty_h >= short.walk.state.empty_h - 1e-9).all()
    assert (long.fuel.rows > short.fuel.rows).all()
    full = rode(steady(f"18:00-{end} until full", f"{rated} W"), *extra, unit=unit, load=Load.cycling("90 W", 0.4))
    assert (full.generator_hours.rows <= long.generator_hours.rows + 1e-9).all()
    for each in (*ways, full):
        assert np.abs(each.residual.rows).max() < 1e-9 * unit.printed.m_as("Wh")


def test_break_even_keeps_the_charge_where_it_is() -> None:
    """A window as long as it says, four days long: the charge at noon is what it was."""
    unit = unit_of("3 kWh")
    hours = rode(steady(), unit=unit).break_even.magnitude
    minutes = round(hours * 60)
    window = f"18:00-{18 + minutes // 60}:{minutes % 60:02d}"
    found = rode(steady(window), days=4, unit=unit, start="60 %")
    assert found.left.magnitude == pytest.approx(1800, abs=40)
    assert 3 < hours < 4


def test_the_charge_goes_on_for_ever_with_the_break_even_hour_and_not_without() -> None:
    """Common practice, no source: an hour of generator a day turns a one-day unit into an open-ended one."""
    unit, load = unit_of("1.5 kWh", "1200 W"), Load.steady(exact("38 W"))
    assert 24 < rode(days=2, unit=unit, load=load).lasts.magnitude < 36
    week = rode(Generator("1800 W", hours="18:00-19:15"), days=7, unit=unit, load=load)
    assert week.survives
    assert week.break_even.magnitude < 1.5


def test_a_generator_burns_fuel_with_nothing_plugged_in() -> None:
    """Common practice, no source; and a refrigerator run by it directly takes far more than an hour of charging."""
    generator = Generator("1800 W", hours="18:00-19:00")
    idling, direct = generator.fuel("0 W", "24 h"), generator.fuel("38 W", "24 h")
    assert idling.value > Q_(2, "L")
    assert direct.value > idling.value > 0.8 * direct.value
    hour = rode(generator, days=1, start="20 %").fuel
    assert 3 * hour.magnitude < direct.value.m_as("L")


def test_two_measured_points_make_the_line() -> None:
    generator = steady()
    assert generator.idle.value.m_as("L/h") == pytest.approx(0.3)
    assert generator.fuel("500 W", "2 h").value.m_as("L") == pytest.approx(1.1)
    unsure = Generator("1 kW", hours="6:00-7:00", fuel=[("200 W", Estimate.within("0.4 L/h", "0.02 L/h", "can")),
                                                        ("800 W", "0.7 L/h")])  # fmt: skip
    assert unsure.idle.value.m_as("L/h") == pytest.approx(0.3)
    assert unsure.idle.u.magnitude > 0
    assert unsure.fuel("800 W").u.magnitude == pytest.approx(0, abs=1e-12)


def test_several_windows_a_day_and_past_midnight() -> None:
    twice = rode(steady(["7:00 - 8:00", "23:30–0:15"]), days=2)
    assert twice.generator_hours.magnitude == pytest.approx(2 * 1.75)


def test_cautions_stand_beside_every_result_with_a_generator() -> None:
    words = [text for name, text in CAUTIONS.items() if name.startswith("generator")]
    assert all(part in " ".join(words) for part in ("carbon monoxide", "20 ft (6 m)", "transfer equipment", "cold"))
    generator, unit, load = steady(), unit_of(), Load.steady("50 W")
    when = Outage("1 day", begins="12:00", recharge=generator)
    table = compare(load, {"mine": unit}, [when])
    shown = [repr(generator), repr(rode(generator)), rode(generator)._repr_html_(), str(ledger(load, unit, when)),
             repr(size(load, when, like=unit)), table["note"][0]]  # fmt: skip
    for text in shown:
        assert all(each in text for each in words)
    assert not any("carbon" in each for each in rode().cautions)


def test_the_mains_is_at_hand_by_name() -> None:
    assert Mains([("2 h", "3 h")], power="400 W").carries


def test_fuel_is_shown_in_litres_with_give_or_take() -> None:
    found = rode(Generator("1800 W", hours="18:00-19:00")).fuel
    assert "give or take" in str(found)
    assert found.unit == "L"
    assert float(found.interval()[1].magnitude) > found.magnitude > 0
    assert show(lookup("heating value of gasoline").value * Q_(1, "kWh")) == "9.3 kWh"


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Generator("1800", hours="18:00-19:00"), "with its unit"),
        (lambda: Generator("1 kW", hours="an hour"), "18:00-22:00 until full"),
        (lambda: Generator("1 kW", hours="until full"), "18:00-22:00 until full"),
        (lambda: Generator("1 kW", hours="18:00-25:00"), "time of day"),
        (lambda: Generator("1 kW", hours=["18:00-19:00", "18:30-20:00"]), "none of them within another"),
        (lambda: Generator("1 kW", hours="6:00-7:00", power="0 W"), "above zero"),
        (lambda: Generator("1 kW", hours="6:00-7:00", fuel="0.5 L/h"), "two points"),
        (lambda: Generator("1 kW", hours="6:00-7:00", fuel=[("0 W", "1 L"), ("9 W", "2 L/h")]), "L/h"),
        (lambda: Generator("1 kW", hours="6:00-7:00", fuel=[("9 W", "1 L/h"), ("0 W", "2 L/h")]), "Check both"),
        (
            lambda: Generator("1 kW", hours="6:00-7:00", fuel=[("500 W", "0.2 L/h"), ("1 kW", "0.8 L/h")]),
            "left for idling",
        ),
        (lambda: steady().fuel("-5 W"), "zero"),
        (lambda: steady().fuel("5000 W"), "at most its rating"),
        (lambda: steady().efficiency_at("1001 W"), "at most its rating"),
        (lambda: rode(steady(), steady()), "two generators"),
        (lambda: rode().fuel, "without a generator"),
        (lambda: ride(Load.steady("9 W"), unit_of(), Outage("9 h", recharge=steady())), r'begins="18:00"'),
    ],
)
def test_it_refuses(make: Any, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        make()
