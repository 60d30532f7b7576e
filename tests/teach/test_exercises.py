"""Exercises: one formula each, numbers by learner, the four replies, and no fact of the trade among the numbers."""

import csv
import math
import re
from dataclasses import replace
from importlib.resources import files
from itertools import combinations, pairwise
from pathlib import Path

import nbformat
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridethrough.teach.exercises import _TEXTS, CLOSE, EXERCISES, Exercise, Explanation, Reply, answer_key, exercise
from ridethrough.teach.formulas import SLIPS, texts
from ridethrough.units import Q_, Refusal, show

NUMBERS = [key for key in EXERCISES if "formula" in _TEXTS[key]]
WORDS = [key for key in EXERCISES if "points" in _TEXTS[key]]
KEYS = pytest.mark.parametrize("key", NUMBERS)
CLASS = [*range(1, 31), *(f"anna{n}" for n in range(1, 31)), *(f"learner {n} of many" for n in range(140))]
FACTS = {  # numbers that the trade quotes; tests/teach/test_scenario.py keeps them out of the scenario
    "W": {13, 14, 18, 20, 27, 37, 47},
    "Wh": {168, 216, 312, 648, 650, 866, 1300, 1440, 2664, 5340, 6000, 6564, 7896, 15316, 16996},
}
_UNITS = files("ridethrough.teach").joinpath("unit_slips.csv").read_text(encoding="utf-8")
UNIT_SLIPS = [row["slip"] for row in csv.DictReader(_UNITS.splitlines())]


def numeric(key: str, learner: object) -> Exercise:
    found = exercise(key, learner)
    assert isinstance(found, Exercise)
    return found


def told(answer: object, reply: str) -> bool:
    """Return whether a reply gives the answer away; a day's 24 h tell nothing of 4 h."""
    return re.search(rf"(?<![\d.,]){re.escape(show(answer))}", reply) is not None


# -- numbers ---------------------------------------------------------------------------------------------------------


@KEYS
def test_for_two_hundred_learners_each_answer_is_right_and_each_slip_gets_its_own_hint(key: str) -> None:
    assert len(CLASS) == 200
    for learner in CLASS:
        task = numeric(key, learner)
        assert task.check(task.answer).right
        assert task.check(task.answer * 1.015).right
        for value, slip in task.wrong:
            reply = task.check(value)
            assert reply.kind == "slip"
            assert reply.startswith(f"A known slip: {slip}. {SLIPS[slip].hint}")
            assert not told(task.answer, reply)


@KEYS
def test_no_two_of_an_exercises_values_can_be_meant_by_one_answer(key: str) -> None:
    for learner in CLASS:
        task = numeric(key, learner)
        values = [task.answer.magnitude, *(value.magnitude for value, _ in task.wrong)]
        assert min(values) > 0
        assert all(abs(a - b) > CLOSE * (a + b) * 0.999 for a, b in combinations(values, 2))


@KEYS
def test_the_same_word_gives_the_same_numbers_and_seats_side_by_side_never_do(key: str) -> None:
    assert exercise(key, "Kestrel ") == exercise(key, "kestrel")
    assert exercise(key, "anna 7") == exercise(key, "Anna7")
    for word in ("", "anna", "seat"):
        assert len({numeric(key, f"{word}{n}").question for n in range(1, 31)}) == 30
    assert exercise(key, 7) == exercise(key, "7")
    ways = math.prod(round((high - low) / step) + 1 for low, high, step in _TEXTS[key]["numbers"].values())
    assert ways >= 300
    words = ["kestrel", "wren", "dipper", "heron", "swift", "Jürgen", "李", "o'neill", "x", "twelve words or so"]
    assert len({numeric(key, word).question for word in words}) > 8


def test_numbers_are_those_of_every_version_and_machine() -> None:
    """Written down once: a printed key must hold next year."""
    assert exercise("00-a", "kestrel").question == GOLDEN["00-a"]
    assert exercise("07-a", "seat 12").question == GOLDEN["07-a"]


GOLDEN = {
    "00-a": "A circulation pump draws 62 W without a break. How much energy does it take in 11 h?",
    "07-a": "A freezer takes 565 Wh a day. In conversion another 11 % of that is lost, and the unit takes 16 W to be "
    "on. It will be 95 % full when the power fails, and it gives up 89 % before it switches off. How much must be "
    "printed on it for 5 days, without any margin?",
}


@settings(max_examples=20, deadline=None)
@given(learner=st.text(min_size=1).filter(str.strip))
def test_any_text_is_a_learner(learner: str) -> None:
    for key in NUMBERS[::6]:
        task = numeric(key, learner)
        assert task.check(task.answer).right


@KEYS
def test_no_number_that_is_given_is_a_fact_of_the_trade(key: str) -> None:
    for learner in CLASS:
        for number, unit in re.findall(r"([\d,.]*\d) (Wh|W)\b", exercise(key, learner).question):
            assert float(number.replace(",", "")) not in FACTS[unit], (key, number, unit)


