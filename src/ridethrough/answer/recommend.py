"""What a comparison comes to, in words ready to be said aloud."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import pandas as pd

from ..model.unit import packs_in_words
from ..units import Refusal
from .compare import COLUMNS
from .nothing import BY_RULE

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
        picks, text = _said(_rows(rows.sort_values("rank", kind="stable")))
        found.append(Recommendation(str(load), str(outage), tuple(map(_label, picks)), text))
    return Recommendations(found)


def compared(table: Any, name: str, remedy: str) -> pd.DataFrame:
    """Return what `compare` returned, or rows of it; anything else is refused."""
    if not isinstance(table, pd.DataFrame) or not {*COLUMNS} <= {*table.columns}:
        raise Refusal(f"{name}={type(table).__name__}(...)", "what compare returns", remedy)
    return table


def verdicts(table: pd.DataFrame) -> pd.DataFrame:
    """Return what `compare` found as a row for each load and unit and a column for each outage, in the order given.

    Its texts go anywhere: ``verdicts(table).to_markdown(index=False)``, ``.to_csv(...)``, ``.to_html(...)``.
    """
    rows = _rows(compared(table, "table", "Write verdicts(compare(...))."))
    said = [", ".join(filter(None, (row["verdict"], packs_in_words(row["packs"]),
                                    "all packs" if row["limited by"] == "packs" else ""))) for row in rows]  # fmt: skip
    wide = table.assign(said=said).pivot(index=["load", "unit"], columns="outage", values="said")
    wide = wide.sort_index().reset_index().rename_axis(columns=None)
    wide.columns = wide.columns.astype(object)
    return wide if wide["load"].nunique() > 1 else wide.drop(columns="load")


def _rows(table: pd.DataFrame) -> list[Any]:
    """Return the rows, None where something is missing."""
    return table.astype(object).where(table.notna(), None).to_dict("records")


def _said(ranked: Sequence[Row]) -> tuple[Sequence[Row], str]:
    """Return the picks among the ranked rows of one outage, and all that is to be said."""
    units = [row for row in ranked if row["chance"] is not None]
    passing = [row for row in units if row["packs"] is not None]
    picks = [row for row in passing if row["rank"] == passing[0]["rank"]]
    rule = ranked[:1] if ranked[0]["verdict"] == BY_RULE else []
    said = ["closing the door will do by the agencies' rule of caution, which is no prediction. To keep it running:"
            for _ in rule]  # fmt: skip
    said += [f"{'Or ' * (row is not picks[0])}{_pick(row)}." for row in picks]
    if picks:
        said += ["These prices can't be set against each other without tax_rate= or rates=."] * (len(picks) > 1)
        said.append(_second(passing[len(picks) :], picks))
    else:
        said += [f"nothing here lasts. The nearest is {_label(row)}: {_chance(row)}, limited by {row['limited by']}."
                 for row in units[:1]] or ["nothing here can be reckoned."]  # fmt: skip
    if tight := [f"{_label(row)} ({_chance(row)})" for row in units if row["verdict"] == "tight"]:
        said.append(f"Tight: {', '.join(tight)}.")
    for row in (*rule, *(picks or units[:1])):
        mind = "; ".join(each for each in row["note"].split("; ") if not each.startswith(SAID))
        said += [f"Mind, {_label(row)}: {mind}."] if mind else []
    return rule or picks, " ".join(said)


def _label(row: Row) -> str:
    """Return the unit with its packs."""
    return " with ".join(filter(None, (str(row["unit"]), packs_in_words(row["packs"]))))


def _chance(row: Row) -> str:
    """Return a chance as people say it, never as certain."""
    in_100 = round(100 * row["chance"])
    return "fewer than 1 in 100" if in_100 < 1 else "more than 99 in 100" if in_100 == 100 else f"some {in_100} in 100"


def _pick(row: Row) -> str:
    """Return how sure a pick is and what it costs."""
    costs = "no price known" if row["price"] is None else f"it costs {row['price']:,.2f} {row['terms']}, {row['of']}"
    asks = "; an old price, ask again" if row["stale"] else ""
    return f"{_label(row)} lasts in {_chance(row)} such outages; {costs}{asks}"


def _second(others: Sequence[Row], picks: Sequence[Row]) -> str:
    """Return what comes next, and why it does."""
    if not others:
        return "No other one passes."
    row, why = others[0], "without a price to compare"
    same = [pick for pick in picks if pick["terms"] == row["terms"] and row["price"] is not None]
    if same and (more := row["price"] - same[0]["price"]):
        why = f"{more:,.2f} {row['terms']} more"
    elif same:
        why = "at the same price with less left over"
    elif picks[0]["price"] is None:
        why = "less is left over"
    return f"Second: {_label(row)}, {why}."
