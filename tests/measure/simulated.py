"""Simulated cold appliances whose long-run mean is known: thermal models driven by a random household.

Nothing here is taken from the kit. A cabinet of two heat stores (air and contents) leaks heat from a room;
a thermostat, or a speed controller, drives a compressor whose coefficient of performance falls in a warm
room. The room has a day rhythm, weather that lasts for days (an Ornstein-Uhlenbeck process) and, where
the kind says so, a slow drift. People open the door more often at meal times, on some days more than on
others, and put warm food in. A defrost timer counts the compressor's run time.

Every number below is invented, in the range that one meets in kitchens and stores.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

DAY_S = 86_400
KINDS = ("fixed speed, defrost", "fixed speed", "weekends", "drift", "variable speed", "freezer", "calm", "habit")


@dataclass(frozen=True)
class Simulated:
    """What ``n`` appliances of one kind did.

    Parameters
    ----------
    power_w : array of shape (n, steps)
        True power in the logged days [W].
    next_day_wh, later_day_wh : arrays of shape (n,)
        True energy of the 24 h after the log, and of a day four weeks later [Wh].
    long_run_w : array of shape (n,)
        True mean power over many more days [W].
    """

    power_w: np.ndarray
    next_day_wh: np.ndarray
    later_day_wh: np.ndarray
    long_run_w: np.ndarray


def uniform(rng: np.random.Generator, n: int, low: float, high: float) -> np.ndarray:
    return rng.uniform(low, high, n)


class Household:
    """The room and its people, day by day, for ``n`` appliances."""

    def __init__(self, kind: str, n: int, rng: np.random.Generator, restless: float, step_s: int) -> None:
        self.day_steps = DAY_S // step_s
        freezer, self.rng, self.n = kind == "freezer", rng, n
        self.mean_c = uniform(rng, n, 10, 18) if freezer else uniform(rng, n, 19, 24)
        self.swing_k = uniform(rng, n, 2.0, 4.0) if kind == "weekends" else uniform(rng, n, 0.3, 1.5)
        self.weather_k = restless * (uniform(rng, n, 0.5, 2.0) if freezer else uniform(rng, n, 0.3, 1.0))
        self.weather_days = uniform(rng, n, 1.0, 3.0)
        self.drift_k = restless * uniform(rng, n, 0.5, 1.5) if kind == "drift" else np.zeros(n)
        self.mood = 0.3 * restless  # how far one day's use of the door lies from the next, on a log scale
        self.drift_days = 6.0
        self.openings = uniform(rng, n, 0.5, 3) if freezer else uniform(rng, n, 12, 40)  # a day
        self.opening_j = uniform(rng, n, 6e3, 14e3)
        self.loads = uniform(rng, n, 0.1, 0.4) if freezer else uniform(rng, n, 0.3, 1.2)  # a day
        self.load_j = uniform(rng, n, 60e3, 140e3)
        self.busier = uniform(rng, n, 1.2, 2.2) if kind == "weekends" else np.ones(n)  # on two days of seven
        self.habit_h, self.habit_j = uniform(rng, n, 0, 24), np.zeros(n)  # warm food once a day
        if kind == "habit":
            self.habit_j = uniform(rng, n, 250e3, 700e3)
        if kind == "calm":
            self.mood, self.swing_k, self.weather_k = 0.02, 0.1 * self.swing_k, 0.05 * self.weather_k
            self.openings, self.loads = 0.1 * self.openings, 0.02 * self.loads
        self.date = rng.integers(0, 7, n)
        self.hour_0 = uniform(rng, n, 0, 24)
        self.weather = rng.standard_normal(n)
        self.drift = rng.standard_normal(n)

    def _walk(self, state: np.ndarray, days: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
        """Return hourly values of a unit Ornstein-Uhlenbeck process over one day, and its last value."""
        keep = np.exp(-1 / (24 * np.broadcast_to(days, self.n)))
        path = [state]
        for kick in self.rng.standard_normal((24, self.n)):
            path.append(keep * path[-1] + np.sqrt(1 - keep**2) * kick)
        return np.array(path), path[-1]

    def day(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return room temperature [degC], heat into the air and heat into the contents [J] at each step of a day."""
        at = np.arange(self.day_steps)
        hour = (at[:, None] * 24 / self.day_steps + self.hour_0) % 24
        weather, self.weather = self._walk(self.weather, self.weather_days)
        drift, self.drift = self._walk(self.drift, self.drift_days)
        slow = self.weather_k * weather + self.drift_k * drift
        low, part = np.divmod(at * 24 / self.day_steps, 1)
        slow = slow[low.astype(int)] * (1 - part[:, None]) + slow[low.astype(int) + 1] * part[:, None]
        room = self.mean_c + slow + self.swing_k * np.cos(2 * np.pi * (hour - 16) / 24)
        meals = 0.15 + sum(np.exp(-(((hour - meal) / 1.2) ** 2)) for meal in (7.5, 12.5, 18.5))
        meals = np.where((hour > 23) | (hour < 6), 0.02, meals)
        weekend = np.where(self.date % 7 < 2, self.busier, 1)
        self.date += 1
        busy = (
            weekend
            * np.exp(self.mood * self.rng.standard_normal(self.n) - self.mood**2 / 2)
            / meals.mean(0)
            / self.day_steps
        )
        opened = self.rng.poisson(self.openings * busy * meals)
        into_air = opened * self.opening_j * self.rng.gamma(2, 0.5, opened.shape)
        loaded = self.rng.poisson(self.loads * busy * meals)
        now = (hour - self.habit_h - self.rng.normal(0, 0.3, self.n)) % 24 < 0.5
        into_food = (
            loaded * self.load_j * self.rng.gamma(2, 0.5, loaded.shape) + now * self.habit_j * 48 / self.day_steps
        )
        return room, into_air, into_food


