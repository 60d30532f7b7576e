"""Exercises that draw their numbers from a learner's code: neighbours differ, and a key can be printed for a class.

Each is one formula in ``exercises.toml``: question, answer, known slips and solution come from it. A check answers in
one of five ways: not answered yet, right, a known slip with its hint, not yet, not read. Where words are asked for, a
machine can't mark them: there the check tells what a good answer holds.
"""

from __future__ import annotations

import hashlib
import math
import re
import unicodedata
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from html import escape
from itertools import count, pairwise
from typing import Any, ClassVar, Literal

import numpy as np
import pint

from ..units import Q_, Refusal, number, show
from .formulas import SLIPS, found_slips, slipped, texts, worked

_TEXTS = texts("exercises.toml")
EXERCISES = tuple(_TEXTS)  # lesson number and letter, in the lessons' order; x asks for words
CLOSE = 0.02  # an answer counts as the value it lies within 2 % of: mental arithmetic, not guessing
TRIES = 100  # draws until all values are apart; no exercise needs ten
SEATS = 64  # learners of one word and a number whose numbers differ, "anna1" to "anna64"
NOTHING = ("", "None")  # what stands where nothing was answered
Kind = Literal["unanswered", "right", "slip", "not yet", "not read", "to compare"]


class Reply(str):
    """What is said to an answer: a sentence that knows its kind, and the slip that it names.

    Example
    -------
    >>> exercise("00-a", learner="kestrel").check().kind
    'unanswered'
    """

    kind: Kind
    slip: str | None

    def __new__(cls, sentence: str, kind: Kind = "not yet", slip: str | None = None) -> Reply:
        """Return the sentence with its kind."""
        reply = super().__new__(cls, sentence)
        reply.kind, reply.slip = kind, slip
        return reply

    @property
    def right(self) -> bool:
        """Whether the answer was right."""
        return self.kind == "right"

    __repr__ = str.__str__


@dataclass(frozen=True)
class _Asked:
    """What is asked, by number or in words.

    Parameters
    ----------
    question : str
        What is asked.
    """

    question: str

    def __repr__(self) -> str:
        return self.question

    def _repr_html_(self) -> str:
        return f"<p><strong>{escape(self.question, quote=False)}</strong></p>"


@dataclass(frozen=True, repr=False)
class Exercise(_Asked):
    """One exercise with one learner's numbers; make it with `exercise`.

    Parameters
    ----------
    answer : pint.Quantity
        The right answer.
    wrong : tuple of (pint.Quantity, str)
        What known slips give, each by its name in ``slips.csv``.
    steps : tuple of str
        The solution, one idea a line.
    look : str
        Where the lesson shows the way.
    """

    answer: pint.Quantity
    wrong: tuple[tuple[pint.Quantity, str], ...]
    steps: tuple[str, ...]
    look: str

    def check(self, answer: Any = None) -> Reply:
        """Return what to say to ``answer``: text or Quantity with its unit; None means not answered yet."""
        unit, right = f"{self.answer.units:~C}", self.answer.magnitude
        if str(answer).strip() in NOTHING:
            asked = f'Replace None by your answer with its unit, such as "{show(Q_(123, unit))}"'
            return Reply(f"Not answered yet. {asked}, and run the cell: Shift+Enter.", "unanswered")
        try:
            given = number(answer, unit, "my_answer")
            way = f"Where to look: {self.look}. Go through it with your numbers, one step at a time."
        except Refusal as refusal:
            given, way = _grouped(answer, unit), refusal.remedy
        if abs(given - right) <= CLOSE * right or show(Q_(given, unit)) == show(self.answer):
            return Reply(f"Right: {show(self.answer)}.", "right")
        ends = self.answer * (1 - CLOSE), self.answer * (1 + CLOSE)
        slips = found_slips(answer, given, ends, ((value.magnitude, slip) for value, slip in self.wrong), CLOSE)
        if not slips:
            return Reply(f"Not yet. {way}", "not read" if math.isnan(given) else "not yet")
        slip = SLIPS[slips[0]]
        see = "" if slip.lesson in self.look else f" Lesson {slip.lesson} is about it."
        return Reply(f"A known slip: {slip.name}. {slip.hint}{see}", "slip", slip.name)

    def solution(self) -> str:
        """Return the worked solution."""
        return "\n".join(self.steps)


@dataclass(frozen=True, repr=False)
class Explanation(_Asked):
    """An exercise that asks for words; make it with `exercise`.

    Parameters
    ----------
    points : tuple of str
        What a good answer holds.
    turn : str
        Where answers usually go wrong.
    """

    points: tuple[str, ...]
    turn: str
    wrong: ClassVar[tuple[()]] = ()

    def solution(self) -> str:
        """Return what a good answer holds, and the usual wrong turn."""
        return "\n".join(["A good answer holds:", *(f"- {point}" for point in self.points), self.turn])

    answer = property(solution)

    def check(self, answer: str | None = None) -> Reply:
        """Return what to compare the words with; None means not answered yet."""
        if str(answer).strip() in NOTHING:
            return Reply("Not answered yet. Write your two sentences in place of None, in quotes.", "unanswered")
        return Reply(f"Compare your words with these. {self.answer}", "to compare")


