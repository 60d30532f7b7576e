"""How sure: what is shared is drawn together, what can't be is left out, and the ledger agrees where it should."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from ridethrough.answer.spread import Spread, spread

from ridethrough.answer.ledger import ledger
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import ride
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import RundownLine, fit_rundowns
from ridethrough.measure.meter import Meter
from ridethrough.model.inverter import Inverter
from ridethrough.model.load import Load
from ridethrough.model.recharge import Recharge
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal

NO_LOSS = Inverter.fit([("0 W", "0 W"), ("500 W", "500 W"), ("900 W", "900 W")], "900 W")
DRAWS = 20_000


def exact(capacity: Any = "1 kWh", **more: Any) -> BackupUnit:
    """A unit that loses nothing and of which all is known."""
    return BackupUnit.from_print("exact", capacity=capacity, chemistry="iron phosphate", inverter=NO_LOSS,
                                 rated="900 W", depth_of_discharge="100 %", rating_hours="6 min", **more)  # fmt: skip


def printed(**more: Any) -> BackupUnit:
    return BackupUnit.from_print("mine", **{"capacity": "1.23 kWh", "chemistry": "iron phosphate", "standby": "8 W",
                                            "efficiency": "87 %", "at": "250 W", "rated": "900 W"} | more)  # fmt: skip


def line(rate_exponent: str | None = "1") -> RundownLine:
    runs = [("0 W", "71 h"), ("70 W", "13.6 h"), ("260 W", "4.4 h")]
    return fit_rundowns(runs, repeatability="3 %", rate_exponent=rate_exponent, room="20 degC")


def measured(by: RundownLine) -> BackupUnit:
    return BackupUnit.from_rundowns("mine", by, printed="1230 Wh", rated="900 W", k1="0 %")


def width(found: Spread) -> float:
    low, high = found.interval()
    return float((high - low).magnitude)


def normal(power: str, u: str, name: str = "power", **how: Any) -> Load:
    return Load.steady(Estimate.standard(power, u, name, **how), name)


# --- Draws ------------------------------------------------------------------------------------------


def test_the_same_seed_gives_the_same_rides() -> None:
    found = [spread(normal("50 W", "5 W"), printed(), "20 h", draws=500, seed=seed) for seed in (1, 1, 2)]
    assert np.array_equal(found[0].lasts_h, found[1].lasts_h)
    assert found[0].interval() == found[1].interval()
    assert not np.array_equal(found[0].lasts_h, found[2].lasts_h)


def test_all_that_is_exact_has_no_spread() -> None:
    load, unit = Load.cycling("90 W", "35 %"), exact()
    found, one = spread(load, unit, "40 h", draws=50), ride(load, unit, "40 h")
    assert found.lasts_h == pytest.approx(float(one.lasts.magnitude))
    assert found.charge_wh == pytest.approx(np.tile(one.charge_wh, (50, 1)))
    assert found.shares["share"].sum() == 0
    assert found.outside == 0


def test_its_middle_is_the_ride() -> None:
    """Median of the draws beside the ride at best estimates, whose slopes are small against the spread."""
    load = normal("40 W", "2 W") + Load.cycling("90 W", "35 %", day_spread="60 Wh")
    sun = Recharge.series([0, 0, 0, 60, 90, 20], step="2 h", efficiency=Estimate.within("88 %", "3 %", "charger"))
    for unit in (exact("1.2 kWh"), measured(line())):
        outage = Outage("40 h", recharge=sun)
        found, one = spread(load, unit, outage, draws=4000), ride(load, unit, outage)
        assert float(np.median(found.lasts)) == pytest.approx(float(one.lasts.magnitude), rel=0.02)
        assert found.band()["middle (Wh)"].to_numpy() == pytest.approx(one.charge_wh, abs=25)


# --- What is shared ---------------------------------------------------------------------------------


def test_one_meters_gain_is_shared_by_all_that_it_read() -> None:
    """Two loads of the same size: one meter's error adds, two meters' errors add in squares, so sqrt 2 to 1."""
    one, other = Meter("3 %"), Meter("3 %")
    same = Load.steady(one.reading("30 W"), "a") + Load.steady(one.reading("30 W"), "b")
    apart = Load.steady(one.reading("30 W"), "a") + Load.steady(other.reading("30 W"), "b")
    left = [spread(load, exact(), "15 h", draws=DRAWS).left_wh.std() for load in (same, apart)]
    assert left[0] / left[1] == pytest.approx(2**0.5, rel=0.02)
    assert left[0] == pytest.approx(0.03 / 3**0.5 * 60 * 15, rel=0.02)


def test_a_meter_that_read_load_and_rundowns_cancels() -> None:
    """Its gain goes into energy, standby and load alike: the run time does not know it."""
    meter, other = Meter("8 %"), Meter("8 %")
    by = fit_rundowns([("70 W", "13.6 h"), ("260 W", "4.4 h")], meter=meter, repeatability="0.1 %",
                      rate_exponent="1", room="20 degC")  # fmt: skip
    found = [
        spread(Load.steady(reader.reading("100 W")), measured(by), "20 h", draws=4000) for reader in (meter, other)
    ]
    assert width(found[1]) > 5 * width(found[0])


def test_energy_and_standby_of_a_line_are_drawn_together() -> None:
    """At a load between the tests their errors cancel for the most part; drawn apart, the interval is absurd."""
    runs = [("30 W", "24.7 h"), ("70 W", "13.2 h"), ("120 W", "8.3 h")]
    by = fit_rundowns(runs, repeatability="2 %", rate_exponent="1", room="20 degC")
    assert by.energy.correlation(by.standby) > 0.9
    apart = replace(
        by,
        energy=Estimate.standard(by.energy.value, by.energy.u, "E", dof=by.energy.dof),
        standby=Estimate.standard(by.standby.value, by.standby.u, "S", dof=by.standby.dof),
    )
    load = Load.steady("60 W")
    together, alone = (spread(load, measured(each), "30 h", draws=DRAWS) for each in (by, apart))
    assert width(alone) > 1.7 * width(together)
    account = ledger(load, measured(by), "30 h").lasts
    assert width(together) == pytest.approx(2 * float(account.expanded().magnitude), rel=0.08)


def test_the_next_days_are_one_draw_for_the_whole_outage() -> None:
    load = Load.cycling("90 W", "35 %", day_spread="60 Wh")
    left = spread(load, exact("9 kWh"), "4 days", draws=DRAWS).left_wh
    assert left.std() == pytest.approx(60 * 4**0.5, rel=0.03)


# --- Chance, interval, survivors ----------------------------------------------------------------------


def test_survivors_stand_at_the_outages_length_and_read_at_least() -> None:
    found = spread(normal("50 W", "5 W"), exact(), "20 h", draws=DRAWS)
    lasting = np.isinf(found.lasts_h)
    assert lasting.mean() == pytest.approx(0.5, abs=0.02)
    assert found.lasts.max() == 20
    assert (found.lasts[lasting] == 20).all()
    assert (found.lasts[~lasting] < 20).all()
    assert found.chance == pytest.approx(lasting.mean())
    low, high = found.interval()
    assert float(high.magnitude) == 20
    assert float(low.magnitude) == pytest.approx(1000 / (50 + 1.96 * 5), rel=0.01)
    assert "at least 20 h" in repr(found)
    assert repr(found).count("at least") == 1


def test_an_outage_that_none_survives_has_two_ends() -> None:
    found = spread(normal("50 W", "2 W"), exact(), "40 h", draws=2000)
    assert "at least" not in repr(found)
    assert found.chance == 0
    assert found.verdict == "short"


def test_the_reserve_counts_in_the_chance_and_in_the_run_time() -> None:
    """A run ends where the reserve begins, as in the ledger."""
    load = normal("50 W", "5 W")
    none, kept = (spread(load, exact(), Outage("15 h", reserve=each), draws=4000) for each in ("0 Wh", "250 Wh"))
    assert (kept.lasts_h < 15).mean() == pytest.approx(0.5, abs=0.03)
    assert np.isinf(none.lasts_h).mean() > 0.99
    assert none.chance > 0.99
    assert kept.chance == pytest.approx(0.5, abs=0.03)
    assert kept.left_wh == pytest.approx(none.left_wh - 250)
    beyond = spread(load, exact(), Outage("15 h", reserve="50 kWh"), draws=200)
    assert beyond.chance == 0
    assert beyond.verdict == "short"


@pytest.mark.parametrize(("capacity", "verdict"), [("760 Wh", "tight"), ("900 Wh", "covered"), ("700 Wh", "short")])
def test_the_verdict_is_the_ledgers_rule(capacity: str, verdict: str) -> None:
    load = normal("50 W", "3 W")
    found = spread(load, exact(capacity), "15 h", draws=4000)
    assert found.verdict == verdict == ledger(load, exact(capacity), "15 h").verdict


def test_a_wider_interval_holds_a_narrower_one() -> None:
    found = spread(normal("50 W", "5 W"), printed(), "40 h", draws=4000)
    ends = [[float(end.magnitude) for end in found.interval(coverage)] for coverage in (0.99, 0.95, 0.5)]
    assert ends[0][0] < ends[1][0] < ends[2][0] < ends[2][1] < ends[1][1] < ends[0][1]
    outer, inner = found.band(0.99), found.band(0.5)
    assert (outer["low (Wh)"] <= inner["low (Wh)"]).all()
    assert (outer["high (Wh)"] >= inner["high (Wh)"]).all()


def test_its_band_begins_with_the_start_and_ends_with_what_is_left() -> None:
    found = spread(normal("40 W", "2 W"), exact(), "15 h", draws=2000, times=10)
    band = found.band()
    assert list(band["time (h)"]) == pytest.approx(list(np.linspace(0, 15, 11)))
    assert (band.iloc[0][["low (Wh)", "middle (Wh)", "high (Wh)"]] == 1000).all()
    assert found.charge_wh[:, -1] == pytest.approx(found.left_wh)


# --- Limits -----------------------------------------------------------------------------------------


def test_no_draw_is_charged_above_full() -> None:
    outage = Outage("10 h", start=Estimate.within("99 %", "2 %", "gauge"))
    found = spread(Load.steady("40 W"), exact(), outage, draws=DRAWS)
    assert found.charge_wh[:, 0].max() <= 1000
    assert found.charge_wh[:, 0].min() >= 970
    assert found.charge_wh[:, 0].mean() == pytest.approx(985, abs=0.5)  # evenly from 97 to 100 %, no heap at 100 %
    assert found.outside == pytest.approx(0.25, abs=0.02)
    assert found.lasts_h.size == DRAWS


def test_no_draw_has_a_power_below_zero() -> None:
    found = spread(normal("1 W", "2 W"), exact(), "100 h", draws=2000)
    assert found.charge_wh[:, -1].max() <= 1000
    assert found.outside == pytest.approx(0.31, abs=0.05)


def test_what_can_hardly_be_is_refused() -> None:
    """Eight powers of nothing, give or take a watt: in one draw of 256 none is below zero."""
    names = [f"load {n}" for n in range(8)]
    load = Load(tuple(normal("1 mW", "1 W", name).appliances[0] for name in names))
    with pytest.raises(Refusal, match="known better"):
        spread(load, exact(), "10 h", draws=200)


# --- Shares -----------------------------------------------------------------------------------------


def test_shares_of_an_additive_case_are_those_of_the_variances() -> None:
    """Influences of 1, 2 and 3 W in a sum: r^2 = 1/14, 4/14 and 9/14; of ranks, (6/pi asin(r/2))^2 (Pearson 1907)."""
    load = normal("20 W", "1 W", "little") + normal("20 W", "2 W", "some") + normal("20 W", "3 W", "most")
    shares = spread(load, exact(), "10 h", draws=DRAWS).shares
    assert list(shares["influence"][:3]) == ["most", "some", "little"]
    r = np.sqrt([9 / 14, 4 / 14, 1 / 14])
    assert list(shares["share"][:3]) == pytest.approx(list((6 / np.pi * np.arcsin(r / 2)) ** 2), abs=0.015)
    assert 0.92 < shares["share"].sum() < 1.02


def test_what_moves_nothing_has_no_share() -> None:
    """A steady load has no spread from day to day, a battery at a slow rate no exponent: neither is in the table."""
    load = normal("20 W", "1 W", "little") + normal("20 W", "2 W", "some")
    assert set(spread(load, exact(), "10 h", draws=1000).shares["influence"]) == {"little", "some"}


def test_shares_are_those_of_the_linear_budget() -> None:
    load = normal("20 W", "0.3 W", "router") + Load.cycling("90 W", "35 %", day_spread="60 Wh")
    unit = printed()
    by_rank = spread(load, unit, "15 h", draws=DRAWS).shares.set_index("influence")["share"]
    linear = ledger(load, unit, "15 h").left.budget().set_index("influence")["share"]
    assert by_rank.index[0] == linear.index[0]
    for name, share in linear.items():
        assert by_rank[name] == pytest.approx(share, abs=0.05)


def test_an_influence_found_together_has_one_share() -> None:
    """The budget gives the run-downs' scatter one line; so do the shares."""
    found = spread(Load.steady("20 W"), measured(line()), "60 h", draws=2000).shares
    names = list(found["influence"])
    assert not [name for name in names if name.endswith(")") and name.rsplit(" (", 1)[0] in names]


