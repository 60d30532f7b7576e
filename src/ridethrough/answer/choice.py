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
from ..model.price import READ, Offer
from ..model.unit import BackupUnit
from ..sources import lookup
from ..units import Q_, Refusal, show
from .compare import listed_of, stock_of
from .headroom import cautions_of, overloads
from .nothing import NOTHING, rule_hours
from .outage import Outage, Place
from .ride import TOO_SMALL, ride
from .size import confidence_of

HALVINGS = 10  # how often a range is halved: to a thousandth of it
TIMES = (0.5, 2)  # what draw and standby are taken times, to see what moves
LONGEST = "14 days"  # how far a frontier goes
NONE = "nothing here"
FRONTIER = ("choice", "from (h)", "to (h)", "price", "terms", "of", "to (h), half its standby",
            "to (h), twice its standby", "in words")  # fmt: skip
OTHER_TERMS = "its price is in other terms: give rates= or tax_rate="


class Choice(NamedTuple):
    """What it is called, packs included; the unit with its packs, None for doing without; what it costs."""

    name: str
    unit: Any
    offer: Offer

    @property
    def priced(self) -> str:
        """Name and price."""
        return self.name if self.unit is None else f"{self.name}, {self.offer.amount:,.2f} {self.offer.terms}"

    def idling(self, times: float) -> Choice:
        """Return it with the unit's standby, and the doubt about it, taken times a number."""
        return self._replace(unit=self.unit.with_standby(self.unit.standby * times))


SHUT, NOBODY = Choice(NOTHING, None, Offer(0.0, "", ())), Choice(NONE, None, Offer(math.nan, "", ()))


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
    choices, why = choices_of(units, **prices)
    reached = [(choice, *reach_of(choice, plugged, longest, aim)) for choice in choices]
    rows, picked = list[dict[str, Any]](), list[Choice]()
    for choice, begin, end in turns(reached, plugged, longest):
        picked.append(choice)
        moved = [reach_of(choice.idling(times), plugged, longest, aim)[0] if choice.unit else math.nan
                 for times in TIMES]  # fmt: skip
        said = _step_in_words(choice, *(show(Q_(each, "h")) for each in (begin, end, *moved)))
        told = choice.name, begin, end, *choice.offer[:2], str(choice.offer), *moved, said
        rows.append(dict(zip(FRONTIER, told, strict=True)))
    if rows[0]["choice"] == NOTHING:
        rows[0]["in words"] += "".join(f"; {each}" for each in rule_hours(plugged, longest)[1])
    rows += [{"choice": "caution", "in words": each} for each in _cautions(plugged, picked, longest)]
    up_to_it = {choice.unit.name for choice, hours, _ in reached if hours}
    why |= {choice.unit.name: said for choice, _, said in reached if choice.unit.name not in up_to_it}
    rows += [{"choice": name, "in words": f"{name} is left out: {why[name]}"} for name in units if name in why]
    return pd.DataFrame(rows, columns=FRONTIER).fillna({"terms": "", "of": ""})


def turns(reached: Iterable[tuple[Choice, float, str]], load: Load,
          longest: Outage) -> Iterator[tuple[Choice, float, float]]:  # fmt: skip
    """Yield what comes first as the outage grows, from one length to another [h], of choices with `reach_of` each.

    That is doing nothing as far as the rule of caution goes, then the cheapest choice that still passes, then nothing.
    """
    cheapest, at = sorted(reached, key=lambda each: (each[0].offer.amount, -each[1])), 0.0
    for choice, reach, _ in [(SHUT, rule_hours(load, longest)[0], ""), *cheapest, (NOBODY, math.inf, "")]:
        end = min(reach, longest.hours)
        if end > at:
            yield choice, at, end
            at = end


def _step_in_words(choice: Choice, first: str, last: str, half: str, twice: str) -> str:
    """Return what a choice is the first for, and up to where with another standby."""
    if choice is SHUT:
        return f"{choice.name}: to {last} by rule of caution"
    if choice is NOBODY:
        return f"{choice.name} from {first} on"
    return f"{choice.priced}: from {first} to {last}; to {half} with half its standby, to {twice} with twice"


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
    choices, _ = choices_of(units, **prices)

    def first(among: Sequence[Choice]) -> Choice:
        return next((choice for choice in among if _passes(choice, plugged, when, aim)), NOBODY)

    pick = first(choices)
    if pick is NOBODY:
        raise Refusal(f"{show(when.duration)}, for which nothing passes that has a price", "a choice to begin with",
                      "Look at compare(...), and take a shorter outage.")  # fmt: skip
    rows = [(what, unit, now, end, *_flip(choices, pick, tried, now, end))
            for what, unit, now, ends, tried in _changes(pick, plugged, when, aim) for end in ends]  # fmt: skip
    rival = first([choice for choice in choices if choice.unit.name != pick.unit.name])
    rows.append((f"price of {pick.name}", pick.offer.terms, pick.offer.amount, math.inf, rival.offer.amount, rival))
    told = [(what, unit, now, end, at, "" if math.isnan(at) else then.name,
             _change_in_words(what, unit, now, end, at, then)) for what, unit, now, end, at, then in rows]  # fmt: skip
    told += [("caution", "", math.nan, math.nan, math.nan, "", each) for each in _cautions(plugged, [pick], when)]
    return pd.DataFrame(told, columns=["what", "unit", "now", "looked to", "at", "then", "in words"])


