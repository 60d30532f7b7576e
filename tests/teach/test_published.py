"""Every lesson's panel as a published page: in a real browser without a network it says what the library says."""

import re
from pathlib import Path
from typing import Any

import html5lib
import nbformat
import numpy as np
import pandas as pd
import pytest
from axe_playwright_python.sync_playwright import Axe
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook
from playwright.sync_api import Browser, Page

from ridethrough.teach import export
from ridethrough.teach.figures import canvas, svg
from ridethrough.teach.panels import Choice, Panel, Slider, View
from ridethrough.units import Refusal

LESSONS = sorted((Path(__file__).parents[2] / "lessons").glob("*.ipynb"))
NUMBER = re.compile(r"-?\d+\.?\d*(?:e-?\d+)?")


@pytest.fixture(scope="module", params=LESSONS, ids=lambda path: path.stem)
def published(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Panel, Path]:
    panel = export.panel_of(request.param)
    file = tmp_path_factory.mktemp("pages") / "page.html"
    return panel, panel.export(file, title=export.title_of(request.param))


def opened(browser: Browser, file: Path, asked: list[str], **context: Any) -> Page:
    """The page without a network; what it asks for is noted."""
    page = browser.new_context(viewport={"width": 1280, "height": 720}, offline=True, **context).new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.on("pageerror", lambda error: asked.append(str(error)))
    page.goto(file.as_uri())
    return page


def position(page: Page, panel: Panel) -> dict[str, Any]:
    """Where the page's controls stand, in the panel's order."""
    values = [box.input_value() for box in page.locator("#controls input, #controls select").all()]
    return {
        name: float(value) if isinstance(control, Slider) else value
        for (name, control), value in zip(panel.controls.items(), values, strict=True)
    }


def numbers_of(picture: str) -> np.ndarray:
    return np.array([float(number) for number in NUMBER.findall(picture)])


def assert_same(page: Page, view: View) -> None:
    """Sentence, text alternative, table and picture are the view's."""
    sentence, picture = page.locator("#shown p"), page.locator("#shown img")
    assert sentence.inner_text().replace("\u00a0", " ") == view.text == picture.get_attribute("alt")
    cells = page.eval_on_selector_all("#shown td", "all => all.map(cell => cell.textContent)")
    table = view.table.to_numpy().flat
    assert cells == [f"{cell:,.1f}".replace("nan", "NaN") if isinstance(cell, float) else str(cell) for cell in table]
    figure = canvas()
    view.draw(figure)
    mine, theirs = svg(figure), page.evaluate("fetch(document.querySelector('#shown img').src).then(r => r.text())")
    assert NUMBER.sub("", mine) == NUMBER.sub("", theirs)
    np.testing.assert_allclose(numbers_of(theirs), numbers_of(mine), atol=0.1)
    assert picture.evaluate("img => img.decode().then(() => img.naturalWidth)") > 600


def test_it_is_small_and_its_markup_is_right(published: tuple[Panel, Path]) -> None:
    _, file = published
    assert file.stat().st_size < 3e6
    html5lib.HTMLParser(strict=True).parse(file.read_text(encoding="utf-8"))


def test_it_says_what_the_library_says(published: tuple[Panel, Path], browser: Browser) -> None:
    panel, file = published
    asked: list[str] = []
    page = opened(browser, file, asked)
    seen = set()
    for control in page.locator("#controls input, #controls select").all():
        control.focus()
        for key in ("End", "ArrowLeft", "ArrowUp", "Home", "ArrowRight", "ArrowRight"):
            page.keyboard.press(key)
            page.wait_for_timeout(50)
            assert_same(page, panel.at(**position(page, panel)))
            seen.add(page.locator("#shown p").inner_text())
    assert len(seen) >= 4
    assert not [url for url in asked if not url.startswith(("file:", "blob:", "data:"))]
    assert page.locator("#shown img").evaluate("img => img.getBoundingClientRect().bottom") <= 720


