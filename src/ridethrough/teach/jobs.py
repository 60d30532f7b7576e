"""The command's jobs: papers for a class and their marking, the kit as pages, and a folder to install it from.

A learner's name gives the numbers. Names and answers are kept nowhere but in the papers that were asked for, and no
page asks the network for anything. Looks stand in ``pages/``, words in ``jobs.toml`` and ``refusals.csv``.
"""

from __future__ import annotations

import platform
import re
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import nbformat
import pandas as pd

from ..measure.layout import split_by, text_of
from ..units import Refusal, rows_beside
from .exercises import EXERCISES, exercise, plain_name
from .export import panel_of, title_of
from .formulas import SLIPS, texts
from .panels import SLEEPING
from .scenario import kit_folder, writing
from .sheet import FOLDER, render

SPLITS = ("\x1f", ",", ";", "\t", "|")  # what may part columns; the first stands in no text, and leaves lines whole
HEADS = {"name", "names", "learner", "learners", "student", "students", "pupil", "pupils"}
FIRST = {"first name", "given name"}  # beside one of these "name" is a part of the name only
_REFUSALS = {row.pop("why"): row for row in rows_beside(__file__, "refusals.csv")}


class ClassTable(NamedTuple):
    """A class: what parts its columns, their names, and by learner what stands in each."""

    split: str
    head: list[str]
    rows: Mapping[str, Mapping[str, str]]


def refusal(why: str, **facts: Any) -> Refusal:
    """Return the refusal of that name, its blanks filled with ``facts``."""
    return Refusal(**{part: words.format(**facts) for part, words in _REFUSALS[why].items()})


def _done(job: str, **facts: Any) -> str:
    """Return what is said when a job is done, its blanks filled with ``facts``."""
    return str(texts("jobs.toml")[job]["done"]).strip().format(**facts)


def fresh(folder: str | Path) -> Path:
    """Return a folder that is new or empty, made where there is none; refuse one with something in it."""
    place = Path(folder)
    with writing(place, "Choose another: --out ..."):
        place.mkdir(parents=True, exist_ok=True)
        held = next(place.iterdir(), None)
    if held:
        raise refusal("not empty", place=place, held=held.name)
    return place


# -- a class's papers ------------------------------------------------------------------------------


def read_class(path: str | Path) -> ClassTable:
    """Return the learners of a list, with what stands beside them.

    Parameters
    ----------
    path : str or path
        A text file with one name a line; or a table, in CSV with any separator, with a column "name" or "learner".

    Raises
    ------
    Refusal
        If there is no learner, a name is missing or stands twice, or a row is wider than the heading.
    """
    file = Path(path)
    split, rows = _split(file)
    named = _named(rows[0][1])
    head = rows[0][1] if named else [""]
    learners, lines = dict[str, Mapping[str, str]](), dict[str, int]()
    for line, row in rows[1:] if named else rows:
        name = " ".join(row[at] for at in named or [0] if at < len(row)).strip()
        _check(f"{file.name}, line {line}", row, len(head), name, lines.get(plain_name(name)))
        if name:
            learners[name], lines[plain_name(name)] = dict(zip(head, row, strict=False)), line
    if not learners:
        raise refusal("no learner", file=file.name)
    return ClassTable(split, head, learners)


def _split(file: Path) -> tuple[str, list[tuple[int, list[str]]]]:
    """Return what parts a file's columns, going by the heading that names the learner, and its rows by their lines."""
    try:
        text = text_of(file)
        tables = [(split, [*split_by(text, split, file.name)] or [(1, [""])]) for split in SPLITS]
    except Refusal as found:
        raise refusal("no list", given=found.given) from None
    named = [(split, rows) for split, rows in tables if _named(rows[0][1])]
    return max(named or tables[:1], key=lambda table: len(table[1][0][1]))


