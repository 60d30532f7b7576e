"""What a learner moves on a panel: a slider or a list."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import anywidget
import traitlets

_FOLDER = Path(__file__).parent


class Control(anywidget.AnyWidget):
    """What a learner moves, labelled for everyone."""

    _esm = _FOLDER / "controls.js"
    _css = _FOLDER / "controls.css"
    label = traitlets.Unicode().tag(sync=True)


class Slider(Control):
    """A labelled number that a learner can drag; ``value`` is in ``unit``.

    Parameters
    ----------
    label, unit : str
        What stands before and after it.
    low, high, step, value : float
        Its ends, its step and where it opens [unit].
    """

    unit = traitlets.Unicode().tag(sync=True)
    low = traitlets.Float().tag(sync=True)
    high = traitlets.Float().tag(sync=True)
    step = traitlets.Float().tag(sync=True)
    value = traitlets.Float().tag(sync=True)

    def __init__(self, label: str, low: float, high: float, value: float, *, unit: str, step: float = 1) -> None:
        super().__init__(label=label, low=low, high=high, value=value, unit=unit, step=step)
        self.add_class("rt-slider")

    @traitlets.validate("value")
    def _inside(self, proposal: Any) -> float:
        return min(max(proposal["value"], self.low), self.high)

    def places(self) -> list[float]:
        """Return where it can stand, from its lower end on [unit]."""
        count = int((self.high - self.low) / self.step + 1e-9) + 1
        return [round(self.low + at * self.step, 9) for at in range(count)]

    def near(self, aim: float) -> list[float]:
        """Return its places, those near an aim first [unit]."""
        return sorted(self.places(), key=lambda place: abs(place - aim))

    def __repr__(self) -> str:
        return f"{self.label}: {self.value:g} {self.unit}"


class Choice(Control):
    """A labelled list of which a learner picks one.

    Parameters
    ----------
    label : str
        What stands before it.
    options : list of str
        What there is to pick.
    value : str, optional
        Where it opens; else at the first.
    """

    options = traitlets.List(traitlets.Unicode()).tag(sync=True)
    value = traitlets.Unicode().tag(sync=True)

    def __init__(self, label: str, options: list[str], value: str | None = None) -> None:
        super().__init__(label=label, options=options, value=options[0] if value is None else value)
        self.add_class("rt-choice")

    @traitlets.validate("value")
    def _listed(self, proposal: Any) -> str:
        if proposal["value"] not in self.options:
            raise traitlets.TraitError(f"{proposal['value']!r} is not one of {self.options}")
        return str(proposal["value"])

    def places(self) -> list[str]:
        """Return what it offers."""
        return list(self.options)

    def near(self, aim: str) -> list[str]:
        """Return what it offers: of a list, any may be next."""
        return self.places()

    def __repr__(self) -> str:
        return f"{self.label}: {self.value}"
