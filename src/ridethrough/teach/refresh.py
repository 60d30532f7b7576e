"""Run notebooks and store them clean: ``python -m ridethrough.teach.refresh [lessons/NN-title.ipynb ...]``.

A stored notebook holds what its cells show when run in order in a fresh kernel, and nothing that
changes from run to run: no timings, no state of widgets, nothing about the machine. Two runs write
the same bytes, so that a difference in the history is a difference in what the lesson says.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

import nbformat
from nbclient import execute
from nbclient.exceptions import CellControlSignal, DeadKernelError

from ..units import Refusal

WIDGET_VIEW = "application/vnd.jupyter.widget-view+json"
CELL_TIMEOUT_S = 60
_RUN_DATA = ("execution", "ExecuteTime")  # what JupyterLab and its extensions note of a run


def run(path: Path) -> Any:
    """Return the notebook at ``path`` as a fresh kernel in the notebook's own folder leaves it.

    Parameters
    ----------
    path : pathlib.Path
        The stored notebook; it is read and not written [-].

    Returns
    -------
    nbformat.NotebookNode
        With new outputs and execution counts.

    Raises
    ------
    Refusal
        If a cell raises, takes longer than a minute or ends the kernel; with the cell's text.
    """
    notebook, folder = nbformat.read(path, as_version=4), str(path.resolve().parent)
    try:
        return execute(notebook, folder, kernel_name="python3", timeout=CELL_TIMEOUT_S, coalesce_streams=True,
                       record_timing=False, store_widget_state=False)  # fmt: skip
    except (CellControlSignal, DeadKernelError) as error:
        remedy = f"The file was left as it was.\n{error}"
        raise Refusal(f"{path}, where a cell failed", "cells that all run", remedy) from error


def normalise(notebook: Any) -> Any:
    """Return ``notebook`` without what a run, a widget or a machine left in it.

    Numbers, texts and pictures stay, and so do the cells' ids and tags. A widget keeps the text and
    HTML it shows where no kernel runs; an output with nothing else in it goes.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Changed in place [-].
    """
    notebook.metadata.pop("widgets", None)
    notebook.metadata["kernelspec"] = {"display_name": "Python 3", "language": "python", "name": "python3"}
    notebook.metadata["language_info"] = {"name": "python"}
    for cell in notebook.cells:
        for key in _RUN_DATA:
            cell.metadata.pop(key, None)
        for output in cell.get("outputs", []):
            output.get("data", {}).pop(WIDGET_VIEW, None)
        if "outputs" in cell:
            cell["outputs"] = [output for output in cell["outputs"] if output.get("data", True)]
    return notebook


def as_text(notebook: Any) -> str:
    """Return ``notebook`` as the text of its file: sorted keys, one space of indent, a last newline."""
    return nbformat.writes(notebook, version=nbformat.NO_CONVERT).rstrip("\n") + "\n"


def refresh(path: Path) -> bool:
    """Run the notebook at ``path``, store it clean, and return whether the file changed.

    Nothing is written if a cell fails.
    """
    stored = as_text(normalise(run(path))).encode()
    changed = stored != path.read_bytes()
    if changed:
        path.write_bytes(stored)
    return changed


def main(argv: list[str] | None = None) -> int:
    """Refresh the notebooks named in ``argv``, or all below ``./lessons``; return the exit status."""
    parser = argparse.ArgumentParser("ridethrough.teach.refresh", description="Run notebooks and store them clean.")
    parser.add_argument("notebooks", nargs="*", type=Path, help="default: every notebook below ./lessons")
    given, folder = parser.parse_args(argv).notebooks, Path("lessons")
    paths = given or [path for name in ("*.ipynb", "instructor/*.ipynb") for path in sorted(folder.glob(name))]
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
    sys.exit(main())
