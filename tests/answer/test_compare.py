"""A table of units: a row for each, ranked by what is known and no further."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridethrough.answer.compare import COLUMNS, compare
from ridethrough.answer.nothing import BEYOND_RULE, BY_RULE, NOTHING, do_nothing
from ridethrough.answer.outage import Outage
from ridethrough.answer.recommend import recommend, verdicts
from ridethrough.answer.size import size
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import fit_rundowns
from ridethrough.measure.candidates import UnitTable, read_prices, read_units
from ridethrough.model.cabinet import Cabinet
from ridethrough.model.inverter import Ratings
from ridethrough.model.load import Load
from ridethrough.model.price import Price, PriceList
from ridethrough.model.recharge import Recharge
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal, show

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


def listing(*prices: tuple[Any, ...], unit: str = "mine") -> PriceList:
    """Return prices of one unit, each a day after the one before: item, amount, currency, tax included."""
    return PriceList(tuple(Price(unit, *price, date(2026, 1, 5 + n)) for n, price in enumerate(prices)))


def one(table: pd.DataFrame, unit: str = "mine") -> dict[str, Any]:
    """Return the first row of a unit."""
    return dict(table[table["unit"] == unit].iloc[0])


EUR = ("EUR", True)


def test_a_row_for_each_unit_and_outage_by_rank(units: UnitTable) -> None:
    table = compare(LOAD, units, ["6 h", "1 day", "2 days"])
    assert list(table.columns) == list(COLUMNS)
    assert list(table["outage"]) == ["6 h"] * 4 + ["24 h"] * 4 + ["48 h"] * 4
    for _, group in table.groupby("outage", observed=True):
        assert set(group["unit"]) == {"Small", "Large", "Unknown", NOTHING}
        assert list(group["rank"]) == sorted(group["rank"])
    assert [table["price"].dtype, table["chance"].dtype, table["left (Wh)"].dtype] == [float] * 3


def test_each_row_is_its_ledger(units: UnitTable) -> None:
    for row in compare(LOAD, units, ["6 h", "1 day", "3 days"], confidence=0.8).to_dict("records"):
        if row["unit"] in {"Unknown", NOTHING}:
            continue
        found = size(LOAD, row["outage"], like=units[row["unit"]], confidence=0.8)
        assert row["verdict"] == found.account.verdict
        assert row["chance"] == found.account.chance
        assert row["left (Wh)"] == found.account.left.magnitude
        assert row["lasts (h)"] == found.account.lasts.magnitude
        assert row["give or take (Wh)"] == found.account.left.expanded().magnitude
        assert (None if pd.isna(row["packs"]) else row["packs"]) == found.packs


def test_the_cheapest_that_passes_is_first_and_what_does_not_pass_comes_after(units: UnitTable) -> None:
    table = compare(LOAD, units, ["6 h", "1 day"])
    first = table[table["rank"] == 1].set_index("outage")
    assert first.loc["6 h", "unit"] == "Small"
    assert first.loc["24 h", "unit"] == "Large"  # Small is cheaper, and does not last
    assert list(table["unit"][:4]) == ["Small", "Large", "Unknown", NOTHING]  # of Unknown no price is known
    assert list(table["unit"][4:]) == ["Large", "Unknown", "Small", NOTHING]


def test_a_unit_that_does_not_pass_says_with_how_many_packs(units: UnitTable) -> None:
    table = rows(compare(LOAD, units, ["9 days"]))
    large, small = table["Large", "216 h"], table["Small", "216 h"]
    assert pd.isna(large["packs"])
    assert pd.isna(small["packs"])
    beyond = "what the packs take for themselves is not known, and not counted"
    assert large["note"] == f"even with 2 packs; not checked: apparent power, start; {beyond}"
    assert large["limited by"] == "packs"
    assert large["verdict"] == "short"
    assert "pack of" in large["of"]
    assert (small["note"], small["limited by"]) == ("not checked: apparent power, start", "energy")


def test_a_missing_number_is_taken_from_its_band_and_named(units: UnitTable) -> None:
    row = one(compare(LOAD, units, ["6 h"]), "Unknown")
    assert row["note"].startswith("assumed, not stated: standby_w")
    stated = compare(LOAD, {"Unknown": printed(capacity="900 Wh", standby="6.6 W", efficiency="87 %", at="200 W",
                                               rated="600 W")}, ["6 h"])  # fmt: skip
    assert row["give or take (Wh)"] > one(stated, "Unknown")["give or take (Wh)"]
    with pytest.raises(Refusal, match="standby_w"):
        units["Unknown"]


def test_a_number_without_a_band_keeps_its_row_with_the_reason(tmp_path: Any) -> None:
    (tmp_path / "units.csv").write_text(UNITS + "Blank,,iron phosphate,7,87,200,600,,0\n")
    table = compare(LOAD, read_units(tmp_path / "units.csv"), ["6 h"])
    row = one(table, "Blank")
    assert row["verdict"] == "not reckoned"
    assert "capacity_wh" in row["note"]
    assert pd.isna(row["chance"])
    assert row["rank"] == table[table["unit"] != NOTHING]["rank"].max()


@pytest.mark.parametrize(("on", "price"), [("2026-01-31", 410), ("2026-02-10", 380), (None, 380)])
def test_the_price_is_that_of_the_day(units: UnitTable, on: str | None, price: float) -> None:
    row = one(compare(LOAD, units, ["6 h"], on=on), "Small")
    assert (row["price"], row["terms"]) == (price, "EUR with tax")
    assert row["of"] == f"unit of {'2026-01-05' if on == '2026-01-31' else '2026-02-10'}"


def test_before_the_first_price_there_is_none_and_what_passes_comes_after_what_has_one(units: UnitTable) -> None:
    table = compare(LOAD, units, ["6 h"], on="2026-01-04")
    assert table["price"].isna().all()
    assert one(table, "Small")["note"].endswith("no price by 2026-01-04")
    priced = compare(LOAD, {"a": printed(), "b": printed(capacity="4 kWh")}, ["6 h"],
                     prices=listing(("unit", 900, *EUR), unit="a"))  # fmt: skip
    assert [one(priced, "a")["rank"], one(priced, "b")["rank"]] == [1, 2]
    assert "no price" in one(priced, "b")["note"]


@pytest.mark.parametrize(("on", "after", "stale"), [
    ("2026-02-04", None, False), ("2026-02-05", None, True), ("2026-02-05", "40 days", False), (None, None, False),
])  # fmt: skip
def test_an_old_price_is_marked(on: str | None, after: str | None, stale: bool) -> None:
    table = compare(LOAD, {"mine": printed()}, ["6 h"], on=on, prices=listing(("unit", 9, *EUR)), stale_after=after)
    assert one(table)["stale"] == stale


def test_a_bundle_cheaper_than_its_parts_is_taken(units: UnitTable) -> None:
    table = compare(LOAD, units, ["2 days", "3 days"], on="2026-02-01")
    with_bundle = rows(table)["Large", "48 h"]
    assert (with_bundle["packs"], with_bundle["price"], with_bundle["of"]) == (1, 2100, "bundle of 2026-01-20")
    two = rows(table)["Large", "72 h"]
    assert (two["packs"], two["price"]) == (2, 3000)
    assert two["of"] == "bundle of 2026-01-20 + pack of 2026-01-07"
    assert one(compare(LOAD, units, ["2 days"], on="2026-01-10"), "Large")["price"] == 2300
    assert one(compare(LOAD, units, ["3 days"], on="2026-01-10"), "Large")["of"] == (
        "unit of 2026-01-05 + 2 x pack of 2026-01-07"
    )


@pytest.mark.parametrize(("bundle", "price"), [(1500, 1400), (1300, 1300), (800, 800)])
def test_a_bundle_is_taken_where_it_is_cheaper_even_than_the_unit(bundle: float, price: float) -> None:
    prices = listing(("unit", 900, *EUR), ("pack", 500, *EUR), ("bundle", bundle, *EUR))
    table = compare(LOAD, {"mine": printed()}, ["30 h", "5 h"], prices=prices)
    assert list(table[table["unit"] == "mine"]["packs"]) == [1, 0]
    assert list(table[table["unit"] == "mine"]["price"]) == [price, min(900, bundle)]


@pytest.mark.parametrize("pack", [("pack", 500, "EUR", False), ("pack", 500, "CHF", True), ("pack", 500, "EUR", None)])
def test_other_taxes_and_currencies_are_not_added_up(pack: tuple[str, float, str, bool | None]) -> None:
    row = one(compare(LOAD, {"mine": printed()}, ["30 h"], prices=listing(("unit", 900, *EUR), pack)))
    assert row["packs"] == 1
    assert pd.isna(row["price"])
    assert "in one currency and tax" in row["note"]
    prices = listing(("unit", 900, *EUR), pack, ("bundle", 1500, *EUR))
    assert one(compare(LOAD, {"mine": printed()}, ["30 h"], prices=prices))["price"] == 1500


@pytest.mark.parametrize("amounts", [(880, 910), (910, 880)])
def test_of_two_prices_of_one_day_the_lower_counts(amounts: tuple[float, float]) -> None:
    prices = PriceList(tuple(Price("mine", "unit", amount, *EUR, date(2026, 1, 5)) for amount in amounts))
    assert one(compare(LOAD, {"mine": printed()}, ["5 h"], prices=prices))["price"] == 880


def test_one_item_priced_in_two_currencies_keeps_both_apart() -> None:
    """The later line is no newer price of the same thing: unit and pack in EUR still add up, the other is told."""
    prices = listing(("unit", 900, *EUR), ("pack", 500, *EUR), ("bundle", 1390, "XTS", True))
    row = one(compare(LOAD, {"mine": printed()}, ["30 h"], prices=prices))
    assert (row["price"], row["terms"]) == (1400, "EUR with tax")
    assert row["note"].endswith("or 1,390.00 XTS with tax")


TWO = {"cheap": printed(), "dear": printed(capacity="1.3 kWh")}


@pytest.mark.parametrize(("cheap", "given", "ranks", "price"), [
    (("unit", 900, "EUR", False), {}, (1, 1), 900),
    (("unit", 900, "EUR", False), {"tax_rate": "10 %"}, (1, 2), 990),
    (("unit", 900, "EUR", False), {"tax_rate": "25 %"}, (2, 1), 1125),
    (("unit", 900, "EUR", None), {"tax_rate": "25 %"}, (1, 1), 900),
    (("unit", 900, "CHF", True), {}, (1, 1), 900),
    (("unit", 900, "CHF", True), {"rates": {"CHF": 1.05}}, (1, 2), 945),
    (("unit", 900, "CHF", True), {"rates": {"CHF": 1.2}}, (2, 1), 1080),
    (("unit", 900, "CHF", True), {"rates": {"CHF": 1, "EUR": 0.8}}, (2, 1), 900),
    (("unit", 900, "CHF", False), {"rates": {"CHF": 1.05}, "tax_rate": "10 %"}, (2, 1), 1039.5),
    (("unit", 900, "CHF", True), {"rates": {"CHF": 1.05}, "tax_rate": "10 %"}, (1, 2), 945),
])  # fmt: skip
def test_prices_in_other_terms_are_ranked_only_by_a_rate(cheap: Any, given: Any, ranks: Any, price: float) -> None:
    """Never by their numbers: 900 without tax is not less than 1,000 with it."""
    prices = PriceList(listing(cheap, unit="cheap").prices + listing(("unit", 1000, *EUR), unit="dear").prices)
    table = compare(LOAD, TWO, ["6 h"], prices=prices, **given)
    assert tuple(one(table, name)["rank"] for name in TWO) == ranks
    assert one(table, "cheap")["price"] == pytest.approx(price)
    apart = one(table, "cheap")["terms"] != one(table, "dear")["terms"]
    assert ("ranked among prices in" in one(table, "cheap")["note"]) is apart


def test_a_rate_of_tax_may_stand_in_the_list(tmp_path: Any) -> None:
    (tmp_path / "prices.csv").write_text(
        "unit;item;price;currency;tax_included;date;tax_rate_percent\n"
        "cheap;unit;900,00;EUR;no;2026-01-12;25\ndear;unit;1000;EUR;yes;2026-01-12;\n"
    )
    table = compare(LOAD, TWO, ["6 h"], prices=read_prices(tmp_path / "prices.csv"), tax_rate="10 %")
    assert one(table, "cheap")["price"] == 1125
    assert "900.00 EUR without tax, 25 % tax on top" in one(table, "cheap")["of"]


@pytest.mark.parametrize("rates", [{"USD": 0.9}, {"CHF": 0}, {"CHF": "1.05"}, {"CHF": 1.05, "EUR": 0.9}])
def test_rates_that_lead_nowhere_are_refused(rates: Any) -> None:
    prices = PriceList((*listing(("unit", 9, "CHF", True)).prices, *listing(("unit", 10, *EUR)).prices))
    with pytest.raises(Refusal, match="rates="):
        compare(LOAD, {"mine": printed()}, ["6 h"], prices=prices, rates=rates)


def test_the_price_for_each_kwh_is_that_of_what_reaches_the_load() -> None:
    """40 W for 6 h are 240 Wh, of 300 Wh with 10 W beside them; a unit that lasts 6 h of 24 h serves them as well."""
    exact = Estimate.exact
    unit = printed(capacity=exact("300 Wh"), depth_of_discharge="100 %", standby=exact("8 W"),
                   efficiency=exact("80 %"), at="40 W", packs_max=0)  # fmt: skip
    table = compare(Load.steady("40 W"), {"mine": unit}, ["6 h", "24 h"], prices=listing(("unit", 480, *EUR)))
    assert list(table[table["unit"] == "mine"]["lasts (h)"]) == pytest.approx([6, 6])
    assert list(table[table["unit"] == "mine"]["price per kWh"]) == pytest.approx([2000, 2000])


def test_prices_beside_units_of_ones_own_printed_and_measured() -> None:
    line = fit_rundowns([("0 W", "120 h"), ("60 W", "18 h"), ("250 W", "4.8 h")])
    own = BackupUnit.from_rundowns("bench", line, printed="1430 Wh", rated="1150 W")
    prices = PriceList((*listing(("unit", 900, *EUR)).prices, *listing(("unit", 700, *EUR), unit="bench").prices))
    table = compare(LOAD, {"mine": printed(), "bench": own}, [Outage("6 h", start="97 %"), "1 day"], prices=prices)
    assert list(table["unit"][:2]) == ["bench", "mine"]
    bare = compare(LOAD, {"mine": printed(), "bench": own}, ["6 h"])
    assert bare["price"].isna().all()
    assert list(bare["rank"]) == [1, 2, 3]
    assert not bare["note"].str.contains("price").any()


def test_several_loads_and_outages_by_name() -> None:
    loads = {"fridge": LOAD, "lamp": Load.steady("9 W")}
    whens = {"night": "9 h", "with mains": Outage("2 days", recharge=Recharge.mains([("9 h", "40 h")], power="300 W")),
             "two days": "2 days"}  # fmt: skip
    table = compare(loads, {"mine": printed()}, whens)
    assert list(dict.fromkeys(zip(table["load"], table["outage"], strict=True))) == [
        (load, when) for load in loads for when in whens
    ]
    wide = verdicts(table)
    assert list(wide.columns) == ["load", "unit", *whens]
    assert list(wide["load"]) == ["fridge", "fridge", "lamp", "lamp"]
    assert [*wide.iloc[0]][2:] == ["covered", "covered", "covered, 2 packs"]
    again = compare(LOAD, {"mine": printed()}, ["9 h", Outage("9 h", start="50 %")])
    assert list(again["outage"].unique()) == ["9 h", "9 h (2)"]
    with_mains = compare(LOAD, {"mine": printed()}, [whens["two days"], whens["with mains"]])
    assert list(with_mains["outage"].unique()) == ["48 h", "48 h with recharge"]


def test_verdicts_stand_in_the_order_given_and_go_anywhere() -> None:
    small = printed(capacity="900 Wh", packs_max=2)
    table = compare(LOAD, {"z": small, "a": printed(capacity="3 kWh", packs_max=0)}, ["30 h", "9 h", "400 h"])
    wide = verdicts(table)
    assert list(wide.columns) == ["unit", "30 h", "9 h", "400 h"]
    assert list(wide["unit"]) == ["z", "a", NOTHING]
    assert list(wide.iloc[0]) == ["z", "covered, 1 pack", "covered", "short, all packs"]
    for text in (wide.to_markdown(index=False), wide.to_csv(index=False), wide.to_html(index=False)):
        assert "covered, 1 pack" in text


# -- doing nothing ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("cabinets", "hours", "holds"), [
    (["refrigerator"], 4, True), (["refrigerator"], 4.1, False), (["freezer"], 24, True), (["freezer"], 25, False),
    (["freezer", "refrigerator"], 5, False), (["freezer", "refrigerator"], 3, True), ([None], 2, False),
    (["freezer", None], 2, False),
])  # fmt: skip
def test_doing_nothing_passes_as_far_as_the_rule_of_caution(cabinets: Any, hours: float, holds: bool) -> None:
    """USDA FSIS and FoodSafety.gov: refrigerator 4 h, half full freezer 24 h; how full it is nobody said."""
    load = sum(Load.cycling("90 W", "35 %", str(n)).in_a_room_of("20 degC", c) if c else Load.steady("5 W", str(n))
               for n, c in enumerate(cabinets))  # fmt: skip
    table = compare(load, {"mine": printed()}, [f"{hours} h"])
    row = one(table, NOTHING)
    assert row["verdict"] == (BY_RULE if holds else BEYOND_RULE)
    assert row["rank"] == (1 if holds else 2)
    assert "no prediction" in row["note"]
    assert "cold appliances only" in row["note"]
    assert ("not known to be cold" in row["note"]) is (None in cabinets)


def cold(kind: str = "freezer", **told: Any) -> Cabinet:
    return Cabinet(Load.cycling("90 W", "30 %", kind).in_a_room_of("20 degC", kind), **told)


@pytest.mark.parametrize(("box", "outage"), [
    (cold(full=False), Outage("24 h", room="43 degC")), (cold(full=True), Outage("30 h")), (cold(), Outage("20 h")),
    (cold(food="5000 kg"), Outage("47 h")), (cold(food="5000 kg"), Outage("49 h")),
    (cold("refrigerator", food="5000 kg"), Outage("4 h")), (cold("refrigerator", food="2 kg"), Outage("4 h")),
])  # fmt: skip
def test_a_cabinet_caps_the_rule(box: Cabinet, outage: Outage) -> None:
    """As far as `do_nothing` says: by its own rule, and no longer than it predicts."""
    kept = do_nothing(box, outage, draws=2)["kept (h)"][0]
    row = one(compare(box.as_load(), {"mine": printed()}, [outage]), NOTHING)
    assert row["verdict"] == (BY_RULE if outage.hours <= kept else BEYOND_RULE)
    assert f"counts as kept for {show(Q_(kept, 'h'))}" in row["note"]


def test_the_rule_is_for_ordinary_rooms() -> None:
    """Said of what has no cabinet, where it stands; the measurement's room counts where no other is told."""
    load = Load.cycling("90 W", "30 %", "chest").in_a_room_of("20 degC", "freezer")
    warm_one = load.in_a_room_of("30 degC", "freezer")
    for each, room, warm in (
        (load, "43 degC", True), (load, "25 degC", False), (load, None, False), (warm_one, None, True),
        (warm_one, "20 degC", False), (cold().as_load(), "43 degC", False),
    ):  # fmt: skip
        table = compare(each, {"mine": printed()}, [Outage("5 h", room=room)])
        assert ("ordinary rooms" in one(table, NOTHING)["note"]) == warm
        assert ("ordinary rooms" in recommend(table)[0].text) == warm


