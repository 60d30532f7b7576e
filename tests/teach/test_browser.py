"""Every lesson driven in a real Chromium, as a learner would: run all cells, move the controls, read the answer."""

import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page

ROOT = Path(__file__).parents[2]
LESSONS = sorted((ROOT / "lessons").glob("*.ipynb"))

EXTENT = "el => [el.getBoundingClientRect().top, el.querySelector('img').getBoundingClientRect().bottom]"


@contextmanager
def lab(folder: Path) -> Iterator[str]:
    """JupyterLab in a folder: its address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = subprocess.Popen(
        [sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--ip=127.0.0.1", f"--port={port}",
         "--IdentityProvider.token=", "--LabApp.news_url=", f"--ServerApp.root_dir={folder}"],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    url = f"http://127.0.0.1:{port}/lab"
    try:
        for _ in range(120):
            try:
                urllib.request.urlopen(url, timeout=2).close()
                break
            except OSError:
                time.sleep(0.5)
        yield url
    finally:
        server.terminate()
        server.wait(30)


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """JupyterLab on a copy of the lessons."""
    folder = tmp_path_factory.mktemp("lab") / "lessons"
    shutil.copytree(ROOT / "lessons", folder)
    with lab(folder) as url:
        yield url


def run_all_cells(page: Page) -> None:
    """Restart the kernel, run every cell, and wait until no prompt shows a star."""
    page.click('.lm-MenuBar-itemLabel:text-is("Kernel")')
    page.click('.lm-Menu-itemLabel:text-is("Restart Kernel and Run All Cells…")')
    page.click(".jp-Dialog button.jp-mod-accept")
    page.wait_for_timeout(2000)
    waiting = (
        "() => [...document.querySelectorAll('.jp-CodeCell .jp-InputPrompt')].some(p => p.textContent.includes('*'))"
    )
    page.wait_for_function(f"() => !({waiting})()", timeout=120_000)
    page.wait_for_timeout(500)


def follows(panel: Locator, act: Callable[..., object], *told: Any, **how: Any) -> str:
    """Act, wait for the panel's next picture, and return its sentence."""
    picture = panel.locator("img").first
    before = picture.get_attribute("src")
    act(*told, **how)
    panel.page.wait_for_function("([el, src]) => el.src !== src", arg=[picture.element_handle(), before])
    said = panel.locator("p").first.inner_text()
    assert not said.startswith("No answer"), said
    return said


@pytest.mark.parametrize("lesson", LESSONS, ids=lambda path: path.stem)
def test_a_learner_can_run_it_and_move_it(lesson: Path, browser: Browser, address: str) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 720})
    outside: list[str] = []
    page.on("request", lambda r: None if r.url.startswith(("data:", "blob:")) or "127.0.0.1" in r.url
            else outside.append(r.url))  # fmt: skip
    page.goto(f"{address}/tree/{lesson.name}?reset")
    page.wait_for_selector(".jp-Notebook", timeout=60_000)
    page.wait_for_timeout(2000)
    run_all_cells(page)
    failed = page.locator('.jp-RenderedText[data-mime-type="application/vnd.jupyter.error"], '
                          '.jp-RenderedText[data-mime-type="application/vnd.jupyter.stderr"]')  # fmt: skip
    assert failed.all_inner_texts() == []

    room = page.locator(".jp-WindowedPanel-outer").evaluate("el => el.clientHeight")
    sliders = page.locator(".rt-slider input[type=range]")
    assert sliders.count() >= 1
    for at in range(sliders.count()):
        slider = sliders.nth(at)
        slider.scroll_into_view_if_needed()
        panel = slider.locator("xpath=ancestor::*[contains(@class, 'widget-vbox')][last()]")
        sentence, picture = panel.locator("p").first, panel.locator("img").first
        at_its_end = slider.evaluate("el => el.value === el.max")
        seen = []
        for key in (
            ("Home", "End", "ArrowLeft") if at_its_end else ("End", "Home", "ArrowRight")
        ):  # not JupyterLab's own
            seen.append(follows(panel, slider.press, key))
            top, bottom = panel.evaluate(EXTENT)
            assert bottom - top <= room, "controls, sentence and picture do not fit on the screen together"
        assert len(set(seen)) == 3, "the sentence did not follow the slider"
        assert picture.get_attribute("alt") == sentence.inner_text().replace("\u00a0", " ")
        assert slider.evaluate("el => el.labels.length") == 1, "a slider without a label"
        assert panel.locator(".rt-late").count() == 0, "pale, though it is of where the slider stands"
        page.set_viewport_size({"width": 1024, "height": 768})
        panel.evaluate("el => el.classList.add('rt-large')")  # as on a projector
        wide, high = picture.evaluate("el => [el.naturalWidth / el.clientWidth, el.naturalHeight / el.clientHeight]")
        assert wide == pytest.approx(high, rel=0.01), "the picture is squeezed"
        panel.evaluate("el => el.classList.remove('rt-large')")
        page.set_viewport_size({"width": 1280, "height": 720})
        place = {"x": slider.bounding_box()["width"] / 3, "y": 8}
        slider.hover(position=place)
        page.wait_for_timeout(1500)  # a hand that rests: the kernel draws ahead
        at_once = follows(panel, slider.click, position=place)
        page.wait_for_timeout(700)
        assert sentence.inner_text() == at_once, "what was drawn ahead is not what the kernel says"
    for choice in page.locator(".rt-choice select").all():
        panel = choice.locator("xpath=ancestor::*[contains(@class, 'widget-vbox')][last()]")
        offered, opens = choice.locator("option").all_inner_texts(), choice.input_value()
        before, other = panel.locator("p").first.inner_text(), next(each for each in reversed(offered) if each != opens)
        now = follows(panel, choice.select_option, other)
        assert now != before, "the sentence did not follow the choice"
        assert choice.evaluate("el => el.labels.length") == 1, "a choice without a label"
    assert outside == []
    page.close()
