"""Exercises that draw their numbers from a learner's code: neighbours differ, and a key can be printed for a class.

A check answers in one of four ways: not answered yet, right, a known slip with its hint (``slips.csv``), not yet.
"""

from __future__ import annotations

import csv
import tomllib
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pint

from ..units import Refusal, quantity, show
from .questions import EXERCISES

_HERE = Path(__file__).parent
_TEXTS = tomllib.loads((_HERE / "exercises.toml").read_text(encoding="utf-8"))
HINTS = dict(csv.reader((_HERE / "slips.csv").read_text(encoding="utf-8").splitlines()[1:]))
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


def exercise(key: str, learner: str) -> Exercise:
    """Return the exercise ``key`` with the numbers of this learner.

    Parameters
    ----------
    key : str
        Lesson number and letter, such as "00-a".
    learner : str
        Any text; the same text always gives the same numbers.

    Example
    -------
    >>> exercise("00-a", learner="kestrel").check("12 h")
    'Not yet. Write for example answer="1.2 kWh".'
    """
    if key not in EXERCISES:
        raise Refusal(f"the exercise {key!r}", "one that there is", f"Write one of: {', '.join(EXERCISES)}.")
    if not isinstance(learner, str) or not learner.strip():
        raise Refusal(f"learner={learner!r}", "some text", 'Write for example learner="kestrel".')
    draw = np.random.default_rng(zlib.crc32(f"{key}/{learner.strip().lower()}".encode()))
    texts = _TEXTS[key]
    numbers = {name: _drawn(draw, *range_) for name, range_ in texts["numbers"].items()}
    answer, wrong, worked = EXERCISES[key](**numbers)
    said = numbers | worked | {"answer": show(answer)}
    steps = tuple(step.format(**said) for step in texts["steps"])
    return Exercise(texts["question"].format(**said), answer, tuple(wrong), steps)


def _drawn(draw: np.random.Generator, low: float, high: float, step: float | None = None) -> Any:
    """Return a number from low to high, in whole steps where there are steps."""
    return draw.uniform(low, high) if step is None else low + step * draw.integers(round((high - low) / step) + 1)


def guess(letter: str | None, right: str) -> str:
    """Return what to say to a learner's guess; the lesson says why.

    Example
    -------
    >>> guess("b", right="c")
    'You guessed b. Many do; right is c. Below it says what b overlooks.'
    """
    if letter is None:
        return (
            'No guess yet. Go back to the question, put your letter in place of None, such as "a", and press '
            "Shift+Enter there; then Shift+Enter here."
        )
    given = str(letter).strip().lower()
    if given == right:
        return f"You guessed {right}, and that is it."
    if given not in ("a", "b", "c", "d"):
        return f'"{letter}" is none of the letters. Put "a", "b", "c" or "d".'
    return f"You guessed {given}. Many do; right is {right}. Below it says what {given} overlooks."


def answer_key(key: str, learners: list[str]) -> str:
    """Return the answers of a class, one learner a line, to print."""
    return "\n".join(f"{learner}: {show(exercise(key, learner).answer)}" for learner in learners)
