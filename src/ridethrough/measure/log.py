"""Meter logs and hand readings: what a plug-in meter showed, as power held over steps of time.

`read_log` takes the CSV files that meters and loggers write, `hand_readings` what was read off a display.
Both give a `MeterLog`. Whatever was guessed, bridged or left out stands in it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from html import escape
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pint

from ..estimate import Estimate, estimate
from ..model.load import Appliance, Load
from ..units import Q_, Refusal, number, positive, read_quantity, show
from .columns import (
    BASE,
    LATEST_S,
    NS,
    ROLES_OF,
    Layout,
    Place,
    Readings,
    assign,
    find_layout,
    kind_of,
    read_readings,
    words_of,
)
from .columns import LogRefusal as LogRefusal


@dataclass(frozen=True)
class Meter:
    """A meter as its sheet describes it; everything measured with one object shares its errors.

    Parameters
    ----------
    accuracy : str, optional
        Limits of error, "1 %", "0.5 W" or "1 % + 0.5 W" [- and W].
    power_step, energy_step : str, optional
        The last digit of its displays, or of its log [W, Wh].
    smallest_load : str, optional
        Power below which it counts nothing [W].
    forgets : bool, optional
        Whether its counter is lost when power fails [-].
    found : (Estimate, Estimate), optional
        Its gain [-] and offset [W] as a check found them; see `checked`.

    Raises
    ------
    Refusal
        If a text is no such quantity.

    Example
    -------
    >>> Meter("1 % + 0.5 W").offset
    <Estimate 0 W, 95 %: -0.57 to 0.57 W>
    """

    accuracy: str | None = None
    power_step: str | None = None
    energy_step: str | None = None
    smallest_load: str | None = None
    forgets: bool | None = None
    found: tuple[Estimate, Estimate] | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        self._limits()
        for name, unit in (("power_step", "W"), ("energy_step", "Wh"), ("smallest_load", "W")):
            text = getattr(self, name)
            if text is not None and number(text, unit, name) < 0:
                raise Refusal(f'{name}="{text}"', "zero or more", f'Write {name}="0.1 {unit}".')

    def _limits(self) -> tuple[float, float]:
        """Return the limits of error: share of the reading [-] and fixed part [W]."""
        needed = "limits of error such as a percentage, a power, or their sum"
        remedy = 'Write accuracy="1 % + 0.5 W".'
        share, fixed = 0.0, 0.0
        parts = self.accuracy.replace("±", "").split("+") if self.accuracy is not None else []
        for part in parts:
            try:
                limit = read_quantity(part)
            except Refusal:
                raise Refusal(f"accuracy={self.accuracy!r}", needed, remedy) from None
            if f"{limit.units:D}" == "percent" and not share:
                share = float(limit.magnitude) / 100
            elif limit.is_compatible_with("watt") and not fixed:
                fixed = float(limit.to("watt").magnitude)
            else:
                raise Refusal(f"accuracy={self.accuracy!r}", needed, remedy)
        if min(share, fixed) < 0 or share >= 1:
            raise Refusal(f"accuracy={self.accuracy!r}", "limits of zero or more, and below 100 %", remedy)
        return share, fixed

    @cached_property
    def gain(self) -> Estimate:
        """The true reading over the one shown [-]: 1, with one influence for all this meter measures.

        u = a / sqrt(3) for limits of error a; exact where no accuracy is stated.
        """
        if self.found is not None:
            return self.found[0]
        return Estimate.within(Q_(1, "1"), Q_(self._limits()[0], "1"), "meter gain", source=f"accuracy {self.accuracy}")

    @cached_property
    def offset(self) -> Estimate:
        """The true reading less the one shown at no load [W]: 0, with one influence, as `gain`."""
        if self.found is not None:
            return self.found[1]
        return Estimate.within("0 W", Q_(self._limits()[1], "W"), "meter offset", source=f"accuracy {self.accuracy}")

    def checked(self, shown: Any, known: Any) -> Meter:
        """Return the meter with its gain as a known load shows it.

        gain = (known - offset) / shown                                                       (1)

        Parameters
        ----------
        shown : Estimate, str or pint.Quantity
            What the meter showed [W].
        known : Estimate, str or pint.Quantity
            The power that was there, with its own uncertainty: a heating element's V^2 / R [W].

        Raises
        ------
        Refusal
            If shown or known power is not above zero, or they differ by more than ten times the meter's limits.

        Notes
        -----
        A resistive load only: the check says nothing of readings at a poor power factor. What is left of the
        gain's uncertainty is that of the known load and of the meter's fixed part. Lesson 06.

        Example
        -------
        >>> Meter("3 %").checked(shown="1020 W", known="1000 W").gain
        <Estimate 0.98, 95 %: 0.98 to 0.98>
        """
        reading, true = estimate(shown, "W", "shown"), estimate(known, "W", "known")
        for name, value in (("shown", reading), ("known", true)):
            positive(value.value, "W", name)
        gain = ((true - self.offset) / reading).to("1")  # (1)
        far, limit = abs(float(gain.value.magnitude) - 1), 10 * max(self._limits()[0], 0.005)
        if far > limit:
            raise Refusal(
                f"{show(reading.value)} shown for {show(true.value)}, {100 * far:.0f} % apart",
                f"a meter within {100 * limit:.0f} %",
                "Check the resistance hot, the voltage under load, and the meter.",
            )
        return replace(self, found=(gain, self.offset))


@dataclass(frozen=True)
class Finding:
    """Something in a log that a reader must know.

    Parameters
    ----------
    what, where : str
        What was found, and where first.
    count : int
        How many times [-].
    done : str
        What the kit did about it.
    """

    what: str
    where: str
    count: int
    done: str

    def __str__(self) -> str:
        return f"{self.what}: {self.count}, {self.where}; {self.done}"


@dataclass(frozen=True, eq=False)
class MeterLog:
    """What a meter showed: power held constant over steps of time. Gaps are covered by no step.

    Parameters
    ----------
    name : str
        The file's name, or "hand readings".
    kind : str
        "power", "counter", "interval energy" or "apparent power".
    start_s, duration_s : array of shape (n,)
        When each step begins, from the first reading, and how long it lasts [s].
    power_w : array of shape (n,)
        The power in each step [W]; volt-amperes in a log of apparent power [VA].
    begins : pandas.Timestamp or None
        When the first reading was taken; None where the log counts from its own start.
    span_s : float
        From the first reading to the end of the last [s].
    resolution : pint.Quantity
        The step of the readings as logged [W, Wh or VA].
    meter : Meter
        What it was read with.
    mapping : dict
        What each column was taken to be and each choice made, and whether given or guessed.
    findings : tuple of Finding
        Gaps, duplicates, resets and the like.
    """

    name: str
    kind: str
    start_s: np.ndarray = field(repr=False)
    duration_s: np.ndarray = field(repr=False)
    power_w: np.ndarray = field(repr=False)
    begins: pd.Timestamp | None
    span_s: float
    resolution: pint.Quantity
    meter: Meter = field(default_factory=Meter)
    mapping: dict[str, tuple[str, str]] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    @property
    def covered(self) -> pint.Quantity:
        """The time that readings stand for [h]."""
        return Q_(float(self.duration_s.sum()) / 3600, "h")

    @property
    def coverage(self) -> float:
        """The share of the log's span that readings stand for [-]."""
        return min(1.0, float(self.duration_s.sum()) / self.span_s)

    def first(self, duration: Any) -> MeterLog:
        """Return the log as it would be had it been stopped after ``duration`` [h]."""
        return self.between("0 h", duration)

    def between(self, begin: Any, end: Any) -> MeterLog:
        """Return the part of the log between two times, counted from its beginning [h].

        Steps that reach beyond either end are cut there; findings are those of the whole log.

        Raises
        ------
        Refusal
            If no reading stands for any of that time.
        """
        low, high = (3600 * number(at, "h", name) for at, name in ((begin, "begin"), (end, "end")))
        starts = np.maximum(self.start_s, low)
        lasts = np.minimum(self.start_s + self.duration_s, high) - starts
        held = lasts > 0
        if not held.any():
            raise Refusal(
                f"{self.name} between {show(Q_(low / 3600, 'h'))} and {show(Q_(high / 3600, 'h'))}",
                f"a part of its {show(Q_(self.span_s / 3600, 'h'))} that readings stand for",
                "Ask for an earlier, later or longer part.",
            )
        return replace(
            self,
            start_s=starts[held] - low,
            duration_s=lasts[held],
            power_w=self.power_w[held],
            begins=None if self.begins is None else self.begins + pd.Timedelta(seconds=low),
            span_s=min(high, self.span_s) - low,
        )

    def mean_power_w(self) -> float:
        """Return the mean power over the covered time, a plain number [W].

        P_mean = sum(P dt) / sum(dt)                                                          (1)
        """
        self._watts("a mean power")
        return self._mean()

    def _mean(self) -> float:
        return float(np.dot(self.power_w, self.duration_s) / self.duration_s.sum())  # (1)

    def _watts(self, wanted: str) -> None:
        if self.kind == "apparent power":
            raise Refusal(
                f"{wanted} from {self.name}, a log of apparent power (VA)",
                "readings in watts",
                "Volt-amperes are not watts: log the power, or the energy counter, of the same meter.",
            )

    def as_load(self, name: str | None = None) -> Load:
        """Return the log itself as a load, its powers taken as exact.

        The mean is kept exactly; powers that differ by less than a 200th of the largest are put
        together at their mean. For a draw with its uncertainty use `measure_draw`.

        Parameters
        ----------
        name : str, optional
            What the ledger calls it; the log's name where left out.
        """
        self._watts("a load")
        levels, shares = levels_of(self.power_w, self.duration_s)
        peak = Q_(float(self.power_w.max()), "W") if self.kind == "power" else None
        mean = Estimate.exact(Q_(float(np.dot(levels, shares)), "W"))
        return Load((Appliance(name or self.name, mean, levels, shares, Q_(0, "Wh"), peak=peak),))

    def __repr__(self) -> str:
        unit = "VA" if self.kind == "apparent power" else "W"
        since = f" from {self.begins:%Y-%m-%d %H:%M:%S %Z}".rstrip() if self.begins is not None else ""
        lines = [
            f"<MeterLog {self.name}: {self.kind}, {show(Q_(self.span_s / 3600, 'h'))}{since}, "
            f"mean {show(Q_(self._mean(), unit))}, {100 * self.coverage:.3g} % covered, "
            f"step {self.resolution.magnitude:.3g} {self.resolution.units:~P}"
        ]
        lines += [f"  {role}: {what} ({origin})" for role, (what, origin) in self.mapping.items()]
        lines.append(f"  meter accuracy: {self.meter.accuracy or 'not stated'}")
        lines += [f"  found: {finding}" for finding in self.findings]
        return "\n".join(lines) + ">"

    def _repr_html_(self) -> str:
        head, *rest = repr(self)[1:-1].split("\n")
        items = "".join(f"<li>{escape(line.strip())}</li>" for line in rest)
        return f"<div><strong>{escape(head)}</strong><ul>{items}</ul></div>"