# --- With the ledger --------------------------------------------------------------------------------


@pytest.mark.parametrize("hours", [8, 11.5, 12, 13])
def test_chance_and_interval_are_the_ledgers_where_all_is_linear_and_normal(hours: float) -> None:
    load = normal("50 W", "2 W") + Load.cycling("90 W", "35 %", day_spread="60 Wh")
    account = ledger(load, exact(), Q_(hours, "h"))
    found = spread(load, exact(), Q_(hours, "h"), draws=DRAWS)
    assert found.chance == pytest.approx(account.chance, abs=0.015)
    low, high = (float(end.magnitude) for end in account.left.interval())
    assert np.quantile(found.left_wh, [0.025, 0.975]) == pytest.approx([low, high], abs=0.04 * (high - low))


def test_the_run_time_is_the_ledgers_where_it_is_nearly_linear() -> None:
    load = normal("50 W", "1 W") + Load.cycling("90 W", "35 %", day_spread="20 Wh")
    for unit in (exact(), measured(line())):
        account = ledger(load, unit, "20 h").lasts
        found = spread(load, unit, "20 h", draws=DRAWS).interval()
        half = float(account.expanded().magnitude)
        for mine, theirs in zip(found, account.interval(), strict=True):
            assert float(mine.magnitude) == pytest.approx(float(theirs.magnitude), abs=0.15 * half + 1)


