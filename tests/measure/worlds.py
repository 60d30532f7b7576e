"""Homes with a cold appliance, plug-in meters and battery units, simulated apart from the kit.

Every number here is invented, to be plausible; none was fitted to the kit's answers. Ranges are (low, high), drawn
evenly, one value for each home. A home runs in several lanes: the same appliance and people, other days.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

STEP_S = 60.0
DAY_MIN = 1440
REST_MIN = 6  # a compressor's least rest
DRIP_MIN = 5  # rest after a defrost's heater
FREEZING_K = 273.0  # of the cabinet's 0 degC; half a degree does not matter
EVAPORATOR_K, CONDENSER_K = 12.0, 12.0  # colder than the cabinet, warmer than the room
USUAL_LIFT_K = 55.0  # at which the share of Carnot's holds
START_EXTRA = 0.25  # of the first minute's power
DOOR_K = 25.0  # room over cabinet at which an opening brings its heat
LEFTOVERS_CHANCE = 0.35  # evenings with warm leftovers
FAST_COOLING_MIN = 60
SLOW_GAIN, SLOW_RESET = 0.25, 0.25 / 90  # of a variable speed, per K and per K and minute
WEEKDAY = np.array([0, 0, 0, 0, 0, 1, 4, 5, 2, 1, 1, 2, 4, 2, 1, 1, 2, 4, 6, 5, 3, 2, 1, 0], dtype=float)
WEEKEND = np.array([1, 0, 0, 0, 0, 0, 1, 2, 4, 5, 4, 4, 5, 4, 3, 3, 3, 4, 6, 5, 3, 3, 2, 1], dtype=float)
METERS = (("1 % + 0.5 W", 0.01, 0.5), ("0.5 % + 0.2 W", 0.005, 0.2), ("2 % + 0.3 W", 0.02, 0.3), ("1 %", 0.01, 0.0))
EXPONENT = (1.0, 1.04)  # rate exponent of the true unit
REFERENCE_W = 80.0  # drain at which a unit gives its energy
STANDBY_W = (5.0, 20.0)
REPEATABILITY = (0.005, 0.025)  # sd of a run's time over it, as stated; the true one is 0.75 to 1.25 times that
NEAR = 0.12  # sd of the logarithm of a unit's run time over the outage asked

Range = tuple[float, float]
Home = dict[str, np.ndarray]

FRIDGE_FREEZER: dict[str, Range] = {
    "room_c": (19, 23), "swing_k": (0.5, 1.5), "day_sd_k": (0.2, 0.5), "day_memory": (0.4, 0.7),
    "inside_c": (-7, -1), "band_k": (1.5, 3), "leak_w_k": (1.1, 1.8),
    "air_kj_k": (15, 30), "food_kj_k": (60, 150), "touch_w_k": (3, 8),
    "compressor_w": (70, 120), "carnot": (0.28, 0.40), "lift_effect": (0, 0.5), "electronics_w": (0.5, 3),
    "lowest_speed": (1, 1), "defrost_after_h": (1e9, 1e9), "heater_w": (120, 280), "heater_min": (12, 25),
    "heat_kept": (0.4, 0.8), "openings": (8, 25), "opening_kj": (5, 12), "weekend": (1, 1.2),
    "activity_sd": (0.1, 0.3), "shopping_kj": (100, 400), "leftovers_kj": (0, 250),
    "batch_kj": (0, 0), "batch_hour": (8, 20), "fast_cooling": (0, 0),
}  # fmt: skip
KINDS: dict[str, dict[str, Range]] = {
    "fixed speed, defrost": {"defrost_after_h": (5, 12)},
    "variable speed, defrost": {"defrost_after_h": (10, 24), "lowest_speed": (0.18, 0.35), "carnot": (0.30, 0.42)},
    "day rhythm, weekends": {"openings": (25, 60), "weekend": (1.4, 2), "activity_sd": (0.2, 0.4),
                             "shopping_kj": (400, 900), "leftovers_kj": (150, 400)},
    "room drifts, untold": {"day_sd_k": (1.5, 2), "day_memory": (0.75, 0.9), "openings": (5, 20)},
    "very calm": {"openings": (0, 2), "day_sd_k": (0.02, 0.1), "swing_k": (0.05, 0.3), "activity_sd": (0, 0.1),
                  "shopping_kj": (0, 0), "leftovers_kj": (0, 0)},
    "warm food once a day": {"batch_kj": (300, 700), "leftovers_kj": (0, 0), "shopping_kj": (0, 200)},
    "fast cooling once a day": {"fast_cooling": (1, 1), "leftovers_kj": (0, 100), "shopping_kj": (0, 200)},
    "chest freezer": {"room_c": (12, 22), "swing_k": (0.5, 2), "day_sd_k": (0.3, 0.8), "inside_c": (-21, -17),
                      "band_k": (4, 7), "leak_w_k": (0.6, 1), "air_kj_k": (50, 100), "food_kj_k": (100, 300),
                      "compressor_w": (60, 110), "openings": (0, 4), "shopping_kj": (0, 400),
                      "leftovers_kj": (0, 0)},
}  # fmt: skip


def homes_of(kind: str, count: int, lanes: int, rng: np.random.Generator) -> Home:
    """Return the numbers of ``count`` homes, each repeated for its lanes, shape (count * lanes,)."""
    ranges = FRIDGE_FREEZER | KINDS[kind]
    home = {name: np.repeat(rng.uniform(low, high, count), lanes) for name, (low, high) in ranges.items()}
    home["shopping_day"] = np.repeat(rng.integers(0, 5, count), lanes)  # beside every Saturday
    return home


def cop_of(home: Home, inside_c: np.ndarray, room_c: np.ndarray) -> np.ndarray:
    """Return heat taken out over power [-]: Carnot's share, which falls a little where the lift is small."""
    lift = np.maximum(room_c - inside_c + EVAPORATOR_K + CONDENSER_K, 10.0)
    carnot = (inside_c - EVAPORATOR_K + FREEZING_K) / lift
    return carnot * home["carnot"] * (lift / USUAL_LIFT_K) ** home["lift_effect"]


