"""Meter logs and hand readings: what a plug-in meter showed, as power held over steps of time.

`read_log` takes the CSV files that meters and loggers write, `hand_readings` what was read off a display.
Both give a `MeterLog`. Whatever was guessed, bridged or left out stands in it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from .columns import ROLES_OF, assign
from .judge import judge
from .layout import BASE, Layout, Place, find_layout, kind_of
from .meter import Meter as Meter
from .meterlog import MeterLog as MeterLog
from .readings import read_readings
from .steps import UNTIL_NEXT

KEPT = "ridethrough-columns.json"
CHOICES: dict[str, type] = {"columns": Mapping, "kind": str, "timezone": str, "unit": str, "dayfirst": bool,
                             "decimal": str, "hold": str}  # fmt: skip


def read_log(
    path: str | Path,
    *,
    meter: Meter | None = None,
    columns: Mapping[str, str] | None = None,
    kind: str | None = None,
    timezone: str | None = None,
    unit: str | None = None,
    dayfirst: bool | None = None,
    decimal: str | None = None,
    hold: str | None = None,
    keep_mapping: bool = False,
) -> MeterLog:
    """Return the log in a CSV file: its power over steps of time, and everything a reader must know of it.

    What is not told is guessed from the file, and the log's repr shows the guess. What could be read in
    two ways is refused, with the argument that settles it.

    Parameters
    ----------
    path : str or Path
        The CSV file [-].
    meter : Meter, optional
        What it was logged with [-].
    columns : dict, optional
        Names of the columns that hold "time" (or "date" and "time"), and "power", "energy",
        "apparent power", or "voltage" and "current" [-].
    kind : str, optional
        "power", "counter", "interval energy" or "apparent power" [-].
    timezone : str, optional
        Where the meter's clock showed local time, such as "Europe/Vienna" [-].
    unit : str, optional
        The unit of the readings, where the column's name does not say it [-].
    dayfirst : bool, optional
        Whether 03/04/2026 is the third of April [-].
    decimal : str, optional
        The decimal mark, "," or "." [-].
    hold : str, optional
        How long a reading of power stands for: "until the next", or until the next but at most a time
        such as "30 s"; what lies beyond is a gap [s].
    keep_mapping : bool
        Whether to write what the columns are into a small file beside the log, which is then read for
        every log in that folder [-].

    Returns
    -------
    MeterLog
        Its times in seconds from the first reading, its powers in W.

    Raises
    ------
    LogRefusal
        If anything in the file can't be trusted; it names the file and, where there is one, the row.

    Notes
    -----
    A reading of power stands until the next one; the last one closes the log. Whether a long silence is a
    gap or a meter that writes only changes is decided from the pattern of the readings, said in the repr,
    and overruled by ``hold``. A counter knows what flowed in a gap. An interval's time is taken as its
    beginning, unless the column is called its end.
    """
    layout = find_layout(path)
    told = _checked(layout.place, {"columns": columns, "kind": kind, "timezone": timezone, "unit": unit,
                                   "dayfirst": dayfirst, "decimal": decimal, "hold": hold})  # fmt: skip
    beside = Path(path).with_name(KEPT)
    choices, kept = _completed(told, beside, layout)
    found = assign(layout, choices, "given" if "columns" in told else kept)
    log = judge(read_readings(layout, *found, choices), meter or Meter(), choices)
    if kept:
        used = ", ".join(name for name in choices if name not in told) or "nothing"
        log = replace(log, mapping=log.mapping | {"kept mapping": (used, kept)})
    if keep_mapping:
        _keep(layout.place, beside, log, choices)
    return log


def _completed(told: dict[str, Any], beside: Path, layout: Layout) -> tuple[dict[str, Any], str]:
    """Return what was told, completed from the mapping kept ``beside`` the log, and what became of that mapping."""
    if not beside.is_file():
        return told, ""
    try:
        kept = _checked(layout.place, json.loads(beside.read_text(encoding="utf-8")))
    except (OSError, ValueError, RecursionError) as error:
        raise layout.place.refuse("kept mapping", kept=KEPT, error=error) from None
    if not set(kept.get("columns", {}).values()) <= set(layout.names):
        return told, f"{KEPT}, not used: it names other columns"
    if {"columns", "kind"} & set(told):  # then only what it says of times and numbers is of use
        kept = {name: choice for name, choice in kept.items() if name in {"timezone", "dayfirst", "decimal"}}
    return kept | told, f"from {KEPT}"


def _checked(place: Place, told: Any) -> dict[str, Any]:
    """Return the choices that were made; refuse one of the wrong type, or a word that is none of those known."""
    sound = isinstance(told, dict) and set(told) <= set(CHOICES)
    place.refuse_if("no choices", not sound, told=str(told), names=", ".join(CHOICES))
    made = {name: choice for name, choice in told.items() if choice is not None}
    for name, choice in made.items():
        fits = isinstance(choice, CHOICES[name])
        if name == "columns" and fits:
            fits = all(isinstance(text, str) for text in (*choice, *choice.values()))
        known = {"kind": ROLES_OF, "decimal": (",", ".")}.get(name, (choice,))
        among = ", ".join(map(repr, known)) if fits else f"text or {CHOICES[name].__name__}"
        place.refuse_if("odd choice", not fits or choice not in known, name=name, choice=choice, among=among)
    return made


def _keep(place: Place, beside: Path, log: MeterLog, choices: Mapping[str, Any]) -> None:
    """Write what the columns are beside the log, for the next file of its kind."""
    columns = {role: name for role, (name, _) in log.mapping.items() if role in {"time", "date", *BASE}}
    kept = dict(choices) | {"columns": columns, "kind": log.kind}
    try:
        beside.write_text(json.dumps(kept, indent=2, ensure_ascii=False), encoding="utf-8")
    except OSError as error:
        raise place.refuse("not written", error=error) from None


def hand_readings(
    readings: Sequence[tuple[str, str]],
    unit: str,
    meter: Meter | None = None,
    *,
    timezone: str | None = None,
    dayfirst: bool | None = None,
) -> MeterLog:
    """Return readings noted by hand as a log.

    Parameters
    ----------
    readings : sequence of (time, reading), both text
        Times as dates, or as hours and minutes that the meter has run ("47:20"). The digits of a reading
        are its resolution, so "12.30" is not "12.3" [h, ``unit``].
    unit : str
        "kWh" or "Wh" for an energy counter, "W" for a power display [-].
    meter : Meter, optional
        What they were read off [-].
    timezone, dayfirst : optional
        As in `read_log` [-].

    Returns
    -------
    MeterLog
        Power in W over the time between two readings.

    Raises
    ------
    LogRefusal
        If a reading is no text, no number, or earlier than the one before; it says which one.

    Example
    -------
    >>> hand_readings([("0:00", "2.41"), ("47:30", "4.31")], "kWh").mean_power_w()
    40.0
    """
    rows, name = _pairs(readings), f"reading ({unit})"
    layout = Layout("hand readings", None, "", "", 0, ("time", name), (kind_of(rows[0][0]), "number"), rows)
    choices = _checked(layout.place, {"timezone": timezone, "dayfirst": dayfirst, "unit": str(unit), "decimal": "."})
    found, notes = assign(layout, choices, "given")
    fits = bool(found.keys() & {"power", "energy"}) and layout.kinds[0] != "number"
    layout.place.refuse_if("hand units", not fits, time=rows[0][0], unit=unit, at=0)
    choices |= {"kind": "counter"} if "energy" in found else {"hold": UNTIL_NEXT}
    return judge(read_readings(layout, found, notes, choices), meter or Meter(), choices)


def _pairs(readings: Any) -> tuple[tuple[str, str], ...]:
    """Return hand readings as a table of text."""
    place = Place("hand readings")
    several = isinstance(readings, Sequence) and not isinstance(readings, str) and len(readings) > 1
    place.refuse_if("hand readings", not several, given=str(readings)[:60], count="two or more ")
    for at, pair in enumerate(readings):
        fits = isinstance(pair, Sequence) and len(pair) == 2 and all(isinstance(text, str) for text in pair)
        place.refuse_if("hand readings", not fits, given=repr(pair), count="", at=at)
    return tuple((time.strip(), value.strip()) for time, value in readings)
