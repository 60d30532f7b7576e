"""Bench tests in, a unit's own numbers out: the line through its run-downs.

A run-down takes a full unit, at a steady load, to the moment it switches off. Several, at different loads,
tell the energy that there is to share at the outlet and the standby as the outlet sees it, whatever is
printed on the box. Every power here is AC power at the outlet, unless its side is named.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import compress
from typing import Any

import numpy as np
import pandas as pd
import pint

from ..estimate import Estimate, through, values
from ..model.battery import CHEMISTRIES, of_chemistry
from ..model.load import Load
from ..model.rundowns import Pack, RundownLine
from ..model.temperature import TemperatureCurve
from ..sources import coefficient, lookup, temperature
from ..units import Q_, Refusal, float_of, number, of_kind, show
from .meter import Meter
from .meterlog import MeterLog
from .rundown import LineFit, Rundown, density_over_chance, repeatability_of


def fit_rundowns(
    runs: Sequence[Any],
    *,
    meter: Meter | None = None,
    repeatability: Any = None,
    room: Any = None,
    rate_exponent: Any = None,
    idling: Any = None,
    chemistry: str | TemperatureCurve | None = None,
    rated: Any = None,
    standby: Any = None,
) -> RundownLine:
    """Return the line through a unit's run-downs: the energy to share and the standby at the outlet.

    1/t = alpha + beta P,   E = 1/beta,   S = alpha/beta                                      (1)
    (t/T)^(1 - 1/k) / t = (S/i + P + c P^2) / E                                               (2)
    t = t_run f(room) / f(room of the run),   f the capacity over that at 25 degC             (3)

    (2) is (1) where rates give different energies (k), loss bends (c), and with nothing plugged in the unit takes
    less than under load (i, 1 in all other runs): inputs with a band. Weighted least squares, every run time with
    the same relative spread. A standby is never below zero: where runs leave that open, E and S follow.

    Parameters
    ----------
    runs : sequence of Rundown, MeterLog or pairs
        Two or more at different loads, one of them best with nothing plugged in; a pair is (power, run
        time) or (energy delivered, run time) [W or Wh, h]. Runs with packs, again at two loads or more, tell what
        a pack adds.
    meter : Meter, optional
        What read the loads; exact where left out [-].
    repeatability : Estimate, str or float, optional
        Standard deviation of one run's time about the mean of many, over that mean [-].
    room : str or pint.Quantity, optional
        Temperature that energy and run times shall hold for, and of runs that state none; the runs' mean
        where left out [degC].
    rate_exponent : Estimate or str, optional
        k, as "1.05" or "1.02 to 1.08"; the chemistry's band where left out [-].
    idling : Estimate or str, optional
        i, the standby under load over that with nothing plugged in, as "1" or "1 to 1.3"; the table's band where
        left out [-].
    chemistry : str or TemperatureCurve
        One of `battery.CHEMISTRIES`, or the curve of the user's own cold runs; iron phosphate, with a warning, where
        left out [-].
    rated : str or pint.Quantity, optional
        The unit's largest steady power, which limits how far loss can bend [W].
    standby : Estimate, str or pint.Quantity, optional
        S, as the outlet sees it, where all runs have the same load [W].

    Raises
    ------
    Refusal
        If a run time or load can't be, or the runs can't tell energy from standby.

    Notes
    -----
    The line is straight where k is 1; a bend is in the intervals. Runs that disagree widen them twice: as a
    rate exponent further from its value, and as spread. The stated repeatability counts as known to a third.
    Two run-downs make an exact line that nothing checks. Lessons 02 and 11.

    A run-down drains a large battery: stay near it, on a hard floor with nothing around that burns, load and cord
    within their ratings. Switch off what smells, swells or gets hot; charge no lithium unit below 0 degC.

    Example
    -------
    >>> line = fit_rundowns([("0 W", "60 h"), ("75 W", "10 h"), ("285 W", "3 h")], room="20 degC")
    >>> line.energy.value, line.standby.value.to("W"), line.hours("45 W").value
    (<Quantity(900.0, 'watt_hour')>, <Quantity(15.0, 'watt')>, <Quantity(15.0, 'hour')>)

    References
    ----------
    JCGM 100:2008, H.3 (a line fitted by least squares), G.4.2 (degrees of freedom of a stated uncertainty).
    """
    settings = {"meter": meter, "repeatability": repeatability, "room": room, "rate_exponent": rate_exponent,
                "idling": idling, "chemistry": chemistry, "rated": rated, "standby": standby}  # fmt: skip
    of_kind(meter, Meter | None, "meter", "a Meter", 'Write meter=Meter("1 % + 0.5 W").')
    if isinstance(runs, (str, Rundown, MeterLog)) or not isinstance(runs, Sequence) or not runs:
        raise Refusal(f"runs={runs!r}", "a list of run-downs", 'Write [("0 W", "56 h"), ("60 W", "11.8 h")].')
    entries = tuple(Rundown.of(run) for run in runs)
    curve = chemistry if isinstance(chemistry, TemperatureCurve) else TemperatureCurve(chemistry or CHEMISTRIES[0])
    doubts = [_ratio(rate_exponent, "rate_exponent", of_chemistry("rate exponent", curve.chemistry)),
              _ratio(idling, "idling", coefficient("standby under load over standby alone"))]  # fmt: skip
    at, counts = _reference_room(entries, room), sorted({run.packs for run in entries})
    if len(counts) > 2:
        raise Refusal(f"run-downs with {', '.join(map(str, counts))} packs", "two counts of packs, best 0 and 1",
                      "Leave the others out.")  # fmt: skip
    line = _fitted([run for run in entries if run.packs == counts[0]], settings, doubts, at, curve)
    if len(counts) == 1:
        return line
    extra, added = [run for run in entries if run.packs == counts[1]], counts[1] - counts[0]
    one_load = len({float(run.power(Meter()).value.magnitude) for run in extra if not run.at_least}) == 1
    own = line.standby * (1 + added * coefficient("standby of a pack over its unit's")) if one_load else None
    more = _fitted(extra, settings | {"standby": own}, doubts, at, curve)
    pack = Pack((more.energy - line.energy) / added, (more.standby - line.standby) / added)
    points = pd.concat([line.points, more.points], ignore_index=True)
    told = (*line.warnings, *(f"with packs: {warning}" for warning in more.warnings if warning not in line.warnings))
    return replace(line, runs=entries, pack=pack, points=points, warnings=told)


def _fitted(runs: Sequence[Rundown], given: Mapping[str, Any], doubts: list[Estimate], room: pint.Quantity | None,
            curve: TemperatureCurve) -> RundownLine:  # fmt: skip
    """Return the line through runs with one count of packs, at one temperature [degC]."""
    fit, repeats = LineFit(runs, given, doubts, room, curve), given["repeatability"]
    (k, idling), spread, dof, found = fit.judged(*repeatability_of(repeats))
    own, table = isinstance(repeats, Estimate) and repeats.u.magnitude, lookup("run-to-run repeatability")
    about = {} if own else {"source": table.source, "entries": (table.name,)}
    inputs, n = fit.inputs.copy(), len(runs)
    *errors, next_error = Estimate.jointly([0.0] * (n + 1), spread**2 * np.eye(n + 1), ["1"] * (n + 1), "run to run",
                                           dof=dof, **about)  # fmt: skip
    inputs[:n] = [hours * (1 + error) for hours, error in zip(inputs, errors, strict=False)]
    inputs[2 * n : 2 * n + 2] = k, idling
    energy, standby = through(lambda at: fit.line(at, spread), inputs, ["Wh", "W"])
    if not (fit.load_w == 0).any():
        energy, standby = with_standby(energy, standby)
    at, steeper = values(inputs), k.value + 2 * (doubts[0].u or coefficient("rate exponent, iron phosphate").u)
    points = _points(runs, fit, fit.off(at, spread), float(k.value.magnitude))
    line = RundownLine(energy, standby, k, idling, inputs[2 * n + 2], next_error + Q_(1, "1"), Q_(fit.reference_h, "h"),
                       room, curve, points, (), tuple(runs), given)  # fmt: skip
    at[2 * n] = steeper.magnitude
    return replace(line, warnings=_warnings(line, found, steeper, fit.line(at, spread)[1]))


def with_standby(energy: Estimate, standby: Estimate) -> tuple[Estimate, Estimate]:
    """Return energy [Wh] and standby [W] of a line, given that a standby is never below zero.

    S' = s + u l + (1 - z l - l^2)^(1/2) (S - s),   z = s/u,   l = phi(z)/Phi(z)         (1)
    E' = E + (cov(E, S)/u^2) (S' - S)                                                         (2)

    Mean and standard deviation of a normal distribution that is cut off at zero; the energy, found with the
    standby, goes with it, so that a run time between the tested loads stays.
    """
    s, u = float(standby.value.magnitude), float(standby.u.magnitude)
    if not u:
        return energy, standby
    z, ratio = s / u, float(density_over_chance(s / u))
    narrower = math.sqrt(1 - z * ratio - ratio**2)
    found = (standby - standby.value) * narrower + standby.value + standby.u * ratio  # (1)
    slope = energy.correlation(standby) * (energy.u / standby.u)
    return energy + (found - standby) * slope, found  # (2)


def next_test(line: RundownLine, load: Any = None) -> pd.DataFrame:
    """Return which run-down to do next for the narrowest interval at a load: a table, the best first.

    Each candidate is added as if it came out on the line. The cautions of `fit_rundowns` hold.

    Parameters
    ----------
    line : RundownLine
        From `fit_rundowns`.
    load : Load, Estimate, str or pint.Quantity, optional
        As in `RundownLine.hours`; the lightest load tested where left out [W].
    """
    tested = {round(float(power_w), 1) for power_w in line.points["load (W)"]}
    wanted = Q_(min(tested - {0.0}, default=0.0), "W") if load is None else load
    plugged = wanted if isinstance(wanted, Load) else Load.steady(wanted)
    settings, told = dict(line.settings) | {"standby": None}, line.settings["standby"] is not None
    rows, fewest = [], min(run.packs for run in line.runs)
    for power_w in {0.0, *tested, float(plugged.mean_power.value.magnitude)} - (tested if told else set()):
        if power_w + float(line.standby.value.magnitude) > 0:
            more = Rundown(Q_(power_w, "W"), line.hours(Q_(power_w, "W")).value, packs=fewest)
            half = fit_rundowns([*line.runs, more], **settings).hours(plugged).expanded()
            rows.append((power_w, float(more.hours.magnitude), float(half.magnitude)))
    now = f"give or take (h), now {show(line.hours(plugged).expanded(), 2)}"
    table = pd.DataFrame(rows, columns=["load (W)", "hours (h)", now]).sort_values(now, ignore_index=True)
    return table.round(2).rename_axis(columns="row")


def _reference_room(entries: Sequence[Rundown], room: Any) -> pint.Quantity | None:
    """Return the temperature that the line shall hold for [degC]: as asked, or the mean of those stated."""
    if room is not None:
        return temperature(room, "room")
    stated = [temperature(run.room, "room").magnitude for run in entries if run.room is not None]
    return Q_(float(np.mean(stated)), "degC") if stated else None


def _ratio(given: Any, name: str, table: Estimate) -> Estimate:
    """Return a ratio of one or more as stated, or the table's [-]."""
    if given is None:
        return table
    value = given.to("1").value.magnitude if isinstance(given, Estimate) else given
    low, high = (float_of(end) for end in (str(value).split("to") * 2)[:2])
    if not 1 <= low <= high < 2:
        raise Refusal(f"{name}={given!r}", "a number from 1 to 2, or a band",
                      f'Write {name}="1.05" or {name}="1.02 to 1.08".')  # fmt: skip
    if isinstance(given, Estimate):
        return given.to("1")
    return Estimate.within(Q_((low + high) / 2, "1"), Q_((high - low) / 2, "1"), name.replace("_", " "),
                           source="as stated")  # fmt: skip


