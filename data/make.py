"""Makes the invented scenario: two simulated freezers, a hill village's weather, six invented units.

``python data/make.py [folder]`` writes every file anew, the same bytes each time. ``datapackage.json`` beside this
file (Frictionless Data Package, https://datapackage.org) describes the tables; the README is written from it.

The meter logs come out of a small simulation, second by second: a cabinet of two thermal nodes, a thermostat
with a minimum rest, doors that people open, a defrost heater, and a meter that looks now and then. Nothing
here is measured, and nothing matches a product.

Every first-order process (rooms, ground, mains voltage) is the one function `lag`. Random numbers come from
NumPy's ``RandomState``, whose stream is frozen for good, so that a seed gives the same files everywhere.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

SEED = 2026
WARM_UP_H = 24  # simulated before a log begins, so that no log starts at an invented state

KITCHEN_START, KITCHEN_H = datetime(2026, 1, 15, 9, 12, 30), 84
KITCHEN_GAP = (datetime(2026, 1, 17, 10, 41), datetime(2026, 1, 17, 11, 21))  # someone pulled the logger
STORE_START, STORE_H = datetime(2026, 1, 15, 8, 0), 96
HAND_TIMES = ("15 09:20", "15 18:05", "16 07:40", "16 13:15", "17 08:10", "17 19:30", "18 09:45", "18 20:50")

# Door openings an hour, midnight first: volunteers eat at 7, 12 and 18; the store is opened on few errands.
KITCHEN_DOORS = (0.1, 0, 0, 0, 0, 0.2, 1, 5, 4, 2, 2, 3, 7, 4, 1, 1, 2, 4, 6, 5, 2, 1, 0.5, 0.2)
STORE_DOORS = (0, 0, 0, 0, 0, 0, 0, 0, 0.3, 1, 1, 0.5, 0, 0, 0.3, 0.7, 0.5, 0, 0, 0, 0, 0, 0, 0)


@dataclass(frozen=True)
class Machine:
    """A cold appliance: what it draws, what its cabinet holds, when it switches.

    Parameters
    ----------
    running_w, idle_w, lamp_w, heater_w : float
        Power of the settled compressor, the electronics, the lamp, the defrost heater [W].
    cooling_w : float
        Heat taken out while the compressor runs [W].
    leak_w_per_k, door_w_per_k, exchange_w_per_k : float
        Heat from the room to the air, more of it through an open door, and between air and food [W/K].
    air_j_per_k, food_j_per_k : float
        Heat capacities of the two nodes [J/K].
    on_c, off_c : float
        Air temperatures at which the thermostat switches [degC].
    defrost_h : float
        Compressor time between defrosts, give or take a tenth [h].
    """

    running_w: float
    idle_w: float
    cooling_w: float
    leak_w_per_k: float
    door_w_per_k: float
    exchange_w_per_k: float
    air_j_per_k: float
    food_j_per_k: float
    on_c: float
    off_c: float
    lamp_w: float = 0
    heater_w: float = 0
    defrost_h: float = math.inf


FRIDGE_FREEZER = Machine(running_w=75, idle_w=1.0, cooling_w=122, leak_w_per_k=0.95, door_w_per_k=9,
                         exchange_w_per_k=5, air_j_per_k=1.5e4, food_j_per_k=2.2e5, on_c=-16.3, off_c=-20.7,
                         lamp_w=4.5, heater_w=160, defrost_h=11.8)  # fmt: skip
CHEST_FREEZER = Machine(running_w=68, idle_w=0.4, cooling_w=105, leak_w_per_k=1.5, door_w_per_k=14,
                        exchange_w_per_k=9, air_j_per_k=1.6e4, food_j_per_k=5e5, on_c=-17.0, off_c=-21.0)  # fmt: skip

# Start of a week of weather, and the air that flows in meanwhile, evenly spread [degC].
WINTER_DAYS = (datetime(2026, 1, 14), (1, -2, 2, 4, -3, -1, 3, 0))
COLD_SNAP = (datetime(2026, 2, 2), (-1, -2, -9, -13, -14, -15, -11, -8, -2))
HEAT_WAVE = (datetime(2026, 7, 13), (16, 17, 19, 21, 22, 24, 24, 20, 17))
STORE_PREAMBLE = "\ufeffInvented data: no freezer was metered. Energy logger in the store, chest freezer"

UNITS = """\
name,capacity_wh,chemistry,standby_w,efficiency_percent,efficiency_at_w,rated_w,surge_w,rated_va,pack_wh,packs_max
Unit A,670,nickel-manganese-cobalt,6.5,88,120,560,1100,560,,0
Unit B,1430,iron phosphate,11,90,420,1150,2300,1150,1210,2
Unit C,940,sealed lead-acid,9,84,150,720,,,,0
Unit D,2210,iron phosphate,31,89,480,2950,5800,2950,2050,3
Unit E,2690,nickel-manganese-cobalt,16,,,1900,3700,2100,,0
Unit F,3870,iron phosphate,23,91,560,3450,6800,3600,3490,4
"""
PRICES = """\
unit,item,price,currency,tax_included,date,note
Unit A,unit,529.00,EUR,yes,2026-01-12,invented
Unit B,unit,1079.00,EUR,yes,2026-01-12,invented
Unit B,unit,989.00,EUR,yes,2026-02-09,invented; reduced in February
Unit B,pack,735.00,EUR,yes,2026-01-12,invented
Unit B,bundle,1690.00,EUR,yes,2026-01-19,invented; the unit with one pack
Unit C,unit,415.00,EUR,yes,2026-01-08,invented
Unit D,unit,1540.00,EUR,no,2026-01-21,invented
Unit D,pack,1095.00,EUR,no,2026-01-21,invented
Unit E,unit,1875.00,EUR,yes,2026-01-15,invented
Unit F,unit,2980.00,EUR,yes,2026-01-27,invented
Unit F,pack,1960.00,EUR,yes,2026-01-27,invented
Unit F,bundle,4720.00,EUR,yes,2026-02-03,invented; the unit with one pack
"""
NAMEPLATES = """\
appliance,volts,amperes,watts,label_kwh_per_year
kitchen fridge-freezer,230,0.7,150,249
kitchen fridge-freezer: defrost heater,230,,165,
store chest freezer,230,0.6,115,262
kitchen ceiling lamps,230,,24,
village router,12,0.9,,
"""
# What the bench finds: energy [Wh], P_0 [W], k1 [-], k2 / P_rated [1/W], rate exponent [-], loads aimed at [W].
ROUTER_W = 8.0
TRUE = {
    "Unit A": (622, 6.8, 0.083, 5.4e-5, 1.00, (0, 45, 190)),
    "Unit B": (1367, 11.3, 0.082, 2.2e-5, 1.00, (0, 60, 250)),
    "Unit C": (516, 9.4, 0.128, 5.6e-5, 1.06, (0, 50, 210)),
    "Unit D": (2102, 31.8, 0.051, 0.7e-5, 1.00, (0, 95, 430)),
    "Unit E": (2468, 16.4, 0.076, 1.1e-5, 1.00, (0, 85, 520)),
    "Unit F": (3712, 23.6, 0.061, 0.6e-5, 1.00, (0, 120, 610)),
}


# -- the weather and the rooms ----------------------------------------------------------------------


def lag(target: np.ndarray, steps: float) -> np.ndarray:
    """Return the first-order response to ``target``, with a time constant of ``steps``."""
    held, now = np.empty_like(target), float(target[0])
    for k, aim in enumerate(target.tolist()):
        now += (aim - now) / steps
        held[k] = now
    return held


def village(rng: np.random.RandomState, start: datetime, air_mass_c: Sequence[float]) -> dict[str, np.ndarray]:
    """Return a week of hourly temperatures in the store, in the kitchen and outdoors [degC], warm-up first.

    The sun warms the ground, the ground the air; the kitchen is heated by day; the store follows slowly.
    """
    hours = 7 * 24 + WARM_UP_H
    clock = np.arange(hours) - WARM_UP_H  # from the midnight at ``start``
    day_of_year = start.timetuple().tm_yday + clock / 24
    tilt = math.radians(23.4) * np.sin(2 * math.pi * (day_of_year - 81) / 365)
    north = math.radians(47)
    height = math.sin(north) * np.sin(tilt) + math.cos(north) * np.cos(tilt) * np.cos(math.pi * (clock - 12.5) / 12)
    clear = lag(rng.uniform(0.2, 1.0, hours), 4)
    flow = np.interp(np.linspace(0, 1, hours), np.linspace(0, 1, len(air_mass_c)), air_mass_c)
    outdoors = flow + lag(28 * clear * np.clip(height, 0, None) - 3 * clear, 4) + lag(rng.normal(0, 2, hours), 5)
    wanted = np.where((clock % 24 >= 6) & (clock % 24 < 21), 21.0, 15.5) + rng.normal(0, 1.2, hours)
    kitchen = lag(np.maximum(wanted, lag(outdoors, 9) + 2), 5)
    return {"store": lag(0.75 * outdoors + 2.5, 14), "kitchen": kitchen, "outdoors": outdoors}


# -- the appliances -----------------------------------------------------------------------------------


def doors(rng: np.random.RandomState, start: datetime, seconds: int, per_hour: Sequence[float]) -> np.ndarray:
    """Return for each second whether the door stands open; most openings are short, a few are long."""
    hour = (start.hour + (start.minute * 60 + start.second + np.arange(seconds)) // 3600) % 24
    is_open = np.zeros(seconds, bool)
    for begin in np.flatnonzero(rng.random_sample(seconds) < np.asarray(per_hour)[hour] / 3600):
        is_open[begin : begin + int(rng.lognormal(3.2, 0.7))] = True
    return is_open


def mains(rng: np.random.RandomState, seconds: int) -> np.ndarray:
    """Return the mains voltage of each second over its nominal value: it wanders within some percent."""
    return 1 + np.interp(np.arange(seconds) / 60, np.arange(seconds // 60), lag(rng.normal(0, 0.04, seconds // 60), 25))


def simulate(it: Machine, rng: np.random.RandomState, room_c: np.ndarray, is_open: np.ndarray) -> np.ndarray:
    """Return the power the appliance draws in each second [W].

    air_j_per_k d(air)/dt = leak (room - air) + exchange (food - air) - cooling + heater's share     (1)
    food_j_per_k d(food)/dt = exchange (air - food)                                                  (2)

    Power settles after each start and follows room and cabinet; a start takes many times the running
    power for less than a second. The heater runs longer the longer the door stood open since the last time.
    """
    air, food, on, rested, settling, heating = it.on_c, (it.on_c + it.off_c) / 2, False, 0, 0.0, 0
    ran, frost, due, off_at = 0, 0, 3600 * it.defrost_h / 2, it.off_c
    power_w = np.empty(room_c.size)
    seconds = zip(room_c.tolist(), is_open.tolist(), mains(rng, room_c.size).tolist(), strict=True)
    for k, (room, door, volt) in enumerate(seconds):
        surge = 0.0
        if on and ran >= due:  # the defrost timer counts compressor time and cuts in at once
            on, rested, settling, heating = False, 0, 1.0, int(960 + 0.2 * frost)
            ran, frost, due = 0, 0, 3600 * it.defrost_h * rng.uniform(0.9, 1.1)
        elif on and air <= off_at:
            on, rested = False, 0
        elif not on and not heating and air >= it.on_c and rested >= 360:
            on, settling, off_at, surge = True, 1.0, it.off_c + rng.normal(0, 0.12), rng.uniform(3, 6)
        heater_w = it.heater_w * volt**2 * (1 + 0.04 * settling) if heating else 0.0
        hard = 1 + 0.009 * (room - 20) + 0.015 * (air - it.off_c) + 0.25 * settling + surge
        power_w[k] = it.idle_w + heater_w + on * it.running_w * volt * hard + door * it.lamp_w
        inward = (it.leak_w_per_k + door * it.door_w_per_k) * (room - air) + 0.8 * heater_w
        shared = it.exchange_w_per_k * (food - air)
        air += (inward + shared - on * it.cooling_w * (1 - 0.25 * settling)) / it.air_j_per_k  # (1)
        food -= shared / it.food_j_per_k  # (2)
        settling *= 1 - 1 / 200
        ran, frost, rested, heating = ran + on, frost + door, rested + (not heating), max(heating - 1, 0)
    return power_w


def kept(
    it: Machine, start: datetime, hours: int, where: str, per_hour: Sequence[float]
) -> tuple[np.ndarray, np.ndarray]:
    """Return each second's power [W] and room temperature [degC] of ``hours`` of the winter days, after a warm-up."""
    rng, first = stream(where), start - timedelta(hours=WARM_UP_H)
    seconds = np.arange(3600 * (hours + WARM_UP_H))
    hourly_c = village(stream("winter days"), *WINTER_DAYS)[where]
    since_h = (start - WINTER_DAYS[0]).total_seconds() / 3600 + seconds / 3600
    room_c = np.interp(since_h, np.arange(hourly_c.size), hourly_c)
    power_w = simulate(it, rng, room_c, doors(rng, first, seconds.size, per_hour))
    return power_w[3600 * WARM_UP_H :], room_c[3600 * WARM_UP_H :]


