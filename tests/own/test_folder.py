"""A folder of one's own: whatever is in it is read by its columns, and all that is wrong is told at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from ridethrough.answer.compare import compare
from ridethrough.measure.candidates import COLUMNS, read_units
from ridethrough.measure.meter import Meter
from ridethrough.measure.rundown import Rundown
from ridethrough.own.folder import KEYS, STATUS, OwnBench, read_bench
from ridethrough.teach.pantry import pantry_rundowns
from ridethrough.teach.scenario import example_bench, protocol
from ridethrough.units import Q_, Refusal

# Invented, and unlike the kit's own files in names, columns, units, marks and order.
FILES = {
    "Keller Truhe.csv": """Zaehler im Keller (erfunden)
Datum;Uhrzeit;Energie [kWh]
01.03.2026;08:00;1,200
01.03.2026;20:00;1,512
02.03.2026;08:00;1,790
02.03.2026;20:00;2,110
03.03.2026;08:00;2,395
04.03.2026;08:00;2,990
""",
    "by hand.csv": "elapsed,kWh\n0:00,0.00\n24:00,0.81\n48:00,1.66\n72:10,2.44\n",
    "tests of mine.csv": """date,model,room (°F),ran,energy (kWh),gauge (%),stopped,remarks
2026-02-01,Box 8,68,30 h,0.21,71,yes,had to leave
2026-02-04,Box 8,70,21 h 20 min,1.255,,no,
2026-02-06,Box 8,69,7 h,1.71,,,
2026-02-07,Box 8,69,,1.71,,,clock forgotten
2026-02-08,Box 8,69,7 h,1.71,,maybe,
2026-02-09,Box 9,,20 h,0.5,,,
2026-02-11,Box X,,20 h,0.5,,,
""",
    "boxes.csv": """\
name,capacity_wh,chemistry,standby_w,efficiency_percent,efficiency_at_w,rated_w,surge_w,pack_wh,packs_max
Box 7,1500,iron phosphate,,,,1200,2400,1400,2
Box 8,2100,iron phosphate,14,88,300,1800,3600,1400,1
Box 9,800,nickel-manganese-cobalt,7,88,150,600,,,
""",
    "shop.csv": """unit,item,price,currency,tax_included,date
Box 8,unit,810.00,USD,no,2026-01-05
Box 8,unit,770.00,USD,no,2026-02-20
Box 8,bundle,1290.00,USD,no,2026-02-20
Box 9,unit,390.00,USD,no,2026-02-20
""",
    "mine.toml": """[meters.plug]
