"""The state of charge through time against a differential equation solver and a published formula."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from ridethrough.answer.charge import charge_through
from scipy.integrate import solve_ivp


def solved(
    hours: Any, load: Any, sun: Any, capacity: float, start: float, eta: float, restart: float
) -> dict[str, Any]:
    """Return what SciPy's `solve_ivp` finds (scipy.integrate, RK45, terminal events, dense output).

    The state is the charge, what stays unserved, what is wasted and what is stored. The battery is in one of four
    ways: free, full, empty or off; an event ends each stretch of a step where the charge meets a limit.
    """
    state, way, now = np.array([start, 0.0, 0.0, 0.0]), "free", 0.0
    found: dict[str, Any] = {"first": np.inf, "soc": [], "middle": []}
    for length, p, g in zip(hours, load, sun, strict=True):
        end, middle = now + length, now + length / 2
        way = "free" if way != "off" else way
        while now < end - 1e-12:
            if way == "free" and state[0] <= 1e-9 and g < p:
                found["first"] = min(found["first"], now)
                way = "off" if restart else "empty"
            if way == "free" and state[0] >= capacity - 1e-9 and g > p:
                way = "full"

            def rates(t: float, y: Any, way: str = way, p: float = p, g: float = g) -> list[float]:
                put = max(0.0, g - (0 if way == "off" else p))
                take = 0.0 if way == "off" else max(0.0, p - g)
                return {
                    "free": [eta * put - take, 0, 0, put],
                    "off": [eta * put, p, 0, put],
                    "full": [0, 0, put, 0],
                    "empty": [0, take, 0, 0],
                }[way]

            def empty(t: float, y: Any) -> float:
                return float(y[0])

            def top(t: float, y: Any, way: str = way) -> float:
                return float(y[0] - (restart if way == "off" else capacity))

            empty.terminal = top.terminal = True  # type: ignore[attr-defined]
            empty.direction, top.direction = -1, 1  # type: ignore[attr-defined]
            limits = {"free": (empty, top), "off": (top,)}.get(way)
            piece = solve_ivp(rates, (now, end), state, events=limits, dense_output=True, rtol=1e-10, atol=1e-10)
            if now <= middle <= piece.t[-1]:
                found["middle"].append(piece.sol(middle)[0])
            now, state = piece.t[-1], piece.y[:, -1]
            if piece.status == 1 and way == "off":
                way = "free"
        now = end
        found["soc"].append(state[0])
    return {**found, "unserved": state[1], "wasted": state[2], "stored": state[3]}


@pytest.mark.parametrize("restart", [0.0, 130.0])
def test_a_differential_equation_solver_agrees(restart: float) -> None:
    """Piecewise constant powers, a start below full, running after empty, a restart: ends and middles, sums."""
    rng = np.random.default_rng(21)
    emptied, full = 0, 0
    for _ in range(25):
        hours = rng.uniform(0.3, 3, 24)
        load, sun = rng.uniform(10, 120, 24), rng.choice([0.0, 1.0], 24) * rng.uniform(0, 300, 24)
        capacity, eta = rng.uniform(200, 500), rng.uniform(0.7, 1)
        start = capacity * rng.uniform(0.1, 1)
        other = solved(hours, load, sun, capacity, start, eta, restart)
        ends = np.cumsum(hours)
        run = charge_through(hours, load, sun, capacity_wh=capacity, start_wh=start, charge_efficiency=eta,
                             restart_wh=restart, at_h=[*ends, *(ends - hours / 2)])  # fmt: skip
        assert run.soc_wh is not None
        np.testing.assert_allclose(run.soc_wh[0], [*other["soc"], *other["middle"]], atol=1e-6)
        ours = run.first_empty_h, run.unserved_wh, run.wasted_wh, run.stored_wh
        theirs = other["first"], other["unserved"], other["wasted"], other["stored"]
        np.testing.assert_allclose(np.ravel(ours), theirs, atol=1e-6)
        emptied, full = emptied + np.isfinite(other["first"]), full + (other["wasted"] > 0)
    assert emptied > 12
    assert full > 8


def test_the_published_formula_of_a_two_sided_reflection_agrees() -> None:
    """The Skorokhod map on [0, a] in closed form: L. Kruk, J. Lehoczky, K. Ramanan, S. Shreve, "An explicit formula for
    the Skorokhod map on [0, a]", Annals of Probability 35 (2007), p. 1740-1768 (from memory).

    phi = psi - min(0, running min psi),
    charge(t) = phi(t) - max over s <= t of min(max(0, phi(s) - a), min of phi on [s, t]).
    """
    rng = np.random.default_rng(22)
    emptied = 0
    for _ in range(50):
        hours, load, sun = rng.uniform(0.3, 3, 60), rng.uniform(10, 120, 60), rng.uniform(0, 140, 60)
        a, eta = 250.0, 0.9
        psi = 160 + np.cumsum(np.where(sun > load, eta, 1) * (sun - load) * hours)
        phi = np.append(160, psi - np.minimum(0, np.minimum.accumulate(psi)))
        charge = [phi[t] - max(min(max(phi[s] - a, 0), phi[s : t + 1].min()) for s in range(t + 1)) for t in range(61)]
        run = charge_through(hours, load, sun, capacity_wh=a, start_wh=160, charge_efficiency=eta,
                             at_h=[0, *np.cumsum(hours)])  # fmt: skip
        assert run.soc_wh is not None
        np.testing.assert_allclose(run.soc_wh[0], charge, atol=1e-9)
        emptied += run.unserved_wh[0] > 0 and run.wasted_wh[0] > 0
    assert emptied > 25