# -- what the volunteers wrote down ---------------------------------------------------------------------


def kitchen() -> dict[str, str]:
    """Return the meter log of the fridge-freezer, and readings of the same meter's display."""
    power_w, _ = kept(FRIDGE_FREEZER, KITCHEN_START, KITCHEN_H, "kitchen", KITCHEN_DOORS)
    metered_w = 1.004 * power_w + 0.05  # this meter's own error, within what its maker allows
    seen_w = metered_w[::30] + stream("kitchen meter").normal(0, 0.04 + 0.002 * metered_w[::30])
    logged = ((KITCHEN_START + timedelta(seconds=30 * k), watts) for k, watts in enumerate(seen_w))
    log = [f"{at.isoformat()},{watts:.1f}" for at, watts in logged if not KITCHEN_GAP[0] <= at < KITCHEN_GAP[1]]
    counter_kwh = 41.86 + np.cumsum(metered_w) / 3.6e6
    read = [datetime.fromisoformat(f"2026-01-{at}") for at in HAND_TIMES]
    hand = [f"{at:%Y-%m-%d %H:%M},{counter_kwh[(at - KITCHEN_START) // timedelta(seconds=1)]:.2f}" for at in read]
    return {
        "kitchen-fridge-freezer.csv": text("time,power (W)", *log),
        "hand-readings.csv": text("time,energy (kWh)", *hand),
    }


