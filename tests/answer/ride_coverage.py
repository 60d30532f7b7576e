"""How often the interval of a run time holds, by the ride that ledger and spread are read off: simulated worlds.

Run it by hand: ``python tests/answer/ride_coverage.py [worlds]``; it takes some minutes. In each world an appliance is
logged for three days by one meter, a unit is run down three times with the same meter, and some weeks later an outage
comes with days of its own. The bar: the 95 % interval of the run time holds in at least 92 % of all worlds and in 90 %
of each kind, and its median width is at most 1.5 times the least, which is that of the same intervals scaled to hold
exactly 95 %.

Nothing in these worlds is taken from the kit, nor from the simulations that parts of it were tried on. An appliance's
power follows a random household: moods that last for a day or two, weather that lasts for a week, an evening rhythm,
cycles of uneven length, defrosts. A battery is either a plain store of energy or a kinetic one, of two wells of which
only the first can be drawn from (Manwell and McGowan 1993, from memory), so that a rate effect comes about by itself.
Every number is invented, in the range that one meets.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass

import numpy as np

from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import ride
from ridethrough.measure.bench import fit_rundowns
from ridethrough.measure.draw import measure_draw
from ridethrough.measure.meter import Meter
from ridethrough.measure.meterlog import MeterLog
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_

Array = np.ndarray
APPLIANCES, BATTERIES = ("defrosting", "freezer", "variable speed"), ("plain", "kinetic")
KINDS = tuple(f"{appliance}, {battery}" for appliance in APPLIANCES for battery in BATTERIES)
STEP_S = 30
DAY = 86_400 // STEP_S
GAIN, OFFSET_W, STEP_W, SPREAD = 0.01, 0.5, 0.1, 0.015  # what is told of the meter and of the runs
SHARES = (0.0, 0.06, 0.22)  # loads of the run-downs over rated power
OUTAGE_DAYS = 6
DRAWS = 2000
LENGTHS = (1.3, 4.0)  # of the outage asked about, over the run time to be expected


class Appliance:
    """``n`` appliances of a kind, one day after another."""

    def __init__(self, kind: str, n: int, rng: np.random.Generator) -> None:
        freezer, self.variable, self.rng, self.n = kind == "freezer", kind == "variable speed", rng, n
        self.run_w = rng.uniform(55, 110, n) if freezer else rng.uniform(70, 150, n)
        self.duty = rng.uniform(0.25, 0.5, n)
        self.period_h = rng.uniform(0.8, 2.2, n) if freezer else rng.uniform(0.35, 1.1, n)
        self.rest_w = np.where(rng.random(n) < 0.5, 0, rng.uniform(0.5, 3, n))
        self.mood_sd, self.weather_sd = rng.uniform(0.02, 0.08, n), rng.uniform(0.01, 0.05, n)
        self.rhythm, self.peak_h = rng.uniform(0.05, 0.25, n), rng.uniform(16, 21, n)
        self.defrost_h = np.where(kind == "defrosting", rng.uniform(4, 8, n), np.inf)  # of running, between two
        self.heater_w, self.heater_h = rng.uniform(150, 320, n), rng.uniform(0.2, 0.45, n)
        self.mood, self.weather = rng.standard_normal(n), rng.standard_normal(n)
        self.phase, self.wobble, self.ran_h = rng.random(n), np.zeros(n), rng.uniform(0, 4, n)
        self.heating_h = np.zeros(n)

    def pass_days(self, days: int) -> None:
        """Let days go by unseen."""
        for _ in range(days):
            self._next_day()

    def _next_day(self) -> Array:
        kicks = self.rng.standard_normal((2, self.n))
        self.mood = 0.4 * self.mood + math.sqrt(1 - 0.4**2) * kicks[0]
        self.weather = 0.87 * self.weather + math.sqrt(1 - 0.87**2) * kicks[1]
        return np.exp(self.mood_sd * self.mood + self.weather_sd * self.weather)

    def day(self) -> Array:
        """Return the power through the next day [W], shape (steps, n)."""
        busy, step_h = self._next_day(), STEP_S / 3600
        noise, power = self.rng.standard_normal((DAY, self.n)), np.empty((DAY, self.n))
        for at in range(DAY):
            asked = busy * (1 + self.rhythm * np.cos(2 * np.pi * (at * step_h - self.peak_h) / 24)) * self.duty
            self.wobble += -self.wobble * step_h / 0.5 + 0.25 * math.sqrt(step_h) * noise[at]
            if self.variable:
                power[at] = self.rest_w + self.run_w * asked * np.exp(self.wobble)
                continue
            self.phase = (self.phase + step_h / self.period_h * np.exp(self.wobble)) % 1
            on = (self.phase < asked) & (self.heating_h <= 0)
            self.ran_h += on * step_h
            due = self.ran_h > self.defrost_h
            self.heating_h = np.where(due, self.heater_h, self.heating_h - step_h)
            self.ran_h = np.where(due, 0, self.ran_h)
            settling = 1 + 0.12 * np.exp(-self.phase / 0.08)
            power[at] = self.rest_w + on * self.run_w * settling + (self.heating_h > 0) * self.heater_w
        return power


class Battery:
    """``n`` units: a converter's loss, and one well of energy or two."""

    def __init__(self, kind: str, n: int, rng: np.random.Generator) -> None:
        self.rated_w = rng.uniform(500, 1800, n)
        self.full_wh = rng.uniform(700, 2400, n)
        self.fixed_w = self.rated_w * rng.uniform(0.006, 0.014, n)
        self.k1, self.k2 = rng.uniform(0.04, 0.11, n), rng.uniform(0.0, 0.03, n)
        self.first = np.ones(n) if kind == "plain" else rng.uniform(0.5, 0.8, n)
        self.flow = rng.uniform(1.5, 4, n)  # between the wells, a share in an hour

    def hours(self, power_w: Array, charge: Array) -> Array:
        """Return how long a full unit carries a power, shape (steps, n) or (n,) for a steady one [h]."""
        steady, step_h = power_w.ndim == 1, (60 if power_w.ndim == 1 else STEP_S) / 3600
        one, two = charge * self.full_wh * self.first, charge * self.full_wh * (1 - self.first)
        ran, at = np.zeros(one.size), 0
        alive = np.ones(one.size, bool)
        while alive.any() and (steady or at < len(power_w)):
            now_w = power_w if steady else power_w[at]
            asked = (self.fixed_w + (1 + self.k1) * now_w + self.k2 * now_w**2 / self.rated_w) * step_h
            level = two / np.where(self.first < 1, 1 - self.first, 1) - one / self.first
            moved = np.where(self.first < 1, self.flow * level * self.first * (1 - self.first) * step_h, 0)
            left = one + moved - asked
            share = np.clip((one + moved) / asked, 0, 1)
            ran += np.where(alive, share * step_h, 0)
            alive &= left > 0
            one, two, at = left, two - moved, at + 1
        return np.where(alive, np.inf, ran)