def test_an_influence_of_one_degree_of_freedom_breaks_nothing() -> None:
    """As after a log with two defrosts: a few draws lie far out, below zero too, and none is no number at all."""
    mean = Estimate.standard("40 W", "2 W", "defrosts", dof=1)
    appliance = replace(Load.cycling("90 W", "44 %", day_spread="600 Wh").appliances[0], mean_power=mean)
    runs = [("0 W", "227 h"), ("70 W", "15.1 h"), ("260 W", "4.3 h")]
    by_runs = measured(fit_rundowns(runs, repeatability="2 %", room="20 degC"))
    for unit in (by_runs, printed()):
        found = spread(Load((appliance,)), unit, "60 h", draws=4000)
        assert np.isfinite(found.left_wh).all()
        assert np.isfinite(found.charge_wh).all()
        assert found.lasts_h.size == 4000
        assert found.outside < 0.3  # single days of 600 Wh spread about 950 Wh lie below zero now and then


def test_few_days_of_log_widen_both_alike() -> None:
    load = normal("50 W", "2 W", dof=3)
    account, found = ledger(load, exact(), "20 h").left, spread(load, exact(), "20 h", draws=DRAWS).left_wh
    low, high = (float(end.magnitude) for end in account.interval())
    assert high - low > 1.5 * 2 * 1.96 * 40
    assert np.quantile(found, [0.025, 0.975]) == pytest.approx([low, high], abs=0.05 * (high - low))


