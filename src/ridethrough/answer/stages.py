"""Stages: the unit on only in windows, which saves its standby in between."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from ..known import Listed, notes
from ..model.battery import asked_w
from ..model.cabinet import MAKE, Cabinet
from ..model.inside import steps_h
from ..model.load import Load
from ..model.pattern import DAY_H, LEAST
from ..sampling import DRAWS, Drawn, Sampler, enough
from ..sources import CAUTIONS, lookup
from ..units import Q_, Refusal, of_kind, show, truth, whole
from .case import Case, case_of
from .outage import Outage
from .power import course_of
from .ride import Ride, through

TWELFTHS = 12  # parts of a period, of which the unit is on in some
FEW = 100  # draws by which all patterns are weighed, before the best is with all of them


@dataclass(frozen=True)
class Stages(Listed):
    """The best windows found for an outage, or that it is best left on; make it with `plan_stages`.

    Parameters
    ----------
    cabinet : Cabinet
        Whose food is kept.
    ride, always : Ride
        In the best windows, and with the unit on all along; the same where nothing is better.
    table : pandas.DataFrame
        All patterns, least energy first: on (h), every (h), switchings in a day, unit on (h), load (Wh) at the outlet,
        after gaps (Wh) of it beyond what it draws all along, standby saved (Wh) and asked (Wh) on the side of the
        unit's route, owed at the end (Wh) at the outlet for what is warmer then, food kept [-], the chance while the
        unit lasts, and note.
    thermometer : bool
        Whether one in the food lifts the agencies' hours.
    """

    cabinet: Cabinet
    ride: Ride
    always: Ride
    table: pd.DataFrame = field(repr=False)
    thermometer: bool

    @property
    def outage(self) -> Outage:
        """The outage with its windows: a ride or a ledger takes it as it is."""
        return self.ride.case.outage

    @property
    def pattern(self) -> str:
        """The windows in words."""
        if self.outage.on is None:
            return "on all along: no windows are better"
        if not round(60 * self.outage.on_hours):
            return "leave it off: the food keeps as long without it"
        on, every = (_spoken(round(60 * hours)) for hours in (self.outage.on.duration_h[-1], self.outage.on.period_h))
        return f"on for the last {on} of every {every}"

    @property
    def windows(self) -> tuple[tuple[str, str], ...]:
        """From and to, as often as the unit is on in the outage; times of day where it says when it begins."""
        outage, begins_h = self.outage, self.outage.begins_h
        edges_h = np.concatenate([[0.0], outage.cuts_h(0.0, outage.hours), [outage.hours]])
        minutes = np.round(60 * (edges_h + (begins_h or 0.0))).astype(int)
        told = [_spoken(at) if begins_h is None else f"{at // 60 % round(DAY_H)}:{at % 60:02d}" for at in minutes]
        on = outage.powered((edges_h[:-1] + edges_h[1:]) / 2)
        return tuple(span for span, is_on in zip(pairwise(told), on, strict=True) if is_on)

    @property
    def gained(self) -> Drawn:
        """How much longer the unit lasts, as far as the outage goes [h]."""
        hours = self.outage.hours
        staged, always = (Drawn(each.lasts.rows, "h", each.lasts.inputs, hours) for each in (self.ride, self.always))
        return staged - always

    @cached_property
    def food(self) -> Drawn:
        """How long the food is kept, also after the unit ran empty, as if it never came on again [h]."""
        return food_kept(self.cabinet, self.ride, self.thermometer)

    @cached_property
    def food_always(self) -> Drawn:
        """The same with the unit on all along [h]."""
        return food_kept(self.cabinet, self.always, self.thermometer)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What the agencies say of the food, and what the numbers leave out."""
        said = ["thermometer" if self.thermometer else "no thermometer"]
        said += ["warm at the end"] if self.outage.on else []
        if self.outage.on_hours and self.food_always.chance_above(self.outage.duration) >= lookup("covered from").value:
            said.append("stages not needed")
        return (*self.ride.cautions, *(CAUTIONS[name] for name in said))

    def __repr__(self) -> str:
        asked, all_along = (show(Q_(each.walk.state.asked[0], "Wh"), 0) for each in (self.ride, self.always))
        kept = (f"{each}, chance {100 * each.chance_above(self.outage.duration):.0f} %"
                for each in (self.food, self.food_always))  # fmt: skip
        return (f"<Stages of {self.ride.unit.label} through {show(self.outage.duration)}: {self.pattern}; asks {asked} "
                f"instead of {all_along}; lasts {self.ride.lasts}, {self.gained} longer; food kept "
                f"{', instead of '.join(kept)}{notes('caution', self.cautions)}>")  # fmt: skip


def _spoken(minutes: int) -> str:
    """Return a time as people say it: "40 min", "7 h 20 min", "8 h"."""
    hours, rest = divmod(minutes, 60)
    return " ".join([f"{hours} h"] * bool(hours) + [f"{rest} min"] * bool(rest)) or "0 h"


