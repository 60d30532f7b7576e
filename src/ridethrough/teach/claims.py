"""Claims put to the test: what a number would mean, what measurement says, and where it slips. Attributed to nobody."""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np
import pint

from ..answer.ledger import Ledger, ledger
from ..answer.size import size
from ..quantity_text import PER_HOUR
from ..sampling import DRAWS, Drawn
from ..units import Q_, Refusal, number, positive, show
from .formulas import SLIPS, found_slips, result, slipped, texts, unit_slip, worked

_TEXTS = texts("claims.toml")
ABOUT = tuple(_TEXTS)  # what a claim may be about
NEAR = 0.03  # a claim comes out of a slip where it lies within 3 % of the slip's formula: claims are rounded
_PER = re.compile(r"\s+(?:an?|each|every)\s+(?=hour|day|week|month|year)", re.IGNORECASE)
_KINDS = {"[time]": "run time", "[power]": "power", "[apparent_power]": "power"}  # where nobody says


@dataclass(frozen=True)
class Claim:
    """A claim and what comes of it; make it with `claim`.

    Parameters
    ----------
    said : str
        The number as claimed.
    about : str
        One of `ABOUT`.
    claimed : pint.Quantity, optional
        The number in the unit of what it is about; None where its unit measures something else.
    meaning : str
        What it would mean, a sentence.
    measured : Drawn
        What load, unit and outage say.
    slips : tuple of str
        The slips that it comes out of, the nearest first; none where it agrees.
    cautions : tuple of str
        What the measured number leaves out and may hurt.
    agrees : bool
        Whether it lies in the interval of what was measured, or within rounding of it.
    beyond : bool
        Whether it lies beyond what was looked at: then nobody can tell.
    """

    said: str
    about: str
    claimed: pint.Quantity | None
    meaning: str
    measured: Drawn
    slips: tuple[str, ...]
    cautions: tuple[str, ...]
    agrees: bool
    beyond: bool

    @property
    def sentences(self) -> tuple[str, ...]:
        """What to read aloud."""
        told = f"The claim: {self.said}, {_TEXTS[self.about]['topic']}."
        exact = not self.measured.at_least and self.measured.expanded() <= self.measured.value * 1e-9
        found = f"Load, unit and outage say {show(self.measured) if exact else self.measured}."
        if self.agrees:
            return told, self.meaning, found, "The claim agrees with that."
        if self.beyond:
            return told, self.meaning, found, f"Cannot tell: it lasts {self.measured}; ask for a longer outage."
        value, claimed = self.measured.value, self.claimed
        against = f"{_against(float((claimed / value).m_as('1')))} " if claimed and value else ""
        if not self.slips:
            return told, self.meaning, found, f"{against}It comes out of no slip on the kit's list."
        first, *others = (SLIPS[slip] for slip in self.slips)
        also = f" It might also be: {'; '.join(slip.name for slip in others)}." if others else ""
        slip = f"It comes out of a known slip: {first.name}. {first.hint} Lesson {first.lesson} is about it."
        return tuple(filter(None, (told, self.meaning, found, against + slip + also)))

    def __repr__(self) -> str:
        return "\n".join([*self.sentences, *(f"caution: {each}" for each in self.cautions)])

    def _repr_html_(self) -> str:
        return f"<p>{'<br>'.join(map(escape, repr(self).splitlines()))}</p>"


def claim(said: Any, *, load: Any, unit: Any, outage: Any, about: str | None = None, sticker: Any = None,
          efficiency: Any = None, draws: int = DRAWS, seed: int = 1) -> Claim:  # fmt: skip
    """Return a claim put to the test by a load, a unit and an outage.

    Parameters
    ----------
    said : str or pint.Quantity
        The number with its unit, as "30 h" or "1.5 kWh a day".
    load, unit, outage
        As in `ledger`.
    about : str, optional
        One of `ABOUT`; where left out a time is a run time, a power the load's average, an energy a day what the load
        takes.
    sticker : str or pint.Quantity, optional
        The watts on the load's sticker [W].
    efficiency : str or float, optional
        The efficiency on the unit's box [-].
    draws, seed
        As in `ride` [-].

    Raises
    ------
    Refusal
        If the number has no unit, is not above zero, or could be about several things.

    Notes
    -----
    A claim in the interval of what was measured agrees, however it was found. Another one comes out of a slip where it
    lies within 3 % of what the slip's formula gives; several may. Recharge, and what a fast discharge costs, are in
    what was measured and in no slip.

    Example
    -------
    >>> from ..model.load import Load
    >>> from ..model.unit import BackupUnit
    >>> unit = BackupUnit.from_print("mine", capacity="1.2 kWh", chemistry="iron phosphate", standby="9 W",
    ...                              rated="800 W", efficiency="88 %", at="300 W")
    >>> claim("30 h", load=Load.steady("40 W"), unit=unit, outage="24 h").slips
    ('the whole printed capacity',)
    """
    given, topic = _read(said, about)
    text, account = _TEXTS[topic], ledger(load, unit, outage, draws=draws, seed=seed)
    measured = _measured(account, topic)
    claimed, (low, high) = None, _ends(measured)
    try:
        claimed = positive(given, text["unit"], "said")
    except Refusal:
        if not unit_slip(given, low, high):
            raise
    numbers = _numbers(account, sticker, efficiency) | {"claimed": np.float64(_plain(claimed, text["unit"]))}
    with np.errstate(all="ignore"):  # what is not known is nan, and what is nothing may stand below
        means = text["means"].format(**worked(text["formula"] | text["meaning"], numbers))
        base = result(text["formula"], numbers)  # a slip that changes nothing here is none
        wrong = [(value, slip) for value, slip in slipped(text, numbers) if abs(value - base) > NEAR * abs(base)]
        slips = tuple(found_slips(given, numbers["claimed"], (low, high), wrong, NEAR))
    agrees = claimed is not None and bool(low <= claimed <= high)
    beyond = claimed is not None and not agrees and measured.at_least and bool(claimed > measured.value)
    return Claim(str(said), topic, claimed, "" if claimed is None else means, measured,
                 () if agrees or beyond else slips, account.cautions, agrees, beyond)  # fmt: skip