class Cabinet:
    """The cabinet, its compressor and its controller, for ``n`` appliances at once."""

    def __init__(self, kind: str, n: int, rng: np.random.Generator, step_s: int) -> None:
        self.step_s = step_s
        freezer, self.rng, self.n = kind == "freezer", rng, n
        self.variable = kind == "variable speed"
        self.set_c = uniform(rng, n, -20, -17) if freezer else uniform(rng, n, -6, 2)  # of the air it controls
        self.half_k = uniform(rng, n, 1.0, 2.0) if freezer else uniform(rng, n, 1.2, 2.5)
        self.leak_w_k = uniform(rng, n, 0.7, 1.2) if freezer else uniform(rng, n, 1.3, 2.2)
        self.air_j_k = uniform(rng, n, 12e3, 25e3)
        self.food_j_k = uniform(rng, n, 60e3, 160e3)
        self.link_w_k = uniform(rng, n, 6, 14)
        self.run_w = uniform(rng, n, 60, 130)
        self.cop = uniform(rng, n, 1.0, 1.5) if freezer else uniform(rng, n, 1.3, 1.9)
        self.off_w = np.where(rng.random(n) < 0.5, 0.0, uniform(rng, n, 0.5, 4))
        defrosts = {"fixed speed": 0.0, "freezer": 0.0, "fixed speed, defrost": 1.0, "variable speed": 1.0}.get(
            kind, 0.5
        )
        self.defrost_every_s = np.where(rng.random(n) < defrosts, uniform(rng, n, 7, 13) * 3600, np.inf)
        self.heater_w, self.heater_s = uniform(rng, n, 160, 350), uniform(rng, n, 12, 25) * 60
        self.air_c, self.food_c = self.set_c + 1, self.set_c + 1
        self.on, self.since_s = np.zeros(n, bool), np.full(n, 1e4)
        self.run_s = np.where(np.isfinite(self.defrost_every_s), rng.random(n) * self.defrost_every_s, 0)
        self.defrost_s = np.zeros(n)  # of heating and dripping still to come
        self.speed, self.sum_k = np.full(n, 0.4), np.full(n, 0.4)

    def step(self, room: np.ndarray, into_air: np.ndarray, into_food: np.ndarray, noise: np.ndarray) -> np.ndarray:
        """Advance one step and return the power [W]."""
        drip = 300.0
        self.defrost_s = np.where(self.run_s > self.defrost_every_s, self.heater_s + drip, self.defrost_s)
        self.run_s = np.where(self.run_s > self.defrost_every_s, 0, self.run_s)
        frosting = self.defrost_s > 0
        heater = np.where(self.defrost_s > drip, self.heater_w, 0)
        self.defrost_s = np.maximum(self.defrost_s - self.step_s, 0)
        cop = self.cop * (1 - 0.02 * (room - 22))
        if self.variable:
            error = self.air_c - self.set_c
            self.sum_k = np.clip(self.sum_k + error * self.step_s / 20_000, 0.15, 1)
            self.speed += (np.clip(self.sum_k + 0.12 * error, 0.15, 1) - self.speed) * self.step_s / 300 + 0.006 * noise
            speed = np.where(frosting, 0, np.clip(self.speed, 0.15, 1))
            run_w = self.run_w * speed * (0.75 + 0.25 * speed) * (1 + 0.02 * noise)
            cooling = cop * self.run_w * speed * 1.1
            self.run_s += np.where(frosting, 0, self.step_s * 0.6)
        else:
            call = np.where(self.on, self.air_c > self.set_c - self.half_k, self.air_c > self.set_c + self.half_k)
            call = np.where(self.since_s < 240, self.on, call) & ~frosting
            self.since_s = np.where(call != self.on, 0, self.since_s + self.step_s)
            self.on = call
            settling = 1 + 0.15 * np.exp(-self.since_s / 480) + np.where(self.since_s == 0, 0.15, 0)
            run_w = np.where(call, self.run_w * (1 + 0.008 * (room - 22)) * settling * (1 + 0.01 * noise), 0)
            cooling = np.where(call, cop * self.run_w, 0)
            self.run_s += np.where(call, self.step_s, 0)
        exchange = self.link_w_k * (self.food_c - self.air_c)
        heat = self.leak_w_k * (room - self.air_c) + exchange + 0.6 * heater - cooling
        self.air_c = self.air_c + (heat * self.step_s + into_air) / self.air_j_k
        self.food_c = self.food_c + (-exchange * self.step_s + into_food) / self.food_j_k
        return self.off_w + run_w + heater


