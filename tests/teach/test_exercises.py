"""Exercises: numbers by learner, the four replies, and no fact of the trade among the numbers."""

import tomllib
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridethrough.teach.exercises import EXERCISES, HINTS, answer_key, exercise
from ridethrough.units import Q_, Refusal, show

KEYS = pytest.mark.parametrize("key", EXERCISES)


@KEYS
def test_the_same_word_gives_the_same_numbers_and_neighbours_differ(key: str) -> None:
    assert exercise(key, "Kestrel ") == exercise(key, "kestrel")
    assert len({exercise(key, f"learner {n}").question for n in range(30)}) > 20


@KEYS
@given(learner=st.text(min_size=1).filter(str.strip))
def test_each_known_slip_gets_its_own_hint(key: str, learner: str) -> None:
    task = exercise(key, learner)
    assert task.check(task.answer).startswith("Right")
    assert task.check(task.answer * 1.01).startswith("Right")
    for value, slip in task.wrong:
        assert task.check(value) == f"A known slip: {slip}. {HINTS[slip]}"


def test_every_text_has_its_numbers() -> None:
    texts = tomllib.loads(files("ridethrough.teach").joinpath("exercises.toml").read_text(encoding="utf-8"))
    assert set(texts) == set(EXERCISES)


def test_every_slip_of_the_table_is_known_to_an_exercise_and_has_a_hint() -> None:
    assert {slip for key in EXERCISES for _, slip in exercise(key, "kestrel").wrong} == set(HINTS)
    assert all(hint.endswith((".", "?")) for hint in HINTS.values())


@KEYS
def test_what_was_not_understood_is_not_called_wrong(key: str) -> None:
    task = exercise(key, "kestrel")
    assert task.check().startswith("Not answered yet")
    for answer in ("banana", "1,5 Wh", "12", 12, "999999 " + f"{task.answer.units:~C}"):
        assert task.check(answer).startswith("Not yet")
    for reply in (task.check(), task.check("banana"), task.check(task.wrong[0][0])):
        assert f"{task.answer.magnitude:.0f}" not in reply


@KEYS
def test_the_solution_ends_in_the_answer(key: str) -> None:
    task = exercise(key, "kestrel")
    assert show(task.answer) in task.solution()


def test_the_key_of_a_class() -> None:
    assert answer_key("00-a", ["wren"]).startswith("wren: ")


def test_refusals() -> None:
    with pytest.raises(Refusal, match="00-a"):
        exercise("99-z", "kestrel")
    with pytest.raises(Refusal, match="kestrel"):
        exercise("00-a", " ")


def test_an_answer_in_another_unit_is_the_same_answer() -> None:
    task = exercise("00-a", "kestrel")
    assert task.check(Q_(task.answer.magnitude / 1000, "kWh")).startswith("Right")