@dataclass(frozen=True)
class Claims:
    """Intervals of run times beside what really happened [h]; an end beyond the outage's length is its length."""

    low: Array
    middle: Array
    high: Array
    truth: Array

    @property
    def off(self) -> Array:
        """How far the truth lies from the middle, over the interval's end on that side [-]."""
        above = self.truth > self.middle
        return np.abs(self.truth - self.middle) / np.where(above, self.high - self.middle, self.middle - self.low)

    @property
    def held(self) -> float:
        """Share of intervals that hold the run time [-]."""
        return float(np.mean(self.off <= 1))

    @property
    def over_least(self) -> float:
        """Width over that of the same intervals scaled to hold exactly 95 % [-]."""
        return float(1 / np.quantile(self.off, 0.95))

    @property
    def give_or_take(self) -> float:
        """Median of half the interval over the run time [-]."""
        return float(np.median((self.high - self.low) / 2 / self.truth))


def worlds(kind: str, n: int, seed: int) -> tuple[Array, Array, Array, Array, Array]:
    """Return what the meter logged [W], and read [W] and timed [h] in the run-downs, what is printed, and the truth."""
    appliance_kind, battery_kind = kind.split(", ")
    rng = np.random.default_rng([KINDS.index(kind), seed])
    appliance, battery = Appliance(appliance_kind, n, rng), Battery(battery_kind, n, rng)
    gain, offset_w = rng.uniform(1 - GAIN, 1 + GAIN, n), rng.uniform(-OFFSET_W, OFFSET_W, n)

    def shown(true_w: Array) -> Array:
        return np.maximum(0, np.round((true_w - offset_w) / gain / STEP_W) * STEP_W)

    appliance.pass_days(3)
    logged = np.concatenate([appliance.day() for _ in range(3)])
    runs = [share * battery.rated_w * rng.uniform(0.9, 1.1, n) for share in SHARES]
    timed = np.array([battery.hours(load, 1 + SPREAD * rng.standard_normal(n)) for load in runs])
    appliance.pass_days(int(rng.integers(3, 28)))
    ahead = np.concatenate([appliance.day() for _ in range(OUTAGE_DAYS)])
    ahead = ahead[int(rng.integers(0, DAY)) :]
    truth = battery.hours(ahead, 1 + SPREAD * rng.standard_normal(n))
    read = np.array([shown(load) if load.any() else load for load in runs])
    return shown(logged), read, timed, np.round(battery.full_wh, -1), truth


