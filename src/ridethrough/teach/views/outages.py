"""Through an outage: cold and hot weather, rides, past outages, and what stretches a unit. Lessons 05, 07, 09."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import product
from typing import Any

import numpy as np
import pandas as pd

from ...answer.ledger import Ledger, ledger
from ...answer.outage import Outage
from ...answer.ride import Ride, ride
from ...answer.size import size
from ...answer.stages import food_kept
from ...model.cabinet import Cabinet
from ...model.load import Load
from ...model.recharge import Generator
from ...model.unit import BackupUnit
from ...sampling import Drawn
from ...units import Q_, show
from ..figures import LOADS, Curve, charge_figure, curves_figure, emptying_figure, outages_figure, plain
from ..panels import Choice, Panel, Slider, View

_PLACES = ("in the store", "in the kitchen")
_LEVELS = (0.025, 0.25, 0.5, 0.75, 0.975)  # 19 of 20, half, the middle


def rides_view(load: Load, unit: BackupUnit, outage: Any) -> View:
    """Return the view of 2,000 rides through one outage: how many last, when the others run empty."""
    return charge_view(ride(load, unit, outage, draws=2000, times=72))  # few enough to follow a slider


def charge_view(rides: Ride) -> View:
    """Return the view of rides through one outage whose charge is told at moments: how many last, and when not."""
    unit, count = rides.unit, rides.case.sampler.draws
    levels_wh, reserve = np.quantile(rides.charges_wh, _LEVELS, axis=1), rides.outage.reserve
    kept = f" and keep {show(reserve)} in reserve" if reserve.magnitude else ""
    last = f"on {unit.label}: {round(rides.chance * count):,} of {count:,} rides last"
    hours, verdict = show(rides.outage.duration), rides.verdict
    table = pd.DataFrame([rides.case.told_h, *levels_wh[::2]], ["time (h)", "low (Wh)", "middle (Wh)", "high (Wh)"]).T
    left = float(np.median(rides.left.draws))
    text = f"Outage of {hours} {last}{kept}, {verdict}. The unit runs for {_span(rides.lasts)}; in the middle ride "
    text += f"{show(Q_(abs(left), 'Wh'), 0)} are {'left over' if left >= 0 else 'missing'}."
    text += "".join(f" Caution: {each}." for each in rides.outage.cautions)
    picture = partial(charge_figure, rides=rides, levels_wh=levels_wh)
    return View(text, table[:: max(1, rides.case.told_h.size // 8)], f"{hours} {last}, {verdict}", picture)


def _span(found: Drawn) -> str:
    """Return from when to when it ends, or that the outage is over before."""
    low, high = found.interval()
    return f"{show(low)} to {show(high)}" if not found.at_least else str(found)


def outage_panel(load: Load, unit: BackupUnit, *, start: Any = "100 %") -> Panel:
    """Return the panel of lessons 07 and 11: until which hour is it covered, alone and with packs?

    Parameters
    ----------
    load : Load
        What is plugged in [W].
    unit : BackupUnit
        Without packs; the panel adds as many as it takes.
    start : Estimate, str or float
        State of charge when the outage begins [-].
    """
    units = {each.label: each for each in unit.extensions}

    def view(hours: float, on: str) -> View:
        return rides_view(load, units[on], Outage(Q_(hours, "h"), start=start))

    hours = Slider("length of the outage", 6, 168, 36, unit="h")
    return Panel(view, hours=hours, on=Choice("carried by", list(units)))


def past_view(load: Load, unit: BackupUnit, past: Sequence[Any], *, start: Any = "100 %") -> View:
    """Return the view of past outages: their lengths, their mean, and the fewest packs that cover each."""
    outages = sorted((Outage(length, start=start) for length in past), key=lambda outage: outage.hours)
    hours = [outage.hours for outage in outages]
    packs = [size(load, outage, like=unit).packs for outage in outages]
    mean, alone = sum(hours) / len(hours), sum(needed == 0 for needed in packs)
    text = (
        f"{len(hours)} outages: mean {mean:.1f} h, half of them under {np.median(hours):.1f} h, the longest "
        f"{hours[-1]:g} h. {unit.label} alone covers {alone} of them; "
        f"{100 * hours[-1] / sum(hours):.0f} % of the dark hours were in the longest one."
    )
    headline = f"Mean {mean:.1f} h, longest {hours[-1]:g} h: {unit.label} alone covers {alone} of {len(hours)}"
    picture = partial(outages_figure, hours=hours, packs=packs, name=unit.label)
    return View(text, pd.DataFrame({"outage (h)": hours, "packs": packs}), headline, picture)


def cold_panel(freezer: Load, steady: Load, unit: BackupUnit, *, kitchen: Any) -> Panel:
    """Return the panel of lesson 05: what does a colder store do to the hours that a unit carries?

    Parameters
    ----------
    freezer : Load
        What stands in the store, with the room it was measured in; that room is what others are compared with [W].
    steady : Load
        What draws the same in any room [W].
    unit : BackupUnit
        Stands in the store, or in the kitchen.
    kitchen : str or pint.Quantity
        The kitchen's temperature [degC].
    """
    store_c = np.arange(-15.0, 26.0)

    def both(room: Any, place: str) -> tuple[Ledger, Ledger]:
        unit_at = room if place == _PLACES[0] else kitchen
        return (ledger(freezer, unit, Outage("24 h", room=room, unit_at=unit_at)),
                ledger(steady, unit, Outage("24 h", unit_at=unit_at)))  # fmt: skip

    accounts = {place: [both(Q_(c, "degC"), place) for c in store_c] for place in _PLACES}
    curves = {place: [Curve.of(each[0].load.name, [account.lasts for account in each])
                      for each in zip(*pairs, strict=True)] for place, pairs in accounts.items()}  # fmt: skip
    measured_at = freezer.appliances[0].room
    before, usual = both(measured_at, _PLACES[0]), show(measured_at, 0)
    labels, about = ("temperature of the store (°C)", "run time (h)"), [f"+ and −: against {usual}"]
    picture = partial(curves_figure, x=store_c, reach=(0, 100), colours=LOADS[:3:2], about=about, labels=labels)

    def view(store: float, place: str) -> View:
        here = accounts[place][int(np.argmin(np.abs(store_c - store)))]
        text = (
            f"Store at {store:g} °C, unit {place}: the {freezer.name} draws {show(here[0].mean_power)} and "
            f"runs for {here[0].lasts}; the {steady.name} runs for {here[1].lasts}. In the ordinary week, at "
            f"{usual}: {show(before[0].lasts)} and {show(before[1].lasts)}."
        )
        pairs = list(zip(here, before, strict=True))
        rows = [(now.load.name, plain(now.mean_power), plain(now.available), plain(now.lasts), plain(then.lasts))
                for now, then in pairs]  # fmt: skip
        table = pd.DataFrame(rows, columns=["load", "draws (W)", "usable (Wh)", "runs (h)", "in the ordinary week (h)"])
        gained = ", ".join(f"{now.load.name} {round(plain(now.lasts - then.lasts)):+d} h" for now, then in pairs)
        headline = f"Store at {store:g} °C, unit {place}: {gained}".replace("-", "−")
        return View(text, table, headline, partial(picture, curves=curves[place], at=store))

    store = Slider("temperature of the store", -15, 25, 15, unit="°C")
    return Panel(view, store=store, place=Choice("the unit stands", list(_PLACES)))


def emptying_view(night: Ride, warm: Ride, *, begins: int) -> View:
    """Return the view of a unit that empties, from a full hour of the clock on.

    Parameters
    ----------
    night, warm : Ride
        The same load in a room given by the hour, the charge told at every full hour; the unit in that room, and in
        the warm.
    begins : int
        The clock's hour at the beginning [h].
    """
    last = int(plain(night.lasts))
    told, hours = night.state_of_charge[: last + 1], np.arange(last + 1)
    limit = told["kept back (Wh)"]
    text = (
        f"From {begins}:00 on: empty after {night.lasts}, with {limit[last]:,.0f} Wh still in it that the cold "
        f"keeps back. With the unit in the warm the same load would run for {warm.lasts}."
    )
    clock = [f"{(begins + hour) % 24}:00" for hour in hours]
    table = pd.DataFrame({"clock": clock, "store (°C)": night.outage.room.at(hours),
                          "in the battery (Wh)": told["charge (Wh)"] + limit, "out of reach (Wh)": limit})  # fmt: skip
    headline = f"Empty after {show(night.lasts)}, with {limit[last]:,.0f} Wh in it that the cold keeps back"
    return View(text, table, headline, partial(emptying_figure, night=night, warm=warm, begins=begins))


def stretch_view(cabinet: Cabinet, rides: Ride) -> View:
    """Return the view of a unit's charge through an outage: how long it runs, and how long the food is kept.

    Parameters
    ----------
    cabinet : Cabinet
        What is plugged in, and whose food is kept, with no thermometer in it.
    rides : Ride
        Its load through the outage, the charge told at moments.
    """
    view, outage, count = charge_view(rides), rides.outage, rides.case.sampler.draws
    food = food_kept(cabinet, rides)
    lasting, kept = (round(count * chance) for chance in (rides.chance, food.chance_above(outage.duration)))
    text = (
        f"Outage of {show(outage.duration)}: {rides.unit.label} runs for {_span(rides.lasts)}, {lasting} of {count} "
        f"rides last: {rides.verdict}. The food is kept for {_span(food)}."
    )
    if outage.generator:
        text += f" The generator, outdoors, 20 ft from openings, burns {rides.fuel}."
    cautions = "; ".join(each.cautions[0].split(":")[0] for each in outage.recharge)  # whole: `charge_view`
    text += f" Caution: {cautions}." if cautions else ""
    spans = ("the unit runs", rides.lasts.interval()), ("the food is kept", food.interval())
    table = pd.DataFrame([(what, *map(plain, ends)) for what, ends in spans], columns=["what", "from (h)", "to (h)"])
    headline = f"{show(outage.duration)}: {rides.verdict}; food kept to the end in {kept} of {count} rides"
    sunny = "sun of a real place, else " if any(each.kind == "sun" for each in outage.recharge) else ""
    return replace(view, text=text, table=table, headline=headline, note=sunny + view.note)


def stretch_panel(cabinet: Cabinet, unit: BackupUnit, helps: Mapping[str, Mapping[str, Any]], *, rated: Any,
                  start: Any = "100 %") -> Panel:  # fmt: skip
    """Return the panel of lesson 09: what carries a unit through three days, and the food with it?

    Parameters
    ----------
    cabinet : Cabinet
        What is plugged in, and whose food is kept.
    unit : BackupUnit
        What carries it; one measured by run-downs wants its ``k1``.
    helps : mapping from str to mapping
        What helps, by name: ``{"recharge": [sun]}`` or ``{"on": windows}`` as in `Outage`, or ``{}``.
    rated : Ratings, str or pint.Quantity
        The generator's largest steady power [W].
    start : Estimate, str or float
        State of charge when the outage begins [-].
    """
    load = cabinet.as_load()

    def through(helped: str, hours: float) -> View:
        sun, end = helps[helped].get("recharge", ()), f"{8 + hours // 1:.0f}:{60 * (hours % 1):02.0f}"
        engine = [Generator(rated, hours=f"8:00-{end}")] if hours else []
        outage = Outage("3 days", start=start, begins="18:00", recharge=(*sun, *engine), on=helps[helped].get("on"))
        return stretch_view(cabinet, ride(load, unit, outage, draws=200, times=144))

    hours = Slider("generator, each morning", 0, 4, 0, unit="h", step=0.5)
    # few enough rides and moments to have all positions ready before the slider moves
    views = {at: through(*at) for at in product(helps, hours.places())}
    return Panel(lambda helped, generator: views[helped, generator],
                 helped=Choice("helped by", list(helps)), generator=hours)  # fmt: skip
