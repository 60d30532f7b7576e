"""A refrigerator or freezer with what is in it: how its food keeps without power."""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass, field, replace
from typing import Any, cast

import numpy as np
import pandas as pd

from ..estimate import Estimate, estimate
from ..sampling import DRAWS, Drawn, Sampler, enough
from ..sources import Coefficient, coefficient, lookup, temperature
from ..units import Q_, Refusal, number, of_kind, positive, show, truth
from .inside import Inside, Moments, steps_h
from .load import CABINETS, Load
from .pattern import DAY_H

FREEZER = CABINETS[1]
MAKE = 'Write Cabinet(load.in_a_room_of("20 degC", "freezer")).'


@dataclass(frozen=True, repr=False)
class Cabinet:
    """A refrigerator or freezer with what is in it.

    Parameters
    ----------
    load : Load
        It alone, with the room its draw was measured in, see `Load.in_a_room_of` [W].
    food : Estimate, str or pint.Quantity, optional
        What is in it; the table's band where left out [kg].
    full : bool
        Whether it is full or about half full: decides the agencies' hours, and the food where that is left out.
    inside : Estimate, str or pint.Quantity, optional
        Mean temperature that its thermostat keeps; the table's band where left out [degC].
    cop : Estimate, optional
        Heat moved for each energy taken; the table's band where left out [-].
    air : Estimate, str or pint.Quantity, optional
        Heat capacity of its air and lining; the table's band where left out [Wh/K].

    Notes
    -----
    Its walls follow from what it draws: U = COP P / (room - inside). Door openings are not counted, nor that its COP
    falls in a warm room. A refrigerator with a freezer compartment is taken as a refrigerator. Lesson 09.

    Example
    -------
    >>> load = Load.cycling("90 W", "30 %", "freezer").in_a_room_of("20 degC", "freezer")
    >>> Cabinet(load, food="40 kg", full=False)
    <Cabinet: freezer, half full, 40 kg, in a room of 20 °C>
    """

    load: Load
    _: KW_ONLY
    food: Any = None
    full: bool = True
    inside: Any = None
    cop: Any = None
    air: Any = None
    nature: tuple[Estimate, ...] = field(init=False)
    duty: Estimate = field(init=False)

    def __post_init__(self) -> None:
        (appliance, *others), kind = Load.of(self.load).appliances, self.load.appliances[0].cabinet
        if others or appliance.room is None:
            needed = "one cold appliance, and the room its draw was measured in"
            raise Refusal(f"a cabinet of {self.load.name}", needed, MAKE)
        truth(self.full, "full")
        of_kind(self.cop, Estimate | None, "cop", "an Estimate",
                'Write cop=Estimate.within("150 %", "30 %", "COP").')  # fmt: skip
        vars(self).update(
            food=estimate(self.food, "kg", "food", coefficient(f"food when full, {kind}") / (1 if self.full else 2)),
            inside=estimate(self.inside, "degC", "inside", coefficient(f"inside temperature, {kind}")),
            cop=(self.cop or coefficient(f"heat moved per electric energy, {kind}")).to("1"),
            air=estimate(self.air, "Wh/kelvin", "air", coefficient(f"heat capacity of air and lining, {kind}")),
            nature=(coefficient(f"heat capacity of food, {kind}").to("Wh/kg/kelvin"),
                    coefficient(f"heat of thawing, {kind}").to("Wh/kg"),
                    coefficient(f"food begins to thaw, {kind}"), coefficient(f"heat from air to food, {kind}")),
            duty=coefficient("duty cycle of a cold appliance"),
        )  # fmt: skip
        for name, value in (("food", self.food), ("air", self.air), ("cop", self.cop)):
            if not value.magnitude > 0:
                raise Refusal(f"{name}={show(value.value)}", "more than nothing", f"Leave {name} out for a usual one.")
        if self.room_c - self.inside.magnitude < lookup("least step between rooms").value:
            raise Refusal(f"a draw measured in a room of {show(appliance.room)}, {show(self.inside.value)} inside",
                          "a room that is warmer than the inside", "Measure its draw in a warmer room.")  # fmt: skip

    @classmethod
    def from_draw(cls, draw: Any, **told: Any) -> Cabinet:
        """Return the cabinet behind a measured draw.

        C_a = COP P t_off / swing                                                             (1)

        The heat that comes in while its compressor rests, over the swing of the air that it makes; what the food takes
        of it is part of the swing's band. Without cycles in the log the table's band stays.

        Parameters
        ----------
        draw : Draw
            From `measure_draw`, with its room; running power, mean power and cycles are taken [W].
        told
            As in `Cabinet` itself.
        """
        remedy = 'Write draw=measure_draw(log, room="20 degC", cabinet="freezer").'
        cycles = of_kind(getattr(draw, "cycles", None), pd.DataFrame, "draw.cycles", "a draw from a log", remedy)
        cabinet = cls(draw.as_load(), **told)
        if "air" in told or cycles.empty:
            return cabinet
        rest = Q_(float(cycles["off_min"].median()) / 60, "h")
        air = (cabinet.cop * draw.mean_power * rest / coefficient("swing of the air in a cycle")).to("Wh/kelvin")  # (1)
        return replace(cabinet, air=air)

    @property
    def kind(self) -> str:
        """A refrigerator or a freezer."""
        return self.load.appliances[0].cabinet

    @property
    def room_c(self) -> float:
        """Temperature of the room that its draw was measured in [degC]."""
        return number(self.load.appliances[0].room, "degC", "room")

    @property
    def fill(self) -> str:
        """How full it is, in words."""
        return "full" if self.full else "half full"

    @property
    def rule(self) -> Coefficient:
        """The agencies' hours for a door that stays shut, and their words [h]."""
        filled = f"{self.fill} {FREEZER}" if self.kind == FREEZER else self.kind
        return lookup(f"hours unopened, {filled}")

    def as_load(self) -> Load:
        """Return the load, which draws more after hours without power: `Outage` tells when it has none."""
        return Load((replace(self.load.appliances[0], thermal=self),))

    def at(self, sampler: Sampler, *, limit: Any = None, ice: Any = "0 kg") -> Inside:
        """Return its inside as it is while nothing changes, drawn.

        Parameters
        ----------
        sampler : Sampler
            Its draws.
        limit : str or pint.Quantity, optional
            Temperature of the food to be watched [degC]; where left out that from which food is not kept, for as long
            as it may be above it.
        ice : str or pint.Quantity
            Mass of ice put in: in a freezer as much more to warm, in a refrigerator it melts [kg].
        """
        (appliance,), of, freezer = self.load.appliances, sampler.of, self.kind == FREEZER
        capacity, thawing, thaw_c, exchange = (of(each) for each in self.nature)
        mean_w, cop, keeps_c = of(appliance.mean_power, 0), of(self.cop, 0), of(self.inside)
        most_w = mean_w / of(self.duty) if appliance.motor is None else appliance.motor.m_as("W")
        warmer = np.maximum(self.room_c - keeps_c, lookup("least step between rooms").value)
        ice_kg = number(positive(ice, "kg", "ice", zero=True), "kg", "ice")
        kg = of(self.food, 0) + ice_kg * freezer
        limit_c = thaw_c if freezer else lookup("food limit, refrigerator").value
        return Inside(
            keeps_c=keeps_c, most_w=np.maximum(most_w, mean_w), cop=cop, walls=cop * mean_w / warmer,
            between=exchange * kg, air_cap=of(self.air, 0), food_cap=capacity * kg, thawing_wh=thawing * kg,
            thaw_c=thaw_c, limit_c=limit_c if limit is None else temperature(limit, "limit").m_as("degC"),
            allowed_h=lookup(f"hours above the food limit, {self.kind}").value if limit is None else 0.0,
            ice_wh=0.0 if freezer else ice_kg * float(Q_(lookup("latent heat of ice").value, "kJ/kg").m_as("Wh/kg")),
            ice=ice_kg * coefficient(f"heat from air to food, {self.kind}").magnitude,
        )  # fmt: skip

    def room_of(self, place: Any) -> Moments:
        """Return what tells the temperature of a `Place` or one temperature, of None the room of its draw [degC]."""
        if hasattr(place, "at"):
            return cast(Moments, place.at)
        celsius = self.room_c if place is None else float(temperature(place, "room").magnitude)
        return lambda at: np.full(np.shape(at), celsius)

    def hours_until(self, limit: Any = None, *, room: Any = None, ice: Any = "0 kg", draws: int = DRAWS,
                    seed: int = 1) -> Drawn:  # fmt: skip
        """Return how long its food stays below a temperature, or is kept, with the door shut and no power [h].

        Parameters
        ----------
        limit, ice
            As in `at`.
        room : str, pint.Quantity or Place, optional
            Where it stands, by the hour where that is the `Outage.room` of one [degC]; the room of its draw where left
            out.
        draws, seed
            As in `ride` [-].

        Notes
        -----
        A prediction, no promise: the agencies' hours, `rule`, stand for any cabinet.
        """
        sampler, horizon = Sampler(enough(draws), seed), lookup("longest warm-up").value
        inside, there, now = self.at(sampler, limit=limit, ice=ice), self.room_of(room), 0.0
        ahead_c = there(np.arange(horizon))
        while now < horizon and np.any(np.isinf(inside.broken_h) & inside.may_pass(ahead_c[int(now) :].max())):
            inside.through(steps_h(now, now + DAY_H), there, lambda at: False)
            now = inside.time_h
        return sampler.result(inside.broken_h, "h", horizon)

    def __repr__(self) -> str:
        room = show(Q_(self.room_c, "degC"))
        return f"<Cabinet: {self.kind}, {self.fill}, {show(self.food.value)}, in a room of {room}>"
