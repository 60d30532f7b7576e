"""What a comparison comes to, in words ready to be said aloud."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import pandas as pd

from .compare import compared
from .entry import BY_RULE

Row = Mapping[str, Any]
SAID = ("ranked among", "a rule of caution", "it helps cold appliances only")  # parts of a note said in other words


@dataclass(frozen=True)
class Recommendation:
    """What to buy for one load and outage.

    Parameters
    ----------
    load, outage : str
        As in the table.
    picks : tuple of str
        What passes at rank 1, packs included; several where prices can't be set against each other, none where
        nothing passes.
    text : str
        The pick, how sure and at what price, the runner-up and why it comes second, what is tight, what to mind.
    """

    load: str
    outage: str
    picks: tuple[str, ...]
    text: str

    def __repr__(self) -> str:
        return f"{self.load}, {self.outage}: {self.text}"


class Recommendations(tuple[Recommendation, ...]):
    """What to buy for each load and outage."""

    __slots__ = ()

    def __repr__(self) -> str:
        return "\n\n".join(map(repr, self))

    def _repr_html_(self) -> str:
        said = (f"<dt>{escape(f'{each.load}, {each.outage}')}</dt><dd>{escape(each.text)}</dd>" for each in self)
        return f"<dl>{''.join(said)}</dl>"


def recommend(table: pd.DataFrame) -> Recommendations:
    """Return in words what `compare` found: for each load and outage the pick and why, and what to mind.

    Parameters
    ----------
    table : pandas.DataFrame
        From `compare`, or rows of it.

    Example
    -------
    >>> from ..model.load import Load
    >>> from ..model.unit import BackupUnit
    >>> from .compare import compare
    >>> unit = BackupUnit.from_print("mine", capacity="1 kWh", chemistry="iron phosphate", standby="10 W",
    ...                              rated="500 W", efficiency="80 %", at="100 W")
    >>> (found,) = recommend(compare(Load.steady("40 W"), {"mine": unit}, ["12 h"]))
    >>> found.picks, found.text.split(";")[0]
    (('mine',), 'mine lasts in more than 99 in 100 such outages')
    """
    given, found = compared(table, "table", "Write recommend(compare(...))."), []
    for (load, outage), rows in given.groupby(["load", "outage"], sort=False, observed=True):
        ranked: list[Any] = rows.sort_values("rank", kind="stable").to_dict("records")
        picks, text = _said(ranked)
        found.append(Recommendation(str(load), str(outage), tuple(map(_label, picks)), text))
    return Recommendations(found)


def _said(ranked: Sequence[Row]) -> tuple[Sequence[Row], str]:
    """Return the picks among the ranked rows of one outage, and all that is to be said."""
    units = [row for row in ranked if _known(row["chance"])]
    passing = [row for row in units if _known(row["packs"])]
    picks = [row for row in passing if row["rank"] == passing[0]["rank"]]
    rule = ranked[:1] if ranked[0]["verdict"] == BY_RULE else []
    said = [
        "closing the door will do by the agencies' rule of caution, which is no prediction. To keep it running:"
    ] * len(rule)
    said += [f"{'Or ' * (row is not picks[0])}{_pick(row)}." for row in picks]
    if picks:
        said += ["These prices can't be set against each other without tax_rate= or rates=."] * (len(picks) > 1)
        said.append(_second(passing[len(picks) :], picks))
    else:
        said += [f"nothing here lasts. The nearest is {_label(row)}: {_chance(row)}, limited by {row['limited by']}."
                 for row in units[:1]] or ["nothing here can be reckoned."]  # fmt: skip
    if tight := [f"{_label(row)} ({_chance(row)})" for row in units if row["verdict"] == "tight"]:
        said.append(f"Tight: {', '.join(tight)}.")
    said += [f"Mind, {_label(row)}: {note}." for row in (*rule, *(picks or units[:1])) if (note := _mind(row))]
    return rule or picks, " ".join(said)


def _mind(row: Row) -> str:
    """Return a row's note without what was said already."""
    return "; ".join(each for each in row["note"].split("; ") if not each.startswith(SAID))


def _known(cell: Any) -> bool:
    return bool(pd.notna(cell))


def _label(row: Row) -> str:
    """Return the unit with its packs."""
    packs = int(row["packs"]) if _known(row["packs"]) else 0
    return f"{row['unit']} with {packs} pack{'s' * (packs > 1)}" if packs else str(row["unit"])


def _chance(row: Row) -> str:
    """Return a chance as people say it, never as certain."""
    in_100 = round(100 * row["chance"])
    return "fewer than 1 in 100" if in_100 < 1 else "more than 99 in 100" if in_100 == 100 else f"some {in_100} in 100"


def _pick(row: Row) -> str:
    """Return how sure a pick is and what it costs."""
    costs = f"it costs {row['price']:,.2f} {row['terms']}, {row['of']}" if _known(row["price"]) else "no price known"
    asks = "; an old price, ask again" if _known(row["stale"]) and row["stale"] else ""
    return f"{_label(row)} lasts in {_chance(row)} such outages; {costs}{asks}"


def _second(others: Sequence[Row], picks: Sequence[Row]) -> str:
    """Return what comes next, and why it does."""
    if not others:
        return "No other one passes."
    row = others[0]
    same = [row["price"] - pick["price"] for pick in picks if pick["terms"] == row["terms"] and _known(row["price"])]
    if same:
        why = f"{same[0]:,.2f} {row['terms']} more" if same[0] else "at the same price with less left over"
    else:
        why = "less is left over" if not _known(picks[0]["price"]) else "without a price to compare"
    return f"Second: {_label(row)}, {why}."
