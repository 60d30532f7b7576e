"""How big, backward: there and back again, and the fewest packs."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ridethrough.answer.ledger import ledger
from ridethrough.answer.outage import Outage
from ridethrough.answer.ride import ride
from ridethrough.answer.size import size
from ridethrough.estimate import Estimate
from ridethrough.model.inverter import Inverter
from ridethrough.model.load import Load
from ridethrough.model.recharge import Recharge
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal

LOAD = Load.cycling("90 W", "35 %", day_spread="60 Wh")
NO_LOSS = Inverter.fit([("0 W", "0 W"), ("500 W", "500 W"), ("900 W", "900 W")], "900 W")
DRAWS = 200


def printed(**more: Any) -> BackupUnit:
    return BackupUnit.from_print("mine", **{
        "capacity": "1.23 kWh", "chemistry": "iron phosphate", "standby": "8 W", "efficiency": "87 %", "at": "250 W",
        "rated": "900 W", "pack": "710 Wh", "packs_max": 4, "pack_standby": "1.5 W",
    } | more)  # fmt: skip


def exact(**more: Any) -> BackupUnit:
    return BackupUnit.from_print("exact", **{
        "capacity": Estimate.exact("1 kWh"), "chemistry": "iron phosphate", "inverter": NO_LOSS, "rated": "900 W",
        "depth_of_discharge": "80 %", "rating_hours": "6 min", "charge_power": "300 W", "taper_from": "100 %",
    } | more)  # fmt: skip


def wh(value: Any) -> float:
    return float(value.m_as("Wh"))


# --- There and back ---------------------------------------------------------------------------------


def test_where_all_is_exact_it_is_enough_to_the_last_watt_hour() -> None:
    for watts in (30, 37.7, 41.3, 55.1):
        found = size(Load.steady(Q_(watts, "W")), "24 h", like=exact(), draws=4)
        assert wh(found.printed) == pytest.approx(watts * 24 / 0.8, rel=1e-5)
        box = exact().with_capacity(found.printed)
        assert ledger(Load.steady(Q_(watts, "W")), box, "24 h", draws=4).verdict == "covered"


@pytest.mark.parametrize(
    ("recharge", "needs_wh"),
    [
        (Recharge.mains([("10 h", "12 h")], power="100 W", efficiency="100 %"), 500),  # until it comes
        (Recharge.mains([("10 h", "12 h")], power="40 W", efficiency="100 %"), 1020),  # all of it, less 80 Wh
        (Recharge.series([0] * 8 + [50] * 16, efficiency="100 %"), 400),
    ],
)  # fmt: skip
def test_recharge_takes_off_what_comes_in_time(recharge: Recharge, needs_wh: float) -> None:
    """50 W for 24 h; the box needs what is asked until something comes, or all, less what came."""
    length = "24 h" if needs_wh != 500 else "14 h"
    found = size(Load.steady("50 W"), Outage(length, recharge=recharge), like=exact(), draws=4)
    assert wh(found.printed) == pytest.approx(needs_wh / 0.8, abs=0.01)


def test_what_each_draw_needs_is_what_it_lasts_with() -> None:
    """A box with a draw's own need serves that draw to the end; one of a thousandth less does not."""
    outage = Outage("30 h", start=Estimate.within("90 %", "5 %", "gauge"), reserve="50 Wh", unit_at="4 degC")
    found = size(LOAD, outage, like=printed(), draws=DRAWS)
    for draw in (0, 7, 100, 199):
        rows = [ride(LOAD, printed().with_capacity(Q_(factor * found.needed.rows[draw], "Wh")), outage, draws=DRAWS)
                .walk.state.empty_h[draw] for factor in (1, 0.999)]  # fmt: skip
        assert np.isinf(rows).tolist() == [True, False]


def test_more_of_anything_asks_for_more() -> None:
    def needs(
        load: Load = LOAD, hours: float = 30, like: BackupUnit | None = None, aim: float = 0.8, **told: Any
    ) -> float:
        outage = Outage(Q_(hours, "h"), **told)
        return wh(size(load, outage, like=like or printed(), confidence=aim, draws=DRAWS).printed)

    base = needs()
    assert needs(hours=33) > base
    assert needs(LOAD + Load.steady("5 W")) > base
    assert needs(like=printed(standby="12 W")) > base
    assert needs(start="90 %") > base
    assert needs(reserve="50 Wh") > base
    assert needs(aim=0.9) > base
    assert needs(recharge=Recharge.mains([("8 h", "10 h")], power="90 W")) < base


