"""What the inverter was checked for, and what travels as "not checked" to the end."""

from dataclasses import replace
from typing import Any

import pytest

from ridethrough.answer.headroom import headroom, worst_of
from ridethrough.answer.ledger import ledger
from ridethrough.model.inverter import Ratings
from ridethrough.model.load import Load
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal


def unit(rated: str = "800 W", **ratings: Any) -> BackupUnit:
    return BackupUnit.from_print(
        "mine", capacity="1 kWh", chemistry="iron phosphate", standby="9 W", rated=Ratings.of(rated, **ratings),
        efficiency="88 %", at="300 W",
    )  # fmt: skip


def fridge(**known: object) -> Load:
    appliance = Load.cycling("80 W", "40 %", "fridge").appliances[0]
    return Load((replace(appliance, **{"motor": Q_(80, "W"), **known}),))  # type: ignore[arg-type]


def findings(load: Load, which: BackupUnit) -> list[str]:
    return [check.finding for check in headroom(load, which)]


def test_a_load_whose_peak_was_not_measured_is_not_checked() -> None:
    unknown = fridge(peak=None)
    assert findings(unknown, unit(rated_va="800 VA", surge="1600 W")) == ["not checked"] * 3
    assert "inverter not checked" in str(ledger(unknown, unit(), "12 h"))


@pytest.mark.parametrize(
    ("surge", "finding"),
    [("900 W", "carries it"), ("500 W", "not checked"), ("300 W", "does not carry it"), (None, "not checked")],
)
def test_a_start_is_a_band_until_it_is_measured(surge: str | None, finding: str) -> None:
    """80 W running asks 320 to 880 W in a start."""
    ratings = {} if surge is None else {"surge": surge}
    assert findings(fridge(), unit("300 W", **ratings))[2] == finding


def test_a_caught_start_is_at_least_what_is_asked() -> None:
    assert findings(fridge(surge=Q_(700, "W")), unit("500 W", surge="600 W"))[2] == "does not carry it"
    assert findings(fridge(surge=Q_(700, "W")), unit(surge="800 W"))[2] == "not checked"


def test_steady_and_apparent_power() -> None:
    assert findings(Load.steady("900 W"), unit())[0] == "does not carry it"
    assert findings(Load.steady("100 W"), unit(rated_va="200 VA"))[:2] == ["carries it", "carries it"]
    assert findings(Load.steady("100 W"), unit(rated_va="99 VA"))[1] == "does not carry it"
    assert findings(fridge(), unit(rated_va="120 VA"))[1] == "not checked"
    assert findings(fridge(), unit(rated_va="80 VA"))[1] == "does not carry it"


def test_the_rest_of_the_load_runs_while_one_motor_starts() -> None:
    both = fridge() + Load.steady("100 W")
    assert "asks 420 W to 980 W" in str(headroom(both, unit(surge="2 kW"))[2])


def test_a_steady_load_has_no_motor_to_start() -> None:
    assert findings(Load.steady("5 W"), unit(surge="2 kW"))[2] == "not checked"


@pytest.mark.parametrize(
    ("ratings", "load", "what", "finding"),
    [
        ({"waveform": "sine"}, fridge(), "waveform", "carries it"),
        ({"waveform": "stepped"}, fridge(), "waveform", "not checked"),
        ({"volts": "230 V"}, Load.steady("5 W").made_for("240 V"), "voltage", "carries it"),
        ({"volts": "230 V"}, Load.steady("5 W").made_for("120 V"), "voltage", "does not carry it"),
        ({"volts": "230 V"}, Load.steady("5 W"), "voltage", "not checked"),
        ({"sleeps_below": "8 W"}, Load.steady("5 W"), "smallest power", "does not carry it"),
        ({"sleeps_below": "8 W"}, fridge(), "smallest power", "not checked"),
        ({"sleeps_below": "8 W"}, fridge() + Load.steady("9 W"), "smallest power", "carries it"),
    ],
)
def test_what_the_sheet_states_is_checked(ratings: dict[str, str], load: Load, what: str, finding: str) -> None:
    found = {check.what: check.finding for check in headroom(load, unit(**ratings))}
    assert found[what] == finding
    assert set(found) == {"steady power", "apparent power", "start", what}


# --- Several motors: one start at a time, but all at once after a restart ---------------------------------


def test_a13_after_a_restart_all_motors_start_at_once() -> None:
    """80 W each running ask 320 to 880 W in a start: one beside two that run, 480 to 1,040 W; three, 960 to 2,640 W."""
    three, two = fridge() + fridge() + fridge(), unit(surge="1100 W")
    checks = {check.what: check for check in headroom(three, two)}
    assert checks["start"].finding == "carries it"
    assert checks["restart"].finding == "not checked"
    assert "asks 960 W to 2,640 W" in str(checks["restart"])
    assert "plug in one after the other" in checks["restart"].why
    assert "restart" not in {check.what for check in headroom(fridge(), two)}


@pytest.mark.parametrize(("surge", "finding"), [("900 W", "does not carry it"), ("2700 W", "carries it")])
def test_a13_a_restart_decides_no_verdict(surge: str, finding: str) -> None:
    """They can be plugged in one after the other."""
    three = fridge(surge=Q_(300, "W")) + fridge(surge=Q_(300, "W")) + fridge(surge=Q_(300, "W"))
    able = unit(surge=surge, rated_va="1 kVA")
    assert {check.what: check.finding for check in headroom(three, able)}["restart"] == finding
    assert ledger(three, able, "1 h").verdict == "covered"
    assert worst_of(three, able) != "does not carry it"


def test_a13_only_motors_have_a_power_factor() -> None:
    """200 W of heat are 200 VA; a motor of 80 W 84 to 145 VA."""
    heater, cooker = Load.cycling("150 W", "50 %", "heater", motor=False), Load.steady("50 W", "coffee")
    found = str(headroom(heater + cooker + fridge(), unit(rated_va="800 VA"))[1])
    assert f"asks {200 + 80 / 0.95:.0f} VA to {200 + 80 / 0.55:.0f} VA" in found
    assert "asks 200 VA of" in str(headroom(heater + cooker, unit(rated_va="800 VA"))[1])


def test_split_phase_halves_what_one_leg_carries() -> None:
    """800 W over two legs carry 400 W on one; between, it depends on which outlets are used."""
    found = [findings(Load.steady(f"{load} W"), unit(legs=2))[0] for load in (399, 401, 801)]
    assert found == ["carries it", "not checked", "does not carry it"]


@pytest.mark.parametrize("wrong", [{"waveform": "square"}, {"legs": 3}, {"sleeps_below": "0 W"}, {"volts": "230 W"}])
def test_ratings_that_can_t_be_are_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(Refusal):
        unit(**wrong)
