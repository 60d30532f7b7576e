"""Simulated benches whose run times are known: a pack of cells with voltage and resistance, a converter, one meter.

Nothing here is taken from the kit. A pack of cells has an open-circuit voltage that falls with its charge,
slowly at first and steeply at the end, and a resistance. A converter takes a fixed, a proportional and a
quadratic loss. The unit switches off when the voltage under load falls below its limit, so a heavier load
leaves more charge behind: no rate exponent is written down anywhere, it comes out of voltage and resistance.
Run times differ from run to run, and rooms are not all the same. One meter, with its own gain and offset,
reads the loads at the bench and the refrigerator's draw. One kind takes less with nothing plugged in than a
load makes it take, even while that rests: its run with nothing plugged in lasts longer than its standby says.

Every number below is invented, in the range that one meets at benches.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

KINDS = ("linear", "curved", "rate effect", "light only", "two tests", "three tests", "idles deeper", "heavy only")

# In shares of the unit's rated power, the loads of its run-downs; zero is nothing plugged in.
LOADS = {
    "linear": (0.0, 0.04, 0.12, 0.30),
    "curved": (0.0, 0.05, 0.15, 0.45),
    "rate effect": (0.0, 0.05, 0.25),
    "light only": (0.0, 0.02, 0.05),
    "two tests": (0.04, 0.20),
    "three tests": (0.0, 0.05, 0.20),
    "idles deeper": (0.0, 0.04, 0.20),
    "heavy only": (0.15, 0.25, 0.45),
}
GAIN, OFFSET_W, STEP_W, SPREAD = 0.01, 0.5, 0.1, 0.015  # what is told of the meter and of the runs
PER_K = 0.003  # capacity lost or won by a kelvin
CHARGE = np.linspace(0, 1, 4001)


@dataclass(frozen=True)
class Benches:
    """What ``n`` benches of one kind read, and how long a refrigerator really ran.

    Parameters
    ----------
    rated_w : array of shape (n,)
        What the unit's label says [W].
    read_w, hours, room_c : arrays of shape (runs, n)
        The meter's display, the run times and the rooms' temperatures.
    fridge_read_w, duty : arrays of shape (n,)
        The meter's display while the compressor runs [W], and its share of time [-].
    truth_h : array of shape (n,)
        How long the next run with the refrigerator really lasts [h].
    """

    rated_w: np.ndarray
    read_w: np.ndarray
    hours: np.ndarray
    room_c: np.ndarray
    fridge_read_w: np.ndarray
    duty: np.ndarray
    truth_h: np.ndarray


class Unit:
    """``n`` battery units; voltages are in shares of the full pack's, so that currents are powers [W]."""

    def __init__(self, kind: str, n: int, rng: np.random.Generator) -> None:
        self.rated_w = rng.uniform(500, 2000, n)
        self.full_wh = self.rated_w * rng.uniform(0.8, 1.5, n)
        self.fixed_w = self.rated_w * rng.uniform(0.008, 0.016, n)
        self.k1 = rng.uniform(0.04, 0.10, n)
        self.k2 = rng.uniform(0.0, 0.01, n) if kind == "linear" else rng.uniform(0.0, 0.03, n)
        self.k2 = rng.uniform(0.03, 0.06, n) if kind == "curved" else self.k2
        self.limit = 0.75
        slow = rng.uniform(0.15, 0.20, n) if kind == "rate effect" else rng.uniform(0.02, 0.05, n)
        knee, width = rng.uniform(0.30, 0.45, n), rng.uniform(0.015, 0.04, n)
        self.sag = rng.uniform(0.19, 0.30, n) if kind == "rate effect" else rng.uniform(0.01, 0.03, n)
        self.sag = np.zeros(n) if kind == "linear" else self.sag  # at rated power
        self.alone = rng.uniform(0.5, 0.7, n) if kind == "idles deeper" else np.ones(n)  # over fixed_w
        self.open = 1 - slow * (1 - CHARGE[:, None]) - knee * np.exp(-CHARGE[:, None] / width)

    def battery_w(self, power_w: np.ndarray) -> np.ndarray:
        return self.fixed_w + (1 + self.k1) * power_w + self.k2 * power_w**2 / self.rated_w

    def under_load(self, asked_w: np.ndarray, opened: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return current and voltage at a power from the cells: v = open - r i, p = v i."""
        r = self.sag / self.rated_w
        root = np.sqrt(np.maximum(opened**2 - 4 * r * asked_w, 0))
        voltage = (opened + root) / 2
        return asked_w / voltage, voltage

    def steady_h(self, power_w: np.ndarray) -> np.ndarray:
        """Return how long a steady load runs [h]: from full down to where the voltage meets the limit."""
        asked_w = np.where(power_w == 0, self.alone * self.fixed_w, self.battery_w(power_w))
        current, voltage = self.under_load(asked_w, self.open)
        each_h = self.full_wh * (CHARGE[1] - CHARGE[0]) / current
        return np.sum(np.where(voltage > self.limit, each_h, 0), axis=0)

    def cycling_h(self, power_w: np.ndarray, duty: np.ndarray, period_h: np.ndarray, at: np.ndarray,
                  charge: np.ndarray) -> np.ndarray:  # fmt: skip
        """Return how long a load runs that is on for ``duty`` of each period [h], stepped through time.

        ``at`` is where in its cycle it begins [-], ``charge`` how much the pack holds over its usual [-].
        """
        n, step_h = power_w.size, 30 / 3600
        left, ran, alive = charge.copy(), np.zeros(n), np.ones(n, bool)
        size, unit = CHARGE.size - 1, np.arange(n)
        while alive.any():
            on = (ran / period_h + at) % 1 < duty
            share = np.clip(left / charge, 0, 1) * size
            low = np.minimum(share.astype(int), size - 1)
            opened = self.open[low, unit] + (share - low) * (self.open[low + 1, unit] - self.open[low, unit])
            current, voltage = self.under_load(self.battery_w(np.where(on, power_w, 0)), opened)
            alive &= voltage > self.limit
            ran += np.where(alive, step_h, 0)
            left -= np.where(alive, current * step_h / self.full_wh, 0)
        return ran


def simulate(kind: str, n: int, seed: int, *, limit: float = GAIN) -> Benches:
    """Return ``n`` benches of ``kind``, the meter's gain within ``limit``, and what the refrigerator really ran."""
    rng = np.random.default_rng([KINDS.index(kind), seed])
    unit = Unit(kind, n, rng)
    gain, offset_w = rng.uniform(1 - limit, 1 + limit, n), rng.uniform(-OFFSET_W, OFFSET_W, n)

    def shown(true_w: np.ndarray) -> np.ndarray:
        return np.round((true_w - offset_w) / gain / STEP_W) * STEP_W

    read, hours, rooms = [], [], []
    for share in LOADS[kind]:
        power_w = share * unit.rated_w * rng.uniform(0.9, 1.1, n)
        room_c = rng.uniform(18, 22, n)
        read.append(shown(power_w) if share else power_w)
        hours.append(unit.steady_h(power_w) * (1 + PER_K * (room_c - 20)) * (1 + SPREAD * rng.standard_normal(n)))
        rooms.append(room_c)
    running_w, duty = rng.uniform(60, 140, n), rng.uniform(0.25, 0.6, n)
    period_h, at = rng.uniform(0.4, 1.2, n), rng.uniform(0, 1, n)
    truth_h = unit.cycling_h(running_w, duty, period_h, at, 1 + SPREAD * rng.standard_normal(n))
    return Benches(unit.rated_w, np.array(read), np.array(hours), np.array(rooms), shown(running_w), duty, truth_h)
