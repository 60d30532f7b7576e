"""How often the kit's 95 % intervals hold on homes, meters, benches and outages simulated apart from it.

    python tests/measure/intervals.py [homes per kind] [seed] [--jobs N]

Default: 40 homes of each kind (half as many where the room changes), seed 1, one process, some ten minutes. Each home
is logged LOGS times, each time by another meter, for 1, 2, 3 or 5 days; each log meets OUTAGES outages that begin 1 to
10 days after it, at an hour nobody knew. What is drawn takes 500 draws. Homes, meters and units stand in worlds.py. All
their numbers are invented.

holds  share of intervals with the truth inside; bars 93 % pooled, 90 % in each kind.
width  median of half width over the least; bars 1.3 pooled, 1.8 in the very calm home. The least:
  mean      95 % half width of the best linear estimator of the long-run mean from a log of that length (quarter hours,
            the home's autocovariance known), with the errors that the meter's sheet allows added.
  energy    half the 95 % range of what outages of that length take in that home, as that meter would tell it.
  run time  half the 95 % range of the run times of that home's outages on the true unit, each times what a bench of
            that plan errs by where a line is fitted to it (rate exponent at its middle, spread of the runs known).
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.linalg import solve_toeplitz

import ridethrough as rt

sys.path.insert(0, str(Path(__file__).parent))  # for pytest, which looks for examples in every file
from worlds import DAY_MIN, EXPONENT, KINDS, Home, Plug, TrueUnit, between, homes_of, simulate

LANES, LANE_DAYS, SETTLE_DAYS = 8, 40, 2
LOGS, OUTAGES, DRAWS, SAMPLE = 2, 5, 500, 600  # SAMPLE: outages, benches and meters behind the least
LATEST_LOG_DAY, LATEST_OUTAGE_DAY = 12, 28  # beginnings, so that a lane holds log, wait and run
FIRST_DAY = pd.Timestamp("2026-01-05")  # a Monday, as day 0 of the worlds
ENERGY_H = (6, 24, 72)
OUTAGE_H = (3, 6, 12, 24, 72, 168)
STEP_W = 0.1
NOISE = 0.01  # of the power, from sample to sample
READING_H = (7, 12.5, 18, 22)  # of a person who reads the counter, give or take half an hour
PLANS_W = ((0, 60, 250), (0, 120), (40, 90, 200), (50, 300), (0, 45, 45, 180, 400))  # loads of a bench, unit of 1 kWh
BENCH_SCALE = (0.3, 2.0)  # of loads with the unit's energy, no less and no more
PRINTED = 1.25  # on the box, over the energy at the outlet
ELSEWHERE = (
    ("refrigerator 5 K warmer", "fixed speed, defrost", "refrigerator", 25.0),
    ("refrigerator 8 K warmer", "fixed speed, defrost", "refrigerator", 28.0),
    ("freezer 5 K warmer", "chest freezer", "freezer", 25.0),
    ("freezer 8 K warmer", "chest freezer", "freezer", 28.0),
    ("freezer at 5 degC", "chest freezer", "freezer", 5.0),
)
MEASURED_C = 20.0
DEEPER_IDLING = 0.6  # standby with nothing plugged in, over that with a load
LONG_KINDS = ("fixed speed, defrost", "variable speed, defrost", "day rhythm, weekends", "very calm", "chest freezer")


def meter_of(plug: Plug) -> rt.Meter:
    return rt.Meter(plug.sheet, power_step=f"{STEP_W} W")


def allowed(plug: Plug, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Return gains less one and offsets [W] that the meter's sheet allows, for the least width."""
    return rng.uniform(-1, 1, SAMPLE) * plug.gain_limit, rng.uniform(-1, 1, SAMPLE) * plug.offset_limit_w


def written(values: np.ndarray, column: str, begin: int, step_s: float, folder: Path) -> Path:
    """Return a log's file: a time and a value every so many seconds, from a minute of the world on."""
    times = FIRST_DAY + pd.Timedelta(minutes=int(begin)) + pd.to_timedelta(np.arange(len(values)) * step_s, unit="s")
    path = folder / "log.csv"
    table = pd.DataFrame({"time": times.strftime("%Y-%m-%d %H:%M:%S"), column: np.round(values, 3)})
    table.to_csv(path, index=False)
    return path


