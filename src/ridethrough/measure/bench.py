"""Bench tests in, a unit's own numbers out: the line through its run-downs, and its standby in three ways.

A run-down takes a full unit, at a steady load, to the moment it switches off. Several, at different loads,
tell the energy that there is to share at the outlet and the standby as the outlet sees it, whatever is
printed on the box. Every power here is AC power at the outlet, unless its side is named.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from html import escape
from typing import Any

import numpy as np
import pandas as pd
import pint

from ..estimate import Estimate, estimate, not_negative
from ..model.battery import CHEMISTRIES
from ..model.load import Load
from ..sources import Coefficient, Source, lookup
from ..units import Q_, Refusal, number, positive, quantity, read_quantity, show
from .meter import Meter
from .meterlog import MeterLog

CAUTION = (
    "A run-down drains a large battery: stay near it, on a hard floor with nothing around that burns, load and "
    "cord within their ratings. Switch off what smells, swells or gets hot; charge no lithium unit below 0 degC."
)

_BENCH = Source("common practice", "bench testers, no document at hand")
_LEAD = Source("published", "PyPI pybamm 26.10, Sulzer2019, capacity at C/20 to 2C: 1.03 to 1.22, 1.095 on average")
_LITHIUM = Source("published", "capacity from 25 to 0 degC: 0.05 %/K, PyPI pybamm 26.10, OKane2022 at C/5; 0.6 %/K, "
                  "NREL SSC test input, Li-ion block")  # fmt: skip
_COLD = Source("published", "US Army TM 10-6140-200-14, 1-9: 100 % at 77 F, 75 % at 32 F")
COEFFICIENTS = (
    Coefficient("run-to-run repeatability", 0.02, 0.01, 0.03, "1", _BENCH,
                "standard deviation of one full run's time about the mean of many at that load"),
    Coefficient("rate exponent, iron phosphate", 1.00, 1.00, 1.05, "1", _BENCH,
                "k of run time ~ (power from the battery)^-k; at 1 every rate gives the same energy"),
    Coefficient("rate exponent, nickel-manganese-cobalt", 1.00, 1.00, 1.05, "1", _BENCH,
                "PyPI pybamm 26.10, OKane2022, C/5 and 1C at 25 degC, lies inside: 1.015"),
    Coefficient("rate exponent, sealed lead-acid", 1.10, 1.03, 1.22, "1", _LEAD),
    Coefficient("rate exponent, flooded lead-acid", 1.10, 1.03, 1.22, "1", _LEAD),
    Coefficient("capacity per kelvin, iron phosphate", 0.003, 0.0, 0.006, "1", _LITHIUM, "other lithium cells"),
    Coefficient("capacity per kelvin, nickel-manganese-cobalt", 0.003, 0.0, 0.006, "1", _LITHIUM),
    Coefficient("capacity per kelvin, sealed lead-acid", 0.010, 0.007, 0.013, "1", _COLD),
    Coefficient("capacity per kelvin, flooded lead-acid", 0.010, 0.007, 0.013, "1", _COLD),
    Coefficient("smallest rating", 300, 300, 300, "W", _BENCH, "what a unit with outlets gives at least"),
    Coefficient("gauge departure", 0.0, -0.03, 0.03, "1", _BENCH,
                "how far a displayed fall of charge lies from the true one, as a share of full"),
    Coefficient("charger efficiency", 0.88, 0.80, 0.96, "1", _BENCH, "into the battery over from the wall"),
)  # fmt: skip


def _band(name: str) -> Estimate:
    """Return a coefficient with the root mean square of its band about its value, in the middle or not."""
    (entry,) = [entry for entry in COEFFICIENTS if entry.name == name]
    middle, half = (entry.low + entry.high) / 2, (entry.high - entry.low) / 2
    u = math.hypot(half / math.sqrt(3), entry.value - middle)
    return Estimate.standard(Q_(entry.value, entry.unit), Q_(u, entry.unit), name, source=str(entry.source))


# -- run-downs -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Rundown:
    """One run of a full unit until it switched off.

    Parameters
    ----------
    load : str, pint.Quantity, Estimate, Load or MeterLog, optional
        Power at the outlet as the meter showed it; for a refrigerator its mean over the run [W].
    hours : str or pint.Quantity, optional
        How long it ran; a log tells it [h].
    delivered : str or pint.Quantity, optional
        Energy at the outlet over the run, instead of ``load`` [Wh].
    room : str or pint.Quantity, optional
        Temperature of the room [degC].
    stopped_early : bool
        Whether it was stopped while still running, so that ``hours`` is "at least" [-].

    Example
    -------
    >>> Rundown.of(("0.66 kWh", "12 h")).power(Meter()).value
    <Quantity(55.0, 'watt')>
    """

    load: Any = None
    hours: Any = None
    delivered: Any = None
    room: Any = None
    stopped_early: bool = False

    @classmethod
    def of(cls, entry: Any) -> Rundown:
        """Return a run-down from itself, a log, or a pair (power or energy, run time)."""
        if isinstance(entry, MeterLog):
            return cls(load=entry)
        if isinstance(entry, (tuple, list)) and len(entry) == 2:
            first = read_quantity(entry[0]) if isinstance(entry[0], str) else getattr(entry[0], "value", None)
            energy = isinstance(first, pint.Quantity) and first.check("[energy]")
            entry = cls(hours=entry[1], **{"delivered" if energy else "load": entry[0]})
        if not isinstance(entry, Rundown) or (entry.load is None) == (entry.delivered is None):
            raise Refusal(
                f"the run-down {entry!r}",
                "a run time and either a load or the energy delivered",
                'Write ("60 W", "11.8 h"), ("0.7 kWh", "11.8 h") or Rundown(load="60 W", hours="11.8 h").',
            )
        return entry

    @property
    def duration(self) -> pint.Quantity:
        """How long it ran [h]."""
        logged = isinstance(self.load, MeterLog) and self.hours is None
        hours = Q_(_logged_h(self.load), "h") if logged else quantity(self.hours, "h", "hours")
        return positive(hours, "h", "hours")

    def power(self, meter: Meter) -> Estimate:
        """Return the mean power at the outlet, with the errors of the meter that read it [W].

        P = gain * reading + offset                                                           (1)

        It takes no meter to know that nothing is plugged in. An Estimate or a Load brings its own errors.
        """
        given, hours = self.load, self.duration
        step = read_quantity(meter.power_step or "0 W")
        if isinstance(given, MeterLog):
            meter, step, shown = given.meter, given.resolution, Estimate.exact(Q_(given.mean_power_w(), "W"))
        elif isinstance(given, Load):
            shown = given.mean_power
        elif given is None:
            step = read_quantity(meter.energy_step or "0 Wh")
            shown = (estimate(self.delivered, "Wh", "delivered") / hours).to("W")
        else:
            shown = estimate(given, "W", "load")
        if shown.value.magnitude < 0:
            raise Refusal(f"a run-down at {show(shown.value)}", "a load of zero or more", 'Write ("0 W", "56 h").')
        if not shown.value.magnitude or shown.u.magnitude or isinstance(given, Load):
            return shown
        half = (step / 2 if step.check("[power]") else step / 2 / hours).to("W")
        return meter.gain * shown + meter.offset + Estimate.within("0 W", half, "meter resolution")  # (1)


def _logged_h(log: MeterLog) -> float:
    """Return how long the run in a log lasted [h]; refuse one that goes on after the unit switched off."""
    ends_s = (log.start_s + log.duration_s)[log.power_w > 0]
    pauses_s = np.diff(ends_s, prepend=0.0)
    if ends_s.size and log.span_s - ends_s[-1] > pauses_s.max():
        raise Refusal(
            f"{log.name}, which ends with {show(Q_((log.span_s - ends_s[-1]) / 3600, 'h'))} without any draw",
            "a log that ends when the unit switches off",
            "Cut it there, or give the run time too: Rundown(load=log, hours=...).",
        )
    return log.span_s / 3600


# -- the line --------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class RundownLine:
    """What a unit gives at its outlet, by its run-downs; make it with `fit_rundowns`.

    Parameters
    ----------
    energy, standby : Estimate
        E, the energy to share at the outlet in a run as long as ``reference`` [Wh], and S, the standby as
        the outlet sees it, P_0 / (1 + k1) [W]. They are correlated.
    rate_exponent, bend : Estimate
        k, 1 where every rate gives the same energy [-]; c, by which the loss bends with the load [1/W].
    next_run : Estimate
        The next run's time over the mean of many: 1, give or take the run-to-run spread [-].
    reference : pint.Quantity
        Geometric mean of the run times [h].
    points : pandas.DataFrame
        Each run-down beside what the line says.
    warnings : tuple of str
        What limits the claim.
    runs, settings : tuple of Rundown, mapping
        What `fit_rundowns` was given.
    """

    energy: Estimate
    standby: Estimate
    rate_exponent: Estimate
    bend: Estimate
    next_run: Estimate
    reference: pint.Quantity
    points: pd.DataFrame
    warnings: tuple[str, ...]
    runs: tuple[Rundown, ...]
    settings: Mapping[str, Any]

    def hours(self, load: Any) -> Estimate:
        """Return how long the next run lasts at a load [h].

        t = E / x,   x = S + P + c (P^2 + s^2)                                                (1)
        t = T (E / (T x))^k (x / (x + s^2/P))^(w (k - 1))                                     (2)

        (2) is (1) with a rate exponent k. T is ``reference``, s the standard deviation of a load that
        varies, which draws about P + s^2/P while it runs. Whether that rate decides (w = 1) or the mean
        (w = 0) is open: of the two, the wider interval is returned; where k itself is not 1, w is half, give
        or take half.

        Parameters
        ----------
        load : Load, Estimate, str or pint.Quantity
            A load with its pattern and day-to-day spread, or a mean power that is taken as steady [W].

        Notes
        -----
        The interval is for one run, not for the mean of many. The gain of a meter that read both the load
        and the run-downs cancels.
        """
        plugged = load if isinstance(load, Load) else Load.steady(load)
        drain = self.standby.value + plugged.mean_power.value
        if not drain.magnitude > 0:
            raise Refusal(f"a drain of {show(drain)}", "more than zero", "Add a run-down with nothing plugged in.")
        length, ref_h, variance = self.energy.value / drain, float(self.reference.magnitude), plugged.variance_w2
        power = (plugged.energy_over(length) / length).to("W")
        k = self.rate_exponent
        known = float(k.value.magnitude)
        half = Estimate.standard(Q_(0.5, "1"), Q_(0.5 if known > 1 else 0, "1"), "rate while it runs")

        def run_time(at: np.ndarray, w: int) -> np.ndarray:
            energy, standby, power_w, k, c, half = at
            x = standby + power_w + c * (power_w**2 + variance)  # (1)
            running = x + variance / power_w if variance else x
            reach = w * (k - known) + half * (known - 1)
            return np.array([ref_h * (energy / (ref_h * x)) ** k * (x / running) ** reach])  # (2)

        inputs = [self.energy, self.standby, power, k, self.bend, half]
        either = [_through(partial(run_time, w=w), inputs, ["h"])[0] for w in (0, 1)]
        return max(either, key=lambda hours: hours.u) * self.next_run

    def next_test(self, load: Any = None) -> pd.DataFrame:
        """Return which run-down to do next for the narrowest interval at a load: a table, the best first.

        Each candidate is added as if it came out on the line. See `CAUTION`.

        Parameters
        ----------
        load : Load, Estimate, str or pint.Quantity, optional
            As in `hours`; the lightest load tested where left out [W].
        """
        tested = {round(float(power_w), 1) for power_w in self.points["load (W)"]}
        wanted = Q_(min(tested - {0.0}, default=0.0), "W") if load is None else load
        plugged = wanted if isinstance(wanted, Load) else Load.steady(wanted)
        settings, told = dict(self.settings) | {"standby": None}, self.settings["standby"] is not None
        rows = []
        for power_w in {0.0, *tested, float(plugged.mean_power.value.magnitude)} - (tested if told else set()):
            if power_w + float(self.standby.value.magnitude) > 0:
                more = Rundown(Q_(power_w, "W"), self.hours(Q_(power_w, "W")).value)
                half = fit_rundowns([*self.runs, more], **settings).hours(plugged).expanded()
                rows.append((power_w, float(more.hours.magnitude), float(half.magnitude)))
        now = f"give or take (h), now {show(self.hours(plugged).expanded(), 2)}"
        return pd.DataFrame(rows, columns=["load (W)", "hours (h)", now]).sort_values(now, ignore_index=True)

    def warnings_at(self, load: Any) -> tuple[str, ...]:
        """Return what limits the claim at a load [W]: ``warnings``, and whether it lies outside the runs."""
        power = (load if isinstance(load, Load) else Load.steady(load)).mean_power.value
        full = self.points[self.points["counted as"] == "full"]["load (W)"]
        beyond = {"lighter": full.min() > power.magnitude, "heavier": full.max() < power.magnitude}
        found = [f"no run-down is {word} than {show(power)}" for word, outside in beyond.items() if outside]
        return (*self.warnings, *(f"{what}: the run time there is extrapolated" for what in found))

    def __repr__(self) -> str:
        notes = "".join(f"\n  warning: {warning}" for warning in self.warnings)
        runs = f"{len(self.runs)} run-down{'s' * (len(self.runs) > 1)}"
        return f"<RundownLine of {runs}, at the outlet: {self.energy}, to share; standby {self.standby}{notes}>"

    def _repr_html_(self) -> str:
        head, *notes = repr(self)[1:-1].split("\n")
        items = "".join(f"<li>{escape(note.strip())}</li>" for note in notes)
        return f"<div>{escape(head)}<ul>{items}</ul>{self.points.to_html(index=False)}</div>"


def fit_rundowns(
    runs: Sequence[Any],
    *,
    meter: Meter | None = None,
    repeatability: Any = None,
    room: Any = None,
    rate_exponent: Any = None,
    chemistry: str = "iron phosphate",
    rated: Any = None,
    standby: Any = None,
) -> RundownLine:
    """Return the line through a unit's run-downs: the energy to share and the standby at the outlet.

    1/t = alpha + beta P,   E = 1/beta,   S = alpha/beta                                      (1)
    (t/T)^(1 - 1/k) / t = (S + P + c P^2) / E                                                 (2)

    (2) is (1) where rates give different energies (k) and loss bends (c), both inputs with a band. Weighted
    least squares, every run time with the same relative spread.

    Parameters
    ----------
    runs : sequence of Rundown, MeterLog or pairs
        Two or more at different loads, one of them best with nothing plugged in; a pair is (power, run
        time) or (energy delivered, run time) [W or Wh, h].
    meter : Meter, optional
        What read the loads; exact where left out [-].
    repeatability : Estimate, str or float, optional
        Standard deviation of one run's time about the mean of many, over that mean [-].
    room : str or pint.Quantity, optional
        Temperature that energy and run times shall hold for, and of runs that state none; the runs' mean
        where left out [degC].
    rate_exponent : Estimate or str, optional
        k, as "1.05" or "1.02 to 1.08"; the chemistry's band where left out [-].
    chemistry : str
        One of `battery.CHEMISTRIES` [-].
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
    Two run-downs make an exact line that nothing checks. Lessons 02 and 11. See `CAUTION`.

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
                "chemistry": chemistry, "rated": rated, "standby": standby}  # fmt: skip
    entries, given = _entries(runs), None if standby is None else estimate(standby, "W", "standby")
    powers = [entry.power(meter or Meter()) for entry in entries]
    fit = _Fit(_at_room(entries, room, chemistry), powers, np.array([run.stopped_early for run in entries]), given)
    bend, stated = _bend(rated, powers), _exponent(rate_exponent, chemistry)
    k, spread, dof, misfit = fit.judged(stated, bend, *_repeatability(repeatability))
    one = np.eye(len(entries) + 1)
    *errors, next_error = Estimate.jointly(0 * one[0], spread**2 * one, ["1"] * len(one), "run to run", dof=dof)
    ran = [hours * (1 + error) for hours, error in zip(fit.hours, errors, strict=True)]
    inputs = replace(fit, hours=ran).inputs(k, bend)
    energy, own = _through(lambda at: fit.line(at, spread), inputs, ["Wh", "W"])
    points = _points(entries, fit, fit.off(_values(inputs), spread), float(k.value.magnitude))
    line = RundownLine(energy, own, k, bend, next_error + Q_(1, "1"), Q_(fit.reference_h, "h"), points, (), entries,
                       settings)  # fmt: skip
    steeper = k.value + 2 * (stated.u if stated.u else _band("rate exponent, iron phosphate").u)
    other = fit.line(_values(fit.inputs(Estimate.exact(steeper), bend)), spread)[1]
    return replace(line, warnings=tuple(_warnings(line, misfit, steeper, other)))


