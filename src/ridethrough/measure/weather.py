"""A place's weather, hour by hour: from a file of a typical year, or of one's own."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from ..model.sun import Weather
from ..units import Refusal, of_kind

HALF_HOUR = pd.Timedelta("30min")


def read_weather(path: str | Path, *, latitude: float | None = None, longitude: float | None = None) -> Weather:
    """Return the weather of a file: a typical year (EPW, or TMY3), or hours of one's own.

    Parameters
    ----------
    path : str or Path
        The file; a bare name that is not there is looked for among pvlib's own samples, such as "703165TY.csv". A
        file of one's own has a head ``time,ghi,dni,dhi``: beginnings of hours, or of shorter steps, with their zone
        ("2025-12-01 08:00-07:00"), and the light in W/m2.
    latitude, longitude : float, optional
        Where, for a file of one's own [degrees].

    References
    ----------
    PyPI pvlib 0.16: read_tmy3, which names an hour by its end, and read_epw, which names it by its beginning.
    """
    import pvlib

    given = Path(of_kind(path, str | Path, "path", "a file name", 'Write read_weather("year.epw").'))
    file = given if given.exists() else Path(pvlib.__file__).parent / "data" / given.name
    try:
        if latitude is not None and longitude is not None:
            hours, spot = pd.read_csv(file, index_col=0).rename(columns=str.lower), (latitude, longitude)
            begins = pd.to_datetime(hours.index)
            middles = begins + pd.Series(begins).diff().median() / 2
        else:
            by_begin = file.suffix.lower() == ".epw"
            hours, at = pvlib.iotools.read_epw(file) if by_begin else pvlib.iotools.read_tmy3(file, map_variables=True)
            spot, middles = (at["latitude"], at["longitude"]), hours.index + HALF_HOUR * (1 if by_begin else -1)
    except (OSError, KeyError, ValueError, TypeError, AttributeError, IndexError) as error:
        raise Refusal(f"{file.name}, which can't be read as weather ({error})", "EPW, TMY3, or hours of your own",
                      "Write its head time,ghi,dni,dhi, and give latitude= and longitude=.") from None  # fmt: skip
    return Weather(hours.set_axis(middles), *spot)