def store() -> dict[str, str]:
    """Return the energy counter of the chest freezer with the store's temperature, as another meter writes it."""
    power_w, store_c = kept(CHEST_FREEZER, STORE_START, STORE_H, "store", STORE_DOORS)
    counter_kwh = (0.007 + np.cumsum(power_w) / 3.6e6)[::300]
    seen_c = store_c[::300] + stream("store meter").normal(0, 0.03, counter_kwh.size)
    times = (f"{STORE_START + timedelta(minutes=5 * k):%Y-%m-%d %H:%M}" for k in range(counter_kwh.size))
    rows = [f"{at};{kwh:.3f};{celsius:.1f}".replace(".", ",")
            for at, kwh, celsius in zip(times, counter_kwh, seen_c, strict=True)]  # fmt: skip
    return {"store-chest-freezer.csv": text(f"{STORE_PREAMBLE}\nTime;Energy [kWh];Temp [°C]", *rows)}


def bench() -> dict[str, str]:
    """Return run-downs of each unit, from its true numbers, which are not the printed ones.

    Nothing plugged in, a medium and a heavy load; and the router alone, a light one, run later at another bench.

    drawn = P_0 + (1 + k1) P + (k2 / P_rated) P^2                                            (1)
    hours = energy / drawn * (20 h * drawn / energy)^(1 - exponent)                          (2)
    """
    main, later, rows = stream("bench"), stream("bench, light load"), []
    for unit, (energy_wh, p_0, k1, k2_per_w, exponent, loads_w) in TRUE.items():
        for aim_w in (*loads_w, ROUTER_W):
            rng = later if aim_w == ROUTER_W else main
            load_w = round(aim_w * rng.uniform(0.98, 1.02), 1)
            drawn_w = p_0 + (1 + k1) * load_w + k2_per_w * load_w**2  # (1)
            hours = energy_wh / drawn_w * (20 * drawn_w / energy_wh) ** (1 - exponent)  # (2)
            hours *= 1 + rng.normal(0, 0.01)  # no run repeats exactly
            rows.append(f"{unit},{load_w:.1f},{hours:.2f},{rng.uniform(18.5, 22.5):.1f}")
    return {"bench-rundowns.csv": text("unit,load_w,hours,room_c", *rows)}


