"""A table of units: a row for each, in the order given, which claims no more than is known."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd
import pytest

from ridethrough.answer.compare import COLUMNS, compare
from ridethrough.answer.outage import Outage
from ridethrough.answer.size import size
from ridethrough.measure.candidates import UnitTable, read_units
from ridethrough.model.load import Load
from ridethrough.model.price import Price
from ridethrough.model.recharge import Recharge
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Refusal

LOAD = Load.cycling("90 W", "35 %", day_spread="60 Wh")


def printed(**more: Any) -> BackupUnit:
    return BackupUnit.from_print("mine", **{
        "capacity": "1.23 kWh", "chemistry": "iron phosphate", "standby": "8 W", "efficiency": "87 %", "at": "250 W",
        "rated": "900 W", "pack": "710 Wh", "packs_max": 4, "pack_standby": "1.5 W",
    } | more)  # fmt: skip


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
        assert row["left (Wh)"] == found.account.left.magnitude
        assert row["give or take (Wh)"] == found.account.left.expanded().magnitude
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
    table = compare(LOAD, {"one": printed(), "two": printed(capacity="2 kWh")}, [Outage("6 h", start="97 %"), "1 day"])
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
    ],
)
def test_what_is_wrong_for_every_unit_is_refused_and_not_a_row(make: Any) -> None:
    with pytest.raises(Refusal):
        make()


def test_a_day_that_is_none_is_refused(units: UnitTable) -> None:
    with pytest.raises(Refusal, match="2026-02-01"):
        compare(LOAD, units, ["6 h"], on="February")


def test_recharge_counts_in_a_table_too() -> None:
    outages = [Outage("2 days", recharge=each) for each in ((), Recharge.mains([("20 h", "30 h")], power="300 W"))]
    without, with_it = compare(LOAD, {"mine": printed()}, outages).to_dict("records")
    assert with_it["packs"] < without["packs"]


def test_an_inverter_that_is_too_small_says_so() -> None:
    row = compare(Load.steady("950 W"), {"mine": printed(capacity="9 kWh")}, ["1 h"]).iloc[0]
    assert pd.isna(row["packs"])
    assert (row["inverter"], row["verdict"]) == ("does not carry it", "inverter too small")
    assert row["note"] == "no pack makes the inverter larger"
