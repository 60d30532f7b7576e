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
_RUN_DOWN = """\
## Running a unit down

**What you need.** The unit, charged full and rested; a steady load that does not switch itself off (a lamp, not a
heater with a thermostat); a plug-in meter that keeps its reading; a clock; a thermometer.

**Which loads.** Three runs say most: nothing plugged in, about the power of a refrigerator's mean, and five times
that. The empty one takes days and is worth it: it pins the standby. Some units switch their outlets off below a few
watts; look in the manual, or the empty run ends early and tells nothing.

**Each run.** Charge until the unit says full and an hour longer. Note the room's temperature. Start load and clock
together. Write down the meter's power after ten minutes, its energy at the end, and when the unit went off. A run that
you must stop early counts too: it lasts "at least" so long.

**Write down.** Load (W) or energy delivered (kWh), hours, room (°C), stopped early or not, packs attached.

**Cautions.** Stay near: an unattended run of a heater or of a damaged battery starts fires. Hard floor, free vents,
nothing around that burns. Load, cord and meter within their ratings. The maker's limits come first; recharge soon, and
never charge lithium below 0 °C. If it smells, swells or gets hot, switch it off and leave it outdoors if that is safe.
House wiring stays out of it: local codes and a licensed electrician decide there.
"""
_STANDBY = """\
## Standby without running the unit down

**By the display.** Charge full, outlets on, nothing plugged in. After a day read the displayed charge. Whole percents
are the small error; a display that is not linear, or that does not count the unit's own use, is the large one. Take a
day or longer. The number stands on the battery's side.

**By the refill.** As before, then charge through a plug-in meter until full and read the energy at the wall. The
charger's loss is in it, and so is the standby while charging. The number stands on the wall's side.

**Cautions.** Not below 0 °C for lithium; not unattended on a surface that burns; the maker's limits come first, local
codes decide over fixed wiring.
"""
_COLD = """\
## Running a unit down in the cold

**Why.** No neutral table tells what a lithium iron phosphate unit gives at 0 °C. Two runs of your own do, for your
unit.

**What you need.** A place that stays cold for two days (a store, a balcony out of the rain), a thermometer beside
the unit, and everything for a run-down. Look in the manual first: how cold may it stand, and how cold may it run?

**The warm run.** As any run-down, in a heated room, with a load that empties it in half a day or longer.

**The cold run.** Charge it full in the warm. Switch it off and let it stand in the cold for a day: a heavy battery
takes that long to follow. Then the same load, to the end. Write down the temperature at start and end; the mean
counts.

**After.** Carry it into the warm, wait a day, then charge.

**Write down.** For each run: temperature (°C), load (W), hours. Then `TemperatureCurve.from_runs("iron phosphate",
("21 degC", "12.1 h"), ("2 degC", "11.2 h"))` with your own numbers.

**Cautions.** Never charge a lithium battery below 0 °C: it is damaged inside and may burn later. No warming with
heaters or blankets to speed it up. Keep it dry and not unattended among things that burn. The maker's limits come
first, local codes decide over fixed wiring.
"""
_START = """\
## The start of a motor

**What you need.** A meter that keeps the largest current or power it saw, if you have one. A meter that shows a
value every ten seconds misses most starts.

**The test.** Plug the refrigerator in through the meter, wait for it to start by itself ten times, and write down
the largest value. It is at least what the motor asks, seldom all of it.

**On the unit.** The plain test is to plug it in: does the unit carry ten starts by its own thermostat without
switching off? Do it with the food elsewhere or the mains at hand.

**Cautions.** Never switch a compressor off and on by hand: it needs ten minutes of rest and may be damaged. Meters,
cords and outlets within their ratings; not unattended. No clamp meters inside a plug or an open case: that is work
for a licensed electrician, and local codes decide.
"""
_IDLE_FUEL = """\
## What a generator burns for nothing

**What you need.** The generator cold and off, a fuel can with marks, a clock, an hour or more outdoors.

**The test.** Fill to a mark you can find again. Start it, plug nothing in, let it run for an hour or longer, switch
it off, let it cool down, and fill to the mark again, measuring what goes in. Write down litres and hours.

**Cautions.** Outdoors only, at least 20 ft (6 m) from any door, window or vent, exhaust pointing away, with a
battery-backed carbon monoxide alarm indoors; never unattended. Refuel only when it is cold. Never connect it to
house wiring without listed transfer equipment, which a licensed electrician installs; local codes decide.
"""
PAGES = {
    "metering": _METERING,
    "run-down": _RUN_DOWN,
    "standby": _STANDBY,
    "cold run-down": _COLD,
    "start": _START,
    "idle fuel": _IDLE_FUEL,
}


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
            template.write("time,energy counter (kWh)\n")
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
