"""Lesson 11 makes an answer of any folder: its two lines are changed, and every cell still runs."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import nbformat
import pytest

ROOT = Path(__file__).parents[2]
EXAMPLE = {"folder = example_bench()": "folder = {!r}", 'mine = "Unit B"': "mine = {!r}"}


def other_bench() -> ModuleType:
    """Return the tests of a folder that is unlike the kit's own, for its files."""
    spec = importlib.util.spec_from_file_location("test_folder", Path(__file__).with_name("test_folder.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("mine", ["Box 8", "Box 9"], ids=["run down", "from print"])
def test_another_folder_goes_through_every_cell(tmp_path: Path, mine: str, capsys: pytest.CaptureFixture[str]) -> None:
    folder = other_bench().folder(tmp_path, broken_csv=b"PK\x03\x04\x00\x00\x08\x00binary\x00")
    notebook = nbformat.read(ROOT / "lessons" / "11-your-own-bench.ipynb", as_version=4)
    cells = [cell.source for cell in notebook.cells if cell.cell_type == "code"]
    for line, other in EXAMPLE.items():
        assert sum(cell.count(line) for cell in cells) == 1  # the line that the learner changes
        cells = [cell.replace(line, other.format(str(folder) if "folder" in line else mine)) for cell in cells]
    found: dict[str, object] = {}
    for cell in cells:
        exec(cell, found)
    assert {"sheet.html", "sheet.pdf", "record.json"} <= {file.name for file in (folder / "sheet").iterdir()}
    assert "chest freezer" in repr(found["sheet"])
    assert mine in repr(found["sheet"])
    assert "not read: broken.csv" in capsys.readouterr().out
