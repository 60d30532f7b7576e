"""The instructor room: the concept check's options and slips, and pages that keep what they promise."""

import re
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

import nbformat
import numpy as np
import pytest
from nbconvert import HTMLExporter

import ridethrough as rt
from ridethrough.teach import pantry
from ridethrough.teach.exercises import EXERCISES
from ridethrough.teach.formulas import SLIPS

LESSONS = Path(__file__).parents[2] / "lessons"
ROOM = LESSONS / "instructor"
PAGES = {path.stem: path.read_text(encoding="utf-8") for path in sorted(ROOM.glob("*.md"))}
QUESTIONS = tomllib.loads((ROOM / "concept-check.toml").read_text(encoding="utf-8"))["question"]
NUMBERS = {path.name[:2] for path in LESSONS.glob("*.ipynb")} | {"07", "08", "09"}
QUANTITY = re.compile(r"(\d[\d,.]*) (Wh|W|h)\b")
BLOCKS = [
    pytest.param(block, id=f"{name}{at}")
    for name, text in PAGES.items()
    for at, block in enumerate(re.findall(r"```python\n(.*?)```", text, re.DOTALL))
]


def rows(page: str, *, columns: int) -> list[list[str]]:
    """Return the cells of a page's tables of that many columns, heads left out."""
    lines = re.findall(r"^\|(.*)\|$(?!\n\|---)", PAGES[page], re.MULTILINE)
    cells = [[cell.strip() for cell in line.split("|")] for line in lines if not line.startswith("---")]
    return [row for row in cells if len(row) == columns]


def sentences(text: str) -> int:
    return len(re.findall(r"[.?!](?=[\s\"]|$)", text))


# --- The concept check -----------------------------------------------------------------------------


def test_twelve_questions_each_with_four_options_of_which_one_is_right() -> None:
    assert len(QUESTIONS) == 12
    for question in QUESTIONS:
        assert question.keys() == {"lesson", "asks", "right", *"abcd"}
        assert len({question[letter]["says"] for letter in "abcd"}) == 4
        assert [letter for letter in "abcd" if "slip" not in question[letter]] == [question["right"]]


def test_the_right_letters_are_spread() -> None:
    letters = "".join(question["right"] for question in QUESTIONS)
    assert Counter(letters) == dict.fromkeys("abcd", 3)
    assert not re.search(r"(.)\1\1", letters)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question["asks"][:30])
def test_every_wrong_option_names_a_slip_of_its_own(question: dict[str, Any]) -> None:
    named = [question[letter]["slip"] for letter in "abcd" if letter != question["right"]]
    assert len(set(named)) == 3
    assert set(named) <= SLIPS.keys()


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question["asks"][:30])
def test_options_have_one_form(question: dict[str, Any]) -> None:
    said = [question[letter]["says"] for letter in "abcd"]
    if any(map(QUANTITY.fullmatch, said)):
        assert all(map(QUANTITY.fullmatch, said))
        assert len({text.split()[1] for text in said}) == 1
    else:
        assert len({text[-1] == "." for text in said}) == 1
        assert max(len(text.split()) for text in said) <= 1.5 * min(len(text.split()) for text in said)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question["asks"][:30])
def test_numbers_are_what_is_reckoned(question: dict[str, Any]) -> None:
    for option in (question[letter] for letter in "abcd"):
        if QUANTITY.fullmatch(option["says"]):
            assert "reckoned" in option
        if "reckoned" in option:
            digits = QUANTITY.findall(option["says"])[-1][0].replace(",", "")
            places = len(digits.partition(".")[2])
            assert f"{eval(option['reckoned']):.{places}f}" == digits, option


def test_every_lesson_up_to_ten_is_asked_about() -> None:
    assert {question["lesson"] for question in QUESTIONS} == {f"{number:02}" for number in range(11)}


def test_the_sheet_to_hand_out_gives_nothing_away() -> None:
    notebook = nbformat.read(ROOM / "concept-check.ipynb", as_version=4)
    sheet, key, *_ = [cell.outputs[0].data["text/markdown"] for cell in notebook.cells if cell.get("outputs")]
    named = {question[letter].get("slip") for question in QUESTIONS for letter in "abcd"} - {None}
    assert all(question["asks"].strip() in sheet for question in QUESTIONS)
    assert not [slip for slip in named if slip in sheet]
    assert all(slip in key for slip in named)


def test_on_paper_the_key_begins_a_page_and_no_code_is_printed() -> None:
    page, _ = HTMLExporter(exclude_input=True).from_filename(str(ROOM / "concept-check.ipynb"))
    sheet, key = page.split("One letter each.")[1].split('style="break-before: page"')
    assert sheet.count('style="break-inside: avoid"') == len(QUESTIONS)
    assert key.index("The key, for the instructor only") < key.index(QUESTIONS[0]["c"]["says"].rstrip("."))
    assert "tomllib" not in page


