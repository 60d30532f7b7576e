"""How big, backward: there and back again, the fewest packs, and a table of units that claims no more than it knows."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridethrough.answer.compare import COLUMNS, compare
from ridethrough.answer.ledger import ledger
from ridethrough.answer.outage import Outage
from ridethrough.answer.size import size
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import fit_rundowns
from ridethrough.measure.candidates import UnitTable, read_units
from ridethrough.model.battery import CHEMISTRIES
from ridethrough.model.inverter import Inverter
from ridethrough.model.load import Load
from ridethrough.model.price import Price
from ridethrough.model.recharge import Recharge
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal

LINE = fit_rundowns([("0 W", "71 h"), ("70 W", "13.6 h"), ("260 W", "4.4 h")], repeatability="2 %", room="20 degC")
LOAD = Load.cycling("90 W", "35 %", day_spread="60 Wh")


def printed(**more: Any) -> BackupUnit:
    given: dict[str, Any] = {
        "capacity": "1.23 kWh", "chemistry": "iron phosphate", "standby": "8 W", "efficiency": "87 %", "at": "250 W",
        "rated": "900 W", "pack": "710 Wh", "packs_max": 4, "pack_standby": "1.5 W",
    }  # fmt: skip
    return BackupUnit.from_print("mine", **given | more)


def measured() -> BackupUnit:
    return BackupUnit.from_rundowns("mine", LINE, printed="1230 Wh", rated="900 W", pack="710 Wh", packs_max=4)


def wh(value: Any) -> float:
    return float(value.m_as("Wh"))


# --- There and back ---------------------------------------------------------------------------------


@settings(max_examples=12, deadline=None)
@given(
    by_runs=st.booleans(), chemistry=st.sampled_from(CHEMISTRIES), hours=st.floats(1, 200), aim=st.floats(0.05, 0.99),
    start=st.floats(0.5, 1), unit_at=st.sampled_from([None, "4 degC", "30 degC"]), reserve=st.floats(0, 500),
    spread=st.floats(1, 200),
)  # fmt: skip
def test_a_unit_of_that_capacity_has_exactly_that_chance(
    by_runs: bool, chemistry: str, hours: float, aim: float, start: float, unit_at: Any, reserve: float, spread: float
) -> None:
    load = Load.cycling("90 W", "35 %", day_spread=Q_(spread, "Wh"))
    like = measured() if by_runs else printed(chemistry=chemistry)
    outage = Outage(Q_(hours, "h"), start=start, unit_at=unit_at, reserve=Q_(reserve, "Wh"))
    found = size(load, outage, like=like, confidence=aim)
    assert ledger(load, like.with_capacity(found.printed), outage).chance == pytest.approx(aim, abs=1e-6)
    assert ledger(load, like.with_capacity(1.001 * found.printed), outage).chance > aim


def test_where_all_is_exact_it_is_enough_to_the_last_watt_hour() -> None:
    no_loss = Inverter.fit([("0 W", "0 W"), ("500 W", "500 W"), ("900 W", "900 W")], "900 W")
    like = BackupUnit.from_print("exact", capacity="1 kWh", chemistry="iron phosphate", inverter=no_loss, rated="900 W",
                                 depth_of_discharge="80 %", rating_hours="6 min")  # fmt: skip
    for watts in (30, 37.7, 41.3, 55.1):
        found = size(Load.steady(Q_(watts, "W")), "24 h", like=like)
        assert wh(found.printed) == pytest.approx(watts * 24 / 0.8)
        assert ledger(Load.steady(Q_(watts, "W")), like.with_capacity(found.printed), "24 h").verdict == "covered"


@settings(max_examples=5, deadline=None)
@given(hours=st.floats(1, 200), more=st.floats(1, 50), aim=st.floats(0.5, 0.95))
def test_more_of_anything_asks_for_more(hours: float, more: float, aim: float) -> None:
    base = wh(size(LOAD, Q_(hours, "h"), like=printed(), confidence=aim).printed)
    harder = (
        size(LOAD, Q_(hours + more, "h"), like=printed(), confidence=aim),
        size(LOAD + Load.steady(Q_(more, "W")), Q_(hours, "h"), like=printed(), confidence=aim),
        size(LOAD, Q_(hours, "h"), like=printed().with_standby(Q_(8 + more, "W")), confidence=aim),
        size(LOAD, Outage(Q_(hours, "h"), start="90 %"), like=printed(), confidence=aim),
        size(LOAD, Outage(Q_(hours, "h"), reserve=Q_(more, "Wh")), like=printed(), confidence=aim),
        size(LOAD, Q_(hours, "h"), like=printed(), confidence=aim + 0.04),
    )
    assert all(wh(each.printed) > base for each in harder)


# --- Packs ------------------------------------------------------------------------------------------


@settings(max_examples=12, deadline=None)
@given(hours=st.floats(1, 120), aim=st.floats(0.05, 0.99), added=st.integers(0, 2))
def test_the_fewest_packs_are_the_fewest(hours: float, aim: float, added: int) -> None:
    like, outage = printed().with_packs(added), Outage(Q_(hours, "h"))
    found = size(LOAD, outage, like=like, confidence=aim)
    chances = [ledger(LOAD, like.with_packs(n), outage).chance for n in range(5 - added)]
    passing = [n for n, chance in enumerate(chances) if chance >= aim]
    assert found.packs == (min(passing) if passing else None)
    assert found.account.chance == chances[passing[0] if passing else -1]
    assert found.account.unit.packs == added + (min(passing) if passing else 4 - added)


def test_a_pack_that_eats_more_than_it_brings_does_not_help() -> None:
    like = printed(pack="50 Wh", pack_standby="20 W")
    found = size(LOAD, "26 h", like=like)
    assert found.packs is None
    assert found.account.chance < ledger(LOAD, like, "26 h").chance


def test_a_unit_without_packs_does_or_does_not() -> None:
    alone = printed(pack=None, packs_max=0)
    assert size(LOAD, "5 h", like=alone).packs == 0
    assert size(LOAD, "9 days", like=alone).packs is None
    assert "does not, and takes no more" in repr(size(LOAD, "9 days", like=alone))
    assert repr(size(LOAD, "5 h", like=alone)).endswith("mine does>")


def test_no_number_of_packs_makes_an_inverter_larger() -> None:
    heavy = Load.steady("950 W")
    found = size(heavy, "1 h", like=printed(capacity="9 kWh"))
    assert found.account.chance > 0.99
    assert found.inverter == "does not carry it"
    assert found.packs is None
    row = compare(heavy, {"mine": printed(capacity="9 kWh")}, ["1 h"]).iloc[0]
    assert pd.isna(row["packs"])
    assert row["inverter"] == "does not carry it"


def test_the_confidence_left_out_is_the_covered_verdict() -> None:
    found = size(LOAD, "40 h", like=printed())
    assert found.confidence == 0.9
    assert found.account.verdict == "covered"
    assert wh(found.printed) == pytest.approx(wh(size(LOAD, "40 h", like=printed(), confidence=0.9).printed))


# --- What it refuses ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: size(LOAD, Outage("9 h", recharge=Recharge.series([3.0])), like=printed()), "recharge"),
        (lambda: size(LOAD, "9 h", like=printed(), confidence=90), "90 %"),
        (lambda: size(LOAD, "9 h", like=printed(), confidence=1), "confidence=0.9"),
        (lambda: size(LOAD, "9 h", like=printed(), confidence=0), "confidence=0.9"),
        (lambda: size(LOAD, "9 h", like=printed(), confidence="sure"), "a number and a unit"),  # type: ignore[arg-type]
        (lambda: size("38 W", "9 h", like=printed()), "a load"),  # type: ignore[arg-type]
        (lambda: size(LOAD, 9, like=printed()), "bare number"),
        (lambda: size(LOAD, Outage("9 h", start="0 %"), like=printed()), "some box can carry"),
        (lambda: size(LOAD, Outage("9 h", start="20 %", unit_at="0 degF"), like=printed(chemistry="sealed lead-acid")),
         "some box can carry"),
        (lambda: size(LOAD, "9 h", like="mine"), "unit"),  # type: ignore[arg-type]
        (lambda: size(LOAD, "9 h", like=printed(health=Estimate.standard("90 %", "90 %", "age")), confidence=0.95),
         "some box can carry"),
    ],
)  # fmt: skip
def test_it_refuses(make: Any, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        make()


def test_nothing_to_carry_needs_nothing_printed() -> None:
    """No load and no standby: any capacity does; it says so instead of looking for the least."""
    no_loss = Inverter.fit([("0 W", "0 W"), ("500 W", "500 W"), ("900 W", "900 W")], "900 W")
    like = BackupUnit.from_print("exact", capacity="1 kWh", chemistry="iron phosphate", inverter=no_loss, rated="900 W",
                                 depth_of_discharge="80 %")  # fmt: skip
    with pytest.raises(Refusal, match="takes energy"):
        size(Load.steady("0 W"), "24 h", like=like)


# --- A table of units ---------------------------------------------------------------------------------

UNITS = """name,capacity_wh,chemistry,standby_w,efficiency_percent,efficiency_at_w,rated_w,pack_wh,packs_max
Small,640,iron phosphate,7,87,200,600,,0
Large,1900,iron phosphate,14,90,400,1800,1500,2
Unknown,900,iron phosphate,,87,200,600,,0
"""
PRICES = """unit,item,price,currency,tax_included,date
Small,unit,410,EUR,yes,2026-01-05
Small,unit,380,EUR,yes,2026-02-10
Large,unit,1400,EUR,yes,2026-01-05
Large,pack,900,EUR,yes,2026-01-07
Large,bundle,2100,EUR,yes,2026-01-20
"""


@pytest.fixture
def units(tmp_path: Any) -> UnitTable:
    (tmp_path / "units.csv").write_text(UNITS)
    (tmp_path / "prices.csv").write_text(PRICES)
    return read_units(tmp_path / "units.csv", prices=tmp_path / "prices.csv")


def rows(table: pd.DataFrame) -> dict[tuple[str, str], dict[str, Any]]:
    """Return the rows by unit and outage."""
    return {(row["unit"], row["outage"]): row for row in table.to_dict("records")}  # type: ignore[misc]


class Shelf(dict[str, BackupUnit]):
    """Units with prices of our own, as `compare` asks for them."""

    def __init__(self, unit: BackupUnit, *prices: tuple[str, float, str, bool | None]) -> None:
        super().__init__(mine=unit)
        self.listed = tuple(Price("mine", *price, date(2026, 1, 5 + n)) for n, price in enumerate(prices))

    def prices(self, name: str, on: Any = None) -> tuple[Price, ...]:
        return self.listed


def test_a_row_for_each_unit_and_outage_in_the_order_given(units: UnitTable) -> None:
    table = compare(LOAD, units, ["6 h", "1 day", "2 days"])
    assert list(table.columns) == list(COLUMNS)
    assert list(table["unit"]) == ["Small"] * 3 + ["Large"] * 3 + ["Unknown"] * 3
    assert list(table["outage"]) == ["6 h", "24 h", "48 h"] * 3


def test_each_row_is_its_ledger(units: UnitTable) -> None:
    for row in compare(LOAD, units, ["6 h", "1 day", "3 days"], confidence=0.8).to_dict("records"):
        if row["unit"] == "Unknown":
            continue
        found = size(LOAD, row["outage"], like=units[row["unit"]], confidence=0.8)
        assert row["verdict"] == found.account.verdict
        assert row["chance"] == found.account.chance
        assert row["left (Wh)"] == wh(found.account.left.value)
        assert row["give or take (Wh)"] == wh(found.account.left.expanded())
        assert (None if pd.isna(row["packs"]) else row["packs"]) == found.packs


def test_a_unit_that_does_not_pass_says_with_how_many_packs(units: UnitTable) -> None:
    table = rows(compare(LOAD, units, ["9 days"]))
    large, small = table["Large", "216 h"], table["Small", "216 h"]
    assert pd.isna(large["packs"])
    assert pd.isna(small["packs"])
    assert large["note"] == "even with 2 packs"
    assert large["verdict"] == "short"
    assert "pack of" in large["of"]
    assert small["note"] == ""


def test_a_missing_number_keeps_its_row(units: UnitTable) -> None:
    row = compare(LOAD, units, ["6 h"]).set_index("unit").loc["Unknown"]
    assert row["verdict"] == "not reckoned"
    assert "standby_w" in row["note"]
    assert pd.isna(row["packs"])
    assert pd.isna(row["chance"])


@pytest.mark.parametrize(("on", "price"), [("2026-01-31", "410.00"), ("2026-02-10", "380.00"), (None, "380.00")])
def test_the_price_is_that_of_the_day(units: UnitTable, on: str | None, price: str) -> None:
    row = compare(LOAD, units, ["6 h"], on=on).iloc[0]
    assert row["price"] == f"{price} EUR with tax"
    assert row["of"] == f"unit of {'2026-01-05' if on == '2026-01-31' else '2026-02-10'}"


def test_before_the_first_price_there_is_none(units: UnitTable) -> None:
    row = compare(LOAD, units, ["6 h"], on="2025-12-31").iloc[0]
    assert pd.isna(row["price"])
    assert row["packs"] == 0


def test_a_bundle_cheaper_than_its_parts_is_taken(units: UnitTable) -> None:
    table = compare(LOAD, units, ["2 days", "3 days"], on="2026-02-01")
    with_bundle = rows(table)["Large", "48 h"]
    assert with_bundle["packs"] == 1
    assert with_bundle["price"] == "2,100.00 EUR with tax"
    assert with_bundle["of"] == "bundle of 2026-01-20"
    two = rows(table)["Large", "72 h"]
    assert two["packs"] == 2
    assert two["price"] == "3,000.00 EUR with tax"
    assert two["of"] == "bundle of 2026-01-20 + pack of 2026-01-07"
    before = compare(LOAD, units, ["2 days"], on="2026-01-10").iloc[1]
    assert before["price"] == "2,300.00 EUR with tax"


def test_a_bundle_dearer_than_its_parts_is_not() -> None:
    shelf = Shelf(printed(), ("unit", 900, "EUR", True), ("pack", 500, "EUR", True), ("bundle", 1500, "EUR", True))
    assert compare(LOAD, shelf, ["30 h"]).loc[0, "price"] == "1,400.00 EUR with tax"


@pytest.mark.parametrize("pack", [("pack", 500, "EUR", False), ("pack", 500, "CHF", True), ("pack", 500, "EUR", None)])
def test_other_taxes_and_currencies_are_not_added_up(pack: tuple[str, float, str, bool | None]) -> None:
    row = compare(LOAD, Shelf(printed(), ("unit", 900, "EUR", True), pack), ["30 h"]).iloc[0]
    assert row["packs"] == 1
    assert pd.isna(row["price"])
    assert "do not add up" in row["of"]


def test_a_bundle_stands_where_its_parts_do_not_add_up() -> None:
    shelf = Shelf(printed(), ("unit", 900, "EUR", True), ("pack", 500, "EUR", False), ("bundle", 1500, "EUR", True))
    assert compare(LOAD, shelf, ["30 h"]).loc[0, "price"] == "1,500.00 EUR with tax"


def test_prices_of_two_currencies_are_not_ranked_by_their_numbers() -> None:
    """1,400 EUR is not less than 1,500 of another currency because 1,400 is less than 1,500: both ways are told."""
    shelf = Shelf(printed(), ("unit", 900, "EUR", True), ("pack", 500, "EUR", True), ("bundle", 1500, "XTS", True))
    row = compare(LOAD, shelf, ["30 h"]).iloc[0]
    assert pd.isna(row["price"]) or ("EUR" in row["price"] and "XTS" in row["price"])


def test_one_item_priced_in_two_currencies_keeps_both_apart() -> None:
    """The later line is no newer price of the same thing: unit and pack in EUR still add up."""
    shelf = Shelf(printed(), ("unit", 900, "EUR", True), ("pack", 500, "EUR", True), ("unit", 950, "XTS", True))
    assert "1,400.00 EUR" in str(compare(LOAD, shelf, ["30 h"]).loc[0, "price"])


def test_without_a_pack_price_there_is_no_price() -> None:
    row = compare(LOAD, Shelf(printed(), ("unit", 900, "EUR", True)), ["30 h", "5 h"])
    assert list(row["price"].isna()) == [True, False]
    assert row.loc[1, "price"] == "900.00 EUR with tax"


def test_units_of_ones_own_need_no_prices() -> None:
    table = compare(LOAD, {"one": printed(), "two": measured()}, [Outage("6 h", start="97 %"), "1 day"])
    assert table["price"].isna().all()
    assert (table["verdict"] != "not reckoned").all()


@pytest.mark.parametrize(
    "make",
    [
        lambda: compare(LOAD, {}, ["6 h"]),
        lambda: compare(LOAD, {"mine": printed()}, []),
        lambda: compare(LOAD, {"mine": printed()}, "6 h"),
        lambda: compare(LOAD, {"mine": printed()}, [6]),
        lambda: compare("38 W", {"mine": printed()}, ["6 h"]),  # type: ignore[arg-type]
        lambda: compare(LOAD, {"mine": printed()}, ["6 h"], confidence=90),
        lambda: compare(LOAD, [printed()], ["6 h"]),  # type: ignore[arg-type]
        lambda: compare(LOAD, {"mine": "a unit"}, ["6 h"]),  # type: ignore[dict-item]
        lambda: compare(LOAD, {"mine": printed()}, [Outage("6 h", recharge=Recharge.series([3.0]))]),
    ],
    ids=[
        "no unit",
        "no outage",
        "text",
        "a bare number",
        "no load",
        "confidence of 90",
        "a list",
        "no unit",
        "recharge",
    ],
)
def test_what_is_wrong_for_every_unit_is_refused_and_not_a_row(make: Any) -> None:
    with pytest.raises(Refusal):
        make()


def test_a_day_that_is_none_is_refused(units: UnitTable) -> None:
    with pytest.raises(Refusal, match="2026-02-01"):
        compare(LOAD, units, ["6 h"], on="February")
