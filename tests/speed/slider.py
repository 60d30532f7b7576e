"""Time from a slider's move to the new picture, over the time a bare slider takes to have its value echoed.

Run it by hand: ``python tests/speed/slider.py [lessons/NN-title.ipynb ...]``, where Chromium is installed. For each
lesson JupyterLab shows its panel and a bare slider, whose callback in the kernel writes the value into a text. Moves go
to them by turns, so that a busy moment meets both alike; a picture counts when it is decoded and about to be painted.
Steps are arrow keys, jumps are clicks anywhere. A hand rests on a slider for half a second before it acts and as long
after it; meanwhile the panel draws ahead, near places first, and while it rests on the bare one nothing is drawn ahead.
It prints medians and their ratio, and is no test: the times of a shared machine belong in none. Wanted: 2 at most.
"""

from __future__ import annotations

import importlib.util
import statistics
import sys
import tempfile
from pathlib import Path
from types import ModuleType

import nbformat
from nbformat.v4 import new_code_cell
from playwright.sync_api import Locator, Page, sync_playwright

ROOT = Path(__file__).parents[2]
STEPS, PAUSE_MS = 24, 500
BARE = """\
import ipywidgets
from ridethrough.teach.panels import Slider
_slider, _echo = Slider("bare", 0, 100, 50, unit="W"), ipywidgets.HTML("<p>50</p>")
_slider.observe(lambda change: setattr(_echo, "value", f"<p>{change.new:g}</p>"), names="value")
ipywidgets.VBox([_slider, _echo])"""
WATCH = """box => {
  const state = (box.timed = {});
  for (const move of ['keydown', 'pointerdown'])
    box.addEventListener(move, () => { state.began = performance.now(); state.took = null; }, true);
  const done = () => requestAnimationFrame(() => { state.took ??= performance.now() - state.began; });
  new MutationObserver(changes => {
    const picture = changes.map(change => change.target).find(node => node.tagName === 'IMG');
    if (picture) picture.decode().then(done, () => {});
    else if (!box.querySelector('img') && changes.some(change => change.target.closest?.('.widget-html'))) done();
  }).observe(box, { childList: true, subtree: true, attributes: true, attributeFilter: ['src'] });
}"""


def tested(name: str) -> ModuleType:
    """Return a module of the lessons' tests: how they start a browser and JupyterLab, and run all cells."""
    spec = importlib.util.spec_from_file_location(name, ROOT / "tests" / "teach" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def shortened(lesson: Path, folder: Path) -> Path:
    """Write the lesson's code up to its panel, and the bare slider after it."""
    notebook = nbformat.read(lesson, as_version=4)
    cells = [cell for cell in notebook.cells if cell.cell_type == "code"]
    last = next(at for at, cell in enumerate(cells) if cell.source.endswith("\npanel"))
    notebook.cells = [*cells[: last + 1], new_code_cell(BARE)]
    nbformat.write(notebook, folder / lesson.name)
    return folder / lesson.name


def took(page: Page, box: Locator, key: str | None, share: float) -> float | None:
    """Return the time from a key, or from a click at a share of the slider's width, to what it changes [ms]."""
    slider = box.locator("input[type=range]").first
    place = {"x": 8 + share * (slider.bounding_box()["width"] - 16), "y": 8}  # type: ignore[index]
    slider.hover(position=place)  # type: ignore[arg-type]
    slider.focus()
    page.wait_for_timeout(PAUSE_MS)  # a hand aims; what the other slider's panel was drawing ahead is done by then
    if key:
        slider.press(key)
    else:
        slider.click(position=place)  # type: ignore[arg-type]
    page.wait_for_timeout(PAUSE_MS)
    return box.evaluate("box => box.timed.took")


def measure(page: Page, jumps: bool) -> tuple[list[float], list[float]]:
    """Return the times of the panel and of the bare slider, taken by turns [ms]."""
    boxes = page.locator(".widget-vbox:has(.rt-slider)")
    pair = boxes.first, boxes.last
    times: tuple[list[float], list[float]] = ([], [])
    for at in range(STEPS):
        share = 0.05 + 0.9 * (0.618 * at % 1)  # spread evenly, never twice the same way
        for box, found in zip(pair, times, strict=True):
            time = took(page, box, None if jumps else "ArrowRight" if at < STEPS / 2 else "ArrowLeft", share)
            found.extend([] if time is None else [time])  # at its end a slider does not move
    assert min(map(len, times)) >= STEPS / 2, "the sliders hardly moved"
    return times


def main(argv: list[str]) -> None:
    """Print medians and ratios, a line for each lesson."""
    browser, own = tested("test_browser"), tested("conftest")
    lessons = [Path(given) for given in argv] or browser.LESSONS
    folder = Path(tempfile.mkdtemp())
    with browser.lab(folder) as address, sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=own.CHROMIUM, args=own.FLAGS)
        for lesson in lessons:
            page = chromium.new_page(viewport={"width": 1280, "height": 720})
            page.goto(f"{address}/tree/{shortened(lesson, folder).name}?reset")
            page.wait_for_selector(".jp-Notebook", timeout=60_000)
            page.wait_for_timeout(2000)
            browser.run_all_cells(page)
            page.locator(".widget-vbox:has(.widget-html)").wait_for()  # the bare one, which comes last
            page.wait_for_timeout(1000)
            page.locator(".widget-vbox:has(.rt-slider)").evaluate_all(f"boxes => boxes.map({WATCH})")
            for jumps in (False, True):
                panel, bare = (statistics.median(times) for times in measure(page, jumps))
                print(f"{lesson.stem}, {'jumps' if jumps else 'steps'}: picture after {panel:.0f} ms, "
                      f"bare {bare:.0f} ms, ratio {panel / bare:.2f}", flush=True)  # fmt: skip
            page.close()


if __name__ == "__main__":
    main(sys.argv[1:])
