"""Words for what a comparison found: nothing said that the table does not hold, nothing that matters left out."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd
import pytest

from ridethrough.answer.compare import compare
from ridethrough.answer.nothing import NOTHING
from ridethrough.answer.outage import Outage
from ridethrough.answer.recommend import Recommendation, recommend
from ridethrough.answer.ride import ride
from ridethrough.model.load import Load
from ridethrough.model.price import Price, PriceList
from ridethrough.model.recharge import Generator
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Refusal

LOAD = Load.cycling("85 W", "40 %", "chest", day_spread="50 Wh").in_a_room_of("18 degC", "freezer")


def unit(capacity: str, **more: Any) -> BackupUnit:
    return BackupUnit.from_print("mine", capacity=capacity, **{
        "chemistry": "iron phosphate", "standby": "9 W", "efficiency": "88 %", "at": "240 W", "rated": "900 W",
    } | more)  # fmt: skip


UNITS = {"Tight": unit("1580 Wh"), "Short": unit("700 Wh"), "Right": unit("2 kWh"),
         "Large": unit("2600 Wh", pack="900 Wh", packs_max=2)}  # fmt: skip


def prices(*listed: tuple[str, str, float, bool | None]) -> PriceList:
    return PriceList(
        tuple(Price(name, item, amount, "EUR", tax, date(2026, 3, 2)) for name, item, amount, tax in listed)
    )


ALL = prices(("Tight", "unit", 600, True), ("Short", "unit", 300, True), ("Right", "unit", 801.5, True),
             ("Large", "unit", 1100, True), ("Large", "pack", 500, True))  # fmt: skip


def said(outage: Any = "30 h", units: Any = UNITS, **more: Any) -> Recommendation:
    (found,) = recommend(compare(LOAD, units, [outage], **({"prices": ALL} | more)))
    return found


def test_what_a_ride_has_to_mind_is_said_of_the_pick() -> None:
    """Frost, a generator that is too small, and a room that nobody told."""
    load = LOAD + Load.steady("30 W", "lamp")
    when = Outage("20 h", begins="8:00", unit_at="-5 degC", recharge=Generator("40 W", hours="9:00-10:00"))
    table = compare(load, UNITS, [when], prices=ALL)
    (found,) = recommend(table)
    (pick,) = found.picks
    mind = found.text.partition(f"Mind, {pick}: ")[2]
    cautions = ride(load, UNITS[pick], when, draws=50).cautions
    for words in ("do not charge it below", "not counted while the cells are too cold", "does not carry the load"):
        assert any(words in each for each in cautions)
    assert all(each in mind for each in cautions)


def test_pick_runner_up_chance_price_and_what_is_tight() -> None:
    table = compare(LOAD, UNITS, ["30 h"], prices=ALL).set_index("unit")
    assert table.loc["Tight", "verdict"] == "tight"
    found = said()
    assert (found.load, found.outage, found.picks) == ("chest", "30 h", ("Right",))
    chance = round(100 * table.loc["Right", "chance"])
    assert f"Right lasts in {'more than 99' if chance > 99 else f'some {chance}'} in 100 such outages" in found.text
    assert "it costs 801.50 EUR with tax, unit of 2026-03-02." in found.text
    assert "Second: Large, 298.50 EUR with tax more." in found.text
    assert f"Tight: Tight (some {round(100 * table.loc['Tight', 'chance'])} in 100)." in found.text
    assert "Mind, Right: not checked: apparent power, start." in found.text
    assert "Short" not in found.text


def test_an_old_price_and_tax_that_differs_are_said() -> None:
    assert "an old price, ask again" in said(on="2026-05-01").text
    other = PriceList((*ALL.prices[:3], *prices(("Large", "unit", 900, False)).prices))
    apart = said(prices=other)
    assert apart.picks == ("Right", "Large")
    assert "can't be set against each other" in apart.text
    assert "Or Large lasts" in apart.text
    assert "Second: Large, 278.50 EUR with tax more" in said(prices=other, tax_rate="20 %").text


def test_why_the_second_is_second_where_no_price_tells() -> None:
    assert "Second: Large, without a price to compare." in said(prices=PriceList(ALL.prices[:3])).text
    assert "no price known" in said(prices=None).text
    assert "Second: Right, less is left over." in said(prices=None).text
    same = PriceList((*ALL.prices[:2], *prices(("Right", "unit", 1100, True), ("Large", "unit", 1100, True)).prices))
    assert "Second: Right, at the same price with less left over." in said(prices=same).text
    assert "No other one passes." in said(units={"Right": UNITS["Right"]}).text


def test_packs_are_part_of_the_pick() -> None:
    found = said("80 h", {"Large": UNITS["Large"]})
    assert found.picks == ("Large with 2 packs",)
    assert "2,100.00 EUR with tax, unit of 2026-03-02 + 2 x pack of 2026-03-02" in found.text


def test_nothing_lasts_or_nothing_is_needed() -> None:
    nothing = said("300 h")
    assert nothing.picks == ()
    assert "nothing here lasts. The nearest is Large: fewer than 1 in 100, limited by packs." in nothing.text
    assert "Mind, Large: even with 2 packs" in nothing.text
    shut = said("20 h")
    assert shut.picks == (NOTHING,)
    assert "closing the door will do by the agencies' rule of caution, which is no prediction" in shut.text
    assert "To keep it running: Tight lasts" in shut.text
    assert (
        "To keep it running: nothing here lasts. The nearest is Short" in said("20 h", {"Short": UNITS["Short"]}).text
    )


def test_all_are_said_in_order_as_text_and_as_html() -> None:
    loads = {"a <b>": LOAD, "two": LOAD + Load.steady("4 W", "lamp")}
    found = recommend(compare(loads, UNITS, ["30 h", "60 h"], prices=ALL))
    assert [(each.load, each.outage) for each in found] == [(load, when) for load in loads for when in ("30 h", "60 h")]
    assert repr(found).startswith("a <b>, 30 h: Right lasts in")
    assert "<dt>a &lt;b&gt;, 30 h</dt>" in found._repr_html_()


def test_rows_may_be_left_out_but_no_columns() -> None:
    table = compare(LOAD, UNITS, ["30 h"], prices=ALL)
    (found,) = recommend(table[table["unit"] != "Right"])
    assert found.picks == ("Large",)
    (read,) = recommend(pd.DataFrame(table.to_dict("records")))
    assert read.picks == ("Right",)
    for given in (table.drop(columns="rank"), "30 h"):
        with pytest.raises(Refusal, match=r"recommend\(compare"):
            recommend(given)  # type: ignore[arg-type]
