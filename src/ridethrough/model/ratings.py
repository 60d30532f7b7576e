"""What an inverter may carry, as its sheet or a test says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import pint

from ..units import Refusal, positive, show

Waveform = Literal["sine", "stepped"]
WAVEFORMS = ("sine", "stepped")


@dataclass(frozen=True)
class Ratings:
    """What the inverter may carry; None where it is not known. Make it with `Ratings.of`.

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
    waveform: Waveform | None = None
    volts: pint.Quantity | None = None
    legs: int = 1
    sleeps_below: pint.Quantity | None = None

    @classmethod
    def of(
        cls, rated: Any, *, rated_va: Any = None, surge: Any = None, waveform: Any = None, volts: Any = None,
        legs: int = 1, sleeps_below: Any = None,
    ) -> Ratings:  # fmt: skip
        """Return the ratings given as text or quantities; ratings themselves are returned as they are.

        Example
        -------
        >>> Ratings.of("1800 W", surge="3.6 kW", waveform="sine").surge
        <Quantity(3600.0, 'watt')>
        """
        if isinstance(rated, Ratings):
            return rated
        if waveform not in (None, *WAVEFORMS):
            raise Refusal(f"waveform={waveform!r}", f"one of {', '.join(WAVEFORMS)}", 'Write waveform="sine".')
        if legs not in (1, 2) or isinstance(legs, bool):
            raise Refusal(f"legs={legs!r}", "1, or 2 for split phase", "Write legs=2.")
        found = cls(positive(rated, "W", "rated"), _if_given(rated_va, "VA", "rated_va"),
                    _if_given(surge, "W", "surge"), waveform, _if_given(volts, "V", "volts"), legs,
                    _if_given(sleeps_below, "W", "sleeps_below"))  # fmt: skip
        if found.surge is not None and found.surge < found.rated:
            raise Refusal(f"surge={show(found.surge)} beside rated={show(found.rated)}",
                          "no less than it may carry steadily", "Check both, or leave surge out.")  # fmt: skip
        return found


def _if_given(value: Any, unit: str, name: str) -> pint.Quantity | None:
    return None if value is None else positive(value, unit, name)
