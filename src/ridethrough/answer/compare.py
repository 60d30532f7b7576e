"""Which unit: the fewest packs that pass, the verdict, what is left, and a dated price beside it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pandas as pd

from ..model.load import Load
from ..model.price import Price
from ..model.unit import BackupUnit
from ..units import Refusal, show
from .case import case_of
from .outage import Outage
from .size import confidence_of, size

COLUMNS = ("unit", "outage", "packs", "verdict", "chance", "left (Wh)", "give or take (Wh)", "inverter", "price", "of",
           "note")  # fmt: skip


def compare(load: Load, units: Mapping[str, BackupUnit], outages: Sequence[Any], *, confidence: float | None = None,
            on: Any = None) -> pd.DataFrame:  # fmt: skip
    """Return for each unit and outage the fewest packs that pass, or what all of them come to.

    Parameters
    ----------
    load : Load
        What is plugged in [W].
    units : mapping from name to BackupUnit
        As from `read_units`; a unit with a number missing keeps its row, which says so.
    outages : sequence of Outage, str or pint.Quantity
        The outages, or their lengths [h].
    confidence : float, optional
        As in `size` [-].
    on : str or datetime.date, optional
        The day whose prices count; the latest where left out.

    Returns
    -------
    pandas.DataFrame
        Columns: unit, outage, packs (missing where none pass), verdict, chance [-], left (Wh) on the side of the unit's
        route, give or take (Wh), inverter (the worst that `headroom` finds), price, of (what the price is made up of),
        note. Rows in the order given: no ranking.

    Notes
    -----
    Prices with and without tax, or in different currencies, are not made alike. Lesson 07.
    """
    if not isinstance(units, Mapping) or not units:
        raise Refusal(f"units={units!r}", "units by name", 'Write read_units("units.csv"), or {"mine": unit}.')
    if isinstance(outages, str) or not isinstance(outages, Sequence) or not outages:
        one = f'"{outages}"' if isinstance(outages, str) else '"12 h", "3 days"'
        raise Refusal(f"outages={outages!r}", "one or more, in a list", f"Write outages=[{one}].")
    Load.of(load)
    whens, aim = [Outage.of(outage) for outage in outages], confidence_of(confidence)
    for unit in units.values() if isinstance(units, dict) else ():
        case_of(load, unit, whens[0], draws=0, seed=0)  # refuses what is none
    rows = [_row(load, units, name, when, aim, on) for name in units for when in whens]
    return pd.DataFrame(rows).astype({"packs": "Int64"})


def _row(load: Load, units: Mapping[str, BackupUnit], name: str, outage: Outage, confidence: float,
         on: Any) -> dict[str, Any]:  # fmt: skip
    """Return one row of the table."""
    row: dict[str, Any] = dict.fromkeys(COLUMNS)
    row |= {"unit": name, "outage": show(outage.duration)}
    try:
        found = size(load, outage, like=units[name], confidence=confidence)
    except Refusal as refusal:
        return row | {"verdict": "not reckoned", "note": f"{refusal.given}. {refusal.remedy}"}
    account = found.account
    able = found.inverter != "does not carry it"
    all_of_them = f"even with {account.unit.packs} packs" if account.unit.packs else ""
    why = all_of_them if able else "no pack makes the inverter larger"
    priced = _price(getattr(units, "prices", lambda *_: ())(name, on), account.unit.packs)
    return row | {
        "packs": found.packs,
        "verdict": account.verdict,
        "chance": account.chance,
        "left (Wh)": account.left.magnitude,
        "give or take (Wh)": account.left.expanded().magnitude,
        "inverter": found.inverter,
        **priced,
        "note": "; ".join([*[why] * (found.packs is None and why != ""), *outage.cautions]),
    }


def _price(prices: Iterable[Price], packs: int) -> dict[str, str | None]:
    """Return the least price of the unit with its packs, and what it is made up of; None where an item has none.

    Prices add up, and are compared, within one currency and one kind of tax; where there are several, all are told.
    """
    lists: dict[str, dict[str, Price]] = {}
    for price in prices:  # oldest first
        lists.setdefault(price.terms, {})[price.item] = price
    ways = [["unit", *["pack"] * packs], *([["bundle", *["pack"] * (packs - 1)]] if packs else [])]
    sums, parts = [], []
    for terms, latest in lists.items():
        known = [[latest[item] for item in way] for way in ways if all(item in latest for item in way)]
        if known:
            total, best = min((sum(price.amount for price in way), n) for n, way in enumerate(known))
            sums.append(f"{total:,.2f} {terms}")
            parts.append(" + ".join(f"{price.item} of {price.date}" for price in known[best]))
    apart = "prices that do not add up: other currency or tax" if len(lists) > 1 else None
    return {"price": " or ".join(sums) or None, "of": " or ".join(parts) or apart}
