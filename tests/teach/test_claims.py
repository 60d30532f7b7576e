"""Claims: each slip that a claim can hold is found, what agrees is said to agree, and what comes of nothing says so."""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

import ridethrough as rt
from ridethrough.answer.ledger import Ledger, ledger
from ridethrough.teach import claims
from ridethrough.teach.claims import _TEXTS, ABOUT, NEAR, claim
from ridethrough.teach.formulas import SLIPS, result, slipped
from ridethrough.units import Q_, Refusal, show

UNIT = rt.BackupUnit.from_print("mine", capacity="1.2 kWh", chemistry="iron phosphate", standby="9 W", rated="800 W",
                                efficiency="88 %", at="300 W")  # fmt: skip
LOAD = rt.Load.cycling("84 W", "38 %", "refrigerator")
ASKED: dict[str, Any] = {"load": LOAD, "unit": UNIT, "outage": "24 h", "draws": 200}


# -- a world of loads, units and outages -----------------------------------------------------------------------------


def unit_of(draw: random.Random) -> rt.BackupUnit:
    """Return some unit, from print or by its run-downs, old or new, with packs or none."""
    packs = draw.randint(0, 2)
    if draw.random() < 0.3:
        energy, standby = draw.uniform(600, 2600), draw.uniform(6, 28)
        runs = [(f"{load} W", f"{energy / (standby + load):.2f} h") for load in (0, 60, 240)]
        line = rt.fit_rundowns(runs, room="20 degC", repeatability="1 %")
        made = rt.BackupUnit.from_rundowns("bench", line, printed=Q_(energy * 1.25, "Wh"), rated="1500 W",
                                           health=f"{draw.randint(70, 100)} %", pack="900 Wh",
                                           packs_max=packs)  # fmt: skip
        return made.with_packs(packs)
    chemistry = draw.choice(["iron phosphate", "nickel-manganese-cobalt", "sealed lead-acid"])
    made = rt.BackupUnit.from_print(
        "sheet", capacity=f"{draw.randint(600, 4000)} Wh", chemistry=chemistry, standby=f"{draw.randint(6, 30)} W",
        rated=f"{draw.randint(600, 3000)} W", efficiency=f"{draw.randint(80, 88)} %", at="400 W",
        health=f"{draw.randint(70, 100)} %", pack="900 Wh", packs_max=packs,
    )  # fmt: skip
    return made.with_packs(packs)


def load_of(draw: random.Random) -> rt.Load:
    """Return a refrigerator whose volt-amperes were logged, alone or with a lamp."""
    load = rt.Load.cycling(f"{draw.uniform(60, 140):.1f} W", f"{draw.randint(20, 55)} %", "refrigerator")
    load = logged(load, draw.uniform(1.1, 1.6))
    return load + lamp_of(draw) if draw.random() < 0.5 else load


def lamp_of(draw: random.Random) -> rt.Load:
    watts = draw.uniform(4, 40)
    return logged(rt.Load.steady(f"{watts:.1f} W", "lamp"), 1.0)


def logged(load: rt.Load, over: float) -> rt.Load:
    """Return a load whose volt-amperes were so many times its largest watts."""
    (appliance,) = load.appliances
    return rt.Load((replace(appliance, apparent=Q_(load.peak.m_as("W") * over, "VA")),))


def outage_of(draw: random.Random) -> rt.Outage:
    """Return an outage, in the cold or not, with a reserve or none."""
    cold = {"unit_at": f"{draw.randint(-8, 8)} degC"} if draw.random() < 0.7 else {}
    reserve = "60 Wh" if draw.random() < 0.3 else "0 Wh"
    return rt.Outage(f"{draw.randint(6, 80)} h", start=f"{draw.randint(62, 100)} %", reserve=reserve, **cold)


@cache
def world(number: int) -> Ledger:
    draw = random.Random(number)
    return ledger(load_of(draw), unit_of(draw), outage_of(draw), draws=20)


_measured = claims._measured


@cache
def measured(number: int, about: str) -> Any:
    """Return what the kit says of a world."""
    return _measured(world(number), about)


