"""Batteries against physics that is not the kit's: porous-electrode models, solved by PyPI pybamm 26.10.

pybamm solves the equations of diffusion, migration and reaction in a cell. Its parameter sets were measured on, or
fitted to, cells, and published: Sulzer2019 (lead-acid; Sulzer et al., J. Electrochem. Soc. 166, 2019), OKane2022
(nickel-manganese-cobalt; O'Kane et al., Phys. Chem. Chem. Phys. 24, 2022) and Prada2013 (iron phosphate; Prada et
al., J. Electrochem. Soc. 160, 2013). The titles are from memory, the sets are those in the package. Every run here
is isothermal: a real pack warms while it works, and so loses less to the cold at a high rate.

Most checks here show consistency, not evidence: the table's bands above the rating, for lead-acid at every rate and
the upper ends for lithium in the cold were read from this same library. A test shows that they were read right.
Lithium's exponents for long discharges are the benches' and share nothing with these cells.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from ridethrough.estimate import Estimate, through
from ridethrough.model.battery import drained_w, peukert_hours
from ridethrough.model.routes import Route
from ridethrough.model.temperature import TemperatureCurve
from ridethrough.model.unit import BackupUnit
from ridethrough.sources import lookup
from ridethrough.units import Q_

RATES = (1 / 20, 1 / 10, 1 / 5, 1 / 2, 1)  # per hour, of the nominal capacity
COLD_C = (0, -10, -20)


@dataclass(frozen=True)
class Cell:
    """A published cell: its parameter set in pybamm, the model that it is for, and what a rate of 1 per hour means."""

    parameters: str
    model: str
    nominal_ah: float
    nominal_v: float
    cutoff_v: float


LEAD = Cell("Sulzer2019", "lead_acid.Full", 17.0, 2.0, 1.75)
NMC = Cell("OKane2022", "lithium_ion.DFN", 5.0, 3.6, 2.5)
LFP = Cell("Prada2013", "lithium_ion.DFN", 2.3, 3.2, 2.0)
CELLS = {"sealed lead-acid": LEAD, "flooded lead-acid": LEAD, "nickel-manganese-cobalt": NMC, "iron phosphate": LFP}


@cache
def discharge(cell: Cell, rate: float, celsius: float, held: str) -> float:
    """Return what a full cell gives from full to its cut-off, its current or its power held steady.

    Parameters
    ----------
    cell : Cell
        What is emptied.
    rate : float
        Current over nominal charge, or power over nominal energy [1/h].
    celsius : float
        Of the cell, throughout [degC].
    held : {"current", "power"}
        What is held: the first returns a charge [Ah], the second an energy [Wh].
    """
    os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"  # it sends nothing under pytest; nor does it then make a client
    import pybamm

    family, name = cell.model.split(".")
    steady = rate * cell.nominal_ah * (cell.nominal_v if held == "power" else 1)
    values = pybamm.ParameterValues(cell.parameters)
    values.update({f"{where} temperature [K]": celsius + 273.15 for where in ("Ambient", "Initial")})
    values["Lower voltage cut-off [V]"] = cell.cutoff_v
    values.update({f"{held.capitalize()} function [{'W' if held == 'power' else 'A'}]": steady},
                  check_already_exists=False)  # fmt: skip
    model = getattr(getattr(pybamm, family), name)({"operating mode": held})
    solution = pybamm.Simulation(model, parameter_values=values).solve([0, 2 * 3600 / rate])
    assert solution.termination == "event: Minimum voltage [V]"
    return float(steady * solution.t[-1] / 3600)


def charges_ah(cell: Cell, rates: tuple[float, ...] = RATES, celsius: float = 25.0) -> np.ndarray:
    return np.array([discharge(cell, rate, celsius, "current") for rate in rates])


def energies_wh(cell: Cell, rates: tuple[float, ...] = RATES, celsius: float = 25.0) -> np.ndarray:
    return np.array([discharge(cell, rate, celsius, "power") for rate in rates])


def at_hours(hours: float, steady: np.ndarray, given: np.ndarray) -> float:
    """Return what is given in ``hours``, between the discharges simulated: logarithms, straight between them."""
    took = given / steady
    assert took.min() < hours < took.max()
    return float(np.exp(np.interp(np.log(hours), np.log(took[::-1]), np.log(given[::-1]))))


def exponents(rates: tuple[float, ...], given: np.ndarray) -> tuple[float, np.ndarray]:
    """Return k of time ~ rate^-k: by regression over all rates, and between neighbours."""
    log_rate, log_hours = np.log(rates), np.log(given / np.array(rates))
    return -float(np.polyfit(log_rate, log_hours, 1)[0]), -np.diff(log_hours) / np.diff(log_rate)


def rated(chemistry: str) -> tuple[Route, np.ndarray, np.ndarray]:
    """Return the kit's battery of the energy that the cell gives at its rating, and powers and shares simulated."""
    cell = CELLS[chemistry]
    power_w, energy_wh = np.array(RATES) * cell.nominal_ah * cell.nominal_v, energies_wh(cell)
    printed_wh = at_hours(lookup(f"rating hours, {chemistry}").value, power_w, energy_wh)
    capacity = Estimate.exact(Q_(printed_wh, "Wh"))  # of a cell: less than a unit would have
    unit = BackupUnit.from_print("box", capacity=capacity, chemistry=chemistry, standby="9 W",
                                 efficiency="88 %", at="300 W", rated="800 W")  # fmt: skip
    return unit.route, power_w, energy_wh / printed_wh