def _entries(runs: Sequence[Any]) -> tuple[Rundown, ...]:
    """Return the runs as run-downs."""
    if isinstance(runs, (str, Rundown, MeterLog)) or not isinstance(runs, Sequence) or not runs:
        raise Refusal(f"runs={runs!r}", "a list of run-downs", 'Write [("0 W", "56 h"), ("60 W", "11.8 h")].')
    return tuple(Rundown.of(run) for run in runs)


def _at_room(entries: Sequence[Rundown], room: Any, chemistry: str) -> list[Estimate]:
    """Return how long each run would have lasted at the reference temperature [h].

    t = t_run / (1 + a (T_run - T)),   a the capacity per kelvin                              (1)
    """
    stated = [None if run.room is None else number(run.room, "degC", "room") for run in entries]
    known = [room_c for room_c in stated if room_c is not None]
    at_c = number(room, "degC", "room") if room is not None else float(np.mean(known)) if known else 0.0
    warmer = [0.0 if room_c is None else room_c - at_c for room_c in stated]
    per_k = _of_chemistry("capacity per kelvin", chemistry)
    return [(Estimate.exact(run.duration) / (1 + per_k * by)).to("h")  # (1)
            for run, by in zip(entries, warmer, strict=True)]  # fmt: skip


def _of_chemistry(what: str, chemistry: str) -> Estimate:
    """Return a chemistry's coefficient."""
    if chemistry not in CHEMISTRIES:
        raise Refusal(f"chemistry={chemistry!r}", f"one of {', '.join(CHEMISTRIES)}", "Write it as in the list.")
    return _band(f"{what}, {chemistry}")


