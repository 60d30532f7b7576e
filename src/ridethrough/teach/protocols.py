"""Pages to print: how to run a test at the bench, and a sheet to write the readings on."""

from __future__ import annotations

import tempfile
from pathlib import Path

from ..units import Refusal, of_kind
from . import scenario

PAGES = ("metering", "run-down", "standby", "cold run-down", "start", "idle fuel")  # each a file in pages/
EXAMPLE = ("kitchen-fridge-freezer.csv", "hand-readings.csv", "units.csv", "prices.csv")  # beside templates/example


class Page(str):
    """A page to read or to print: text in Markdown, and shown as that."""

    _repr_markdown_ = __repr__ = str.__str__


def protocol(test: str) -> Page:
    """Return the page that tells how to run a bench test.

    Parameters
    ----------
    test : str
        One of `PAGES`.
    """
    if test not in PAGES:
        raise Refusal(f"the page {test!r}", "one that there is", f"Write one of: {', '.join(PAGES)}.")
    file = Path(__file__).with_name("pages") / f"{test.replace(' ', '-')}.md"
    return Page(file.read_text(encoding="utf-8"))


def reading_sheet(rows: int = 12) -> Page:
    """Return an empty sheet for display readings, to print and fill in by hand.

    Parameters
    ----------
    rows : int
        Lines to write on [-].
    """
    head = "| date | clock | counter (kWh), all digits | room (°C) | remarks |\n|---|---|---|---|---|\n"
    return Page(head + "|  |  |  |  |  |\n" * rows)


def write_templates(folder: str | Path, *, example: bool = False) -> str:
    """Write a folder for one's own bench, one file of each kind to fill in; never over a file.

    Parameters
    ----------
    folder : str or path
        Where to; made if missing. Files in it that bear a template's name are kept.
    example : bool
        Whether the pantry's invented files are written instead, with readings in them [-].

    Returns
    -------
    str
        What was done and what comes next.

    Raises
    ------
    Refusal
        If nothing can be written there.
    """
    of_kind(folder, str | Path, "folder", "a folder", 'Write write_templates("my-bench").')
    place, own = Path(folder), Path(__file__).with_name("templates")
    files = [*sorted((own / "example").iterdir()), *map(scenario.path, EXAMPLE)] if example else sorted(own.glob("*.*"))
    try:
        place.mkdir(parents=True, exist_ok=True)
        new = [file for file in files if not (place / file.name).exists()]
        for file in new:
            (place / file.name).write_bytes(file.read_bytes())
    except OSError as error:
        raise Refusal(f"{place} ({error.strerror})", "a folder that can be written to", "Choose another.") from None
    kept = f", {len(files) - len(new)} kept as they were" if len(new) < len(files) else ""
    return f'{place.name}: {len(new)} files written{kept}. Fill them in, then: rt.read_bench("{folder}")'


def example_bench() -> Path:
    """Return a new folder with the pantry's bench in it (invented), as `read_bench` takes it."""
    folder = Path(tempfile.mkdtemp()) / "example-bench"
    write_templates(folder, example=True)
    return folder