def _against(times: float) -> str:
    """Return how a claim compares with what was measured: by percents where they tell more than how many times."""
    if 1 / 2 < times < 2:
        return f"The claim is {100 * abs(times - 1):.0f} % {'more' if times > 1 else 'less'} than that."
    if times > 1:
        return f"The claim is {show(Q_(times, '1'))} times that."
    return f"It is {show(Q_(1 / times, '1'))} times the claim."


def _read(said: Any, about: str | None) -> tuple[Any, str]:
    """Return a claim's number, and what it is about: by its unit where nobody says."""
    given = _PER.sub("/", said) if isinstance(said, str) else said
    try:
        number = Q_(given)
        found = next((kind for dimension, kind in _KINDS.items() if number.check(dimension)), None)
        if number.check("[power]") and "/" in f"{number.units:D}":  # as "1.5 kWh a day"
            given, found = number * Q_(1, "day"), "energy a day"
    except Refusal as refusal:
        if refusal.needed != PER_HOUR:
            raise
        found = "power"
    if (topic := about or found) is None or topic not in ABOUT:
        what = f"about={about!r}" if about else f"the claim {str(said)!r} alone"
        raise Refusal(what, "what it is about", f'Write about="{ABOUT[2]}", or one of: {", ".join(ABOUT)}.')
    return given, topic


def _measured(account: Ledger, about: str) -> Drawn:
    """Return what load, unit and outage say of what a claim is about."""
    load, case, sampler = account.load, account.case, account.case.sampler
    mean = sampler.result(case.mean_w, "W") if account.outage.recharge else account.mean_power  # mains may carry it
    if about == "capacity needed":
        return size(load, account.outage, like=account.unit, draws=sampler.draws, seed=sampler.seed).needed
    if about == "largest power" and load.peak is None:
        raise Refusal("a load with a peak not measured", "its largest power", 'Write load.with_peak("150 W").')
    return {
        "run time": account.lasts,
        "energy a day": Drawn(24 * mean.rows, "Wh", mean.inputs),
        "usable energy": account.available,
        "power": mean,
        "largest power": Drawn(np.full_like(mean.rows, _plain(load.peak, "W")), "W", {}),
    }[about]


def _ends(measured: Drawn) -> tuple[pint.Quantity, pint.Quantity]:
    """Return the ends between which a claim agrees: at least as wide as claims are rounded."""
    low, high = measured.interval()
    return min(low, measured.value * (1 - NEAR)), max(high, measured.value * (1 + NEAR))


def _numbers(account: Ledger, sticker: Any, efficiency: Any) -> dict[str, Any]:
    """Return what the formulas of ``claims.toml`` begin with, by the best estimates; nan where it is not known."""
    load, unit, outage, case = account.load, account.unit, account.outage, account.case
    own, (_, b, c) = case.own_at(0), (float(np.ravel(each)[0]) for each in case.takes)
    means = [float(power.mean_w[0]) for power in case.powers]
    mean = sum(means)
    runs = [each if a.motor is None else a.motor.m_as("W") for a, each in zip(load.appliances, means, strict=True)]
    peaks = [_plain(a.peak, "W") for a in load.appliances]
    shares = [float(np.ravel(share.share)[0]) for share in case.shares]
    found = {
        "mean": mean, "own": own.own_w[0], "conversion": (b - 1) * mean + c * (mean**2 + load.variance_w2),
        "running": np.nan if runs == means else sum(runs), "peak": sum(peaks), "largest": np.max(peaks),
        "apparent": sum(_plain(a.apparent, "VA") for a in load.appliances),
        "printed": unit.printed.m_as("Wh"), "shares": np.prod(shares), "start": case.start[0], "cold": own.cold[0],
        "lost": sum(1 - share for share in shares),
        "health": unit.route.health.value.m_as("1"),
        "frost": np.nan if outage.unit_at is None else 1, "reserve": outage.reserve.m_as("Wh"),
        "hours": outage.hours, "rated": unit.ratings.rated.m_as("W"), "packs": unit.packs,
        "sticker": np.nan if sticker is None else number(sticker, "W", "sticker"),
        "efficiency": np.nan if efficiency is None else number(efficiency, "1", "efficiency"),
    }  # fmt: skip
    return {name: np.float64(value) for name, value in found.items()}


def _plain(known: pint.Quantity | None, unit: str) -> float:
    """Return a quantity as a plain number, nan where it is not known."""
    return np.nan if known is None else float(known.m_as(unit))