def logged(power: np.ndarray, begin: int, plug: Plug, rng: np.random.Generator, folder: Path) -> rt.MeterLog:
    """Return a log of ``power`` in minutes that begins at a minute of the world: by minutes, 10 s or a counter."""
    form = rng.choice(["minutes", "10 s", "hourly energy", "counter", "by hand"], p=[0.7, 0.1, 0.08, 0.06, 0.06])
    often = 6 if form == "10 s" else 1
    shown = plug.shown(np.repeat(power, often) * (1 + rng.normal(0, NOISE, len(power) * often)))
    counter_wh = np.concatenate([[0.0], np.cumsum(shown) / 60])
    every = {"minutes": 1, "10 s": 1, "hourly energy": 60, "counter": 15}.get(form, 0)
    if form == "by hand":
        days = np.arange(begin // DAY_MIN, (begin + len(power)) // DAY_MIN + 1)
        moments = np.array([day * DAY_MIN + 60 * hour + rng.integers(-30, 30) for day in days for hour in READING_H])
        moments = np.unique(np.clip(moments - begin, 0, len(power)).astype(int))
        texts = [f"{FIRST_DAY + pd.Timedelta(minutes=begin + int(at)):%Y-%m-%d %H:%M}" for at in moments]
        readings = [f"{37 + counter_wh[at] / 1000:.2f}" for at in moments]
        return rt.hand_readings(list(zip(texts, readings, strict=True)), "kWh", meter_of(plug))
    if form in ("minutes", "10 s"):
        column, values = "power (W)", np.round(shown / STEP_W) * STEP_W
    elif form == "counter":
        column, values = "energy (kWh)", 37 + np.round(counter_wh[::every] / 1000, 3)
    else:
        column, values = "energy (Wh)", np.diff(np.floor(counter_wh[::every]))
    path = written(values, column, begin, 60.0 * every if every > 1 else 60 / often, folder)
    kind = {"hourly energy": "interval energy", "counter": "counter"}.get(form, "power")
    return rt.read_log(path, meter=meter_of(plug), kind=kind)


def benched(unit: TrueUnit, loads: np.ndarray, plug: Plug, rng: np.random.Generator) -> rt.BackupUnit:
    """Return the unit as the kit knows it from run-downs read by that meter."""
    hours = unit.bench_h(loads) * (1 + rng.normal(0, unit.spread, len(loads)))
    shown = np.where(loads > 0, np.round(plug.shown(loads) / STEP_W) * STEP_W, 0)
    runs = [(f"{watts:.1f} W", f"{long:.3f} h") for watts, long in zip(shown, hours, strict=True)]
    line = rt.fit_rundowns(
        runs, meter=meter_of(plug), repeatability=f"{100 * unit.stated:.2f} %", chemistry="iron phosphate", rated="2 kW"
    )
    return rt.BackupUnit.from_rundowns("unit", line, printed=f"{PRINTED * unit.energy_wh:.0f} Wh", rated="2 kW")


def bench_errors(unit: TrueUnit, loads: np.ndarray, plug: Plug, mean_w: float, rng: np.random.Generator) -> np.ndarray:
    """Return next run's time over that predicted at the home's mean, for many benches of that plan [-]."""
    gain, offset = (limit[:, None] for limit in allowed(plug, rng))
    k = rng.uniform(*EXPONENT, (SAMPLE, 1))
    hours = unit.bench_h(loads, k) * (1 + rng.normal(0, unit.spread, (SAMPLE, len(loads))))
    x = np.where(loads > 0, (loads - offset) / (1 + gain), 0)
    y = hours ** (-1 / np.mean(EXPONENT))
    weight = 1 / y**2
    total, x_mean = weight.sum(1), (weight * x).sum(1)
    slope = ((weight * x * y).sum(1) - x_mean * (weight * y).sum(1) / total) / (
        (weight * x**2).sum(1) - x_mean**2 / total
    )
    cut = ((weight * y).sum(1) - slope * x_mean) / total
    rate = np.maximum(cut + slope * (mean_w - offset[:, 0]) / (1 + gain[:, 0]), 1e-9)
    return unit.bench_h(mean_w, k[:, 0]) * (1 + rng.normal(0, unit.spread, SAMPLE)) * rate ** np.mean(EXPONENT)


def half(values: np.ndarray) -> float:
    low, high = np.quantile(values, [0.025, 0.975])
    return float(high - low) / 2


@dataclass(frozen=True)
class Household:
    """One home: its lanes where it is logged, and where its outages come (the same, or another room)."""

    kind: str
    before: np.ndarray  # (minutes, lanes) [W]
    after: np.ndarray
    room: tuple[str, float] | None = None  # cabinet, and the outage's room [degC]

    @property
    def mean_w(self) -> float:
        return float(self.after[SETTLE_DAYS * DAY_MIN :].mean(dtype=float))

    def covariance(self, days: int) -> np.ndarray:
        """Return the autocovariance of quarter hours, lags up to ``days`` [W2]."""
        quarters = self.before[SETTLE_DAYS * DAY_MIN :].reshape(-1, 15, LANES).mean(axis=1, dtype=float)
        quarters -= quarters.mean()
        spectrum = np.abs(np.fft.rfft(quarters, 2 * len(quarters), axis=0)) ** 2
        return np.fft.irfft(spectrum.mean(axis=1))[: days * 96] / len(quarters)

    def least_mean(self, days: int, plug: Plug, rng: np.random.Generator) -> float:
        covariance = self.covariance(days)
        covariance[0] *= 1 + 1e-6
        sd = np.sum(solve_toeplitz(covariance, np.ones(len(covariance)))) ** -0.5
        gain, offset = allowed(plug, rng)
        return half(rng.normal(0, sd, SAMPLE) + self.mean_w * gain + offset)

    def outages(self, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
        """Return lanes and minutes at which many outages begin."""
        span = SETTLE_DAYS * DAY_MIN, LATEST_OUTAGE_DAY * DAY_MIN
        return rng.integers(LANES, size=SAMPLE), rng.integers(*span, size=SAMPLE)


def noted(figure: str, interval: Any, truth: np.ndarray, unit: str, least: float) -> dict[str, Any]:
    """Return the share of truths in an interval, and its half width over the least."""
    low, high = (end.to(unit).magnitude for end in interval)
    holds = float(np.mean((low <= truth) & (truth <= high)))
    return {"figure": figure, "holds": holds, "width": (high - low) / 2 / least}


def judge_draw(
    home: Household, draw: rt.Draw, lane: int, starts: np.ndarray, days: int, plug: Plug, rng: np.random.Generator
) -> Iterator[dict[str, Any]]:
    """Yield how the long-run mean and the energies of outages lie in the intervals of a measured draw."""
    least = home.least_mean(days, plug, rng)
    yield noted("mean", draw.mean_power.interval(0.95), np.array([home.mean_w]), "W", least)
    summed = np.concatenate([np.zeros((1, LANES)), np.cumsum(home.before, axis=0, dtype=float)]) / 60
    gain, offset = allowed(plug, rng)
    for hours in ENERGY_H:
        least = half(between(summed, *home.outages(rng), hours) * (1 + gain) + offset * hours)
        truth = between(summed, np.full(OUTAGES, lane), starts, hours)
        yield noted(f"energy {hours} h", draw.energy_over(f"{hours} h").interval(0.95), truth, "Wh", least)


def judge_run(
    home: Household, load: rt.Load, lane: int, starts: np.ndarray, plug: Plug, rng: np.random.Generator, idling: float
) -> Iterator[dict[str, Any]]:
    """Yield how the run times of outages lie in the intervals, and the verdict, of a load on a unit off the bench."""
    label = "" if idling == 1 else ", deeper idling"
    plans = [plan for plan in PLANS_W if idling == 1 or (0 in plan and len(plan) > 2)]
    hours = float(rng.choice(OUTAGE_H))
    unit = TrueUnit.drawn(home.mean_w, hours, rng, idling)
    plan = np.round(np.array(plans[rng.integers(len(plans))]) * np.clip(unit.energy_wh / 1000, *BENCH_SCALE))
    truth = unit.lasts_h(home.after, np.full(OUTAGES, lane), starts, 1 + rng.normal(0, unit.spread, OUTAGES))
    errors = bench_errors(unit, plan, plug, home.mean_w, rng)
    least = half(unit.lasts_h(home.after, *home.outages(rng)) * errors)
    known = benched(unit, plan, plug, rng)
    outage = rt.Outage(f"{hours:g} h", room=None if home.room is None else f"{home.room[1]:g} degC")
    ride = rt.spread(load, known, outage, draws=DRAWS)
    yield noted("run time, spread" + label, ride.interval(0.95), truth, "h", least)
    if idling == 1:
        account = rt.ledger(load, known, outage, draws=DRAWS)
        yield noted("run time, ledger", account.lasts.interval(0.95), truth, "h", least)
    yield {"figure": "verdict" + label, "class": ride.verdict, "said": ride.chance, "lasted": np.mean(truth >= hours)}


def judge_log(home: Household, rng: np.random.Generator, folder: Path) -> Iterator[dict[str, Any]]:
    """Yield what one log of one home shows: an entry for each figure; what the kit refuses is one too."""
    lane, days, plug = int(rng.integers(LANES)), int(rng.choice([1, 2, 3, 5])), Plug.drawn(rng)
    begin = int(rng.integers(SETTLE_DAYS * DAY_MIN, LATEST_LOG_DAY * DAY_MIN))
    end = begin + days * DAY_MIN
    starts = end + rng.integers(DAY_MIN, 10 * DAY_MIN, OUTAGES)
    common = {"kind": home.kind, "days": days}
    try:
        draw = rt.measure_draw(logged(home.before[begin:end, lane], begin, plug, rng, folder))
        load = draw.as_load()
        if home.room is None:
            for entry in judge_draw(home, draw, lane, starts, days, plug, rng):
                yield common | entry
        else:
            load = load.in_a_room_of(f"{MEASURED_C:g} degC", home.room[0])
        for idling in (1.0, DEEPER_IDLING) if home.room is None else (1.0,):
            for entry in judge_run(home, load, lane, starts, plug, rng, idling):
                yield common | entry
    except Exception as error:  # a long run shall not end at one; the table prints each
        yield common | {"figure": "failed", "said": f"{type(error).__name__}: {error}"[:300]}


def long_log(home: Household, rng: np.random.Generator, folder: Path) -> list[dict[str, Any]]:
    """Return the half width over the mean after each of 14 days, three logs of each lane."""
    entries = []
    for lane in np.repeat(np.arange(LANES), 3):
        plug = Plug("1 % + 0.5 W", 0.01, 0.5, 1, 0)
        begin = rng.integers(SETTLE_DAYS * DAY_MIN, LATEST_LOG_DAY * DAY_MIN)
        shown = np.round(plug.shown(home.before[begin : begin + 14 * DAY_MIN, lane]), 1)
        log = rt.read_log(written(shown, "power (W)", begin, 60, folder), meter=meter_of(plug))
        for days in range(1, 15):
            mean = rt.measure_draw(log.first(f"{days} days")).mean_power
            width = float((mean.expanded(0.95) / mean.value).magnitude)
            entries.append({"kind": home.kind, "figure": "long log", "days": days, "width": width})
    return entries


def settled(home: Home, rng: np.random.Generator, room_c: float | None = None) -> np.ndarray:
    if room_c is not None:
        home = home | {"room_c": np.full_like(home["room_c"], room_c)}
    return simulate(home, LANE_DAYS, rng)


def judge_kind(name: str, homes: int, seed: int) -> list[dict[str, Any]]:
    """Return the entries of all homes of a kind, or of a kind that is measured in one room and used in another."""
    number = [*KINDS, *(row[0] for row in ELSEWHERE)].index(name)
    rng = np.random.default_rng([seed, number])
    elsewhere = {row[0]: row[1:] for row in ELSEWHERE}.get(name)
    homes = (homes + 1) // 2 if elsewhere else homes
    numbers = homes_of(elsewhere[0] if elsewhere else name, homes, LANES, rng)
    before = settled(numbers, rng, MEASURED_C if elsewhere else None)
    after = settled(numbers, rng, elsewhere[2]) if elsewhere else before
    entries: list[dict[str, Any]] = []
    with tempfile.TemporaryDirectory() as folder:
        for index in range(homes):
            part = slice(index * LANES, (index + 1) * LANES)
            home = Household(name, before[:, part], after[:, part], elsewhere[1:] if elsewhere else None)
            for log in range(LOGS):
                entries += judge_log(home, np.random.default_rng([seed, number, index, log]), Path(folder))
            if index == 0 and name in LONG_KINDS:
                entries += long_log(home, rng, Path(folder))
    return entries


def percent(value: float) -> str:
    return f"{100 * value:.1f}"


def print_intervals(found: pd.DataFrame) -> None:
    rows = found[found["holds"].notna()]
    figures = [name for name in dict.fromkeys(rows["figure"]) if "idling" not in name]
    here, there = [*KINDS], [row[0] for row in ELSEWHERE]
    groups: list[tuple[str, list[str]]] = [(kind, [kind]) for kind in here] + [("all kinds", here)]
    groups += [(kind, [kind]) for kind in there] + [("all other rooms", there)]
    table = pd.DataFrame("", index=[label for label, _ in groups], columns=figures)
    for label, kinds in groups:
        for figure in figures:
            part = rows[rows["kind"].isin(kinds) & (rows["figure"] == figure)]
            if len(part):
                table.loc[label, figure] = f"{percent(part['holds'].mean())} ({part['width'].median():.2f})"
    print("holds in % (median width over the least); bars: 93 pooled, 90 each; 1.3 pooled, 1.8 very calm")
    print(table.to_string(), "\n")
    pooled = rows[rows["kind"].isin(here) & ~rows["figure"].str.contains("idling")].groupby(["days", "figure"])
    table = pooled.apply(lambda part: f"{percent(part['holds'].mean())} ({part['width'].median():.2f})")
    print("by days logged, all kinds")
    print(table.unstack()[figures].to_string(), "\n")


def print_verdicts(found: pd.DataFrame) -> None:
    here = found["kind"].isin([*KINDS])
    plain, idling = found["figure"] == "verdict", found["figure"] == "verdict, deeper idling"
    worlds = {
        "verdict, all kinds (bar: said and lasted within 4 points)": here & plain,
        "verdict, other rooms": ~here & plain,
        "verdict, deeper idling (bar: of what is covered 88 % last)": idling,
    }
    for title, rows in worlds.items():
        print(title)
        for name, group in found[rows].groupby("class"):
            said, lasted = percent(group["said"].astype(float).mean()), percent(group["lasted"].mean())
            print(f"  {name:20} said {said:>5}  lasted {lasted:>5}  ({len(group)} verdicts)")
    deeper = found[here & (found["figure"] == "run time, spread, deeper idling")]
    print(f"run time with deeper idling: holds {percent(deeper['holds'].mean())} ({deeper['width'].median():.2f})\n")


def print_long_logs(found: pd.DataFrame) -> None:
    print("one long log: median half width over the mean after 1 to 14 days, % (bar: it falls with each day)")
    for kind, group in found[found["figure"] == "long log"].groupby("kind"):
        width = group.groupby("days")["width"].median()
        rises = [int(day) for day, step in width.diff().items() if step >= 0]
        print(f"  {kind:24}", *(f"{100 * value:5.2f}" for value in width), " rises on day", rises or "none")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("homes", type=int, nargs="?", default=40)
    parser.add_argument("seed", type=int, nargs="?", default=1)
    parser.add_argument("--jobs", type=int, default=1)
    given = parser.parse_args()
    names = [*KINDS, *(row[0] for row in ELSEWHERE)]
    count = len(names)
    if given.jobs > 1:
        with ProcessPoolExecutor(given.jobs) as pool:
            parts = list(pool.map(judge_kind, names, [given.homes] * count, [given.seed] * count))
    else:
        parts = [judge_kind(name, given.homes, given.seed) for name in names]
    found = pd.DataFrame([entry for part in parts for entry in part])
    print(f"{given.homes} homes of each kind, {LOGS} logs each, {OUTAGES} outages after each log, seed {given.seed}\n")
    print_intervals(found)
    print_verdicts(found)
    print_long_logs(found)
    failed = found[found["figure"] == "failed"]
    print(f"\nrefused or failed: {len(failed)} logs")
    for text, group in failed.groupby("said"):
        print(f"  {len(group)} x {text}")


if __name__ == "__main__":
    main()
