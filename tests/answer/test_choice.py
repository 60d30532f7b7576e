"""Where one choice overtakes another: every threshold is held against `compare` on both sides of it."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd
import pytest

from ridethrough.answer.choice import NONE, OTHER_TERMS, frontier, what_would_change
from ridethrough.answer.compare import compare
from ridethrough.answer.nothing import NOTHING
from ridethrough.answer.outage import Outage
from ridethrough.measure.bench import fit_rundowns
from ridethrough.model.cabinet import Cabinet
from ridethrough.model.load import Load
from ridethrough.model.price import Price, PriceList
from ridethrough.model.recharge import Generator, Recharge
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Refusal

FRIDGE = Load.cycling("75 W", "42 %", "fridge", day_spread="40 Wh").in_a_room_of("19 degC")
LAMP = Load.steady("28 W")


def unit(capacity: str, standby: str, **more: Any) -> BackupUnit:
    return BackupUnit.from_print("any", capacity=capacity, standby=standby, **{
        "chemistry": "iron phosphate", "efficiency": "88 %", "at": "240 W", "rated": "900 W"} | more)  # fmt: skip


KNOWN = {"packs_max": 1, "pack_standby": "0 W"}
UNITS = {"large": unit("3900 Wh", "19 W", pack="2100 Wh", **KNOWN), "small": unit("760 Wh", "6 W"),
         "weak": unit("9 kWh", "8 W", rated="310 W", efficiency="80 %", at="200 W"),
         "middle": unit("1350 Wh", "9 W", pack="1100 Wh", **KNOWN), "dear": unit("1250 Wh", "9 W")}  # fmt: skip
LISTED = (("large", "unit", 1900), ("large", "pack", 1300), ("small", "unit", 500), ("weak", "unit", 100),
          ("middle", "unit", 1000), ("middle", "pack", 750), ("dear", "unit", 1450))  # fmt: skip
PRICES = PriceList(tuple(Price(name, item, amount, "EUR", True, date(2026, 4, 1)) for name, item, amount in LISTED))
MARKET = {name: each for name, each in UNITS.items() if name != "weak"}
PEAKY = FRIDGE + Load.steady("1 W", "x").with_peak("300 W")  # what "weak" can't carry


def winner(load: Load, outage: Any, units: Any = UNITS, **more: Any) -> str:
    """Return the first of a comparison with its packs; that nothing is, where none passes."""
    row = compare(load, units, [outage], **({"prices": PRICES} | more)).iloc[0]
    packs = 0 if pd.isna(row["packs"]) else row["packs"]
    passing = row["unit"] == NOTHING or not pd.isna(row["packs"])
    return f"{row['unit']}{f' with {packs} pack' if packs else ''}" if passing else NONE


def test_each_step_is_the_first_of_a_comparison_on_both_sides_of_its_ends() -> None:
    table = frontier(PEAKY, UNITS, prices=PRICES)
    steps = table.dropna(subset="from (h)")
    assert list(steps["choice"]) == ["small", "middle", "middle with 1 pack", "large", "large with 1 pack", NONE]
    assert list(steps["from (h)"]) == [0, *steps["to (h)"][:-1]]
    assert steps["to (h)"].iloc[-1] == 336
    for choice, begin, end in steps.iloc[:, :3].itertuples(index=False):
        assert winner(PEAKY, f"{begin + 0.01} h") == choice
        assert winner(PEAKY, f"{end - 0.01} h") == choice


def test_a_step_says_what_it_costs_and_how_standby_moves_its_end() -> None:
    row = frontier(LAMP, MARKET, prices=PRICES).set_index("choice").loc["large"]
    assert (row["price"], row["terms"], row["of"]) == (1900, "EUR with tax", "unit of 2026-04-01")
    assert row["in words"].startswith("large, 1,900.00 EUR with tax: from ")
    for column, times in (("to (h), half its standby", 0.5), ("to (h), twice its standby", 2)):
        other = {"large": UNITS["large"].with_standby(UNITS["large"].standby * times)}
        assert winner(LAMP, f"{row[column] - 0.01} h", other) == "large"
        assert winner(LAMP, f"{row[column] + 0.01} h", other) != "large"


def test_the_rule_of_caution_is_the_first_step_of_cold_appliances() -> None:
    table = frontier(FRIDGE, UNITS, prices=PRICES)
    assert list(table.loc[0, ["choice", "from (h)", "to (h)", "price"]]) == [NOTHING, 0, 4, 0]
    assert winner(FRIDGE, "3.9 h") == NOTHING
    assert frontier(LAMP, UNITS, prices=PRICES).loc[0, "choice"] != NOTHING


def test_a_door_stays_shut_no_longer_than_its_cabinet_predicts_and_the_rule_is_for_ordinary_rooms() -> None:
    box, hot = Cabinet(FRIDGE, food="5 kg"), Outage("14 days", room="40 degC")
    capped, warned = (frontier(load, UNITS, hot, prices=PRICES).iloc[0] for load in (box.as_load(), FRIDGE))
    assert capped["to (h)"] == pytest.approx(box.hours_until(room="40 degC", draws=2).magnitude)
    assert 0 < capped["to (h)"] < warned["to (h)"] == 4
    assert "no longer than predicted" in capped["in words"]
    assert "ordinary rooms" in warned["in words"]


def test_with_recharge_one_long_ride_tells_it_and_what_never_runs_empty_goes_to_the_end() -> None:
    sun = Recharge.mains([(f"{24 * day + 9} h", f"{24 * day + 17} h") for day in range(6)], power="160 W")
    longest = Outage("6 days", recharge=sun, start="90 %")
    table = frontier(LAMP, MARKET, longest, prices=PRICES).dropna(subset="from (h)")
    assert table["to (h)"].max() == 144
    for choice, _, end in table.iloc[:, :3].itertuples(index=False):
        for hours in (end - 0.05, min(end + 0.05, 144)):
            begin = table[(table["from (h)"] < hours) & (hours <= table["to (h)"])].iloc[0]
            assert winner(LAMP, Outage(f"{hours} h", recharge=sun, start="90 %"), MARKET) == begin["choice"]
        assert choice != NONE


def test_other_terms_and_what_can_not_be_reckoned_are_left_out_by_name() -> None:
    mixed = PriceList((*PRICES.prices[2:], Price("large", "unit", 9, "EUR", False, date(2026, 4, 1))))
    table = frontier(LAMP, UNITS, prices=mixed)
    assert table["in words"].iloc[-1] == f"large is left out: {OTHER_TERMS}"
    assert "large" in list(frontier(LAMP, UNITS, prices=mixed, tax_rate="10 %")["choice"])
    with pytest.raises(Refusal, match="read_prices"):
        frontier(LAMP, UNITS)
    with pytest.raises(Refusal, match='Write on="2026-04-01", the day of the first price'):
        frontier(LAMP, UNITS, prices=PRICES, on="2020-01-01")
    empty = frontier(LAMP, {"small": UNITS["small"]}, Outage("10 h", start="0 %"), prices=PRICES)
    assert empty["in words"].iloc[-1] == "small is left out: it lasts no time with the chance asked for"


def test_a_unit_that_can_not_take_recharge_or_carry_the_load_is_left_out_by_name() -> None:
    line = fit_rundowns([("0 W", "120 h"), ("60 W", "18 h"), ("250 W", "4.8 h")])  # and no k1
    units = MARKET | {"bench": BackupUnit.from_rundowns("bench", line, printed="1430 Wh", rated="900 W")}
    prices = PriceList((*PRICES.prices, Price("bench", "unit", 5, "EUR", True, date(2026, 4, 1))))
    outage = Outage("2 days", recharge=Recharge.mains([("9 h", "17 h")], power="160 W"))
    assert frontier(LAMP, units, outage, prices=prices)["in words"].iloc[-1].startswith("bench is left out")
    assert "weak is left out: its inverter is too small" in " ".join(frontier(PEAKY, UNITS, prices=PRICES)["in words"])
    assert list(what_would_change(LAMP, units, outage, prices=prices)["what"])[-1].startswith("price of ")


def test_a_load_that_takes_nothing_has_no_draw_to_change() -> None:
    assert list(what_would_change(Load.steady("0 W"), {"small": UNITS["small"]}, "9 h", prices=PRICES)["what"]) == [
        "standby of small", "standby of small", "price of small",
    ]  # fmt: skip


@pytest.fixture(scope="module")
def changes() -> pd.DataFrame:
    return what_would_change(FRIDGE, MARKET, "30 h", prices=PRICES)


def test_each_threshold_is_where_a_comparison_changes(changes: pd.DataFrame) -> None:
    assert winner(FRIDGE, "30 h", MARKET) == "middle with 1 pack"
    for what, _, now, end, at, then, said in changes.itertuples(index=False):
        for share, expected in ((-0.01, "middle with 1 pack"), (0.01, then)):
            value = at + share * (at - now)
            load, outage, other, prices = FRIDGE, Outage("30 h"), dict(MARKET), PRICES
            if pd.isna(at):
                value, expected = end, "middle with 1 pack"
            if what == "measured draw":
                (one,) = FRIDGE.appliances
                load = Load((type(one)(**vars(one) | {"mean_power": one.mean_power * (value / now)}),))
            elif what.startswith("standby"):
                other["middle"] = MARKET["middle"].with_standby(MARKET["middle"].standby * (value / now))
            elif what.startswith("room"):
                outage = Outage("30 h", room=f"{value} degC")
            else:
                up = {("middle", "unit"): value - now}
                prices = PriceList(tuple(
                    Price(**vars(price) | {"amount": price.amount + up.get((price.unit, price.item), 0)})
                    for price in PRICES.prices))  # fmt: skip
            assert winner(load, outage, other, prices=prices) == expected, said


def test_the_words_name_value_and_winner_or_how_far_was_looked(changes: pd.DataFrame) -> None:
    assert list(changes["what"]) == [
        "measured draw", "measured draw", "standby of middle with 1 pack", "standby of middle with 1 pack",
        "room of the cold appliances", "room of the cold appliances", "price of middle with 1 pack",
    ]  # fmt: skip
    assert changes["at"].isna().any()
    assert changes["at"].notna().sum() >= 4
    for row in changes.itertuples():
        silent = pd.isna(row.at)
        assert (row.then == "") is silent
        assert ("nothing changes" in row[7]) is silent
        assert silent or row.then in row[7]


def test_a_load_without_a_room_is_not_asked_about_one_and_no_rival_is_no_price() -> None:
    table = what_would_change(LAMP, {"small": UNITS["small"]}, "14 h", prices=PRICES)
    assert not table["what"].str.startswith("room").any()
    assert table["in words"].iloc[-1] == "price of small: now 500.00 EUR with tax; nothing changes"
    assert table["then"].iloc[1] == NONE
    assert f"it is {NONE}" in table["in words"].iloc[1]


def test_where_nothing_passes_there_is_nothing_to_change() -> None:
    with pytest.raises(Refusal, match="shorter outage"):
        what_would_change(LAMP, MARKET, "30 days", prices=PRICES)


def test_cautions_of_generator_overload_and_frost_stand_in_words() -> None:
    """After the choices in a frontier, at the end of what would change; none where nothing is to be minded."""
    frost = Outage("20 h", begins="8:00", unit_at="-5 degC", recharge=Generator("20 W", hours="9:00-10:00"))
    for find in (frontier, what_would_change):
        said = find(LAMP, MARKET, frost, prices=PRICES)["in words"]
        told = [each for each in said if each.startswith("caution: ")]
        assert len(told) == len(set(told))
        for words in ("carbon monoxide", "generator does not carry the load, steady power", "do not charge it below"):
            assert any(words in each for each in told)
        assert "caution" not in " ".join(find(LAMP, MARKET, "20 h", prices=PRICES)["in words"])
