"""What a unit takes for itself, delivers and holds, the account of it, and what it costs: lessons 00, 02 to 04, 08."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from itertools import permutations
from typing import Any

import numpy as np
import pandas as pd

from ...answer.choice import LONGEST, choices_of, reach_of, turns
from ...answer.ledger import Ledger, ledger
from ...answer.outage import Outage
from ...answer.size import confidence_of
from ...estimate import Estimate
from ...model.battery import aged, charge_after
from ...model.load import Load
from ...model.rundowns import RundownLine
from ...model.unit import BackupUnit
from ...sources import coefficient
from ...units import Q_, Refusal, number, show
from ..figures import Curve, capacity_figure, curves_figure, ledger_figure, plain, rundown_figure, steps_figure
from ..panels import Panel, Slider, View


def sentence(account: Ledger) -> str:
    """Return what a ledger says, for everyone."""
    unit, outage = account.unit, show(account.outage.duration)
    runs = f"{unit.label} keeps the {account.load.name} running for {account.lasts}"
    return f"With {show(unit.standby)} of standby, {runs}. {outage} without mains: {account.verdict}."


def ledger_view(account: Ledger, before: Ledger | None = None, *, reach: tuple[float, float] | None = None) -> View:
    """Return the view of a ledger: its sentence, its lines and its figure; and what is new since another."""
    text = sentence(account)
    for line, was in [] if before is None else account.new_since(before):
        text += f" Measured now: {line.label}: {-line.energy}" + (f"; before: {-was.energy}." if was else ".")
    table = account.rows[["line", "energy (Wh)", "low (Wh)", "high (Wh)", "basis"]]
    picture = partial(ledger_figure, account=account, before=before, reach=reach)
    return View(text, table, account.headline, picture)


def standby_panel(load: Load, unit: BackupUnit, *, start: Any = "100 %") -> Panel:
    """Return the panel of lesson 00: how many hours does being switched on cost?"""

    def view(standby_w: float, hours: float) -> View:
        account = ledger(load, unit.with_standby(Q_(standby_w, "W")), Outage(Q_(hours, "h"), start=start))
        return ledger_view(account, reach=(-0.8 * plain(unit.printed), plain(unit.printed)))

    standby_w = Slider("standby of the unit", 5, 40, 5, unit="W")
    return Panel(view, standby_w=standby_w, hours=Slider("length of the outage", 6, 24, 24, unit="h", step=6))


def crossing_panel(lines: Mapping[str, RundownLine]) -> Panel:
    """Return the panel of lesson 02: which unit lasts longer, and does that hold for every load?"""
    load_w = np.arange(0.0, 101.0)
    hours = {name: [line.hours(Q_(p, "W")) for p in load_w] for name, line in lines.items()}
    curves = [Curve.of(name, found) for name, found in hours.items()]
    picture = partial(curves_figure, x=load_w, curves=curves, labels=("load at the outlet (W)", "run time (h)"))

    def view(load: float) -> View:
        here = {name: found[int(load)] for name, found in hours.items()}
        longest = max(here, key=lambda name: plain(here[name]))
        rows = [(name, plain(lines[name].energy), plain(lines[name].standby), plain(t)) for name, t in here.items()]
        table = pd.DataFrame(rows, columns=["unit", "energy to share (Wh)", "standby (W)", "run time (h)"])
        text = f"At a load of {load:g} W: {'; '.join(f'{name} {t}' for name, t in here.items())}."
        lasts = "lasts longer" if len(here) == 2 else "lasts longest"
        return View(text, table, f"At {load:g} W {longest} {lasts}: {show(here[longest])}", partial(picture, at=load))

    return Panel(view, load=Slider("load at the outlet", 0, 100, 60, unit="W"))


def rundown_view(line: RundownLine) -> View:
    """Return the view of a run-down line with its runs."""
    table = line.points[["load (W)", "hours (h)", "line says (h)"]]
    headline = f"{len(table)} run-downs: {show(line.energy)} to share, {show(line.standby)} of standby"
    picture = partial(rundown_figure, line=line)
    return View(f"Energy to share: {line.energy}. Standby at the outlet: {line.standby}.", table, headline, picture)


def efficiency_panel(units: Mapping[str, BackupUnit], stated_at: Mapping[str, Any]) -> Panel:
    """Return the panel of lesson 03: at which load does a unit deliver what its box says?

    Parameters
    ----------
    units : mapping from name to BackupUnit
        Units known from print, four at most.
    stated_at : mapping from name to str or pint.Quantity
        For each of them the load at which its box states the efficiency [W].
    """
    load_w = np.arange(0.0, 501.0)

    def percent(unit: BackupUnit, load_w: float) -> Estimate:
        return unit.inverter.efficiency(Q_(load_w, "W")).to("%")

    curves = [Curve.of(name, [percent(unit, p) for p in load_w]) for name, unit in units.items()]
    sheet_w = [number(stated_at[name], "W", "stated_at") for name in units]
    stated = [(at, plain(percent(unit, at))) for at, unit in zip(sheet_w, units.values(), strict=True)]
    labels = "load at the outlet (W)", "efficiency: outlet over battery (%)"
    picture = partial(curves_figure, x=load_w, curves=curves, labels=labels, reach=(0, 100), stated=stated,
                      about=["squares: what the box says"])  # fmt: skip

    def view(load: float) -> View:
        here = int(load)
        each = ", ".join(f"{curve.name} {curve.value[here]:.0f} Wh" for curve in curves)
        asked_w = [plain(unit.inverter.battery_power(Q_(load, "W"))) for unit in units.values()]
        rows = [(curve.name, says, at, curve.value[here], curve.half[here], asked)
                for curve, (at, says), asked in zip(curves, stated, asked_w, strict=True)]  # fmt: skip
        table = pd.DataFrame(rows, columns=["unit", "box says (%)", "at (W)", "efficiency here (%)", "give or take (%)",
                                            "from the battery (W)"])  # fmt: skip
        text = f"Of 100 Wh from the battery, so much reaches a load of {load:g} W: {each}."
        worst, (_, says) = min(zip(curves, stated, strict=True), key=lambda pair: pair[0].value[here])
        headline = f"At {load:g} W {worst.name} delivers {worst.value[here]:.0f} %; its box says {says:.0f} %"
        return View(text, table, headline, partial(picture, at=load))

    return Panel(view, load=Slider("load at the outlet", 5, 500, 250, unit="W"))


def usable_panel(units: Mapping[str, BackupUnit], *, start: Any = "100 %") -> Panel:
    """Return the panel of lesson 04: how much of the printed number may be used tonight?

    Parameters
    ----------
    units : mapping from name to BackupUnit
        Units known from print, one or more of them lead-acid: their depth of discharge is the first control.
    start : Estimate, str or float
        State of charge when they were last charged [-].

    Raises
    ------
    Refusal
        If none of the units is lead-acid.
    """
    depths = {name: coefficient(f"depth of discharge, {unit.chemistry}") for name, unit in units.items()}
    lead = [name for name, unit in units.items() if "lead-acid" in unit.chemistry]
    if not lead:
        raise Refusal(f"units {', '.join(units)}", "a lead-acid unit among them", "Add one: the panel moves it.")

    def view(depth: float, years: float, months: float) -> View:
        chosen = {name: depths[name] + (Q_(depth, "%").to("1") - depths[name].value) for name in lead}
        accounts, said = [], []
        for unit, goes_to in zip(units.values(), (depths | chosen).values(), strict=True):
            now = unit.with_health(aged(Q_(years, "year"), unit.chemistry)).with_depth(goes_to)
            charge = charge_after(Q_(months, "month"), unit.chemistry, start)
            account = ledger(Load.steady("1 W"), now, Outage("1 h", start=charge))
            usable, doubt = account.available.spoken()
            said.append(f"{unit.name} {usable} of {show(unit.printed, 0)}, {doubt}")
            accounts.append(account)
        table = pd.DataFrame([_usable(account) for account in accounts])
        headline, picture = _upside_down(table), partial(capacity_figure, accounts=accounts, table=table)
        return View(f"Usable tonight: {'; '.join(said)}. {headline}.", table, headline, picture)

    depth = Slider(f"depth of discharge, {' and '.join(lead)}", 30, 90, 50, unit="%", step=5)
    months = Slider("months since the last charge", 0, 8, 0, unit="months")
    return Panel(view, depth=depth, years=Slider("age of all", 0, 8, 0, unit="years"), months=months)


def _usable(account: Ledger) -> dict[str, Any]:
    """Return what is usable of a unit at room temperature, and what is missing of what is printed."""
    usable, printed = account.available, plain(account.unit.printed)
    holds, health, _ = (float(each.share[0]) for each in account.case.shares)
    healthy = printed * holds * health
    full = plain(account.outage.start) * healthy
    return {"unit": account.unit.name, "printed (Wh)": printed, "kept back (Wh)": full - plain(usable),
            "not full (Wh)": healthy - full, "lost to age (Wh)": printed - healthy, "usable (Wh)": plain(usable),
            "give or take (Wh)": plain(usable.expanded())}  # fmt: skip


def _upside_down(table: pd.DataFrame) -> str:
    """Return a pair of units of which the larger gives less, or that there is none."""
    for more, less in permutations(table.to_dict("records"), 2):
        printed, usable = (more[each] - less[each] for each in ("printed (Wh)", "usable (Wh)"))
        if printed > 0 > usable:
            return f"{more['unit']} prints {printed:,.0f} Wh more than {less['unit']} and gives {-usable:,.0f} Wh less"
    return "The larger the box, the more it gives"


def frontier_view(table: pd.DataFrame) -> View:
    """Return the view of what `frontier` found: which choice is the cheapest for how long an outage."""
    if not (table["price"] > 0).any():
        raise Refusal("a frontier of which no unit is part", "a unit that passes for some time",
                      "Look at compare(...).")  # fmt: skip
    said = []
    for days, hours in (("a day", 24), ("three days", 72)):
        there = (table["from (h)"] < hours) & (hours <= table["to (h)"])
        said += [f"for {days} {choice}" for choice in table.loc[there, "choice"]]
    steps = zip(table["choice"], table["to (h)"], table["price"], table["in words"], strict=True)
    each = (f"{name} to {show(Q_(until, 'h'))}" if price > 0 else words for name, until, price, words in steps)
    text = f"The cheapest that passes. {'. '.join(each)}."
    headline = ", ".join(said).replace("for", "For", 1) or f"{table['choice'].iloc[0]} comes first"
    return View(text, table, headline, partial(steps_figure, table=table))


def choice_panel(load: Load, units: Mapping[str, BackupUnit], *, moves: str, start: Any = "100 %",
                 **prices: Any) -> Panel:  # fmt: skip
    """Return the panel of lesson 08: which one to buy for how long, and what does one unit's standby do to that?

    Parameters
    ----------
    load : Load
        What is plugged in [W].
    units : mapping from name to BackupUnit
        With their prices, as in `frontier`.
    moves : str
        The unit whose standby the second control sets.
    start : Estimate, str or float
        State of charge when the outage begins [-].
    prices
        As in `frontier`.

    Raises
    ------
    Refusal
        If the unit that moves has no price in the terms that most units have.
    """
    longest, aim, (found, _) = Outage(LONGEST, start=start), confidence_of(None), choices_of(units, **prices)
    mine = [each for each in found if each.unit.name == moves]
    if not mine:
        priced = ", ".join(sorted({each.unit.name for each in found}))
        raise Refusal(f"moves={moves!r}", "a unit with a price like the others'", f"Write one of: {priced}.")
    names = [each.name for each in mine]
    others = [(each, *reach_of(each, load, longest, aim)) for each in found if each not in mine]
    own_w = plain(mine[0].unit.standby.to("W"))
    standby_w = Slider(f"standby of {moves}", 16, 46, 46, unit="W", step=5)

    def steps(watts: float) -> pd.DataFrame:
        moved = [each.idling(watts / own_w) for each in mine]
        reached = [*others, *((each, *reach_of(each, load, longest, aim)) for each in moved)]
        rows = [(each.name, begin, end, *each.offer[:2]) for each, begin, end in turns(reached, load, longest)]
        return pd.DataFrame(rows, columns=["choice", "from (h)", "to (h)", "price", "terms"])

    tables = {watts: steps(watts) for watts in standby_w.places()}

    def view(hours: float, standby_w: float) -> View:
        watts = min(tables, key=lambda each: abs(each - standby_w))
        table = tables[watts]
        name, begin, end, price, terms = table[table["to (h)"] >= hours].iloc[0]
        priced = f"{name}, {price:,.0f} {terms}" if price > 0 else name
        first = [f"{each} comes first from {show(Q_(since, 'h'))} to {show(Q_(until, 'h'))}" for each, since, until, *_
                 in table.itertuples(index=False) if each in names]  # fmt: skip
        lasts = f"the first choice from {show(Q_(begin, 'h'))} to {show(Q_(end, 'h'))}"
        text = (
            f"An outage of {hours:g} h: {priced}, {lasts}. "
            f"With {watts:g} W of standby, {' and '.join(first) or f'{moves} comes first nowhere'}."
        )
        return View(text, table.dropna(), f"{hours:g} h: {priced}", partial(steps_figure, table=table, at=hours))

    return Panel(view, hours=Slider("length of the outage", 6, 168, 6, unit="h", step=6), standby_w=standby_w)
