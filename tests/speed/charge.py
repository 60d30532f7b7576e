"""Follow the charge of 10,000 draws through a week of minutes, and compare with a compiled loop over draws and steps.

Run it by hand: ``python tests/speed/charge.py``, in an environment that also has numba (only this file uses it):
``pip install -c binder/requirements.txt -e ".[speed]"``. It prints ratios of times taken in one run, the best of
several rounds, and is no test: the times of a shared machine belong in none. Timed is the walk with the steps that
it goes through; what is uncertain was drawn before, for both alike. The loop does the same physics: a loss that bends,
and with the sun a charger's limit and the taper near full.

What is wanted: with sun at most 2.5 times the loop's time, without recharge at most half of it; 2,000 draws with 240
times within a fraction of the 100 ms that a slider has; the first ledger of a fresh process at most 1.3 times
``import pandas, pint``.
"""

from __future__ import annotations

import math
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from ridethrough.answer.case import Case, case_of
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import ride
from ridethrough.answer.stages import plan_stages
from ridethrough.answer.stretches import stretches
from ridethrough.answer.walk import Walk
from ridethrough.estimate import Estimate
from ridethrough.model.cabinet import Cabinet
from ridethrough.model.load import Load
from ridethrough.model.pattern import Pattern
from ridethrough.model.recharge import Recharge
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_

ROUNDS = 5
DAY, WEEK_H = 1_440, 168
FIRST_LEDGER = """
import ridethrough as rt
unit = rt.BackupUnit.from_print("u", capacity="1 kWh", chemistry="iron phosphate", standby="10 W", rated="1500 W",
                                efficiency="85 %", at="300 W")
rt.ledger(rt.Load.steady("40 W"), unit, "12 h").headline
"""


def compiled_loop(shape, sun, mean, factor, eta, full, start, limit, taper, a, b, c):  # type: ignore[no-untyped-def]
    """Return first empty, end, unserved, spilled and stored of every row: what one would write first."""
    rows, hours = mean.size, 1 / 60
    first, end = np.full(rows, np.inf), np.empty(rows)
    unserved, spilled, stored = np.zeros(rows), np.zeros(rows), np.zeros(rows)
    for d in range(rows):
        charge = full[d] * start[d]
        for i in range(sun.size):
            power = shape[i % shape.size] * mean[d]
            asked, offered = a[d] + b[d] * power + c[d] * power**2, sun[i] * factor[d]
            if offered > asked:
                surplus = min(offered - asked, limit[d])
                wanted, gap, bend = eta[d] * surplus, full[d] - charge, taper[d] * surplus / limit[d]
                straight = max(gap - bend, 0.0) / wanted
                if hours <= straight:
                    left = gap - wanted * hours
                else:
                    left = min(gap, bend) * math.exp(-(hours - straight) * wanted / bend)
                stored[d] += gap - left
                spilled[d] += (offered - asked) * hours - (gap - left) / eta[d]
                charge = full[d] - left
            else:
                need = (asked - offered) * hours
                charge -= need
                if charge < 0:
                    if first[d] == np.inf:
                        first[d] = hours * (i + 1 + charge / need)
                    unserved[d] -= charge
                    charge = 0.0
        end[d] = charge
    return first, end, unserved, spilled, stored


def inputs(sunny: bool) -> tuple[Load, BackupUnit, Outage]:
    """Return invented inputs: a schedule by the clock, and a week of minutes of sun."""
    minute = np.arange(7 * DAY)
    shape = Pattern(np.full(24, 1.0), np.where(np.arange(24) % 3 < 1, 71.0, 12.0), begins_h=0.0)
    load = Load.steady(Estimate.standard(Q_(shape.mean_w, "W"), "3 W", "log"), "fridge")._with(pattern=shape)
    unit = BackupUnit.from_print(
        "mine", capacity="1.1 kWh" if sunny else "9 kWh", chemistry="iron phosphate", standby="10 W", rated="1 kW",
        efficiency="88 %", at="300 W", rating_hours="6 min",
    )  # fmt: skip
    sun = Recharge.series(
        290 * np.sin((minute / DAY - 0.25) * 2 * np.pi).clip(0), step="1 min",
        factor=Estimate.within("70 %", "30 %", "weather"),
    )  # fmt: skip
    start = Estimate.within("70 %", "25 %", "gauge")
    return load, unit, Outage(Q_(WEEK_H, "h"), begins="0:00", start=start, recharge=(sun,) if sunny else ())


