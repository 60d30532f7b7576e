"""The method sheet: a page that is valid and readable for everyone, with the library's numbers, and what it refuses.

Outside: html5lib 1.1 parses as the HTML standard says, strictly; axe-core, brought by axe-playwright-python 0.1.8, in
a real Chromium.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import html5lib
import pandas as pd
import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import Browser

from ridethrough import (
    BackupUnit,
    Load,
    Meter,
    Outage,
    Recharge,
    Refusal,
    compare,
    fit_rundowns,
    hand_readings,
    ledger,
    measure_draw,
    method_sheet,
    read_units,
    show,
)
from ridethrough.teach import pantry, scenario
from ridethrough.teach.sheet import Sheet

XHTML = "{http://www.w3.org/1999/xhtml}"
DAY = "2026-03-01"


@cache
def pantry_parts() -> dict[str, Any]:
    log, draw = pantry.kitchen_log(), pantry.kitchen_draw()
    units = read_units(scenario.path("units.csv"), prices=scenario.path("prices.csv"))
    account = ledger(draw.as_load(), units["Unit B"], Outage("24 h", start="97 %"))
    inputs = [scenario.path("kitchen-fridge-freezer.csv"), scenario.path("units.csv")]
    compared = compare(draw.as_load(), units, ["12 h", "3 days"])
    return {"account": account, "measured": [log, draw], "compared": compared, "inputs": inputs,
            "note": "invented data", "author": "The volunteers, pantry@example.org", "date": DAY,
            "question": "Does Unit B carry our fridge-freezer for a day?"}  # fmt: skip


def pantry_sheet(**about: Any) -> Sheet:
    return method_sheet(**pantry_parts() | about)


@cache
def garage_parts() -> dict[str, Any]:
    """A case unlike the pantry's: a unit by its run-downs with a pack, four loads with odd names, the mains back for
    hours, places by the hour, no price, no start measured."""
    meter = Meter("1.5 %", energy_step="0.01 kWh")
    line = fit_rundowns([("0 W", "70 h"), ("60 W", "14 h"), ("250 W", "4.1 h")], meter=meter, room="18 degC",
                        chemistry="nickel-manganese-cobalt")  # fmt: skip
    unit = BackupUnit.from_rundowns("Garage <b>box</b> & co", line, printed="1200 Wh", rated="600 W", k1="9 %",
                                    pack="800 Wh", packs_max=2).with_packs(1)  # fmt: skip
    readings = [("2026-01-10 08:00", "12.31"), ("2026-01-12 08:00", "13.97"), ("2026-01-13 20:00", "15.2")]
    log = hand_readings(readings, unit="kWh", meter=meter)
    draw = measure_draw(log, "fridge | one\nkitchen", room="19 degC")
    load = (draw.as_load() + Load.cycling("120 W", "30 %", "freezer ¦ 2", day_spread="50 Wh")
            + Load.daily([("18:00", "22:30", "30 W")], 'lights "eve" <i>') + Load.steady("6 W", "router"))  # fmt: skip
    mains = Recharge.mains([("10 h", "12 h"), ("30 h", "33 h")], power="300 W")
    outage = Outage("2 days", room="12 degC", unit_at=[f"{5 + 0.1 * hour:.1f} degC" for hour in range(48)],
                    reserve="50 Wh", recharge=mains, start="93 %", begins="17:30")  # fmt: skip
    account = ledger(load, unit, outage, draws=300, seed=7)
    return {"account": account, "measured": [draw, log, line], "date": DAY}


def garage_sheet(**about: Any) -> Sheet:
    return method_sheet(**garage_parts() | about)


@pytest.fixture(scope="module", params=[pantry_sheet, garage_sheet], ids=["pantry", "garage"])
def sheet(request: pytest.FixtureRequest) -> Sheet:
    return request.param()


def account_of(sheet: Sheet) -> Any:
    return sheet.figures["ledger"].picture.keywords["account"]  # type: ignore[attr-defined]


def plain(text: str) -> str:
    return re.sub(r"\s+", " ", text).strip()


def text_of(element: Any) -> str:
    return plain("".join(element.itertext()))


def tree_of(sheet: Sheet) -> Any:
    return html5lib.HTMLParser(strict=True).parse(sheet.html)


def table_of(sheet: Sheet, name: str) -> list[list[str]]:
    (found,) = (table for table in tree_of(sheet).iter(f"{XHTML}table") if table.get("class") == f"table-{name}")
    return [[text_of(cell) for cell in row] for row in found.iter(f"{XHTML}tr")]


def section(sheet: Sheet, name: str) -> dict[str, Any]:
    (found,) = (each for each in sheet.content["sections"] if each["id"] == name)
    return found


def amount(text: str) -> float:
    return float(text.replace("−", "-").replace(",", "").split()[0])


def hashes(folder: Path) -> dict[str, str]:
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


# --- The page --------------------------------------------------------------------------------------


def test_the_page_is_valid_html_with_its_parts_in_order(sheet: Sheet) -> None:
    tree = tree_of(sheet)  # raises at the first parse error
    assert tree.get("lang") == "en"
    levels = [int(each.tag[-1]) for each in tree.iter() if re.fullmatch(rf"{XHTML}h\d", str(each.tag))]
    assert levels[0] == 1
    assert set(levels[1:]) == {2}
    ids = [each.get("id") for each in tree.iter() if each.get("id")]
    assert len(ids) == len(set(ids))
    order = [each["id"] for each in sheet.content["sections"]]
    told = ["answer", "cautions", "ledger", "charge", "inputs", "measured", "sources", "uncertain", "left-out",
            "comparison", "repeat", "made", "edition"]  # fmt: skip
    assert order == [each for each in told if each != "comparison" or "comparison" in sheet.tables]


def test_every_table_has_heads_with_scope_and_as_many_cells(sheet: Sheet) -> None:
    tables = list(tree_of(sheet).iter(f"{XHTML}table"))
    assert len(tables) >= 8
    for table in tables:
        (head, *rows) = table.iter(f"{XHTML}tr")
        assert {cell.get("scope") for cell in head} == {"col"}
        assert rows
        for row in rows:
            assert len(row) == len(head)
            assert row[0].get("scope") == "row"


def test_every_picture_has_its_sentence(sheet: Sheet) -> None:
    pictures = list(tree_of(sheet).iter(f"{XHTML}img"))
    assert [each.get("alt") for each in pictures] == [plain(view.text) for view in sheet.figures.values()]
    assert all(each.get("src").startswith("data:image/svg+xml,%3C%3Fxml") for each in pictures)


def test_the_ledger_on_the_page_is_the_library_s(sheet: Sheet) -> None:
    account = account_of(sheet)
    _, *rows = table_of(sheet, "ledger")
    assert len(rows) == len(account.rows) > 8
    for row, line in zip(rows, account.lines, strict=True):
        low, high = line.energy.interval()
        assert row[0] == " ".join(line.label.split()).replace("¦", "|")
        assert [amount(cell) for cell in row[1:4]] == [
            pytest.approx(round(float(each.magnitude))) for each in (line.energy.value, low, high)
        ]
        assert row[4] == line.basis


def test_the_answer_is_the_account_s_with_its_give_or_take(sheet: Sheet) -> None:
    account, answer = account_of(sheet), plain(sheet.content["answer"])
    assert str(account.lasts) in answer
    assert account.verdict in answer
    page = text_of(tree_of(sheet))
    assert account.headline in page
    assert f"{account.needed}, asked in all" in page
    assert f'down to "usable": here {account.available}' in page or f"beginning, here: {account.available}" in page
    _, *totals = table_of(sheet, "totals")
    assert [amount(row[1]) for row in totals[:4]] == [
        amount(show(each)) for each in (account.lasts, account.available, account.needed, account.left)
    ]


def test_the_charge_through_time_comes_from_the_same_draws(sheet: Sheet) -> None:
    account, count = account_of(sheet), account_of(sheet).case.sampler.draws
    assert f"{round(account.chance * count):,} of {count:,} rides last" in sheet.figures["charge"].text
    assert sheet.record["draws"] == count


def test_cautions_stand_beside_the_answer_in_the_kit_s_words(sheet: Sheet) -> None:
    items = [plain(item) for item in section(sheet, "cautions")["items"]]
    assert pantry.CAUTION in items
    assert any("charged below 0 °C" in item for item in items)
    for caution in account_of(sheet).cautions:
        assert any(caution[1:] in item for item in items)


def test_every_coefficient_is_there_and_what_has_no_source_says_so(sheet: Sheet) -> None:
    sources, (_, *rows) = account_of(sheet).sources(), table_of(sheet, "sources")
    assert len(rows) == len(sources) > 5
    for row, source in zip(rows, sources["source"], strict=True):
        assert row[3] == source.split(": ")[0] + (", no source" if source.startswith("common practice") else "")
        assert row[4] == source.split(": ", 1)[1]


def test_shares_are_those_of_the_account(sheet: Sheet) -> None:
    shares, (_, *rows) = account_of(sheet).shares, table_of(sheet, "shares")
    assert [row[0] for row in rows] == [" ".join(name.split()).replace("¦", "|") for name in shares["influence"]]
    assert [amount(row[1]) for row in rows] == [pytest.approx(100 * share, abs=0.051) for share in shares["share"]]


def test_each_file_and_version_can_be_checked(tmp_path: Path) -> None:
    sheet, twin = pantry_sheet(), tmp_path / "units.csv"
    _, *rows = table_of(sheet, "files")
    for name, size, sha in rows:
        held = scenario.path(name).read_bytes()
        assert (amount(size), sha) == (len(held), hashlib.sha256(held).hexdigest())
    assert [name for name, _, _ in rows] == ["kitchen-fridge-freezer.csv", "units.csv"]
    versions = dict(table_of(sheet, "versions")[1:])
    assert versions["pandas"] == pd.__version__
    assert versions["python"] == ".".join(map(str, sys.version_info[:3]))
    assert method_sheet(account_of(sheet), inputs=str(scenario.path("units.csv"))).record["files"].keys() == {
        "units.csv"
    }
    twin.write_text("other", encoding="utf-8")
    two = method_sheet(account_of(sheet), inputs=[scenario.path("units.csv"), twin])
    assert [row[0] for row in table_of(two, "files")[1:]] == ["units.csv", "units.csv (2)"]


def test_the_meter_and_what_it_found_are_told() -> None:
    page = text_of(tree_of(pantry_sheet()))
    for told in ("1 % + 0.3 W", "109 regular whole cycles", "83.3 h", "unit of 2026-02-09", "invented data"):
        assert told in page
    assert page.count("the longest 0.675 h") == 1
    assert "measure_draw" not in page


def test_what_was_left_out_fits_the_case() -> None:
    kitchen, garage = (plain(" ".join(section(each, "left-out")["items"]))
                       for each in (pantry_sheet(), garage_sheet()))  # fmt: skip
    assert "taken as 25 °C" in kitchen
    assert "no start surge" not in kitchen
    assert "taken as new" in kitchen
    assert "Anything that flows in" in kitchen
    assert "Other units" not in kitchen
    assert "The start of the freezer | 2: no start surge was measured" in garage
    assert "The inverter's start: the largest power of the load was not measured" in garage
    assert "on the day of its run-downs" in garage
    assert "What the packs take for themselves" in garage
    assert "A measurement of the router" in garage
    assert "A measurement of the fridge" not in garage
    assert "Anything that flows in" not in garage
    assert "where the unit stands" not in garage
    assert "Other units, and prices" in garage


@pytest.mark.parametrize("after", ["00", "01", "02", "03"])
def test_what_went_in_is_measured_where_the_ledger_says_so(after: str) -> None:
    sheet = method_sheet(pantry.account(after), date=DAY)
    basis = {row[0].split(",")[0]: row[4] for row in table_of(sheet, "ledger")}
    known = {row[0]: row[2].split(",")[0] for row in table_of(sheet, "inputs")}
    assert known["Unit B, standby"] == ("measured" if basis["standby"] == "measured" else "its sheet")
    (draw,) = (said for what, said in known.items() if what.startswith("fridge-freezer, mean"))
    assert draw == basis["fridge-freezer"]


def test_an_inverter_that_is_too_small_is_the_answer() -> None:
    unit = BackupUnit.from_print("small", capacity="1 kWh", chemistry="iron phosphate", standby="9 W", rated="100 W",
                                 efficiency="88 %", at="80 W")  # fmt: skip
    sheet = method_sheet(ledger(Load.steady("150 W", "heater"), unit, "2 h"), date=date(2026, 3, 1))
    assert sheet.content["answer"].startswith("small does not carry the heater: its inverter is too small")
    assert "covered" not in sheet.content["answer"]
    assert "nothing on this sheet tells how" in section(sheet, "measured")["text"][0]


def test_a_run_beyond_what_was_looked_at_says_at_least() -> None:
    unit = BackupUnit.from_print("large", capacity="3 kWh", chemistry="iron phosphate", standby="5 W", rated="900 W",
                                 efficiency="90 %", at="80 W")  # fmt: skip
    mains = Recharge.mains([("4 h", "5 h")], power="200 W")
    sheet = method_sheet(ledger(Load.steady("20 W"), unit, Outage("8 h", recharge=mains)), date=DAY)
    assert "for at least 8 h" in plain(sheet.content["answer"])
    assert "a chance of more than 99 %" in plain(sheet.content["answer"])
    assert table_of(sheet, "totals")[1][1:] == ["at least 8 h", "8 h", "at least 8 h"]


def test_a_draw_that_is_not_in_the_account_says_so() -> None:
    sheet = pantry_sheet()
    other = method_sheet(account_of(sheet), measured=[measure_draw(pantry.store_log(), "freezer"),
                                                      fit_rundowns(
                                                          pantry.pantry_rundowns()["Unit A"])], date=DAY)  # fmt: skip
    assert [row[-1] for row in table_of(other, "draws")] == ["in this account", "no"]
    assert [row[-1] for row in table_of(sheet, "draws")] == ["in this account", "yes"]
    assert list(other.figures) == ["ledger", "charge", "run-downs-1"]


def test_a_notebook_shows_a_summary_only(sheet: Sheet) -> None:
    short = sheet._repr_html_()
    assert len(short) < 1200
    assert "<section" not in short
    parsed = text_of(html5lib.HTMLParser(strict=True).parseFragment(short))
    assert plain(sheet.content["answer"]) in parsed
    assert sheet.content["answer"] in repr(sheet)


# --- In a browser ----------------------------------------------------------------------------------


def test_axe_finds_nothing_where_an_edition_is_corrected(browser: Browser, tmp_path: Path) -> None:
    garage_sheet().write(tmp_path)
    again = pantry_sheet(edition=2, corrected="it was another unit", previous=tmp_path / "record.json")
    page = browser.new_page()
    page.set_content(again.html)
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    page.close()


@pytest.mark.parametrize("width", [1280, 400])
def test_nothing_is_found_by_axe_and_nothing_is_asked_of_the_network(
    sheet: Sheet, browser: Browser, width: int, tmp_path: Path
) -> None:
    file = tmp_path / "sheet.html"
    file.write_text(sheet.html, encoding="utf-8")
    page = browser.new_page(viewport={"width": width, "height": 900})
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(file.as_uri())
    page.wait_for_load_state("networkidle")
    assert {url for url in asked if not url.startswith("data:")} == {file.as_uri()}
    assert page.evaluate("[...document.images].every(image => image.naturalWidth > 0)")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    assert len(found.response["passes"]) > 15
    page.close()


def test_axe_finds_a_picture_without_its_sentence(browser: Browser) -> None:
    """Shows that the check above can fail."""
    page = browser.new_page()
    page.set_content(re.sub(r' alt="[^"]*"', "", pantry_sheet().html, count=1))
    assert "image-alt" in {each["id"] for each in Axe().run(page).response["violations"]}
    page.close()


# --- Files -----------------------------------------------------------------------------------------


def test_a_folder_gets_all_parts(sheet: Sheet, tmp_path: Path) -> None:
    assert "sheet.html" in sheet.write(tmp_path / "new" / "mine")
    place = tmp_path / "new" / "mine"
    assert (place / "sheet.html").read_text(encoding="utf-8") == sheet.html
    for name in sheet.figures:
        with Image.open(place / "figures" / f"{name}.png") as picture:
            assert picture.size == (1920, 1080)
        drawing = (place / "figures" / f"{name}.svg").read_text(encoding="utf-8")
        assert ElementTree.fromstring(drawing).get("viewBox") == "0 0 691.2 388.8"
        assert "<dc:date>" not in drawing
    back = pd.read_csv(place / "tables" / "ledger.csv")
    assert back["energy (Wh)"].to_numpy() == pytest.approx(account_of(sheet).rows["energy (Wh)"].to_numpy())
    head, rule, *rows = (place / "tables" / "ledger.md").read_text(encoding="utf-8").splitlines()
    assert (head, rule) == ("| line | energy | low | high | basis |", "|---|---:|---:|---:|---|")
    assert {line.count("|") for line in rows} == {6}
    assert len(rows) == len(back)


def test_the_pdf_is_tagged_and_dateless(sheet: Sheet) -> None:
    pdf = sheet.pdf
    assert pdf.startswith(b"%PDF-")
    for told in (b"<pdfuaid:part>1</pdfuaid:part>", b"/StructTreeRoot", b"/Lang"):
        assert told in pdf
    assert b"CreationDate" not in pdf
    assert sheet.content["question"].split()[0].encode() in pdf


def test_the_record_holds_the_numbers_behind_the_page(sheet: Sheet, tmp_path: Path) -> None:
    sheet.write(tmp_path)
    record, account = json.loads((tmp_path / "record.json").read_text(encoding="utf-8")), account_of(sheet)
    lines = list(record["numbers"].values())[2:]
    assert len(lines) == len(account.lines)
    for held, line in zip(lines, account.lines, strict=True):
        low, high = line.energy.interval()
        assert (held["line"], held["unit"]) == (line.label, "Wh")
        assert [held["value"], held["low"], held["high"]] == [
            pytest.approx(float(each.magnitude), abs=1e-6) for each in (line.energy.value, low, high)
        ]
    assert record["numbers"]["run time"]["value"] == pytest.approx(account.lasts.magnitude, abs=1e-6)
    assert (record["verdict"], record["chance"], record["edition"]) == (account.verdict, account.chance, 1)
    assert record["date"] == DAY


def test_the_same_inputs_give_the_same_bytes(tmp_path: Path) -> None:
    """In another process with other hashes, too."""
    garage_sheet().write(tmp_path / "one")
    script = (f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r}); from test_sheet import garage_sheet; "
              f"garage_sheet().write({str(tmp_path / 'two')!r})")  # fmt: skip
    subprocess.run([sys.executable, "-c", script], check=True, env=os.environ | {"PYTHONHASHSEED": "4711"})
    assert hashes(tmp_path / "one") == hashes(tmp_path / "two")
    assert len(hashes(tmp_path / "one")) > 15


def test_the_day_is_today_s_where_none_is_given() -> None:
    assert pantry_sheet(date=None).record["date"] == date.today().isoformat()


# --- Editions --------------------------------------------------------------------------------------


def test_the_same_sheet_can_be_written_again_and_another_one_can_not(tmp_path: Path) -> None:
    sheet = pantry_sheet()
    sheet.write(tmp_path)
    before = hashes(tmp_path)
    sheet.write(tmp_path)
    assert hashes(tmp_path) == before
    with pytest.raises(Refusal, match=r"edition=2, corrected="):
        pantry_sheet(author="somebody else").write(tmp_path)
    assert hashes(tmp_path) == before


def test_a_higher_edition_moves_the_earlier_one_aside(tmp_path: Path) -> None:
    garage_sheet().write(tmp_path)
    before = hashes(tmp_path)
    pantry_sheet(edition=2, corrected="it was another unit").write(tmp_path)
    assert hashes(tmp_path / "edition-1") == before
    assert not (tmp_path / "figures" / "run-downs-1.svg").exists()
    with pytest.raises(Refusal, match=r"edition=3"):
        garage_sheet().write(tmp_path)


def test_files_of_something_else_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / "sheet.html").write_text("my own", encoding="utf-8")
    with pytest.raises(Refusal, match="Choose another folder"):
        pantry_sheet().write(tmp_path)
    assert hashes(tmp_path).keys() == {"sheet.html"}
    (tmp_path / "taken").write_text("a file", encoding="utf-8")
    with pytest.raises(Refusal, match="a folder that can be written to"):
        pantry_sheet().write(tmp_path / "taken" / "below")


def test_the_reason_stands_on_top() -> None:
    page = pantry_sheet(edition=2, corrected="the meter's gain was read wrongly")
    assert page.content["correction"] == "Edition 2, corrected because the meter's gain was read wrongly"
    header = tree_of(page).find(f".//{XHTML}header")
    assert "corrected because the meter's gain was read wrongly" in text_of(header)
    assert "corrected" not in text_of(tree_of(pantry_sheet()).find(f".//{XHTML}header"))


def test_next_year_s_run_says_what_changed(tmp_path: Path) -> None:
    sheet = pantry_sheet()
    sheet.write(tmp_path)
    old = account_of(sheet)
    file = tmp_path / "units.csv"
    file.write_text("other", encoding="utf-8")
    longer = ledger(old.load, old.unit.with_standby("14 W"), Outage("24 h", start="97 %"))
    new = method_sheet(longer, edition=2, corrected="a year later", previous=tmp_path / "record.json", inputs=[file])
    rows = {row[0]: row[1:] for row in table_of(new, "changes")[1:]}
    assert rows["run time"][:2] == [str(old.lasts), str(longer.lasts)]
    assert rows["asked in all"][:2] == [str(old.needed), str(longer.needed)]
    assert rows["verdict"] == ["covered", longer.verdict, ""]
    (standby,) = (name for name in rows if name.startswith("standby"))
    assert amount(rows[standby][0]) == -264
    assert amount(rows[standby][1]) == -336
    assert "fridge-freezer, 24 h" not in rows
    assert rows["file kitchen-fridge-freezer.csv"][1] == "–"
    assert rows["file units.csv"][0] != rows["file units.csv"][1]
    assert "pandas" not in rows
    before, now = ({line.label: line.energy.magnitude for line in each.lines[:-1]} for each in (old, longer))
    moved = {label for label in before.keys() & now.keys() if abs(before[label] - now[label]) >= 1}
    assert moved <= rows.keys()
    assert "Against edition 1 of 2026-03-01" in plain(section(new, "changes")["text"][0])
    beyond = abs(336 - 264) > max(float(line.energy.expanded().magnitude) for each in (old, longer)
                                  for line in each.lines if line.label.startswith("standby"))  # fmt: skip
    assert rows[standby][2] == ("yes" if beyond else "no")


def test_a_change_within_a_watt_hour_is_told_only_beyond_its_give_or_take(tmp_path: Path) -> None:
    unit = pantry.pantry_unit()

    def of(watts: str, **about: Any) -> Sheet:
        load = Load.steady(watts, "pump 1") + Load.steady("9 W", "pump 2")
        return method_sheet(ledger(load, unit, "10 h"), date=DAY, **about)

    of("30 W").write(tmp_path)
    again = {"edition": 2, "corrected": "looked again", "previous": tmp_path / "record.json"}
    assert "Nothing moved" in section(of("30 W", **again), "changes")["text"][1]
    rows = {row[0]: row[3] for row in table_of(of("30.05 W", **again), "changes")[1:]}
    assert rows == {"pump 1, 10 h": "yes"}  # 0.5 Wh of an exact line; what is uncertain moved by less than 1 Wh


def test_versions_and_lines_that_come_and_go_are_told(tmp_path: Path) -> None:
    sheet = pantry_sheet()
    sheet.write(tmp_path)
    file = tmp_path / "record.json"
    record = json.loads(file.read_text(encoding="utf-8"))
    record["versions"]["numpy"] = "1.0"
    record["numbers"]["… of old"] = record["numbers"]["asked in all"] | {"line": "a line of old"}
    file.write_text(json.dumps(record), encoding="utf-8")
    new = pantry_sheet(edition=2, corrected="again", previous=file)
    rows = {row[0]: row[1:] for row in table_of(new, "changes")[1:]}
    assert rows.keys() == {"numpy", "a line of old"}
    assert rows["numpy"][0] == "1.0"
    assert rows["a line of old"][1] == "–"


@pytest.mark.parametrize(
    ("about", "said"),
    [
        ({"edition": 2}, 'Write edition=2, corrected="'),
        ({"edition": 0}, "a whole number of 1 or more"),
        ({"corrected": "no reason to"}, "edition=2"),
        ({"date": "1 March"}, "date='1 March'. Needed: year, month and day. Write \"2026-02-01\""),
        ({"inputs": ["nowhere.csv"]}, "nowhere.csv"),
        ({"measured": ["my log"]}, "draws, logs and run-down lines"),
        ({"measured": pantry.CAUTION}, "draws, logs and run-down lines"),
        ({"measured": 5}, "measured"),
        ({"inputs": "nowhere.csv"}, "nowhere.csv"),
        ({"inputs": scenario.path("units.csv").parent}, "an input file that can be read"),
        ({"compared": pd.DataFrame({"unit": ["A"]})}, "rt.compare"),
        ({"compared": "table"}, "rt.compare"),
        ({"previous": "nowhere.json"}, "record.json"),
        ({"previous": scenario.path("units.csv")}, "record.json"),
    ],
)
def test_what_is_refused(about: dict[str, Any], said: str) -> None:
    with pytest.raises(Refusal, match=re.escape(said)):
        method_sheet(pantry.account("01"), **about)


def test_an_account_is_needed_and_its_draws() -> None:
    with pytest.raises(Refusal, match=re.escape("rt.ledger(load, unit, outage)")):
        method_sheet("account")  # type: ignore[arg-type]
    first = pantry.account("01")
    with pytest.raises(Refusal, match="draws"):
        method_sheet(ledger(first.load, first.unit, first.outage, draws=0))


def test_an_edition_follows_the_previous_one(tmp_path: Path) -> None:
    pantry_sheet(edition=3, corrected="twice").write(tmp_path)
    with pytest.raises(Refusal, match="Write edition=4"):
        pantry_sheet(edition=3, corrected="again", previous=tmp_path / "record.json")
    later = {"edition": 4, "corrected": "again", "previous": tmp_path / "record.json"}
    with pytest.raises(Refusal, match='Write date="2026-03-01", or a later one'):
        pantry_sheet(**later, date="2026-02-28")
    assert pantry_sheet(**later, date="2026-03-01").record["edition"] == 4


def test_a_view_keeps_its_note() -> None:
    sheet = pantry_sheet(note="my own log")
    assert {view.note for view in sheet.figures.values()} == {"my own log"}
    assert replace(sheet.figures["ledger"], note="").note == ""
    assert plain(sheet.content["kicker"]).endswith("2026-03-01 · my own log")