@KEYS
def test_powers_and_energies_are_those_of_a_household(key: str) -> None:
    most = {"W": 1200, "Wh": 10_000, "h": 150, "day": 10, "Ah": 30, "L": 6, "%": 100}
    for learner in CLASS:
        answer = numeric(key, learner).answer
        assert 0 < answer.magnitude < most[_TEXTS[key]["unit"]], (key, answer)


# -- texts -----------------------------------------------------------------------------------------------------------


def test_every_lesson_has_exercises_from_recall_to_words() -> None:
    assert len(NUMBERS) >= 40
    for lesson in range(12):
        assert sum(key.startswith(f"{lesson:02}-") for key in NUMBERS) >= 3
        assert f"{lesson:02}-x" in WORDS


def test_every_slip_is_used_and_has_a_hint_and_a_lesson() -> None:
    used = {slip for key in NUMBERS for slip in _TEXTS[key]["slips"]}
    assert used | set(UNIT_SLIPS) | {"watts per hour"} == set(SLIPS)
    assert len(SLIPS) >= 25
    for slip in SLIPS.values():
        assert slip.hint.endswith((".", "?"))
        assert slip.lesson in {f"{lesson:02}" for lesson in range(12)}


@KEYS
def test_where_to_look_is_there(key: str) -> None:
    lesson, section = re.fullmatch(r'Lesson (\d\d), (?:"(.+)"|where .+)', _TEXTS[key]["look"]).groups()  # type: ignore[union-attr]
    if section:
        [file] = Path(__file__).parents[2].joinpath("lessons").glob(f"{lesson}-*.ipynb")
        text = "\n".join(cell.source for cell in nbformat.read(file, 4).cells)
        heads = re.findall(r"^## (?:More: )?(.+?)(?: \(\*more\*\))?$", text, re.MULTILINE)
        assert section.casefold() in [head.casefold() for head in heads]


@KEYS
def test_the_solution_ends_in_the_answer_and_its_arithmetic_holds(key: str) -> None:
    for learner in CLASS[:60]:
        task = numeric(key, learner)
        assert show(task.answer) in task.solution()
        assert "{" not in task.question + task.solution()
        for left, right in equations(task.solution()):
            assert left == pytest.approx(right, rel=0.012, abs=0.06), (key, task.solution())
        assert equations(task.solution()) or key == "02-a"


def equations(solution: str) -> list[tuple[float, float]]:
    """Return both sides of what can be read as arithmetic in a solution: "62 W x 5 h = 310 Wh"."""
    found, units = [], r"(?<=[\d)]) (?:kWh|Wh|VA|Ah|W|V|A|h|L|litres|EUR|min|days)\b(?: a day| an hour)?"
    for line in solution.replace(",", "").splitlines():
        sides = re.sub(units, "", line).split(" = ")
        for before, after in pairwise(sides):
            left = re.search(r"(?:^|[a-wyz:] )([\d(][\d.( )+x/-]*)$", before)
            right = re.match(r"([\d.]*\d(?: [+x/-] [\d.]*\d)*)( %)?", after)
            if left and right and " " in left[1]:
                found.append(
                    (eval(left[1].replace("x", "*")) * (100 if right[2] else 1), eval(right[1].replace("x", "*")))
                )
    return found


def test_arithmetic_that_does_not_hold_is_seen() -> None:
    assert equations("62 W x 5 h = 310 Wh.") == [(310.0, 310.0)]
    assert equations("So: 1,000 Wh / (30 W + 10 W) = 26 h.") == [(25.0, 26.0)]
    assert equations("A day: 2 Wh + 1 Wh = 3 Wh = 5 W x 1 h = 5 Wh") == [(3.0, 3.0), (5.0, 5.0)]


# -- replies ---------------------------------------------------------------------------------------------------------


@KEYS
def test_what_was_not_understood_is_not_called_wrong(key: str) -> None:
    task = numeric(key, "kestrel")
    unit = show(task.answer).rsplit(" ", 1)[1]
    assert task.check().kind == task.check(" ").kind == "unanswered"
    assert task.check().startswith("Not answered yet")
    for answer in ("banana", f"1,5 {unit}", "12", 12, "5 degC", f"about 12 {unit}", f"999999 {unit}"):
        assert task.check(answer).kind == ("not yet" if "999999" in str(answer) else "not read"), answer
        assert task.check(answer).startswith("Not yet")
    assert _TEXTS[key]["look"] in task.check(f"999999 {unit}")
    for reply in (task.check(), task.check("banana"), task.check("999999 " + unit)):
        assert not told(task.answer, reply)


