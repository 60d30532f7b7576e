"""Hundreds of random cases against a plain loop over minutes, there and back through `size`, and what never helps."""

from __future__ import annotations

from functools import cache
from typing import Any, NamedTuple

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ridethrough.answer.ledger import ledger
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import ride, spread
from ridethrough.answer.size import size
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import RundownLine, fit_rundowns
from ridethrough.measure.meter import Meter
from ridethrough.model.battery import CHEMISTRIES
from ridethrough.model.inverter import Inverter
from ridethrough.model.load import Load
from ridethrough.model.recharge import Recharge
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_

CASES, SIZED, LONGEST_H = 500, 60, 400  # of both routes; of them sized and read back; where the loop gives up
METER = Meter("1 % + 0.5 W", power_step="0.1 W")
TESTED_WH = 1230
PACKS = {"pack": "710 Wh", "packs_max": 2, "pack_standby": "1.5 W"}


class Case(NamedTuple):
    """A load on a unit through an outage."""

    load: Load
    unit: BackupUnit
    outage: Outage


@cache
def line(chemistry: str, k: str | None = None) -> RundownLine:
    runs = [("0 W", "71 h"), ("70 W", "13.6 h"), ("260 W", "4.4 h")]
    return fit_rundowns(runs, meter=METER, repeatability="1.5 %", room="20 degC", chemistry=chemistry, rate_exponent=k)


def random_unit(rng: np.random.Generator) -> BackupUnit:
    chemistry, health = str(rng.choice(CHEMISTRIES)), Estimate.within(f"{rng.uniform(70, 98)} %", "2 %", "health")
    more = PACKS | {"health": health, "heater": ("14 W", "3 degC") if rng.random() < 0.2 else None}
    if rng.random() < 0.5:
        by = line(chemistry, str(rng.choice(["1", "1.02 to 1.12"])) if rng.random() < 0.5 else None)
        unit = BackupUnit.from_rundowns("mine", by, printed=f"{TESTED_WH} Wh", rated="1500 W", k1="8 %", **more)
    else:
        unit = BackupUnit.from_print("mine", capacity=Q_(rng.uniform(200, 4000), "Wh"), chemistry=chemistry,
                                     standby=Q_(rng.uniform(1, 20), "W"), rated="1500 W",
                                     efficiency=rng.uniform(0.8, 0.92), at="300 W", **more)  # fmt: skip
    return unit.with_packs(int(rng.integers(0, 3)))


def random_load(rng: np.random.Generator) -> Load:
    """One to three of a steady, a cycling and a daily load."""
    first, last = rng.choice(1440, 2, replace=False)
    kinds = [
        Load.steady(METER.gain * Q_(rng.uniform(1, 90), "W"), "router"),
        Load.cycling(METER.gain * Q_(rng.uniform(20, 400), "W"), rng.uniform(0.1, 0.9), "fridge", day_spread="60 Wh"),
        Load.daily([(clock(first), clock(last), Q_(rng.uniform(5, 300), "W"))], "lights"),
    ]
    chosen = rng.choice(3, int(rng.integers(1, 4)), replace=False)
    return sum((kinds[each] for each in chosen[1:]), kinds[chosen[0]])


def clock(minute: int) -> str:
    return f"{minute // 60}:{minute % 60:02d}"


def random_case(rng: np.random.Generator) -> Case:
    start = Estimate.within(f"{rng.uniform(60, 97)} %", "3 %", "gauge") if rng.random() < 0.5 else "100 %"
    return Case(random_load(rng), random_unit(rng), Outage(
        Q_(rng.uniform(1, 48), "h"), start=start, reserve=Q_(rng.choice([0.0, rng.uniform(0, 100)]), "Wh"),
        begins=clock(int(rng.integers(0, 1440))) if rng.random() < 0.7 else None,
        unit_at=None if rng.random() < 0.5 else Q_(rng.uniform(-5, 35), "degC"),
    ))  # fmt: skip


def drawn_cases(count: int, seed: int = 7) -> list[Case]:
    rng = np.random.default_rng(seed)
    return [random_case(rng) for _ in range(count)]


