"""Air and food in a cold appliance, on their way through hours with and without power.

Two nodes, the door shut; the air warms through the walls and by the food, the food by the air alone:

    C_a da/dt = U (room - a) + G (f - a) - Q,    C_f df/dt = G (a - f)

Q is COP times the running power while the air is above where its thermostat keeps it, and there what keeps it so: of a
thermostat's cycles only the mean counts. What thaws stays at its thawing point until all of it has thawed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..sources import lookup
from .pattern import LEAST

Moments = Callable[[Any], Any]  # what there is at moments, counted from the beginning of the outage [h]
NEWTON = 4  # steps to the moment at which the air is cold again


@dataclass
class Inside:
    """Air and food on their way through time, arrays that go together; make it with `Cabinet.at`.

    Parameters
    ----------
    keeps_c, most_w, cop : array
        Where the thermostat keeps the air [degC]; running power [W]; heat moved for each energy taken [-].
    walls, between : array
        Heat through the walls and between air and food [W/K].
    air_cap, food_cap, thawing_wh : array
        Heat capacities [Wh/K], and heat to thaw the food [Wh].
    thaw_c, limit_c : array
        Where food begins to thaw, and the limit that is watched [degC].
    allowed_h : float
        For how long in all the food may be above the limit [h].
    ice_wh, ice : array or float
        Heat that ice at 0 degC still takes [Wh], and its exchange with the air [W/K].
    """

    keeps_c: Any
    most_w: Any
    cop: Any
    walls: Any
    between: Any
    air_cap: Any
    food_cap: Any
    thawing_wh: Any
    thaw_c: Any
    limit_c: Any
    allowed_h: float
    ice_wh: Any = 0.0
    ice: Any = 0.0
    air_c: Any = field(init=False)
    heat_wh: Any = field(init=False)  # in the food, from where it begins to thaw on
    time_h: float = field(init=False, default=0.0)
    above_h: Any = field(init=False, default=0.0)  # spent above the limit
    broken_h: Any = field(init=False)  # when the food was above it for longer than allowed; inf for never

    def __post_init__(self) -> None:
        self.air_c, self.heat_wh = self.keeps_c, self._heat_at(self.keeps_c)
        self.broken_h = np.full(np.shape(self.heat_wh), np.inf)

    @property
    def food_c(self) -> Any:
        """Temperature of the food [degC]."""
        beyond = np.minimum(self.heat_wh, 0) + np.maximum(self.heat_wh - self.thawing_wh, 0)
        return self.thaw_c + beyond / self.food_cap

    def steady_w(self, room_c: Any) -> Any:
        """Return what it takes on average where nothing changes [W]."""
        return np.clip(self.walls * (room_c - self.keeps_c) / self.cop, 0, self.most_w)

    @property
    def owed_wh(self) -> Any:
        """Energy that it would take to be as cold as it is kept [Wh]."""
        cold = self.air_cap * (self.air_c - self.keeps_c) + self.heat_wh - self._heat_at(self.keeps_c)
        return cold / self.cop

    def may_pass(self, warmest_c: float) -> Any:
        """Return whether the food may yet be above its limit in a room that is nowhere warmer than that [degC]."""
        return np.maximum(np.maximum(self.air_c, self.food_c), warmest_c) > self.limit_c

    def move(self, hours: float, room_c: float, powered: Any) -> Any:
        """Move on by some hours in a room; return the energy taken by the rows that have power [Wh]."""
        air, food = self.air_c, self.food_c
        needs_w = self.walls * (room_c - self.keeps_c) + self.between * (food - self.keeps_c)
        holds = powered & (air == self.keeps_c) & (needs_w >= 0) & (needs_w <= self.most_w * self.cop)
        runs = powered & ~holds & ((air > self.keeps_c) | (air == self.keeps_c) & (needs_w > 0))
        cools_w = np.where(runs, self.most_w * self.cop, 0) + self._melts_w(hours)
        moves_h, aim = np.where(holds, 0.0, hours), room_c - cools_w / self.walls
        new_air, begun = self._after(moves_h, air, food, aim)
        cold = runs & (new_air < self.keeps_c)
        if np.any(cold):
            moves_h = np.where(cold, self._cold_after(hours, new_air, room_c, cools_w), moves_h)
            new_air, begun = self._after(moves_h, air, food, aim)
        rest_h = hours - moves_h
        kept = begun + (begun - self.keeps_c) * np.expm1(-self.between / self.food_cap * rest_h)
        heat_wh = self.walls * (room_c - self.keeps_c) * rest_h + self.food_cap * (begun - kept)
        self.air_c = np.where(cold | holds, self.keeps_c, new_air)
        self._warm(hours, self.food_cap * (kept - food))
        return self.most_w * runs * moves_h + heat_wh / self.cop

    def through(self, edges_h: np.ndarray, room: Moments, on: Moments) -> np.ndarray:
        """Move on from edge to edge; return the power taken between them [W].

        Parameters
        ----------
        edges_h : array of shape (n + 1,)
            Moments from the beginning of the outage on, the first one now [h].
        room, on : callable
            Of a moment: the temperature of the room [degC], and which rows have power.
        """
        middles, lengths = (edges_h[:-1] + edges_h[1:]) / 2, np.diff(edges_h)
        steps = zip(lengths, middles, np.broadcast_to(room(middles), middles.shape), strict=True)
        return np.stack([self.move(hours, celsius, on(at)) / hours for hours, at, celsius in steps])

    def _after(self, hours: Any, air: Any, food: Any, aim: Any) -> tuple[Any, Any]:
        """Return both after some hours of constant cooling, with ``aim`` where they would end [degC].

        x(t) = x + (e^(m t) (cosh(d t) + sinh(d t) / d (M - m)) - 1) (x - aim),   d^2 = m^2 - det M   (1)

        M is the system's matrix and m half its trace.
        """
        p, r = (self.walls + self.between) / self.air_cap, self.between / self.air_cap
        q = self.between / self.food_cap
        m, root = -(p + q) / 2, np.sqrt(((p - q) / 2) ** 2 + r * q)
        slow, fast = np.exp((m + root) * hours), np.exp((m - root) * hours)
        even, odd, warmer, other = (slow + fast) / 2, (slow - fast) / (2 * root), air - aim, food - aim
        return (air + (even - 1 + odd * (-p - m)) * warmer + odd * r * other,
                food + odd * q * warmer + (even - 1 + odd * (-q - m)) * other)  # (1)  # fmt: skip

    def _cold_after(self, hours: float, new_air: Any, room_c: float, cools_w: Any) -> Any:
        """Return after how long the air is where the thermostat keeps it [h], by Newton's steps."""
        above = self.air_c - self.keeps_c
        found = hours * above / np.maximum(self.air_c - new_air, LEAST)
        for _ in range(NEWTON):
            air, food = self._after(found, self.air_c, self.food_c, room_c - cools_w / self.walls)
            slope = (self.walls * (room_c - air) + self.between * (food - air) - cools_w) / self.air_cap
            found = np.clip(found - (air - self.keeps_c) / np.minimum(slope, -LEAST), 0, hours)
        return found

    def _melts_w(self, hours: float) -> Any:
        """Return the heat that ice takes meanwhile [W], and take it."""
        melts_w = np.minimum(self.ice * np.maximum(self.air_c, 0), self.ice_wh / hours)
        self.ice_wh = self.ice_wh - melts_w * hours
        return melts_w

    def _warm(self, hours: float, gained_wh: Any) -> None:
        """Put heat into the food, and note how long it was above its limit."""
        before, limit_wh = self.heat_wh, self._heat_at(self.limit_c)
        self.heat_wh, self.time_h = before + gained_wh, self.time_h + hours
        over = np.maximum(np.maximum(before, self.heat_wh) - limit_wh, 0)
        above_h = hours * np.clip(over / np.maximum(np.abs(gained_wh), LEAST), 0, 1)
        self.above_h = self.above_h + above_h
        late = np.isinf(self.broken_h) & (self.above_h > self.allowed_h)
        self.broken_h = np.where(late, self.time_h - np.minimum(self.above_h - self.allowed_h, above_h), self.broken_h)

    def _heat_at(self, celsius: Any) -> Any:
        """Return the heat in the food at a temperature, from where it begins to thaw on [Wh]."""
        return self.food_cap * (celsius - self.thaw_c) + self.thawing_wh * (celsius > self.thaw_c)


def steps_h(begin_h: float, end_h: float, cuts_h: Any = ()) -> np.ndarray:
    """Return the moments between which a cabinet moves on, ``cuts_h`` among them [h]."""
    step = lookup("step of a ride").value / 60
    inner = np.append(step * np.arange(np.floor(begin_h / step) + 1, np.ceil(end_h / step)), cuts_h)
    edges_h = np.sort([begin_h, *inner, end_h])
    return edges_h[np.diff(edges_h, prepend=-1.0) > 1e-9]
