"""A place's weather, hour by hour: from a file of a typical year, or of one's own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from ..model.sun import LIGHT, Weather
from ..units import Refusal

HALF_HOUR = pd.Timedelta("30min")


def read_weather(path: str | Path, *, latitude: float | None = None, longitude: float | None = None) -> Weather:
    """Return the weather of a file: a typical year (EPW, or TMY3), or hours of one's own.

    Parameters
    ----------
    path : str or Path
        The file; a bare name that is not there is looked for among pvlib's own samples, such as "703165TY.csv". A
        file of one's own has a head ``time,ghi,dni,dhi``: beginnings of the hours with their zone
        ("2025-12-01 08:00-07:00"), and the light in W/m2.
    latitude, longitude : float
        Where, for a file of one's own that does not say [degrees].

    References
    ----------
    PyPI pvlib 0.16: read_tmy3, read_epw. TMY3 names an hour by its end, its reader of EPW by its beginning.
    """
    import pvlib

    own = Path(path)
    file = own if own.exists() else Path(pvlib.__file__).parent / "data" / own.name
    if not file.is_file():
        raise Refusal(f"{str(path)!r}, which is no file", "a file of weather", "Check folder and spelling.")
    try:
        hours, about = _read(file, latitude, longitude)
        return Weather(hours, float(about["latitude"]), float(about["longitude"]))
    except (KeyError, ValueError, TypeError, AttributeError, IndexError) as error:
        raise Refusal(f"{file.name}, which can't be read as weather ({error})", "EPW, TMY3, or time,ghi,dni,dhi",
                      "Write its head time,ghi,dni,dhi, times with their zone, and give latitude= and longitude=."
                      ) from None  # fmt: skip


def _read(file: Path, latitude: Any, longitude: Any) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Return hours by their middles, and where they are."""
    from pvlib.iotools import read_epw, read_tmy3

    if file.suffix.lower() == ".epw":
        hours, about = read_epw(file)
        return hours.set_axis(hours.index + HALF_HOUR), about
    with file.open(encoding="utf-8", errors="replace") as lines:
        head = next(lines, "")
    if head.strip().lower().startswith("time"):
        hours = pd.read_csv(file, index_col=0).rename(columns=str.lower)
        return hours.set_axis(pd.to_datetime(hours.index) + HALF_HOUR), {"latitude": latitude, "longitude": longitude}
    hours, about = read_tmy3(file, map_variables=True)
    return hours.set_axis(hours.index - HALF_HOUR), about