def room_days(home: Home, days: int, rng: np.random.Generator) -> np.ndarray:
    """Return each midnight's departure of the room from its mean [K], shape (days + 1, lanes).

    An autoregression of first order. Lanes come in pairs of opposite sign, so that a home's long-run mean is sharp.
    """
    memory, sd = home["day_memory"][::2], home["day_sd_k"][::2]
    level = [rng.normal(0, sd)]
    for _ in range(days):
        level.append(memory * level[-1] + rng.normal(0, sd * np.sqrt(1 - memory**2)))
    return np.repeat(np.array(level), 2, axis=1) * np.tile([1.0, -1.0], len(sd))


def doors(home: Home, days: int, rng: np.random.Generator) -> np.ndarray:
    """Return the heat that openings bring in each minute [kJ], shape (minutes, lanes); day 0 is a Monday."""
    lanes = len(home["openings"])
    heat = np.empty((days * DAY_MIN, lanes), dtype=np.float32)
    for day in range(days):
        free = day % 7 >= 5
        hours = np.repeat(WEEKEND if free else WEEKDAY, 60)
        a_day = home["openings"] * (home["weekend"] if free else 1) * np.exp(rng.normal(0, home["activity_sd"]))
        count = rng.poisson(hours[:, None] / hours.sum() * a_day)
        each = home["opening_kj"] * rng.uniform(0.5, 1.5, count.shape)
        heat[day * DAY_MIN : (day + 1) * DAY_MIN] = count * each
    return heat