def week(name: str, start: datetime, air_mass_c: Sequence[float]) -> dict[str, str]:
    """Return a week of hourly temperatures."""
    rooms = village(stream(name), start, air_mass_c)
    hourly = zip(*(celsius[WARM_UP_H:] for celsius in rooms.values()), strict=True)
    rows = [f"{start + timedelta(hours=k):%Y-%m-%d %H:%M}," + ",".join(f"{celsius:.1f}" for celsius in now)
            for k, now in enumerate(hourly)]  # fmt: skip
    return {f"{name}.csv": text("time," + ",".join(f"{room}_c" for room in rooms), *rows)}


def tables() -> dict[str, str]:
    """Return every table of the scenario as text, by file name."""
    weather = week("cold-snap", *COLD_SNAP) | week("heat-wave", *HEAT_WAVE)
    printed = {"units.csv": UNITS, "prices.csv": PRICES, "nameplates.csv": NAMEPLATES}
    return kitchen() | store() | bench() | printed | weather


def text(*lines: str) -> str:
    """Return lines as the text of a file."""
    return "\n".join([*lines, ""])


def stream(name: str) -> np.random.RandomState:
    """Return the random numbers of one table, so that a change in one leaves the others alone."""
    return np.random.RandomState([SEED, *name.encode()])


