"""The sun: by the clock, by its days, in any hemisphere, and what it refuses."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridethrough.answer.case import case_of
from ridethrough.answer.ledger import ledger
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import Ride, ride
from ridethrough.estimate import Estimate
from ridethrough.measure.weather import read_weather
from ridethrough.model.load import Load
from ridethrough.model.recharge import Days
from ridethrough.model.sun import Sun, Weather
from ridethrough.model.unit import BackupUnit
from ridethrough.sampling import Sampler
from ridethrough.units import Refusal

UNIT = BackupUnit.from_print("mine", capacity="900 Wh", chemistry="iron phosphate", standby="8 W", rated="700 W",
                             efficiency="86 %", at="250 W")  # fmt: skip
WHOLE = Estimate.exact("100 %")


def made_up(months: tuple[int, ...] = (1, 6), seed: int = 3) -> Weather:
    """Hours of two months of a year, cloud by chance."""
    rng = np.random.default_rng(seed)
    times = pd.date_range("2019-01-01 00:30", "2019-12-31 23:30", freq="h", tz="Etc/GMT-2")
    times = times[np.isin(times.month, months)]
    up = np.clip(np.sin((times.hour - 6) / 12 * np.pi), 0, None) * rng.uniform(0.1, 1, 400)[times.dayofyear]
    return Weather(pd.DataFrame({"ghi": 500 * up, "dni": 300 * up, "dhi": 200 * up}, index=times), 47.0, 31.0)


def rode(sun: Any, days: int = 3, begins: str = "18:00", watts: str = "30 W") -> Ride:
    return ride(Load.steady(watts), UNIT, Outage(f"{days} days", begins=begins, recharge=sun), draws=300)


def test_the_mean_day_is_the_mean_of_the_days() -> None:
    """On the horizontal the light is the file's own."""
    sky = made_up()
    sun = Sun("250 W", sky, when="January", tilt=0, derate=WHOLE)
    january = sky.hours[sky.hours.index.month == 1]
    on_flat = (january.dhi + january.dni * 0).sum() / 31  # less than this never, the beam adds to it
    assert sun.mean_day.value.m_as("Wh") > 250 / 1000 * on_flat
    assert sun.mean_day.value.m_as("Wh") == pytest.approx(250 * sun.peak_sun_hours.value.m_as("h"))
    assert sun.pattern.begins_h == 0
    assert sun.pattern.power_w.size == 24
    assert sun.pattern.power_w[[0, 23]].tolist() == [0, 0]


def test_two_dates_a_year_apart_take_all_of_it_and_never_run_backwards() -> None:
    sky = made_up(tuple(range(1, 13)))

    def hours(*when: str) -> float:
        return Sun("250 W", sky, when=when, tilt=0).peak_sun_hours.value.m_as("h")

    whole = hours("2025-01-01", "2025-12-31")
    assert hours("2025-12-21", "2026-12-21") == hours("2025-12-01", "2027-02-01") == whole
    assert hours("2025-12-01", "2026-02-01") != whole
    with pytest.raises(Refusal, match=r'when=\("2025-12-01", "2026-02-01"\)'):
        hours("2026-02-01", "2025-12-01")


def test_draws_have_days_of_their_own_with_the_mean_and_the_likeness_that_they_should() -> None:
    levels = np.sort(np.random.default_rng(1).gamma(2, 1, 29))
    days = Days(np.array([0, *levels, levels.max()]) / levels.mean())
    drawn = days.drawn(Sampler(20_000, 1), 6)
    assert drawn[:, 0].tolist() == [1] * 6
    assert drawn[:, 1:].mean(axis=1) == pytest.approx(1, abs=0.04)
    assert np.quantile(drawn[2, 1:], 0.5) == pytest.approx(np.median(levels) / levels.mean(), abs=0.02)
    near, far = np.corrcoef(drawn[0, 1:], drawn[1, 1:])[0, 1], np.corrcoef(drawn[0, 1:], drawn[5, 1:])[0, 1]
    assert 0.3 < near < 0.5
    assert 0.1 < far < near


def test_panels_of_one_outage_have_the_same_weather() -> None:
    steep, flat = (Sun("100 W", made_up(), when="June", tilt=tilt) for tilt in (70, 0))
    case = case_of(
        Load.steady("20 W"), UNIT, Outage("2 days", begins="6:00", recharge=[steep, flat]), draws=500, seed=1
    )
    one, two = (source.comes for source in case.sources)
    assert np.corrcoef(one[0, 1:] / one[0, 0], two[0, 1:] / two[0, 0])[0, 1] > 0.7
    assert one.shape == (3, 501)


def test_each_day_of_the_clock_has_its_own_sun_and_a_week_is_surer_than_a_day() -> None:
    """The outage begins at 18:00: its first noon is 18 h on, in the clock's second day."""
    outage = Outage("7 days", begins="18:00", recharge=Sun("100 W", made_up(), when="January", tilt=50))
    (source,) = case_of(Load.steady("20 W"), UNIT, outage, draws=500, seed=1).sources
    noons = source.at(18.5 + 24 * np.arange(7))
    assert noons == pytest.approx(source.recharge.pattern.power_w[12] * source.comes[1:8])
    one, week = noons[0, 1:], noons[:, 1:].mean(axis=0)
    assert week.std() < 0.8 * one.std()


