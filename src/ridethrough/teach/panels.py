"""Panels: controls over one pure function, readable without a kernel and comparable by nbval.

A panel is what JupyterLab shows alive; at its opening position it is ordinary output as well: a sentence, a
table and a picture, stored in the notebook and held to the library. Nothing is drawn through ``Output``. The
same panel can be published as a page that needs neither kernel nor network.
"""

from __future__ import annotations

import asyncio
import html
import re
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path
from typing import Any

import anywidget
import ipywidgets
import pandas as pd
import traitlets
from matplotlib.figure import Figure

from .controls import Choice, Control, Slider
from .figures import Picture, canvas, img, paint, webp

_FOLDER = Path(__file__).parent
_IDLE_S = 0.03  # how long nothing must happen before a picture is drawn ahead
_DRAWING = threading.RLock()  # a kernel hears of controls in one thread and runs cells in another
SLEEPING = "This panel is asleep. To wake it: menu Run, Run All Cells. Then drag its slider."


def together(text: str, blank: str = "&nbsp;") -> str:
    """Return text in which no number is parted from its unit at a line's end, by a ``blank`` that does not break."""
    return re.sub(r"(?<=\d) (?=[A-Za-z%°])", blank, text)


@dataclass(frozen=True)
class View:
    """What a panel shows at one position of its controls.

    Parameters
    ----------
    text : str
        The sentence with its numbers; also the picture's text alternative.
    table : pandas.DataFrame
        The numbers behind it.
    headline : str
        The picture's conclusion.
    picture : callable
        One of the kit's figures: draws on the axes it is given, and returns what the grey line explains.
    note : str
        Ends the grey line: where the data come from. For your own, ``dataclasses.replace(view, note="my own log")``.
    """

    text: str
    table: pd.DataFrame
    headline: str
    picture: Picture
    note: str = "invented data"

    def draw(self, figure: Figure) -> None:
        """Draw the picture with its two lines on a figure from `canvas`, in place of what that shows."""
        paint(figure, self.headline, self.note, self.picture)

    @property
    def sentence(self) -> str:
        """The sentence as HTML, no number parted from its unit."""
        return together(html.escape(self.text))

    @property
    def numbers(self) -> str:
        """The table as HTML."""
        return self.table.to_html(index=False, border=0, float_format="{:z,.1f}".format, justify="left")

    def _repr_html_(self) -> str:
        with _DRAWING:
            figure = canvas()
            self.draw(figure)
        return (
            f'<p style="font-size:17px">{self.sentence}</p>{img(figure, self.text)}'
            f"<details><summary>The numbers as a table</summary>{self.numbers}</details>"
        )

    def __repr__(self) -> str:
        return f"{self.text}\n\n{self.table.to_string(index=False, float_format='{:z,.1f}'.format)}"


class _Shown(anywidget.AnyWidget):
    """What a live panel shows: sentence, picture and numbers, or why there are none."""

    _esm = _FOLDER / "shown.js"
    _css = _FOLDER / "shown.css"
    controls = traitlets.List(traitlets.Instance(Control)).tag(sync=True, **ipywidgets.widget_serialization)
    shown = traitlets.Dict().tag(sync=True)

    def __repr__(self) -> str:
        return str(self.shown.get("text"))


