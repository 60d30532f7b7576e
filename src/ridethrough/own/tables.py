"""The tables of words that stand beside the modules of this room."""

from __future__ import annotations

import csv
from pathlib import Path


def rows_of(name: str) -> list[dict[str, str]]:
    """Return the rows of a table in CSV that stands here."""
    return list(csv.DictReader(Path(__file__).with_name(name).read_text(encoding="utf-8").splitlines()))
