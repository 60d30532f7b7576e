"""What a spread costs against itself: ratios of times taken in one run, the best of several rounds.

Run it by hand: ``python tests/speed/spread.py``. It is no test: the times of a shared machine belong in no test. What
is wanted: cost about linear in draws; a year of repeating days for little more than a week; 2,000 draws with 240
moments within a fraction of the 100 ms that a slider has.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from ridethrough.answer.spread import spread

from ridethrough.answer.outage import Outage
from ridethrough.measure.bench import fit_rundowns
from ridethrough.measure.meter import Meter
from ridethrough.model.load import Load
from ridethrough.model.recharge import Recharge
from ridethrough.model.unit import BackupUnit

ROUNDS = 5


def best_ms(work: Callable[[], Any]) -> float:
    """Return the shortest time that ``work`` takes [ms]."""
    took = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return 1000 * min(took)


def units() -> dict[str, BackupUnit]:
    """Return one invented unit by each route."""
    meter = Meter("1 % + 0.5 W", power_step="0.1 W")
    runs = [("0 W", "230 h"), ("70 W", "46 h"), ("260 W", "15 h")]
    line = fit_rundowns(runs, meter=meter, repeatability="1.5 %", room="20 degC")
    return {
        "measured": BackupUnit.from_rundowns("measured", line, printed="4 kWh", rated="1 kW", k1="8 %"),
        "printed": BackupUnit.from_print("printed", capacity="4 kWh", chemistry="iron phosphate", standby="12 W",
                                         efficiency="88 %", at="250 W", rated="1 kW"),
    }  # fmt: skip


def main() -> None:
    """Print the ratios."""
    fridge = Load.cycling(Meter("1 % + 0.5 W").reading("90 W"), "35 %", "fridge", day_spread="60 Wh")
    load = fridge + Load.daily([("18:00", "22:30", "30 W")], "lights") + Load.steady("7 W", "router")
    lasting = Load.steady("32 W") + Load.daily([("18:00", "22:30", "30 W")], "lights")
    sun = Recharge.series([max(0, 200 - 40 * abs(12 - hour % 24)) for hour in range(168)])
    for name, unit in units().items():

        def took(length: str = "1 week", unit: BackupUnit = unit, load: Load = load, **how: Any) -> float:
            outage = Outage(length, begins="17:20", recharge=how.pop("recharge", ()))
            return best_ms(lambda: spread(load, unit, outage, **how))

        few = took(draws=2000)
        print(f"\n{name}: 2,000 draws of a week with 240 moments: {few:.0f} ms")
        print(f"  10,000 draws over 2,000                          {took(draws=10_000) / few:6.2f}")
        print(f"  the same with sun in each hour over without      {took(draws=2000, recharge=sun) / few:6.2f}")
        alike = took("8760 h", load=lasting, draws=2000) / took(load=lasting, draws=2000)
        print(f"  a year of repeating days over a week of them     {alike:6.2f}")
        print(f"  a year of days that differ over a week of them   {took('8760 h', draws=2000) / few:6.2f}")
        print(f"  1 moment over 240                                {took(draws=2000, times=1) / few:6.2f}")
        print(f"  with a restart at 20 % over without              {took(draws=2000, restart='20 %') / few:6.2f}")


if __name__ == "__main__":
    main()
