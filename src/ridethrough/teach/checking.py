"""One exercise: its answer, and what to say to a learner's; the usual slips with their hints stand in ``slips.csv``.

A check answers in one of four ways: not answered yet, right, a known slip with its hint, not yet.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pint

from ..units import Refusal, quantity, show

_SLIPS = csv.DictReader(Path(__file__).with_name("slips.csv").read_text(encoding="utf-8").splitlines())
HINTS = {row["slip"]: row["hint"] for row in _SLIPS}
_CLOSE = 0.02  # an answer counts as the value it lies within 2 % of: mental arithmetic, not guessing


@dataclass(frozen=True)
class Exercise:
    """One exercise with one learner's numbers; make it with `exercise`.

    Parameters
    ----------
    question : str
        What is asked.
    answer : pint.Quantity
        The right answer.
    wrong : tuple of (pint.Quantity, str)
        What known slips give, each by its name in `HINTS`.
    steps : tuple of str
        The solution, one idea a line.
    """

    question: str
    answer: pint.Quantity
    wrong: tuple[tuple[pint.Quantity, str], ...]
    steps: tuple[str, ...]

    def check(self, answer: Any = None) -> str:
        """Return what to say to ``answer``: text or Quantity with its unit; None means not answered yet."""
        unit = f"{self.answer.units:~C}"
        if answer is None:
            return (
                f'Not answered yet. Replace None by your answer with its unit, such as "123 {unit}", '
                "and run the cell: Shift+Enter."
            )
        if _equals(answer, self.answer):
            return f"Right: {show(self.answer)}."
        for value, slip in self.wrong:
            if _equals(answer, value):
                return f"A known slip: {slip}. {HINTS[slip]}"
        if isinstance(answer, (int, float)):
            return f'Not yet. Write the number with its unit, such as "123 {unit}".'
        try:
            quantity(answer, unit, "answer")
        except Refusal as refusal:
            return f"Not yet. {refusal.remedy}"
        return "Not yet. Go through the worked example above with your numbers, one step at a time."

    def solution(self) -> str:
        """Return the worked solution."""
        return "\n".join(self.steps)

    def __repr__(self) -> str:
        return self.question

    def _repr_html_(self) -> str:
        return f"<p><strong>{self.question}</strong></p>"


def _equals(given: Any, value: pint.Quantity) -> bool:
    """Return whether an answer is meant to be ``value``."""
    try:
        number = float(quantity(given, f"{value.units:~C}", "answer").magnitude)
    except Refusal:
        return False
    return abs(number - float(value.magnitude)) <= _CLOSE * abs(float(value.magnitude))
