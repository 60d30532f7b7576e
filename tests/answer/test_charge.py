"""The state of charge through time, against a plain loop written here and against what must hold in any world."""

from __future__ import annotations

import tracemalloc
from typing import Any, NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ridethrough.answer.charge import Charge, Powers, charge_through

from ridethrough.answer import charge as kernel
from ridethrough.units import Refusal

# --- A plain loop -----------------------------------------------------------------------------------


class Plain(NamedTuple):
    """What the plain loop finds for one draw."""

    first_empty_h: float
    end_wh: float
    served_wh: float
    unserved_wh: float
    stored_wh: float
    wasted_wh: float
    soc_wh: list[float]
    restarts: int


def plain_loop(
    hours: Any, load_w: Any, recharge_w: Any, capacity: float, start: float, eta: float, restart: float, off_w: float
) -> Plain:
    """Return what one battery does, from limit to limit: within a step it moves in one way until it meets one."""
    charge, on = start, start > 0 or restart == 0
    now, first, served, unserved, stored, wasted, restarts = 0.0, np.inf if on else 0.0, 0.0, 0.0, 0.0, 0.0, 0
    soc = []
    for length, load, sun in zip(hours, load_w, recharge_w, strict=True):
        left = length
        while left > 0:
            net = sun - (load if on else off_w)
            rate = eta * net if net > 0 else net
            top = capacity if on else restart
            stuck = (rate < 0 and charge == 0) or (rate > 0 and charge == capacity)
            to_limit = np.inf if stuck or rate == 0 else (top - charge) / rate if rate > 0 else charge / -rate
            if on and rate < 0 and charge == 0:
                first = min(first, now)
                if restart:
                    on = False
                    continue
            lasts = min(left, to_limit)
            if on:
                served += (min(load, sun) if stuck and rate < 0 else load) * lasts
                unserved += (load - sun) * lasts if stuck and rate < 0 else 0
            else:
                unserved += load * lasts
            if net > 0:
                wasted, stored = wasted + net * lasts * stuck, stored + net * lasts * (not stuck)
            if to_limit <= left:
                charge = top if rate > 0 else 0.0
                if not on and rate > 0:
                    on, restarts = True, restarts + 1
            elif not stuck:
                charge += rate * lasts
            now, left = now + lasts, left - lasts
        soc.append(charge)
    return Plain(first, charge, served, unserved, stored, wasted, soc, restarts)


# --- Random worlds ----------------------------------------------------------------------------------


class World(NamedTuple):
    """One set of arguments for the kernel."""

    hours: np.ndarray
    load: Powers
    recharge: Powers
    unit: dict[str, Any]
    repeats: int

    def run(self, **changed: Any) -> Charge:
        given = {"repeats": self.repeats, **self.unit, **changed}
        return charge_through(self.hours, self.load, self.recharge, **given)

    def plain(self, draw: int) -> Plain:
        one = {name: float(np.broadcast_to(value, self.draws)[draw]) for name, value in self.unit.items()}
        load, sun = (
            np.broadcast_to(p.table_w(), (self.draws, self.hours.size))[draw] for p in (self.load, self.recharge)
        )
        return plain_loop(
            *(np.tile(row, self.repeats) for row in (self.hours, load, sun)),
            one["capacity_wh"], one["start_wh"], one["charge_efficiency"], one["restart_wh"], one["off_w"],
        )  # fmt: skip

    @property
    def draws(self) -> int:
        return max(len(self.load.factors), len(self.recharge.factors), *(np.size(v) for v in self.unit.values()))

    @property
    def asked_wh(self) -> np.ndarray:
        return self.repeats * self.load.table_w() @ self.hours

    @property
    def throughput_wh(self) -> np.ndarray:
        """Everything asked and offered, what a waiting unit asks for itself in it."""
        return self.asked_wh + self.offered_wh + self.repeats * self.hours.sum() * self.unit["off_w"]

    @property
    def offered_wh(self) -> np.ndarray:
        return self.repeats * self.recharge.table_w() @ self.hours


