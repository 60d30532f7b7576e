"""Every coefficient in use has a source, every one in the table is used, and units and ledgers list their own.

Uses are read from the syntax tree. A name put together in an f-string counts for every entry that it can mean; where
what is filled in stands in a loop over constants, for those only.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridethrough.answer.ledger import Ledger, ledger
from ridethrough.answer.outage import Outage
from ridethrough.estimate import Estimate
from ridethrough.measure.bench import fit_rundowns
from ridethrough.model.battery import CHEMISTRIES, aged, charge_after
from ridethrough.model.load import Load
from ridethrough.model.temperature import TemperatureCurve
from ridethrough.model.unit import BackupUnit
from ridethrough.sources import COEFFICIENTS, KINDS, coefficient, read_coefficients
from ridethrough.units import Q_, Refusal

PACKAGE = Path(__file__).parents[1] / "src" / "ridethrough"
MODULES = sorted(PACKAGE.rglob("*.py"))
NAMES = [*COEFFICIENTS]
READERS = {"coefficient": "{}", "lookup": "{}", "of_chemistry": "{}, *"}

# module and function: what hands on a name that it was given, and so uses none itself
HANDING_ON = {("sources.py", "coefficient"), ("sources.py", "table_of"), ("model/battery.py", "of_chemistry")}
# module and name: what reads the table itself, and the entries it takes
WALKING = {
    ("model/temperature.py", "TemperatureCurve"): "capacity at * degC, *",
    ("model/inverter.py", "scheme_weights"): "* weight at * % load",
}

ANYTHING = "*"


def meanings(node: ast.expr, loops: dict[str, list[str]]) -> list[str]:
    """Return what the argument of a reader can be, as patterns: constants as they are, * for what is not known."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [node.value]
    if isinstance(node, ast.Name):
        return loops.get(node.id, [ANYTHING])
    if isinstance(node, ast.FormattedValue):
        return meanings(node.value, loops)
    if isinstance(node, ast.JoinedStr):
        found = [""]
        for part in node.values:
            found = [head + tail for head in found for tail in meanings(part, loops)]
        return found
    return [ANYTHING]


def uses(source: str, module: str) -> Iterator[tuple[int, str]]:
    """Yield line and pattern of every name that ``source`` asks the table for."""

    def walk(node: ast.AST, loops: dict[str, list[str]]) -> Iterator[tuple[int, str]]:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            if (module, node.name) in HANDING_ON:
                return
            if (module, node.name) in WALKING:
                yield node.lineno, WALKING[module, node.name]
        if isinstance(node, ast.For) and isinstance(node.target, ast.Name) and isinstance(node.iter, ast.Tuple):
            loops = loops | {node.target.id: [one for each in node.iter.elts for one in meanings(each, loops)]}
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in READERS and node.args:
            for name in meanings(node.args[0], loops):
                yield node.lineno, READERS[node.func.id].format(name)  # type: ignore[attr-defined]
        for child in ast.iter_child_nodes(node):
            yield from walk(child, loops)

    yield from walk(ast.parse(source), {})


def meant(pattern: str) -> set[str]:
    """Return the table's entries that a pattern can mean."""
    shape = re.compile(re.escape(pattern).replace(re.escape(ANYTHING), ".+"))
    return {name for name in NAMES if shape.fullmatch(name)}


