"""Which unit: the fewest packs that pass, the verdict, what is left, and a dated price beside it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import product
from typing import Any

import pandas as pd

from ..known import apart
from ..model.load import Load
from ..model.price import READ, Offer, PriceList
from ..model.unit import BackupUnit, packs_in_words
from ..units import Refusal, of_kind, show
from .case import case_of
from .headroom import RESTART, Check, headroom
from .nothing import BEYOND_RULE, BY_RULE, NOTHING, closed_door
from .outage import Outage
from .ride import TOO_SMALL, Ride, ride
from .size import LARGE, confidence_of, tried

COLUMNS = ("load", "outage", "rank", "unit", "packs", "verdict", "chance", "lasts (h)", "left (Wh)",
           "give or take (Wh)", "limited by", "price", "terms", "of", "stale", "price per kWh", "note")  # fmt: skip
LIMITS = {"start": "start surge", "voltage": "voltage"}  # other checks are of the inverter
NO_PRICE, FALLS_SHORT, UNKNOWN = "no price", "falls short", "not reckoned"
ORDER = (BY_RULE, "", NO_PRICE, FALLS_SHORT, TOO_SMALL, UNKNOWN, BEYOND_RULE)  # "" passes and has a price


def compare(load: Any, units: Mapping[str, BackupUnit], outages: Any, *, confidence: float | None = None,
            on: Any = None, prices: PriceList | None = None, tax_rate: Any = None,
            rates: Mapping[str, float] | None = None, stale_after: Any = None) -> pd.DataFrame:  # fmt: skip
    """Return which unit to buy: for each load, outage and unit the fewest packs that pass, ranked.

    Parameters
    ----------
    load : Load, or mapping from name to Load
        What is plugged in, or several such things to compare for [W].
    units : mapping from name to BackupUnit
        As from `read_units`, known from print or measured; or a plain dict.
    outages : sequence of Outage, str or pint.Quantity, or mapping from name to one
        The outages, recharge included, or their lengths [h].
    confidence : float, optional
        As in `size` [-].
    on : str or datetime.date, optional
        The day whose prices count: the latest of each item by then. The day of the latest price where left out; give
        it, so that old prices show.
    prices : PriceList, optional
        From `read_prices`; the units' own where left out.
    tax_rate : str or float, optional
        What comes on top of prices without tax, as "19 %" [-].
    rates : mapping from str to float, optional
        What one unit of a currency is worth in the one that is left out, as {"USD": 0.92} beside prices in EUR.
    stale_after : str or pint.Quantity, optional
        Age from which a price is marked as stale; 30 days where left out [day].

    Returns
    -------
    pandas.DataFrame
        By load, outage and rank, in the order given. load, outage, rank, unit; packs (missing where none pass: then
        the row tells of all there are); verdict, inverter included; chance [-]; lasts (h); left (Wh) beyond the
        reserve, on the side of the unit's route, and give or take (Wh); limited by: energy, packs, cold, charger,
        inverter, start surge, voltage, "not checked", or nothing; price as a number, terms (currency and tax), of
        (what it is made of, with dates), stale; price per kWh that reaches the load in this outage; note.

    Notes
    -----
    Rank: what passes comes first, then the lower price, then what is left over; what does not pass by its chance. It
    is 1 and how many rows are known to be better: prices in different terms are not set against each other unless
    ``tax_rate`` or ``rates`` puts them into the same, so two rows may be first. A bundle counts wherever it is cheaper.
    The last row does nothing, by the agencies' rule of caution for food in a closed cabinet: no prediction, of a
    `Cabinet` no longer than it predicts, and it helps cold appliances only. It is first where the rule reaches. A unit
    with a missing number keeps its row: with the table's band for it, or with the reason. Lessons 07 and 08.

    Example
    -------
    >>> unit = BackupUnit.from_print("mine", capacity="1 kWh", chemistry="iron phosphate", standby="10 W",
    ...                              rated="500 W", efficiency="80 %", at="100 W")
    >>> compare(Load.steady("40 W"), {"mine": unit}, ["6 h", "3 days"])[["outage", "rank", "unit", "verdict"]]
      outage  rank              unit          verdict
    0    6 h     1              mine          covered
    1    6 h     2  door closed, ice  beyond the rule
    2   72 h     1              mine            short
    3   72 h     2  door closed, ice  beyond the rule
    """
    loads, whens, stock = loads_of(load), outages_of(outages), stock_of(units)
    aim, listed = confidence_of(confidence), listed_of(units, prices, on=on, tax_rate=tax_rate, rates=rates)
    rows, one = [], [unit for unit, _ in stock.values() if isinstance(unit, BackupUnit)][:1]
    for (name, each), (label, when) in product(loads.items(), whens.items()):
        for unit in one:
            case_of(each, unit, when, draws=0, seed=0)  # refuses what is wrong for every unit
        found = [_entry(each, mine, *stock[mine], when, aim, listed, stale_after) for mine in stock]
        rows += _ranked([{"load": name, "outage": label} | row for row in (*found, closed_door(each, when))])
    table = pd.DataFrame(rows, columns=COLUMNS).astype({"packs": "Int64", "stale": "boolean", "price": float})
    table = table.fillna(dict.fromkeys(("limited by", "terms", "of"), ""))
    order = {"load": [*loads], "outage": [*whens], "unit": [*stock, NOTHING]}
    return table.astype({column: pd.CategoricalDtype(names) for column, names in order.items()})


# -- what is given ---------------------------------------------------------------------------------


def loads_of(load: Any) -> dict[str, Load]:
    """Return the loads by name; one alone goes by its own."""
    if isinstance(load, Mapping) and load:
        return {name: Load.of(each, f"load[{name!r}]") for name, each in load.items()}
    return {Load.of(load).name: load}


def outages_of(outages: Any) -> dict[str, Outage]:
    """Return the outages by name, else by their lengths and whether something flows in."""
    if isinstance(outages, str | Outage) or not isinstance(outages, Sequence | Mapping) or not outages:
        one = f'"{outages}"' if isinstance(outages, str) else '"12 h", "3 days"'
        raise Refusal(f"outages={outages!r}", "one or more, in a list", f"Write outages=[{one}].")
    if isinstance(outages, Mapping):
        return {name: Outage.of(outage) for name, outage in outages.items()}
    whens = [Outage.of(outage) for outage in outages]
    names = (f"{show(when.duration)}{' with recharge' if when.recharge else ''}" for when in whens)
    return dict(zip(apart(names), whens, strict=True))


def stock_of(units: Any) -> dict[str, tuple[BackupUnit | Refusal, str]]:
    """Return the units by name, or why they can't be reckoned with, and what was assumed of each."""
    if not isinstance(units, Mapping) or not units:
        raise Refusal(f"units={units!r}", "units by name", 'Write read_units("units.csv"), or {"mine": unit}.')
    if NOTHING in {*units}:
        raise Refusal(f"a unit named {NOTHING!r}", "another name: this row does without one", "Rename it.")
    if not hasattr(units, "reckoned"):
        return {name: (BackupUnit.of(unit, f"units[{name!r}]"), "") for name, unit in units.items()}
    return {name: units.reckoned(name) for name in units}


