"""What things cost, where a price list says so."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

from ..units import Refusal

ITEMS = ("unit", "pack", "bundle")


@dataclass(frozen=True)
class Price:
    """What something cost, where it stood in a price list.

    Parameters
    ----------
    unit, item : str
        Which unit, and whether it is the "unit", a "pack" or a "bundle" of both.
    amount : float
        The price [currency].
    currency : str
        As ISO 4217 has it, such as "EUR".
    tax_included : bool or None
        None where the list does not say [-].
    date : datetime.date
        The day on which it stood so.
    note : str
        What else the list says.
    """

    unit: str
    item: str
    amount: float
    currency: str
    tax_included: bool | None
    date: date
    note: str = ""

    def __post_init__(self) -> None:
        if self.item not in ITEMS:
            raise Refusal(f"the price of {self.item!r}", f"one of {', '.join(ITEMS)}", 'Write "pack", one row for one.')
        if not re.fullmatch("[A-Z]{3}", self.currency):
            remedy = 'Write "EUR", "USD", "SEK" ...'
            raise Refusal(f"the currency {self.currency!r}", "three letters of ISO 4217: others share a sign", remedy)

    @property
    def terms(self) -> str:
        """Currency and tax in words: what prices share that can be added or compared."""
        tax = {True: "with tax", False: "without tax", None: "tax not stated"}[self.tax_included]
        return f"{self.currency} {tax}"

    def __str__(self) -> str:
        return f"{self.item} {self.amount:,.2f} {self.terms}, {self.date}"