def _exponent(given: Any, chemistry: str) -> Estimate:
    """Return the rate exponent as stated, or the chemistry's [-]."""
    if given is None:
        return _of_chemistry("rate exponent", chemistry)
    if isinstance(given, Estimate):
        return given
    try:
        low, high = (float(end) for end in (str(given).split("to") * 2)[:2])
    except ValueError:
        low = high = math.nan
    if not 1 <= low <= high < 2:
        raise Refusal(f"rate_exponent={given!r}", "an exponent from 1 to 2, or a band",
                      'Write rate_exponent="1.05" or rate_exponent="1.02 to 1.08".')  # fmt: skip
    return Estimate.within(Q_((low + high) / 2, "1"), Q_((high - low) / 2, "1"), "rate exponent", source="as stated")


def _repeatability(given: Any) -> tuple[float, float]:
    """Return the spread of a run [-] and its degrees of freedom; what is stated is known as well as the table's.

    dof = (1/2) (r / u(r))^2                                                                  (1)
    """
    table = _band("run-to-run repeatability")
    stated = table if given is None else estimate(given, "1", "repeatability")
    if not stated.value.magnitude > 0:
        raise Refusal(f"repeatability={given!r}", "a spread above zero", 'Write repeatability="1.5 %".')
    known = stated if stated.u.magnitude else table
    return float(stated.value.magnitude), 0.5 * float(known.value.magnitude / known.u.magnitude) ** 2  # (1)