def simulate(kind: str, n: int, seed: int, *, log_days: int = 3, long_days: int = 150,
             restless: float = 1.0, step_s: int = 20) -> Simulated:  # fmt: skip
    """Return the logged days, the next day and the long-run mean of ``n`` appliances of ``kind``.

    The long run is the same appliance, household and random process, going on after the log. Two days
    before the log let every appliance settle.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    n, seed : int
        How many appliances, and the seed of all that is random about them [-].
    log_days, long_days : int
        Days logged; days of the long run, the logged ones among them [day].
    restless : float
        Weather, drift and habits as a share of their usual size [-].
    step_s : int
        Step of simulation and log; divides a day [s].
    """
    rng = np.random.default_rng([KINDS.index(kind), seed])
    house, cabinet = Household(kind, n, rng, restless, step_s), Cabinet(kind, n, rng, step_s)
    logged, means = [], []
    for day in range(-2, long_days):
        inputs = zip(*house.day(), rng.standard_normal((house.day_steps, n)), strict=True)
        power = np.array([cabinet.step(*now) for now in inputs])
        if day >= 0:
            means.append(power.mean(0))
        if 0 <= day < log_days:
            logged.append(power)
    return Simulated(np.concatenate(logged).T, 24 * means[log_days], 24 * means[log_days + 28], np.mean(means, 0))


def metered(power_w: np.ndarray, rng: np.random.Generator, *, gain: float = 0.01, offset_w: float = 0.5,
            step_w: float = 0.1) -> np.ndarray:  # fmt: skip
    """Return what a meter with errors drawn within its stated accuracy reads, rounded to its step."""
    read = power_w * (1 + rng.uniform(-gain, gain)) + rng.uniform(-offset_w, offset_w)
    return np.round(np.maximum(read, 0) / step_w) * step_w