# --- The pages -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", PAGES)
def test_every_link_leads_somewhere(name: str) -> None:
    links = re.findall(r"\]\(([^)#]+)\)", PAGES[name])
    assert [link for link in links if not (ROOM / link).exists()] == []


def test_the_room_names_all_that_is_in_it() -> None:
    named = set(re.findall(r"\]\(([^)#]+)\)", PAGES["README"]))
    assert named == {path.name for path in ROOM.glob("*.*") if path.suffix in (".md", ".ipynb")} - {"README.md"}


@pytest.mark.parametrize("name", [name for name, text in PAGES.items() if re.search(r"\bminutes?\b", text)])
def test_minutes_are_marked_untested(name: str) -> None:
    assert re.search("untested", PAGES[name], re.IGNORECASE)


@pytest.mark.parametrize("block", BLOCKS)
def test_what_can_be_typed_runs(block: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    exec(block, {})


@pytest.mark.parametrize("name", PAGES)
def test_names_of_the_kit_exist(name: str) -> None:
    assert [word for word in re.findall(r"\brt\.(\w+)", PAGES[name]) if not hasattr(rt, word)] == []


def test_the_notes_of_all_lessons_come_out_on_one_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    exec(re.search(r"```python\n(.*?)```", PAGES["lesson-notes"], re.DOTALL)[1], {})  # type: ignore[index]
    text = Path("all-notes.md").read_text(encoding="utf-8")
    assert text.count("<details open>") == text.count("\n# ") + 1 == len(list(LESSONS.glob("*.ipynb")))


def test_each_lesson_has_its_line_in_both_tables() -> None:
    for columns, first in ((4, r"(\d\d) \w"), (3, r"(\d\d)$")):
        found = [match[1] for row in rows("lesson-notes", columns=columns) if (match := re.match(first, row[0]))]
        assert found == [f"{number:02}" for number in range(12)]


def test_the_slips_to_listen_for_are_slips() -> None:
    listened = [row[2] for row in rows("lesson-notes", columns=3) if re.fullmatch(r"\d\d", row[0])]
    assert len(listened) == 12
    assert set(listened) <= SLIPS.keys()


def test_replies_have_two_sentences_and_a_lesson() -> None:
    points = [row for row in rows("argued-points", columns=3) if row[0].startswith('"')]
    assert len(points) >= 15
    for said, reply, see in points:
        assert sentences(reply) == 2, said
        assert set(see.split(", ")) <= NUMBERS, said


def test_samples_cover_three_levels_in_at_most_two_sentences() -> None:
    parts = re.split(r"^\*\*(\d\d-x)\*\*", PAGES["explain-it"], flags=re.MULTILINE)[1:]
    assert len(parts) >= 8
    for key, text in zip(parts[::2], parts[1::2], strict=True):
        assert key in EXERCISES
        answers = re.findall(r'^\| ([210]) \| "(.+?)" \|', text, re.MULTILINE)
        assert [level for level, _ in answers] == ["2", "1", "0"]
        assert all(sentences(answer) <= 2 for _, answer in answers)


def test_what_to_expect_is_what_the_pantrys_log_shows() -> None:
    log = pantry.kitchen_log()
    found = [row for row in rows("classroom-measurement", columns=4) if re.match(r"\d+ (minutes|hours)$", row[0])]
    assert len(found) == 3
    for row in found:
        number, unit = row[0].split()
        hours = int(number) / (60 if unit == "minutes" else 1)
        means = []
        for start in np.arange(0, log.start_s[-1] - hours * 3600, 900):
            inside = (log.start_s >= start) & (log.start_s < start + hours * 3600)
            seconds = log.duration_s[inside]
            if seconds.sum() > 0.99 * hours * 3600:  # the logger was pulled for 40 minutes
                means.append((log.power_w[inside] * seconds).sum() / seconds.sum())
        low, high = np.quantile(means, [0.1, 0.9])
        assert row[1] == f"{low:.0f} to {high:.0f} W"
        assert row[2] == f"{min(means):.0f} to {max(means):.0f} W"
        assert row[3] == f"{10 / hours:.2g} W"


# --- The projector ---------------------------------------------------------------------------------


def test_the_projector_shows_every_panel_and_no_code() -> None:
    cells = nbformat.read(ROOM / "projector.ipynb", as_version=4).cells
    code = [cell for cell in cells if cell.cell_type == "code"]
    assert all(cell.metadata["jupyter"]["source_hidden"] for cell in code)
    shown = [match[1] for cell in code if (match := re.fullmatch(r'large\("(\d\d)"\)', cell.source))]
    with_panel = [path.name[:2] for path in sorted(LESSONS.glob("*.ipynb")) if "panel = " in path.read_text("utf-8")]
    assert shown == with_panel
