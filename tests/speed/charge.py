"""Follow the charge of 10,000 draws through a week of minutes, and compare with a compiled loop over draws and steps.

Run it by hand: ``python tests/speed/charge.py``, in an environment that also has numba (only this file uses it):
``pip install -c binder/requirements.txt -e ".[speed]"``. It prints ratios of times taken in one run, the best of
several rounds, and is no test: the times of a shared machine belong in no test.

What is wanted: at most 2.5 times the loop's time, for the same answers from the same inputs; ten times the time for ten
times the draws; a year of one repeating day for little more than a week; 2,000 draws with 240 times within a fraction
of the 100 ms that a slider has.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from ridethrough.answer.charge import Charge, Powers, charge_through

ROUNDS = 5
DAY = 1_440


def compiled_loop(hours, base, sun, scale, standby, sunny, eta, capacity, start):  # type: ignore[no-untyped-def]
    """Return first empty, end, served, unserved, wasted and stored of every draw: what one would write first."""
    draws = scale.size
    first, end = np.full(draws, np.inf), np.empty(draws)
    served, unserved, wasted, stored = np.zeros(draws), np.zeros(draws), np.zeros(draws), np.zeros(draws)
    for d in range(draws):
        charge, now = start[d], 0.0
        for i in range(hours.size):
            asked, offered = base[i] * scale[d] + standby[d], sun[i] * sunny[d]
            served[d] += asked * hours[i]
            if offered > asked:
                put = (offered - asked) * hours[i]
                charge += eta[d] * put
                if charge > capacity[d]:
                    over = (charge - capacity[d]) / eta[d]
                    wasted[d] += over
                    put -= over
                    charge = capacity[d]
                stored[d] += put
            else:
                need = (asked - offered) * hours[i]
                charge -= need
                if charge < 0:
                    if first[d] == np.inf:
                        first[d] = now + hours[i] * (1 + charge / need)
                    unserved[d] -= charge
                    served[d] += charge
                    charge = 0.0
            now += hours[i]
        end[d] = charge
    return first, end, served, unserved, wasted, stored


class Case(NamedTuple):
    """Invented inputs: one profile of load and of sun, and what each draw makes of them."""

    hours: np.ndarray
    base: np.ndarray
    sun: np.ndarray
    scale: np.ndarray
    standby: np.ndarray
    sunny: np.ndarray
    eta: np.ndarray
    capacity: np.ndarray
    start: np.ndarray

    def through(self, **given: Any) -> Charge:
        load = Powers(np.stack([self.base, np.ones_like(self.base)]), np.column_stack([self.scale, self.standby]))
        recharge = Powers(self.sun[np.newaxis], self.sunny[:, np.newaxis])
        return charge_through(self.hours, load, recharge, capacity_wh=self.capacity, start_wh=self.start,
                              charge_efficiency=self.eta, **given)  # fmt: skip

    def first_day(self) -> Case:
        return self._replace(hours=self.hours[:DAY], base=self.base[:DAY], sun=self.sun[:DAY])


def week(draws: int, kind: str) -> Case:
    """Return a week of minutes: a cycling load under "sun", or powers of "noise" where no two minutes make a run."""
    rng, minute = np.random.default_rng(4), np.arange(7 * DAY)
    if kind == "sun":
        base, sun = np.where(minute % 44 < 18, 71.0, 2.0), 290 * np.sin((minute / DAY - 0.25) * 2 * np.pi).clip(0)
    else:
        base, sun = rng.uniform(25, 90, minute.size), rng.uniform(0, 170, minute.size)
    capacity = rng.normal(920, 60, draws)
    return Case(
        np.full(minute.size, 1 / 60), base, sun, rng.normal(1, 0.1, draws), rng.normal(12, 2, draws).clip(0),
        rng.uniform(0.4, 1, draws), rng.uniform(0.85, 0.95, draws), capacity, capacity * rng.uniform(0.3, 1, draws),
    )  # fmt: skip


def best(*works: Callable[[], Any]) -> list[float]:
    """Return the least time of each [s]; they take turns, so that a busy moment meets all alike."""
    times = [[] for _ in works]  # type: list[list[float]]
    for _ in range(ROUNDS):
        for work, taken in zip(works, times, strict=True):
            begin = time.perf_counter()
            work()
            taken.append(time.perf_counter() - begin)
    return [min(taken) for taken in times]


def main() -> None:
    """Print the ratios."""
    import numba

    loop_of = numba.njit(compiled_loop)
    loop_of(*week(2, "sun"))  # compiling is no part of a run
    for kind in ("sun", "noise"):
        case, fewer = week(10_000, kind), week(1_000, kind)
        ours, theirs = case.through(), loop_of(*case)
        named = ours.first_empty_h, ours.end_wh, ours.served_wh, ours.unserved_wh, ours.wasted_wh, ours.stored_wh
        for mine, other in zip(named, theirs, strict=True):
            np.testing.assert_allclose(mine, other, rtol=1e-7, atol=1e-6)
        print(f"{kind}: {np.isinf(theirs[0]).mean():.0%} last, {theirs[3].mean():,.0f} Wh unserved and "
              f"{theirs[4].mean():,.0f} Wh wasted on average; both agree")  # fmt: skip
        loop, kernel, tenth = best(lambda c=case: loop_of(*c), case.through, fewer.through)
        print(f"  10,000 draws: {kernel:.3f} s, {kernel / loop:.2f} times the loop's {loop:.3f} s (at most 2.5 wanted)")
        print(f"  {kernel / tenth:.1f} times the time of 1,000 draws (10 wanted)")
        day, at = fewer.first_day(), np.linspace(0, 7 * 24, 240)
        year, seven, whole = best(
            lambda d=day: d.through(repeats=365), lambda d=day: d.through(repeats=7), fewer.through
        )
        print(f"  a year of one day: {year / seven:.2f} times seven of it, {year / whole:.2f} times a week of minutes")
        band_case = week(2_000, kind)
        (band,) = best(lambda c=band_case, at=at: c.through(at_h=at))
        print(f"  2,000 draws with 240 times: {1e3 * band:.0f} ms")
        (waiting,) = best(lambda c=fewer: c.through(restart_wh=100))
        print(f"  1,000 draws with a restart threshold: {waiting / whole:.1f} times those without")
    one = week(1, "sun")
    (single,) = best(one.through)
    print(f"one draw: {1e3 * single:.2f} ms")


if __name__ == "__main__":
    main()