# --- Packs ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("added", [0, 2])
@pytest.mark.parametrize("hours", [5, 40, 70, 300])
def test_the_fewest_packs_are_the_fewest(hours: float, added: int) -> None:
    like = printed().with_packs(added)
    found = size(LOAD, Q_(hours, "h"), like=like, draws=DRAWS)
    chances = [ledger(LOAD, like.with_packs(n), Q_(hours, "h"), draws=DRAWS).chance for n in range(5 - added)]
    passing = [n for n, chance in enumerate(chances) if chance >= 0.9]
    assert found.packs == (passing[0] if passing else None)
    assert found.account.chance == chances[passing[0] if passing else -1]
    assert found.account.unit.packs == added + (passing[0] if passing else 4 - added)


def test_a_pack_that_eats_more_than_it_brings_does_not_help() -> None:
    like = printed(pack="50 Wh", pack_standby="20 W")
    found = size(LOAD, "26 h", like=like)
    assert found.packs is None
    assert found.account.left.magnitude < ledger(LOAD, like, "26 h").left.magnitude


def test_a_unit_without_packs_does_or_does_not() -> None:
    alone = printed(pack=None, packs_max=0)
    does, does_not = (size(LOAD, length, like=alone, draws=50) for length in ("5 h", "5 days"))
    assert (does.packs, does_not.packs) == (0, None)
    assert repr(does).endswith("mine does>")
    assert "does not, and takes no more" in repr(does_not)
    assert "takes no more" in does_not._repr_html_()


def test_no_number_of_packs_makes_an_inverter_larger() -> None:
    found = size(Load.steady("950 W"), "1 h", like=printed(capacity="9 kWh"))
    assert (found.account.chance, found.account.verdict, found.packs) == (1, "inverter too small", None)


def test_the_confidence_left_out_is_the_covered_verdict() -> None:
    found, told = (size(LOAD, "40 h", like=printed(), confidence=aim, draws=DRAWS) for aim in (None, 0.9))
    assert found.confidence == 0.9
    assert found.account.verdict == "covered"
    assert found.printed == told.printed


# --- What it refuses ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: size(LOAD, "9 h", like=printed(), confidence=90), "90 %"),
        (lambda: size(LOAD, "9 h", like=printed(), confidence=1), "confidence=0.9"),
        (lambda: size(LOAD, "9 h", like=printed(), confidence=0), "confidence=0.9"),
        (lambda: size(LOAD, "9 h", like=printed(), confidence="sure"), r"confidence=.90 %"),  # type: ignore[arg-type]
        (lambda: size("38 W", "9 h", like=printed()), "a load"),  # type: ignore[arg-type]
        (lambda: size(LOAD, 9, like=printed()), "bare number"),
        (lambda: size(LOAD, "9 h", like="mine"), "unit"),  # type: ignore[arg-type]
        (lambda: size(Load.steady("0 W"), "24 h", like=exact()), "takes energy"),
        (lambda: size(LOAD, Outage("9 h", start="0 %"), like=printed()).printed, "some box can carry"),
        (lambda: size(LOAD, Outage("9 h", start="20 %", unit_at="0 degF"), like=printed(chemistry="sealed lead-acid"))
         .printed, "some box can carry"),
    ],
)  # fmt: skip
def test_it_refuses(make: Any, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        make()


@pytest.mark.parametrize("aim", [0.5, 0.8, 0.9])
def test_it_is_the_smallest_capacity_that_lasts_in_so_many_draws(aim: float) -> None:
    """No draw fewer and no draw more: a box a hair smaller lasts in one draw less than was asked."""
    found = size(LOAD, "9 h", like=printed(), confidence=aim, draws=200)
    needs = np.sort(found.needed.draws)
    assert wh(found.printed) == needs[round(aim * 200) - 1]
    box = printed().with_capacity(found.printed)
    assert ledger(LOAD, box, "9 h", draws=200).chance >= aim
    assert ledger(LOAD, box.with_capacity(0.999 * found.printed), "9 h", draws=200).chance < aim
