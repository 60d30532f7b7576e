"""Drawing together against JCGM 101:2008 and against SciPy's distributions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import spread
from ridethrough.estimate import Estimate
from ridethrough.model.inverter import Inverter
from ridethrough.model.load import Load
from ridethrough.model.unit import BackupUnit
from ridethrough.sampling import Sampler

DRAWS = 100_000
LEVELS = (0.025, 0.975)


def total(parts: list[Estimate]) -> Estimate:
    found = parts[0]
    for part in parts[1:]:
        found = found + part
    return found


def ends(estimate: Estimate, seed: int = 1) -> list[float]:
    return [float(end) for end in np.quantile(Sampler(DRAWS, seed).of(estimate)[1:], LEVELS)]


def normal(u: float, name: str) -> Estimate:
    return Estimate.standard("0 W", f"{u} W", name)


def even(half: float, name: str) -> Estimate:
    return Estimate.within("0 W", f"{half!r} W", name)


# --- JCGM 101:2008, 9.2: a sum of four (from memory; recomputed from the formulas beside them) ----------------------


def test_a_sum_of_four_normals() -> None:
    """9.2.2: four of standard uncertainty 1 give -3.92 to 3.92 by both ways."""
    found = total([normal(1, name) for name in "abcd"])
    assert ends(found) == pytest.approx([-3.92, 3.92], abs=0.03)
    assert float(found.expanded().magnitude) == pytest.approx(3.92, abs=0.005)


def test_a_sum_of_four_rectangles() -> None:
    """9.2.3: four of standard uncertainty 1 give -3.88 to 3.88; the GUM's normal interval says 3.92.

    Exact: the sum of four on [0, 1] has the chance s^4/24 below s < 1 (Irwin-Hall), so 0.025 lies at 0.6^(1/4); a
    rectangle of u = 1 is 2 sqrt 3 wide.
    """
    found, exact = total([even(math.sqrt(3), name) for name in "abcd"]), 2 * math.sqrt(3) * (2 - 0.6**0.25)
    assert exact == pytest.approx(3.88, abs=0.005)
    assert ends(found) == pytest.approx([-exact, exact], abs=0.02)
    assert float(found.expanded().magnitude) == pytest.approx(3.92, abs=0.005)


def test_a_sum_of_four_rectangles_one_ten_times_as_wide() -> None:
    """9.2.4: the GUM's normal interval -19.9 to 19.9, Monte Carlo -17.0 to 17.0."""
    found = total([*(even(math.sqrt(3), name) for name in "abc"), even(10 * math.sqrt(3), "d")])
    assert ends(found) == pytest.approx([-17.0, 17.0], abs=0.05)
    assert float(found.expanded().magnitude) == pytest.approx(19.9, abs=0.05)


# --- SciPy's distributions (scipy.stats) --------------------------------------------------------------------------


@pytest.mark.parametrize("dof", [3, 9, 40])
def test_few_degrees_of_freedom_are_students_t(dof: int) -> None:
    """JCGM 101, 6.4.9: scipy.stats.t. The Kolmogorov distance of n draws passes 1.63 / sqrt n once in a hundred."""
    drawn = Sampler(DRAWS, 5).of(Estimate.standard("3 W", "2 W", "few", dof=dof))[1:]
    assert stats.kstest(drawn, stats.t(dof, 3, 2).cdf).statistic < 1.63 / math.sqrt(DRAWS)


@pytest.mark.parametrize("dof", [1, 2])
def test_fewer_have_no_variance_and_are_drawn_with_three_as_wide_at_95_percent(dof: int) -> None:
    """JCGM 101, 6.4.9.4: below 3 a t has no variance. scipy.stats.t: its interval is kept, its tails are not."""
    drawn = Sampler(DRAWS, 5).of(Estimate.standard("0 W", "1 W", "few", dof=dof))[1:]
    half = stats.t.ppf(0.975, dof)
    assert np.quantile(drawn, LEVELS) == pytest.approx([-half, half], rel=0.02)
    assert np.quantile(drawn, 0.9995) < 0.5 * stats.t.ppf(0.9995, dof)


