"""A prediction beside the run for real: agrees, does not agree, cannot tell; and the run as one more measurement."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import Ride, ride
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import fit_rundowns
from ridethrough.measure.meter import Meter
from ridethrough.measure.rundown import Rundown
from ridethrough.model.load import Load
from ridethrough.model.recharge import Recharge
from ridethrough.model.unit import BackupUnit
from ridethrough.own.agreement import AGREES, FAR, OPEN, Agreement, Check, agreement
from ridethrough.units import Refusal

LOADS_W, ENERGY_WH, MEAN_W, RUNNING_W, DAY_WH, REPEATS = (0, 8, 60, 250), 1250, 35, 90, 40, 0.02


def printed() -> BackupUnit:
    return BackupUnit.from_print("sheet", capacity="1430 Wh", chemistry="iron phosphate", standby="11 W",
                                 rated="1150 W", efficiency="90 %", at="420 W")  # fmt: skip


def measured(health: str = "100 %") -> BackupUnit:
    runs = [("0 W", "120 h"), ("8 W", "70 h"), ("60 W", "17.6 h"), ("250 W", "4.8 h")]
    line = fit_rundowns(runs, meter=Meter("1 %"), chemistry="iron phosphate", room="20 degC")
    return BackupUnit.from_rundowns("mine", line, printed="1430 Wh", rated="1150 W", pack="1210 Wh", packs_max=1,
                                    health=health, k1="8 %")  # fmt: skip


def account(unit: BackupUnit | None = None, outage: Outage | str = "24 h") -> Ride:
    load = Load.cycling(Meter("1 %").reading("90 W"), 0.4, "fridge", day_spread="60 Wh")
    return ride(load, unit or measured(), outage, draws=400)


def test_e_n_by_hand() -> None:
    predicted, observed = Estimate.standard("10 h", "0.2 h", "a"), Estimate.standard("11 h", "0.1 h", "b")
    found = Check("run time", predicted, observed)
    assert found.normalised == pytest.approx(1 / math.hypot(0.2 * 1.96, 0.1 * 1.96), rel=1e-3)
    assert Check("x", Estimate.exact("3 h"), Estimate.exact("3 h")).normalised == 0


def test_two_numbers_without_a_doubt_that_differ_tell_nothing() -> None:
    """40 W beside 40.02 W by a meter without a doubt."""
    found = agreement(ride(Load.steady("40 W"), printed(), "20 h", draws=50), "21 h 40 min", delivered="867 Wh")
    power = found.checks[1]
    assert (power.says, math.isnan(power.normalised)) == (OPEN, True)
    assert not any("inf" in told or "nan" in told for told in (str(power), found._repr_html_().lower()))


def test_a_lopsided_prediction_counts_its_own_side() -> None:
    rode = account(printed())
    low, high = rode.interval()
    value = rode.lasts.value
    assert (value - low) > 1.3 * (high - value)  # sheets flatter
    at_the_ends = [agreement(rode, end, within="0 h").checks[0].normalised for end in (low, high)]
    assert at_the_ends == pytest.approx([1, 1])


@pytest.mark.parametrize(
    ("ran", "given", "says"),
    [
        ("26 h", {}, AGREES),
        ("15 h", {}, FAR),
        ("45 h", {}, FAR),
        ("15 h", {"stopped_early": True}, OPEN),
        ("28 h", {"stopped_early": True}, OPEN),
        ("60 h", {"stopped_early": True}, FAR),
        ("13 h", {"stopped_early": True, "left": "50 %"}, AGREES),
        ("9 h", {"stopped_early": True, "left": "50 %"}, FAR),
    ],
)
def test_what_a_run_says(ran: str, given: dict[str, object], says: str) -> None:
    found = agreement(account(), ran, **given)
    assert found.says == says
    assert bool(found.suspects) == (says == FAR)
    assert says in repr(found)
    assert ("E_n" in repr(found)) == (says != OPEN)
    assert f"<td>{says}</td>" in found._repr_html_()


def test_a_prediction_that_ends_with_its_outage_tells_nothing_beyond_it() -> None:
    by_hour = Outage("12 h", unit_at=["20 degC"] * 12)
    assert agreement(account(outage=by_hour), "40 h").says == OPEN
    assert agreement(account(outage=by_hour), "8 h").says == FAR


def test_a_metered_run_parts_the_appliance_from_the_unit() -> None:
    greedy = agreement(account(), "18 h", delivered="1.03 kWh", meter=Meter("1 %"))
    assert [check.says for check in greedy.checks] == [FAR, FAR, AGREES]
    assert all("appliance" in each or "meter" in each for each in greedy.suspects)
    weak = agreement(account(), "18 h", delivered="0.65 kWh", meter=Meter("1 %"))
    assert [check.says for check in weak.checks] == [FAR, AGREES, FAR]
    assert "more to be on" in " ".join(weak.suspects)
    assert "appliance drew" not in " ".join(weak.suspects)


def test_suspects_follow_the_shares_and_the_side() -> None:
    short, long = agreement(account(printed()), "12 h"), agreement(account(printed()), "60 h")
    assert "more to be on" in " ".join(short.suspects)
    assert "less to be on" in " ".join(long.suspects)
    first = short.account.lasts.shares()["influence"][0]
    assert ("appliance" in short.suspects[0]) == ("fridge" in first)
    assert "one run in twenty" in short.suspects[-1]
    assert "its sheet says" not in " ".join(agreement(account(), "12 h").suspects).replace("or its sheet", "")


def test_the_run_becomes_a_measurement() -> None:
    rode = account()
    found = agreement(rode, "26 h 30 min")
    more = found.unit
    assert len(more.route.line.runs) == 5
    assert rode.unit.route.line.runs == measured().route.line.runs
    by_hand = fit_rundowns([*rode.unit.route.line.runs, found.run], **rode.unit.route.line.settings)
    assert more.route.line.energy.value == by_hand.energy.value
    assert more.standby.value == by_hand.standby.value
    assert more.printed == rode.unit.printed
    metered = agreement(rode, "26 h 30 min", delivered="954 Wh", meter=Meter("3 %"))
    assert metered.run.load.value.magnitude == pytest.approx(36)
    assert metered.run.load.u.magnitude == pytest.approx(36 * 0.03 / 3**0.5)  # by the run's own meter
    assert metered.unit.route.line.runs[-1] is metered.run


@pytest.mark.parametrize(
    ("rode", "words"),
    [
        (lambda: account(printed()), "two loads"),
        (lambda: account(measured().with_packs(1)), "table of run-downs"),
        (lambda: account(outage=Outage("24 h", start="97 %")), "less than full"),
        (lambda: account(measured(health="90 %")), "aged"),
        (lambda: account(outage=Outage("24 h", recharge=Recharge.mains([("2 h", "3 h")], power="50 W"))), "recharge"),
    ],
    ids=["printed", "packs", "start", "aged", "recharge"],
)
def test_a_run_that_is_no_run_down_is_no_measurement(rode: object, words: str) -> None:
    found = agreement(rode(), "20 h")  # type: ignore[operator]
    with pytest.raises(Refusal, match=words) as caught:
        _ = found.unit
    assert "run-down" in str(caught.value)


@pytest.mark.parametrize("ran", ["0 h", "soon", 21, "40 W"])
def test_no_run_time_is_refused(ran: object) -> None:
    with pytest.raises(Refusal):
        agreement(account(), ran)
    with pytest.raises(Refusal, match=r"rt\.ledger"):
        agreement("24 h", "20 h")  # type: ignore[arg-type]


# -- simulated runs ----------------------------------------------------------------------------------


def run_for_real(rng: np.random.Generator, standby_w: float, factor: float) -> Agreement:
    """Return a bench, a prediction and a run of one simulated world; in the run the standby is ``factor`` times that
    of the bench."""
    gain = 1 + rng.uniform(-0.01, 0.01)
    meter = Meter("1 %")
    runs = [Rundown(f"{load / gain} W", f"{ENERGY_WH / (standby_w + load) * (1 + REPEATS * rng.standard_normal())} h")
            for load in LOADS_W]  # fmt: skip
    line = fit_rundowns(runs, meter=meter, chemistry="iron phosphate", idling="1", rate_exponent="1")
    unit = BackupUnit.from_rundowns("simulated", line, printed="1500 Wh", rated="1000 W")
    load = Load.cycling(meter.reading(f"{RUNNING_W / gain} W"), MEAN_W / RUNNING_W, "fridge", day_spread=f"{DAY_WH} Wh")
    drawn_w = MEAN_W + DAY_WH / 24 * rng.standard_normal()
    hours = ENERGY_WH / (standby_w * factor + drawn_w) * (1 + REPEATS * rng.standard_normal())
    return agreement(ride(load, unit, "24 h", draws=300), f"{hours} h")


@pytest.mark.parametrize(("factor", "low", "high"), [(1.0, 0.88, 1.0), (1.4, 0.0, 0.2)])
def test_e_n_is_below_1_where_nothing_is_wrong_and_above_where_the_standby_grew(
    factor: float, low: float, high: float
) -> None:
    rng = np.random.default_rng(11)
    below = np.mean([run_for_real(rng, 30, factor).checks[0].normalised <= 1 for _ in range(50)])
    assert low <= below <= high