def _named(head: Sequence[str]) -> list[int]:
    """Return which cells of a heading stand for the learner's name, or for its parts."""
    cells = [cell.casefold() for cell in head]
    parts = [at for at, cell in enumerate(cells) if len(cells) > 1 and "name" in cell.split()]
    whole = HEADS - ({"name"} if FIRST & {*cells} else set())
    return [at for at, cell in enumerate(cells) if cell in whole][:1] or parts


def _check(here: str, row: Sequence[str], width: int, name: str, before: int | None) -> None:
    """Refuse a row that could be taken for another one."""
    if any(row[width:]):
        raise refusal("odd row", here=here, count=len(row), width=width, first=row[0], second=row[1])
    if width == 1 and any(mark in name for mark in SPLITS[2:]):
        raise refusal("no heading", here=here, name=name)
    if any(row) and not name:
        raise refusal("no name", here=here)
    if name and before:
        raise refusal("twice", here=here, name=name, before=before)


def write_papers(table: str | Path, exercises: Sequence[str], out: str | Path) -> str:
    """Write a class's worksheets, the key and an empty table for its answers; return what comes next.

    Parameters
    ----------
    table : str or path
        The class list, as `read_class` takes it.
    exercises : sequence of str
        Such as "00-b"; those with x ask for words.
    out : str or path
        A folder, new or empty.
    """
    listed, keys = read_class(table), list(dict.fromkeys(exercises))
    asked = {who: {key: exercise(key, who) for key in keys} for who in listed.rows}
    place, names = fresh(out), list(asked)
    for page in ("worksheets.html", "key.html"):
        told = render(page, asked=asked, keys=keys, known_slips=SLIPS)
        (place / page).write_text(told, encoding="utf-8")
    _write_csv(pd.DataFrame({"learner": names} | dict.fromkeys(keys, "")), place / "answers.csv", listed.split)
    return _done("papers", count=len(names), first=names[0], last=names[-1], out=place)


def _write_csv(table: pd.DataFrame, file: Path, split: str) -> None:
    """Write a table with the separator of the one that it comes from, so that a spreadsheet opens both alike."""
    table.to_csv(file, index=False, sep="," if split == SPLITS[0] else split, encoding="utf-8-sig", lineterminator="\n")


def write_marked(table: str | Path, out: str | Path) -> str:
    """Write a class's answers marked, as a table and as a page with a picture of its slips; return its sentence.

    Parameters
    ----------
    table : str or path
        A column "learner" (or "name"), and one for each exercise, named as "00-b": text with units, nothing where
        there is no answer. Other columns are left alone.
    out : str or path
        A folder, new or empty.
    """
    listed = read_class(table)
    keys = [column for column in listed.head if column in EXERCISES]
    if not keys or len(set(keys)) < len(keys):
        raise refusal("no exercises", file=Path(table).name, columns=", ".join(listed.head))
    marked = pd.DataFrame(_marked(who, key, row.get(key, "")) for who, row in listed.rows.items() for key in keys)
    slips = marked[marked["kind"] == "slip"].value_counts(["exercise", "slip"]).reset_index(name="learners")
    sentence, place, by_learner = _told(marked, slips), fresh(out), marked.groupby("learner", sort=False)
    page = render("marked.html", learners=by_learner, keys=keys, slips=slips, sentence=sentence)
    (place / "marked.html").write_text(page, encoding="utf-8")
    _write_csv(marked, place / "marked.csv", listed.split)
    other = ", ".join(column for column in listed.head if column.casefold() not in {*EXERCISES, *HEADS}) or "none"
    return _done("mark", sentence=sentence, out=place, other=other)


