"""What the inverter was checked for, and what travels as "not checked" to the end."""

from dataclasses import replace

import pytest

from ridethrough.answer.headroom import headroom
from ridethrough.answer.ledger import ledger
from ridethrough.model.load import Load
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_


def unit(**ratings: str) -> BackupUnit:
    return BackupUnit.from_print(
        "mine", capacity="1 kWh", chemistry="iron phosphate", standby="9 W", rated="800 W", efficiency="88 %",
        at="300 W", **ratings,
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
    [("900 W", "carries it"), ("500 W", "not checked"), ("300 W", "too much"), (None, "not checked")],
)
def test_a_start_is_a_band_until_it_is_measured(surge: str | None, finding: str) -> None:
    """80 W running asks 320 to 880 W in a start."""
    ratings = {} if surge is None else {"surge": surge}
    assert findings(fridge(), unit(**ratings))[2] == finding


def test_a_caught_start_is_at_least_what_is_asked() -> None:
    assert findings(fridge(surge=Q_(700, "W")), unit(surge="600 W"))[2] == "too much"
    assert findings(fridge(surge=Q_(700, "W")), unit(surge="800 W"))[2] == "not checked"


def test_steady_and_apparent_power() -> None:
    assert findings(Load.steady("900 W"), unit())[0] == "too much"
    assert findings(Load.steady("100 W"), unit(rated_va="200 VA"))[:2] == ["carries it", "carries it"]
    assert findings(Load.steady("100 W"), unit(rated_va="150 VA"))[1] == "not checked"
    assert findings(Load.steady("100 W"), unit(rated_va="100 VA"))[1] == "too much"


def test_the_rest_of_the_load_runs_while_one_motor_starts() -> None:
    both = fridge() + Load.steady("100 W")
    assert "asks 420 W to 980 W" in str(headroom(both, unit(surge="2 kW"))[2])


def test_a_steady_load_has_no_motor_to_start() -> None:
    assert findings(Load.steady("5 W"), unit(surge="2 kW"))[2] == "not checked"