# -- what limits it --------------------------------------------------------------------------------

RATED = Ratings.of("900 W", rated_va="1200 VA", surge="1500 W", volts="230 V")
SUN = Recharge.series(([0] * 12 + [400] * 12) * 2)


@pytest.mark.parametrize(("load", "unit", "outage", "limit"), [
    (LOAD, {"packs_max": 0}, "3 days", "energy"),
    (LOAD, {"packs_max": 1}, "5 days", "packs"),
    (Load.steady("950 W"), {}, "0.5 h", "inverter"),
    (Load.cycling("300 W", "10 %").made_for("230 V"), {"rated": Ratings.of("900 W", surge="1000 W")}, "1 h",
     "start surge"),
    (Load.steady("30 W").made_for("115 V"), {"rated": RATED}, "1 h", "voltage"),
    (LOAD, {}, "6 h", "not checked"),
    (Load.cycling("90 W", "35 %").made_for("230 V"), {"rated": RATED}, "6 h", ""),
    (LOAD, {"packs_max": 0, "chemistry": "sealed lead-acid", "capacity": "950 Wh"},
     Outage("6 h", unit_at="-15 degC"), "cold"),
    (LOAD, {"packs_max": 0, "capacity": "1 kWh", "charge_power": "5 W"}, Outage("2 days", recharge=SUN), "charger"),
    (LOAD, {"packs_max": 0, "capacity": "300 Wh", "charge_power": "5 W"}, Outage("2 days", recharge=SUN), "energy"),
])  # fmt: skip
def test_what_limits_it_is_named(load: Load, unit: dict[str, Any], outage: Any, limit: str) -> None:
    assert one(compare(load, {"mine": printed(**unit)}, [outage]))["limited by"] == limit


