"""Panels as pages that need neither kernel nor network, and the panels that lessons make.

A page holds every position of its controls, calculated beforehand: sentence, numbers and picture, the same as the
panel's. Neighbours are nearly alike, so what they share is stored once.
"""

from __future__ import annotations

import base64
import gzip
import html
import json
import re
from collections.abc import Mapping
from itertools import product
from math import prod
from pathlib import Path
from string import Template
from typing import Any

import nbformat

from ..units import Refusal
from .figures import canvas, svg
from .panels import Panel, Slider

MOST = 300  # positions of a page, unless more are asked for
_FOLDER = Path(__file__).parent
_TOO_FINE = re.compile(r"(?<=\d\d\.\d)\d+")  # of a place in a picture: less than a tenth of a point


def page(panel: Panel, title: str, every: Mapping[str, int]) -> str:
    """Return a panel as the text of an HTML file; see `Panel.export`."""
    places = _places(panel, every)
    controls = [_traits(panel.controls[name], found) for name, found in places.items()]
    opens = {name: each["value"] for name, each in zip(places, controls, strict=True)}
    blanks = {
        "title": html.escape(title),
        "css": _joined("css", "controls", "shown", "page"),
        "opening": panel.at(**opens)._repr_html_(),
        "opens": _listed(controls, "value"),
        "steps": _listed([each for each in controls if "step" in each], "step") or "none",
        "positions": base64.b64encode(gzip.compress(_packed(panel, controls, places), mtime=0)).decode(),
        "js": _joined("js", "controls", "shown", "page"),
    }
    return Template((_FOLDER / "page.html").read_text(encoding="utf-8")).substitute(blanks)


def _packed(panel: Panel, controls: list[dict[str, Any]], places: Mapping[str, list[Any]]) -> bytes:
    """Return every position as JSON: its texts cut at their tags, each part stored once."""
    parts: dict[str, int] = {}
    figure, positions = canvas(), []
    for position in product(*places.values()):
        view = panel.at(**dict(zip(places, position, strict=True)))
        view.draw(figure)
        texts = view.text, view.sentence, view.numbers, _TOO_FINE.sub("", svg(figure))
        positions.append([[parts.setdefault(part, len(parts)) for part in re.split("(?<=>)", text)] for text in texts])
    return json.dumps({"controls": controls, "parts": list(parts), "positions": positions}).encode()


def _places(panel: Panel, every: Mapping[str, int]) -> dict[str, list[Any]]:
    """Return where each control of the page can stand; with nothing asked, every second place of the finest slider."""
    if wrong := [name for name, nth in every.items() if name not in panel.controls or nth < 1]:
        raise Refusal(f"every={dict(every)}", "controls' names and whole numbers",
                      f"Wrong: {', '.join(wrong)}. Write: every={dict.fromkeys(panel.controls, 2)}")  # fmt: skip
    places = {name: control.places()[:: every.get(name, 1)] for name, control in panel.controls.items()}
    sliders = [name for name, control in panel.controls.items() if isinstance(control, Slider)]
    while not every and prod(map(len, places.values())) > MOST and any(len(places[name]) > 2 for name in sliders):
        finest = max(sliders, key=lambda name: len(places[name]))
        found, opens = list[Any](places[finest]), panel.controls[finest].value
        places[finest] = found[found.index(opens) % 2 if opens in found else 0 :: 2]  # where it opens stays
    return places


def _traits(control: Any, places: list[Any]) -> dict[str, Any]:
    """Return what a page's control needs: a slider opens at the place nearest to where the panel's stands."""
    if not isinstance(control, Slider):
        return {"label": control.label, "options": places, "value": control.value, "count": len(places)}
    nearest = min(places, key=lambda place: abs(place - control.value))
    step = round(places[1] - places[0], 9) if len(places) > 1 else control.step
    return {"label": control.label, "unit": control.unit, "low": places[0], "high": places[-1], "step": step,
            "value": nearest, "count": len(places)}  # fmt: skip


def _listed(controls: list[dict[str, Any]], key: str) -> str:
    """Return the labels with one of their numbers or words, as HTML."""
    said = ((each[key] if isinstance(each[key], str) else f"{each[key]:g} {each['unit']}") for each in controls)
    return html.escape("; ".join(f"{each['label']}: {words}" for each, words in zip(controls, said, strict=True)))


def _joined(kind: str, *names: str) -> str:
    """Return files of one kind, one after the other, without what only a notebook asks for."""
    texts = [(_FOLDER / f"{name}.{kind}").read_text(encoding="utf-8") for name in names]
    return "\n".join(text.partition("export default")[0] for text in texts)


def title_of(lesson: Path) -> str:
    """Return the first heading of a lesson."""
    texts = (cell.source for cell in nbformat.read(lesson, as_version=4).cells if cell.cell_type == "markdown")
    return next(line.removeprefix("# ") for text in texts for line in text.splitlines() if line.startswith("# "))


def panel_of(lesson: Path) -> Panel:
    """Return the panel that a lesson makes: its code cells are run in order, up to the one that names a ``panel``.

    Parameters
    ----------
    lesson : pathlib.Path
        A notebook whose code you trust [-].

    Raises
    ------
    Refusal
        If no cell makes one.
    """
    names: dict[str, Any] = {}
    for cell in nbformat.read(lesson, as_version=4).cells:
        if cell.cell_type == "code":
            exec(cell.source, names)
        if isinstance(names.get("panel"), Panel):
            return names["panel"]
    raise Refusal(f"{lesson}, which makes no panel", "a lesson with a panel", "Name it there: panel = ...")