# -- the files ------------------------------------------------------------------------------------------

READ_ME = """\
# The scenario's data

**Everything in this folder is invented.** The volunteers of a hill village's food pantry keep a
fridge-freezer in the kitchen and a chest freezer in an unheated store through winter outages. There is no
such pantry; the logs come from a simulation, and Unit A to Unit F match no product.

Every table here, and this file too, is written by one command, the same bytes each time:

    python data/make.py

So change `make.py` (numbers) or `datapackage.json` (descriptions), never another file here. `datapackage.json`
says the same as this file for programs (Frictionless Data Package, https://datapackage.org).
Proposed licence, until the owner decides: CC-BY-4.0.
"""


def read_me(package: dict[str, Any]) -> str:
    """Return the text of the folder's README, in Markdown: each resource of the package and its columns."""
    lines = []
    for resource in package["resources"]:
        lines += ["", f"## {resource['path']}", "", resource["description"], "", "| column | meaning |", "|---|---|"]
        lines += [f"| `{column['name']}` | {column['description']} |" for column in resource["schema"]["fields"]]
    return READ_ME + text(*lines)


def main(here: Path, into: Path) -> None:
    """Write every file of the scenario into a folder, over what is there, as the package in ``here`` describes it."""
    package = (here / "datapackage.json").read_text(encoding="utf-8")
    into.mkdir(parents=True, exist_ok=True)
    for name, content in (tables() | {"datapackage.json": package, "README.md": read_me(json.loads(package))}).items():
        (into / name).write_text(content, encoding="utf-8", newline="\n")
        print(into / name)


if __name__ == "__main__":
    main(Path(__file__).parent, Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
