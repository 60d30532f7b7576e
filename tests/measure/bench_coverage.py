"""How often the interval of a run time holds, and how wide it is: a table over simulated benches.

Run it by hand: ``python tests/measure/bench_coverage.py``; it takes about two minutes. The bar: over 1,000
benches of each kind the 95 % interval of the next run's time on a cycling load holds in at least 92 % of all
and in 90 % of each kind, and the median width is at most 1.5 times the least, which is that of the same
intervals scaled to hold exactly 95 %.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

sys.path.append(str(Path(__file__).parent))
from simulated_bench import GAIN, KINDS, OFFSET_W, SPREAD, STEP_W, simulate

from ridethrough.answer.ride import ride
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import RundownLine, fit_rundowns
from ridethrough.measure.meter import Meter
from ridethrough.measure.rundown import Rundown
from ridethrough.model.load import Load
from ridethrough.model.unit import BackupUnit
from ridethrough.sources import lookup
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


def lines(kind: str, n: int, seed: int, *, limit: float = GAIN, one_meter: bool = True,
          idling: str | None = None) -> Iterator[tuple[RundownLine, Load, float, float]]:  # fmt: skip
    """Yield the line and the load of each of ``n`` benches, told what a tester knows and no more.

    With them the unit's rated power [W], and how long it really lasts [h].
    """
    seen = simulate(kind, n, seed, limit=limit)
    accuracy, step = f"{100 * limit} % + {OFFSET_W} W", f"{STEP_W} W"
    for i in range(n):
        meter = Meter(accuracy, power_step=step)
        read = zip(seen.read_w[:, i], seen.hours[:, i], seen.room_c[:, i], strict=True)
        runs = [Rundown(Q_(read_w, "W"), Q_(hours, "h"), room=Q_(room_c, "degC")) for read_w, hours, room_c in read]
        line = fit_rundowns(runs, meter=meter, repeatability=f"{100 * SPREAD} %", room="20 degC", idling=idling)
        reader = meter if one_meter else Meter(accuracy)
        running = reader.gain * Q_(seen.fridge_read_w[i], "W") + reader.offset
        yield line, Load.cycling(running, float(seen.duty[i])), seen.rated_w[i], seen.truth_h[i]


def claims(kind: str, n: int, seed: int, *, answer: Answer = RundownLine.hours, **told: Any) -> Claims:
    """Return what the kit claims of run times on ``n`` benches of a kind."""
    found = []
    for line, load, _, truth_h in lines(kind, n, seed, **told):
        hours = answer(line, load)
        found.append((float(hours.value.magnitude), float(hours.expanded().magnitude), truth_h))
    return Claims(*np.array(found).T)


def covered(kind: str, n: int, seed: int, **told: Any) -> float:
    """Return how much of what is called covered lasts [-]: outages from 0.8 to 1.1 times what each unit lasts."""
    lasted = []
    for line, load, rated_w, truth_h in lines(kind, n, seed, **told):
        unit = BackupUnit.from_rundowns("mine", line, printed=Q_(3 * rated_w, "Wh"), rated=Q_(rated_w, "W"))
        drawn_h = np.asarray(ride(load, unit, Q_(truth_h, "h"), draws=400, times=1).lasts)[1:]
        over = np.linspace(0.8, 1.1, 31)
        lasted += [one <= 1 for one in over if np.mean(drawn_h >= one * truth_h) >= lookup("covered from").value]
    return float(np.mean(lasted))


def main(n: int) -> None:
    """Print the table."""
    print(f"{'kind':12} {'holds':>7} {'over least':>11} {'give or take':>13}   ({n} benches of each)")
    each = [(kind, claims(kind, n, 1)) for kind in KINDS]
    for kind, found in [*each, ("all", pooled([found for _, found in each]))]:
        print(f"{kind:12} {found.held:7.1%} {found.over_least:11.2f} {found.give_or_take:13.1%}")
    print(f"of what is called covered {covered('idles deeper', min(n, 200), 1):.1%} last where units idle deeper")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
