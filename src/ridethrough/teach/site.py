"""The kit without a network: all of it as pages, and a folder that it can be installed from."""

from __future__ import annotations

import platform
import subprocess
import sys
from pathlib import Path

import nbformat

from .export import panel_of, title_of
from .panels import _SLEEPING
from .papers import JOBS, fresh, refusal
from .scenario import kit_folder
from .sheet import _TEMPLATES


def write_pages(out: str | Path) -> str:
    """Write every lesson as a page, the page of its panel, and an index; return where to begin.

    Code that the lessons hide is left out, and so is what only a running lesson has a use for. No page asks the
    network for anything.

    Parameters
    ----------
    out : str or path
        A folder, new or empty.
    """
    place, told = fresh(out), []
    for lesson in sorted(kit_folder("lessons").glob("*.ipynb")):
        told.append(_write_lesson(lesson, place))
        print(place / told[-1]["page"], flush=True)
    (place / "index.html").write_text(_TEMPLATES.get_template("index.html").render(lessons=told), encoding="utf-8")
    return JOBS["pages"]["done"].format(count=len(told), out=place)


def _write_lesson(lesson: Path, place: Path) -> dict[str, str]:
    """Write a lesson's two pages and return what the index says of it."""
    from nbconvert import HTMLExporter

    told = {"page": f"{lesson.stem}.html", "panel": "", "title": title_of(lesson)}
    told["question"] = nbformat.read(lesson, as_version=4).cells[0].source.split("\n\n")[1].replace("*", "")
    template = str(Path(__file__).with_name("pages") / "lesson.html")
    exporter = HTMLExporter(template_name="basic", template_file=template, exclude_anchor_links=True)
    page, _ = exporter.from_filename(str(lesson), told)
    if _SLEEPING in page:  # it shows a panel
        told["panel"] = panel_of(lesson).export(place / f"{lesson.stem}-panel.html", title=told["title"]).name
        page = page.replace(_SLEEPING, f'<a href="{told["panel"]}">Move its sliders.</a>')
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
    return JOBS["wheels"]["done"].strip().format(count=count, python=python, out=place, name=place.name)