# --- A plain loop -----------------------------------------------------------------------------------


def at_best(estimate: Estimate) -> float:
    return float(estimate.value.magnitude)


def minutes_of_a_day(case: Case) -> list[tuple[float, float]]:
    """Return mean power and variance in each minute of the day, what has no clock at its mean and variance."""
    mean_w, variance_w2 = np.zeros(1440), np.zeros(1440)
    for appliance in case.load.appliances:
        if appliance.pattern.begins_h is not None and case.outage.begins_h is not None:
            mean_w += appliance.pattern.at((np.arange(1440) + 0.5) / 60)
        else:
            mean_w += at_best(appliance.mean_power)
            variance_w2 += appliance.variance_w2
    return list(zip(mean_w, variance_w2, strict=True))


def plain_loop(case: Case) -> tuple[float, float]:
    """Return when the best estimate runs empty [h] and what is left, or missing, at the outage's end [Wh]."""
    unit, outage = case.unit, case.outage
    route, heater = unit.route, unit.route.heater
    cells = None if outage.unit_at is None else float(outage.unit_at.celsius[0])
    own_w = at_best(unit.standby)
    if heater is not None and cells is not None and cells < heater.below.m_as("degC"):
        cells, own_w = heater.below.m_as("degC"), own_w + at_best(heater.power)
    kept = 1.0 if cells is None else at_best(route.curve.at(Q_(cells, "degC")))
    if route.side == "battery":
        inverter, printed_wh = unit.inverter, route.printed.m_as("Wh")
        full = printed_wh * at_best(route.holds[0]) * at_best(route.health) * at_best(route.depth_of_discharge)
        reference_w, k = printed_wh / route.rating_hours.m_as("h"), at_best(route.rate_exponent)
        b, c, least = 1 + at_best(inverter.k1), at_best(inverter.k2) / inverter.rated.m_as("W"), 1.0
    else:
        energy = at_best(route.line.energy) * route.printed.m_as("Wh") / TESTED_WH
        full, reference_w = energy * at_best(route.health), energy / route.line.reference.m_as("h")
        k, b, c, least = at_best(route.line.rate_exponent), 1.0, at_best(route.line.bend), 0.0
        kept /= 1.0 if cells is None else at_best(route.curve.at(route.line.room))
    usable = max(full * at_best(outage.start) - full * max(1 - kept, 0), 0) * max(kept, 1)
    usable = max(usable - outage.reserve.m_as("Wh"), 0)
    day = []
    for mean_w, variance_w2 in minutes_of_a_day(case):  # it runs at one power for a share of the time, and rests
        runs_w = mean_w + variance_w2 / mean_w if mean_w else 0.0
        share = mean_w / runs_w if mean_w else 0.0
        running, resting = own_w + b * runs_w + c * runs_w**2, own_w
        falls = [asked * max(asked / reference_w, least) ** (k - 1) for asked in (running, resting)]
        day.append(((share * running + (1 - share) * resting) / 60, (share * falls[0] + (1 - share) * falls[1]) / 60))
    begins, length = round(60 * (outage.begins_h or 0)), 60 * outage.hours
    first_h, left, missing, minute = np.inf, usable, 0.0, 0
    while minute < length or (minute < 60 * LONGEST_H and first_h == np.inf):
        asked, falls = day[(begins + minute) % 1440]
        runs, counts = min(usable / falls, 1) if falls else 1.0, max(min(length - minute, 1), 0)
        if runs < 1:
            first_h = min(first_h, (minute + runs) / 60)
        if counts:
            left, missing = usable - falls * min(runs, counts), missing + asked * max(counts - runs, 0)
        usable, minute = usable - falls * runs, minute + 1
    return first_h, left - missing


