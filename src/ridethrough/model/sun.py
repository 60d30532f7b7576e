"""The sun on a panel: by the clock, as much as a mean day of the season brings, its days bright and dark."""

from __future__ import annotations

import calendar
from dataclasses import dataclass, field
from datetime import date, timedelta, timezone
from typing import Any

import numpy as np

from ..estimate import Estimate, estimate
from ..sources import coefficient, lookup
from ..units import Q_, Refusal, is_plain, of_kind, of_parts, positive, show, truth
from .pattern import DAY_H, LEAST, Pattern, clock
from .recharge import Days, Recharge, efficiency_of

RIGHT, SOUTH = 90, 180  # degrees
CLOCKS = -int(DAY_H / 2), int(DAY_H / 2) + 2  # hours ahead of UTC, from west to east
LIGHT = ["ghi", "dni", "dhi"]


@dataclass(frozen=True)
class Weather:
    """Light at a place, hour by hour, of a typical year or measured; `read_weather` reads it from a file.

    Parameters
    ----------
    hours : pandas.DataFrame
        Columns ghi, dni, dhi: on the horizontal, straight from the sun, from the rest of the sky [W/m2]; its index
        holds the middles of the hours with their time zone. Hours and days may be missing.
    latitude, longitude : float
        Degrees, north and east positive.
    """

    hours: Any = field(repr=False)
    latitude: float
    longitude: float

    def __post_init__(self) -> None:
        import pandas as pd

        of_kind(self.hours, pd.DataFrame, "hours", "a table of hours", 'Write read_weather("year.epw").')
        if getattr(self.hours.index, "tz", None) is None or not {*LIGHT} <= {*self.hours}:
            raise Refusal("hours without time zone, or without ghi, dni and dhi", "both",
                          'Write hours.tz_localize("Etc/GMT+7"); pvlib.irradiance.erbs parts ghi alone.')  # fmt: skip
        if not all(pd.api.types.is_numeric_dtype(self.hours[name]) for name in LIGHT):
            raise Refusal("hours with text in ghi, dni or dhi", "plain numbers in W/m2",
                          'Write hours[["ghi", "dni", "dhi"]].apply(pandas.to_numeric).')  # fmt: skip
        most = 2 * lookup("light of a panel's rating").value  # clouds beside the sun add to it, and never so much
        if (self.hours[LIGHT] > most).any(axis=None):
            raise Refusal(f"hours with more than {most:g} W/m2 of light", "light as the sun gives it",
                          "Look at its unit: W/m2, means of the hours.")  # fmt: skip
        _spot(self)