def test_bad_days_are_an_influence_and_the_account_closes() -> None:
    found = rode(Sun("100 W", made_up(), when="January", tilt=60))
    assert {"weather of each day", "weather of the spell"} & set(found.shares["influence"])
    assert np.abs(found.residual.rows).max() < 1e-9 * found.unit.printed.m_as("Wh")
    said = ledger(found.load, UNIT, found.outage, draws=300)
    assert "recharge that came" in str(said)
    assert any("snow" in each for each in found.cautions)
    assert "snow" in str(said)


def test_a_clear_sky_brings_more_than_a_usual_one_and_is_alike_each_day() -> None:
    clear, usual = (Sun("100 W", (47, 31), when="March", tilt=40, clear=clear) for clear in (True, False))
    assert clear.days is None
    assert usual.days is not None
    assert usual.mean_day.value < clear.mean_day.value
    assert Sun("100 W", made_up(), when="June", tilt=40, clear=True).days is None


def test_south_of_the_equator_a_panel_looks_north_and_june_is_winter() -> None:
    june, december = (Sun("100 W", (-35, 149), when=when, tilt=35, clear=True) for when in ("June", "December"))
    north = Sun("100 W", (-35, 149), when="June", tilt=35, azimuth=0, clear=True)
    south = Sun("100 W", (-35, 149), when="June", tilt=35, azimuth=180, clear=True)
    assert june.peak_sun_hours.value == north.peak_sun_hours.value
    assert south.peak_sun_hours.value < june.peak_sun_hours.value < december.peak_sun_hours.value


def test_an_east_panel_has_its_sun_in_the_morning_and_the_clock_can_be_moved() -> None:
    east, west = (Sun("100 W", (40, 15), when="May", tilt=60, azimuth=at, clear=True) for at in (90, 270))
    assert east.pattern.power_w[:12].sum() > 2 * east.pattern.power_w[12:].sum()
    assert west.pattern.power_w[:12].sum() < east.pattern.power_w[:12].sum()
    summer_time = Sun("100 W", (40, 15), when="May", tilt=60, azimuth=90, clear=True, utc=2)
    assert summer_time.pattern.power_w[1:] == pytest.approx(east.pattern.power_w[:-1], rel=0.02, abs=0.05)


def test_a_date_takes_the_days_about_it_across_the_new_year() -> None:
    sky = made_up((1, 12))
    new_year, given = (Sun("100 W", sky, when=when, tilt=0) for when in ("2027-01-01", ("2026-12-17", "2027-01-16")))
    assert new_year.mean_day.value == given.mean_day.value
    assert Sun("100 W", sky, when=date(2027, 1, 1), tilt=0).mean_day.value == given.mean_day.value
    assert (
        Sun("100 W", sky, when="dec", tilt=0).mean_day.value
        == Sun("100 W", sky, when="December", tilt=0).mean_day.value
    )
    assert new_year.days is not None
    assert new_year.days.levels.size == 31 + 2


def test_missing_hours_and_days_are_left_out() -> None:
    sky = made_up((6,))
    gaps = sky.hours.copy()
    gaps.iloc[50:60] = np.nan
    found = Sun("100 W", Weather(gaps.drop(gaps.index[300:360]), 47.0, 31.0), when="June", tilt=0)
    assert found.mean_day.value / Sun("100 W", sky, when="June", tilt=0).mean_day.value == pytest.approx(1, abs=0.2)


@settings(max_examples=15, deadline=None)
@given(st.floats(20, 400), st.floats(1.05, 3), st.integers(1, 5))
def test_more_sun_never_hurts(watts: float, times: float, days: int) -> None:
    """Draw by draw: what came and what is left."""
    less, more = (rode(Sun.peak_hours(f"{each} W", "2 h"), days) for each in (watts, watts * times))
    assert (more.unserved.rows <= less.unserved.rows + 1e-9).all()
    assert (more.left.rows >= less.left.rows - 1e-9).all()
    assert (more.walk.state.empty_h >= less.walk.state.empty_h - 1e-9).all()
    assert np.abs(more.residual.rows).max() < 1e-9 * UNIT.printed.m_as("Wh")


def test_winter_sun_on_a_flat_panel_gives_less_than_the_standby() -> None:
    """The surprise of lesson 09."""
    flat, steep = (Sun("100 W", read_weather("703165TY.csv"), when="December", tilt=tilt) for tilt in (0, 70))
    standby_wh = UNIT.standby.value.m_as("W") * 24
    assert flat.mean_day.value.m_as("Wh") < standby_wh / 2
    assert rode(steep).left.value >= rode(flat).left.value


