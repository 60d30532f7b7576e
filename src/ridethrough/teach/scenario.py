"""What the kit brings along: its folders, the invented scenario, pages to print, and templates to fill in.

``data/`` describes itself, and ``data/make.py`` writes it.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from ..units import Refusal, of_kind

# What the meters' makers promise, as quantity text: ``Meter(**KITCHEN_METER)``.
KITCHEN_METER: dict[str, Any] = {"accuracy": "1 % + 0.3 W", "power_step": "0.1 W", "energy_step": "0.01 kWh"}
BENCH_METER: dict[str, Any] = {"accuracy": "1 % + 0.3 W"}
KITCHEN_ROOM = BENCH_ROOM = "20 degC"  # while the meters were there
STORE_METER: dict[str, Any] = {"accuracy": "2 %", "energy_step": "0.001 kWh"}
PAGES = ("metering", "run-down", "standby", "cold run-down", "start", "idle fuel")  # each a file in pages/
EXAMPLE = ("kitchen-fridge-freezer.csv", "hand-readings.csv", "units.csv", "prices.csv")  # beside templates/example


def kit_folder(name: str) -> Path:
    """Return where a folder of the kit is: inside the installed package, or beside ``src`` in a checkout."""
    installed, checkout = (Path(__file__).resolve().parents[up] / name for up in (1, 3))
    return installed if installed.is_dir() else checkout


@contextmanager
def writing(place: Path, remedy: str) -> Iterator[None]:
    """Refuse, while something is written, a folder in which that fails; ``remedy`` is what to do then."""
    try:
        yield
    except OSError as error:
        raise Refusal(f"the folder {place} ({error.strerror})", "a folder that can be written to", remedy) from None


def path(name: str) -> Path:
    """Return where a table of the scenario is.

    Parameters
    ----------
    name : str
        Its file's name.

    Raises
    ------
    Refusal
        If there is no such file.

    Example
    -------
    >>> path("units.csv").read_text(encoding="utf-8").count("Unit")
    6
    """
    folder = kit_folder("data")
    tables = sorted(file.name for file in folder.glob("*.csv"))
    if name not in tables:
        remedy = f"Write one of: {', '.join(tables)}; a lost one is made again by: python {folder / 'make.py'}"
        raise Refusal(f"the scenario file {name!r}", f"a table in {folder}", remedy)
    return folder / name


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
    return Page(Path(__file__).with_name("pages").joinpath(f"{test.replace(' ', '-')}.md").read_text(encoding="utf-8"))


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
    files = [*sorted((own / "example").iterdir()), *map(path, EXAMPLE)] if example else sorted(own.glob("*.*"))
    with writing(place, "Choose another."):
        place.mkdir(parents=True, exist_ok=True)
        new = [file for file in files if not (place / file.name).exists()]
        for file in new:
            (place / file.name).write_bytes(file.read_bytes())
    kept = f", {len(files) - len(new)} kept as they were" if len(new) < len(files) else ""
    return f'{place.name}: {len(new)} files written{kept}. Fill them in, then: rt.read_bench("{folder}")'


def example_bench() -> Path:
    """Return a new folder with the pantry's bench in it (invented), as `read_bench` takes it."""
    folder = Path(tempfile.mkdtemp()) / "example-bench"
    write_templates(folder, example=True)
    return folder
