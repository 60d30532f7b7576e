"""How often the interval of a run time holds, and how wide it is: a table over simulated benches.

Run it by hand: ``python tests/measure/bench_coverage.py``; it takes about two minutes. The bar: over 1,000
benches of each kind the 95 % interval of the next run's time on a cycling load holds in at least 92 % of all
and in 90 % of each kind, and the median width is at most 1.5 times the least, which is that of the same
intervals scaled to hold exactly 95 %.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).parent))
from simulated_bench import GAIN, KINDS, OFFSET_W, SPREAD, STEP_W, simulate

from ridethrough.estimate import Estimate
from ridethrough.measure.bench import RundownLine, fit_rundowns
from ridethrough.measure.meter import Meter
from ridethrough.measure.rundown import Rundown
from ridethrough.model.load import Load
from ridethrough.units import Q_

Answer = Callable[[RundownLine, Load], Estimate]


@dataclass(frozen=True)
class Claims:
    """Intervals of run times beside what really happened.

    Parameters
    ----------
    middle_h, half_h, truth_h : arrays of shape (n,)
        The estimate, half its 95 % interval, and the run time [h].
    """

    middle_h: np.ndarray
    half_h: np.ndarray
    truth_h: np.ndarray

    @property
    def held(self) -> float:
        """Share of intervals that hold the run time [-]."""
        return float(np.mean(np.abs(self.middle_h - self.truth_h) <= self.half_h))

    @property
    def over_least(self) -> float:
        """Median width over that of the same intervals scaled to hold exactly 95 % [-]."""
        return float(1 / np.quantile(np.abs(self.middle_h - self.truth_h) / self.half_h, 0.95))

    @property
    def give_or_take(self) -> float:
        """Median of half the interval over the run time [-]."""
        return float(np.median(self.half_h / self.truth_h))


def pooled(claims: Sequence[Claims]) -> Claims:
    """Return the claims of all kinds together."""
    return Claims(*(np.concatenate(parts) for parts in zip(*(vars(each).values() for each in claims), strict=True)))


def claims(kind: str, n: int, seed: int, *, limit: float = GAIN, one_meter: bool = True,
           answer: Answer = RundownLine.hours) -> Claims:  # fmt: skip
    """Return what the kit claims on ``n`` benches of a kind, told what a tester knows and no more."""
    seen, found = simulate(kind, n, seed, limit=limit), []
    accuracy, step = f"{100 * limit} % + {OFFSET_W} W", f"{STEP_W} W"
    for i in range(n):
        meter = Meter(accuracy, power_step=step)
        read = zip(seen.read_w[:, i], seen.hours[:, i], seen.room_c[:, i], strict=True)
        runs = [Rundown(Q_(read_w, "W"), Q_(hours, "h"), room=Q_(room_c, "degC")) for read_w, hours, room_c in read]
        line = fit_rundowns(runs, meter=meter, repeatability=f"{100 * SPREAD} %", room="20 degC")
        reader = meter if one_meter else Meter(accuracy)
        running = reader.gain * Q_(seen.fridge_read_w[i], "W") + reader.offset
        hours = answer(line, Load.cycling(running, float(seen.duty[i])))
        found.append((float(hours.value.magnitude), float(hours.expanded().magnitude)))
    middle_h, half_h = np.array(found).T
    return Claims(middle_h, half_h, seen.truth_h)


def main(n: int) -> None:
    """Print the table."""
    print(f"{'kind':12} {'holds':>7} {'over least':>11} {'give or take':>13}   ({n} benches of each)")
    each = [(kind, claims(kind, n, 1)) for kind in KINDS]
    for kind, found in [*each, ("all", pooled([found for _, found in each]))]:
        print(f"{kind:12} {found.held:7.1%} {found.over_least:11.2f} {found.give_or_take:13.1%}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