def test_a_screen_reader_finds_its_way(published: tuple[Panel, Path], browser: Browser) -> None:
    page = opened(browser, published[1], [])
    page.locator("#shown summary").click()
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    for control in page.locator("#controls input, #controls select").all():
        assert control.evaluate("el => el.labels.length") == 1
    assert page.locator("#shown p").get_attribute("aria-live") == "polite"


def test_without_scripts_it_shows_where_it_opens(published: tuple[Panel, Path], browser: Browser) -> None:
    panel, file = published
    page = opened(browser, file, [], java_script_enabled=False)
    opening = panel.now.text
    assert "one position only" in page.locator("noscript").inner_text()
    assert page.locator("#shown > p").inner_text().replace("\u00a0", " ") == opening
    assert page.locator("#shown img").get_attribute("alt") == opening


# --- Panels of other people ------------------------------------------------------------------------


def view(x: float, which: str = "one", y: float = 0) -> View:
    table = pd.DataFrame({"x <W>": [x], "missing": [np.nan]})
    return View(f"x < {x:g} & {which} $5 </script> {y:g}", table, f"x {x:g}", lambda axes: axes.plot([0, x]) and ())


def other() -> Panel:
    x, y = Slider("x <W>", 0.1, 0.75, 0.4, unit="kWh/$", step=0.1), Slider("y", -20, 400, 7, unit="°C")
    return Panel(view, which=Choice("which one", ["one", "two", '"three" & more']), x=x, y=y)


def test_words_of_any_kind_and_uneven_steps(tmp_path: Path, browser: Browser) -> None:
    panel = other()
    file = panel.export(tmp_path / "other.html", title="A < B & $C", every={"y": 60})
    html5lib.HTMLParser(strict=True).parse(file.read_text(encoding="utf-8"))
    asked: list[str] = []
    page = opened(browser, file, asked)
    assert page.title() == "A < B & $C"
    assert position(page, panel) == {"which": "one", "x": 0.4, "y": -20 + 0}
    for nth, key in ((1, "End"), (2, "End"), (0, "End"), (1, "ArrowLeft"), (2, "ArrowLeft")):
        page.locator("#controls input, #controls select").nth(nth).press(key)
        page.wait_for_timeout(50)
        assert_same(page, panel.at(**position(page, panel)))
    assert position(page, panel) == {"which": '"three" & more', "x": 0.6, "y": 340}
    assert "y: 60 °C" in page.locator("footer").inner_text()
    assert all(url.startswith(("file:", "blob:")) for url in asked)


def test_too_many_positions_take_wider_steps() -> None:
    places = export._places(other(), {})
    assert {name: len(found) for name, found in places.items()} == {"which": 3, "x": 7, "y": 13}
    assert places["y"][:2] == [7, 39]  # 7 is where it opens


def test_choices_alone_make_a_page(tmp_path: Path) -> None:
    panel = Panel(lambda which: view(1, which), which=Choice("which one", ["one", "two"], "two"))
    assert "Steps of its sliders: none." in panel.export(tmp_path / "page.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("every", [{"x": 0}, {"z": 2}])
def test_another_control_is_refused(every: dict[str, int], tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="controls' names"):
        other().export(tmp_path / "page.html", every=every)


def test_a_lesson_s_panel_is_published_under_its_heading_and_one_without_is_refused(tmp_path: Path) -> None:
    made = """
from ridethrough.teach.panels import Panel, Slider, View
import pandas as pd
slider = Slider("x", 0, 2, 1, unit="W")
panel = Panel(lambda x: View(f"{x:g}", pd.DataFrame({"x": [x]}), "x", lambda axes: ()), x=slider)"""
    for name, cells in {"a": [new_code_cell("1")], "b": [new_markdown_cell("# B & C"), new_code_cell(made)]}.items():
        nbformat.write(new_notebook(cells=cells), tmp_path / f"{name}.ipynb")
    with pytest.raises(Refusal, match="which makes no panel"):
        export.panel_of(tmp_path / "a.ipynb")
    lesson = tmp_path / "b.ipynb"
    page = export.panel_of(lesson).export(tmp_path / "b.html", title=export.title_of(lesson))
    assert "<h1>B &amp; C</h1>" in page.read_text(encoding="utf-8")