def _bend(rated: Any, powers: Sequence[Estimate]) -> Estimate:
    """Return c [1/W]: 0, and at most the table's resistive loss over the rated power."""
    smallest = max(float(_band("smallest rating").value.magnitude), *_values(powers))
    rated_w = smallest if rated is None else number(rated, "W", "rated")
    if rated_w < max(_values(powers)):
        given = f"rated={rated!r} and a run-down at {max(_values(powers)):g} W"
        raise Refusal(given, "a rating no smaller than the loads", "Check both.")
    most = lookup("resistive loss").high / rated_w
    return Estimate.standard(Q_(0, "1/W"), Q_(most / math.sqrt(3), "1/W"), "bend of the loss", source="resistive loss")


@dataclass(frozen=True)
class _Fit:
    """The numbers behind a line: run times at the reference temperature, loads, and what was stopped early."""

    hours: list[Estimate]
    powers: list[Estimate]
    early: np.ndarray
    standby: Estimate | None

    def __post_init__(self) -> None:
        loads = len({float(power_w) for power_w in _values(self.powers)[~self.early]})
        remedy = 'Add a run-down at another load, best with nothing plugged in: ("0 W", "56 h")'
        if loads < (2 if self.standby is None else 1):
            given = f"run-downs at {loads} load{'s' * (loads != 1)}, leaving out what was stopped early"
            raise Refusal(given, "two loads or more", f'{remedy}; or give the standby too: standby="15 W".')
        if self.standby is not None and loads > 1:
            raise Refusal("a standby, and run-downs that tell it", "one of them", "Leave standby out.")

    @cached_property
    def measured_h(self) -> np.ndarray:
        """The run times as plain numbers [h]."""
        return _values(self.hours)

    @cached_property
    def reference_h(self) -> float:
        """Geometric mean of the full runs' times [h]."""
        return float(np.exp(np.log(self.measured_h[~self.early]).mean()))

    def inputs(self, k: Estimate, bend: Estimate) -> list[Estimate]:
        """Return all that the line depends on, in the order that `line` takes."""
        return [*self.hours, *self.powers, k, bend, *([] if self.standby is None else [self.standby])]

    def _axes(self, at: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return (2) of `fit_rundowns`: P + c P^2 [W], the share of E used up in an hour, and its size [1/h].

        The size weights the runs; it is that of the run times as measured and holds still while they vary.
        """
        hours_h, power_w, (k, c, *_) = np.split(at, [len(self.hours), 2 * len(self.hours)])
        used, size = ((each_h / self.reference_h) ** (1 - 1 / k) / each_h for each_h in (hours_h, self.measured_h))
        return power_w + c * power_w**2, used, size

    def line(self, at: np.ndarray, spread: float) -> np.ndarray:
        """Return E [Wh] and S [W]."""
        (x, y, size), full = self._axes(at), ~self.early
        if self.standby is not None:
            return np.array([np.mean((at[-1] + x[full]) / y[full]), at[-1]])
        alpha, beta = _weighted_line(x[full], y[full], size[full])
        if self.early.any():
            alpha, beta = _with_bounds(x, y, np.where(self.early, alpha + beta * x, size), self.early, spread)
        if not beta > 0:
            raise Refusal("run times that do not fall with the load", "shorter runs at heavier loads",
                          "Check which run time belongs to which load.")  # fmt: skip
        return np.array([1 / beta, alpha / beta])

    def off(self, at: np.ndarray, spread: float) -> np.ndarray:
        """Return by how much each run lasted longer than the line says, on a log scale [-]."""
        (x, y, _), (energy, standby) = self._axes(at), self.line(at, spread)
        return np.log((standby + x) / energy / y)

    def judged(self, k: Estimate, bend: Estimate, stated: float, known: float) -> tuple[Estimate, float, float, bool]:
        """Return the rate exponent, the spread of a run and its degrees of freedom, and whether runs disagree.

        chi2 = d (r^2 + u_k^2 g g')^-1 d',   r'^2 = r^2 (known + chi2) / (known + free)        (1)
        v = 1 / (g g'/r'^2 + 1/u_k^2),   m = -v g d'/r'^2,   u_k'^2 = v + m^2                  (2)

        d are the runs' distances from the line and g = dd/dk: spread and exponent share what the runs
        disagree in. The exponent keeps its value, so that the line stays straight, and how far from it the
        runs put it goes into its uncertainty.
        """
        from scipy.special import chdtri

        at, full, u_k = _values(self.inputs(k, bend)), ~self.early, float(k.u.magnitude)
        step = np.eye(at.size)[2 * len(self.hours)] * 0.1 * u_k
        d = self.off(at, stated)[full]
        g = (self.off(at + step, stated)[full] - d) / (0.1 * u_k) if u_k else 0 * d
        free = d.size - (2 if self.standby is None else 1)
        chi2 = float(d @ np.linalg.solve(stated**2 * np.eye(d.size) + u_k**2 * np.outer(g, g), d))
        spread = stated * math.sqrt((known + chi2) / (known + free))  # (1)
        if u_k:
            v = 1 / (g @ g / spread**2 + 1 / u_k**2)
            m = -v * (g @ d) / spread**2
            k = (k - k.value) * (math.hypot(math.sqrt(v), m) / u_k) + k.value  # (2)
        return k, spread, known + free, free > 0 and chi2 > chdtri(free, 0.05)


def _weighted_line(x: np.ndarray, y: np.ndarray, u: np.ndarray) -> tuple[float, float]:
    """Return intercept and slope of the line through y(x) with standard uncertainties in proportion to ``u``."""
    weight = u**-2.0 / np.sum(u**-2.0)
    middle = weight @ x
    slope = weight @ ((x - middle) * y) / (weight @ (x - middle) ** 2)
    return float(weight @ y - slope * middle), float(slope)


def _with_bounds(
    x: np.ndarray, y: np.ndarray, size: np.ndarray, early: np.ndarray, spread: float
) -> tuple[float, float]:
    """Return intercept and slope when some y, those of runs stopped early, are "at most".

    Each such y is put where it lies on average, given the line and that it is below its bound; the line is
    fitted anew until it stays (expectation and maximization of a censored normal).
    """
    from scipy.special import log_ndtr

    alpha, beta = _weighted_line(x[~early], y[~early], size[~early])
    for _ in range(1000):
        fitted, before = alpha + beta * x, (alpha, beta)
        z = (y - fitted) / (spread * size)
        below = np.exp(-(z**2) / 2 - log_ndtr(z)) / math.sqrt(2 * math.pi)
        alpha, beta = _weighted_line(x, np.where(early, fitted - spread * size * below, y), size)
        if np.allclose(before, (alpha, beta), rtol=1e-13, atol=0):
            break
    return alpha, beta


def _through(
    formula: Callable[[np.ndarray], np.ndarray], inputs: Sequence[Estimate], units: Sequence[str]
) -> list[Estimate]:
    """Return what ``formula`` makes of the inputs, in ``units``, with every influence kept (first order).

    y = f(x0) + sum of df/dx (x - x0),   by central differences                               (1)
    """
    at = _values(inputs)
    found = [Estimate.exact(Q_(float(value), unit)) for value, unit in zip(formula(at), units, strict=True)]
    for each, one in zip(inputs, np.eye(at.size), strict=True):
        step = one * float(each.u.magnitude) / 100
        if not step.any():
            continue
        slopes = (formula(at + step) - formula(at - step)) / (2 * step.sum())
        about = (each - each.value) / (1 * each.value.units)
        found = [value + about * Q_(float(slope), unit)  # (1)
                 for value, slope, unit in zip(found, slopes, units, strict=True)]  # fmt: skip
    return found


def _values(estimates: Sequence[Estimate]) -> np.ndarray:
    """Return the values, plain numbers in the estimates' own units."""
    return np.array([float(each.value.magnitude) for each in estimates])


# -- what to tell ----------------------------------------------------------------------------------------


def _points(entries: Sequence[Rundown], fit: _Fit, off: np.ndarray, k: float) -> pd.DataFrame:
    """Return each run-down beside what the line says."""
    hours_h = np.array([float(run.duration.magnitude) for run in entries])
    return pd.DataFrame({
        "load (W)": _values(fit.powers),
        "hours (h)": hours_h,
        "line says (h)": hours_h * np.exp(-k * off),
        "longer by (%)": 100 * np.expm1(k * off),
        "room (degC)": [None if run.room is None else number(run.room, "degC", "room") for run in entries],
        "counted as": ["at least" if run.stopped_early else "full" for run in entries],
    })  # fmt: skip


def _warnings(line: RundownLine, disagree: bool, steeper: pint.Quantity, other_w: float) -> Iterator[str]:
    """Yield what limits the claim; ``other_w`` is the standby with the rate exponent ``steeper``."""
    full = line.points[line.points["counted as"] == "full"]
    lightest_w, off, given = full["load (W)"].min(), full["longer by (%)"], line.settings
    own = any(isinstance(run.load, (MeterLog, Estimate, Load)) for run in line.runs)
    if full["load (W)"].max() > 0 and not own and (given["meter"] is None or given["meter"].accuracy is None):
        yield "the meter's accuracy is not stated: its error is not in the intervals"
    if given["room"] is None and line.points["room (degC)"].isna().any():
        yield "a room's temperature is not stated: that run is taken as no warmer or colder than the others"
    if len(full) == (2 if given["standby"] is None else 1):
        yield "nothing checks this line: add one more run-down"
    if disagree:
        yield (f"run-downs lie {off.min():+.1f} to {off.max():+.1f} % off the straight line, more than they repeat: "
               "loss or capacity bends, and the intervals are wider")  # fmt: skip
    if given["standby"] is None and lightest_w > float(line.standby.value.magnitude):
        yield (f"no run-down is lighter than {lightest_w:.0f} W: at a rate exponent of {show(steeper, 2)} the standby "
               f"would be {other_w:.1f} W; add a run with nothing plugged in")  # fmt: skip
    low, high = line.standby.interval()
    if low.magnitude <= 0:
        yield f"these run-downs do not settle the standby: {show(low, 1)} to {show(high, 1)}"


# -- standby by itself -----------------------------------------------------------------------------------

# Three ways to the standby alone, each on its own side. From the battery's side, P_0: the outlet sees
# S = P_0 / (1 + k1), and the wall pays P_0 / eta_c for it.


def standby_from_empty(hours: Any, energy: Any, *, repeatability: Any = None) -> Estimate:
    """Return the standby from a run to empty with nothing plugged in, on the side of ``energy`` [W].

    S = E / t                                                                                 (1)

    Parameters
    ----------
    hours : str or pint.Quantity
        How long it ran from full [h].
    energy : Estimate, str or pint.Quantity
        What it holds: usable, from the battery, gives the battery's side; E of a run-down line the
        outlet's [Wh].
    repeatability : Estimate, str or float, optional
        As in `fit_rundowns` [-].

    Example
    -------
    >>> standby_from_empty("60 h", "900 Wh").value.to("W")
    <Quantity(15.0, 'watt')>
    """
    spread, dof = _repeatability(repeatability)
    run = Estimate.standard(Q_(1, "1"), Q_(spread, "1"), "run to run", dof=dof)
    return (not_negative(energy, "Wh", "energy") * run / positive(hours, "h", "hours")).to("W")  # (1)


def standby_from_gauge(before: Any, after: Any, hours: Any, capacity: Any, *, gauge: Any = None) -> Estimate:
    """Return the standby from the fall of the displayed charge with nothing plugged in, battery side [W].

    P_0 = C (before - after + gauge) / t                                                      (1)

    Parameters
    ----------
    before, after : str or float
        Displayed charge, in whole percents [-].
    hours : str or pint.Quantity
        The time between [h].
    capacity : Estimate, str or pint.Quantity
        From displayed full to displayed empty, battery side [Wh].
    gauge : str or float, optional
        How far a displayed fall may lie from the true one, as a share of full; else the table's band [-].

    Notes
    -----
    The display's whole percents are the small error. The large one is a gauge that is not linear, lingers
    at 100 %, or does not count the unit's own draw: let it fall far, or trust a run to empty more.

    Example
    -------
    >>> standby_from_gauge("90 %", "50 %", "40 h", "1 kWh").value.to("W")
    <Quantity(10.0, 'watt')>
    """
    shown = [Estimate.within(quantity(each, "1", name), Q_(0.5, "%"), "whole percents")
             for each, name in ((before, "before"), (after, "after"))]  # fmt: skip
    fall = (shown[0] - shown[1]).to("1")
    if not fall.value.magnitude > 0:
        raise Refusal(f"a charge that goes from {before} to {after}", "one that falls", "Wait until it has fallen.")
    band = quantity(gauge, "1", "gauge") if gauge is not None else None
    departure = _band("gauge departure") if band is None else Estimate.within(Q_(0, "1"), band, "gauge departure")
    return (not_negative(capacity, "Wh", "capacity") * (fall + departure) / positive(hours, "h", "hours")).to(
        "W"
    )  # (1)


def standby_from_refill(energy_at_wall: Any, hours: Any, *, charger_efficiency: Any = None,
                        meter: Meter | None = None) -> Estimate:  # fmt: skip
    """Return the standby from the energy that it takes to refill the unit, battery side [W].

    P_0 = eta_c E_wall / t                                                                    (1)

    Parameters
    ----------
    energy_at_wall : Estimate, str or pint.Quantity
        From the wall until full again, as the meter showed it [Wh].
    hours : str or pint.Quantity
        How long the unit was on before, from full, with nothing plugged in [h].
    charger_efficiency : Estimate, str or float, optional
        Into the battery over from the wall, the unit's own draw while charging included; else the table's
        band [-].
    meter : Meter, optional
        What read the energy [-].

    Example
    -------
    >>> standby_from_refill("300 Wh", "24 h", charger_efficiency="80 %").value.to("W")
    <Quantity(10.0, 'watt')>
    """
    gain = Estimate.exact(Q_(1, "1")) if meter is None else meter.gain
    eta = (
        _band("charger efficiency")
        if charger_efficiency is None
        else estimate(charger_efficiency, "1", "charger_efficiency")
    )
    return (gain * not_negative(energy_at_wall, "Wh", "energy_at_wall") * eta / positive(hours, "h", "hours")).to(
        "W"
    )  # (1)