def random_world(rng: np.random.Generator, restart: bool, clear_sky: bool) -> World:
    """Return a small world; under a clear sky recharge is far above or below the load, so that steps make runs."""
    steps, draws = int(rng.integers(1, 60)), int(rng.integers(1, 4))
    hours = rng.choice([0.1, 0.5, 1.0, 2.3], steps)
    if clear_sky:
        load = Powers(np.stack([rng.uniform(5, 70, steps), np.ones(steps)]), rng.uniform(0.8, 1.2, (draws, 2)))
        recharge = Powers(
            np.repeat(rng.choice([0.0, 400.0], (1, -(-steps // 6))), 6, axis=1)[:, :steps], np.ones((1, 1))
        )
    else:
        load = Powers(rng.choice([0.0, 10.0, 33.3, 71.0], (2, steps)), rng.uniform(0, 2, (draws, 2)))
        recharge = Powers(rng.choice([0.0, 0.0, 50.0, 160.0], (1, steps)), rng.uniform(0, 2, (draws, 1)))
    capacity = rng.uniform(10, 600, draws)
    unit = {
        "capacity_wh": capacity,
        "start_wh": capacity * rng.choice([0, 0.2, 0.7, 1.0], draws),
        "charge_efficiency": rng.choice([1.0, rng.uniform(0.5, 1)]),
        "restart_wh": capacity * rng.uniform(0.02, 1, draws) if restart else 0.0,
        "off_w": rng.choice([0.0, rng.uniform(0, 20)]) if restart else 0.0,
    }
    return World(hours, load, recharge, unit, int(rng.integers(1, 5)))


def close(ours: Any, other: Any) -> None:
    np.testing.assert_allclose(ours, other, rtol=1e-9, atol=1e-8)


@pytest.mark.parametrize("restart", [False, True])
@pytest.mark.parametrize("clear_sky", [False, True])
def test_a_plain_loop_agrees(restart: bool, clear_sky: bool) -> None:
    """600 worlds of each kind, one to three draws in each; the worlds reach what they are to try."""
    rng = np.random.default_rng(11 + 2 * restart + clear_sky)
    seen: list[Plain] = []
    for _ in range(600):
        world = random_world(rng, restart, clear_sky)
        ends = np.cumsum(np.tile(world.hours, world.repeats))
        whole, cut = world.run(), world.run(at_h=[*ends, 0, ends[-1], 0.37 * ends[-1]])
        for draw in range(world.draws):
            plain = world.plain(draw)
            for run in (whole, cut):
                for name in Plain._fields[:6]:
                    close(getattr(run, name)[draw], getattr(plain, name))
            assert cut.soc_wh is not None
            start = np.broadcast_to(world.unit["start_wh"], world.draws)[draw]
            close(cut.soc_wh[draw, : ends.size + 2], [*plain.soc_wh, start, plain.end_wh])
            seen.append(plain)
    assert sum(np.isinf(p.first_empty_h) for p in seen) > 50
    assert sum(0 < p.first_empty_h < np.inf and max(p.soc_wh[-5:]) > 0 for p in seen) > 50
    assert sum(p.wasted_wh > 0 and p.unserved_wh > 0 for p in seen) > 50
    assert sum(p.restarts > 1 for p in seen) > (50 if restart else -1)


def test_runs_are_made_and_shorten_the_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """A week of minutes without recharge is one run; cutting it in every minute changes nothing."""
    minutes, load = np.full(10_080, 1 / 60), 40 + 30 * np.sin(np.arange(10_080))
    made: list[int] = []
    runs = kernel._runs
    monkeypatch.setattr(kernel, "_runs", lambda *given: made.append(len(found := runs(*given))) or found)
    one = charge_through(minutes, load, capacity_wh=3_000, start_wh=2_900)
    every = charge_through(minutes, load, capacity_wh=3_000, start_wh=2_900, at_h=np.cumsum(minutes))
    assert made == [1, 10_080]
    close(one.first_empty_h, every.first_empty_h)
    close(one.unserved_wh, every.unserved_wh)


def test_until_the_first_empty_the_closed_form_holds() -> None:
    """soc = x - max(0, running max(x - capacity)) at every step's end; the moment lies where it falls below zero."""
    rng = np.random.default_rng(5)
    emptied = 0
    for _ in range(300):
        hours, load, sun = rng.uniform(0.1, 2, 40), rng.uniform(10, 90, 40), rng.uniform(0, 120, 40)
        capacity, eta = 300.0, 0.87
        start = rng.uniform(0, capacity)
        net = np.where(sun > load, eta * (sun - load), sun - load) * hours
        x = start + np.cumsum(net)
        soc = x - np.maximum(0, np.maximum.accumulate(x - capacity))
        below = np.flatnonzero(soc < 0)
        step = below[0] if below.size else 40
        run = charge_through(hours, load, sun, capacity_wh=capacity, start_wh=start, charge_efficiency=eta,
                             at_h=np.cumsum(hours))  # fmt: skip
        assert run.soc_wh is not None
        close(run.soc_wh[0, :step], soc[:step])
        if below.size:
            emptied += 1
            before = np.append(start, soc)[step]
            close(run.first_empty_h, hours[:step].sum() + hours[step] * before / -net[step])
        else:
            assert np.isinf(run.first_empty_h)
    assert 50 < emptied < 250


# --- By hand ----------------------------------------------------------------------------------------


def test_a_steady_load_lasts_charge_over_power() -> None:
    """No recharge: t = start / power, what is asked after it stays unserved."""
    run = charge_through([5.0, 20.0], [40.0, 40.0], capacity_wh=700, start_wh=[400.0, 700.0, 0.0])
    close(run.first_empty_h, [10, 17.5, 0])
    close(run.served_wh, [400, 700, 0])
    close(run.unserved_wh, [600, 300, 1000])
    close(run.end_wh, 0)


def test_what_is_asked_to_the_last_watt_hour_is_served() -> None:
    run = charge_through([4.0, 6.0], [40.0, 40.0], capacity_wh=400, start_wh=400)
    assert run.first_empty_h[0] == np.inf
    assert (run.end_wh[0], run.unserved_wh[0]) == (0, 0)
    minutes = charge_through(np.full(600, 1 / 60), np.full(600, 40.0), capacity_wh=400, start_wh=[400, 400 - 1e-9])
    np.testing.assert_array_equal(np.isinf(minutes.first_empty_h), [True, False])


def test_an_empty_battery_between_equal_powers_lacks_nothing() -> None:
    """Recharge meets the load watt for watt, through factors that round: only the last step's load is lacking."""
    load, sun = Powers([[71.3] * 9], [[1.1], [0.7], [1.9]]), Powers([[71.3] * 8 + [0.0]], [[1.1], [0.7], [1.9]])
    for restart in (0.0, 10.0):
        run = charge_through([0.1] * 9, load, sun, capacity_wh=100, start_wh=1e-300, restart_wh=restart)
        close(run.first_empty_h, 0.8)


def test_a_waiting_battery_never_owes() -> None:
    """Own take from nothing, in numbers that round: the charge stays at 0, and never below."""
    restart = np.linspace(0.1, 0.9, 200)
    run = charge_through([1.0] * 5, [1.0] * 5, capacity_wh=1.1, start_wh=0, restart_wh=restart, off_w=restart[::-1])
    assert ((run.end_wh >= 0) & (run.end_wh < 1e-15)).all()


def test_reaching_the_restart_is_enough() -> None:
    """8 h of 0.1 W make 0.8 Wh in sums that round: reached is reached, and the unit is on when the sun goes."""
    run = charge_through([1.0] * 8 + [0.5], [0.2] * 9, [0.1] * 8 + [0.0], capacity_wh=2, start_wh=0, restart_wh=0.8)
    close([run.unserved_wh[0], run.end_wh[0]], [1.6, 0.7])


def test_a_restart_by_hand() -> None:
    """100 Wh at 50 W end after 2 h. Off, 40 W of sun at 75 % make 60 Wh in 2 h, then 10 W drain them in 6 h."""
    hours, sun = [2.0, 12.0], [0.0, 40.0]
    run = charge_through(hours, [50.0, 50.0], sun, capacity_wh=200, start_wh=100, charge_efficiency=0.75,
                         restart_wh=60, at_h=[2, 3, 4, 10, 12, 13, 14])  # fmt: skip
    close(run.soc_wh, [[0, 30, 60, 0, 60, 50, 40]])
    close([run.first_empty_h[0], run.unserved_wh[0], run.served_wh[0]], [2, 200, 500])
    close([run.stored_wh[0], run.wasted_wh[0]], [160, 0])


def test_a_unit_that_waits_takes_what_is_given_for_it() -> None:
    """Off from the start: 10 W of its own out of 40 W of sun leaves 30 W, 60 Wh after 2 h; at night it takes 10 W."""
    run = charge_through([1.0, 1.0, 1.0], [50.0] * 3, [40.0, 0.0, 0.0], capacity_wh=200, start_wh=0, restart_wh=60,
                         off_w=10, at_h=[1, 2, 3])  # fmt: skip
    close(run.soc_wh, [[30, 20, 10]])
    close([run.unserved_wh[0], run.stored_wh[0], run.first_empty_h[0]], [150, 30, 0])


def test_a_battery_of_nothing_serves_what_comes() -> None:
    run = charge_through([1.0, 1.0], [50.0, 50.0], [40.0, 70.0], capacity_wh=0, start_wh=0)
    close([run.first_empty_h[0], run.unserved_wh[0], run.served_wh[0], run.wasted_wh[0]], [0, 10, 90, 20])


# --- What must hold in any world --------------------------------------------------------------------

watts = st.one_of(st.just(0.0), st.floats(1, 300))
share = st.floats(0, 1)


@st.composite
def worlds(draw: st.DrawFn, restart: bool | None = None, repeats: int | None = None) -> World:
    steps, draws = draw(st.integers(1, 12)), draw(st.integers(1, 3))

    def row(values: st.SearchStrategy[float], n: int) -> np.ndarray:
        return np.array(draw(st.lists(values, min_size=n, max_size=n)))

    capacity = row(st.floats(1, 3000), draws)
    off = not (draw(st.booleans()) if restart is None else restart)
    unit = {
        "capacity_wh": capacity,
        "start_wh": capacity * row(share, draws),
        "charge_efficiency": row(st.floats(0.3, 1), draws),
        "restart_wh": 0.0 if off else capacity * row(st.floats(0.05, 1), draws),
        "off_w": 0.0 if off else row(st.one_of(st.just(0.0), st.floats(0.1, 20)), draws),
    }
    factors = row(st.floats(0.5, 2), draws)[:, np.newaxis]
    return World(
        row(st.floats(0.05, 5), steps), Powers(row(watts, steps)[np.newaxis], factors),
        Powers(row(watts, steps)[np.newaxis], factors[::-1]), unit, repeats or draw(st.integers(1, 4)),
    )  # fmt: skip


def same(one: Charge, other: Charge, scale: float) -> None:
    """Both alike, the moment of emptying too: where one is spared by a rounding error, the other lacks no more."""
    for name in ("end_wh", "served_wh", "unserved_wh", "stored_wh", "wasted_wh"):
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=1e-9, atol=1e-9 * scale)
    lacking = np.minimum(one.unserved_wh, other.unserved_wh) > 1e-9 * scale
    close(one.first_empty_h[lacking], other.first_empty_h[lacking])


def scale_of(world: World) -> float:
    return float(world.unit["capacity_wh"].max() + world.throughput_wh.max())


@given(worlds())
@settings(deadline=None, max_examples=300)
def test_the_account_closes(world: World) -> None:
    run, throughput = world.run(), world.throughput_wh
    assert (np.abs(run.residual_wh) <= 1e-9 * throughput).all()
    close(run.served_wh + run.unserved_wh, world.asked_wh)
    for part in (run.served_wh, run.unserved_wh, run.stored_wh, run.wasted_wh):
        assert (part >= -1e-9 * throughput).all()
    assert (run.stored_wh + run.wasted_wh <= world.offered_wh + 1e-9 * throughput).all()
    assert ((run.end_wh >= 0) & (run.end_wh <= world.unit["capacity_wh"])).all()
    if not np.any(world.unit["restart_wh"]):
        empty = np.isfinite(run.first_empty_h)
        assert (run.unserved_wh[empty] > 0).all()
        assert (run.unserved_wh[~empty] <= 1e-11 * scale_of(world)).all()


@given(worlds(), st.floats(1.01, 3))
@settings(deadline=None)
def test_more_asked_never_lasts_longer(world: World, times: float) -> None:
    more = world._replace(load=Powers(world.load.profiles_w, world.load.factors * times))
    assert (more.run().first_empty_h <= world.run().first_empty_h + 1e-9).all()


@given(worlds(), share)
@settings(deadline=None)
def test_more_start_charge_never_empties_sooner(world: World, part: float) -> None:
    less = world.run(start_wh=world.unit["start_wh"] * part)
    assert (less.first_empty_h <= world.run().first_empty_h + 1e-9).all()


@given(worlds(), st.data())
@settings(deadline=None)
def test_splitting_a_step_changes_nothing(world: World, data: st.DataObject) -> None:
    step, part = data.draw(st.integers(0, world.hours.size - 1)), data.draw(st.floats(0.01, 0.99))
    index = np.insert(np.arange(world.hours.size), step, step)
    hours = world.hours[index]
    hours[step], hours[step + 1] = part * world.hours[step], (1 - part) * world.hours[step]
    halves = [Powers(power.profiles_w[:, index], power.factors) for power in (world.load, world.recharge)]
    same(world.run(), World(hours, *halves, world.unit, world.repeats).run(), scale_of(world))


@given(worlds(repeats=1), st.integers(2, 9))
@settings(deadline=None)
def test_a_repeated_day_is_the_day_tiled(world: World, times: int) -> None:
    at = np.linspace(0, times * world.hours.sum(), 17)
    tiled = [Powers(np.tile(power.profiles_w, times), power.factors) for power in (world.load, world.recharge)]
    long = World(np.tile(world.hours, times), *tiled, world.unit, 1).run(at_h=at)
    short = world.run(repeats=times, at_h=at)
    same(short, long, times * scale_of(world))
    np.testing.assert_allclose(short.soc_wh, long.soc_wh, atol=1e-9 * times * scale_of(world))


@pytest.mark.parametrize("restart", [0.0, 40.0])
def test_a_year_that_slowly_drains_or_fills_is_its_days(restart: float) -> None:
    """60 W of sun for 8 h balance 20 W all day; with a little less a draw sinks for months, with more it climbs."""
    sun = Powers([[0.0, 1.0, 0.0]], [[9.7], [9.99], [10.0], [10.01], [10.3]])
    world = World(np.array([8.0, 8.0, 8.0]), Powers.of([20.0, 20.0, 20.0]), Powers(6 * sun.profiles_w, sun.factors),
                  {"capacity_wh": 900.0, "start_wh": 500.0, "charge_efficiency": 1.0, "restart_wh": restart,
                   "off_w": 0.0}, 365)  # fmt: skip
    run = world.run(at_h=[100 * 24, 200 * 24 + 8, 365 * 24])
    plain = [world.plain(draw) for draw in range(5)]
    for name in Plain._fields[:6]:
        np.testing.assert_allclose(getattr(run, name), [getattr(p, name) for p in plain], rtol=1e-9, atol=1e-6)
    assert run.soc_wh is not None
    steps = [100 * 3 - 1, 200 * 3, 365 * 3 - 1]
    np.testing.assert_allclose(run.soc_wh, [[p.soc_wh[step] for step in steps] for p in plain], atol=1e-6)
    assert np.ptp(run.first_empty_h[:2]) > 100 * 24
    assert np.isinf(run.first_empty_h[2:]).all()


def test_draws_do_not_depend_on_their_neighbours(monkeypatch: pytest.MonkeyPatch) -> None:
    """Taken in many parts, or each alone, or all at once: the same."""
    rng = np.random.default_rng(8)
    hours = np.full(200, 0.25)
    load = Powers(np.stack([rng.uniform(0, 90, 200), np.ones(200)]), rng.uniform(0.5, 12, (50, 2)))
    recharge = Powers(rng.uniform(0, 400, (1, 200)), rng.uniform(0.5, 2, (50, 1)))
    for restart in (0.0, 80.0):
        world = World(hours, load, recharge, {"capacity_wh": np.linspace(200, 900, 50), "start_wh": 150,
                      "charge_efficiency": 0.9, "restart_wh": restart, "off_w": 0.0}, 3)  # fmt: skip
        whole = world.run()
        assert 5 < np.isinf(whole.first_empty_h).sum() < 45
        with monkeypatch.context() as patch:
            patch.setattr(kernel, "AT_ONCE", 40)
            same(whole, world.run(), 1e4)
        for draw in (0, 17, 49):
            alone = World(hours, Powers(load.profiles_w, load.factors[[draw]]),
                          Powers(recharge.profiles_w, recharge.factors[[draw]]),
                          {**world.unit, "capacity_wh": world.unit["capacity_wh"][draw]}, 3).run()  # fmt: skip
            close(alone.first_empty_h[0], whole.first_empty_h[draw])
            close(alone.unserved_wh[0], whole.unserved_wh[draw])


@pytest.mark.parametrize("restart", [0.0, 100.0])
def test_the_table_of_draws_and_steps_is_never_built(restart: float) -> None:
    steps, draws = 2_000, 4_000
    rng = np.random.default_rng(3)
    load = Powers(np.stack([rng.uniform(20, 90, steps), np.ones(steps)]), rng.uniform(0.9, 1.1, (draws, 2)))
    recharge = Powers(rng.uniform(0, 120, (1, steps)), rng.uniform(0.9, 1.1, (draws, 1)))
    tracemalloc.start()
    try:
        charge_through(np.full(steps, 0.1), load, recharge, capacity_wh=900, start_wh=500, restart_wh=restart)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < draws * steps * 8 / 6


# --- Refusals ---------------------------------------------------------------------------------------

GOOD: dict[str, Any] = {"duration_h": [1.0, 2.0], "battery_w": [30.0, 40.0], "recharge_w": [0.0, 50.0],
                        "capacity_wh": 100.0, "start_wh": 90.0, "charge_efficiency": 0.9}  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"duration_h": [1.0]}, "duration_h: shape"),
        ({"duration_h": [[1.0, 2.0]]}, "duration_h: shape"),
        ({"duration_h": [1.0, 0.0]}, "duration_h: 0 to 1"),
        ({"duration_h": [1.0, np.inf]}, "duration_h"),
        ({"recharge_w": [0.0, 1.0, 2.0]}, "duration_h: shape"),
        ({"battery_w": [30.0, -1.0]}, "below zero"),
        ({"recharge_w": [0.0, -1.0]}, "below zero"),
        ({"battery_w": [30.0, np.nan]}, "not finite"),
        ({"battery_w": 30.0}, "profiles of shape"),
        ({"battery_w": []}, "profiles of shape"),
        ({"battery_w": [[30.0, 40.0]]}, "profiles of shape"),
        ({"start_wh": 100.1}, "start_wh: 100.1"),
        ({"start_wh": -0.1}, "start_wh"),
        ({"start_wh": np.nan}, "start_wh: nan"),
        ({"start_wh": [90.0, 101.0]}, "start_wh: 90 to 101"),
        ({"start_wh": [90.0, 91.0], "capacity_wh": [100.0] * 3}, "start_wh: shape"),
        ({"start_wh": [[90.0]]}, "start_wh: shape"),
        ({"capacity_wh": np.inf}, "capacity_wh"),
        ({"capacity_wh": -1.0, "start_wh": -1.0}, "capacity_wh"),
        ({"charge_efficiency": 0.0}, "charge_efficiency"),
        ({"charge_efficiency": 1.01}, "charge_efficiency"),
        ({"restart_wh": 101.0}, "restart_wh"),
        ({"restart_wh": -1.0}, "restart_wh"),
        ({"restart_wh": [0.0, 50.0]}, "restart_wh"),
        ({"restart_wh": 0.09}, "restart_wh"),
        ({"off_w": -1.0}, "off_w"),
        ({"off_w": np.inf}, "off_w"),
        ({"repeats": 0}, "repeats"),
        ({"repeats": 1.5}, "repeats"),
        ({"at_h": [3.1]}, "at_h: 3.1"),
        ({"at_h": [-0.1]}, "at_h"),
        ({"at_h": [np.nan]}, "at_h"),
        ({"at_h": 1.0}, "at_h"),
    ],
)
def test_what_cannot_be_is_refused(changed: dict[str, Any], says: str) -> None:
    charge_through(**GOOD)
    with pytest.raises(Refusal, match=says):
        charge_through(**{**GOOD, **changed})


