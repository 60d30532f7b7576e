"""What things cost, where a price list says so, and what a unit with packs comes to."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, NamedTuple

from ..sources import lookup
from ..units import Q_, Refusal, is_plain, number, of_kind, positive

ITEMS = ("unit", "pack", "bundle")
READ = 'Write prices=read_prices("prices.csv").'


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
    tax_rate : float, optional
        The tax that comes on top where it is not included, if the list says so [-].
    listed : str
        How it stood in the list, where it was converted.
    """

    unit: str
    item: str
    amount: float
    currency: str
    tax_included: bool | None
    date: date
    tax_rate: float | None = None
    listed: str = ""

    def __post_init__(self) -> None:
        if self.item not in ITEMS:
            raise Refusal(f"the price of {self.item!r}", f"one of {', '.join(ITEMS)}", 'Write "pack", one row for one.')
        if not re.fullmatch("[A-Z]{3}", str(self.currency)):
            remedy = 'Write "EUR", "USD", "SEK" ...'
            raise Refusal(f"the currency {self.currency!r}", "three letters of ISO 4217: others share a sign", remedy)
        if not is_plain(self.amount) or self.amount < 0:
            raise Refusal(f"amount={self.amount!r}", "a plain number of zero or more", "Write amount=899.")
        of_kind(self.date, date, "date", "a day", "Write date=datetime.date(2026, 2, 1).")

    @property
    def terms(self) -> str:
        """Currency and tax in words: what prices share that can be added or compared."""
        tax = {True: "with tax", False: "without tax", None: "tax not stated"}[self.tax_included]
        return f"{self.currency} {tax}"

    def __str__(self) -> str:
        return f"{self.item} {self.amount:,.2f} {self.terms}, {self.date}"


class Offer(NamedTuple):
    """What a unit with its packs costs in one kind of terms, and the prices that add up to it."""

    amount: float
    terms: str
    parts: tuple[Price, ...]

    def __str__(self) -> str:
        told = Counter(f"{p.item} of {p.date}{f' ({p.listed})' if p.listed else ''}" for p in self.parts)
        return " + ".join(f"{count} x {part}" if count > 1 else part for part, count in told.items())


@dataclass(frozen=True)
class PriceList:
    """Prices of units, packs and bundles; `read_prices` reads one.

    Parameters
    ----------
    prices : tuple of Price
        In any order; several of one item stand for several days.
    on : datetime.date, optional
        The day whose prices count, where one was chosen with `at`.
    """

    prices: tuple[Price, ...] = ()
    on: date | None = None

    def __post_init__(self) -> None:
        for price in of_kind(self.prices, tuple | list, "prices", "a list of prices", READ):
            of_kind(price, Price, "prices", "a list of prices", READ)

    def of(self, name: str) -> tuple[Price, ...]:
        """Return this unit's prices, oldest first, of one day the dearest first."""
        mine = [price for price in self.prices if price.unit == name]
        return tuple(sorted(mine, key=lambda price: (price.date, -price.amount)))

    def at(self, on: Any = None, *, tax_rate: Any = None, rates: Mapping[str, float] | None = None) -> PriceList:
        """Return the prices that stood on a day or before it, put into one tax and currency where rates are given.

        Parameters
        ----------
        on : str or datetime.date, optional
            The day, as "2026-02-01"; that of the list's latest price where left out.
        tax_rate : str or float, optional
            What comes on top of prices without tax whose line in the list does not say it, as "19 %" [-].
        rates : mapping from str to float, optional
            What one unit of a currency is worth in the one currency of the list that is left out, or has the rate 1.
        """
        day = max((price.date for price in self.prices), default=None) if on is None else day_of(on)
        tax = None if tax_rate is None else number(tax_rate, "1", "tax_rate")
        into = _into(rates, {price.currency for price in self.prices}) if rates else ""
        known = {name: rate for name, rate in (rates or {}).items() if name != into}
        put = (_put(price, tax, known.get(price.currency), into) for price in self.prices if day and price.date <= day)
        return PriceList(tuple(put), day)

    def offers(self, name: str, packs: int) -> dict[str, Offer]:
        """Return the cheapest way to the unit with so many packs, for each kind of terms, the list's commonest first.

        A bundle holds the unit and one pack; it is taken wherever it costs less, even where no pack is needed.
        """
        lists: dict[str, dict[str, Price]] = {}
        for price in self.of(name):
            lists.setdefault(price.terms, {})[price.item] = price
        usual = Counter(price.terms for price in self.prices)
        ways = (["unit", *["pack"] * packs], ["bundle", *["pack"] * max(packs - 1, 0)])
        found: dict[str, Offer] = {}
        for terms, latest in sorted(lists.items(), key=lambda each: (-usual[each[0]], each[0])):
            known = [tuple(latest[item] for item in way) for way in ways if all(item in latest for item in way)]
            if known:
                parts = min(known, key=lambda way: sum(price.amount for price in way))
                found[terms] = Offer(sum(price.amount for price in parts), terms, parts)
        return found

    def stale(self, offer: Offer, after: Any = None) -> bool:
        """Return whether one of its prices is older than so many days on the day chosen [day]."""
        usual = Q_(lookup("days until a price is stale").value, "day")
        days = positive(usual if after is None else after, "day", "stale_after", zero=True).magnitude
        return self.on is not None and (self.on - min(price.date for price in offer.parts)).days > days


def day_of(given: Any, name: str = "on") -> date:
    """Return a day, written as 2026-02-01 where it is text, or refuse it; of a date with a time the day."""
    try:
        return given if type(given) is date else date.fromisoformat(re.split("[T ]", str(given))[0])
    except ValueError:
        raise Refusal(f"{name}={given!r}", "year, month and day", 'Write "2026-02-01".') from None


def _into(rates: Mapping[str, float], listed: set[str]) -> str:
    """Return the currency that all goes into: the one without a rate, or with the rate 1."""
    needed = "what one unit of each currency is worth in one that is left"
    remedy = 'Write rates={"USD": 0.92, "EUR": 1}, for prices in EUR and USD.'
    of_kind(rates, Mapping, "rates", needed, remedy)
    wrong = [name for name, rate in rates.items() if not is_plain(rate) or not rate > 0]
    left = [name for name in sorted(listed) if name not in rates] or [name for name in rates if rates[name] == 1]
    if wrong or len(left) != 1:
        raise Refusal(f"rates={dict(rates)!r} for prices in {', '.join(sorted(listed))}", needed, remedy)
    return left[0]


def _put(price: Price, tax: float | None, rate: float | None, into: str) -> Price:
    """Return a price with the tax that comes on top, by its list or else as told [-], and in a currency with a rate."""
    put, told, tax = price, list[str](), tax if price.tax_rate is None else price.tax_rate
    if price.tax_included is False and tax is not None:
        told.append(f"{100 * tax:g} % tax on top")
        put = replace(put, amount=put.amount * (1 + tax), tax_included=True)
    if rate is not None:
        told.append(f"{rate:g} {into} a {price.currency}")
        put = replace(put, amount=put.amount * rate, currency=into)
    return replace(put, listed=", ".join([f"{price.amount:,.2f} {price.terms}", *told])) if told else price
