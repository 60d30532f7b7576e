"""The worlds behind intervals.py are what they say: heat adds up, numbers repeat, meters and benches err as stated."""

from __future__ import annotations

import importlib
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest


@pytest.fixture
def worlds(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(Path(__file__).parent)
    return importlib.import_module("worlds")


@pytest.fixture
def intervals(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(Path(__file__).parent)
    return importlib.import_module("intervals")


def test_the_same_seed_gives_the_same_days_and_another_seed_others(worlds: ModuleType) -> None:
    def days(seed: int) -> np.ndarray:
        rng = np.random.default_rng(seed)
        return worlds.simulate(worlds.homes_of("fixed speed, defrost", 1, 2, rng), 1, rng)

    np.testing.assert_array_equal(days(1), days(1))
    assert not np.array_equal(days(1), days(2))


def test_a_calm_homes_mean_is_what_its_walls_let_in_over_what_the_compressor_moves(worlds: ModuleType) -> None:
    """Closed door, even room: P = P_electronics + UA (T_room - T_inside) / COP, give or take 4 % for the cycling."""
    rng = np.random.default_rng(3)
    home = worlds.homes_of("very calm", 6, 2, rng)
    for name in ("openings", "day_sd_k", "swing_k"):
        home[name] = np.zeros_like(home[name])
    mean = worlds.simulate(home, 4, rng)[1440:].mean(axis=0, dtype=float)
    leak_w = home["leak_w_k"] * (home["room_c"] - home["inside_c"])
    expected = home["electronics_w"] + leak_w / worlds.cop_of(home, home["inside_c"], home["room_c"])
    assert mean == pytest.approx(expected, rel=0.04)


def test_rooms_drift_by_the_stated_deviation_and_memory(worlds: ModuleType) -> None:
    home = {"day_sd_k": np.full(400, 1.8), "day_memory": np.full(400, 0.8)}
    level = worlds.room_days(home, 60, np.random.default_rng(4))
    assert level.std() == pytest.approx(1.8, rel=0.05)
    assert np.mean(level[1:] * level[:-1]) / np.mean(level**2) == pytest.approx(0.8, abs=0.03)
    np.testing.assert_array_equal(level[:, 0], -level[:, 1])


def test_doors_bring_the_stated_heat_and_more_of_it_on_weekends(worlds: ModuleType) -> None:
    lanes = np.ones(300)
    home = {"openings": 20 * lanes, "opening_kj": 10 * lanes, "weekend": 2 * lanes, "activity_sd": 0.001 * lanes}
    heat = worlds.doors(home, 7, np.random.default_rng(5)).reshape(7, 1440, 300).sum(axis=1).mean(axis=1)
    assert heat == pytest.approx([200] * 5 + [400] * 2, rel=0.03)


def test_a_log_shows_the_power_within_what_the_meters_sheet_allows(intervals: ModuleType, tmp_path: Path) -> None:
    rng = np.random.default_rng(6)
    power = np.where(np.arange(2 * 1440) % 60 < 20, 90.0, 2.0)
    for _ in range(20):
        plug = intervals.Plug.drawn(rng)
        log = intervals.logged(power, 600, plug, rng, tmp_path)
        low, high = log.mean_power_w() * (1 - plug.gain_limit), log.mean_power_w() * (1 + plug.gain_limit)
        assert low - plug.offset_limit_w - 0.5 < power.mean() < high + plug.offset_limit_w + 0.5


@pytest.mark.parametrize("of_the_mean", [False, True])
def test_a_unit_runs_a_steady_load_as_long_in_an_outage_as_at_the_bench(
    intervals: ModuleType, of_the_mean: bool
) -> None:
    unit = intervals.TrueUnit(1000, 12, 1.03, of_the_mean, 0.01, 0.01)
    power = np.full((3 * 1440, 2), 45.0)
    lasts = unit.lasts_h(power, np.array([0, 1]), np.array([0, 777]))
    assert lasts == pytest.approx(unit.bench_h([45, 45]), rel=1e-6)
    plain = intervals.TrueUnit(1000, 5, 1.0, of_the_mean, 0.01, 0.01)
    assert plain.bench_h([45.0]) == pytest.approx([20])


def test_a_bench_without_errors_predicts_the_run_time(intervals: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(intervals, "EXPONENT", (1.02, 1.02))
    unit = intervals.TrueUnit(1000, 12, 1.02, False, 0.0, 0.0)
    exact = intervals.Plug("1 %", 0.0, 0.0, 1.0, 0.0)
    errors = intervals.bench_errors(unit, np.array([0, 60, 250]), exact, 40.0, np.random.default_rng(7))
    assert errors == pytest.approx(np.ones(len(errors)), abs=1e-9)
