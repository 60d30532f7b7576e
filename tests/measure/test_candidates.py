"""Tables of units and prices: missing stays missing, and what can't be read is named with its row."""

from pathlib import Path

import pytest

from ridethrough.measure.candidates import read_units
from ridethrough.teach import scenario
from ridethrough.units import Refusal

HEAD = "name,weight,capacity_wh,chemistry,standby_w,efficiency_percent,efficiency_at_w,rated_w\n"


def table(tmp_path: Path, *rows: str, head: str = HEAD) -> Path:
    file = tmp_path / "mine.csv"
    file.write_text(head + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    return file


def test_the_pantrys_units_and_prices() -> None:
    units = read_units(scenario.path("units.csv"), prices=scenario.path("prices.csv"))
    assert len(units) == 6
    assert units["Unit B"].with_packs(1).printed > units["Unit B"].printed
    later = units.prices("Unit B", on="2026-02-15")
    assert {price.item for price in later} == {"unit", "pack", "bundle"}
    first = units.prices("Unit B", on="2026-01-15")
    unit_then, unit_later = (next(p.amount for p in found if p.item == "unit") for found in (first, later))
    assert unit_later < unit_then
    assert units.prices("Unit B", on="2025-01-01") == ()


def test_a_missing_number_stays_missing_and_is_named(tmp_path: Path) -> None:
    units = read_units(
        table(tmp_path, "one,9 kg,1000,iron phosphate,9,88,300,800", "two,,1000,iron phosphate,,88,300,800")
    )
    assert list(units) == ["one", "two"]
    assert units["one"].standby.value.magnitude == 9
    assert units.missing("two") == ["standby_w"]
    with pytest.raises(Refusal, match=r"two in mine\.csv without standby_w"):
        units["two"]
    with pytest.raises(Refusal, match="one, two"):
        units["three"]


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        (["one,,1.000,iron phosphate,nine,88,300,800"], "row 2, column standby_w: 'nine'"),
        (["one,,1000,iron phosphate,-9,88,300,800"], "zero or more"),
        (["one,,1000,iron phosphate,9,0.88,300,800"], "Write 88 if 88 % is meant"),
        (['one,,"1,000",iron phosphate,9,88,300,800'], "without unit or thousands mark"),
        (["one,,1000,iron phosphate,9,88,300,800"] * 2, "row 3: the name 'one' a second time"),
        ([",,1000,iron phosphate,9,88,300,800"], "no name"),
        ([], "without a row"),
    ],
)
def test_a_row_that_can_not_be_is_refused(tmp_path: Path, rows: list[str], says: str) -> None:
    with pytest.raises(Refusal, match=says):
        read_units(table(tmp_path, *rows))


def test_a_file_that_is_no_table_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match=r"nowhere\.csv"):
        read_units(tmp_path / "nowhere.csv")
    with pytest.raises(Refusal, match="also name, capacity_wh"):
        read_units(table(tmp_path, "1,2", head="a,b\n"))
    (tmp_path / "empty.csv").write_bytes(b"")
    with pytest.raises(Refusal, match=r"empty\.csv"):
        read_units(tmp_path / "empty.csv")


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("Unit B,unit,1 079,EUR,yes,2026-01-12", "column price"),
        ("Unit B,unit,1079,EUR,maybe,2026-01-12", "tax_included"),
        ("Unit B,unit,1079,EUR,yes,12.01.2026", 'Write "2026-02-01"'),
        ("Unit Z,unit,1079,EUR,yes,2026-01-12", "'Unit Z'"),
    ],
)
def test_a_price_that_can_not_be_is_refused(tmp_path: Path, row: str, says: str) -> None:
    prices = table(tmp_path, row, head="unit,item,price,currency,tax_included,date\n")
    with pytest.raises(Refusal, match=says):
        read_units(scenario.path("units.csv"), prices=prices)