def plan_stages(cabinet: Any, unit: Any, outage: Any, *, beside: Load | None = None, switchings: int | None = None,
                thermometer: bool = False, draws: int = DRAWS, seed: int = 1) -> Stages:  # fmt: skip
    """Return the windows in which a unit that is off between them takes least and still keeps the food.

    Parameters
    ----------
    cabinet : Cabinet
        The refrigerator or freezer whose food is kept.
    unit : BackupUnit
        The battery unit, packs included.
    outage : Outage, str or pint.Quantity
        The outage, or its length [h].
    beside : Load, optional
        What else runs while the unit is on, and only then [W].
    switchings : int, optional
        How often in a day it may be switched, on and off together; the table's number where left out.
    thermometer : bool
        Whether one in the food allows hours without power that are longer than the agencies'.
    draws, seed
        As in `ride` [-].

    Returns
    -------
    Stages
        Windows repeat in the day, off first: of a period of 24, 12, 8 h and so on the unit is on in some twelfths.

    Notes
    -----
    A refrigerator's food is kept while it is above its limit for less than two hours in all, a freezer's until it
    begins to thaw; with the chance of a verdict of covered, and no smaller one than with the unit on all along.
    Lesson 09.
    """
    of_kind(cabinet, Cabinet, "cabinet", "a cabinet", MAKE)
    truth(thermometer, "thermometer")
    load, when = cabinet.as_load(), Outage.of(outage)
    load = load if beside is None else load + beside
    if when.on is not None:
        raise Refusal("an outage with windows", "one in which the unit is on all along", "Leave on and every out.")
    most = round(lookup("switchings in a day").value) if switchings is None else whole(switchings, "switchings", 2, 2)
    always = through(case_of(load, unit, when, draws=enough(draws), seed=seed))
    none = Stages(cabinet, always, always, pd.DataFrame(), thermometer)
    least = max(lookup("covered from").value, none.food_always.chance_above(when.duration))
    table = _weighed(none, _patterns(most), least)
    for on_h, every_h in table.loc[table["note"] == "", ["on (h)", "every (h)"]].to_numpy():
        if on_h == every_h:
            break
        case = case_of(load, unit, when.switched(every_h - on_h, on_h), draws=draws, seed=seed)
        if _food(cabinet, case).chance_above(when.duration) >= least:
            return replace(none, ride=through(case), table=table)
    return replace(none, table=table)


def _patterns(most: int) -> np.ndarray:
    """Return for how long and how often the unit may be on, all along among them: shape (patterns, 2) [h]."""
    rest_min, periods_min = lookup("rest of a compressor").value, (60 * DAY_H / np.arange(1, most // 2 + 1)).tolist()
    found = [(every * twelfths / TWELFTHS, every) for every in periods_min for twelfths in range(1, TWELFTHS)]
    whole_min = [(on, every) for on, every in found if not (every % 60 or on % rest_min)]
    return np.array([(60 * DAY_H, 60 * DAY_H), *whole_min]) / 60


def _weighed(plan: Stages, patterns: np.ndarray, least: float) -> pd.DataFrame:
    """Return the table of patterns, least energy first; ``least`` is the chance with which food counts as kept [-]."""
    cabinet, case = plan.cabinet, plan.always.case
    outage, sampler = case.outage, Sampler(min(FEW, case.sampler.draws), case.sampler.seed)
    (on_h, every_h), edges_h = patterns.T, steps_h(0.0, outage.hours)
    inside, room, gap_h = cabinet.at(sampler), cabinet.room_of(outage.room), every_h - on_h
    hours, middles = np.diff(edges_h), (edges_h[:-1] + edges_h[1:]) / 2
    on = middles[:, np.newaxis] % every_h >= gap_h
    powers_w = inside.through(edges_h, room, lambda at: (at % every_h >= gap_h)[:, np.newaxis])[:, :, 0]
    mean_w, variance_w2 = case.powers[0].mean_w[0], case.load.appliances[0].variance_w2
    over = mean_w / max(inside.steady_w(np.mean(room(middles)))[0], LEAST)
    powers_w, most_w = powers_w * over, inside.most_w[0] * over
    all_w, varies_w2 = powers_w + case.mean_w[0] - mean_w, powers_w * np.maximum(most_w - powers_w, 0)
    own_w, b, c = (float(np.ravel(each)[0]) for each in (case.own_at(0.0).own_w, *case.takes[1:]))
    asks_w = asked_w(all_w, varies_w2 + case.load.variance_w2 - variance_w2, own_w, b, c)
    on_hours, kept = hours @ on, np.isinf(inside.broken_h)[:, sampler.within][:, 1:].mean(axis=1)
    risks = [kept < least, (gap_h > cabinet.rule.value) & (not plan.thermometer)]
    table = pd.DataFrame({
        "on (h)": on_h, "every (h)": every_h,
        "switchings in a day": np.where(on_h < every_h, 2 * DAY_H / every_h, 0).round().astype(int),
        "unit on (h)": on_hours,
        "load (Wh)": hours @ (on * all_w), "after gaps (Wh)": hours @ (on * (powers_w - mean_w)),
        "standby saved (Wh)": own_w * (outage.hours - on_hours), "asked (Wh)": hours @ (on * asks_w),
        "owed at the end (Wh)": inside.owed_wh[:, 0], "food kept": kept,
        "note": np.select(risks, ["food not kept", "a gap longer than the agencies' hours"], ""),
    })  # fmt: skip
    return table.sort_values(["asked (Wh)", "switchings in a day"], kind="stable", ignore_index=True)


def food_kept(cabinet: Cabinet, ride: Ride, thermometer: bool = False) -> Drawn:
    """Return how long the food in a cabinet is kept by a ride, also after its end; see `Stages.food` [h]."""
    longest_h = np.inf if thermometer else cabinet.rule.value
    return _food(cabinet, ride.case, ride.walk.state.empty_h, longest_h)


def _food(cabinet: Cabinet, case: Case, until_h: Any = np.inf, longest_h: float = np.inf) -> Drawn:
    """Return how long the food is kept by a unit that runs until then, and at most so long after that [h]."""
    outage, sampler = case.outage, case.sampler.further()
    kept_h = np.minimum(course_of(cabinet, outage, sampler, until_h).inside.broken_h, until_h + longest_h)
    return sampler.result(np.where(kept_h < outage.hours, kept_h, np.inf), "h", outage.hours)
