"""How often the sun of weeks that a panel's numbers never saw lies in their interval: ``python sun_coverage.py``.

Weather: typical years in PyPI pvlib 0.16.1, ``pvlib/data``: 703165TY.csv (Sand Point, Alaska, TMY3), 723170TYA.CSV
(Greensboro, North Carolina, TMY3), 12839.tm2 (Miami, Florida, TMY2). Every month is split by weeks: the numbers come
from the odd ones and are held against the even ones, and the other way round. What came is reckoned from the file
with pvlib alone.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib

from ridethrough.answer.case import case_of
from ridethrough.answer.outage import Outage
from ridethrough.estimate import Estimate
from ridethrough.measure.weather import read_weather
from ridethrough.model.load import Load
from ridethrough.model.sun import Sun, Weather
from ridethrough.model.unit import BackupUnit

DATA = Path(pvlib.__file__).parent / "data"
SEASONS = {"winter": ("December", "January", "February"), "summer": ("June", "July", "August")}
PLACES = ("Alaska", "Carolina", "Miami")
WATTS, TILT, WEEK = 200, 60, 7
WHOLE = Estimate.exact("100 %")
UNIT = BackupUnit.from_print("mine", capacity="1.2 kWh", chemistry="iron phosphate", standby="9 W", rated="800 W",
                             efficiency="88 %", at="300 W")  # fmt: skip


@cache
def weather(place: str) -> Weather:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pvlib's reader on its own old file
        if place != "Miami":
            return read_weather({"Alaska": "703165TY.csv", "Carolina": "723170TYA.CSV"}[place])
        hours, about = pvlib.iotools.read_tmy2(DATA / "12839.tm2")
    middles = pd.to_datetime(hours.index) + pd.Timedelta("30min")
    middles = middles if middles.tz else middles.tz_localize("Etc/GMT+5")
    return Weather(hours.rename(columns=str.lower)[["ghi", "dni", "dhi"]].set_axis(middles), about["latitude"],
                   about["longitude"])  # fmt: skip


@cache
def came_wh(place: str) -> pd.Series:
    """Return what a panel of that many watts gave on each day, without loss [Wh]: pvlib alone."""
    sky = weather(place)
    sun = pvlib.solarposition.get_solarposition(sky.hours.index, sky.latitude, sky.longitude)
    light = pvlib.irradiance.get_total_irradiance(TILT, 180, sun.apparent_zenith, sun.azimuth, sky.hours.dni,
                                                  sky.hours.ghi, sky.hours.dhi).poa_global  # fmt: skip
    return light.groupby([light.index.month, light.index.day]).sum() * WATTS / 1000


def offered_wh(sun: Sun, days: int) -> np.ndarray:
    """Return what the panel offers in so many days, draw by draw [Wh]."""
    case = case_of(Load.steady("10 W"), UNIT, Outage(f"{days} days", begins="0:00", recharge=sun), draws=2000, seed=1)
    (source,) = case.sources
    hours = np.arange(24 * days) + 0.5
    return source.at(hours).sum(axis=0)


def months() -> list[str]:
    return [*pd.date_range("2001-01-01", periods=12, freq="MS").month_name()]


def held(came: pd.Series, sun: Sun, days: int, firsts: Iterable[int]) -> Iterator[bool]:
    """Yield whether what came in so many days from each of these on lies in the 95 % interval."""
    low, high = np.quantile(offered_wh(sun, days)[1:], [0.025, 0.975])
    yield from (low <= came.loc[first : first + days - 1].sum() <= high for first in firsts)


def held_out(place: str, season: str, days: int) -> Iterator[bool]:
    """Yield it for every outage within a week that was not used."""
    sky = weather(place)
    for month in SEASONS[season]:
        came = came_wh(place)[months().index(month) + 1]
        for parity in (0, 1):
            used = (sky.hours.index.day - 1) // WEEK % 2 == parity
            sun = Sun(f"{WATTS} W", replace(sky, hours=sky.hours[used]), when=month, tilt=TILT, derate=WHOLE)
            firsts = [
                first
                for first in range(1, len(came) - days + 2)
                if (first - 1) // WEEK == (first + days - 2) // WEEK and (first - 1) // WEEK % 2 != parity
            ]
            yield from held(came, sun, days, firsts)


def by_table(place: str, season: str, days: int) -> Iterator[bool]:
    """Yield it for every outage, from latitude and longitude alone."""
    sky = weather(place)
    for month in SEASONS[season]:
        came = came_wh(place)[months().index(month) + 1]
        sun = Sun(f"{WATTS} W", (sky.latitude, sky.longitude), when=month, tilt=TILT, derate=WHOLE)
        yield from held(came, sun, days, range(1, len(came) - days + 2))


def coverage(season: str, days: int, *, typical: bool = True) -> tuple[float, int]:
    """Return the share of outages held and how many there were, of all places."""
    found = [each for place in PLACES for each in (held_out if typical else by_table)(place, season, days)]
    return float(np.mean(found)), len(found)


if __name__ == "__main__":
    for season in SEASONS:
        for days in (1, 3, 7):
            by = [np.mean([*held_out(place, season, days)]) for place in PLACES]
            print(season, days, "day(s): {:.3f} of {}".format(*coverage(season, days)), np.round(by, 2))