@pytest.mark.parametrize(
    "make",
    [
        lambda: compare(LOAD, {}, ["6 h"]),
        lambda: compare(LOAD, {"mine": printed()}, []),
        lambda: compare(LOAD, {"mine": printed()}, "6 h"),
        lambda: compare(LOAD, {"mine": printed()}, [6]),
        lambda: compare("38 W", {"mine": printed()}, ["6 h"]),
        lambda: compare(LOAD, {"mine": printed()}, ["6 h"], confidence=90),
        lambda: compare(LOAD, [printed()], ["6 h"]),  # type: ignore[arg-type]
        lambda: compare(LOAD, {"mine": "a unit"}, ["6 h"]),  # type: ignore[dict-item]
        lambda: compare({}, {"mine": printed()}, ["6 h"]),
        lambda: compare({"a": "38 W"}, {"mine": printed()}, ["6 h"]),
        lambda: compare(LOAD, {"mine": printed()}, ["6 h", Outage("6 h", room="20 degC")]),
        lambda: compare(LOAD, {"mine": printed()}, ["6 h"], prices=[("unit", 900)]),  # type: ignore[arg-type]
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
    table = compare(LOAD, {"mine": printed()}, outages)
    without, with_it = table[table["unit"] == "mine"].to_dict("records")
    assert with_it["packs"] < without["packs"]


def test_an_inverter_that_is_too_small_says_so() -> None:
    row = compare(Load.steady("950 W"), {"mine": printed(capacity="9 kWh")}, ["1 h"]).iloc[0]
    assert pd.isna(row["packs"])
    assert (row["limited by"], row["verdict"]) == ("inverter", "inverter too small")
    assert row["note"].startswith("no pack makes the inverter larger; steady power: asks 950 W of 900 W")


# -- what any ranking must keep to -----------------------------------------------------------------

NUMBERS = st.fixed_dictionaries({
    "capacity": st.floats(200, 3000), "standby": st.floats(2, 30), "price": st.floats(100, 3000),
    "pack": st.floats(200, 2000), "dear": st.floats(50, 1500), "packs_max": st.integers(0, 2),
})  # fmt: skip


def market(units: list[dict[str, Any]]) -> tuple[dict[str, BackupUnit], PriceList]:
    """Return units of these numbers by "0", "1", ..., and what they cost."""
    built, prices = {}, []
    for n, one_of in enumerate(units):
        built[str(n)] = printed(capacity=f"{one_of['capacity']} Wh", standby=f"{one_of['standby']} W", at="600 W",
                                pack=f"{one_of['pack']} Wh", packs_max=one_of["packs_max"])  # fmt: skip
        prices += [Price(str(n), item, one_of[key], "EUR", True, date(2026, 1, 5))
                   for item, key in (("unit", "price"), ("pack", "dear"))]  # fmt: skip
    return built, PriceList(tuple(prices))


def ranks(units: list[dict[str, Any]]) -> dict[tuple[str, str], int]:
    """Return each unit's rank in each outage."""
    built, prices = market(units)
    table = compare(LOAD, built, ["8 h", "30 h"], prices=prices)
    return {(row["unit"], row["outage"]): row["rank"] for row in table.to_dict("records")}


@settings(max_examples=15, deadline=None)
@given(st.lists(NUMBERS, min_size=1, max_size=3), st.floats(0.5, 0.99), st.floats(1.01, 2))
def test_a_dominated_unit_changes_no_winner_and_is_never_above_what_dominates_it(
    units: list[dict[str, Any]], less: float, more: float
) -> None:
    worse = units[0] | {
        "capacity": units[0]["capacity"] * less, "pack": units[0]["pack"] * less,
        "standby": units[0]["standby"] * more, "price": units[0]["price"] * more, "dear": units[0]["dear"] * more,
    }  # fmt: skip
    before, after = ranks(units), ranks([*units, worse])
    for when in ("8 h", "30 h"):
        assert after["0", when] <= after[str(len(units)), when]
        winners = [{unit for (unit, outage), rank in found.items() if outage == when and rank == 1}
                   for found in (before, after)]  # fmt: skip
        assert winners[0] == winners[1] - {str(len(units))}
        assert str(len(units)) not in winners[1]


@settings(max_examples=15, deadline=None)
@given(st.lists(NUMBERS, min_size=2, max_size=3), st.floats(0.1, 10))
def test_all_prices_times_the_same_change_no_order(units: list[dict[str, Any]], factor: float) -> None:
    scaled = [unit | {"price": unit["price"] * factor, "dear": unit["dear"] * factor} for unit in units]
    assert ranks(units) == ranks(scaled)


# -- facts of the trade: common practice, no source ------------------------------------------------

PACKED = {"packs_max": 3, "pack": "2700 Wh", "pack_standby": "0 W", "depth_of_discharge": "100 %", "rated": "3 kW"}


def at_the_outlet(energy_wh: float, standby_w: float) -> BackupUnit:
    """Return a unit that gives so much beside its standby, packs too, to 2 % for the doubt in its loss."""
    loss_w, exact = standby_w + 0.04 * 3000, Estimate.exact
    return printed(capacity=exact(f"{energy_wh} Wh"), standby=exact(f"{standby_w} W"), **PACKED,
                   efficiency=exact(f"{100 * 3000 / (3000 + loss_w)} %"), at="3 kW")  # fmt: skip


@pytest.mark.parametrize(("a_day", "packs"), [(1300, (2, 1)), (1300 / 3, (1, 0))])
def test_what_stays_on_decides_over_three_days(a_day: float, packs: tuple[int, int]) -> None:
    """Two units of 2,800 Wh, packs of 2,700 Wh, 37 W against 20 W of standby, three days of 1,300 Wh.

    1,300 Wh a day: 3,900 + 72 x 37 = 6,564 of 2,800 + 2 x 2,700; 3,900 + 72 x 20 = 5,340 of 2,800 + 2,700: two packs
    and one. This reading holds. 1,300 Wh in all: 1,300 + 2,664 = 3,964, one pack; 1,300 + 1,440 = 2,740, none.
    """
    units = {"37 W": at_the_outlet(2800, 37), "20 W": at_the_outlet(2800, 20)}
    table = compare(Load.steady(f"{a_day / 24} W"), units, ["72 h"])
    assert tuple(one(table, name)["packs"] for name in units) == packs


def test_for_half_a_day_on_one_refrigerator_a_few_watts_of_standby_decide_nothing() -> None:
    """18 W against 14 W are 48 Wh in 12 h."""
    units = {f"{watts} W": printed().with_standby(f"{watts} W") for watts in (18, 14)}
    table = compare(Load.cycling("110 W", "40 %", day_spread="90 Wh"), units, ["12 h"])
    assert list(table["verdict"][:2]) == ["covered", "covered"]
    assert list(table["packs"][:2]) == [0, 0]
    assert one(table, "14 W")["left (Wh)"] - one(table, "18 W")["left (Wh)"] == pytest.approx(48)
