"""The method sheet: one page that publishes an answer, so that a reader can check and repeat it.

Its words stand in ``pages/sheet.toml``, its looks in ``sheet.html``, ``sheet.css`` and ``sheet.typ`` beside it.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date as Day
from functools import cached_property
from pathlib import Path
from typing import Any

import matplotlib
import pandas as pd
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape

from ..answer.headroom import headroom
from ..answer.ledger import Ledger
from ..answer.recommend import compared as as_compared
from ..answer.ride import ride
from ..measure.draw import Draw
from ..measure.log import MeterLog
from ..model.price import day_of
from ..model.rundowns import RundownLine
from ..sources import lookup
from ..units import Q_, Refusal, of_kind, show, whole
from .figures import canvas, png, svg
from .panels import View, together
from .pantry import CAUTION
from .record import changes, files_of, plain_rows, read_record, record_of, written
from .scenario import writing
from .views.outages import charge_view
from .views.units import ledger_view, rundown_view

FOLDER = Path(__file__).with_name("pages")
_WORDS = tomllib.loads((FOLDER / "sheet.toml").read_text(encoding="utf-8"))
_TEMPLATES = Environment(
    loader=FileSystemLoader(FOLDER), undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    autoescape=select_autoescape(["html"], default_for_string=False),
    finalize=lambda told: " ".join(str(told).splitlines()).replace("¦", "|"),  # it begins no line and no cell
)  # fmt: skip
_TEMPLATES.filters["records"] = plain_rows
_TEMPLATES.globals |= {"show": show, "Q_": Q_, "lookup": lookup, "headroom": headroom, "caution": CAUTION}
_PIXELS = 1920  # that a picture is wide, for a video
_MOMENTS = 72  # of the charge: enough for a picture
_REASON = 'corrected="the meter\'s gain was read wrongly"'


def render(page: str, **facts: Any) -> str:
    """Return a page of the folder, its blanks filled with ``facts``."""
    return _TEMPLATES.get_template(page).render(facts)


@dataclass(frozen=True, repr=False)
class Sheet:
    """A method sheet; make it with `method_sheet`.

    Parameters
    ----------
    content : mapping
        What the page says: question, answer, and sections with texts, items, tables and names of figures.
    record : mapping
        The numbers behind it, as `record.json` has them.
    figures : mapping from name to View
        Its pictures.
    tables : mapping from name to pandas.DataFrame
        The tables with all their digits.
    """

    content: Mapping[str, Any]
    record: Mapping[str, Any]
    figures: Mapping[str, View]
    tables: Mapping[str, pd.DataFrame]

    @cached_property
    def _pictures(self) -> dict[str, dict[str, Any]]:
        """Each figure as SVG and as PNG."""
        made = {}
        for name, view in self.figures.items():
            figure = canvas()
            figure.set_dpi(_PIXELS / figure.get_figwidth())
            view.draw(figure)
            made[name] = {"svg": svg(figure), "png": png(figure)}
        return made

    @property
    def html(self) -> str:
        """The page, one file that asks the network for nothing."""
        return render("sheet.html", **self.content, pictures=self._pictures)

    @property
    def pdf(self) -> bytes:
        """The page to print: tagged for readers that speak, its fonts inside."""
        import typst

        inputs = {name: both["svg"] for name, both in self._pictures.items()} | {"content": json.dumps(self.content)}
        fonts = str(Path(matplotlib.get_data_path(), "fonts", "ttf"))
        return typst.compile(str(FOLDER / "sheet.typ"), font_paths=[fonts], ignore_system_fonts=True,
                             sys_inputs=inputs, pdf_standards=["ua-1"])  # fmt: skip

    def write(self, folder: str | Path) -> str:
        """Write page, PDF, record, figures (SVG, and PNG of 1920 x 1080) and tables (CSV, Markdown) into a folder.

        Parameters
        ----------
        folder : str or path
            Made where there is none. An earlier edition in it is moved into a folder of its own.

        Returns
        -------
        str
            What was done.

        Raises
        ------
        Refusal
            If the folder holds this edition with other words or numbers, a later one, or files of something else.
        """
        of_kind(folder, str | Path, "folder", "a folder", 'Write sheet.write("my-sheet").')
        place, shown = Path(folder), [each for section in self.content["sections"] for each in section["tables"]]
        files: dict[str, Any] = {"sheet.html": self.html, "sheet.pdf": self.pdf, "record.json": written(self.record)}
        files |= {f"tables/{each['name']}.md": render("table.md", **each) for each in shown}
        for name, table in self.tables.items():
            files[f"tables/{name}.csv"] = table.to_csv(index=False, lineterminator="\n")
        for name, picture in self._pictures.items():
            files |= {f"figures/{name}.{kind}": drawn for kind, drawn in picture.items()}
        with writing(place, "Choose another folder."):
            self._make_room(place, {name.split("/")[0] for name in files})
            for name, held in files.items():
                (place / name).parent.mkdir(parents=True, exist_ok=True)
                (place / name).write_bytes(held.encode() if isinstance(held, str) else held)
        return f"Edition {self.record['edition']} is in {place}: open sheet.html, print sheet.pdf."

    def _make_room(self, place: Path, names: set[str]) -> None:
        """Move an earlier edition aside, or refuse to write over what there is."""
        there = [place / name for name in sorted(names) if (place / name).exists()]
        if not there:
            return
        old = read_record(place / "record.json", 'Choose another folder: sheet.write("another-folder").')
        if old["edition"] < self.record["edition"]:
            aside = place / f"edition-{old['edition']}"
            aside.mkdir()
            for path in there:
                path.rename(aside / path.name)
        elif written(old) != written(self.record):
            given = f"edition {self.record['edition']} for {place}, which holds another edition {old['edition']}"
            remedy = f"Write method_sheet(..., edition={old['edition'] + 1}, {_REASON})."
            raise Refusal(given, "a higher edition and its reason", remedy)

    def __repr__(self) -> str:
        return f"<Sheet: {self.content['question']} {self.content['answer']}>"

    def _repr_html_(self) -> str:
        return render("sheet-short.html", **self.content)


def method_sheet(
    account: Ledger, *, question: str | None = None, compared: pd.DataFrame | None = None, author: str = "",
    measured: Draw | MeterLog | RundownLine | Sequence[Draw | MeterLog | RundownLine] = (), note: str = "",
    inputs: str | Path | Sequence[str | Path] = (), edition: int = 1, date: str | Day | None = None,
    corrected: str | None = None, previous: str | Path | None = None,
) -> Sheet:  # fmt: skip
    """Return the page that publishes an answer: its account, its sources, its doubts, and how to repeat it.

    Parameters
    ----------
    account : Ledger
        The answer, from `ledger` [Wh].
    question : str, optional
        In the author's words [-].
    measured : sequence of Draw, MeterLog or RundownLine
        What it rests on; the run-downs of the account's own unit are there without being named [-].
    compared : pandas.DataFrame, optional
        What `compare` returned [-].
    inputs : path or sequence of paths
        The files that were read; the page tells their checksums [-].
    author, note : str
        Who answers for it and how to reach them; where the data come from, such as "invented data" [-].
    edition : int
        1, or higher for what replaces an earlier one [-].
    date : str or datetime.date, optional
        The edition's day; today where left out [-].
    corrected : str, optional
        Why there is an edition above 1, what comes after "corrected because" [-].
    previous : str or path, optional
        The `record.json` of an earlier edition: the page tells what changed [-].

    Returns
    -------
    Sheet
        With ``.html``, ``.pdf`` and ``.write("my-sheet")``. The same inputs give the same bytes.

    Raises
    ------
    Refusal
        If an input is not what it should be, or an edition above 1 gives no reason.

    Example
    -------
    >>> from .pantry import account
    >>> method_sheet(account("01"), date="2026-03-01").content["kicker"]
    'Method sheet · edition 1 · 2026-03-01'
    """
    of_kind(account, Ledger, "account", "a ledger", "Write account=rt.ledger(load, unit, outage).")
    if compared is not None:
        as_compared(compared, "compared", 'Write compared=rt.compare(load, units, ["1 day"]).')
    before, sampler = None if previous is None else read_record(previous), account.case.sampler
    record = record_of(
        account, compared, edition=_edition(edition, corrected, before), date=_day(date, before), corrected=corrected,
        question=question, author=author, note=note, files=files_of(inputs),
    )  # fmt: skip
    context = record | _measured(measured, account) | {"account": account, "compared": compared, "before": before}
    context["changes"] = [] if before is None else changes(before, record)
    rides = ride(account.load, account.unit, account.outage, draws=sampler.draws, seed=sampler.seed, times=_MOMENTS)
    views = {"ledger": ledger_view(account), "charge": charge_view(rides)}
    views |= {f"run-downs-{n}": rundown_view(line) for n, line in enumerate(context["lines"], 1)}
    views = {name: replace(view, note=note) for name, view in views.items()}
    tables = {"shares": account.shares, "sources": account.sources()} | {n: view.table for n, view in views.items()}
    tables |= {} if compared is None else {"comparison": compared}
    return Sheet(_content(views, context), record, views, tables)


def _measured(given: Any, account: Ledger) -> dict[str, Any]:
    """Return draws, logs and run-down lines apart; that of the account's own unit is always among them."""
    kinds: dict[str, Any] = {"draws": Draw, "logs": MeterLog, "lines": RundownLine}
    given = given if isinstance(given, list | tuple) else [given]
    for each in given:
        of_kind(each, tuple(kinds.values()), "measured", "draws, logs and run-down lines", "Write measured=[draw].")
    found = {name: [each for each in given if isinstance(each, kind)] for name, kind in kinds.items()}
    own = account.unit.route.line
    if own is not None:
        found["lines"] = [own] + [line for line in found["lines"] if line.runs is not own.runs]
    return found


