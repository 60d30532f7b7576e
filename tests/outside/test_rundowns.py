"""Run-downs and standby against the GUM's worked line, three reference libraries and facts of the trade."""

from __future__ import annotations

import math

import GTC
import numpy as np
import pytest

from ridethrough.answer.ledger import ledger
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import RundownLine, fit_rundowns
from ridethrough.measure.meter import Meter
from ridethrough.measure.standby import standby_from_empty
from ridethrough.model.load import Load
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_

# JCGM 100:2008 (GUM), H.3, table H.6, as it stands in PyPI GTC 1.5.1, GTC/type_a.py, docstring of `merge`:
# readings of a thermometer [degC] and its corrections [degC].
READ_C = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
CORRECTION_C = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)

# Four run-downs, invented.
LOAD_W, RUN_H, SPREAD = np.array([0, 45, 110, 240]), np.array([61.0, 14.6, 7.15, 3.62]), 0.02


def straight(loads_w: np.ndarray, run_h: np.ndarray, repeatability: Estimate) -> RundownLine:
    """Return the kit's line where every rate gives the same energy, no loss bends and the meter is exact."""
    runs = [(Q_(float(load_w), "W"), Q_(float(hours), "h")) for load_w, hours in zip(loads_w, run_h, strict=True)]
    return fit_rundowns(runs, repeatability=repeatability, rate_exponent="1", idling="1", rated="1e12 W",
                        room="20 degC")  # fmt: skip


def known(spread: float) -> Estimate:
    """Return a repeatability that is as good as exact, so that the runs do not change it."""
    return Estimate.standard(Q_(spread, "1"), Q_(spread / 1e4, "1"), "spread")


def test_gum_h3_through_a_run_down_line() -> None:
    """JCGM 100:2008, H.3: y1 = -0.1712, u 0.0029; y2 = 0.00218, u 0.00067; r = -0.930; s = 0.0035;
    b(30 C) = -0.1494, u 0.0041, 9 degrees of freedom.

    The thermometer goes in as a bench: t - 20 degC as the load, 1000 + correction as the share used up in an
    hour, which makes weights equal to 2e-4. Nothing is known of the spread beforehand.
    """
    load_w, share = np.array(READ_C) - 20, 1000 + np.array(CORRECTION_C)
    unknown = Estimate.standard(Q_(3e-6, "1"), Q_(1, "1"), "unknown spread")
    line = straight(load_w, 1 / share, unknown)
    alpha, beta = line.standby / line.energy, 1 / line.energy
    at_30 = (line.standby + "10 W") / line.energy
    assert alpha.value.m_as("1/h") - 1000 == pytest.approx(-0.1712, abs=5e-5)
    assert alpha.u.m_as("1/h") == pytest.approx(0.0029, abs=5e-5)
    assert beta.value.m_as("1/(W h)") == pytest.approx(0.00218, abs=5e-6)
    assert beta.u.m_as("1/(W h)") == pytest.approx(0.00067, abs=5e-6)
    assert alpha.correlation(beta) == pytest.approx(-0.930, abs=5e-4)
    assert line.next_run.u.magnitude * 1000 == pytest.approx(0.0035, abs=5e-5)
    assert at_30.value.m_as("1/h") - 1000 == pytest.approx(-0.1494, abs=5e-5)
    assert at_30.u.m_as("1/h") == pytest.approx(0.0041, abs=5e-5)
    assert at_30.dof == pytest.approx(9)


def energy_and_standby(start: float, slope: float, covariance: np.ndarray) -> tuple[float, float, float, float, float]:
    """Return E, S, their standard uncertainties and correlation from a line, by the law of propagation.

    JCGM 100:2008, 5.2.2: E = 1/beta, S = alpha/beta; ``covariance`` is that of alpha and beta.
    """
    rows = np.array([[0, -1 / slope**2], [1 / slope, -start / slope**2]])
    spread = rows @ covariance @ rows.T
    u = np.sqrt(np.diag(spread))
    return 1 / slope, start / slope, u[0], u[1], spread[0, 1] / u.prod()


def numpy_line() -> tuple[float, float, np.ndarray]:
    """Return intercept, slope and covariance by numpy.polyfit."""
    (slope, start), covariance = np.polyfit(LOAD_W, 1 / RUN_H, 1, w=RUN_H / SPREAD, cov="unscaled")
    return start, slope, covariance[::-1, ::-1]


def scipy_line() -> tuple[float, float, np.ndarray]:
    """Return intercept, slope and covariance by scipy.optimize.curve_fit."""
    from scipy.optimize import curve_fit

    found, covariance = curve_fit(lambda x, a, b: a + b * x, LOAD_W, 1 / RUN_H, p0=[0.01, 0.001],
                                  sigma=SPREAD / RUN_H, absolute_sigma=True)  # fmt: skip
    return found[0], found[1], covariance