class _Alive:
    """Shows where a panel's controls stand, and while a hand rests on one looks around from there."""

    def __init__(self, panel: Panel) -> None:
        self._panel, self._figure = panel, canvas()
        self._seen = dict[Sequence[Any], dict[str, Any]]()
        self._waiting: asyncio.TimerHandle | None = None
        self.shown = _Shown(controls=list(panel.controls.values()))
        for name, control in panel.controls.items():
            control.observe(partial(self._moved, name), names="value")
            control.on_msg(partial(self._touched, name))
        self._show()

    def _look(self, at: Sequence[Any]) -> dict[str, Any]:
        """Return what there is to see at a position, drawn once."""
        with _DRAWING:
            if at not in self._seen:
                view = self._panel.at(**dict(zip(self._panel.controls, at, strict=True)))
                view.draw(self._figure)
                self._seen[at] = {"at": at, "text": view.text, "sentence": view.sentence, "numbers": view.numbers,
                                  "kind": "webp", "picture": webp(self._figure)}  # fmt: skip
            return self._seen[at]

    def _show(self) -> None:
        try:
            with _DRAWING:  # of two threads the last one shows where the controls stand by then
                self.shown.shown = self._look(tuple(control.value for control in self._panel.controls.values()))
        except Exception as error:  # a callback's exception is invisible in JupyterLab: show it
            self.shown.shown = {"text": f"No answer here. {type(error).__name__}: {error}"}

    def _moved(self, name: str, change: Any) -> None:
        self._rest()
        self._show()
        aim = change.new
        if isinstance(aim, float):  # of two places as near, the next one on comes first
            aim += (change.new - change.old) / 1e6
        self._look_around(name, aim)

    def _touched(self, name: str, _control: Any, hand: Mapping[str, Any], _buffers: Any) -> None:
        """A hand aims at a place of a control, or left it."""
        self._rest()
        if hand["aim"] is not None:
            self._look_around(name, hand["aim"])

    def _look_around(self, name: str, aim: Any) -> None:
        """Draw where this control may go next, whenever nothing else has happened for a while."""
        at = {each: control.value for each, control in self._panel.controls.items()}
        near = [tuple((at | {name: place}).values()) for place in self._panel.controls[name].near(aim)]
        self._wait([place for place in reversed(near) if place not in self._seen])

    def _wait(self, ahead: list[Sequence[Any]]) -> None:
        with suppress(RuntimeError):  # outside a kernel nothing can wait
            self._waiting = asyncio.get_running_loop().call_later(_IDLE_S, self._ahead, ahead) if ahead else None

    def _ahead(self, ahead: list[Sequence[Any]]) -> None:
        with suppress(Exception):  # whoever goes there sees it
            seen = self._look(ahead.pop())
            self.shown.send({**seen, "picture": None}, [seen["picture"]])
        self._wait(ahead)

    def _rest(self) -> None:
        if self._waiting:
            self._waiting.cancel()


class Panel:
    """Controls over one pure function.

    Parameters
    ----------
    view : callable
        Takes the controls' values by name and returns a `View`, the same one for the same values.
    controls : Slider or Choice, by name
        One to three.

    Notes
    -----
    In code, ``panel.controls["standby_w"].value = 40`` moves a control, by the same callback that the mouse
    runs, and ``panel.now.text`` reads the sentence; ``panel.at(standby_w=40)`` looks without moving. An
    exception is shown in place of the picture.
    """

    def __init__(self, view: Callable[..., View], **controls: Slider | Choice) -> None:
        self._view, self.controls = view, controls

    @property
    def now(self) -> View:
        """The view at the present position."""
        return self.at()

    def at(self, **position: Any) -> View:
        """Return the view at another position, the controls left where they are."""
        return self._view(**{name: control.value for name, control in self.controls.items()} | position)

    def export(self, path: Any, *, title: str = "A panel to try", every: Mapping[str, int] | None = None) -> Path:
        """Write the panel as one page that needs neither kernel nor network, and return where it is.

        Parameters
        ----------
        path : str or pathlib.Path
            The HTML file to write [-].
        title : str
            Its heading [-].
        every : mapping from a control's name to int, optional
            ``{"hours": 2}`` takes every second place of that control. Without it, sliders take wider steps where
            there would be more than 300 positions [-].

        Raises
        ------
        Refusal
            If there is no such control.
        """
        from .export import page

        file = Path(path)
        file.write_text(page(self, title, every or {}), encoding="utf-8")
        return file

    def widget(self) -> ipywidgets.VBox:
        """Return the panel alive, always the same one."""
        return self._live

    @cached_property
    def _live(self) -> ipywidgets.VBox:
        alive = _Alive(self)
        return ipywidgets.VBox([*self.controls.values(), alive.shown])

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        positions = "; ".join(map(repr, self.controls.values()))
        view = self.now
        sleeping = f"<p><em>{SLEEPING} It stands at {html.escape(positions)}.</em></p>"
        readable = {"text/plain": f"[{positions}]\n{view!r}", "text/html": f"{sleeping}{view._repr_html_()}"}
        return self.widget()._repr_mimebundle_(**kwargs) | readable, {}