def levels_of(power_w: np.ndarray, duration_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the powers [W] and their shares of time [-], in at most 201 levels."""
    width = float(power_w.max()) / 200 or 1.0
    bins = np.round(power_w / width).astype(np.int64)
    time = np.bincount(bins, weights=duration_s)
    energy = np.bincount(bins, weights=duration_s * power_w)
    held = time > 0
    return energy[held] / time[held], time[held] / time.sum()


# -- reading -------------------------------------------------------------------------------------

KEPT = "ridethrough-columns.json"
UNTIL_NEXT = "until the next"
_CHOICES: dict[str, type] = {"columns": Mapping, "kind": str, "timezone": str, "unit": str, "dayfirst": bool,
                             "decimal": str, "hold": str}  # fmt: skip


def read_log(
    path: str | Path,
    *,
    meter: Meter | None = None,
    columns: Mapping[str, str] | None = None,
    kind: str | None = None,
    timezone: str | None = None,
    unit: str | None = None,
    dayfirst: bool | None = None,
    decimal: str | None = None,
    hold: str | None = None,
    keep_mapping: bool = False,
) -> MeterLog:
    """Return the log in a CSV file: its power over steps of time, and everything a reader must know of it.

    What is not told is guessed from the file, and the log's repr shows the guess. What could be read in
    two ways is refused, with the argument that settles it.

    Parameters
    ----------
    path : str or Path
        The CSV file [-].
    meter : Meter, optional
        What it was logged with [-].
    columns : dict, optional
        Names of the columns that hold "time" (or "date" and "time"), and "power", "energy",
        "apparent power", or "voltage" and "current" [-].
    kind : str, optional
        "power", "counter", "interval energy" or "apparent power" [-].
    timezone : str, optional
        Where the meter's clock showed local time, such as "Europe/Vienna" [-].
    unit : str, optional
        The unit of the readings, where the column's name does not say it [-].
    dayfirst : bool, optional
        Whether 03/04/2026 is the third of April [-].
    decimal : str, optional
        The decimal mark, "," or "." [-].
    hold : str, optional
        How long a reading of power stands for: "until the next", or until the next but at most a time
        such as "30 s"; what lies beyond is a gap [s].
    keep_mapping : bool
        Whether to write what the columns are into a small file beside the log, which is then read for
        every log in that folder [-].

    Returns
    -------
    MeterLog
        Its times in seconds from the first reading, its powers in W.

    Raises
    ------
    LogRefusal
        If anything in the file can't be trusted; it names the file and, where there is one, the row.

    Notes
    -----
    A reading of power stands until the next one; the last one closes the log. Whether a long silence is a
    gap or a meter that writes only changes is decided from the pattern of the readings, said in the repr,
    and overruled by ``hold``. A counter knows what flowed in a gap. An interval's time is taken as its
    beginning, unless the column is called its end.
    """
    layout = find_layout(path)
    told = {"columns": columns, "kind": kind, "timezone": timezone, "unit": unit, "dayfirst": dayfirst,
            "decimal": decimal, "hold": hold}  # fmt: skip
    beside, told = Path(path).with_name(KEPT), {name: choice for name, choice in told.items() if choice is not None}
    choices, kept = _choices(layout.place, beside, told, layout.names)
    roles = assign(layout, choices.get("columns", {}), "given" if "columns" in told else kept,
                   choices.get("kind"), choices.get("unit"))  # fmt: skip
    readings = read_readings(layout, roles, choices.get("dayfirst"), choices.get("decimal"))
    log = _judge(readings, roles.role, meter or Meter(), choices)
    if kept:
        log = replace(
            log, mapping=log.mapping | {"kept mapping": (", ".join(set(choices) - set(told)) or "nothing", kept)}
        )
    if keep_mapping:
        _keep(layout.place, beside, log, choices)
    return log


def _choices(place: Place, beside: Path, told: dict[str, Any], names: Sequence[str]) -> tuple[dict[str, Any], str]:
    """Return what was told, completed from the mapping kept ``beside`` the log, and what became of that mapping."""
    _check_choices(place, told)
    if not beside.is_file():
        return told, ""
    try:
        kept = json.loads(beside.read_text(encoding="utf-8"))
        _check_choices(place, kept)
    except (OSError, ValueError, RecursionError) as error:
        raise place.refuse(f"a file {KEPT} beside it that can't be read ({error})", "one that read_log wrote",
                           f"Delete {KEPT}.") from None  # fmt: skip
    if not set(kept.get("columns", {}).values()) <= set(names):
        return told, f"{KEPT}, not used: it names other columns"
    if {"columns", "kind"} & set(told):  # then only what it says of times and numbers is of use
        kept = {name: choice for name, choice in kept.items() if name in {"timezone", "dayfirst", "decimal"}}
    return kept | told, f"from {KEPT}"


def _check_choices(place: Place, told: Any) -> None:
    """Refuse an argument of the wrong type, or a word that is none of those known."""
    if not isinstance(told, dict) or not set(told) <= set(_CHOICES):
        raise place.refuse(f"{str(told)[:60]}", f"an object with {', '.join(_CHOICES)}", "Write it anew.")
    for name, choice in told.items():
        fits = isinstance(choice, _CHOICES[name])
        if name == "columns" and fits:
            fits = all(isinstance(text, str) for text in (*choice, *choice.values()))
        known = {"kind": ROLES_OF, "decimal": (",", ".")}.get(name, (choice,))
        if not fits or choice not in known:
            among = ", ".join(map(repr, known)) if fits else f"text or {_CHOICES[name].__name__}"
            raise place.refuse(f"{name}={choice!r}", among, f"Leave {name} out, or give one of these.")


def _keep(place: Place, beside: Path, log: MeterLog, choices: Mapping[str, Any]) -> None:
    """Write what the columns are beside the log, for the next file of its kind."""
    columns = {role: name for role, (name, _) in log.mapping.items() if role in {"time", "date", *BASE}}
    kept = dict(choices) | {"columns": columns, "kind": log.kind}
    try:
        beside.write_text(json.dumps(kept, indent=2, ensure_ascii=False), encoding="utf-8")
    except OSError as error:
        raise place.refuse(f"a folder that can't be written to ({error})", "one that can be",
                           "Leave keep_mapping out.") from None  # fmt: skip


def hand_readings(
    readings: Sequence[tuple[str, str]],
    unit: str,
    meter: Meter | None = None,
    *,
    timezone: str | None = None,
    dayfirst: bool | None = None,
) -> MeterLog:
    """Return readings noted by hand as a log.

    Parameters
    ----------
    readings : sequence of (time, reading), both text
        Times as dates, or as hours and minutes that the meter has run ("47:20"). The digits of a reading
        are its resolution, so "12.30" is not "12.3" [h, ``unit``].
    unit : str
        "kWh" or "Wh" for an energy counter, "W" for a power display [-].
    meter : Meter, optional
        What they were read off [-].
    timezone, dayfirst : optional
        As in `read_log` [-].

    Returns
    -------
    MeterLog
        Power in W over the time between two readings.

    Raises
    ------
    LogRefusal
        If a reading is no text, no number, or earlier than the one before; it says which one.

    Example
    -------
    >>> hand_readings([("0:00", "2.41"), ("47:30", "4.31")], "kWh").mean_power_w()
    40.0
    """
    told = {"timezone": timezone, "dayfirst": dayfirst}
    rows, name = _pairs(readings), f"reading ({unit})"
    layout = Layout("hand readings", None, "", "", 0, ("time", name), (kind_of(rows[0][0]), "number"), rows)
    choices = {name: choice for name, choice in told.items() if choice is not None}
    _check_choices(layout.place, choices)
    roles = assign(layout, {}, "given", None, str(unit))
    if roles.role not in {"power", "energy"} or layout.kinds[0] == "number":
        raise layout.place.refuse(f"times such as {rows[0][0]!r} and readings in {unit}",
                                  "dates, or hours and minutes, and readings in kWh, Wh or W",
                                  'Write "2026-01-10 08:00" or "47:20", and unit="kWh".', at=0)  # fmt: skip
    choices |= {"kind": "counter"} if roles.role == "energy" else {"hold": UNTIL_NEXT}
    return _judge(read_readings(layout, roles, dayfirst, "."), roles.role, meter or Meter(), choices)


def _pairs(readings: Any) -> tuple[tuple[str, str], ...]:
    """Return hand readings as a table of text."""
    place = Place("hand readings", lambda at: at + 1)
    needed, remedy = "pairs of a time and a reading, both text", 'Write [("2026-01-10 08:00", "12.31"), ...].'
    if isinstance(readings, str) or not isinstance(readings, Sequence) or len(readings) < 2:
        raise place.refuse(f"{str(readings)[:60]}", f"two or more {needed}", remedy)
    for at, pair in enumerate(readings):
        if not (isinstance(pair, Sequence) and len(pair) == 2 and all(isinstance(text, str) for text in pair)):
            raise place.refuse(f"{pair!r}", needed, f"{remedy} The digits of the text are its resolution.", at=at)
    return tuple((time.strip(), value.strip()) for time, value in readings)


# -- judging: order, zone, kind ------------------------------------------------------------------

LARGEST_W = 100_000  # more than an outlet gives: the unit is wrong
LONGEST_S = 20 * 366 * 86_400
UNMOVED_S, UNMOVED_READINGS = 6 * 3600, 10
LATE_SHARE = 0.1  # of rows behind the others: more, and the clock can't be trusted
NEGATIVE_SHARE = 0.01
FEW, BOTH_W = 6, 500  # fewer readings of energy than this, all rising, may be either if intervals meant less power
SMALLEST_GUESS_W = 5  # a column without a unit that stays below may as well be in kW
COUNTER_WORDS = {"counter", "total", "cumulative", "meter", "register", "accumulated", "lifetime", "today"}
MOST_OF_A_DAY_H = 20.0
INTERVAL_WORDS = {"interval", "hourly", "delta", "per", "increment"}
END_WORDS = {"end", "ending", "until", "to"}


def _judge(readings: Readings, role: str, meter: Meter, choices: Mapping[str, Any]) -> MeterLog:
    """Return the log that readings make: put in order, checked, and turned into steps of power."""
    if not isinstance(meter, Meter):
        raise readings.place.refuse(f"meter={meter!r}", "a Meter", 'Write meter=Meter("1 % + 0.5 W").')
    if readings.value.size < 2:
        raise readings.place.refuse("one reading", "two or more", "Let the meter log longer.")
    found: list[Finding] = []
    readings = _in_order(readings, choices.get("timezone"), found)
    kind, told = (choices["kind"], "given") if "kind" in choices else _kind(readings, role)
    readings = _trusted(_no_twins(readings, kind, found), kind, found)
    make = {"counter": _counter_steps, "interval energy": _interval_steps}.get(kind, _held_steps)
    _note_unmoved(readings, found)
    steps = make(readings, choices.get("hold"), found)
    _check_power(readings, steps)
    clock, zone = readings.times.clock, choices.get("timezone")
    begins = None if clock == "elapsed" else pd.Timestamp(int(readings.times.ns[0]) - int(steps.ahead_s * NS))
    if begins is not None and clock == "utc":
        begins = begins.tz_localize("UTC").tz_convert(zone or "UTC")
    stated, unit = (meter.power_step, BASE[role]) if kind in {"power", "apparent power"} else (meter.energy_step, "Wh")
    return MeterLog(
        name=readings.place.name,
        kind=kind,
        start_s=steps.start_s,
        duration_s=steps.duration_s,
        power_w=steps.power_w,
        begins=begins,
        span_s=steps.span_s,
        resolution=Q_(number(stated, unit, "step") if stated and unit != "VA" else readings.step, unit),
        meter=meter,
        mapping=readings.notes | {"kind": (kind, told), "readings": steps.sampling},
        findings=tuple(found),
    )


def _when(readings: Readings, at: int) -> str:
    """Return when a reading was taken, in words."""
    ns = int(readings.times.ns[at])
    if readings.times.clock == "elapsed":
        return f"{ns // NS // 3600}:{ns // NS // 60 % 60:02}:{ns // NS % 60:02}"
    return f"{pd.Timestamp(ns):%Y-%m-%d %H:%M:%S}{' UTC' if readings.times.clock == 'utc' else ''}"


def _note(found: list[Finding], what: str, readings: Readings, there: np.ndarray, done: str, more: str = "") -> bool:
    """Add what is true of the readings ``there``, if of any; return whether it is."""
    if there.any():
        found.append(Finding(what, f"first at {_when(readings, int(there.argmax()))}{more}", int(there.sum()), done))
    return bool(there.any())


def _in_order(readings: Readings, timezone: str | None, found: list[Finding]) -> Readings:
    """Return the readings with time going forward, on UTC where the zone is known."""
    step = np.diff(readings.times.ns)
    if step.max() <= 0 and step.min() < 0:
        found.append(Finding("rows run newest first", "whole log", step.size + 1, "read from the end"))
        readings = readings.take(np.arange(step.size, -1, -1))
    del step
    readings = _on_utc(readings, timezone)
    if np.diff(readings.times.ns).min() >= 0:
        return readings
    late = readings.times.ns < np.maximum.accumulate(readings.times.ns)
    if late.mean() > LATE_SHARE:
        remedy = {"elapsed": "If these are times of day, add a column with the date."}
        raise readings.place.refuse(
            f"time that goes backward, {late.sum()} rows behind those before", "times in order",
            remedy.get(readings.times.clock, "Cut the log where the clock was changed."), at=late.argmax())  # fmt: skip
    _note(found, "backward time", readings, late, "these rows were left out")
    return readings.take(np.flatnonzero(~late))


def _on_utc(readings: Readings, timezone: str | None) -> Readings:
    """Return local times as UTC where the zone is given; refuse clocks put back where it is not."""
    clock = readings.times.clock
    if timezone is not None:
        try:
            ZoneInfo(timezone)
        except (KeyError, ValueError, OSError):
            raise readings.place.refuse(f"timezone={timezone!r}", "a place in the time zone data base",
                                        'Write for example timezone="Europe/Vienna".') from None  # fmt: skip
        if clock == "elapsed":
            raise readings.place.refuse(f"timezone={timezone!r} for elapsed times", "dates", "Leave timezone out.")
        return _localized(readings, timezone) if clock == "local" else readings
    if clock == "local":
        _check_put_back(readings)
    return readings


def _check_put_back(readings: Readings) -> None:
    """Refuse local times that go back by about an hour: the end of summer time, in all likelihood."""
    step = np.diff(readings.times.ns)
    if step.min() > 0 or step.max() <= 0:
        return
    step_s = step / NS
    usual = float(np.median(step_s[step_s > 0]))
    twin = (step_s == 0) & (np.diff(readings.value) == 0)
    back = (step_s <= 0) & ~twin & (np.abs(step_s + 3600 - usual) <= usual / 2) | (step_s >= -3600) & (step_s < -1800)
    if back.any():
        raise readings.place.refuse(
            "local time that goes back by about an hour", "times that go forward, or the zone they are in",
            'If clocks were set back here, write timezone="Europe/Vienna" with your own zone.',
            at=back.argmax() + 1)  # fmt: skip


def _localized(readings: Readings, zone: str) -> Readings:
    """Return local times as UTC; an hour that comes twice is told apart by where its times go back."""
    ns = readings.times.ns
    stamps = pd.DatetimeIndex(ns.view("M8[ns]"))
    no_summer = np.zeros(ns.size, bool)
    skipped = np.asarray(stamps.tz_localize(zone, ambiguous=no_summer, nonexistent="NaT").isna())
    if skipped.any():
        raise readings.place.refuse(f"a local time that clocks in {zone} skip", "times of that zone",
                                    "Give the zone of the meter's clock.", at=skipped.argmax())  # fmt: skip
    twice = np.asarray(stamps.tz_localize(zone, ambiguous="NaT").isna())
    summer = no_summer.copy()
    for begin, end in np.flatnonzero(np.diff(np.r_[False, twice, False])).reshape(-1, 2):
        step = np.diff(ns[begin:end])
        turn = np.flatnonzero(step < 0) if (step < 0).any() else np.flatnonzero(step == 0)
        if not turn.size:
            raise readings.place.refuse(f"a local time that comes twice in {zone}", "a log that shows both hours",
                                        "Cut the log before this row, or log in UTC.", at=begin)  # fmt: skip
        summer[begin : begin + turn[0] + 1] = True
    utc = stamps.tz_localize(zone, ambiguous=summer).as_unit("ns").asi8
    return replace(readings, times=replace(readings.times, ns=np.array(utc), clock="utc"))


def _kind(readings: Readings, role: str) -> tuple[str, str]:
    """Return what the readings are, and how that is known: energy may be a counter's or each interval's."""
    if role != "energy":
        return role, "guessed"
    words = words_of(readings.notes[role][0])
    value = readings.value[np.isfinite(readings.value)]
    rise, before, after = np.diff(value), value[:-1], value[1:]
    fall, usual = rise < 0, float(np.median(rise[rise > 0])) if (rise > 0).any() else 0.0
    reset = fall & (after <= before / 10) & (before >= 3 * usual)
    usual_h = float(np.median(np.diff(readings.times.ns))) / NS / 3600
    if "today" in words and usual_h > MOST_OF_A_DAY_H:
        raise readings.place.refuse("a day's counter read once a day", "whether each reading is that day's own energy",
                                    'Write kind="interval energy" if so, kind="counter" if it goes on.')  # fmt: skip
    if words & COUNTER_WORDS:
        return "counter", "from the header"
    if words & INTERVAL_WORDS:
        return "interval energy", "from the header"
    counts = (rise > 0).any() and fall.sum() <= reset.sum() + _rolled(before, after).sum() and fall.mean() <= 0.1
    if counts and not (value.size < FEW and np.median(value) < BOTH_W * usual_h):
        return "counter", "guessed"
    if fall.mean() > 0.1:
        return "interval energy", "guessed"
    raise readings.place.refuse("energy that may be a counter's or each interval's", "which of the two",
                                'Write kind="counter" or kind="interval energy".', at=fall.argmax() + 1)  # fmt: skip


def _no_twins(readings: Readings, kind: str, found: list[Finding]) -> Readings:
    """Return one reading for each time."""
    first = np.diff(readings.times.ns, prepend=readings.times.ns[0] - 1) > 0
    if first.all():
        return readings
    value, group = readings.value, np.cumsum(first) - 1
    same = (value == value[first][group]) | np.isnan(value) & np.isnan(value[first][group])
    _note(found, "repeated rows", readings, ~first & same, "kept once")
    done = "the last kept" if kind == "counter" else "their mean kept"
    _note(found, "different readings with the same time", readings, ~same, done)
    if kind == "interval energy" and not same.all():
        raise readings.place.refuse("different energies for the same time", "one for each interval",
                                    "If clocks were set back here, write timezone=.", at=(~same).argmax())  # fmt: skip
    one = readings.take(np.flatnonzero(first))
    if kind == "counter":
        return replace(one, value=value[np.r_[np.flatnonzero(first)[1:] - 1, value.size - 1]])
    there = np.isfinite(value)
    with np.errstate(invalid="ignore"):
        mean = np.bincount(group, np.where(there, value, 0)) / np.bincount(group, there)
    return replace(one, value=np.where(np.bincount(group, ~same) > 0, mean, one.value))


def _trusted(readings: Readings, kind: str, found: list[Finding]) -> Readings:
    """Return the readings with stray negatives set to zero, or refuse what no meter shows."""
    place, ns, value = readings.place, readings.times.ns, readings.value
    if ns.size < 2:
        raise place.refuse("readings that all have the same time", "times that go forward", "Check the time column.")
    if not np.isfinite(value).any():
        raise place.refuse("no reading in any row", "two or more", "Name the column that holds the readings.")
    if readings.times.clock != "elapsed" and not (ns[0] >= 0 and ns[-1] < LATEST_S * NS):
        raise place.refuse("dates before 1970 or after 2100", "the dates of a meter's log", "Correct them.",
                           at=0 if ns[0] < 0 else ns.size - 1)  # fmt: skip
    if (ns[-1] - ns[0]) / NS > LONGEST_S:
        raise place.refuse(f"a log of {(ns[-1] - ns[0]) / NS / 86_400 / 365.25:,.0f} years", "at most twenty",
                           "Cut it where the clock jumps.", at=np.diff(ns).argmax() + 1)  # fmt: skip
    if readings.notes.get("unit") == ("W", "guessed") and 0 < np.nanmax(value) < SMALLEST_GUESS_W:
        raise place.refuse(
            f"powers up to {np.nanmax(value):g} in a column without a unit", "its unit", 'Write unit="W".'
        )
    negative = value < 0
    if not negative.any():
        return readings
    if -value[negative].sum() > NEGATIVE_SHARE * np.nansum(np.abs(value)) or kind == "counter":
        raise place.refuse(f"{negative.sum()} negative readings", "what an appliance draws, zero or more",
                           "Turn the meter or clamp round, or name another column.", at=negative.argmax())  # fmt: skip
    _note(found, "negative readings", readings, negative, "set to zero")
    return replace(readings, value=np.where(negative, 0.0, value))


# -- judging: steps ------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Steps:
    """Power held over steps of time, how the readings were taken to stand for it, and where the log begins."""

    start_s: np.ndarray
    duration_s: np.ndarray
    power_w: np.ndarray
    span_s: float
    sampling: tuple[str, str]
    ahead_s: float = 0.0


@dataclass(frozen=True)
class _Sampling:
    """How long a reading may stand until the next [s], and how long it stands where that comes later [s]."""

    words: str
    longest_s: float
    stands_s: float


def _seconds(readings: Readings) -> np.ndarray:
    return (readings.times.ns - readings.times.ns[0]) / NS


def _sampling(step_s: np.ndarray, value: np.ndarray) -> _Sampling:
    """Return how the meter wrote its readings, from their pattern.

    At a steady pace a step half as long again as usual is a gap. A meter that writes only changes never
    repeats a value; one that also writes at a steady beat repeats values at that beat.
    """
    usual = float(np.median(step_s))
    steady = _Sampling(f"one every {usual:g} s", 1.5 * usual, usual)
    if step_s.max() <= 1.5 * usual:
        return steady
    same = value[1:] == value[:-1]
    long = step_s > 1.5 * usual
    beat = float(np.median(step_s[same])) if same.sum() >= 3 else 0.0
    if beat > 1.5 * usual and np.mean(np.abs(step_s[same] - beat) <= beat / 4) >= 0.8:
        return _Sampling(f"on each change, and at least every {beat:g} s", 1.5 * beat, beat)
    paced = np.mean(np.abs(step_s - usual) <= usual / 2) >= 0.75
    returns = long.sum() >= 3 and np.unique(value[:-1][long]).size <= long.sum() / 2
    if same.mean() <= 0.01 and (returns or not paced):
        return _Sampling(f"on each change, the longest after {step_s.max() / 3600:.3g} h", math.inf, math.inf)
    return steady if paced else _Sampling(f"at uneven times, {usual:g} s apart in the middle", 10 * usual, usual)


def _held_steps(readings: Readings, hold: str | None, found: list[Finding]) -> _Steps:
    """Return the steps of a log of power: each reading stands until the next, or until a gap."""
    time_s = _seconds(readings)
    step_s = np.diff(time_s)
    if hold is None:
        sampling, told = _sampling(step_s, readings.value), "guessed"
    else:
        longest = math.inf if hold == UNTIL_NEXT else number(hold, "s", "hold")
        if longest <= 0:
            raise readings.place.refuse(f"hold={hold!r}", "a time", f'Write hold="30 s", or hold="{UNTIL_NEXT}".')
        sampling, told = _Sampling(f"each holds {hold}", longest, longest), "given"
    gap = step_s > sampling.longest_s
    if _note_gaps(found, readings, gap, step_s, f"not covered; the reading before stands for {sampling.stands_s:g} s"):
        step_s = np.where(gap, sampling.stands_s, step_s)
    power_w, start_s = readings.value[:-1], time_s[:-1]
    empty = np.isnan(power_w)
    if _note(found, "empty readings", readings, empty, "not covered"):
        start_s, step_s, power_w = start_s[~empty], step_s[~empty], power_w[~empty]
    return _Steps(start_s, step_s, power_w, float(time_s[-1]), (sampling.words, told))


def _note_gaps(found: list[Finding], readings: Readings, gap: np.ndarray, step_s: np.ndarray, done: str) -> bool:
    """Add the gaps, if there are any; one of an hour on a local clock may be the beginning of summer time."""
    if not gap.any():
        return False
    usual = float(np.median(step_s))
    hour = readings.times.clock == "local" and np.any(np.abs(step_s[gap] - 3600 - usual) <= usual / 2)
    hint = "; if clocks were put forward there, write timezone=" if hour else ""
    return _note(found, "gaps", readings, gap, done + hint, f", the longest {step_s[gap].max() / 3600:.3g} h")


def _note_unmoved(readings: Readings, found: list[Finding]) -> None:
    """Note readings that stood still for hours: a steady load, or a meter that hung."""
    ns, last = readings.times.ns, readings.value.size - 1
    ends = np.r_[-1, np.flatnonzero(readings.value[1:] != readings.value[:-1]), last]  # of each run of one value
    long = np.flatnonzero(np.diff(ends) >= UNMOVED_READINGS)
    still_s = (ns[ends[long + 1]] - ns[ends[long] + 1]) / NS
    stuck = still_s >= UNMOVED_S
    if stuck.any():
        where = f"first at {_when(readings, ends[long][stuck][0] + 1)}, the longest {still_s.max() / 3600:.3g} h"
        found.append(Finding("unchanged for hours", where, int(stuck.sum()), "kept; look at the meter"))


def _interval_steps(readings: Readings, hold: str | None, found: list[Finding]) -> _Steps:
    """Return the steps of a log of energy per interval: P = E / interval."""
    _refuse_hold(readings, hold)
    time_s = _seconds(readings)
    step_s = np.diff(time_s)
    usual = float(np.median(step_s))
    _note_gaps(found, readings, step_s > 1.5 * usual, step_s, "not covered")
    duration_s = np.minimum(np.append(step_s, usual), usual)
    there = np.isfinite(readings.value)
    _note(found, "empty readings", readings, ~there, "not covered")
    at_end = bool(words_of(readings.notes["time"][0]) & END_WORDS)
    words = f"energy of {usual:g} s {'before' if at_end else 'after'} each time"
    power_w = readings.value[there] / duration_s[there] * 3600
    return _Steps(time_s[there], duration_s[there], power_w, float(time_s[-1]) + usual, (words, "guessed"),
                  usual if at_end else 0.0)  # fmt: skip


def _refuse_hold(readings: Readings, hold: str | None) -> None:
    if hold is not None:
        raise readings.place.refuse(f"hold={hold!r} for energy", "readings of power", "Leave hold out.")


def _rolled(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Return where a counter went from all nines to zero: its largest value is a power of ten."""
    largest = _largest(before)
    return (largest >= 1e5) & (before >= 0.99 * largest) & (after <= 0.01 * largest)  # Wh


def _largest(before: np.ndarray) -> np.ndarray:
    return 10.0 ** np.ceil(np.log10(np.maximum(before, 1.0)))


def _counter_steps(readings: Readings, hold: str | None, found: list[Finding]) -> _Steps:
    """Return the steps of an energy counter: P = (E2 - E1) / (t2 - t1), between readings that tell them apart.

    A reset leaves its step uncovered, since nobody knows how far the counter had come; a roll-over does not.
    """
    _refuse_hold(readings, hold)
    begin_ns, there = int(readings.times.ns[0]), np.isfinite(readings.value)
    if _note(found, "empty readings", readings, ~there, "bridged by the counter"):
        readings = readings.take(np.flatnonzero(there))
    if readings.value.size < 2:
        raise readings.place.refuse("one reading of the counter", "two or more", "Let the meter log longer.", at=0)
    time_s = (readings.times.ns - begin_ns) / NS
    rise_wh = _rises(readings, found)
    sampling = _sampling(np.diff(time_s), readings.value)
    _note_gaps(found, readings, np.diff(time_s) > sampling.longest_s, np.diff(time_s), "bridged by the counter")
    stop = _stops(rise_wh, readings.step)
    if stop.size < time_s.size:
        done = f"put together to {stop.size - 1} steps from one change of the counter to the next"
        found.append(Finding("readings closer than the counter's last digit", "whole log", time_s.size, done))
    energy_wh, duration_s = np.add.reduceat(rise_wh, stop[:-1]), np.diff(time_s[stop])
    known = np.isfinite(energy_wh)
    power_w = energy_wh[known] / duration_s[known] * 3600
    return _Steps(time_s[stop[:-1]][known], duration_s[known], power_w, float(time_s[-1]), (sampling.words, "guessed"))


def _rises(readings: Readings, found: list[Finding]) -> np.ndarray:
    """Return what a counter counted between its readings, nan across a reset [Wh]."""
    before, after = readings.value[:-1], readings.value[1:]
    rise = after - before
    fall = rise < 0
    rolled = fall & _rolled(before, after)
    reset = fall & ~rolled & (after <= before / 10)
    odd = fall & ~rolled & ~reset
    if odd.any():
        at = int(odd.argmax())
        raise readings.place.refuse(f"a counter that falls from {before[at]:g} to {after[at]:g} Wh",
                                    "one that rises, or starts again near zero", "Cut the log there, or give the kind.",
                                    at=at + 1)  # fmt: skip
    if rolled.any():
        rise = np.where(rolled, rise + _largest(before), rise)
    _note(found, "counter roll-over", readings, np.r_[False, rolled], "counted on")
    _note(found, "counter resets", readings, np.r_[False, reset], "the time since the reading before is not covered")
    return np.where(reset, np.nan, rise)


def _stops(rise_wh: np.ndarray, step_wh: float) -> np.ndarray:
    """Return the readings between which power is told: all, or where the counter's last digit is too coarse
    for that, those at which it changed. The first and the last reading always belong, so no energy is lost."""
    everything = np.arange(rise_wh.size + 1)
    moved = rise_wh != 0
    up = rise_wh[rise_wh > 0]
    if not up.size or np.median(up) > 2.5 * step_wh or moved.mean() > 0.7:
        return everything
    reset = np.flatnonzero(np.isnan(rise_wh))
    changes = np.flatnonzero(moved) + 1
    if changes.size > 1 and changes[-1] < rise_wh.size and not np.isnan(rise_wh[changes[-1] - 1 :]).any():
        changes = changes[:-1]  # the quiet end belongs to the last count
    return np.unique(np.r_[0, changes, reset, rise_wh.size])


def _check_power(readings: Readings, steps: _Steps) -> None:
    """Refuse a log that covers nothing, or whose powers no outlet gives."""
    if not steps.power_w.size:
        raise readings.place.refuse("no two readings in a row", "some", "Check the column of readings.")
    if steps.power_w.max() > LARGEST_W:
        at = np.searchsorted(_seconds(readings), steps.start_s[steps.power_w.argmax()])
        raise readings.place.refuse(f"a power of {steps.power_w.max():,.0f} W", f"at most {LARGEST_W:,} W",
                                    "Check the unit; unit= overrules the column's name.", at=at)  # fmt: skip
