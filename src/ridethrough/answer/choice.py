"""Where one choice overtakes another: as the outage grows, and as draw, standby, room or price change."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from ..model.load import Load
from ..model.price import Offer
from ..model.unit import BackupUnit
from ..sources import lookup
from ..units import Q_, Refusal, show
from .compare import listed_of, stock_of
from .entry import NOTHING, TOO_SMALL, other, rule_hours
from .headroom import cautions_of, overloads
from .outage import Outage, Place
from .ride import ride
from .size import confidence_of

HALVINGS = 10  # how often a range is halved: to a thousandth of it
TIMES = (0.5, 2)  # what draw and standby are taken times, to see what moves
LONGEST = "14 days"  # how far a frontier goes
NONE = "nothing here"
OTHER_TERMS = "its price is in other terms: give rates= or tax_rate="
FRONTIER = ("choice", "from (h)", "to (h)", "price", "terms", "of", "to (h), half its standby",
            "to (h), twice its standby", "in words")  # fmt: skip


class Choice(NamedTuple):
    """A unit with its packs, and what it costs."""

    name: str
    unit: BackupUnit
    offer: Offer

    def __str__(self) -> str:
        return replace(self.unit, name=self.name).label

    @property
    def priced(self) -> str:
        """Name and price."""
        return f"{self}, {self.offer.amount:,.2f} {self.offer.terms}"


def frontier(load: Any, units: Mapping[str, BackupUnit], outage: Any = LONGEST, *, confidence: float | None = None,
             **prices: Any) -> pd.DataFrame:  # fmt: skip
    """Return the cheapest choice that passes as the outage grows, and where one overtakes another.

    Each unit with each number of packs reaches as far as it lasts with the chance asked for; the cheapest of those
    that reach so far is the choice there.

    Parameters
    ----------
    load : Load
        What is plugged in [W].
    units : mapping from name to BackupUnit
        As in `compare`.
    outage : Outage, str or pint.Quantity
        The longest one, with its start, rooms and recharge [h].
    confidence, prices
        As in `compare`: ``on``, ``prices``, ``tax_rate``, ``rates``. Prices in the terms that most units have are set
        against each other.

    Returns
    -------
    pandas.DataFrame
        A row for each choice in turn: choice, from (h), to (h), price, terms, of (what it is made of); where "to"
        would lie with half and with twice its standby; in words. Then where nothing reaches, cautions, and units left
        out. The figure is `teach.views.frontier_view`. Lesson 08.
    """
    plugged, longest, aim = Load.of(load), Outage.of(outage), confidence_of(confidence)
    choices, why = _offered(units, **prices)
    reached = [(choice, reach_of(plugged, choice.unit, longest, aim)) for choice in choices]
    rows, picked = list[dict[str, Any]](), list[Choice]()
    for what, begin, end in turns(reached, plugged, longest):
        picked += [what] if isinstance(what, Choice) else []
        others = [standby_times(what.unit, times) for times in TIMES] if isinstance(what, Choice) else []
        rows.append(_step(what, begin, end, [reach_of(plugged, unit, longest, aim) for unit in others]))
    if rows[0]["choice"] == NOTHING:
        rows[0]["in words"] += "".join(f"; {each}" for each in rule_hours(plugged, longest)[1])
    up_to_it = {choice.name for choice, reach in reached if reach}
    rows += [{"choice": "caution", "in words": each} for each in _cautions(plugged, picked, longest)]
    why |= {each.name: _why_not(plugged, each.unit, longest) for each in choices if each.name not in up_to_it}
    rows += [{"choice": name, "in words": f"{name} is left out: {why[name]}"} for name in units if name in why]
    return pd.DataFrame(rows, columns=FRONTIER).fillna({"terms": "", "of": ""})


def turns(reached: Iterable[tuple[Choice, float]], load: Load,
          longest: Outage) -> Iterator[tuple[Choice | str, float, float]]:  # fmt: skip
    """Yield what comes first as the outage grows, from one length to another [h], of choices that reach so far [h].

    That is doing nothing as far as the rule of caution goes, then the cheapest choice that still passes, then nothing.
    """
    at = min(rule_hours(load, longest)[0], longest.hours)
    if at:
        yield NOTHING, 0.0, at
    for choice, reach in sorted(reached, key=lambda each: (each[0].offer.amount, -each[1])):
        if reach > at:
            yield choice, at, reach
            at = reach
    if at < longest.hours:
        yield NONE, at, longest.hours


def _step(what: Choice | str, begin: float, end: float, moved: Sequence[float]) -> dict[str, Any]:
    """Return the row of what comes first from one length of outage to another [h]."""
    first, last, *others = (show(Q_(each, "h")) for each in (begin, end, *moved))
    told = {"choice": str(what), "from (h)": begin, "to (h)": end}
    if isinstance(what, Choice):
        said = "{}: from {} to {}; to {} with half its standby, to {} with twice"
        offer, (half, twice) = what.offer, moved
        return told | {"price": offer.amount, "terms": offer.terms, "of": str(offer),
                       "to (h), half its standby": half, "to (h), twice its standby": twice,
                       "in words": said.format(what.priced, first, last, *others)}  # fmt: skip
    if what == NOTHING:
        return told | {"price": 0.0, "in words": f"{what}: to {last} by rule of caution"}
    return told | {"in words": f"{what} from {first} on"}


def what_would_change(load: Any, units: Mapping[str, BackupUnit], outage: Any, *, confidence: float | None = None,
                      **prices: Any) -> pd.DataFrame:  # fmt: skip
    """Return what would have to be different for another choice to be the cheapest that passes.

    Parameters
    ----------
    load, units, outage, confidence, prices
        As in `frontier`; one outage.

    Returns
    -------
    pandas.DataFrame
        Rows: the measured draw and the pick's standby down to half and up to twice [W], the room of cold appliances
        [degC], the pick's price. Columns: what, unit, now, looked to, at (where the pick changes; missing where it
        does not), then (the choice that wins from there on, or "nothing here"), in words. Then cautions.

    Notes
    -----
    Found by halving, each time by the rides that `compare` takes: less of what is asked for never makes a unit fail,
    so the pick loses to a cheaper one below and fails above. Doing nothing is no choice here.
    """
    plugged, when, aim = Load.of(load), Outage.of(outage), confidence_of(confidence)
    choices = choices_of(units, **prices)

    def first(among: Sequence[Choice]) -> Choice | None:
        return next((choice for choice in among if _passes(plugged, choice.unit, when, aim)), None)

    pick = first(choices)
    if pick is None:
        raise Refusal(f"{show(when.duration)}, for which nothing passes that has a price", "a choice to begin with",
                      "Look at compare(...), and take a shorter outage.")  # fmt: skip
    rows = [(what, unit, now, end, *_flip(choices, pick, tried, now, end))
            for what, unit, now, ends, tried in _changes(plugged, when, pick, aim) for end in ends]  # fmt: skip
    rival = first([choice for choice in choices if choice.name != pick.name])
    at = math.nan if rival is None else rival.offer.amount
    rows.append((f"price of {pick}", pick.offer.terms, pick.offer.amount, math.inf, at, rival))
    told = [(what, unit, now, end, at, "" if math.isnan(at) else str(then or NONE),
             _in_words(what, unit, now, end, at, then)) for what, unit, now, end, at, then in rows]  # fmt: skip
    told += [("caution", "", math.nan, math.nan, math.nan, "", each) for each in _cautions(plugged, [pick], when)]
    return pd.DataFrame(told, columns=["what", "unit", "now", "looked to", "at", "then", "in words"])


def _cautions(load: Load, choices: Sequence[Choice], outage: Outage) -> list[str]:
    """Return what the numbers of these choices leave out and may hurt, each in words once."""
    found = [*outage.cautions, *overloads(load, outage)]
    found += [said for choice in choices for said in cautions_of(choice.unit, outage)]
    return [f"caution: {each}" for each in dict.fromkeys(found)]


def choices_of(units: Any, **prices: Any) -> list[Choice]:
    """Return units with every number of packs and a price in the commonest terms, the cheapest first."""
    return _offered(units, **prices)[0]


def _offered(units: Any, *, prices: Any = None, **terms: Any) -> tuple[list[Choice], dict[str, str]]:
    """Return the choices, and of units without one the reason."""
    stock, listed = stock_of(units), listed_of(units, prices, **terms)
    known = {name: unit for name, (unit, _) in stock.items() if isinstance(unit, BackupUnit)}
    with_packs = [(name, unit.with_packs(packs)) for name, unit in known.items()
                  for packs in range(unit.packs_max - unit.packs + 1)]  # fmt: skip
    found = [Choice(name, unit, offer) for name, unit in with_packs
             for offer in listed.offers(name, unit.packs).values()]  # fmt: skip
    count = Counter(terms for _, terms in {(choice.name, choice.offer.terms) for choice in found})
    if not count:
        first = min((price.date for price in listed_of(units, prices).prices), default=None)
        remedy = 'Write prices=read_prices("prices.csv").'
        if listed.on and first and listed.on < first:
            remedy = f'Write on="{first}", the day of the first price, or a later one.'
        raise Refusal("units of which none has a price", "what they cost", remedy)
    usual = max(count, key=lambda each: (count[each], each))
    taken, priced = [each for each in found if each.offer.terms == usual], {each.name for each in found}
    why = {name: OTHER_TERMS if name in priced else "it has no price" if name in known else "it can't be reckoned with"
           for name in stock if name not in {each.name for each in taken}}  # fmt: skip
    return sorted(taken, key=_price_then_size), why


def _why_not(load: Load, unit: BackupUnit, longest: Outage) -> str:
    """Return why a unit with a price reaches nowhere."""
    try:
        found = ride(load, unit, longest, times=1)
    except Refusal as refusal:
        return f"{refusal.given}. {refusal.remedy}"
    return "its inverter is too small" if found.verdict == TOO_SMALL else "it lasts no time with the chance asked for"


def reach_of(load: Load, unit: BackupUnit, longest: Outage, aim: float) -> float:
    """Return the longest outage that passes [h], at most as long as looked: without recharge any length tells it."""
    try:
        found = ride(load, unit, other(longest, duration=Q_(1, "h")) if longest.goes_on else longest, times=1)
        lasts = np.sort(found.lasts.draws)
    except Refusal:  # as `compare` says in its row
        return 0.0
    reach = float(lasts[lasts.size - math.ceil(aim * lasts.size)])
    return 0.0 if found.verdict == TOO_SMALL else min(reach, longest.hours)


def standby_times(unit: BackupUnit, times: float) -> BackupUnit:
    """Return the unit with its standby, and the doubt about it, taken times a number."""
    return unit.with_standby(unit.standby * times)


def _price_then_size(choice: Choice) -> tuple[float, float]:
    return choice.offer.amount, -choice.unit.printed.m_as("Wh")


def _passes(load: Load, unit: BackupUnit, outage: Outage, aim: float) -> bool:
    return reach_of(load, unit, outage, aim) >= outage.hours


Change = tuple[str, str, float, list[float], Callable[[Choice, float], bool]]


def _changes(load: Load, outage: Outage, pick: Choice, aim: float) -> Iterator[Change]:
    """Yield what may change: name, unit, value now, how far to look, and whether a choice passes at another value."""
    draw_w, own_w = load.mean_power.value.m_as("W"), pick.unit.standby.value.m_as("W")

    def drawing(choice: Choice, power_w: float) -> bool:
        more = (replace(each, mean_power=each.mean_power * (power_w / draw_w)) for each in load.appliances)
        return _passes(Load(tuple(more)), choice.unit, outage, aim)

    def idling(choice: Choice, power_w: float) -> bool:
        mine = choice.name == pick.name
        return _passes(load, standby_times(choice.unit, power_w / own_w) if mine else choice.unit, outage, aim)

    def standing(choice: Choice, celsius: float) -> bool:
        room = Place.of(Q_(celsius, "degC"), "room", outage.hours)
        return _passes(load, choice.unit, other(outage, room=room), aim)

    if draw_w:
        yield "measured draw", "W", draw_w, [times * draw_w for times in TIMES], drawing
    if own_w:
        yield f"standby of {pick}", "W", own_w, [times * own_w for times in TIMES], idling
    if rooms := [each.room for each in load.appliances if each.room is not None]:
        now = float((rooms[0] if outage.room is None else outage.room.mean).m_as("degC"))
        ends = [lookup("coldest room of a refrigerator").value, lookup("warmest room").value]
        yield "room of the cold appliances", "degC", now, ends, standing


def _flip(choices: Sequence[Choice], pick: Choice, passes: Callable[[Choice, float], bool], now: float,
          end: float) -> tuple[float, Choice | None]:  # fmt: skip
    """Return where between now and an end another choice becomes the first, and which; nan where none does."""
    place = choices.index(pick)
    rivals = [each for each in choices[:place] if passes(each, end)] if end < now else choices[place + 1 :]

    def changed(at: float) -> bool:
        return any(passes(each, at) for each in rivals) if end < now else not passes(pick, at)

    if not changed(end):
        return math.nan, pick
    before, after = now, end
    for _ in range(HALVINGS):
        middle = (before + after) / 2
        before, after = (before, middle) if changed(middle) else (middle, after)
    return after, next((each for each in rivals if passes(each, after)), None)


def _in_words(what: str, unit: str, now: float, end: float, at: float, then: Choice | None) -> str:
    """Return what a change comes to."""
    if math.isinf(end):
        return f"{what}: now {now:,.2f} {unit}; {f'from {at:,.2f} on it is {then}' if then else 'nothing changes'}"
    now_is, way = f"{what}: now {show(Q_(now, unit))}", ("below", "down") if end < now else ("above", "up")
    if math.isnan(at):
        return f"{now_is}; nothing changes {way[1]} to {show(Q_(end, unit))}"
    return f"{now_is}; {way[0]} {show(Q_(at, unit))} it is {then.priced if then else NONE}"