def _grouped(answer: Any, unit: str) -> float:
    """Return an answer's number where commas group its thousands, as `show` prints it; nan where it is no such text."""
    with suppress(Refusal):
        return number(re.sub(r"(?<=\d),(?=\d{3}(?!\d))", "", str(answer)), unit, "my_answer")
    return math.nan


def exercise(key: str, learner: Any) -> Exercise | Explanation:
    """Return the exercise ``key`` with the numbers of this learner.

    Parameters
    ----------
    key : str
        Lesson number and letter, such as "00-a"; with x, as "00-x", it asks for words.
    learner : str or int
        Any text, or a seat's number; the same always gives the same numbers.

    Example
    -------
    >>> exercise("02-a", learner="kestrel").check("23 W").right
    False
    """
    if key not in EXERCISES:
        lesson = [one for one in EXERCISES if one[:2] == str(key)[:2]] or EXERCISES
        raise Refusal(f"the exercise {key!r}", "one that there is", f"Write one of: {', '.join(lesson)}.")
    if not isinstance(learner, (str, int)) or not str(learner).strip():
        raise Refusal(f"learner={learner!r}", "some text", 'Write for example learner="kestrel".')
    task = _TEXTS[key]
    if "points" in task:
        return Explanation(task["question"], tuple(task["points"]), task["turn"])
    for attempt in range(TRIES):
        numbers = _drawn(f"{key}/{learner}", task["numbers"], attempt)
        said, wrong = worked(task["formula"], numbers), list(slipped(task, numbers))
        right = float(said[list(task["formula"])[-1]])
        if _apart([right, *(value for value, _ in wrong)]):
            break
    answer = Q_(right, task["unit"])
    said["answer"] = show(answer)
    slips = tuple((Q_(value, task["unit"]), slip) for value, slip in wrong)
    steps = tuple(step.format(**said) for step in task["steps"])
    return Exercise(task["question"].format(**said), answer, slips, steps, task["look"])


def plain_name(who: str) -> str:
    """Return a learner's name without what makes no difference: case, spaces, and how its letters are stored."""
    return "".join(unicodedata.normalize("NFKC", who).casefold().split())


def _drawn(who: str, ranges: Mapping[str, Any], attempt: int) -> dict[str, Any]:
    """Return the numbers of a learner: one of all ways to choose them, another one for each seat and attempt."""
    word, seat = re.fullmatch(r"(.*?)([0-9]{0,4})", plain_name(who), re.DOTALL).groups()  # type: ignore[union-attr]
    sizes = [round((high - low) / step) + 1 for low, high, step in ranges.values()]
    ways = math.prod(sizes)
    stride = next(far for far in count(round(0.382 * ways)) if math.gcd(far, ways) == 1)
    first = int.from_bytes(hashlib.sha256(word.encode()).digest())
    places = np.unravel_index((first + stride * (int(seat or 0) + SEATS * attempt)) % ways, sizes, order="F")
    drawn = [round(low + step * int(at), 6) for (low, _, step), at in zip(ranges.values(), places, strict=True)]
    return {name: int(value) if value == int(value) else value for name, value in zip(ranges, drawn, strict=True)}


def _apart(values: Iterable[float]) -> bool:
    """Return whether no two values can be meant by one answer."""
    ordered = sorted(values)
    return ordered[0] > 0 and all(low * (1 + CLOSE) < high * (1 - CLOSE) for low, high in pairwise(ordered))


def guess(letter: str | None, right: str) -> str:
    """Return what to say to a learner's guess; the lesson says why.

    Example
    -------
    >>> guess("b", right="c")
    'You guessed b. Many do; right is c. Below it says what b overlooks.'
    """
    if letter is None:
        put = 'Go back to the question, put your letter in place of None, such as "a"'
        return f"No guess yet. {put}, and press Shift+Enter there; then Shift+Enter here."
    given = str(letter).strip().lower()
    if given == right:
        return f"You guessed {right}, and that is it."
    if given not in ("a", "b", "c", "d"):
        return f'"{letter}" is none of the letters. Put "a", "b", "c" or "d".'
    return f"You guessed {given}. Many do; right is {right}. Below it says what {given} overlooks."


def answer_key(key: str, learners: Iterable[Any]) -> str:
    """Return the answers of a class, one learner a line, to print; for an exercise in words, what an answer holds."""
    asked = [(learner, exercise(key, learner)) for learner in learners]
    lines = [one.answer if isinstance(one, Explanation) else f"{who}: {show(one.answer)}" for who, one in asked]
    return "\n".join(dict.fromkeys(lines))
