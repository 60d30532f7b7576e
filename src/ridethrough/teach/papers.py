"""Papers for a class: sheets to write on, their key, and the learners' answers marked.

A learner's name gives the numbers. Names and answers are kept nowhere but in the papers that were asked for. Their
looks stand in ``pages/``, what is said of them in ``jobs.toml`` and ``refusals.csv``.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from ..measure.layout import Place, head_of, split_by
from ..units import Refusal
from .exercises import EXERCISES, exercise
from .figures import canvas, svg
from .figures.base import About, beside
from .figures.palette import SHORT
from .formulas import SLIPS, _rows, texts
from .panels import View
from .sheet import _TEMPLATES

SPLITS = ("\x1f", ",", ";", "\t", "|")  # what may part columns; the first stands in no text, and leaves lines whole
HEADS = {"name", "names", "learner", "learners", "student", "students", "pupil", "pupils"}
MOST = 12  # slips that a picture has room for
LONGEST = 60  # characters beside its bars
JOBS = texts("jobs.toml")
_REFUSALS = {why: words for why, *words in _rows("refusals.csv")}
_TEMPLATES.globals["known_slips"] = SLIPS


class ClassTable(NamedTuple):
    """A class: what parts its columns, their names, and by learner what stands in each."""

    split: str
    head: list[str]
    rows: Mapping[str, Mapping[str, str]]


def refusal(why: str, **facts: Any) -> Refusal:
    """Return the refusal of that name, its blanks filled with ``facts``."""
    return Refusal(*(words.format(**facts) for words in _REFUSALS[why]))


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
    learners: dict[str, Mapping[str, str]] = {}
    lines: dict[str, int] = {}
    for line, row in rows[1:] if named else rows:
        name = " ".join(row[at] for at in named or [0] if at < len(row)).strip()
        same = "".join(unicodedata.normalize("NFKC", name).casefold().split())
        _check(f"{file.name}, line {line}", row, len(head), name, lines.get(same))
        if name:
            learners[name], lines[same] = dict(zip(head, row, strict=False)), line
    if not learners:
        raise refusal("no learner", file=file.name)
    return ClassTable(split, head, learners)


def _split(file: Path) -> tuple[str, list[tuple[int, list[str]]]]:
    """Return what parts a file's columns, going by the heading that names the learner, and its rows by their lines."""
    try:
        text, encoding, whole = head_of(file, Place(file.name))
        text = text if whole else file.read_text(encoding=encoding)
        tables = [(split, [*split_by(text, split, Place(file.name))] or [(1, [""])]) for split in SPLITS]
    except Refusal as found:
        raise refusal("no list", given=found.given) from None
    return max(tables, key=lambda table: len(table[1][0][1]) if _named(table[1][0][1]) else 0)


def _named(head: Sequence[str]) -> list[int]:
    """Return which cells of a heading stand for the learner's name, or for its parts."""
    cells = [cell.casefold() for cell in head]
    parts = [at for at, cell in enumerate(cells) if len(cells) > 1 and "name" in cell.split()]
    return [at for at, cell in enumerate(cells) if cell in HEADS][:1] or parts


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


def fresh(folder: str | Path) -> Path:
    """Return a folder that is new or empty, made where there is none; refuse one with something in it."""
    place = Path(folder)
    try:
        place.mkdir(parents=True, exist_ok=True)
        held = next(place.iterdir(), None)
    except OSError as error:
        raise refusal("not written", place=place, error=error.strerror) from None
    if held:
        raise refusal("not empty", place=place, held=held.name)
    return place


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
        (place / page).write_text(_TEMPLATES.get_template(page).render(asked=asked, keys=keys), encoding="utf-8")
    _write_csv(pd.DataFrame({"learner": names} | dict.fromkeys(keys, "")), place / "answers.csv", listed.split)
    return JOBS["papers"]["done"].strip().format(count=len(names), first=names[0], last=names[-1], out=place)


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
    view, figure, place = class_view(marked), canvas(), fresh(out)
    view.draw(figure)
    context = {"learners": marked.groupby("learner", sort=False), "keys": keys, "view": view, "picture": svg(figure)}
    (place / "marked.html").write_text(_TEMPLATES.get_template("marked.html").render(context), encoding="utf-8")
    _write_csv(marked, place / "marked.csv", listed.split)
    other = ", ".join(column for column in listed.head if column.casefold() not in {*EXERCISES, *HEADS}) or "none"
    return JOBS["mark"]["done"].strip().format(sentence=view.text, out=place, other=other)


def _marked(who: str, key: str, answer: str) -> dict[str, str]:
    """Return what is said to one answer, with the slip and the lesson that is about it."""
    reply = exercise(key, who).check(answer)
    lesson = SLIPS[reply.slip].lesson if reply.slip else ""
    return {"learner": who, "exercise": key, "answer": answer, "kind": reply.kind, "slip": reply.slip or "",
            "lesson": lesson, "said": str(reply)}  # fmt: skip


def class_view(marked: pd.DataFrame) -> View:
    """Return how often a class slipped, by exercise: sentence, table and picture.

    Parameters
    ----------
    marked : pandas.DataFrame
        Columns: learner, exercise, kind, slip.
    """
    size, kinds = marked["learner"].nunique(), marked.groupby("exercise", sort=False)["kind"]
    right = [f"{key} {(kind == 'right').sum()}" for key, kind in kinds if not str(key).endswith("x")]
    slips = marked[marked["kind"] == "slip"].value_counts(["exercise", "slip"])
    told = [f"{key}: {slip}" for key, slip in slips.index]
    often = "; ".join(f"{each} ({count})" for each, count in zip(told, slips, strict=True)) or "none that is known"
    text = f"Learners: {size}. Right: {', '.join(right) or 'not counted'}. Slips: {often}."

    def picture(axes: Axes) -> About:
        axes.figure.subplots_adjust(left=0.55, right=0.94)
        for row, (each, count) in enumerate(zip(told[:MOST], slips, strict=False)):
            axes.barh(row, count, height=0.6, color=SHORT)
            beside(axes, row, each, -0.02, ha="right", fontsize=12.5 * min(1, LONGEST / len(each)))
            axes.text(count, row, f"  {count}", va="center", fontweight="bold")
        axes.xaxis.set_major_locator(MaxNLocator(5, integer=True))
        axes.set(xlim=(0, size), ylim=(max(len(told[:MOST]), 4) - 0.4, -0.6), xlabel="learners", yticks=[])
        return (f"the {MOST} most frequent of {len(told)}",) if len(told) > MOST else ()

    headline = f"{slips.iloc[0]} of {size} in {told[0]}" if told else "No known slip"
    return View(text, slips.reset_index(name="learners"), headline, picture, note=f"a class of {size}")