def holds(found: Estimate, value: float) -> bool:
    low, high = found.interval()
    return bool(low.magnitude <= value <= high.magnitude)


def rate_factor(battery: Route, drain_w: float) -> Estimate:
    """Return what the kit has a steady power give over what leaves the battery, with the band of its exponent [-]."""
    rated_w = battery.printed.m_as("Wh") / battery.rating_hours.m_as("h")

    def factor(k: np.ndarray) -> np.ndarray:
        return np.atleast_1d(drain_w / drained_w(drain_w, drain_w, rated_w, k, 1))

    return through(factor, [battery.rate_exponent], ["1"])[0]


def share(found: Estimate) -> float:
    return float(found.value.to("1").magnitude)


def test_the_reference_is_what_was_read() -> None:
    """Says nothing about the kit: pybamm still gives the charges that the table's sources and these tests rest on.

    Read with pybamm 26.10. Lead-acid in Ah at 294.85 K; the lithium cell over its nominal 5 Ah, at C/5 and 1C.
    """
    lead = charges_ah(LEAD, (*RATES, 2), 294.85 - 273.15)
    assert lead == pytest.approx([21.76, 21.30, 20.62, 19.22, 17.53, 15.03], abs=0.006)
    lithium = [charges_ah(NMC, (1 / 5, 1), celsius) / NMC.nominal_ah for celsius in (25, *COLD_C)]
    expected = [(1.008, 0.984), (0.996, 0.925), (0.987, 0.633), (0.970, 0.215)]
    assert np.array(lithium) == pytest.approx(np.array(expected), abs=6e-4)


@pytest.mark.parametrize("chemistry", ["sealed lead-acid", "flooded lead-acid"])
def test_lead_acid_band_was_read_right(chemistry: str) -> None:
    """Consistency, not evidence: the table's rate exponent for lead-acid comes from these very six discharges.

    As charge at a steady current: 1.095 on average, between neighbours 1.03 at C/20 to 1.22 at 2C. The table
    rounds to 0.01, so its ends may lie half of that inside.
    """
    rates = (*RATES, 2)
    average, local = exponents(rates, charges_ah(LEAD, rates, 294.85 - 273.15))
    entry = lookup(f"rate exponent, {chemistry}")
    assert entry.value == pytest.approx(average, abs=0.01)
    assert (local > entry.low - 0.005).all()
    assert (local < entry.high + 0.005).all()
    assert (np.diff(local) > 0).all()  # no single k: the faster, the steeper


@pytest.mark.parametrize("chemistry", CELLS)
def test_band_of_the_rate_exponent_holds_long_discharges(chemistry: str) -> None:
    """C/20 to C/5 at steady power and 25 degC, for the kit's k is one of power: the sagging voltage counts as well.

    Lead-acid: the band was read from the same cell, as charge. Lithium: nothing was read from these cells.
    """
    _, local = exponents(RATES[:3], energies_wh(CELLS[chemistry], RATES[:3]))
    entry = lookup(f"rate exponent, {chemistry}")
    assert (local >= entry.low).all()
    assert (local <= entry.high).all()


@pytest.mark.parametrize("chemistry", CELLS)
def test_band_above_the_rating_was_read_right(chemistry: str) -> None:
    """Consistency: C/20 to 1C (lead-acid: 2C), the average and all but the steepest step lie inside the band.

    Iron phosphate's last step, C/2 to 1C, is 1.17 in this small cell and lies outside: nothing here is that fast.
    """
    rates = (*RATES, 2) if CELLS[chemistry] is LEAD else RATES
    average, local = exponents(rates, energies_wh(CELLS[chemistry], rates))
    entry = lookup(f"rate exponent above the rating, {chemistry}")
    assert entry.low <= average <= entry.high
    assert (local >= entry.low).all()
    assert (local[:-1] <= entry.high).all()


@pytest.mark.parametrize("chemistry", CELLS)
def test_rate_factor_holds_what_the_cell_gives(chemistry: str) -> None:
    """Energy at each rate up to 1C over that at the rating, at steady power and 25 degC.

    Slower than its rating the cell gives a little more; the kit leaves that aside, and promises no more than printed.
    """
    battery, power_w, shares = rated(chemistry)
    for watts, given in zip(power_w, shares, strict=True):
        factor = rate_factor(battery, watts)
        slower = watts < battery.printed.magnitude / battery.rating_hours.magnitude
        assert share(factor) == 1 <= given if slower else holds(factor, given), f"{watts:.2f} W gives {given:.3f}"


