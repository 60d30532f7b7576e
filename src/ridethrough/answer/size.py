"""How big: backward from the outage to the printed capacity, and to packs."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pint

from ..known import Listed
from ..model.unit import BackupUnit
from ..sampling import DRAWS, Drawn
from ..sources import lookup
from ..units import Q_, Refusal, number, show
from .case import Case
from .ledger import Ledger, ledger
from .outage import Outage
from .ride import TOO_SMALL, through

LARGE = 1e6  # times the printed capacity beyond which nothing changes
HALVINGS, NARROW = 40, 1e-5  # how often the capacity is halved at most, and the share of it that is near enough


@dataclass(frozen=True)
class Size(Listed):
    """What an outage asks for; make it with `size`.

    Parameters
    ----------
    accounts : tuple of Ledger
        The accounts without packs, with one, and so on, up to the first that does or the last there is.
    confidence : float
        The chance to last that was asked for [-].
    """

    accounts: tuple[Ledger, ...]
    confidence: float

    @property
    def account(self) -> Ledger:
        """The account with the fewest packs that do, or with all of them."""
        return self.accounts[-1]

    @property
    def packs(self) -> int | None:
        """The fewest packs that do; None where even all of them do not, as where the inverter is too small."""
        return len(self.accounts) - 1 if self.account.passes(self.confidence) else None

    @cached_property
    def needed(self) -> Drawn:
        """The capacity that each draw would have to have printed on a box with these losses, in order to last [Wh]."""
        return _needed(self.accounts[0].case)

    @cached_property
    def printed(self) -> pint.Quantity:
        """The capacity that lasts in as many draws as ``confidence`` asks for [Wh]."""
        return Q_(float(np.quantile(self.needed.draws, self.confidence, method="inverted_cdf")), "Wh")

    def __repr__(self) -> str:
        unit, outage = self.account.unit, self.account.outage
        short = "does not carry the load" if self.account.verdict == TOO_SMALL else "does not, and takes no more"
        fits = f"{unit.label} {short}" if self.packs is None else f"{unit.label} does"
        return (f"<Size for {show(outage.duration)} at {100 * self.confidence:.0f} %: "
                f"{show(self.printed, 0)} printed; {'; '.join([fits, *self.account.cautions])}>")  # fmt: skip


def size(load: Any, outage: Any, *, like: BackupUnit, confidence: float | None = None, draws: int = DRAWS,
         seed: int = 1) -> Size:  # fmt: skip
    """Return how much capacity must be printed on a box like this one, and how many packs that takes.

    Parameters
    ----------
    load : Load
        What is plugged in [W].
    outage : Outage, str or pint.Quantity
        The outage, its recharge included, or its length [h].
    like : BackupUnit
        A unit whose standby, conversion and battery are taken as they are; only its capacity varies.
    confidence : float, optional
        The chance to last and keep the reserve [-]; from where the verdict is covered, where left out.
    draws, seed
        As in `ride` [-].

    Raises
    ------
    Refusal
        If nothing is asked for, or no capacity is large enough.

    Notes
    -----
    A larger box mostly comes with a larger standby: the printed capacity is for one that does not. Lesson 07.

    Example
    -------
    >>> from ..estimate import Estimate
    >>> from ..model.load import Load
    >>> unit = BackupUnit.from_print("mine", capacity=Estimate.exact("1 kWh"), chemistry="iron phosphate",
    ...                              standby=Estimate.exact("10 W"), rated="500 W", efficiency=Estimate.exact("80 %"),
    ...                              at="100 W", depth_of_discharge="100 %", pack="800 Wh", packs_max=2,
    ...                              pack_standby="0 W")
    >>> size(Load.steady("100 W"), "12 h", like=unit)
    <Size for 12 h at 90 %: 1,500 Wh printed; mine with 1 pack does>
    """
    when, aim = Outage.of(outage), confidence_of(confidence)
    accounts = tried(load, BackupUnit.of(like, "like"), when, aim, draws=draws, seed=seed)
    if not accounts[0].needed.magnitude:
        raise Refusal("no load and no standby", "something that takes energy", "Plug in a load, or give the standby.")
    case = accounts[0].case
    if through(case.with_printed(LARGE * case.printed_wh * np.ones(case.rows))).chance < aim:
        raise Refusal(f"{show(when.duration)} on a box like {like.name}",
                      "a load and a start that some box can carry",
                      "Look at outage.start and outage.unit_at.")  # fmt: skip
    return Size(tuple(accounts), aim)


def tried(load: Any, unit: BackupUnit, outage: Outage, aim: float, **drawn: int) -> list[Ledger]:
    """Return the accounts without packs, with one, and so on, up to the first that lasts with chance ``aim``."""
    accounts: list[Ledger] = []
    for each in unit.extensions:
        accounts.append(ledger(load, each, outage, **drawn))
        if accounts[-1].chance >= aim:
            break
    return accounts


def confidence_of(given: float | None) -> float:
    """Return the chance asked for, or that from which the verdict is covered [-]."""
    aim = lookup("covered from").value if given is None else number(given, "1", "confidence")
    if not 0 < aim < 1:
        raise Refusal(f"confidence={given}", "a chance between 0 and 1", "Write confidence=0.9.")
    return aim


def _needed(case: Case) -> Drawn:
    """Return what each draw needs, each found by halving between what lasts and what does not [Wh]; inf for none."""

    def lasts(printed_wh: np.ndarray) -> np.ndarray:
        return np.isinf(through(case.with_printed(printed_wh)).walk.state.empty_h)

    start = float(case.unit.printed.m_as("Wh"))
    low, high = np.zeros(case.rows), np.full(case.rows, start)
    while not (done := lasts(high) | ~case.sampler.within).all() and high.max() < LARGE * start:
        low, high = np.where(done, low, high), np.where(done, high, 2 * high)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        fits = lasts(middle)
        low, high = np.where(fits, low, middle), np.where(fits, middle, high)
        if (high - low)[done].max() <= NARROW * start:
            break
    return case.sampler.result(np.where(done, high, np.inf), "Wh")
