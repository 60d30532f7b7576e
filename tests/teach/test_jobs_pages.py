"""The lessons as pages that ask the network for nothing, and the folder of wheels."""

import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import html5lib
import nbformat
import pytest
from axe_playwright_python.sync_playwright import Axe
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output
from playwright.sync_api import Browser, Page

from ridethrough.teach import export, jobs
from ridethrough.teach.panels import SLEEPING
from ridethrough.units import Refusal

ROOT = Path(__file__).parents[2]
LESSON = ROOT / "lessons" / "02-standby-loss.ipynb"
OWN = ROOT / "lessons" / "11-your-own-bench.ipynb"
HIDDEN: dict[str, Any] = {"jupyter": {"source_hidden": True, "outputs_hidden": True}}


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One lesson of the kit, one whose panel is left out for its length, and one without a panel, as pages."""
    kit = tmp_path_factory.mktemp("lessons")
    shutil.copy(LESSON, kit)
    (kit / OWN.name).write_text(text_of(OWN).replace(SLEEPING, ""), encoding="utf-8")
    told = [
        new_markdown_cell("# 98 · Plain & <short>\n\nHow *long*?\n\nMore."),
        new_markdown_cell("Choose Run", metadata={"tags": ["setup"]}),
        new_code_cell("hidden = 1", metadata=HIDDEN, outputs=[new_output("stream", text="worked out")]),
        new_code_cell("shown = 2", outputs=[new_output("stream", text="Not answered yet. Replace None")]),
    ]
    nbformat.write(new_notebook(cells=told), kit / "98-plain.ipynb")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(jobs, "kit_folder", lambda name: kit)
        out = tmp_path_factory.mktemp("site")
        assert jobs.write_pages(out) == f"Lessons: 3. Open {out / 'index.html'}."
        with pytest.raises(Refusal, match="in it"):
            jobs.write_pages(out)
    return out


def text_of(page: Path) -> str:
    return page.read_text(encoding="utf-8")


def test_all_pages_are_right_html_and_linked(pages: Path) -> None:
    names = {page.name for page in pages.iterdir()}
    assert names == {"index.html", "98-plain.html", "02-standby-loss.html", "02-standby-loss-panel.html",
                     f"{OWN.stem}.html"}  # fmt: skip
    linked = {"index.html"}
    for page in pages.iterdir():
        html5lib.HTMLParser(strict=True).parse(text_of(page))
        linked |= set(re.findall(r'href="([^"#]+)"', text_of(page)))
    assert linked == names
    index = text_of(pages / "index.html")
    assert "98 · Plain &amp; &lt;short&gt;" in index
    assert "How long?" in index


def test_a_page_leaves_out_what_only_a_running_lesson_needs(pages: Path) -> None:
    plain, real = text_of(pages / "98-plain.html"), text_of(pages / "02-standby-loss.html")
    assert "shown" in plain
    for gone in ("hidden", "Choose Run", "Not answered yet", "sliders"):
        assert gone not in plain
    assert re.search(r"<summary>The worked solution</summary>.*worked out.*</details>", plain, re.DOTALL)
    assert "<title>98 · Plain &amp; &lt;short&gt;</title>" in plain
    for gone in (SLEEPING, "Wake the page", "No guess yet", "source_hidden"):
        assert gone not in real
    shown = [cell for cell in nbformat.read(LESSON, as_version=4).cells if cell.cell_type == "markdown"]
    heads = [head for cell in shown for head in re.findall(r"^## (.*?)(?: \(\*more\*\))?$", cell.source, re.MULTILINE)]
    assert len(heads) > 8
    assert all(head in real for head in heads if head != "Wake the page")


def test_a_page_asks_for_nothing_and_leads_to_its_panel(pages: Path, browser: Browser) -> None:
    asked: list[str] = []
    page = opened(browser, asked)
    page.goto((pages / "index.html").as_uri())
    page.get_by_role("link", name=export.title_of(LESSON)).click()
    assert page.title() == export.title_of(LESSON)
    assert all(page.eval_on_selector_all("img", "all => all.map(img => img.naturalWidth > 600 && img.alt > '')"))
    assert len(page.pdf(format="A4")) > 10_000
    page.get_by_role("link", name="Move its sliders").click()
    page.locator("#controls input").first.press("End")
    assert page.locator("#shown img").count() == 1
    assert asked
    assert not [url for url in asked if not url.startswith(("file:", "blob:", "data:"))]


@pytest.mark.parametrize("name", ["index", LESSON.stem, OWN.stem])
def test_a_screen_reader_finds_its_way(pages: Path, browser: Browser, name: str) -> None:
    page = opened(browser, [])
    page.goto((pages / f"{name}.html").as_uri())
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


def opened(browser: Browser, asked: list[str]) -> Page:
    page = browser.new_context(offline=True).new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.on("pageerror", lambda error: asked.append(str(error)))
    return page


# --- Wheels ----------------------------------------------------------------------------------------


def pip(patch: pytest.MonkeyPatch, status: int, said: str = "") -> list[list[str]]:
    """What pip is asked, in place of asking it: two wheels come, or it fails."""
    asked: list[list[str]] = []

    def run(line: list[str], **kept: Any) -> subprocess.CompletedProcess[str]:
        asked.append(line)
        folder = Path(line[line.index("-w") + 1])
        assert folder.is_dir()
        for name in ("a.whl", "b.whl") if not status else ():
            (folder / name).touch()
        return subprocess.CompletedProcess(line, status, "", said)

    patch.setattr(jobs.subprocess, "run", run)
    return asked


def test_wheels_are_asked_for_in_the_pinned_versions(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked, out = pip(monkeypatch, 0), tmp_path / "wheels"
    said = jobs.write_wheels(out)
    pins = str(ROOT / "binder" / "requirements.txt")
    assert asked == [[sys.executable, "-m", "pip", "wheel", "-q", "-c", pins, "-w", str(out), str(ROOT)]]
    assert said.startswith(f"Files: 2, for machines of this kind with Python 3.{sys.version_info.minor}.")
    assert "pip install -q --no-index --find-links wheels ridethrough" in said
    with pytest.raises(Refusal, match=r"a\.whl|b\.whl"):
        jobs.write_wheels(out)
    assert len(asked) == 1


@pytest.mark.parametrize(("said", "told"), [("\nERROR: no network\nmore", "no network"), ("", "status 2")])
def test_a_failing_pip_is_said(said: str, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pip(monkeypatch, 2, said)
    with pytest.raises(Refusal, match=f"pip, which failed: .*{told}"):
        jobs.write_wheels(tmp_path / "wheels")


def test_an_installed_kit_has_no_pins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs, "kit_folder", lambda name: tmp_path / name)
    with pytest.raises(Refusal, match="holds no pins"):
        jobs.write_wheels(tmp_path / "wheels")
    assert not (tmp_path / "wheels").exists()
