"""Pages to print, and a template that the reader of logs takes."""

from pathlib import Path

import pytest

from ridethrough.measure.draw import measure_draw
from ridethrough.measure.log import read_log
from ridethrough.teach.scenario import PAGES, protocol, reading_sheet, write_templates
from ridethrough.units import Refusal


@pytest.mark.parametrize("test", PAGES)
def test_every_page_has_its_cautions_and_defers(test: str) -> None:
    text = protocol(test)
    assert "**Cautions.**" in text
    assert "unattended" in text
    assert "local codes" in " ".join(text.split())


def test_a_page_is_shown_as_markdown() -> None:
    page = protocol("start")
    assert page == repr(page) == page._repr_markdown_()


def test_an_unknown_page_is_refused_with_the_list() -> None:
    with pytest.raises(Refusal, match="metering"):
        protocol("flying")


def test_the_template_filled_in_is_a_log(tmp_path: Path) -> None:
    write_templates(tmp_path)
    file = tmp_path / "counter.csv"
    with file.open("a", encoding="utf-8") as lines:
        lines.write("2026-01-10 08:00,12.31\n2026-01-11 20:00,13.39\n")
    assert measure_draw(read_log(file)).mean_power.value.magnitude == pytest.approx(30)


def test_the_sheet_has_its_lines() -> None:
    assert reading_sheet(7).count("|  |  |  |  |  |") == 7


def test_templates_fill_a_folder_and_keep_what_is_there(tmp_path: Path) -> None:
    place = tmp_path / "deep" / "my-bench"
    assert "5 files written. " in write_templates(place)
    (place / "units.csv").write_text("my own", encoding="utf-8")
    (place / "prices.csv").unlink()
    assert "1 files written, 4 kept" in write_templates(place)
    assert (place / "units.csv").read_text(encoding="utf-8") == "my own"
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(Refusal, match="can be written"):
        write_templates(tmp_path / "file")