class Sun(Recharge):
    """Power from a panel by the clock, weather included.

    power in an hour = watts * light of that hour on the mean day / 1000 W/m2 * derate * the day over the mean day

    Parameters
    ----------
    watts : str or pint.Quantity
        As printed on the panel [W].
    place : Weather, or (float, float)
        Where. Of a latitude and a longitude, in degrees, north and east positive, a clear sky is reckoned, and what
        the table of coefficients says that clouds leave of it.
    when : str, or (str, str)
        A month, "December"; a date, "2026-12-21", with the days about it; or two dates, from and to.
    tilt, azimuth : float
        Degrees from the horizontal, and by the compass, 180 looking south; towards the equator where left out.
    clear : bool
        Whether each day is cloudless, to compare with.
    derate : Estimate, str or float, optional
        What comes of the printed watts in full light; else the table's [-].
    efficiency : Estimate, str or float, optional
        Into the battery over from the panel; else the table's [-].
    utc : float, optional
        Hours by which the clock is ahead of UTC; the weather's own, or the longitude's, where left out.

    Notes
    -----
    The best estimate has the mean day every day; each draw has days of its own, bright and dark, as the season has
    them. Snow on the panel and shade are not in it. Lesson 09.

    References
    ----------
    PyPI pvlib 0.16: solar position (NREL SPA), clear sky (Ineichen and Perez), light on a tilted plane (isotropic).
    B. M. Hill, J. Amer. Statist. Assoc. 63 (1968) 677, from memory: the next day falls with equal chance between any
    two neighbours of the days seen, or beyond them.
    """

    kind = "sun"
    light: np.ndarray  # in each hour of the mean day's clock, over the light of a panel's rating
    share: Estimate  # what of it comes, where clouds are not in it yet

    def __init__(
        self, watts: Any, place: Any, *, when: Any, tilt: float, azimuth: float | None = None, clear: bool = False,
        derate: Any = None, efficiency: Any = None, utc: float | None = None,
    ) -> None:  # fmt: skip
        truth(clear, "clear")
        spot, known = _spot(place), isinstance(place, Weather)
        facing = SOUTH * (spot[0] >= 0) if azimuth is None else azimuth
        plane = _plain(tilt, "tilt", 0, RIGHT), _plain(facing, "azimuth", 0, 2 * SOUTH)
        sky = _season(place.hours[LIGHT].dropna() if known else _year(spot[1]), when, utc)
        came = _on_plane(sky.index, spot, plane)
        share, days = Estimate.exact("100 %"), None
        if known and not clear:
            bright, came = came, _on_plane(sky.index, spot, plane, sky)
            days = _days(came, bright)
        elif not clear:
            share, days = coefficient("share of a clear sky's sun"), _days_by_table()
        mean_day = came.groupby(sky.index.hour).mean().reindex(range(int(DAY_H)), fill_value=0).to_numpy()
        self._fill(watts, mean_day / lookup("light of a panel's rating").value, share, days, derate, efficiency)

    @classmethod
    def peak_hours(cls, watts: Any, hours: Any, *, between: tuple[str, str] = ("8:00", "16:00"), derate: Any = None,
                   efficiency: Any = None) -> Sun:  # fmt: skip
        """Return the sun by hand: so many hours of full light on the mean day, which are the light's kWh/m2.

        energy of the mean day = watts * hours * derate

        Parameters
        ----------
        watts, derate, efficiency
            As in `Sun` [W], [-], [-].
        hours : Estimate, str or pint.Quantity
            Peak sun hours of the mean day, on the panel's plane [h].
        between : (str, str)
            Times of day between which the light rises and falls, as half a wave.

        Example
        -------
        >>> Sun.peak_hours("200 W", "2.5 h", derate="80 %").mean_day.value
        <Quantity(400.0, 'watt_hour')>
        """
        given = estimate(hours, "h", "hours", guard=positive)
        of_parts(between, 2, f"between={between!r}", "two times of day", 'Write between=("7:00", "17:00").')
        low, high = (clock(each, "between") for each in between)
        full_h = given.magnitude
        light = full_h * _half_wave(low, high)
        if low >= high or light.max() > 1:
            raise Refusal(f"{show(given.value)} of full light between {' and '.join(between)}", "a longer day",
                          _longer_day(full_h))  # fmt: skip
        sun = cls.__new__(cls)
        sun._fill(watts, light, (given / given.value).to("1"), _days_by_table(), derate, efficiency)
        return sun

    def _fill(self, watts: Any, light: np.ndarray, share: Estimate, days: Days | None, derate: Any,
              efficiency: Any) -> None:  # fmt: skip
        if not light.any():
            raise Refusal("a panel without sun in that season", "some light", "Check place, when and azimuth.")
        pattern = Pattern(np.ones(light.size), positive(watts, "W", "watts").magnitude * light, begins_h=0.0)
        derated = estimate(derate, "1", "derate", coefficient("panel over its print"))
        stored = efficiency_of(efficiency, coefficient("solar charger efficiency"))
        super().__init__(pattern, stored, False, (derated * share).to("1"), once=False, days=days)
        vars(self).update(light=light, share=share)

    def __repr__(self) -> str:
        return f"<Sun, {show(self.peak_sun_hours)} of full light on the mean day: {self.mean_day} from the panel>"

    @property
    def peak_sun_hours(self) -> Estimate:
        """Hours of full light on the mean day [h]: the light's kWh/m2 on the panel's plane."""
        return (self.share * Q_(float(self.light.sum()), "h")).to("h")

    @property
    def mean_day(self) -> Estimate:
        """What the panel gives on the mean day [Wh], before any limit of the unit."""
        return (self.factor * Q_(self.pattern.mean_w * DAY_H, "Wh")).to("Wh")


def _half_wave(low: float, high: float) -> np.ndarray:
    """Return what each hour of the day has of light that rises and falls between two times [h], as half a wave."""
    wave = np.cos(np.pi * np.clip((np.arange(DAY_H + 1) - low) / ((high - low) or 1), 0, 1))
    return np.asarray(-np.diff(wave) / 2)


def _longer_day(full_h: float) -> str:
    """Return what to write for so much full light [h]: the shortest day about noon that holds it."""
    noon = int(DAY_H / 2)
    for half in range(1, noon):
        if full_h * _half_wave(noon - half, noon + half).max() <= 1:
            return f'Write between=("{noon - half}:00", "{noon + half}:00").'
    return 'Write fewer hours, such as "5 h".'