def test_the_charger_limits_it() -> None:
    unit = BackupUnit.from_print("slow", capacity="3 kWh", chemistry="iron phosphate", standby="8 W", rated="700 W",
                                 efficiency="86 %", at="250 W", charge_power=Estimate.exact("60 W"))  # fmt: skip
    when = Outage("1 day", begins="6:00", start="10 %", recharge=Sun.peak_hours("800 W", "4 h", derate=WHOLE))
    found = ledger(Load.steady("1 W"), unit, when, draws=50)
    stored = found.walk.state.stored[0] + found.walk.state.charge_loss[0]
    assert stored < 8 * 60 + 1
    assert found.wasted.magnitude > 2000


@pytest.mark.parametrize("step", ["1h", "15min"])
def test_own_hours_are_read(tmp_path: Path, step: str) -> None:
    """Steps of any length, a night below zero, as cheap instruments have it, and names in capitals."""
    file = tmp_path / "roof.csv"
    times = pd.date_range("2025-12-01", "2025-12-20 23:59", freq=step, tz="Etc/GMT+7")
    day = (times.hour >= 8) & (times.hour < 16)
    light = pd.DataFrame({"GHI": 202.0 * day - 2, "DNI": 100.0 * day, "DHI": 101.0 * day - 1}, index=times)
    light.to_csv(file, index_label="time")
    sky = read_weather(file, latitude=40, longitude=-105)
    assert sky.hours.index[0] == pd.Timestamp("2025-12-01 00:00-07:00") + pd.Timedelta(step) / 2
    sun = Sun("100 W", sky, when="December", tilt=0, derate=WHOLE)
    assert (sun.pattern.power_w[:8] == 0).all()
    assert sun.pattern.power_w[11:13] == pytest.approx(14.5, rel=0.1)


def test_a_typical_year_in_epw_is_read(tmp_path: Path) -> None:
    """Made up in the format's columns: its hour 1 ends at 1:00, its sun stands highest in hour 12 or 13."""
    rows = ["LOCATION,Made Up,-,XXX,none,000000,40.0,-105.0,-7.0,1600.0", *["DESIGN"] * 7]
    for hour in [*range(1, 25)] * 3:
        light = 400 * (7 < hour <= 17)
        cells = [2001, 1, 1 + (len(rows) - 8) // 24, hour, 60, "?", *[0] * 7, light, light, light // 2, *[0] * 19]
        rows.append(",".join(map(str, cells)))
    (tmp_path / "here.epw").write_text("\n".join(rows))
    sky = read_weather(tmp_path / "here.epw")
    assert (sky.latitude, sky.longitude) == (40, -105)
    assert sky.hours.index[0] == pd.Timestamp("2001-01-01 00:30-07:00")
    powers = Sun("100 W", sky, when="January", tilt=0, derate=WHOLE).pattern.power_w
    assert powers[7] > 0 == powers[6]
    assert powers[11] == pytest.approx(powers[12], rel=0.02)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Sun("200", (40, -105), when="May", tilt=0), "with its unit"),
        (lambda: Sun("200 W", (-105, 40), when="May", tilt=0), "latitude=-105"),
        (lambda: Sun("200 W", "Denver", when="May", tilt=0), "read_weather"),
        (lambda: Sun("200 W", (40, -105), when="Mayday", tilt=0), 'when="December"'),
        (lambda: Sun("200 W", (40, -105), when=("a", "b", "c"), tilt=0), 'when="December"'),
        (lambda: Sun("200 W", (40, -105), when="December 2026", tilt=0), 'when="December"'),
        (lambda: Sun("200 W", (40, -105), when=["2026-12-01"] * 3, tilt=0), 'when="December"'),
        (lambda: Sun("200 W", (40, -105), when=12, tilt=0), 'when="December"'),
        (lambda: Sun("200 W", (40, -105), when="May", tilt=100), "tilt=100"),
        (lambda: Sun("200 W", (40, -105), when="May", tilt="60 deg"), "plain number"),  # type: ignore[arg-type]
        (lambda: Sun("200 W", (89, 0), when="December", tilt=0), "without sun in that season"),
        (lambda: Sun("200 W", made_up((6,)), when="January", tilt=0), "without sun in that season"),
        (lambda: Sun.peak_hours("200 W", "0 h"), "above zero"),
        (lambda: Sun.peak_hours("200 W", 2.5), "bare number"),
        (lambda: Sun.peak_hours("200 W", "9 h"), "longer day"),
        (lambda: Sun.peak_hours("200 W", "2 h", between=("16:00", "8:00")), "longer day"),
        (lambda: rode(Sun.peak_hours("200 W", "2 h"), begins=None), r'begins="18:00"'),  # type: ignore[arg-type]
        (lambda: Weather(pd.DataFrame({"ghi": [1.0]}), 40, -105), "without ghi"),
        (lambda: Weather(made_up().hours.tz_localize(None), 40, -105), "tz_localize"),
        (lambda: read_weather("nowhere.csv"), "can't be read"),
        (lambda: read_weather(__file__), "can't be read as weather"),
    ],
)
def test_it_refuses(make: Any, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        make()


def test_light_by_hand_may_last_until_midnight() -> None:
    sun = Sun.peak_hours("200 W", "2 h", between=("12:00", "24:00"), derate="80 %")
    assert sun.mean_day.magnitude == pytest.approx(320)
    assert not sun.light[:12].any()
