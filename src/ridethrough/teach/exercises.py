"""Exercises that draw their numbers from a learner's code: neighbours differ, and a key can be printed for a class."""

from __future__ import annotations

import zlib

import numpy as np

from ..units import Refusal, show
from .checking import HINTS as HINTS
from .checking import Exercise
from .questions import EXERCISES


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
    seed = zlib.crc32(f"{key}/{learner.strip().lower()}".encode())
    return EXERCISES[key](np.random.default_rng(seed))


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
