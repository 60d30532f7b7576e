"""Tables of units and prices: missing stays missing, and what can't be read is named with its row."""

from pathlib import Path

import pytest

from ridethrough.answer.compare import compare
from ridethrough.measure.bench import fit_rundowns
from ridethrough.measure.candidates import read_prices, read_units
from ridethrough.model.load import Load
from ridethrough.model.unit import BackupUnit
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


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        (["one,,1000,iron phosphate,9,5,88,300,800"], r"row 2: 9 cells below a heading of 8.*Put a cell with ','"),
        (["one,,1000,iron phosphate,9,88,300,800", "", "two,,1000,iron phosphate,9,88,300,800,7"], "row 4: 9 cells"),
        (['"one,,1000,iron phosphate,9,88,300,800', "two,,1000,iron phosphate,9,88,300,800"], r"row 2: .*Save it"),
    ],
)
def test_a_row_that_does_not_fit_its_heading_is_named(tmp_path: Path, rows: list[str], says: str) -> None:
    """A decimal comma too many, the same below an empty line, a quote that nothing closes."""
    with pytest.raises(Refusal, match=says) as refused:
        read_units(table(tmp_path, *rows))
    assert "tokeniz" not in str(refused.value)


def test_a_short_row_lacks_its_last_cells_and_separators_at_the_end_do_no_harm(tmp_path: Path) -> None:
    row = "one,,1000,iron phosphate,9,88,300"
    with pytest.raises(Refusal, match="without rated_w"):
        read_units(table(tmp_path, row))["one"]
    assert list(read_units(table(tmp_path, f"{row},800,,", "", f"two{row[3:]},800"))) == ["one", "two"]


@pytest.mark.parametrize(("split", "encoding"), [(";", "utf-8"), ("\t", "utf-16"), (";", "latin-1")])
def test_a_table_is_read_as_a_log_is(tmp_path: Path, split: str, encoding: str) -> None:
    """Semicolons or tabs between columns, then commas are decimal; and any encoding that a log may have."""
    file, prices = tmp_path / "mine.csv", tmp_path / "prices.csv"
    rows = [HEAD.strip().split(","), ["grün", "9 kg", "1040,5", "iron phosphate", "9.5", "88,5", "300", "800"]]
    file.write_text("".join(f"{split.join(row)}\n" for row in rows), encoding=encoding)
    priced = "unit;item;price;currency;tax_included;date\ngrün;unit;519,90;EUR;yes;2026-01-12\n"
    prices.write_text(priced.replace(";", split), encoding=encoding)
    units = read_units(file, prices=prices)
    assert units["grün"].printed.m_as("Wh") == 1040.5
    assert units["grün"].standby.value.m_as("W") == 9.5
    assert [price.amount for price in units.prices("grün")] == [519.9]


@pytest.mark.parametrize("capacity", ["1,040", "1.040"])
def test_a_mark_before_three_digits_is_never_read_as_a_decimal_one(tmp_path: Path, capacity: str) -> None:
    row = f"one;9 kg;{capacity};iron phosphate;9;88;300;800"
    with pytest.raises(Refusal, match="thousands mark"):
        read_units(table(tmp_path, row, head=HEAD.replace(",", ";")))


def test_an_excel_file_is_named_with_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "units.xlsx").write_bytes(b"PK\x03\x04\x14\x00\x06\x00" + bytes(40))
    with pytest.raises(Refusal, match=r"units\.xlsx: a file that is not text.*Save it as CSV"):
        read_units(tmp_path / "units.xlsx")


def test_a_row_that_can_not_be_a_unit_says_so_when_it_is_asked_for(tmp_path: Path) -> None:
    head = HEAD.replace("rated_w", "rated_w,surge_w")
    units = read_units(table(tmp_path, "one,,1000,iron phosphate,9,88,300,800,600",
                             "two,,1.05,iron phosphate,0,88,300,800,", head=head))  # fmt: skip
    for name, says in (("one", "one in mine.csv: surge=600 W beside rated=800 W"), ("two", "1.05 Wh.*Wh and kWh")):
        with pytest.raises(Refusal, match=says):
            units[name]


