"""The record of a method sheet: its numbers with intervals, for the next edition to be compared with."""

from __future__ import annotations

import hashlib
import json
import math
import platform
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pandas as pd

from ..answer.ledger import Ledger
from ..known import Known, apart
from ..units import Refusal, of_kind

FORM = "ridethrough method sheet 1"
_PACKAGES = ("ridethrough", "numpy", "pandas", "pint", "scipy", "uncertainties")
_LEAST = {"Wh": 1.0, "h": 0.1}  # what moved by less is told only where it is more than its give or take
_ABSENT = {"said": "–", "value": math.nan, "low": math.nan, "high": math.nan}


def files_of(given: str | Path | Sequence[str | Path]) -> dict[str, dict[str, Any]]:
    """Return size and SHA-256 of each file by its name, or refuse one that can't be read."""
    needed, remedy = "an input file that can be read", 'Write inputs=["my-folder/freezer.csv"].'
    listed = [given] if isinstance(given, str | Path) else of_kind(given, Iterable, "inputs", needed, remedy)
    paths = [Path(of_kind(path, str | Path, "inputs", needed, remedy)) for path in listed]
    try:
        held = [path.read_bytes() for path in paths]
    except OSError as error:
        raise Refusal(f"{error.filename} ({error.strerror})", needed, remedy) from None
    return {name: {"bytes": len(each), "sha256": hashlib.sha256(each).hexdigest()}
            for name, each in zip(apart(path.name for path in paths), held, strict=True)}  # fmt: skip


def record_of(account: Ledger, compared: pd.DataFrame | None, **about: Any) -> dict[str, Any]:
    """Return all that an account says as text and plain numbers, after what is told ``about`` it."""
    sampler, lines, shares = account.case.sampler, account.lines, account.shares
    keys = apart([line.topic for line in lines[:-1]] + ["left over, or missing"])
    numbers = {"run time": _told(account.lasts), "asked in all": _told(account.needed)}
    numbers |= {key: {"line": line.label, "basis": line.basis, **_told(line.energy)}
                for key, line in zip(keys, lines, strict=True)}  # fmt: skip
    return about | {
        "form": FORM, "draws": sampler.draws, "seed": sampler.seed,
        "versions": {"python": platform.python_version()} | {name: version(name) for name in _PACKAGES},
        "load": [{"name": a.name, "measured": a.measured, **_told(a.mean_power)} for a in account.load.appliances],
        "unit": repr(account.unit), "outage": repr(account.outage), "inverter": account.inverter,
        "verdict": account.verdict, "chance": account.chance, "cautions": list(account.cautions), "numbers": numbers,
        "shares": dict(zip(shares["influence"], shares["share"].round(6), strict=True)),
        "compared": None if compared is None else plain_rows(compared),
    }  # fmt: skip


def _told(known: Known) -> dict[str, Any]:
    """Return what is said of a number, its value and the ends of its 95 % interval, and their unit."""
    value, (low, high) = known.value, known.interval()
    numbers = {"value": value, "low": low, "high": high}.items()
    said = {"said": str(known), "unit": f"{value.units:~P}"}
    return said | {name: round(float(number.magnitude), 6) for name, number in numbers}


def plain_rows(table: pd.DataFrame) -> list[Any]:
    """Return a table's rows by column, None where a number is missing."""
    return table.astype(object).where(table.notna(), None).to_dict("records")


def written(record: Mapping[str, Any]) -> str:
    """Return a record as the text of its file."""
    return json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def read_record(path: str | Path, remedy: str = 'Write previous="my-sheet/record.json".') -> dict[str, Any]:
    """Return the record of an edition, or refuse what is none."""
    with suppress(OSError, ValueError, TypeError, KeyError):
        record: dict[str, Any] = json.loads(Path(path).read_text(encoding="utf-8"))
        if record["form"] == FORM:
            return record
    raise Refusal(f"{path} as a record", "the record.json of a method sheet", remedy)


def changes(before: Mapping[str, Any], now: Mapping[str, Any]) -> list[tuple[str, ...]]:
    """Return what differs between two records: what, before, now, and whether it is beyond its give or take."""
    words = [_texts(each) for each in (before, now)]
    told = [(what, *(each.get(what, "–") for each in words), "") for what in dict.fromkeys([*words[1], *words[0]])]
    found = [row for row in told if row[1] != row[2]]
    for what in dict.fromkeys([*now["numbers"], *before["numbers"]]):
        old, new = (each["numbers"].get(what, _ABSENT) for each in (before, now))
        moved, half = abs(new["value"] - old["value"]), max(each["high"] - each["low"] for each in (old, new)) / 2
        if moved <= half and moved < _LEAST[new["unit"]]:
            continue
        beyond = "yes" if moved > half else "no"
        found.append(((old | new).get("line", what), old["said"], new["said"], "" if math.isnan(moved) else beyond))
    return found


def _texts(record: Mapping[str, Any]) -> dict[str, str]:
    """Return what two records are compared in word by word."""
    files = {f"file {name}": f"SHA-256 {file['sha256'][:8]}…" for name, file in record["files"].items()}
    chance = f"{100 * record['chance']:.0f} %"
    return {"verdict": record["verdict"], "chance to last": chance, **files, **record["versions"]}