def claims(kind: str, n: int, seed: int) -> dict[tuple[str, float], Claims]:
    """Return what a ride claims in ``n`` worlds, about best estimate or median, for each length of outage."""
    logged, read, timed, printed, truth = worlds(kind, n, seed)
    found: dict[tuple[str, float], list[tuple[float, ...]]] = {}
    for i in np.flatnonzero(np.isfinite(truth)):
        meter = Meter(f"{100 * GAIN} % + {OFFSET_W} W", power_step=f"{STEP_W} W")
        steps = np.full(len(logged), float(STEP_S))
        log = MeterLog("log", "power", np.arange(len(logged)) * float(STEP_S), steps, logged[:, i], None,
                       float(steps.sum()), Q_(STEP_W, "W"), meter)  # fmt: skip
        load = measure_draw(log).as_load()
        runs = [(Q_(watts, "W"), Q_(hours, "h")) for watts, hours in zip(read[:, i], timed[:, i], strict=True)]
        line = fit_rundowns(runs, meter=meter, repeatability=f"{100 * SPREAD} %", room="20 degC")
        unit = BackupUnit.from_rundowns("unit", line, printed=Q_(printed[i], "Wh"), rated="2 kW")
        expected = float(line.hours(load).value.magnitude)
        for times in LENGTHS:
            length = math.ceil(times * expected)
            outage, true_h = Outage(Q_(length, "h")), min(truth[i], length)
            lasts = ride(load, unit, outage, draws=DRAWS, times=1).lasts
            low, high = (float(end.magnitude) for end in lasts.interval())
            middles = {"best estimate": lasts.magnitude, "median": float(np.median(lasts.draws))}
            for by, middle in middles.items():
                row = (min(low, length), min(middle, length), min(high, length), true_h)
                found.setdefault((by, times), []).append(row)
    return {by: Claims(*np.array(rows).T) for by, rows in found.items()}


def pooled(each: list[Claims]) -> Claims:
    """Return the claims of all kinds together."""
    return Claims(*(np.concatenate(parts) for parts in zip(*(vars(one).values() for one in each), strict=True)))


def main(n: int, seed: int) -> None:
    """Print the table."""
    found = {kind: claims(kind, n // len(KINDS), seed) for kind in KINDS}
    for by in found[KINDS[0]]:
        print(f"\nabout the {by[0]}, outage of {by[1]} times the run time to be expected")
        print(f"{'kind':26} {'worlds':>6} {'holds':>7} {'over least':>11} {'give or take':>13}")
        rows = [(kind, each[by]) for kind, each in found.items()]
        for kind, one in [*rows, ("all", pooled([each for _, each in rows]))]:
            print(f"{kind:26} {one.truth.size:6} {one.held:7.1%} {one.over_least:11.2f} {one.give_or_take:13.1%}")


if __name__ == "__main__":
    main(*(int(each) for each in (sys.argv[1:] + ["300", "1"][len(sys.argv) - 1 :])))
