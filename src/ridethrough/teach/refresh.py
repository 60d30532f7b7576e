"""Run notebooks and store them clean: ``python -m ridethrough.teach.refresh [lessons/NN-title.ipynb ...]``.

A stored notebook holds what its cells show when run in order in a fresh kernel, and nothing that
changes from run to run: no timings, no state of widgets, nothing about the machine. Two runs write
the same bytes, so that a difference in the history is a difference in what the lesson says.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import nbformat
from nbclient import execute
from nbclient.exceptions import CellControlSignal, DeadKernelError

from ..units import Refusal

WIDGET_VIEW = "application/vnd.jupyter.widget-view+json"
CELL_TIMEOUT_S = 60
METADATA = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
            "language_info": {"name": "python"}}  # fmt: skip
_RUN_DATA = ("execution", "ExecuteTime")  # what JupyterLab and its extensions note of a run


def normalise(notebook: Any) -> Any:
    """Return ``notebook`` without what a run, a widget or a machine left in it.

    Numbers, texts and pictures stay, and so do the cells' ids and tags. A widget keeps the text and
    HTML it shows where no kernel runs; an output with nothing else in it goes.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Changed in place [-].
    """
    notebook.metadata = nbformat.from_dict(METADATA)
    for cell in notebook.cells:
        for key in _RUN_DATA:
            cell.metadata.pop(key, None)
        for output in cell.get("outputs", []):
            output.get("data", {}).pop(WIDGET_VIEW, None)
        if "outputs" in cell:
            cell["outputs"] = [output for output in cell["outputs"] if output.get("data", True)]
    return notebook


def refresh(path: Path) -> bool:
    """Run the notebook at ``path`` in a fresh kernel and its own folder, store it clean, and say whether it changed.

    Parameters
    ----------
    path : pathlib.Path
        The stored notebook [-].

    Raises
    ------
    Refusal
        If a cell raises, takes longer than a minute or ends the kernel; with the cell's text. Then nothing is written.
    """
    notebook, before, folder = nbformat.read(path, as_version=4), path.read_bytes(), str(path.resolve().parent)
    try:
        execute(notebook, folder, kernel_name="python3", timeout=CELL_TIMEOUT_S, coalesce_streams=True,
                record_timing=False, store_widget_state=False)  # fmt: skip
    except (CellControlSignal, DeadKernelError) as error:
        remedy = f"The file was left as it was.\n{error}"
        raise Refusal(f"{path}, where a cell failed", "cells that all run", remedy) from error
    nbformat.write(normalise(notebook), path)
    return path.read_bytes() != before


def main(given: list[str]) -> int:
    """Refresh the notebooks ``given``, or all below ``./lessons``; return the exit status."""
    folder = Path("lessons")
    found = [path for name in ("*.ipynb", "instructor/*.ipynb") for path in sorted(folder.glob(name))]
    paths = [Path(name) for name in given] or found
    try:
        if not paths:
            raise Refusal(f"the folder {folder.resolve()}", "notebooks in it", "Run this where lessons/ stands.")
        for path in paths:
            print(f"{path}: {'stored anew' if refresh(path) else 'as it was'}", flush=True)
    except (Refusal, OSError) as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