def _cautions(load: Load, choices: Sequence[Choice], outage: Outage) -> list[str]:
    """Return what the numbers of these choices leave out and may hurt, each in words once."""
    found = [*outage.cautions, *overloads(load, outage)]
    found += [said for choice in choices if choice.unit for said in cautions_of(choice.unit, outage)]
    return [f"caution: {each}" for each in dict.fromkeys(found)]


def choices_of(units: Any, *, prices: Any = None, **terms: Any) -> tuple[list[Choice], dict[str, str]]:
    """Return the choices, cheapest first, and of each unit that is none the reason.

    Choices are units with every number of packs that have a price in the terms that most units have.
    """
    stock, listed = stock_of(units), listed_of(units, prices, **terms)
    why, found = dict.fromkeys(stock, "it can't be reckoned with"), list[Choice]()
    for name, unit in ((name, unit) for name, (unit, _) in stock.items() if isinstance(unit, BackupUnit)):
        why[name] = "it has no price"
        for more in replace(unit, name=name).extensions:
            found += [Choice(more.label, more, offer) for offer in listed.offers(name, more.packs).values()]
    count = Counter(terms for _, terms in {(each.unit.name, each.offer.terms) for each in found})
    if not count:
        first = min((price.date for price in listed_of(units, prices).prices), default=None)
        early = listed.on and first and listed.on < first
        remedy = f'Write on="{first}", the day of the first price, or a later one.' if early else READ
        raise Refusal("units of which none has a price", "what they cost", remedy)
    usual = max(count, key=lambda each: (count[each], each))
    taken = [each for each in found if each.offer.terms == usual]
    why |= {each.unit.name: OTHER_TERMS for each in found}
    for name in {each.unit.name for each in taken}:
        del why[name]
    return sorted(taken, key=lambda each: (each.offer.amount, -each.unit.printed.m_as("Wh"))), why


def reach_of(choice: Choice, load: Load, longest: Outage, aim: float) -> tuple[float, str]:
    """Return the longest outage that passes [h], at most as long as looked, and where there is none the reason."""
    try:  # without recharge any length tells it
        found = ride(load, choice.unit, longest.but(duration=Q_(1, "h")) if longest.goes_on else longest, times=1)
        lasts = np.sort(found.lasts.draws)
    except Refusal as refusal:  # as `compare` says in its row
        return 0.0, f"{refusal.given}. {refusal.remedy}"
    if found.verdict == TOO_SMALL:
        return 0.0, "its inverter is too small"
    reach = min(float(lasts[lasts.size - math.ceil(aim * lasts.size)]), longest.hours)
    return reach, "" if reach else "it lasts no time with the chance asked for"


def _passes(choice: Choice, load: Load, outage: Outage, aim: float) -> bool:
    return reach_of(choice, load, outage, aim)[0] >= outage.hours


Change = tuple[str, str, float, list[float], Callable[[Choice, float], bool]]


def _changes(pick: Choice, load: Load, outage: Outage, aim: float) -> Iterator[Change]:
    """Yield what may change: name, unit, value now, how far to look, and whether a choice passes at another value."""
    draw_w, own_w = load.mean_power.value.m_as("W"), pick.unit.standby.value.m_as("W")

    def drawing(choice: Choice, power_w: float) -> bool:
        more = (replace(each, mean_power=each.mean_power * (power_w / draw_w)) for each in load.appliances)
        return _passes(choice, Load(tuple(more)), outage, aim)

    def idling(choice: Choice, power_w: float) -> bool:
        mine = choice.unit.name == pick.unit.name
        return _passes(choice.idling(power_w / own_w) if mine else choice, load, outage, aim)

    def standing(choice: Choice, celsius: float) -> bool:
        there = Place.of(Q_(celsius, "degC"), "room", outage.hours)
        return _passes(choice, load, outage.but(room=there), aim)

    if draw_w:
        yield "measured draw", "W", draw_w, [times * draw_w for times in TIMES], drawing
    if own_w:
        yield f"standby of {pick.name}", "W", own_w, [times * own_w for times in TIMES], idling
    if rooms := [each.room for each in load.appliances if each.room is not None]:
        now = float((rooms[0] if outage.room is None else outage.room.mean).m_as("degC"))
        ends = [lookup("coldest room of a refrigerator").value, lookup("warmest room").value]
        yield "room of the cold appliances", "degC", now, ends, standing


def _flip(choices: Sequence[Choice], pick: Choice, passes: Callable[[Choice, float], bool], now: float,
          end: float) -> tuple[float, Choice]:  # fmt: skip
    """Return where between now and an end another choice comes first, and which; nan where none does."""
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
    return after, next((each for each in rivals if passes(each, after)), NOBODY)


def _change_in_words(what: str, unit: str, now: float, end: float, at: float, then: Choice) -> str:
    """Return what a change comes to."""
    if math.isinf(end):
        changes = "nothing changes" if math.isnan(at) else f"from {at:,.2f} on it is {then.name}"
        return f"{what}: now {now:,.2f} {unit}; {changes}"
    now_is, way = f"{what}: now {show(Q_(now, unit))}", ("below", "down") if end < now else ("above", "up")
    if math.isnan(at):
        return f"{now_is}; nothing changes {way[1]} to {show(Q_(end, unit))}"
    return f"{now_is}; {way[0]} {show(Q_(at, unit))} it is {then.priced}"