def _marked(who: str, key: str, answer: str) -> dict[str, str]:
    """Return what is said to one answer, with the slip and the lesson that is about it.

    A comma between digits is a decimal mark or groups thousands, whichever makes the answer right or a known slip.
    """
    replies = [exercise(key, who).check(text) for text in (re.sub(r"(?<=\d),(?=\d)", ".", answer), answer)]
    reply = max(replies, key=lambda reply: (reply.right, reply.kind == "slip", reply.kind == "not yet"))
    lesson = SLIPS[reply.slip].lesson if reply.slip else ""
    said = "" if reply.kind in ("unanswered", "to compare") else reply.replace("my_answer=", "")
    return {"learner": who, "exercise": key, "answer": answer, "kind": reply.kind, "slip": reply.slip or "",
            "lesson": lesson, "said": said}  # fmt: skip


def _told(marked: pd.DataFrame, slips: pd.DataFrame) -> str:
    """Return how often a class was right, was not read and slipped, by exercise."""
    kinds = [(key, kind.tolist()) for key, kind in marked.groupby("exercise", sort=False)["kind"]]
    right = ", ".join(f"{key} {kind.count('right')}" for key, kind in kinds if not str(key).endswith("x"))
    unread = ", ".join(f"{key} {kind.count('not read')}" for key, kind in kinds if "not read" in kind)
    often = "; ".join(f"{row.exercise}: {row.slip} ({row.learners})" for row in slips.itertuples())
    size = marked["learner"].nunique()
    told = f"Learners: {size}. Right: {right or 'not counted'}. Slips: {often or 'none that is known'}."
    return told + (f" Not read, each with its reason: {unread}." if unread else "")


# -- the kit without a network -----------------------------------------------------------------------


def write_pages(out: str | Path) -> str:
    """Write every lesson as a page, the page of its panel, and an index; return where to begin.

    Code that the lessons hide is left out, and so is what only a running lesson has a use for.

    Parameters
    ----------
    out : str or path
        A folder, new or empty.
    """
    place, told = fresh(out), []
    for lesson in sorted(kit_folder("lessons").glob("*.ipynb")):
        told.append(_write_lesson(lesson, place))
        print(place / told[-1]["page"], flush=True)
    (place / "index.html").write_text(render("index.html", lessons=told), encoding="utf-8")
    return _done("pages", count=len(told), out=place)


def _write_lesson(lesson: Path, place: Path) -> dict[str, str]:
    """Write a lesson's two pages and return what the index says of it."""
    from nbconvert import HTMLExporter

    told = {"page": f"{lesson.stem}.html", "panel": "", "title": title_of(lesson)}
    told["question"] = nbformat.read(lesson, as_version=4).cells[0].source.split("\n\n")[1].replace("*", "")
    exporter = HTMLExporter(template_name="basic", template_file=str(FOLDER / "lesson.html"),
                            exclude_anchor_links=True)  # fmt: skip
    page, _ = exporter.from_filename(str(lesson), told)
    if SLEEPING in page:  # it shows a panel
        told["panel"] = panel_of(lesson).export(place / f"{lesson.stem}-panel.html", title=told["title"]).name
        page = page.replace(SLEEPING, f'<a href="{told["panel"]}">Move its sliders.</a>')
    (place / told["page"]).write_text(page, encoding="utf-8")
    return told


def write_wheels(out: str | Path) -> str:
    """Write the kit's own wheel and those of all that it needs, in the pinned versions; return how to install them.

    Parameters
    ----------
    out : str or path
        A folder, new or empty.

    Raises
    ------
    Refusal
        If this is no checkout of the kit, or pip fails.
    """
    pins = kit_folder("binder") / "requirements.txt"
    if not pins.is_file():
        raise refusal("no checkout", place=pins.parent)
    place, kit = fresh(out), pins.parents[1]
    asked = [sys.executable, "-m", "pip", "wheel", "-q", "-c", str(pins), "-w", str(place), str(kit)]
    ran = subprocess.run(asked, capture_output=True, text=True)
    if ran.returncode:
        raise refusal("pip failed", last=next(filter(None, ran.stderr.splitlines()), f"status {ran.returncode}"))
    python, count = ".".join(platform.python_version_tuple()[:2]), len(list(place.iterdir()))
    return _done("wheels", count=count, python=python, out=place, name=place.name)