def listed_of(units: Any, prices: Any, **terms: Any) -> PriceList:
    """Return the prices that count: those given, or else the units' own."""
    found = getattr(units, "listed", PriceList()) if prices is None else prices
    listed: PriceList = of_kind(found, PriceList, "prices", "a list of prices", READ).at(**terms)
    return listed


# -- one entry: what a unit comes to in one outage -------------------------------------------------


def _entry(load: Load, name: str, unit: BackupUnit | Refusal, assumed: str, outage: Outage, aim: float,
           listed: PriceList, stale_after: Any) -> dict[str, Any]:  # fmt: skip
    """Return what a unit comes to in one outage; "place" and "keys" serve the ranking."""
    try:
        if isinstance(unit, Refusal):
            raise unit
        *_, found = tried(load, unit, outage, aim)
    except Refusal as refusal:
        return {"unit": name, "place": UNKNOWN, "verdict": UNKNOWN, "note": f"{refusal.given}. {refusal.remedy}"}
    offers, left = listed.offers(name, found.unit.packs), found.left.magnitude
    row = {
        "unit": name,
        "place": "" if offers else NO_PRICE,
        "keys": {terms: (offer.amount, -left) for terms, offer in offers.items()} or {"": (0.0, -left)},
        "packs": found.unit.packs,
        "verdict": found.verdict,
        "chance": found.chance,
        "lasts (h)": found.lasts.magnitude,
        "left (Wh)": left,
        "give or take (Wh)": found.left.expanded().magnitude,
        "limited by": _limit(found, aim),
        "note": "; ".join(filter(None, (assumed, *_notes(found, aim, name, offers, listed), *found.cautions))),
    }
    for offer in [*offers.values()][:1]:
        row |= {"price": offer.amount, "terms": offer.terms, "of": str(offer),
                "stale": listed.stale(offer, stale_after), "price per kWh": _by_kwh(found, offer.amount)}  # fmt: skip
    if not found.passes(aim):
        place = TOO_SMALL if found.verdict == TOO_SMALL else FALLS_SHORT
        row |= {"packs": None, "place": place, "keys": {"": (-found.chance, -found.lasts.magnitude)}}
    return row