def warm_food(home: Home, days: int, rng: np.random.Generator) -> np.ndarray:
    """Return the heat that warm food brings in each minute [kJ], shape (minutes, lanes)."""
    lanes = np.arange(len(home["openings"]))
    heat = np.zeros((days * DAY_MIN, len(lanes)), dtype=np.float32)

    def bring(day: int, hour: np.ndarray, much: np.ndarray) -> None:
        minute = np.clip(day * DAY_MIN + hour * 60, 0, len(heat) - 1).astype(int)
        heat[minute, lanes] += much * rng.uniform(0.6, 1.4, len(lanes))

    for day in range(days):
        shops = (home["shopping_day"] == day % 7) | (day % 7 == 5)
        bring(day, rng.normal(11 if day % 7 == 5 else 18, 0.7, len(lanes)), home["shopping_kj"] * shops)
        bring(day, rng.normal(20, 0.7, len(lanes)), home["leftovers_kj"] * (rng.random(len(lanes)) < LEFTOVERS_CHANCE))
        bring(day, rng.normal(home["batch_hour"], 0.15), home["batch_kj"])
    return heat


def simulate(home: Home, days: int, rng: np.random.Generator) -> np.ndarray:
    """Return the power at the outlet in each minute [W], shape (minutes, lanes), day 0 a Monday.

    Two nodes, air with its lining and food; a thermostat on the air, or a speed that follows it; a defrost after so
    many hours of the compressor.
    """
    level, opened, brought = room_days(home, days, rng), doors(home, days, rng), warm_food(home, days, rng)
    lanes, forced_from = opened.shape[1], home["batch_hour"] * 60
    air, food = home["inside_c"] + rng.uniform(-0.5, 0.5, lanes) * home["band_k"], home["inside_c"].copy()
    on, rest, ran = rng.random(lanes) < 0.4, np.full(lanes, 99.0), rng.random(lanes) * home["defrost_after_h"] * 60
    defrost, reset, variable = np.zeros(lanes), np.full(lanes, 0.5), home["lowest_speed"] < 1
    power = np.empty(opened.shape, dtype=np.float32)
    for minute in range(len(power)):
        day, into = divmod(minute, DAY_MIN)
        part = into / DAY_MIN
        swing = home["swing_k"] * np.cos(2 * np.pi * (part - 16 / 24))
        room = home["room_c"] + level[day] * (1 - part) + level[day + 1] * part + swing
        forced = (home["fast_cooling"] > 0) & ((into - forced_from) % DAY_MIN < FAST_COOLING_MIN)
        off_by = air - home["inside_c"]
        due = ran >= home["defrost_after_h"] * 60
        defrost = np.where(due, DRIP_MIN + home["heater_min"] * np.exp(rng.normal(0, 0.15, lanes)), defrost - 1)
        ran = np.where(due, 0, ran + on)
        calls = (off_by > home["band_k"] / 2) | forced
        was, idle = on, (off_by < -home["band_k"] / 2) & ~forced
        on = (on | (calls & (rest >= REST_MIN))) & ~idle & (defrost <= 0)
        rest = np.where(on, 0, rest + 1)
        reset = np.clip(reset + SLOW_RESET * off_by, 0, 1)
        speed = np.where(variable, np.clip(SLOW_GAIN * off_by + reset, home["lowest_speed"], 1), 1)
        watts = on * speed * home["compressor_w"] * (1 + START_EXTRA * (on & ~was))
        cop = cop_of(home, air, room) * np.where(variable, 1.25 - 0.35 * speed, 1)
        heater = home["heater_w"] * (defrost > DRIP_MIN)
        flow_w = home["leak_w_k"] * (room - air) + home["touch_w_k"] * (food - air)
        flow_w += home["heat_kept"] * heater - watts * cop
        food = food + (home["touch_w_k"] * (air - food) * STEP_S / 1000 + brought[minute]) / home["food_kj_k"]
        air = air + (flow_w * STEP_S / 1000 + opened[minute] * (room - air) / DOOR_K) / home["air_kj_k"]
        power[minute] = home["electronics_w"] + watts + heater
    return power


