"""No number with a meaning hides in ``model`` or ``answer``: coefficients stand in the one table.

Read from the syntax tree. Numbers in quantity text ("21 degC") count as well; the examples in a
refusal's words do not.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[1] / "src" / "ridethrough"
MODULES = sorted(path for room in ("model", "answer") for path in (SOURCE / room).rglob("*.py"))

PLAIN = {0, 1, 2, 24, 60, 100, 1000, 3600, 0.5}

ROUNDING = 1e-8  # smaller than anything that means something in watts, hours or shares: keeps rounding out

# module, the keyword or name that holds the number, the number: why it may stand there
ALLOWED = {
    ("model/load.py", "FEW", 3): "appliances named one by one in a sentence",
    ("model/load.py", "TENTHS", 10): "windows of a pattern: how finely their spread is seen",
    ("answer/power.py", "TENTHS", 10): "how finely a phase is drawn: parts of a step",
    ("answer/power.py", "SCHEDULE", 48): "steps up to which each is followed by itself: a matter of speed",
    ("answer/stretches.py", "AT_ONCE", 100_000): "numbers handled at once: a matter of speed",
    ("answer/stretches.py", "AT_HAND", 30_000_000): "bytes of memory kept at hand: a matter of speed",
    ("answer/stretches.py", "MOMENT_H", 1e-5): "what lies closer together is one moment: a limit of rounding",
    ("answer/ledger.py", "SLIGHT", 0.005): "of what is asked: less has no line of its own",
    ("answer/ride.py", "TIMES", 240): "moments at which a charge is told: enough for a picture",
    ("answer/choice.py", "LONGEST", 14): "how far is looked where nobody says",
    ("answer/choice.py", "HALVINGS", 10): "steps of the search, each twice as fine",
    ("answer/stages.py", "TWELFTHS", 12): "parts of a period: how finely windows are weighed",
    ("model/inside.py", "NEWTON", 4): "steps of a search, each squaring what is left",
    ("answer/size.py", "LARGE", 1e6): "stands for infinite: a limit of the search",
    ("answer/size.py", "HALVINGS", 40): "steps of the search, each twice as fine",
    ("answer/size.py", "NARROW", 1e-5): "share of the capacity at which the search ends",
    ("model/sun.py", "RIGHT", 90): "degrees of a right angle",
    ("model/sun.py", "SOUTH", 180): "degrees of half a turn",
    ("model/temperature.py", "", 3): "its root leads from a standard deviation to the end of a band",
}

QUANTITY_TEXT = re.compile(r"\s*[+-]?(?P<number>(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?)\s*[^\d\s,;.][^\d\s]*\s*")


def numbers(tree: ast.AST, holder: str = "") -> Iterator[tuple[str, float, int]]:
    """Yield (holder, number, line) for every number in ``tree``.

    The holder is the keyword argument or the upper-case name that the number is given to.
    """
    if isinstance(tree, ast.Call) and getattr(tree.func, "id", "") == "Refusal":
        return
    if isinstance(tree, ast.FormattedValue):  # its format is no number
        yield from numbers(tree.value, holder)
        return
    if isinstance(tree, ast.JoinedStr):  # nor are its words
        for part in tree.values:
            yield from numbers(part, holder) if isinstance(part, ast.FormattedValue) else ()
        return
    if isinstance(tree, ast.Constant):
        if isinstance(tree.value, (int, float, complex)) and not isinstance(tree.value, bool):
            yield holder, tree.value, tree.lineno
        elif isinstance(tree.value, str) and (match := QUANTITY_TEXT.fullmatch(tree.value)):
            yield holder, float(match["number"]), tree.lineno
    if isinstance(tree, ast.Assign) and isinstance(tree.targets[0], ast.Tuple) and isinstance(tree.value, ast.Tuple):
        for target, value in zip(tree.targets[0].elts, tree.value.elts, strict=True):
            yield from numbers(ast.copy_location(ast.Assign([target], value), tree), holder)
        return
    if isinstance(tree, ast.keyword) and tree.arg:
        holder = tree.arg
    elif isinstance(tree, ast.Assign) and isinstance(tree.targets[0], ast.Name) and tree.targets[0].id.isupper():
        holder = tree.targets[0].id
    for node in ast.iter_child_nodes(tree):
        yield from numbers(node, holder)


def unexplained(source: str, module: str) -> list[str]:
    """Return the numbers in ``source`` that are neither plain nor allowed, with their lines."""
    return [
        f"{module}:{line}: {number:g}"
        for holder, number, line in numbers(ast.parse(source))
        if number not in PLAIN and not 0 < abs(number) <= ROUNDING and (module, holder, number) not in ALLOWED
    ]


def name_of(path: Path) -> str:
    return path.relative_to(SOURCE).as_posix()


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_no_number_hides(path: Path) -> None:
    assert unexplained(path.read_text(encoding="utf-8"), name_of(path)) == []


def test_both_rooms_were_read() -> None:
    assert {path.parent.name for path in MODULES} == {"model", "answer"}


def test_every_allowed_number_is_still_there() -> None:
    there = {
        (name_of(path), holder, number)
        for path in MODULES
        for holder, number, _ in numbers(ast.parse(path.read_text(encoding="utf-8")))
    }
    assert set(ALLOWED) <= there


@pytest.mark.parametrize(
    "injected",
    [
        "eta = 0.85",
        "x = 3",
        "x = -7.5",
        "def f(eta=0.9): ...",
        "def f(*, room='21 degC'): ...",
        "x = Q_(15, 'W')",
        "x = quantity('14.5 W', 'W', 'standby')",
        "x = y[3:]",
        "x = 1e-6",
        "isclose(a, b, rel_tol=1e-6)",
        "x = 2j",
        "x = f'{y * 3}'",
        "LIMIT = 4.4",
        "LIMIT, FEW = 4.4, 3",
        "@dataclass\nclass A:\n    eta: float = 0.92",
        "check(Refusal, 5)",
    ],
)
def test_an_injected_number_is_found(injected: str) -> None:
    path = SOURCE / "model" / "load.py"
    assert unexplained(path.read_text(encoding="utf-8") + "\n" + injected, "model/load.py")


@pytest.mark.parametrize(
    "plain",
    [
        '"""A docstring may say 0.85 and 15 W."""',
        "x = -1 + 2.0 * 3600 / 60 - 0.5",
        "x = f'{y:.3f} W and 3 W'",
        "x = '0 Wh'",
        "x = True",
        "x = max(y, 1e-300) + 1e-9",
        "raise Refusal('a bare 38', 'a power', 'Write 38 W.')",
        "raise Refusal('x', 'y', '38 W')",
        "name = 'Unit B'",
    ],
)
def test_plain_numbers_and_words_pass(plain: str) -> None:
    assert unexplained(plain, "model/load.py") == []