@pytest.mark.parametrize(
    ("profiles", "factors", "says"),
    [
        ([[1.0, 2.0]], [[1.0, 1.0]], "shape"),
        ([1.0, 2.0], [[1.0]], "shape"),
        ([[1.0, 2.0]], [1.0], "shape"),
        ([[1.0, 2.0]], np.ones((0, 1)), "shape"),
        ([[1.0, np.inf]], [[1.0]], "finite"),
        ([[1.0, 2.0]], [[np.nan]], "finite"),
        ([[1.0, 2.0]], [[1.0], [-0.1]], "below zero"),
        ([[3.0, 2.0], [-1.0, -1.0]], [[1.0, 2.5]], "below zero"),
    ],
)
def test_powers_that_cannot_be_are_refused(profiles: Any, factors: Any, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        Powers(profiles, factors)


def test_a_negative_part_of_a_power_is_no_negative_power() -> None:
    """A loss that bends downwards has a negative square: what counts is the whole."""
    bent = Powers([[100.0, 300.0], [-10.0, -90.0]], [[1.0, 1.0]])
    run = charge_through([1.0, 1.0], bent, [0.0, 250.0], capacity_wh=500, start_wh=400)
    close(run.end_wh, 400 - 90 + 40)


def test_an_answer_names_its_draws() -> None:
    assert repr(charge_through(**GOOD)) == "<Charge: 1 draw, 1 never empty>"
    assert repr(charge_through(**{**GOOD, "start_wh": [90.0, 1.0]})) == "<Charge: 2 draws, 1 never empty>"
