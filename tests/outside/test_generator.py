"""A generator's fuel against the energy that is in it, and what is common practice with small ones."""

from __future__ import annotations

import pytest

from ridethrough.model.recharge import Generator
from ridethrough.sources import lookup
from ridethrough.units import Q_

MOST = 0.4  # of the higher heating value: no small gasoline engine with an alternator gives more


@pytest.mark.parametrize("rated", ["900 W", "1800 W", "3.5 kW", "7 kW"])
@pytest.mark.parametrize("share", [0.1, 0.25, 0.5, 1])
def test_no_default_gives_more_energy_than_an_engine_can(rated: str, share: float) -> None:
    """Efficiency = energy out / (fuel x heating value): US EIA, 'Units and calculators', gasoline 120,238 Btu/gal."""
    generator = Generator(rated, hours="18:00-19:00")
    power = generator.ratings.rated * share
    found = generator.efficiency_at(power)
    by_hand = power.m_as("kW") / (generator.fuel(power).value.m_as("gal") * 120_238 / 3_412)
    assert found.value.magnitude == pytest.approx(by_hand, rel=1e-3)
    assert 0.02 < found.value.magnitude < MOST
    idle, burns = lookup("idle fuel of a generator over its rating"), lookup("fuel of a generator's energy")
    best = share / ((idle.low + burns.low * share) * lookup("heating value of gasoline").value)
    assert best < MOST


def test_even_what_only_the_energy_takes_stays_below() -> None:
    """The same identity for b alone, at the lowest end of its band."""
    assert 1 / (lookup("fuel of a generator's energy").low * lookup("heating value of gasoline").value) < MOST


def test_the_heating_value_is_the_eia_s() -> None:
    """US EIA: 120,238 Btu per gallon, 3,412 Btu per kWh: 35.24 kWh per gallon, 9.31 kWh per litre."""
    heat = lookup("heating value of gasoline")
    assert Q_(heat.value, heat.unit).m_as("kWh/gal") == pytest.approx(35.24, abs=0.02)
    assert Q_(120_238 / 3_412, "kWh/gal").m_as("kWh/L") == pytest.approx(heat.value, abs=0.005)
