"""Pages to print: how to run a test at the bench, and a sheet to write the readings on."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from ..units import Refusal

_METERING = """\
## Metering an appliance

**What you need.** A plug-in meter rated for the appliance and for continuous use, its sheet (accuracy, smallest
load it counts, whether it forgets when power fails), a thermometer for the room, a clock.

**Before.** Wall outlet, then meter, then appliance: no power strips in a row, no worn plugs. Write down the room's
temperature and what is inside. Leave a refrigerator that was moved or switched off for a day first: its first
cool-down is not its usual day.

**During.** Three whole days are worth having; one day is the least; an hour tells little. Read the energy counter at
about the same times each day, with all its digits, and the clock with minutes. If the meter logs by itself, a reading
every 10 to 60 s shows cycles and defrosts. Live as usual: the door is part of it.

**Write down.** Each clock time and counter reading; room temperature morning and evening; anything unusual.

**Check the meter** with a kettle of known resistance for ten minutes, if you can measure its voltage too.

**Cautions.** Touch plug, cord and meter after ten minutes and again after an hour: hot to the hand means stop.
Nothing on or around the meter; keep it dry. A run of days is unattended: tell those who live there, and look in every
day, since a meter that comes loose spoils the food. Wait ten minutes before plugging a compressor in again. Worn
outlets and house wiring are work for a licensed electrician; local codes decide.
"""
PAGES = {"metering": _METERING}


@dataclass(frozen=True)
class Page:
    """A page to read or to print, shown as Markdown.

    Parameters
    ----------
    text : str
        In Markdown.
    """

    text: str

    def _repr_markdown_(self) -> str:
        return self.text

    def __repr__(self) -> str:
        return self.text


def protocol(test: str) -> Page:
    """Return the page that tells how to run a bench test.

    Parameters
    ----------
    test : str
        One of `PAGES`.
    """
    if test not in PAGES:
        raise Refusal(f"the page {test!r}", "one that there is", f"Write one of: {', '.join(PAGES)}.")
    return Page(PAGES[test])


def reading_sheet(rows: int = 12) -> Page:
    """Return an empty sheet for display readings, to print and fill in by hand.

    Parameters
    ----------
    rows : int
        Lines to write on [-].
    """
    head = "| date | clock | counter (kWh), all digits | room (°C) | remarks |\n|---|---|---|---|---|\n"
    return Page(head + "|  |  |  |  |  |\n" * rows)


def write_template(path: str | Path) -> str:
    """Write a CSV file for display readings, to be filled in and read by `read_log`; never over a file.

    Parameters
    ----------
    path : str or path
        Where to; the file must not exist.

    Returns
    -------
    str
        What was done and what comes next.

    Raises
    ------
    Refusal
        If the file exists or can't be written.
    """
    file = Path(path)
    try:
        with file.open("x", encoding="utf-8", newline="") as template:
            template.write("time,energy (kWh)\n")
    except FileExistsError:
        raise Refusal(f"{file}, which exists", "a file name that is free", "Choose another name.") from None
    except OSError as error:
        raise Refusal(
            f"{file} ({error.strerror})", "a place that can be written to", "Choose another folder."
        ) from None
    return (
        f'{file.name} is ready: one line for each reading, such as "2026-01-10 08:00,12.31". '
        f'Then: rt.measure_draw(rt.read_log("{file.name}"))'
    )
