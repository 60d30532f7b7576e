"""Print how often the kit's intervals hold the truth, and how wide they are, on simulated appliances.

    python tests/measure/coverage.py [seeds] [restless]

For each kind of appliance: three days logged by a meter with errors of its own; the share of 95 %
intervals that hold the long-run mean, the next day's energy and a day's energy four weeks later; their
median half width over the value; and that width over the least, which is the narrowest of the methods
below after each was scaled until it holds exactly 95 %. Two ways that are often seen stand beside it.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.append(str(Path(__file__).parent))
from simulated import DAY_S, KINDS, metered, simulate

from ridethrough.measure.draw import measure_draw
from ridethrough.measure.log import Meter, MeterLog
from ridethrough.units import Q_

ACCURACY = "1 % + 0.5 W"  # as `metered` draws its errors
TARGETS = ("long-run mean", "next day", "a later day")


def power_log(power_w: np.ndarray, step_s: float) -> MeterLog:
    """Return readings of power, ``step_s`` apart, as a log."""
    at = np.arange(power_w.size) * float(step_s)
    return MeterLog("simulated", "power", at, np.full(at.size, float(step_s)), power_w, None, at.size * float(step_s),
                    Q_(0.1, "W"), Meter(ACCURACY))  # fmt: skip


def by_kit(log: MeterLog) -> list[tuple[float, float]]:
    """Return value and half width [W]: the kit's, for the long run and for a day."""
    draw = measure_draw(log)
    day = draw.energy_over("24 h")
    return [(e.value.magnitude, e.expanded().magnitude) for e in (draw.mean_power, day / Q_(24, "h"))]


def by_day_blocks(log: MeterLog) -> list[tuple[float, float]]:
    """Return value and half width [W]: three daily means, Student's t with two degrees of freedom."""
    days = log.power_w.reshape(3, -1).mean(1)
    u, meter = days.std(ddof=1), 1.96 * (0.01 * days.mean() + 0.5) / np.sqrt(3)
    return [(days.mean(), np.hypot(4.303 * u * np.sqrt(share), meter)) for share in (1 / 3, 1 / 3 + 1)]


def by_readings(log: MeterLog) -> list[tuple[float, float]]:
    """Return value and half width [W]: every reading taken as independent, s / sqrt n."""
    half = 1.96 * log.power_w.std(ddof=1) / np.sqrt(log.power_w.size)
    return [(log.power_w.mean(), half)] * 2


METHODS = {"kit": by_kit, "day blocks, Student's t": by_day_blocks, "every reading independent": by_readings}


def trials(kind: str, seeds: int, *, seed: int = 1, **how: float) -> pd.DataFrame:
    """Return one row per appliance and method: value, half width and truth [W] for each target."""
    run = simulate(kind, seeds, seed, **how)  # type: ignore[arg-type]
    rng, step_s, rows = np.random.default_rng(seed), 3 * DAY_S // run.power_w.shape[1], list[dict[str, object]]()
    for number, truth_w in enumerate(np.c_[run.long_run_w, run.next_day_wh / 24, run.later_day_wh / 24]):
        every = 3 if number % 2 and step_s < 60 else 1  # every other meter logs a mean over three steps
        read_w = metered(run.power_w[number].reshape(-1, every).mean(1), rng)
        for method, found in METHODS.items():
            (mean, mean_half), (day, day_half) = found(power_log(read_w, every * step_s))
            for target, value, half, true in zip(TARGETS, (mean, day, day), (mean_half, day_half, day_half), truth_w,
                                                 strict=True):  # fmt: skip
                rows.append({"kind": kind, "method": method, "target": target, "value": value, "half": half,
                             "off": abs(value - true)})  # fmt: skip
    return pd.DataFrame(rows)


def least_width(found: pd.DataFrame) -> float:
    """Return the least median half width over value, of all methods and of one fixed share for everyone [-]."""
    of_kit = found[found["method"] == "kit"]
    fixed = float(np.quantile(of_kit["off"] / of_kit["value"], 0.95))
    scaled = [(rows["half"] / rows["value"]).median() * np.quantile(rows["off"] / rows["half"], 0.95)
              for _, rows in found.groupby("method")]  # fmt: skip
    return min(fixed, *scaled)


def table(found: pd.DataFrame) -> pd.DataFrame:
    """Return for each kind and method how often the truth is held, how wide that is, and how near the least."""
    pooled = found.assign(kind="all")
    rows = []
    for (kind, target), group in pd.concat([found, pooled]).groupby(["kind", "target"], sort=False):
        least = least_width(group)
        for method, of_method in group.groupby("method", sort=False):
            width = (of_method["half"] / of_method["value"]).median()
            rows.append({"target": target, "method": method, "kind": kind, "n": len(of_method),
                         "holds": (of_method["off"] <= of_method["half"]).mean(), "half width": width,
                         "over the least": width / least})  # fmt: skip
    order = {name: place for place, name in enumerate([*TARGETS, *METHODS, *KINDS, "all"])}
    return (
        pd.DataFrame(rows)
        .sort_values(["target", "method", "kind"], key=lambda names: names.map(order))
        .reset_index(drop=True)
    )


if __name__ == "__main__":
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    restless = float(sys.argv[2]) if len(sys.argv) > 2 else 1.0
    each = -(-seeds // len(KINDS))
    print(table(pd.concat([trials(kind, each, restless=restless) for kind in KINDS])).round(3).to_string(index=False))