def _edition(edition: int, corrected: str | None, before: Mapping[str, Any] | None) -> int:
    """Return the edition, or refuse one that hides what it replaces."""
    least = 1 if before is None else before["edition"] + 1
    if whole(edition, "edition", 1) < least or (edition > 1) != bool(corrected):
        given = f"edition={edition}, corrected={corrected!r}" + (f", after edition {least - 1}" if before else "")
        raise Refusal(given, "1 without a correction, or a higher one and its reason",
                      f"Write edition={max(least, edition, 2)}, {_REASON}.")  # fmt: skip
    return edition


def _day(given: str | Day | None, before: Mapping[str, Any] | None) -> str:
    """Return a day as 2026-03-01, today's where none is given; never before that of the edition before."""
    day = str(Day.today() if given is None else day_of(given, "date"))
    if before is not None and day < before["date"]:
        raise Refusal(f"date={day!r}, after edition {before['edition']} of {before['date']}", "no earlier day",
                      f'Write date="{before["date"]}", or a later one.')  # fmt: skip
    return day


def _content(figures: Mapping[str, View], context: dict[str, Any]) -> dict[str, Any]:
    """Return what the page says: the words filled in, without what stays empty."""

    def say(text: str) -> list[str]:
        lines = _TEMPLATES.from_string(_WORDS["macros"] + text).render(context).splitlines()
        return [together(" ".join(line.split()), "\u00a0") for line in lines if line.strip()]

    def table(name: str) -> dict[str, Any]:
        (caption,), rows = say(_WORDS["table"][name]["caption"]), say(_WORDS["table"][name]["rows"])
        return {"name": name, "caption": caption, "rows": [[cell.strip() for cell in row.split("¦")] for row in rows]}

    lead = {name: "".join(say(_WORDS[name])) for name in ("question", "kicker", "correction", "answer")}
    context |= lead
    sections = []
    for each in _WORDS["section"]:
        parts = {"text": say(each.get("text", "")), "items": say(each.get("items", "")),
                 "tables": [told for told in map(table, each.get("tables", [])) if told["rows"][1:]],
                 "figures": [{"name": name, "text": view.text} for name, view in figures.items()
                             if name.startswith(each.get("figures", "-"))]}  # fmt: skip
        if any(parts.values()):
            sections.append({"id": each["id"], "title": each["title"], "steps": "steps" in each} | parts)
    return lead | {"sections": sections}