@pytest.mark.parametrize("part", range(5))
def test_one_question_has_one_answer_and_a_plain_loop_agrees(part: int) -> None:
    """500 cases in five parts: ledger, ride and spread say the same, the loop says it too, and the account closes."""
    emptied = 0
    for case in drawn_cases(CASES // 5, seed=part):
        account, seen, drawn = ledger(*case, draws=60), ride(*case, draws=60), spread(*case, draws=60)
        assert account.chance == seen.chance == drawn.chance
        assert account.verdict == seen.verdict == drawn.verdict
        np.testing.assert_array_equal(account.lasts.rows, drawn.lasts.rows)
        np.testing.assert_array_equal(account.left.rows, drawn.left.rows)
        first_h, left_wh = plain_loop(case)
        if first_h < LONGEST_H - 1:
            assert seen.lasts.rows[0] == pytest.approx(first_h, rel=1e-6)
        assert account.left.rows[0] == pytest.approx(left_wh, rel=1e-6, abs=1e-3)
        through = seen.walk.state.asked + seen.walk.start_wh
        assert (np.abs(seen.walk.residual) <= 1e-9 * through).all()
        emptied += first_h < case.outage.hours
    assert 10 < emptied < CASES // 5 - 10


def test_what_size_says_is_read_back() -> None:
    """60 of them: a box with the printed capacity of `size` at 90 % lasts in 90 % of the draws."""
    for case in drawn_cases(SIZED, seed=5):
        found = size(case.load, case.outage, like=case.unit, confidence=0.9, draws=400)
        box = case.unit.with_capacity(found.printed)
        assert spread(case.load, box, case.outage, draws=400).chance == pytest.approx(0.9, abs=0.01)


# --- What never helps -------------------------------------------------------------------------------

seeds = st.integers(0, 10**6)
DRAWS = 20


def rows(case: Case, **changed: Any) -> tuple[np.ndarray, np.ndarray]:
    """Return what each draw lasts in the outage and has left."""
    seen = ride(*case._replace(**changed), draws=DRAWS)
    return np.minimum(seen.walk.state.empty_h, case.outage.hours), seen.walk.end_wh - seen.walk.state.unserved


def no_better(worse: tuple[np.ndarray, np.ndarray], base: tuple[np.ndarray, np.ndarray]) -> None:
    for one, other in zip(worse, base, strict=True):
        assert (one <= other + 1e-9 * (1 + np.abs(other))).all()


def altered(outage: Outage, **changed: Any) -> Outage:
    told = {"duration": outage.duration, "start": outage.start, "reserve": outage.reserve}
    return Outage(
        **told | {"begins": None if outage.begins_h is None else clock(round(60 * outage.begins_h))} | changed
    )


@given(seeds, st.floats(0.5, 30))
@settings(max_examples=60)
def test_more_standby_never_helps(seed: int, more: float) -> None:
    case = random_case(np.random.default_rng(seed))
    worse = case.unit.with_standby(case.unit.standby + Q_(more, "W"))
    no_better(rows(case, unit=worse), rows(case))


@given(seeds, st.floats(0, 1), st.floats(0, 1))
@settings(max_examples=60)
def test_less_charge_at_the_start_never_helps(seed: int, one: float, two: float) -> None:
    case = random_case(np.random.default_rng(seed))
    less, more = (altered(case.outage, start=share) for share in sorted((one, two)))
    no_better(rows(case, outage=less), rows(case, outage=more))


@given(seeds, st.floats(-18, 25), st.floats(-18, 25))
@settings(max_examples=60)
def test_colder_cells_at_the_same_load_never_help(seed: int, one: float, two: float) -> None:
    """Up to 25 degC, to which the table's capacities refer."""
    case = random_case(np.random.default_rng(seed))
    assume(case.unit.route.heater is None)
    cold, warm = (altered(case.outage, unit_at=Q_(celsius, "degC")) for celsius in sorted((one, two)))
    no_better(rows(case, outage=cold), rows(case, outage=warm))


@given(seeds, st.floats(0.1, 60))
@settings(max_examples=60)
def test_a_longer_outage_never_helps_and_does_not_change_what_it_lasts(seed: int, more: float) -> None:
    case = random_case(np.random.default_rng(seed))
    short, long = (ride(case.load, case.unit, altered(case.outage, duration=case.outage.duration + Q_(each, "h")),
                        draws=DRAWS) for each in (0, more))  # fmt: skip
    assert long.chance <= short.chance
    assert (long.left.rows <= short.left.rows + 1e-9 * (1 + np.abs(short.left.rows)))[short.case.sampler.within].all()
    np.testing.assert_allclose(long.lasts.rows, short.lasts.rows, rtol=1e-9)


sources = st.one_of(
    st.builds(lambda at, hours, power: Recharge.mains([(Q_(at, "h"), Q_(at + hours, "h"))], power=Q_(power, "W")),
              st.floats(0, 30), st.floats(0.1, 9), st.floats(1, 900)),
    st.builds(lambda power: Recharge.series([*power, *[0.0] * 60]), st.lists(st.floats(0, 600), min_size=1)),
)  # fmt: skip


@given(seeds, sources, st.sampled_from(["0 %", "10 %"]))
@settings(max_examples=60)
def test_what_flows_in_never_hurts(seed: int, source: Recharge, restart: str) -> None:
    case = random_case(np.random.default_rng(seed))
    without, with_it = (ride(case.load, case.unit, altered(case.outage, recharge=each), draws=DRAWS, restart=restart)
                        for each in ((), source))  # fmt: skip
    assert (with_it.walk.state.empty_h >= without.walk.state.empty_h - 1e-9).all()
    assert (with_it.walk.state.unserved <= without.walk.state.unserved + 1e-6).all()
    assert (with_it.walk.end_wh >= without.walk.end_wh - 1e-6).all()
    through = with_it.walk.state.asked + with_it.walk.start_wh + with_it.walk.state.stored + with_it.walk.state.direct
    assert (np.abs(with_it.walk.residual) <= 1e-9 * through).all()


@given(st.floats(1, 300), st.floats(0, 1), st.lists(st.floats(0, 600), min_size=1, max_size=12), st.floats(0.3, 1))
@settings(max_examples=60)
def test_the_account_added_up_by_hand(watts: float, start: float, power: list[float], eta: float) -> None:
    """A plain loop over hours on a unit without loss, limit or taper: every watt-hour asked, given, left and wasted."""
    no_loss = Inverter.fit([("0 W", "0 W"), ("500 W", "500 W"), ("900 W", "900 W")], "900 W")
    unit = BackupUnit.from_print("plain", capacity=Estimate.exact("400 Wh"), chemistry="iron phosphate", rated="900 W",
                                 inverter=no_loss, depth_of_discharge="100 %", rating_hours="6 min",
                                 charge_power="9 kW", taper_from="100 %")  # fmt: skip
    outage = Outage(Q_(len(power), "h"), start=start, recharge=Recharge.series(power, efficiency=eta))
    seen = ride(Load.steady(Q_(watts, "W")), unit, outage, draws=2)
    charge, unserved, wasted = 400 * start, 0.0, 0.0
    for each in power:
        net = each - watts
        charge += net * (eta if net > 0 else 1)
        unserved, charge = unserved + max(0, -charge), max(0, charge)
        wasted, charge = wasted + max(0, charge - 400) / eta, min(400, charge)
    found = [seen.walk.end_wh[0], seen.unserved.magnitude, seen.wasted.magnitude, seen.served.magnitude]
    assert found == pytest.approx([charge, unserved, wasted, watts * len(power) - unserved], abs=1e-6)


def test_a_moment_that_is_told_moves_no_other() -> None:
    """Something flows in, so that the moments told end steps: the one in the middle, 5e-6 h before the oven's, too."""
    oven, outage = Load.daily([("12:00", "13:00", "400 W")], "oven"), {"begins": "0:00"}
    nothing = Recharge.series([0.0, 0.0, 0.0], step="12 h")
    unit, hours = random_unit(np.random.default_rng(3)), Q_(24 - 1e-5, "h")
    seen = ride(oven, unit, Outage(hours, recharge=[nothing], **outage), draws=2, times=2)
    assert seen.walk.state.loads[0, 0] == pytest.approx(400, abs=1e-9)