@KEYS
def test_the_answer_as_it_is_printed_is_right(key: str) -> None:
    for learner in CLASS:
        task = numeric(key, learner)
        assert task.check(show(task.answer)).right, (learner, show(task.answer))


def test_a_comma_that_groups_no_thousands_is_not_read() -> None:
    task = replace(numeric("00-a", "kestrel"), answer=Q_(1500, "Wh"))
    assert task.check("1,500 Wh").right
    for answer in ("1,500 kWh", "15,00 Wh", "1,5 kWh"):
        assert "decimal mark" in task.check(answer)


def test_the_reply_names_what_stands_in_the_cell() -> None:
    assert 'Write for example my_answer="' in numeric("00-a", "kestrel").check("7 h")


@KEYS
def test_an_answer_in_another_unit_of_its_kind_is_the_same_answer(key: str) -> None:
    task, other = numeric(key, "kestrel"), {"Wh": "kWh", "W": "kW", "h": "min", "day": "h", "L": "gal", "Ah": "mAh"}
    unit = _TEXTS[key]["unit"]
    assert task.check(f"{task.answer.magnitude:.6f} {unit}").right
    if unit in other:
        assert task.check(task.answer.to(str(Q_(1, other[unit]).units))).right


@KEYS
def test_the_right_number_with_another_unit_is_a_slip_of_the_unit(key: str) -> None:
    pairs = [
        ("Wh", "W"),
        ("Wh", "kWh"),
        ("Wh", "Ah"),
        ("W", "Wh"),
        ("W", "kW"),
        ("W", "VA"),
        ("h", "days"),
        ("h", "Wh"),
        ("day", "h"),
    ]
    for learner in CLASS[:40]:
        task = numeric(key, learner)
        for asked, given_unit in pairs:
            if asked == _TEXTS[key]["unit"]:
                reply = task.check(f"{task.answer.magnitude:.4f} {given_unit}")
                assert reply.kind == "slip"
                assert reply.slip in UNIT_SLIPS
                assert not told(task.answer, reply)
        if _TEXTS[key]["unit"] in ("W", "Wh"):
            assert task.check(f"{task.answer.magnitude:.4f} watts per hour").slip == "watts per hour"


def test_slips_that_were_not_recognised() -> None:
    first = numeric("00-a", "kestrel")
    assert first.check(f"{first.answer.magnitude:g} W").slip == "watts for watt-hours"
    fourth = numeric("04-a", "kestrel")
    charge, volts = map(float, re.findall(r"([\d.]+) Ah, ([\d.]+) V", fourth.question)[0])
    assert fourth.check(f"{charge * volts / 2} Wh").slip == "half taken for every battery"


def test_a_reply_is_a_sentence_and_can_be_asserted() -> None:
    task = numeric("02-a", "kestrel")
    reply = task.check(task.answer)
    assert reply.right
    assert isinstance(reply, str)
    assert repr(reply) == str(reply) == f"Right: {show(task.answer)}."
    assert not task.check("999 W").right
    assert Reply("Not yet.").kind == "not yet"


@pytest.mark.parametrize("key", WORDS)
def test_words_are_compared_and_not_marked(key: str) -> None:
    task = exercise(key, "kestrel")
    assert isinstance(task, Explanation)
    assert task.wrong == ()
    assert task.check().kind == "unanswered"
    reply = task.check("The box is a tank. Something takes from it.")
    assert reply.kind == "to compare"
    assert not reply.right
    assert all(point in reply for point in task.points)
    assert task.turn in task.solution() == task.answer
    assert len(task.points) == 3


def test_the_key_of_a_class() -> None:
    assert answer_key("00-b", ["wren", 3]).splitlines()[1] == f"3: {show(exercise('00-b', 3).answer)}"
    assert answer_key("00-x", ["wren", "dipper"]) == exercise("00-x", "wren").answer


def test_it_is_shown_as_a_paragraph() -> None:
    task = exercise("00-x", "kestrel")
    assert task._repr_html_() == f"<p><strong>{task.question}</strong></p>"
    assert repr(task) == task.question


def test_refusals() -> None:
    with pytest.raises(Refusal, match=r"Write one of: 02-a, 02-b, 02-c, 02-d, 02-e, 02-x\."):
        exercise("02-z", "kestrel")
    with pytest.raises(Refusal, match="00-a"):
        exercise("99-z", "kestrel")
    for learner in (" ", None, 3.5):
        with pytest.raises(Refusal, match="kestrel"):
            exercise("00-a", learner)


def test_the_texts_are_whole() -> None:
    for key, task in texts("exercises.toml").items():
        assert re.fullmatch(r"(0\d|1[01])-[a-x]", key)
        kind = {"question", "points", "turn"} if "points" in task else {"question", "numbers", "unit", "steps", "look",
                                                                         "formula", "slips"}  # fmt: skip
        assert set(task) == kind
        assert task["question"].endswith((".", "?"))