def test_peukert_s_hours_enclose_the_simulated_ones() -> None:
    """Lead-acid at steady currents, C/10 to 1C, its charge rated at 20 hours: between the two ends of the band."""
    current_a, charge_ah = np.array(RATES) * LEAD.nominal_ah, charges_ah(LEAD)
    rating = Q_(at_hours(20, current_a, charge_ah), "Ah")
    entry = lookup("rate exponent, sealed lead-acid")
    for amperes, given in zip(current_a[1:], charge_ah[1:], strict=True):
        short, long = (peukert_hours(rating, Q_(amperes, "A"), k, rating_hours="20 h").to("h").magnitude
                       for k in (entry.high, entry.low))  # fmt: skip
        assert short < given / amperes < long


def test_peukert_is_not_carried_beyond_the_rating() -> None:
    """At C/100 Peukert's formula promises a sixth more charge than the cell has; the kit stays below the cell."""
    current_a = np.array(RATES) * LEAD.nominal_ah
    rating_ah = at_hours(20, current_a, charges_ah(LEAD))
    slow_a = LEAD.nominal_ah / 100
    k = lookup("rate exponent, sealed lead-acid").value
    simulated_h = charges_ah(LEAD, (1 / 100,))[0] / slow_a
    hours = peukert_hours(Q_(rating_ah, "Ah"), Q_(slow_a, "A"), k, rating_hours="20 h").to("h").magnitude
    assert hours <= simulated_h < 20 * (rating_ah / (slow_a * 20)) ** k


@pytest.mark.parametrize("rate", [1 / 10, 1 / 5, 1 / 2])
def test_cold_band_holds_the_lithium_cell(rate: float) -> None:
    """Energy at steady power over that at 25 degC, for a rate "that empties it in some hours": ten, five and two.

    The band's upper ends were read from this cell, as charge at C/5; energy, and the other two rates, were not.
    Outside that range it is not held: at C/20 and -20 degC the cell gives a little more than the band, at 1C far less.
    """
    warm = energies_wh(NMC, (rate,))[0]
    for celsius in COLD_C:
        entry = lookup(f"capacity at {celsius} degC, nickel-manganese-cobalt")
        assert entry.low <= energies_wh(NMC, (rate,), celsius)[0] / warm <= entry.high


@pytest.mark.parametrize("celsius", COLD_C)
@pytest.mark.parametrize("rate", [1 / 5, 1 / 2])
def test_cold_times_rate_holds_the_lithium_cell(rate: float, celsius: float) -> None:
    """The kit multiplies a factor of cold and one of rate: up to C/2 their product holds what the cell gives.

    Not at 1C: there cold and rate do more together than each by itself, see the next test.
    """
    battery, _, _ = rated("nickel-manganese-cobalt")
    drain_w = rate * NMC.nominal_ah * NMC.nominal_v
    product = battery.curve.at(Q_(celsius, "degC")) * rate_factor(battery, drain_w)
    assert holds(product, energies_wh(NMC, (rate,), celsius)[0] / battery.printed.magnitude)


def test_colder_is_less_and_faster_is_less_and_both_are_worse_than_each() -> None:
    """Direction, OKane2022, C/5 and 1C at 25, 0, -10, -20 degC; the kit's factors go the same way."""
    charge = np.array([charges_ah(NMC, (1 / 5, 1), celsius) for celsius in (25, *COLD_C)])
    slow, fast = (charge / charge[0]).T
    assert (np.diff(charge, axis=0) < 0).all()
    assert (np.diff(charge, axis=1) < 0).all()
    assert (fast[1:] < slow[1:]).all()
    curve = TemperatureCurve("nickel-manganese-cobalt")
    assert all(share(curve.at(Q_(b, "degC"))) < share(curve.at(Q_(a, "degC"))) for a, b in pairwise((25, *COLD_C)))
    battery, power_w, _ = rated("nickel-manganese-cobalt")
    ends = [rate_factor(battery, watts).interval()[0].magnitude for watts in power_w]
    assert ends == sorted(ends, reverse=True)
    assert ends[-1] < ends[0]


@pytest.mark.parametrize("rate", [1 / 5, 1])
def test_the_iron_phosphate_cell_can_not_serve_in_the_cold(rate: float) -> None:
    """Prada2013 loses less than 1 % of its charge from 25 to -10 degC: of its parameters, only the exchange currents
    feel the temperature. It says nothing about the cold, so nothing here leans on it there."""
    warm, cold = (charges_ah(LFP, (rate,), celsius)[0] for celsius in (25, -10))
    assert 0.99 * warm < cold < warm


@pytest.mark.parametrize("rate", [1 / 20, 1])
def test_the_lead_acid_cell_can_not_serve_in_the_cold(rate: float) -> None:
    """Sulzer2019 gains charge from 25 to -10 degC, where the US Army's manual (TM 10-6140-200-14, 1-9) has it lose a
    quarter by 0 degC: its parameters feel no temperature. It says nothing about the cold."""
    warm, cold = (charges_ah(LEAD, (rate,), celsius)[0] for celsius in (25, -10))
    assert cold > warm
