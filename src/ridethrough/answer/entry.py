"""One entry of a comparison: what a unit, or none at all, comes to in one outage."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from copy import copy
from dataclasses import replace
from typing import Any

from ..model.load import CABINETS, Appliance, Load
from ..model.price import Offer, PriceList
from ..model.unit import BackupUnit
from ..sources import lookup
from ..units import Q_, Refusal, show
from .headroom import RESTART, Check, headroom
from .outage import Outage
from .ride import Ride, ride
from .size import LARGE, tried

NOTHING = "door closed, ice"
RULE = ("refrigerator", "half full freezer", "full freezer")
LIMITS = {"start": "start surge", "voltage": "voltage"}  # other checks are of the inverter
BY_RULE, BEYOND_RULE = "by rule of caution", "beyond the rule"
NO_PRICE, FALLS_SHORT, TOO_SMALL = "no price", "falls short", "inverter too small"


def passes(found: Ride, aim: float) -> bool:
    """Return whether it lasts with chance ``aim``, on an inverter that carries the load."""
    return found.chance >= aim and found.verdict != TOO_SMALL


def entry(load: Load, unit: BackupUnit | Refusal, assumed: str, name: str, outage: Outage, aim: float,
          listed: PriceList, stale_after: Any) -> dict[str, Any]:  # fmt: skip
    """Return what a unit comes to in one outage; "place" and "keys" serve the ranking."""
    try:
        if isinstance(unit, Refusal):
            raise unit
        *_, found = tried(load, unit, outage, aim)
    except Refusal as refusal:
        return {"place": "not reckoned", "verdict": "not reckoned", "note": f"{refusal.given}. {refusal.remedy}"}
    fits, offers, left = passes(found, aim), listed.offers(name, found.unit.packs), found.left.magnitude
    place = "" if offers else NO_PRICE
    if not fits:
        place = TOO_SMALL if found.verdict == TOO_SMALL else FALLS_SHORT
    keys = {terms: (offer.amount, -left) for terms, offer in offers.items()} or {"": (0.0, -left)}
    notes = (assumed, *_notes(found, fits), *_price_notes(listed, name, offers), *found.cautions)
    return {
        "place": place,
        "keys": keys if fits else {"": (-found.chance, -found.lasts.magnitude)},
        "packs": found.unit.packs if fits else None,
        "verdict": found.verdict,
        "chance": found.chance,
        "lasts (h)": found.lasts.magnitude,
        "left (Wh)": left,
        "give or take (Wh)": found.left.expanded().magnitude,
        "limited by": _limit(found, aim),
        "note": "; ".join(filter(None, notes)),
        **_priced(found, next(iter(offers.values()), None), listed, stale_after),
    }


def _priced(found: Ride, offer: Offer | None, listed: PriceList, stale_after: Any) -> dict[str, Any]:
    """Return what it costs, and for each kWh that reaches the load."""
    if offer is None:
        return {}
    came = found.served.magnitude / ((found.served + found.unserved).magnitude or 1)
    kwh = found.mean_power.magnitude * found.outage.hours / 1000 * came
    return {"price": offer.amount, "terms": offer.terms, "of": str(offer), "stale": listed.stale(offer, stale_after),
            "price per kWh": offer.amount / kwh if kwh else None}  # fmt: skip


def _checks(found: Ride, finding: str) -> list[Check]:
    """Return what of the inverter was found so."""
    return [each for each in headroom(found.load, found.unit) if each.finding == finding and each.what != RESTART]


def _notes(found: Ride, fits: bool) -> Iterator[str]:
    """Yield why it does not pass, and what was not checked."""
    packs, unseen = found.unit.packs, _checks(found, "not checked")
    if found.verdict == TOO_SMALL:
        yield "no pack makes the inverter larger"
    elif not fits and packs:
        yield f"even with {packs} pack{'s' * (packs > 1)}"
    yield from (f"{check.what}: {check.why}" for check in _checks(found, "does not carry it"))
    yield f"not checked: {', '.join(check.what for check in unseen)}" if unseen else ""


def _price_notes(listed: PriceList, name: str, offers: Mapping[str, Offer]) -> Iterator[str]:
    """Yield why there is no price, or in which other terms there is one."""
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
    if outage.unit_at is not None and ride(load, unit, other(outage, unit_at=None), times=1).chance >= aim:
        return "cold"
    if outage.recharge and ride(load, free, outage, times=1).chance >= aim:
        return "charger"
    return "packs" if unit.packs_max else "energy"


def other(outage: Outage, **changed: Any) -> Outage:
    """Return the outage with something else in place of what it has."""
    found = copy(outage)
    vars(found).update(changed)
    return found


def rule_hours(load: Load, outage: Outage) -> tuple[float, tuple[str, ...]]:
    """Return how far the agencies' rule of caution for food behind a closed door reaches [h], and what to mind."""
    kept = [(each, 0.0 if each.room is None else _keeps_h(each, outage)) for each in load.appliances]
    unknown = ", ".join(each.name for each, _ in kept if each.room is None)
    minds = [mind for each, hours in kept for mind in _minds(each, outage, hours)]
    return min(hours for _, hours in kept), (*minds, *([f"not known to be cold: {unknown}"] if unknown else []))


def _minds(one: Appliance, outage: Outage, hours: float) -> Iterator[str]:
    """Yield what to mind of the hours of a cold appliance [h]: what its cabinet predicts, or that its room is warm."""
    there = one.room if outage.room is None else Q_(float(outage.room.celsius.max()), "degC")
    if one.thermal is not None:
        kept = show(Q_(hours, "h"))
        yield f"the {one.name}, {one.thermal.fill}, counts as kept for {kept}: by the rule, no longer than predicted"
    elif one.room is not None and there is not None and there.m_as("degC") > lookup("warmest ordinary room").value:
        yield f"the rule is for ordinary rooms: at {show(there)} the {one.name} may keep for less"


def _keeps_h(one: Appliance, outage: Outage) -> float:
    """Return how long by the rule, of a cabinet by its own and no longer than it predicts [h]."""
    if one.thermal is None:
        return lookup(f"hours unopened, {RULE[CABINETS.index(one.cabinet)]}").value
    return float(min(one.thermal.rule.value, one.thermal.hours_until(room=outage.room, draws=2).magnitude))


def do_nothing(load: Load, outage: Outage) -> dict[str, Any]:
    """Return the row without a unit: the rule and what to mind, and no help for what does not keep cold."""
    reach, minds = rule_hours(load, outage)
    said = BY_RULE if outage.hours <= reach else BEYOND_RULE
    rule = ", ".join(f"{each} {lookup(f'hours unopened, {each}').value:g} h" for each in RULE)
    notes = (f"a rule of caution, no prediction: {rule}", "it helps cold appliances only", *minds)
    return {"unit": NOTHING, "place": said, "verdict": said, "note": "; ".join(notes)}