def _by_kwh(found: Ride, amount: float) -> float | None:
    """Return the price for each kWh that reaches the load."""
    came = found.served.magnitude / ((found.served + found.unserved).magnitude or 1)
    kwh = found.mean_power.magnitude * found.outage.hours / 1000 * came
    return amount / kwh if kwh else None


def _checks(found: Ride, finding: str) -> list[Check]:
    """Return what of the inverter was found so."""
    return [each for each in headroom(found.load, found.unit) if each.finding == finding and each.what != RESTART]


def _notes(found: Ride, aim: float, name: str, offers: Mapping[str, Offer], listed: PriceList) -> Iterator[str]:
    """Yield why it does not pass, what was not checked, why there is no price, or in which other terms there is one."""
    packs, unseen = found.unit.packs, _checks(found, "not checked")
    if found.verdict == TOO_SMALL:
        yield "no pack makes the inverter larger"
    elif packs and not found.passes(aim):
        yield f"even with {packs_in_words(packs)}"
    yield from (f"{check.what}: {check.why}" for check in _checks(found, "does not carry it"))
    yield f"not checked: {', '.join(check.what for check in unseen)}" if unseen else ""
    if not offers and listed.on:
        some = "no price for all of it in one currency and tax"
        yield some if listed.of(name) else f"no price by {listed.on}"
    yield from (f"or {offer.amount:,.2f} {terms}" for terms, offer in [*offers.items()][1:])


def _limit(found: Ride, aim: float) -> str:
    """Return what would have to be better for it to pass, or what was not checked."""
    load, unit, outage = found.load, found.unit, found.outage
    if found.verdict == TOO_SMALL:
        failed = {check.what for check in _checks(found, "does not carry it")}
        return next((LIMITS[what] for what in LIMITS if failed == {what}), "inverter")
    if found.chance >= aim:
        return "not checked" if _checks(found, "not checked") else ""
    free = replace(unit, charge_power=LARGE * unit.charge_power)
    if outage.unit_at is not None and ride(load, unit, outage.but(unit_at=None), times=1).chance >= aim:
        return "cold"
    if outage.recharge and ride(load, free, outage, times=1).chance >= aim:
        return "charger"
    return "packs" if unit.packs_max else "energy"


# -- the ranking -----------------------------------------------------------------------------------


def _ranked(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the rows of one load and outage, those first of which the fewest are known to be better."""
    terms = {row["terms"] for row in rows if not row["place"]}
    for row in rows:
        row["rank"] = 1 + sum(_better(each, row) for each in rows)
        if len(terms) > 1 and not row["place"]:
            row["note"] = "; ".join(filter(None, (row["note"], f"ranked among prices in {row['terms']}")))
    return sorted(rows, key=lambda row: int(row["rank"]))


def _better(one: Mapping[str, Any], two: Mapping[str, Any]) -> bool:
    """Return whether one row is known to be better than another: never by prices in different terms."""
    if one["place"] != two["place"]:
        return ORDER.index(one["place"]) < ORDER.index(two["place"])
    keys, others = one.get("keys", {}), two.get("keys", {})
    both = keys.keys() & others.keys()
    return bool(both) and all(keys[terms] < others[terms] for terms in both)