def test_they_differ_where_one_even_band_rules() -> None:
    """One of four ten times as wide (JCGM 101:2008, 9.2.4): the ledger's normal interval is 19.9 / 17.0 as wide."""

    def load(half: str, name: str) -> Load:
        return Load.steady(Estimate.within("20 W", half, name), name)

    plugged = load("1 W", "a") + load("1 W", "b") + load("1 W", "c") + load("10 W", "d")
    account, found = ledger(plugged, exact(), "10 h").left, spread(plugged, exact(), "10 h", draws=DRAWS).left_wh
    low, high = np.quantile(found, [0.025, 0.975])
    assert 2 * float(account.expanded().magnitude) / (high - low) == pytest.approx(19.9 / 17.0, rel=0.01)


def test_the_length_of_the_outage_does_not_change_when_it_ran_empty() -> None:
    """How far the days until then differ does not depend on how many follow."""
    load = Load.cycling("90 W", "35 %", day_spread="120 Wh")
    short, long = (spread(load, exact(), length, draws=DRAWS) for length in ("48 h", "16 days"))
    assert short.chance < 0.03
    assert width(long) == pytest.approx(width(short), rel=0.1)


# --- What it refuses ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"draws": 1}, "draws=10_000"), ({"draws": 1e4}, "draws=10_000"), ({"draws": "many"}, "draws=10_000"),
        ({"seed": -1}, "seed=1"), ({"restart": 20}, "restart"),
        ({"times": -1}, "times"), ({"times": 0}, "times"), ({"times": 2.5}, "times"),
    ],
)  # fmt: skip
def test_it_refuses(how: dict[str, Any], says: str) -> None:
    with pytest.raises(Refusal, match=says):
        spread(Load.steady("40 W"), exact(), "4 h", **({"draws": 10} | how))


@pytest.mark.parametrize("coverage", [0, 1, 95, -0.5])
def test_a_coverage_is_a_chance(coverage: float) -> None:
    found = spread(Load.steady("40 W"), exact(), "4 h", draws=10)
    with pytest.raises(Refusal, match="coverage"):
        found.interval(coverage)
    with pytest.raises(Refusal, match="coverage"):
        found.band(coverage)


def test_load_and_unit_are_what_they_are_called() -> None:
    with pytest.raises(Refusal, match="load"):
        spread("40 W", exact(), "4 h")  # type: ignore[arg-type]
    with pytest.raises(Refusal, match="unit"):
        spread(Load.steady("40 W"), "exact", "4 h")  # type: ignore[arg-type]