@pytest.mark.parametrize(("mine", "theirs"), [
    (even(1.5, "even"), stats.uniform(-1.5, 3)),
    (Estimate.band("1 W", "1 W", "4 W", "band"), stats.uniform(1, 3)),
    (normal(2, "normal"), stats.norm(0, 2)),
])  # fmt: skip
def test_other_influences_have_their_distribution(mine: Estimate, theirs: object) -> None:
    drawn = Sampler(DRAWS, 5).of(mine)[1:]
    assert stats.kstest(drawn, theirs.cdf).statistic < 1.63 / math.sqrt(DRAWS)  # type: ignore[attr-defined]


def test_a_sum_of_two_ts_is_their_convolution() -> None:
    """scipy.stats.t and scipy.integrate.quad; Welch and Satterthwaite's t lies near, and not on it."""
    found = total([Estimate.standard("0 W", "1 W", "a", dof=3), Estimate.standard("0 W", "2 W", "b", dof=5)])
    low, high = ends(found)

    def below(limit: float) -> float:
        return integrate.quad(lambda x: stats.t.pdf(x, 3) * stats.t.cdf((limit - x) / 2, 5), -np.inf, np.inf)[0]

    assert below(low) == pytest.approx(0.025, abs=0.001)
    assert below(high) == pytest.approx(0.975, abs=0.001)


def test_what_was_found_together_is_a_joint_t() -> None:
    """JCGM 101, 6.4.9.4: scipy.stats.multivariate_t; its joint chance differs from that of two ts of their own."""
    shape, dof = np.array([[4.0, 2.1], [2.1, 3.0]]), 4
    sampler = Sampler(DRAWS, 5)
    one, two = (sampler.of(each)[1:] for each in Estimate.jointly([0.0, 0.0], shape, ["W", "W"], "fit", dof=dof))
    joint = stats.multivariate_t([0, 0], shape, df=dof, seed=1)
    for corner in ([-3.0, -3.0], [1.0, -2.0], [0.0, 0.0], [5.0, 4.0]):
        seen = float(np.mean((one <= corner[0]) & (two <= corner[1])))
        assert seen == pytest.approx(float(joint.cdf(corner, maxpts=200_000)), abs=0.003)


# --- Through a whole ride -------------------------------------------------------------------------------------------


def exact(capacity: str) -> BackupUnit:
    no_loss = Inverter.fit([("0 W", "0 W"), ("500 W", "500 W"), ("900 W", "900 W")], "900 W")
    return BackupUnit.from_print("exact", capacity=Estimate.exact(capacity), chemistry="iron phosphate",
                                 inverter=no_loss, rated="900 W", depth_of_discharge="100 %", rating_hours="6 min")  # fmt: skip


def test_the_chance_of_a_ride_is_that_of_its_load() -> None:
    """1,000 Wh last 24 h of a load below 1000/24 W: scipy.stats.t of 40 W +- 1.5 W with 4 degrees of freedom."""
    load = Load.steady(Estimate.standard("40 W", "1.5 W", "log", dof=4))
    found = spread(load, exact("1000 Wh"), "24 h", draws=20_000, times=1)
    assert found.chance == pytest.approx(stats.t(4, 40, 1.5).cdf(1000 / 24), abs=0.008)
    low, high = (float(end.magnitude) for end in found.interval())
    assert low == pytest.approx(1000 / stats.t(4, 40, 1.5).ppf(0.975), rel=0.005)
    assert high == pytest.approx(1000 / stats.t(4, 40, 1.5).ppf(0.025), rel=0.005)


def test_a_start_beyond_full_is_cut_off_and_not_heaped_up() -> None:
    """scipy.stats.truncnorm: 99 % +- 1 % in truth never above 100 %."""
    outage = Outage("10 h", start=Estimate.standard("99 %", "1 %", "gauge"))
    start = spread(Load.steady("20 W"), exact("1000 Wh"), outage, draws=20_000, times=1).charges_wh[0]
    cut = stats.truncnorm(-99, 1, 990, 10)
    assert stats.kstest(start, cut.cdf).statistic < 1.63 / math.sqrt(start.size)