def _points(runs: Sequence[Rundown], fit: LineFit, off: np.ndarray, k: float) -> pd.DataFrame:
    """Return each run-down beside what the line says."""
    hours_h = values([run.lasts for run in runs])
    return pd.DataFrame({
        "load (W)": fit.load_w,
        "hours (h)": hours_h,
        "line says (h)": hours_h * np.exp(-k * off),
        "longer by (%)": 100 * np.expm1(k * off),
        "room (degC)": [None if run.room is None else number(run.room, "degC", "room") for run in runs],
        "counted as": ["at least" if run.at_least else "full" if run.left is None else "by gauge" for run in runs],
    })  # fmt: skip


def _warnings(line: RundownLine, found: tuple[bool, bool], steeper: pint.Quantity, other_w: float) -> tuple[str, ...]:
    """Return what limits the claim; ``other_w`` is the standby with the rate exponent ``steeper``."""
    full = line.points[line.points["counted as"] != "at least"]
    lightest_w, off, given = full["load (W)"].min(), full["longer by (%)"], line.settings
    own = full["load (W)"].max() == 0 or any(isinstance(run.load, MeterLog | Estimate | Load) for run in line.runs)
    (low, high), (disagree, deeper) = line.standby.interval(), found
    told = {
        "the meter's accuracy is not stated: its error is not in the intervals":
            not own and (given["meter"] is None or given["meter"].accuracy is None),
        f"the chemistry is not stated: taken as {line.curve.chemistry}": given["chemistry"] is None,
        "a room's temperature is not stated: that run is taken as no warmer or colder than the others":
            given["room"] is None and line.points["room (degC)"].isna().any(),
        "nothing checks this line: add one more run-down": len(full) == (2 if given["standby"] is None else 1),
        f"run-downs lie {off.min():+.1f} to {off.max():+.1f} % off the straight line, more than they repeat: loss or "
        "capacity bends, and the intervals are wider": disagree,
        "with nothing plugged in it takes less than under load: its standby may be higher than this line says, and the "
        "intervals are wider; leave that run out": deeper,
        f"no run-down is lighter than {lightest_w:.0f} W: at a rate exponent of {show(steeper, 2)} the standby would "
        f"be {other_w:.1f} W; add a run at a light load, 5 to 10 W":
            given["standby"] is None and lightest_w > float(line.standby.value.magnitude),
        f"these run-downs do not settle the standby: 0 to {show(high, 1)}; add one at a light load": low.magnitude <= 0,
    }  # fmt: skip
    return tuple(compress(told, told.values()))