def test_a_measured_unit_stands_in_the_table_with_its_price() -> None:
    units = read_units(scenario.path("units.csv"), prices=scenario.path("prices.csv"))
    line = fit_rundowns([("0 W", "120 h"), ("60 W", "18 h"), ("250 W", "4.8 h")], room="20 degC")
    own = BackupUnit.from_rundowns("Unit B", line, printed="1430 Wh", rated="1150 W", pack="1210 Wh", packs_max=2)
    both = units.measured(own)
    assert both["Unit B"] is own
    assert list(both) == list(units)
    assert both["Unit C"].route.side == "battery"
    row = compare(Load.steady("45 W"), both, ["12 h"]).set_index("unit").loc["Unit B"]
    assert (row["price"], row["terms"]) == (989, "EUR with tax")


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
        ("Unit B,packs,1079,EUR,yes,2026-01-12", "row 2: the price of 'packs'.*unit, pack, bundle"),
        ("Unit B,unit,1079,kr,yes,2026-01-12", "row 2: the currency 'kr'.*ISO 4217.*SEK"),
        ("Unit B,unit,nan,EUR,yes,2026-01-12", "column price"),
    ],
)
def test_a_price_that_can_not_be_is_refused(tmp_path: Path, row: str, says: str) -> None:
    prices = table(tmp_path, row, head="unit,item,price,currency,tax_included,date\n")
    with pytest.raises(Refusal, match=says):
        read_units(scenario.path("units.csv"), prices=prices)


@pytest.mark.parametrize("above", ["", "Units of January\n", "Units of January,,,,,,,\n"])
@pytest.mark.parametrize("row", ["three,,,iron phosphate,,,,", "one,,1000,iron phosphate,9,88,300,800"])
def test_a_missing_column_is_named_whatever_stands_below_or_above(tmp_path: Path, above: str, row: str) -> None:
    """A row of words only is no line of names, and a line of names with one missing no preamble."""
    rows = (row, "two,,1000,iron phosphate,9,88,300,800")
    assert row[:3] in "".join(read_units(table(tmp_path, *rows, head=above + HEAD)))
    with pytest.raises(Refusal, match=r"columns name, weight, capacity_wh.*Needed: also rated_w\."):
        read_units(table(tmp_path, *(each.rpartition(",")[0] for each in rows),
                         head=above.replace(",\n", "\n") + HEAD.replace(",rated_w", "")))  # fmt: skip


def test_a_column_named_by_a_number_is_left_alone(tmp_path: Path) -> None:
    head = HEAD.replace("weight", "2026")
    assert list(read_units(table(tmp_path, "one,7,1000,iron phosphate,9,88,300,800", head=head))) == ["one"]


@pytest.mark.parametrize(("row", "missing"), [
    ("one,,1000,iron phosphate,,88,300,800", "standby_w"),
    ("one,,1000,iron phosphate,9,,,800", "efficiency_percent, efficiency_at_w"),
    ("one,,1000,iron phosphate,,,,800", "standby_w, efficiency_percent, efficiency_at_w"),
])  # fmt: skip
def test_a_band_may_stand_in_for_a_missing_number(tmp_path: Path, row: str, missing: str) -> None:
    units = read_units(table(tmp_path, row, "two,,1000,iron phosphate,9,88,300,800"))
    unit, said = units.reckoned("one")
    assert isinstance(unit, BackupUnit)
    assert said == f"assumed, not stated: {missing}"
    assert 1 < unit.standby.value.m_as("W") < 20
    assert units.reckoned("two") == (units["two"], "")
    with pytest.raises(Refusal, match=missing):
        units["one"]
    bench = BackupUnit.from_print("one", capacity="1 kWh", chemistry="iron phosphate", rated="800 W", standby="9 W",
                                  efficiency="88 %", at="300 W")  # fmt: skip
    assert units.measured(bench).reckoned("one") == (bench, "")


@pytest.mark.parametrize("row", ["one,,,iron phosphate,9,88,300,800", "one,,1000,iron phosphate,9,88,300,"])
def test_nothing_stands_in_for_a_capacity_or_a_rating(tmp_path: Path, row: str) -> None:
    found, _ = read_units(table(tmp_path, row)).reckoned("one")
    assert "one in mine" in str(found)


def test_prices_stand_alone_too(tmp_path: Path) -> None:
    (tmp_path / "prices.csv").write_text("unit,item,price,currency,tax_included,date\nmine,unit,9,EUR,,2026-01-12\n")
    assert [price.terms for price in read_prices(tmp_path / "prices.csv").of("mine")] == ["EUR tax not stated"]
    rate = "unit,item,price,currency,tax_included,date,tax_rate_percent\nmine,unit,9,EUR,no,2026-01-12,0.19\n"
    (tmp_path / "prices.csv").write_text(rate)
    with pytest.raises(Refusal, match=r"tax_rate_percent: '0\.19'"):
        read_prices(tmp_path / "prices.csv")