def asked(number: int, monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """Return a world's load, unit and outage, whose account is not reckoned again for each claim."""
    account = world(number)
    monkeypatch.setattr(claims, "ledger", lambda *_, **__: account)
    monkeypatch.setattr(claims, "_measured", lambda _, about: measured(number, about))
    return {"load": account.load, "unit": account.unit, "outage": account.outage, **printed(number)}


def printed(number: int) -> dict[str, str]:
    draw = random.Random(-number)
    return {"sticker": f"{draw.randint(150, 260)} W", "efficiency": f"{draw.randint(86, 94)} %"}


def numbers_of(number: int) -> dict[str, Any]:
    return claims._numbers(world(number), **printed(number))


def held(number: int, about: str) -> Iterator[tuple[float, str]]:
    """Yield what each slip's formula makes of a world, where that is a number and no rounding of the right one."""
    numbers = numbers_of(number)
    with np.errstate(all="ignore"):
        base = result(_TEXTS[about]["formula"], numbers)
        for value, slip in slipped(_TEXTS[about], numbers):
            if math.isfinite(value) and value > 0 and abs(value / base - 1) > NEAR:
                yield value, slip


# -- what is found ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("about", ABOUT)
def test_a_claim_made_by_a_slip_is_found_in_two_hundred_worlds(about: str, monkeypatch: pytest.MonkeyPatch) -> None:
    found, worlds = Counter[str](), range(200)
    for number in worlds:
        given = asked(number, monkeypatch)
        for value, slip in held(number, about):
            made = claim(Q_(value, _TEXTS[about]["unit"]), about=about, **given)
            assert made.agrees or slip in made.slips, (number, slip, value)
            assert made.agrees == (not made.slips)
            found[slip] += not made.agrees
    assert set(found) == set(_TEXTS[about]["slips"])
    assert min(found.values()) >= 10, found


@pytest.mark.parametrize("about", ABOUT)
def test_the_formula_without_a_slip_is_what_the_kit_says(about: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(200):
        account = world(number)
        if about in ("run time", "capacity needed") and account.unit.chemistry == "sealed lead-acid":
            continue  # a fast discharge costs, and the formulas leave that out
        base = result(_TEXTS[about]["formula"], numbers_of(number))
        if about == "capacity needed" and number > 60:
            break
        said = measured(number, about).value.magnitude
        assert base == pytest.approx(said, rel=0.08 if about == "run time" else 0.03), number


@pytest.mark.parametrize("about", ABOUT)
def test_what_lies_in_the_kits_own_interval_agrees(about: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(0, 200, 10):
        given = asked(number, monkeypatch)
        low, high = measured(number, about).interval()
        for inside in (low, (low + high) / 2, high):
            made = claim(inside, about=about, **given)
            assert made.agrees
            assert made.slips == ()
            assert made.sentences[-1] == "The claim agrees with that."


@pytest.mark.parametrize("about", ABOUT)
def test_what_agrees_with_nothing_names_no_slip(about: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(0, 200, 10):
        given = asked(number, monkeypatch)
        most = max(value for value, _ in held(number, about))
        far = 1.7 * max(most, measured(number, about).interval()[1].magnitude)
        made = claim(Q_(far, _TEXTS[about]["unit"]), about=about, **given)
        assert not made.agrees
        assert made.slips == ()
        assert "comes out of no slip" in made.sentences[-1]


def test_cautions_of_the_ride_stand_below_a_claim() -> None:
    """Frost and a generator, in words and on a page, also where the claim's own unit is the slip; else none."""
    when = rt.Outage("24 h", begins="12:00", unit_at="-5 degC", recharge=rt.Generator("900 W", hours="18:00-19:00"))
    for said, more in (("30 h", {}), ("100 Ah", {"about": "usable energy"})):
        found = claim(said, **ASKED | {"outage": when}, **more)
        assert found.cautions == ledger(LOAD, UNIT, when, draws=200).cautions
        for words in ("carbon monoxide", "do not charge it below"):
            assert words in repr(found)
            assert words in found._repr_html_()
    assert "caution" not in repr(claim("30 h", **ASKED))


# -- what it is about, and units -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("said", "about"), [
    ("30 h", "run time"), ("2 days", "run time"), (Q_(30, "h"), "run time"), ("33 W", "power"), ("0.2 kW", "power"),
    ("1.5 kWh a day", "energy a day"), ("1.5 kWh/day", "energy a day"), ("900 Wh per day", "energy a day"),
    ("900 Wh each day", "energy a day"), ("249 kWh a year", "energy a day"), ("33 watts per hour", "power"),
    ("33 watts an hour", "power"), ("150 VA", "power"), ("800 W a day", "power"),
])  # fmt: skip
def test_the_unit_says_what_a_claim_is_about(said: Any, about: str) -> None:
    assert claim(said, **ASKED).about == about


@pytest.mark.parametrize(("said", "about", "slip"), [
    ("25 days", None, "hours and days mixed up"),
    ("770 kWh a day", None, "kilowatt-hours and watt-hours mixed up"),
    ("0.77 Wh a day", None, "kilowatt-hours and watt-hours mixed up"),
    ("790 W a day", None, "watts per hour"),
    ("790 W", "energy a day", "watts for watt-hours"),
    ("766 W", None, "watts for watt-hours"),
    ("33 Wh", "power", "watt-hours for watts"),
    ("1100 Wh", "run time", "watt-hours for hours"),
    ("1140 h", None, "watt-hours for hours"),
    ("33 watts per hour", None, "watts per hour"),
    ("33 watts an hour", "power", "watts per hour"),
    ("100 Ah", "usable energy", "ampere-hours for watt-hours"),
    ("150 VA", None, "volts times amperes taken as watts"),
    ("32 kW", None, "kilowatts and watts mixed up"),
])  # fmt: skip
def test_a_slip_of_the_unit_comes_first(said: str, about: str | None, slip: str) -> None:
    made = claim(said, about=about, **ASKED)
    assert made.slips[0] == slip
    assert SLIPS[slip].hint in repr(made)


def test_a_year_is_brought_to_a_day() -> None:
    made = claim("280 kWh a year", **ASKED)
    assert made.claimed is not None
    assert made.claimed.m_as("Wh") == pytest.approx(280_000 / 365.25, rel=1e-3)
    assert made.agrees


@pytest.mark.parametrize("said", ["30", 30, "-3 h", "0 h", "1500 Wh", "two days", "5 degC", "long", "1,5 kWh a day"])
def test_what_cannot_be_a_claim_is_refused(said: Any) -> None:
    with pytest.raises(Refusal):
        claim(said, **ASKED)


def test_refusals_say_what_to_write() -> None:
    with pytest.raises(Refusal, match='Write about="capacity needed"'):
        claim("1500 Wh", **ASKED)
    with pytest.raises(Refusal, match="about='hours'"):
        claim("30 h", about="hours", **ASKED)
    log = rt.hand_readings([("2026-01-10 08:00", "12.31"), ("2026-01-11 08:00", "13.14")], unit="kWh")
    with pytest.raises(Refusal, match="with_peak"):
        claim("150 W", about="largest power", **ASKED | {"load": rt.measure_draw(log).as_load()})


# -- how it reads ----------------------------------------------------------------------------------------------------


def test_it_reads_aloud() -> None:
    made = claim("9 h", sticker="130 W", **ASKED)
    lines = repr(made).splitlines()
    assert lines[0] == "The claim: 9 h, for how long the unit runs the load."
    assert lines[1].startswith("It would mean that load and unit together take ")
    assert lines[2] == f"Load, unit and outage say {made.measured}."
    assert "It comes out of a known slip: the sticker's watts for the whole time." in lines[3]
    assert "Lesson 01" in lines[3]
    assert made._repr_html_().count("<br>") == 3
    assert "nan" not in repr(made)


@pytest.mark.parametrize("about", ABOUT)
def test_no_number_is_missing_in_its_sentences(about: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(0, 200, 40):
        made = claim(Q_(77, _TEXTS[about]["unit"]), about=about, **asked(number, monkeypatch))
        assert "nan" not in repr(made)
        assert "{" not in repr(made)
        assert all(sentence.endswith((".", "?")) for sentence in made.sentences)


@pytest.mark.parametrize(("said", "against"), [
    ("1 kWh a day", "The claim is 31 % more than that."), ("500 Wh a day", "The claim is 35 % less than that."),
    ("300 kWh a day", "The claim is 392 times that."), ("2 Wh a day", "It is 383 times the claim."),
])  # fmt: skip
def test_how_far_off_it_is_is_said_without_powers_of_ten(said: str, against: str) -> None:
    assert against in claim(said, **ASKED).sentences[-1]


def test_of_an_empty_unit_a_run_time_is_claimed_in_vain() -> None:
    made = claim("9 h", **ASKED | {"outage": rt.Outage("24 h", start="0 %")})
    assert str(made.measured) == "0 h, give or take 0 h"
    assert not made.agrees


def test_with_mains_that_come_back_longer_than_the_outage_cannot_be_told() -> None:
    mains = rt.Outage("24 h", recharge=rt.Recharge.mains([("4 h", "12 h")], power="300 W"))
    made = claim("60 h", **ASKED | {"outage": mains})
    assert str(made.measured) == "at least 24 h"
    assert made.beyond
    assert not made.agrees
    assert made.sentences[-1] == "Cannot tell: it lasts at least 24 h; ask for a longer outage."
    assert claim("24 h", **ASKED | {"outage": mains}).agrees
    assert not claim("10 h", **ASKED | {"outage": mains}).agrees


def test_a_slip_that_changes_nothing_here_is_not_named() -> None:
    """Without packs the standby counted for every pack is the standby; without mains the unit lasts 25 h."""
    mains = rt.Outage("72 h", recharge=rt.Recharge.mains([("4 h", "12 h")], power="300 W"))
    alone = claim("25 h", **ASKED)
    assert alone.agrees
    made = claim(alone.measured.value, **ASKED | {"outage": mains})
    assert not made.agrees
    assert made.slips == ()


def test_nothing_plugged_in_can_be_claimed_about() -> None:
    made = claim("150 h", **ASKED | {"load": rt.Load.steady("0 W")})
    assert show(made.measured.value)
    assert "inf" not in repr(made)
