"""Imports point one way, and importing the kit costs little.

teach -> own -> answer, measure -> model -> sources, sampling -> estimate -> known -> units

Read from the syntax tree, so imports inside functions and under TYPE_CHECKING count as well.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import ridethrough

PACKAGE = "ridethrough"
SOURCE = Path(__file__).parents[1] / "src" / PACKAGE

# A room may import from itself and from rooms of a lower rank; the front and the command from all.
RANK = {
    "quantity_text": 0,
    "units": 1,
    "known": 2,
    "estimate": 3,
    "sampling": 4,
    "sources": 4,
    "model": 5,
    "measure": 6,
    "answer": 6,
    "own": 7,
    "teach": 8,
    "": 9,
    "__main__": 9,
}

# model and answer know no files, pictures or notebooks.
OUTSIDE = {"matplotlib", "ipywidgets", "anywidget", "IPython", "nbformat", "nbclient", "PIL", "pathlib", "os", "io"}


def modules() -> dict[str, Path]:
    """Return every module of the kit by its dotted name below the package ("" is the front)."""
    found = {}
    for path in sorted(SOURCE.rglob("*.py")):
        parts = path.relative_to(SOURCE).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def room(name: str) -> str:
    return name.split(".")[0]


def imported(tree: ast.AST, name: str, is_package: bool) -> set[str]:
    """Return the full names that module ``name`` (below the package) imports, relative ones resolved."""
    found: set[str] = set()
    own = [PACKAGE, *filter(None, name.split("."))]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            level = node.level - is_package
            start = own[: len(own) - level] if node.level else []
            base = ".".join([*start, *filter(None, [node.module])])
            found |= {f"{base}.{alias.name}" if f"{base}.{alias.name}" in KNOWN else base for alias in node.names}
    return found


KNOWN = {f"{PACKAGE}.{name}".rstrip(".") for name in modules()}


def against_the_flow(source: str, name: str, is_package: bool = False) -> set[str]:
    """Return the kit's modules that ``name`` must not import and does."""
    inside = {full for full in imported(ast.parse(source), name, is_package) if full.split(".")[0] == PACKAGE}
    below = {full: full.removeprefix(PACKAGE).lstrip(".") for full in inside}
    here = room(name)
    return {
        full
        for full, target in below.items()
        if room(target) != here and RANK[room(target)] >= RANK[here] and here not in {"", "__main__"}
    }


def knows_the_outside(source: str, name: str, is_package: bool = False) -> set[str]:
    """Return what a module of model or answer uses and must not know."""
    tree = ast.parse(source)
    opens = {"open" for node in ast.walk(tree) if isinstance(node, ast.Name) and node.id == "open"}
    return opens | OUTSIDE & {full.split(".")[0] for full in imported(tree, name, is_package)}


@pytest.mark.parametrize("name", modules())
def test_imports_point_one_way(name: str) -> None:
    path = modules()[name]
    assert room(name) in RANK, f"give {room(name)} its place in RANK"
    assert against_the_flow(path.read_text(encoding="utf-8"), name, path.name == "__init__.py") == set()


@pytest.mark.parametrize("name", [name for name in modules() if room(name) in {"model", "answer"}])
def test_model_and_answer_know_no_files_pictures_or_notebooks(name: str) -> None:
    path = modules()[name]
    assert knows_the_outside(path.read_text(encoding="utf-8"), name, path.name == "__init__.py") == set()


def test_every_room_was_read() -> None:
    assert {room(name) for name in modules()} == set(RANK)


@pytest.mark.parametrize(
    ("name", "source"),
    [
        ("units", "from .estimate import Estimate"),
        ("estimate", "from . import sources"),
        ("model.load", "from ..answer import ride"),
        ("model.load", "from ridethrough.measure.draw import Draw"),
        ("model.load", "import ridethrough.teach"),
        ("model.load", "from .. import Q_"),
        ("model.load", "import ridethrough as rt"),
        ("model.load", "def f():\n    from ..teach import figures"),
        ("model.load", "if TYPE_CHECKING:\n    from ..measure import draw"),
        ("answer.ride", "from ..measure.draw import measure_draw"),
        ("measure.draw", "from ..answer import outage"),
    ],
)
def test_an_import_against_the_flow_is_found(name: str, source: str) -> None:
    assert against_the_flow(source, name)


def test_a_package_resolves_from_itself() -> None:
    assert imported(ast.parse("from .load import Load"), "model", True) == {f"{PACKAGE}.model.load"}
    assert imported(ast.parse("from .load import Load"), "model.unit", False) == {f"{PACKAGE}.model.load"}
    assert against_the_flow("from .. import teach", "model", True)


@pytest.mark.parametrize(
    ("name", "source"),
    [
        ("teach.figures", "from ..answer import ride\nfrom ..units import Q_\nimport numpy"),
        ("answer.ride", "from ..model.load import Load\nfrom .outage import Outage"),
        ("measure.draw", "from ..model import load"),
        ("", "from .teach import figures"),
    ],
)
def test_an_import_with_the_flow_passes(name: str, source: str) -> None:
    assert not against_the_flow(source, name, name == "")


@pytest.mark.parametrize(
    "source",
    ["import matplotlib.pyplot as plt", "from pathlib import Path", "def f():\n    import ipywidgets", "open('a')"],
)
def test_the_outside_is_found(source: str) -> None:
    assert knows_the_outside(source, "model.load")


# scipy's bare package is there already: pint looks for it. Its working parts are what costs.
HEAVY = ("matplotlib", "ipywidgets", "anywidget", "IPython", "nbformat", "pandas", "pyarrow", "sktime",
         "scipy.linalg", "scipy.optimize", "scipy.special", "scipy.stats")  # fmt: skip


def test_the_front_door_is_light() -> None:
    """``import ridethrough`` waits for no library that its first line may not need."""
    code = f"import sys, {PACKAGE}\nprint(*sorted(set({HEAVY}) & set(sys.modules)))"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.split() == []


@pytest.mark.parametrize("name", ridethrough.__all__)
def test_every_public_name_leads_somewhere(name: str) -> None:
    assert getattr(ridethrough, name).__module__.startswith(f"{PACKAGE}.")
    assert name in dir(ridethrough)


def test_another_name_is_no_part_of_the_kit() -> None:
    with pytest.raises(AttributeError, match="refrigerator"):
        _ = ridethrough.refrigerator