def for_the_loop(case: Case) -> tuple[Any, ...]:
    """Return what the loop needs of a case, in its order."""
    (appliance,), (a, b, c) = case.load.appliances, case.takes
    of, rows = case.sampler.of, np.ones(case.rows)
    sun, factor, eta = np.zeros(7 * DAY), rows, rows
    for each in case.outage.recharge:
        sun, factor, eta = each.pattern.power_w, of(each.factor, 0), of(each.efficiency, 0, 1)
    shape = appliance.pattern.at((np.arange(DAY) + 0.5) / 60) / appliance.pattern.mean_w
    return (shape, sun, of(appliance.mean_power, 0), factor, eta, case.full_wh, case.start, case.limit_w,
            case.slack_h * case.limit_w, a * rows, b * rows, c * rows)  # fmt: skip


def walked(case: Case) -> Walk:
    """Return the walk through a case."""
    walk = Walk(case, np.zeros(case.rows))
    for stretch in stretches(case, 0.0, case.outage.hours):
        walk.move(stretch)
    return walk


def best(*works: Callable[[], Any]) -> list[float]:
    """Return the least time of each [s]; they take turns, so that a busy moment meets all alike."""
    times: list[list[float]] = [[] for _ in works]
    for _ in range(ROUNDS):
        for work, taken in zip(works, times, strict=True):
            begin = time.perf_counter()
            work()
            taken.append(time.perf_counter() - begin)
    return [min(taken) for taken in times]


def fresh(code: str) -> None:
    """Run code in a fresh process."""
    subprocess.run([sys.executable, "-c", code], check=True)


def main() -> None:
    """Print the ratios."""
    import numba

    loop_of = numba.njit(compiled_loop)
    loop_of(*for_the_loop(case_of(*inputs(True), draws=2, seed=1)))  # compiling is no part of a run
    for sunny, wanted in ((True, 2.5), (False, 0.5)):
        case = case_of(*inputs(sunny), draws=10_000, seed=1)
        given, walk = for_the_loop(case), walked(case)
        named = walk.state.empty_h, walk.end_wh, walk.state.unserved, walk.state.spilled, walk.state.stored
        theirs = loop_of(*given)
        for mine, other in zip(named, theirs, strict=True):
            np.testing.assert_allclose(mine, other, rtol=1e-7, atol=1e-5)
        print(f"{'sun' if sunny else 'no recharge'}: {np.isinf(theirs[0]).mean():.0%} last, {theirs[2].mean():,.0f} Wh "
              f"unserved and {theirs[3].mean():,.0f} Wh wasted on average; both agree")  # fmt: skip
        loop, ours = best(lambda g=given: loop_of(*g), lambda c=case: walked(c))
        print(f"  10,000 draws: {ours:.3f} s, {ours / loop:.2f} times the loop's {loop:.3f} s ({wanted} wanted)")
        (band,) = best(lambda s=sunny: ride(*inputs(s), draws=2_000, times=240))
        print(f"  2,000 draws with 240 times, drawing and all: {1e3 * band:.0f} ms")
    _, unit, _ = inputs(False)
    freezer = Cabinet(Load.cycling("70 W", "20 %", "freezer").in_a_room_of("15 degC", "freezer"), food="40 kg")
    planned, alone = best(lambda: plan_stages(freezer, unit, "72 h"), lambda: ride(freezer.as_load(), unit, "72 h"))
    print(f"a plan of stages for three days: {planned:.2f} s, {planned / alone:.0f} times one ride")
    first, imports = best(lambda: fresh(FIRST_LEDGER), lambda: fresh("import pandas, pint"))
    print(f"first ledger of a fresh process: {first / imports:.2f} times `import pandas, pint` (1.3 wanted)")


if __name__ == "__main__":
    main()