def _days(came: Any, bright: Any) -> Days:
    """Return how days differ whose light came, over what a clear sky would have given on each."""
    dates = bright.index.strftime("%Y-%m-%d")
    levels = np.sort(came.groupby(dates).sum() / bright.groupby(dates).sum().clip(lower=1))
    brightest = max(levels.max(initial=0), lookup("brightest day over a clear sky").value)
    return Days(np.array([0, *levels, brightest]) / max(came.sum() / max(bright.sum(), 1), LEAST))


def _days_by_table() -> Days:
    """Return how days differ where no weather is given."""
    ends = lookup("a day's sun over the mean day's")
    return Days(np.array([ends.low, ends.high]))


def _year(longitude: float) -> Any:
    """Return the middles of a year's steps by the clock of a longitude, with no weather."""
    import pandas as pd

    step, ahead = pd.Timedelta(minutes=lookup("step of a ride").value), round(longitude * DAY_H / (2 * SOUTH))
    year = pd.date_range("2001-01-01", "2002-01-01", freq=step, inclusive="left", tz=timezone(timedelta(hours=ahead)))
    return pd.DataFrame(index=year + step / 2)


def _on_plane(times: Any, spot: tuple[float, float], plane: tuple[float, float], sky: Any = None) -> Any:
    """Return the light on a plane [W/m2] under a sky, or under a clear one."""
    from pvlib.irradiance import get_total_irradiance
    from pvlib.location import Location

    site = Location(*spot)
    sun = site.get_solarposition(times)
    sky = site.get_clearsky(times, solar_position=sun) if sky is None else sky
    found = get_total_irradiance(*plane, sun.apparent_zenith, sun.azimuth, sky["dni"], sky["ghi"], sky["dhi"])
    return found["poa_global"].fillna(0).clip(lower=0)


def _spot(place: Any) -> tuple[float, float]:
    """Return latitude and longitude [degrees]."""
    spot = (place.latitude, place.longitude) if isinstance(place, Weather) else place
    north, east = of_parts(spot, 2, f"place={place!r}", "latitude and longitude in degrees, or weather",
                           'Write place=(46.5, 8.0) or place=read_weather("year.epw").')  # fmt: skip
    return _plain(north, "latitude", -RIGHT, RIGHT), _plain(east, "longitude", -SOUTH, SOUTH)


def _plain(value: Any, name: str, low: float, high: float, unit: str = "degrees", remedy: str = "") -> float:
    """Return a plain number of degrees, or of another unit."""
    if not is_plain(value) or not low <= value <= high:
        needed = f"{unit} from {low} to {high}, as a plain number"
        raise Refusal(f"{name}={value!r}", needed, remedy or f"Write {name}=45.")
    return float(value)


def _season(sky: Any, when: Any, utc: float | None) -> Any:
    """Return the hours of a month, about a date or from a date to another, of any year, by a clock."""
    if utc is not None:
        ahead = timedelta(hours=_plain(utc, "utc", *CLOCKS, "hours", "Write utc=1."))
        sky = sky.tz_convert(timezone(ahead))
    ends = [str(each) for each in (when if isinstance(when, (tuple, list)) else [when])] or [""]
    months = [number for number, name in enumerate(calendar.month_name)
              if len(ends[0]) > 2 and name.lower().startswith(ends[0].lower())]  # fmt: skip
    if len(ends) == 1 and months:
        return sky[sky.index.month == months[0]]
    try:
        first, last = (date.fromisoformat(each) for each in (ends * 2 if len(ends) == 1 else ends))
    except ValueError:
        raise Refusal(f"when={when!r}", "a month, a date, or two dates",
                      'Write when="December" or when="2026-12-21".') from None  # fmt: skip
    if last < first:
        raise Refusal(f"when={when!r}", "two dates, the earlier one first", f'Write when=("{last}", "{first}").')
    if last - first >= timedelta(days=int(Q_(1, "year").m_as("day")) - 1):  # both days count
        return sky
    about = timedelta(days=lookup("half of a date's days").value * (len(ends) == 1))
    low, high, day = f"{first - about:%m-%d}", f"{last + about:%m-%d}", sky.index.strftime("%m-%d")
    return sky[(day >= low) & (day <= high) if low <= high else (day >= low) | (day <= high)]
