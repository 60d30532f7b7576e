"""What sticker and label say of an appliance, and a sheet of an inverter; and what they can't say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pint

from ..sources import lookup
from ..units import Q_, Refusal, positive, quantity, read_quantity, show

WAVEFORMS = ("sine", "stepped")
UNITS = {"rated": "W", "rated_va": "VA", "surge": "W", "volts": "V", "sleeps_below": "W"}  # of the ratings


def apparent_power(voltage: Any, current: Any) -> pint.Quantity:
    """Return volts times amperes [VA]: what cord and inverter must carry, not what is used up.

    S = V I                                                                                   (1)

    Parameters
    ----------
    voltage, current : str or pint.Quantity
        From the sticker, or read off a meter [V], [A].

    Notes
    -----
    The power in watts is S times the power factor, which a sticker does not give. The current on a sticker
    is the most it may draw. Lesson 01.

    Example
    -------
    >>> apparent_power("230 V", "0.7 A")
    <Quantity(161.0, 'voltampere')>
    """
    volts, amperes = quantity(voltage, "V", "voltage"), quantity(current, "A", "current")
    return Q_(volts.magnitude * amperes.magnitude, "VA")  # (1)


def label_power(yearly: Any) -> pint.Quantity:
    """Return the mean power that a yearly energy label stands for [W].

    P = E / (365 * 24 h)                                                                      (1)

    Parameters
    ----------
    yearly : str or pint.Quantity
        From the label [kWh/year].

    Raises
    ------
    Refusal
        If it is anything but an energy per year.

    Notes
    -----
    It holds for the test's room and use, not for yours, and says nothing about the highest power.

    Example
    -------
    >>> label_power("219 kWh/year")
    <Quantity(25.0, 'watt')>

    References
    ----------
    Regulation (EU) 2019/2016, Annex IV.
    """
    energy = quantity(yearly, "kWh/year", "yearly")
    stated = read_quantity(yearly) if isinstance(yearly, str) else yearly
    if not f"{stated.units:D}".endswith("/ year"):  # a power has the same dimension
        raise Refusal(f"yearly={yearly}", "an energy per year, as labels state it", 'Write "390 kWh/year".')
    return Q_(1000 * energy.magnitude / (24 * lookup("days in a label's year").value), "W")  # (1)


@dataclass(frozen=True)
class Ratings:
    """What the inverter may carry; None where it is not known.

    Parameters
    ----------
    rated : pint.Quantity
        Largest steady power [W].
    rated_va : pint.Quantity, optional
        Largest steady apparent power [VA].
    surge : pint.Quantity, optional
        Largest power for the moment of a start [W].
    waveform : {"sine", "stepped"}, optional
        Shape of the outlet's voltage; "stepped" is sold as modified sine.
    volts : pint.Quantity, optional
        At the outlet [V].
    legs : int
        2 where the rating is split over two legs, each with half of it [-].
    sleeps_below : pint.Quantity, optional
        Power below which the output switches itself off [W].
    """

    rated: pint.Quantity
    rated_va: pint.Quantity | None = None
    surge: pint.Quantity | None = None
    waveform: str | None = None
    volts: pint.Quantity | None = None
    legs: int = 1
    sleeps_below: pint.Quantity | None = None

    def __post_init__(self) -> None:
        for name, unit in UNITS.items():
            if name == "rated" or getattr(self, name) is not None:
                object.__setattr__(self, name, positive(getattr(self, name), unit, name))
        if self.waveform not in (None, *WAVEFORMS):
            raise Refusal(f"waveform={self.waveform!r}", f"one of {', '.join(WAVEFORMS)}", 'Write waveform="sine".')
        if self.legs not in (1, 2) or isinstance(self.legs, bool):
            raise Refusal(f"legs={self.legs!r}", "1, or 2 for split phase", "Write legs=2.")
        if self.surge is not None and self.surge < self.rated:
            raise Refusal(f"surge={show(self.surge)} beside rated={show(self.rated)}",
                          "no less than it may carry steadily", "Check both, or leave surge out.")  # fmt: skip

    @classmethod
    def of(cls, rated: Any, **more: Any) -> Ratings:
        """Return the ratings given as text or quantities; ratings themselves are returned as they are.

        Parameters
        ----------
        rated, more
            As in `Ratings` itself.

        Example
        -------
        >>> Ratings.of("1800 W", surge="3.6 kW", waveform="sine").surge
        <Quantity(3600.0, 'watt')>
        """
        return rated if isinstance(rated, Ratings) else cls(rated, **more)