accuracy = "2 %"
energy_step = "0.01 kWh"
[logs."Keller Truhe.csv"]
appliance = "chest freezer"
cabinet = "freezer"
room = "12 degC"
dayfirst = true
decimal = ","
[logs."by hand.csv"]
appliance = "fridge"
kind = "counter"
[outage]
lengths = ["18 h", "2 days"]
""",
}


def folder(place: Path, **changed: str | bytes) -> Path:
    """Write the files, some of them changed, added (their names with _ for a dot) or left out (empty)."""
    for name, text in (FILES | {name.replace("_", "."): text for name, text in changed.items()}).items():
        if text:
            (place / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    return place


def told(bench: OwnBench, where: str, status: str = "not read") -> str:
    rows = bench.report[(bench.report["where"] == where) & (bench.report["status"] == status)]
    return " / ".join(f"{row['found']} -> {row['to do']}" for _, row in rows.iterrows())


def test_from_files_to_an_answer(tmp_path: Path) -> None:
    bench = read_bench(folder(tmp_path))
    assert list(bench.draws) == ["chest freezer", "fridge"]
    assert bench.draws["fridge"].mean_power.value.magnitude == pytest.approx(2440 / (72 + 1 / 6))
    assert bench.draws["chest freezer"].mean_power.value.magnitude == pytest.approx(1790 / 72)
    assert "plug gain" in set(bench.draws["fridge"].mean_power.budget()["influence"])  # the only meter measured all
    assert [each.duration.magnitude for each in bench.outages] == [18, 48]
    assert bench.load.mean_power.value.magnitude == pytest.approx(2440 / (72 + 1 / 6) + 1790 / 72)
    assert list(bench.units) == ["Box 7", "Box 8", "Box 9"]
    table = compare(bench.load, bench.units, bench.outages)
    assert {"Box 7", "Box 8", "Box 9"} <= set(table["unit"])
    assert all(row in repr(bench) for row in ("appliances 2", "units 3", "units run down 1", "outages 2"))
    told_first = [STATUS.index(status) for status in bench.report["status"]]
    assert told_first == sorted(told_first)
    assert "<table" in bench._repr_html_()


def test_what_was_run_down_takes_the_place_of_its_print(tmp_path: Path) -> None:
    bench = read_bench(folder(tmp_path))
    measured, by_print = bench.units["Box 8"], read_units(tmp_path / "boxes.csv")["Box 8"]
    assert list(bench.lines) == ["Box 8"]
    assert measured.route.side == "outlet"
    assert (measured.printed, measured.ratings, measured.pack) == (by_print.printed, by_print.ratings, by_print.pack)
    assert measured.route.k1.value == by_print.inverter.k1.value
    assert bench.units["Box 9"].route.side == "battery"
    early = bench.lines["Box 8"].runs[0]
    assert isinstance(early, Rundown)
    assert (early.stopped_early, early.left.magnitude, early.hours) == (True, 71, "30 h")
    assert early.room.to("degC").magnitude == pytest.approx(20)
    assert {price.amount for price in bench.units.prices("Box 8")} == {810, 770, 1290}


def test_all_that_is_wrong_is_told_at_once(tmp_path: Path) -> None:
    bench = read_bench(folder(tmp_path, broken_csv=b"PK\x03\x04\x00\x00\x08\x00binary\x00", notes_md="# my notes"))
    assert "not text" in told(bench, "broken.csv")
    assert told(bench, "notes.md")
    assert "hours" in told(bench, "tests of mine.csv, row 5")
    assert "maybe" in told(bench, "tests of mine.csv, row 6")
    assert "two loads" in told(bench, "Box 9")
    assert "Add the row" in told(bench, "Box X")
    assert "efficiency" in told(bench, "Box 7", "missing")
    assert 'rt.protocol("run-down")' in told(bench, "Box 9", "from print")
    assert 'rt.protocol("start")' in told(bench, "fridge", "missing")
    assert "gaps: 1" in told(bench, "Keller Truhe.csv", "read")
    assert len(bench.draws) == 2
    assert {file.name for file in bench.files} == set(FILES)


def test_wrong_settings_are_told_and_the_others_hold(tmp_path: Path) -> None:
    odd = (
        FILES["mine.toml"].replace("energy_step", "energy_stepp")
        + 'room = "15 degC"\n[logs."gone.csv"]\n[sun]\nx = 1\n'
    )
    bench = read_bench(folder(tmp_path, mine_toml=odd, other_toml="[outage]\n"))
    assert "energy_stepp under [meters]" in told(bench, "mine.toml", "not used")
    assert "[sun]" in told(bench, "mine.toml", "not used")
    assert "Correct the name" in told(bench, "gone.csv", "not used")
    assert "mine.toml" in told(bench, "other.toml")
    assert bench.draws["fridge"].mean_power.u.magnitude > 0
    assert all(each.room is not None for each in bench.outages)


@pytest.mark.parametrize(
    "text", ["[outage\n", 'outage = "12 h"\n', '[meters]\naccuracy = "1 %"\n', '[outage]\nlengths = ["soon"]\n']
)
def test_settings_that_are_none_stop_nothing(tmp_path: Path, text: str) -> None:
    bench = read_bench(folder(tmp_path, mine_toml=text))
    assert "not read" in set(bench.report.loc[bench.report["taken for"] == "settings", "status"])
    assert "Box 8" in bench.lines


def test_a_meter_that_is_not_there_is_asked_for(tmp_path: Path) -> None:
    text = FILES["mine.toml"].replace('appliance = "fridge"', 'appliance = "fridge"\nmeter = "old one"')
    assert '[meters."old one"]' in told(read_bench(folder(tmp_path, mine_toml=text)), "by hand.csv")


def test_the_room_of_an_outage_needs_that_of_a_log(tmp_path: Path) -> None:
    text = FILES["mine.toml"].replace('room = "12 degC"\n', "") + 'room = "15 degC"\n'
    bench = read_bench(folder(tmp_path, mine_toml=text))
    assert "under [logs" in told(bench, "room 15 degC", "not used")
    assert [each.room for each in bench.outages] == [None, None]


def test_two_logs_of_one_appliance_count_once(tmp_path: Path) -> None:
    more = {"more_csv": "time,power (W)\n2026-01-01 08:00,90\n2026-01-01 09:00,95\n2026-01-01 10:00,0\n"}
    text = FILES["mine.toml"] + '[logs."more.csv"]\nappliance = "fridge"\n'
    bench = read_bench(folder(tmp_path, mine_toml=text, **more))
    assert len(bench.draws) == 2
    assert bench.draws["fridge"].days > 3  # by hand.csv, read before: two hours tell less
    assert "33.8 W" in told(bench, "fridge", "used in part")


def test_a_log_of_a_rundown_is_one(tmp_path: Path) -> None:
    log = "time,power (W)\n" + "".join(f"2026-01-10 {h:02}:00,{60 + h % 2}\n" for h in range(11))
    text = FILES["mine.toml"] + '[logs."run.csv"]\nrundown_of = "Box 9"\nroom = "19 degC"\n'
    bench = read_bench(folder(tmp_path, mine_toml=text, run_csv=log))
    assert "Box 9" in bench.lines
    assert len(bench.draws) == 2


def test_both_load_and_energy_are_told(tmp_path: Path) -> None:
    table = "hours;load (W);energy (Wh);stopped early\n12,5;60;740;no\n3,25;250;;no\n40;10;;no\n"
    text = FILES["mine.toml"] + '[rundowns]\nunit = "Box 9"\nroom = "20 degC"\n'
    bench = read_bench(folder(tmp_path, **{"tests of mine_csv": table}, mine_toml=text))
    assert told(bench, "tests of mine.csv, row 2", "used in part")
    first = bench.lines["Box 9"].points.iloc[0]
    assert first["load (W)"] == pytest.approx(740 / 12.5)
    assert first["room (degC)"] == 20


def test_a_column_is_known_by_its_unit_before_its_words(tmp_path: Path) -> None:
    table = "run,unit,load_w,hours\n1,Box 9,60,12.5\n2,Box 9,250,3.25\n3,Box 9,10,40\n"
    bench = read_bench(folder(tmp_path, **{"tests of mine_csv": table}))
    assert list(bench.lines["Box 9"].points["hours (h)"]) == [12.5, 3.25, 40]


def test_what_the_sheet_says_of_packs_stays_and_changes_its_side(tmp_path: Path) -> None:
    boxes = FILES["boxes.csv"].replace("packs_max\n", "packs_max,pack_standby_w\n").replace("1400,1\n", "1400,1,3\n")
    (tmp_path / "an older folder").mkdir()
    bench = read_bench(folder(tmp_path, boxes_csv=boxes))
    by_print, measured = read_units(tmp_path / "boxes.csv")["Box 8"], bench.units["Box 8"]
    on_outlet = by_print.pack_standby / (1 + by_print.inverter.k1)
    assert measured.pack_standby.value.magnitude == pytest.approx(on_outlet.value.magnitude)
    assert "an older folder" not in set(bench.report["where"])


@pytest.mark.parametrize("left_out", list(FILES))
def test_nothing_has_to_be_there(tmp_path: Path, left_out: str) -> None:
    bench = read_bench(folder(tmp_path, **{left_out: ""}))
    expected = {"boxes.csv": "no unit", "shop.csv": "no price", "mine.toml": "no outage wanted"}
    assert expected.get(left_out, "") in repr(bench)


def test_an_empty_folder_and_none(tmp_path: Path) -> None:
    bench = read_bench(tmp_path)
    assert set(bench.report["status"]) == {"missing"}
    assert len(bench.outages) == 4
    with pytest.raises(Refusal, match="report"):
        _ = bench.load
    with pytest.raises(Refusal, match="write_templates"):
        read_bench(tmp_path / "nowhere")
    with pytest.raises(Refusal, match="read_bench"):
        read_bench(3)  # type: ignore[arg-type]


def test_energy_without_its_unit_is_asked_for(tmp_path: Path) -> None:
    table = FILES["tests of mine.csv"].replace("energy (kWh)", "energy")
    assert "Wh or kWh" in told(read_bench(folder(tmp_path, **{"tests of mine_csv": table})), "tests of mine.csv, row 3")


def test_the_example_reads_whole() -> None:
    bench = read_bench(example_bench())
    assert str(bench) == "example-bench: appliances 1, units 6, units run down 1, outages 2"
    assert bench.draws["fridge-freezer"].running_power is not None  # the log, not the readings by hand
    assert list(bench.report.loc[bench.report["status"] == "not read", "where"]) == ["from-my-phone.csv"]
    runs = pantry_rundowns()["Unit B"]
    assert [(run.power(Meter()).value, run.lasts.value, run.room) for run in bench.lines["Unit B"].runs] == [
        (run.power(Meter()).value, run.lasts.value, Q_(run.room)) for run in runs
    ]


def test_every_page_that_is_pointed_to_is_there() -> None:
    import re

    words = Path(__file__).parents[2] / "src" / "ridethrough" / "own" / "missing.csv"
    pages = re.findall(r'rt\.protocol\(""([^"]+)""\)', words.read_text(encoding="utf-8"))
    assert len(pages) >= 3
    assert all(protocol(page) for page in pages)


def test_the_templates_hold_what_can_be_read() -> None:
    templates = Path(__file__).parents[2] / "src" / "ridethrough" / "teach" / "templates"
    assert (templates / "units.csv").read_text(encoding="utf-8").strip().split(",") == list(COLUMNS)
    settings = (templates / "bench.toml").read_text(encoding="utf-8")
    assert all(f"[{section}" in settings for section in KEYS)