@dataclass(frozen=True)
class Plug:
    """A plug-in meter: what its sheet says and what it errs by, true = gain * shown + offset."""

    sheet: str
    gain_limit: float
    offset_limit_w: float
    gain: float
    offset_w: float

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Plug:
        sheet, gain, offset = METERS[rng.integers(len(METERS))]
        return cls(sheet, gain, offset, 1 + rng.uniform(-gain, gain), rng.uniform(-offset, offset))

    def shown(self, true_w: Any) -> Any:
        return np.maximum((true_w - self.offset_w) / self.gain, 0)


@dataclass(frozen=True)
class TrueUnit:
    """A battery unit: a drain d = P + S takes d (d / REFERENCE_W)^(k - 1) of its energy, the moment's or the mean's."""

    energy_wh: float
    standby_w: float
    exponent: float
    of_the_mean: bool
    stated: float  # repeatability
    spread: float
    idling: float = 1.0  # standby with nothing plugged in over S

    @classmethod
    def drawn(cls, mean_w: float, hours: float, rng: np.random.Generator, idling: float) -> TrueUnit:
        """Return a unit that lasts about so many hours at a mean power."""
        standby, exponent, stated = rng.uniform(*STANDBY_W), rng.uniform(*EXPONENT), rng.uniform(*REPEATABILITY)
        drain = mean_w + standby
        energy = hours * np.exp(rng.normal(0, NEAR)) * drain * (drain / REFERENCE_W) ** (exponent - 1)
        spread = stated * rng.uniform(0.75, 1.25)
        return cls(energy, standby, exponent, rng.random() < 0.5, stated, spread, idling)

    def bench_h(self, loads_w: Any, exponent: Any = None) -> np.ndarray:
        """Return run times at steady loads without spread [h]."""
        k = self.exponent if exponent is None else exponent
        loads = np.asarray(loads_w, dtype=float)
        drain = loads + self.standby_w * np.where(loads == 0, self.idling, 1)
        return self.energy_wh / drain * (drain / REFERENCE_W) ** (1 - k)

    def lasts_h(self, power: np.ndarray, lane: np.ndarray, begin: np.ndarray, factor: Any = 1.0) -> np.ndarray:
        """Return the run times of outages that begin at a minute of a lane of ``power`` (minutes, lanes) [h]."""
        drain = power + self.standby_w
        pace = drain if self.of_the_mean else drain * (drain / REFERENCE_W) ** (self.exponent - 1)
        summed = np.concatenate([np.zeros((1, power.shape[1])), np.cumsum(pace, axis=0, dtype=float)]) / 60

        def drained(hours: np.ndarray) -> np.ndarray:
            took = between(summed, lane, begin, hours)
            slow = np.maximum(took / np.maximum(hours, 1e-9) / REFERENCE_W, 1e-9)
            return took * slow ** (self.exponent - 1) if self.of_the_mean else took

        low, high = np.zeros(len(lane)), (len(power) - begin) / 60.0
        if np.any(drained(high) < self.energy_wh * factor):
            raise ValueError("a lane ends before its unit: make LANE_DAYS longer")
        for _ in range(36):
            middle = (low + high) / 2
            empty = drained(middle) >= self.energy_wh * factor
            low, high = np.where(empty, low, middle), np.where(empty, middle, high)
        return (low + high) / 2


def between(summed: np.ndarray, lane: np.ndarray, begin: np.ndarray, hours: Any) -> np.ndarray:
    """Return what a running sum by minutes gained over hours after a minute; parts of minutes in proportion."""
    end = begin + np.asarray(hours) * 60
    whole = np.minimum(end.astype(int), len(summed) - 2)
    at_end = summed[whole, lane] + (end - whole) * (summed[whole + 1, lane] - summed[whole, lane])
    return np.asarray(at_end - summed[begin, lane])