def gtc_line() -> tuple[float, float, np.ndarray]:
    """Return intercept, slope and covariance by GTC.type_a.line_fit_wls."""
    start, slope = GTC.type_a.line_fit_wls(LOAD_W, 1 / RUN_H, SPREAD / RUN_H).a_b
    u, r = np.array([start.u, slope.u]), GTC.get_correlation(start, slope)
    return start.x, slope.x, np.outer(u, u) * np.array([[1, r], [r, 1]])


@pytest.mark.parametrize("reference", [numpy_line, scipy_line, gtc_line])
def test_weighted_line_and_its_covariance(reference) -> None:  # type: ignore[no-untyped-def]
    """PyPI numpy, scipy and GTC, general-purpose libraries."""
    energy_wh, standby_w, u_energy, u_standby, r = energy_and_standby(*reference())
    line = straight(LOAD_W, RUN_H, known(SPREAD))
    assert line.energy.value.m_as("Wh") == pytest.approx(energy_wh, rel=1e-6)
    assert line.standby.value.m_as("W") == pytest.approx(standby_w, rel=1e-6)
    assert line.energy.u.m_as("Wh") == pytest.approx(u_energy, rel=1e-4)
    assert line.standby.u.m_as("W") == pytest.approx(u_standby, rel=1e-4)
    assert line.energy.correlation(line.standby) == pytest.approx(r, abs=1e-4)


def test_a_meter_s_gain_in_every_load_as_gtc_carries_it() -> None:
    """PyPI GTC: the same line with loads that share one uncertain gain, and a load outside it that shares it too."""
    gain = GTC.ureal(1, 0.03 / math.sqrt(3))
    shares = [GTC.ureal(1 / hours, SPREAD / hours) for hours in RUN_H]
    loads = [gain * float(load_w) for load_w in LOAD_W]
    weight = [hours**2 for hours in RUN_H]
    total = sum(weight)
    x = sum(w * p for w, p in zip(weight, loads, strict=True)) / total
    y = sum(w * q for w, q in zip(weight, shares, strict=True)) / total
    beta = sum(w * (p - x) * (q - y) for w, p, q in zip(weight, loads, shares, strict=True)) / sum(
        w * (p - x) ** 2 for w, p in zip(weight, loads, strict=True)
    )
    theirs = 1 / (y - beta * x + beta * gain * 35)
    meter = Meter("3 %")
    runs = [(Q_(float(load_w), "W"), Q_(float(hours), "h")) for load_w, hours in zip(LOAD_W, RUN_H, strict=True)]
    line = fit_rundowns(
        runs,
        meter=meter,
        repeatability=known(SPREAD),
        rate_exponent="1",
        idling="1",
        rated="1e12 W",
        room="20 degC",
    )
    ours = line.energy / (line.standby + meter.gain * Q_(35, "W"))
    assert ours.value.m_as("h") == pytest.approx(theirs.x, rel=1e-6)
    assert ours.u.m_as("h") == pytest.approx(theirs.u, rel=1e-3)
    assert line.energy.u.m_as("Wh") == pytest.approx((1 / beta).u, rel=1e-3)


# Common practice, no source: standby and hours give watt-hours.
FACTS = [("14 W", "12 h", 168), ("13 W", "24 h", 312), ("27 W", "24 h", 648), ("20 W", "72 h", 1440),
         ("37 W", "72 h", 2664), ("47 W", "168 h", 7896)]  # fmt: skip


@pytest.mark.parametrize(("standby", "duration", "energy_wh"), FACTS)
def test_standby_line_of_the_ledger(standby: str, duration: str, energy_wh: float) -> None:
    """Common practice, no source: 14 W for 12 h are 168 Wh, and so on, on the battery's side."""
    unit = BackupUnit.from_print("any", capacity="20 kWh", chemistry="iron phosphate", standby=standby, rated="2 kW",
                                 efficiency="80 %", at="500 W")  # fmt: skip
    (line,) = [line for line in ledger(Load.steady("0 W"), unit, duration).lines if line.label.startswith("standby")]
    assert line.energy.value.m_as("Wh") == pytest.approx(-energy_wh)


@pytest.mark.parametrize(("standby", "duration", "energy_wh"), FACTS)
def test_standby_from_a_run_to_empty(standby: str, duration: str, energy_wh: float) -> None:
    """Common practice, no source: the same facts, read backward."""
    found = standby_from_empty(duration, Q_(energy_wh, "Wh"))
    assert f"{found.value.m_as('W'):.6g} W" == standby