def name_of(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


ALL_USES = [(name_of(path), line, pattern)
            for path in MODULES for line, pattern in uses(path.read_text(encoding="utf-8"), name_of(path))]  # fmt: skip


# -- the package and the table -------------------------------------------------------------------------------


def unknown(source: str, module: str) -> list[str]:
    """Return what ``source`` asks the table for and the table does not hold, or what could be any entry at all."""
    return [f"{module}:{line}: {pattern}" for line, pattern in uses(source, module)
            if not meant(pattern) or not pattern.strip("*, ")]  # fmt: skip


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_what_is_asked_of_the_table_is_in_it(path: Path) -> None:
    assert unknown(path.read_text(encoding="utf-8"), name_of(path)) == []


@pytest.mark.parametrize(
    "injected",
    [
        'x = coefficient("depth of discharge, salt")',
        'x = lookup("coverd from").value',
        'x = of_chemistry("feeding", chemistry)',
        'x = lookup(f"coldest charging {chemistry}")',
        'for what in ("rating hours", "ratting hours"):\n    lookup(f"{what}, {chemistry}")',
        "x = lookup(name)",
        'x = coefficient(f"{what}, {chemistry}")',
    ],
)
def test_an_unknown_name_is_found(injected: str) -> None:
    path = PACKAGE / "model" / "battery.py"
    assert unknown(path.read_text(encoding="utf-8") + "\n" + injected, "model/battery.py")


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_a_name_for_a_chemistry_is_there_for_each(chemistry: str) -> None:
    """A pattern that ends in the chemistry has its entry for every one of them, not for some."""
    of_all = {pattern for _, _, pattern in ALL_USES if pattern.endswith(", *") and meant(pattern)}
    of_all = {pattern for pattern in of_all if any(name.endswith(CHEMISTRIES) for name in meant(pattern))}
    assert len(of_all) >= 8
    assert [pattern for pattern in of_all if not meant(pattern[:-1] + chemistry)] == []


@pytest.mark.parametrize("name", NAMES)
def test_every_entry_is_used(name: str) -> None:
    assert any(name in meant(pattern) for _, _, pattern in ALL_USES), f"nothing in the package asks for {name!r}"


def test_what_hands_on_and_what_walks_is_still_there() -> None:
    there = {(name_of(path), node.name) for path in MODULES for node in ast.walk(ast.parse(path.read_text("utf-8")))
             if isinstance(node, (ast.FunctionDef, ast.ClassDef))}  # fmt: skip
    assert HANDING_ON | set(WALKING) <= there


TABLE = (PACKAGE / "coefficients.csv").read_text(encoding="utf-8").splitlines()


def test_every_line_of_the_table_is_an_entry() -> None:
    assert len(COEFFICIENTS) == len(TABLE) - 1 > 50
    assert all(line.lstrip('"').startswith(name) for line, name in zip(TABLE[1:], NAMES, strict=True))


SOUND = "one more,0.5,0.4,0.6,1,invented,a game,what it means"


def test_a_sound_line_more_is_read() -> None:
    (*_, last) = read_coefficients([*TABLE, SOUND]).values()
    assert (last.name, last.value, last.low, last.high, last.unit) == ("one more", 0.5, 0.4, 0.6, "1")
    assert (last.source, last.note) == ("invented: a game", "what it means")


@pytest.mark.parametrize(
    ("right", "wrong", "column"),
    [
        ("one more", "covered from", "name"),
        ("one more", "", "name"),
        ("0.5", "half", "value"),
        ("0.5", "", "value"),
        ("0.5", "nan", "value"),
        ("0.5", "0.39", "value"),
        ("0.5", "0.61", "value"),
        ("0.4", "O.4", "low"),
        ("0.4", "-inf", "low"),
        ("0.6", "0..6", "high"),
        ("0.6", "inf", "high"),
        ("invented", "hearsay", "kind"),
        ("a game", " ", "source"),
        (",a game,what it means", "", "source"),
        ("what it means", "what it means, and where", "beyond note"),
    ],
)
def test_a_bad_cell_is_refused_with_its_row_and_column(right: str, wrong: str, column: str) -> None:
    assert right in SOUND
    with pytest.raises(Refusal, match=rf"row {len(TABLE) + 1}, column {column}: "):
        read_coefficients([*TABLE, SOUND.replace(right, wrong)])


@pytest.mark.parametrize("entry", COEFFICIENTS.values(), ids=lambda entry: entry.name)
def test_every_entry_has_a_kind_a_text_and_a_unit(entry: Any) -> None:
    kind, _, text = entry.source.partition(": ")
    assert kind in KINDS
    assert text
    assert coefficient(entry.name).value == Q_(entry.value, entry.unit)


def test_coefficients_are_made_in_the_table_and_nowhere_else() -> None:
    made = {name_of(path) for path in MODULES for node in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Coefficient"}  # fmt: skip
    assert made == {"sources.py"}


# -- what a unit and a ledger say they rest on -----------------------------------------------------------------


def printed(**told: Any) -> BackupUnit:
    return BackupUnit.from_print("mine", **{
        "capacity": "1 kWh", "chemistry": "iron phosphate", "standby": "9 W", "rated": "800 W", "efficiency": "88 %",
        "at": "250 W",
    } | told)  # fmt: skip


def measured(**told: Any) -> BackupUnit:
    line = fit_rundowns([("0 W", "58 h"), ("55 W", "12.4 h"), ("240 W", "3.5 h")], **{"room": "20 degC"} | told)
    return BackupUnit.from_rundowns("mine", line, printed="1 kWh", rated="800 W")


# influences that a fit names after what they do, and the entry that their size comes from
DERIVED = {"bend of the loss": "resistive loss", "run to run": "run-to-run repeatability"}
MOVES = 2e-3  # of its spread: less is a draw's noise, for what is left is nearly linear in what goes in


def moving(account: Ledger) -> set[str]:
    """Return the influences that what is left really moves with, by least squares over all draws."""
    inputs = {f"{name} {number}": each[1:] for name, together in account.case.sampler.inputs.items()
              for number, each in enumerate(together)}  # fmt: skip
    left_wh = account.left.rows[1:]
    assert len(account.left.draws) == len(left_wh)
    slopes = np.linalg.lstsq(np.column_stack([*inputs.values(), np.ones(len(left_wh))]), left_wh, rcond=None)[0]
    return {name.rpartition(" ")[0] for name, slope, each in zip(inputs, slopes, inputs.values(), strict=False)
            if abs(slope) * each.std() > MOVES * left_wh.std()}  # fmt: skip


def entries_of(influence: str) -> set[str]:
    """Return the table's entries behind an influence; cold stands for its chemistry's points."""
    chemistry = influence.removesuffix(" in the cold")
    points = {name for name in NAMES if name.startswith("capacity at ") and name.endswith(f", {chemistry}")}
    return points or {DERIVED.get(influence, influence)} & set(NAMES)


def entering(account: Ledger) -> set[str]:
    """Return the table's entries that what is left rests on."""
    return {entry for influence in moving(account) for entry in entries_of(influence)}


def listed(account: Ledger) -> set[str]:
    return set(account.sources()["coefficient"])


def banded(names: set[str]) -> set[str]:
    """Return the entries that have a band, and so a place in a budget; cold stays whole, its 25 degC has none."""
    return {entry.name for entry in COEFFICIENTS.values()
            if entry.name in names and (entry.low < entry.high or entry.name.startswith("capacity at "))}  # fmt: skip


LOAD = Load.cycling("320 W", "70 %")  # above the rating, and not where the efficiency was stated
COLD = Outage("4 h", unit_at="-4 degC")
OF_THE_RIDE = {"rate of the moment"}  # what a load that varies brings, and the unit alone does not


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_a_unit_from_print_lists_what_enters_and_nothing_else(chemistry: str) -> None:
    account = ledger(LOAD, printed(chemistry=chemistry), COLD)
    assert banded(listed(account)) == entering(account) >= OF_THE_RIDE


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_a_measured_unit_lists_what_enters(chemistry: str) -> None:
    """Its bend and its spread of a run come from the table as well, under names of their own."""
    account = ledger(LOAD, measured(chemistry=chemistry), COLD)
    assert set(DERIVED.values()) <= entering(account)
    assert entering(account) == banded(listed(account)) >= OF_THE_RIDE


@pytest.mark.parametrize("unit", [printed(), measured()], ids=["printed", "measured"])
def test_all_doubt_of_a_unit_has_a_source(unit: BackupUnit) -> None:
    """All but the moment at which it catches the compressor; these runs have no meter and no spread of their own."""
    drawn = set(ledger(LOAD, unit, COLD).case.sampler.inputs)
    assert {name for name in drawn if not entries_of(name)} == {"moment in the cycle of the cycling load"}


AGED = {
    "fading, iron phosphate": lambda: ledger(LOAD, printed(health=aged("4 years", "iron phosphate")), COLD),
    "self-discharge, iron phosphate": lambda: ledger(
        LOAD, printed(), Outage("4 h", start=charge_after("4 months", "iron phosphate"))
    ),
    "draw per kelvin of room, refrigerator": lambda: ledger(
        LOAD.in_a_room_of("20 degC"), printed(), Outage("4 h", room="28 degC")
    ),
    "draw per kelvin of room, freezer": lambda: ledger(
        Load.steady("40 W").in_a_room_of("20 degC", "freezer"), measured(), Outage("4 h", room="2 degC")
    ),
}


@pytest.mark.parametrize("name", AGED)
def test_a_ledger_lists_what_comes_with_age_storage_and_rooms(name: str) -> None:
    account = AGED[name]()
    assert name in entering(account)
    assert name in listed(account)


OWN = TemperatureCurve.from_runs("iron phosphate", ("22 degC", "10 h"), ("-6 degC", "8.6 h"), repeatability="1 %")


@pytest.mark.parametrize(
    ("unit", "replaced"),
    [
        (printed(depth_of_discharge="80 %"), "depth of discharge, iron phosphate"),
        (printed(rating_hours="10 h"), "rating hours, iron phosphate"),
        (measured(rate_exponent="1.0"), "rate exponent, iron phosphate"),
        (measured(repeatability=Estimate.within("1.5 %", "0.2 %", "own")), "run-to-run repeatability"),
    ],
)
def test_what_the_user_s_own_number_replaced_is_not_listed(unit: BackupUnit, replaced: str) -> None:
    """An own spread of runs keeps its influence's name, and no longer its size from the table."""
    account = ledger(LOAD, unit, COLD)
    assert replaced not in entering(account) or replaced in DERIVED.values()
    assert replaced not in listed(account)


def test_an_own_cold_run_leaves_the_table_s_shape_and_none_of_its_doubt() -> None:
    account = ledger(LOAD, printed(curve=OWN), COLD)
    assert not [name for name in entering(account) if name.startswith("capacity at ")]
    assert {"cold run", "warm run"} <= moving(account)
    assert not [name for name in listed(account) if name.startswith("capacity at ")]
