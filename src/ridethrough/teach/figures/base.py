"""What all figures share: a canvas that is drawn on again and again, and pictures as bytes."""

from __future__ import annotations

import base64
import html
import io
from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import chain
from math import ceil, floor
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pint
from matplotlib import rc_context, rc_params_from_file
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from PIL import Image

from ...known import Known
from .palette import INK

_STYLE = rc_params_from_file(Path(__file__).parents[1] / "kit.mplstyle", use_default_template=False)
_SHOWN = 0.75  # of the size drawn: controls, sentence and picture fit on a small screen
_WORDS = 150  # kept as drawn, as most stood in the picture before: 20 MB at most

About = Sequence[str]  # what the grey line explains of a picture
Picture = Callable[[Axes], About]


class Curve(NamedTuple):
    """One number for each place: its name, the values and the two ends of their 95 % intervals."""

    name: str
    value: np.ndarray
    low: np.ndarray
    high: np.ndarray

    @classmethod
    def of(cls, name: str, estimates: Sequence[Known]) -> Curve:
        """Return the curve through estimates of one unit."""
        ends = np.array([[plain(end) for end in each.interval()] for each in estimates])
        return cls(name, np.array([plain(each) for each in estimates]), *ends.T)

    @property
    def half(self) -> np.ndarray:
        """Half the widths of the intervals."""
        return (self.high - self.low) / 2


def plain(amount: Known | pint.Quantity) -> float:
    """Return an estimate's value, or a quantity, as a plain number in its own unit."""
    return float(amount.magnitude)


@lru_cache(_WORDS)
def _written(words: str, look: Any, colour: Any, dpi: float, x: float, y: float) -> tuple[np.ndarray, int]:
    """Return the pixels of words that begin near (0, 0), upside down, and how far left and below they begin."""
    width, height, _ = RendererAgg(1, 1, dpi).get_text_width_height_descent(words, look, False)
    around = 4 + ceil(height)
    page = RendererAgg(ceil(width) + 2 * around, 2 * around, dpi)
    ink = page.new_gc()
    ink.set_foreground(colour, isRGBA=True)
    page.draw_text(ink, around + x, around + y, words, look, 0)
    return np.asarray(page.buffer_rgba())[::-1].copy(), around


class _Renderer(RendererAgg):
    """Draws like its parent, words from memory where they were drawn in the same look."""

    def draw_text(self, gc: Any, x: float, y: float, s: str, prop: Any, angle: float, ismath: Any = False,
                  mtext: Any = None) -> None:  # fmt: skip
        """Draw text; see the parent."""
        if ismath or angle or gc.get_clip_rectangle() or gc.get_clip_path() != (None, None):
            super().draw_text(gc, x, y, s, prop, angle, ismath, mtext)
            return
        pixels, around = _written(s, prop, gc.get_rgb(), self.dpi, x % 1, y % 1)
        self.draw_image(gc, floor(x) - around, int(self.height) - floor(y) - around, pixels)


class Canvas(FigureCanvasAgg):
    """A canvas that draws the marks and labels of its axes once, as long as they stay what they are."""

    renderer: Any = None
    _looks: Any = None
    _ground: Any = None

    def get_renderer(self) -> Any:
        """Return what draws, a new one where the size has changed."""
        size = (*self.get_width_height(physical=True), self.figure.dpi)
        if self.renderer is None or size != (self.renderer.width, self.renderer.height, self.renderer.dpi):
            self.renderer = _Renderer(*size)
        return self.renderer

    def draw(self) -> None:
        """Draw the figure: first what may be kept, then all the rest."""
        renderer, marks = self.get_renderer(), [mark for axes in self.figure.axes for mark in (axes.xaxis, axes.yaxis)]
        looks = [renderer, *map(_look, marks)]
        if looks != self._looks:
            np.asarray(renderer.buffer_rgba())[:] = 255
            for mark in marks:
                mark.draw(renderer)
            self._looks, self._ground = looks, self.copy_from_bbox(self.figure.bbox)
        self.restore_region(self._ground)
        self.figure.draw(renderer)


def _look(axis: Axis) -> list[Any]:
    """Return what decides how the marks and the label of an axis look."""
    places, label = list(axis.get_majorticklocs()), axis.label
    return [
        axis.axes.get_position().bounds, axis.axes.viewLim.bounds, axis.get_visible(), axis.get_scale(), places,
        axis.get_major_formatter().format_ticks(places), str(axis.get_tick_params()),
        label.get_text(), label.get_color(), label.get_fontsize(), label.get_fontweight(),
    ]  # fmt: skip


def canvas() -> Figure:
    """Return an empty figure with one axes, in the kit's style."""
    with rc_context(_STYLE):
        figure = Figure()
        Canvas(figure)
        add_axes(figure)
    return figure


def add_axes(figure: Figure) -> Axes:
    """Return new axes with few marks and grouped thousands."""
    axes = figure.add_subplot()
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(5))
        axis.set_major_formatter("{x:,.4g}")
        axis.set_animated(True)  # `Canvas` draws it
    return axes


def paint(figure: Figure, headline: str, note: str, picture: Picture) -> None:
    """Draw a picture on a figure in place of what it shows, with the conclusion and the grey line above.

    Parameters
    ----------
    figure : Figure
        From `canvas`; a panel keeps one alive.
    headline, note : str
        The conclusion, and what ends the grey line, such as "invented data".
    picture : callable
        Draws on the axes it is given and returns what the grey line explains.
    """
    drawn = [(*axes.patches, *axes.lines, *axes.texts, *axes.collections) for axes in figure.axes]
    for artist in chain(figure.texts[:], *drawn):
        artist.remove()
    for axes in figure.axes:  # or a picture that sets no limits keeps those of the one before
        axes.relim()
        axes.autoscale()
    with rc_context(_STYLE):
        about = " · ".join(filter(None, (*picture(figure.axes[0]), note)))
        figure.text(0.03, 0.945, headline, fontsize=16, fontweight="bold")
        figure.text(0.03, 0.885, about, fontsize=11.5, color="dimgrey")


def beside(axes: Axes, y: float, words: str, x: float = 1.02, **look: Any) -> None:
    """Write to the right of the axes, or at a share ``x`` of their width."""
    axes.text(x, y, words, transform=axes.get_yaxis_transform(), **({"va": "center"} | look))


def level(axes: Axes, y: float, words: str, *, label_at: float | None = None, **look: Any) -> None:
    """Draw a line across the axes and name it beside them, higher up where there is no room."""
    axes.axhline(y, **look)
    beside(axes, y if label_at is None else label_at, words, 1.015, fontweight="bold", color=look.get("color", INK))


def clock(axes: Axes, begins: int, hours: float, first: int, step: int) -> None:
    """Mark hours from the beginning by the clock's time."""
    ticks = np.arange(first, hours, step)
    axes.set_xticks(ticks, [f"{(begins + int(hour)) % 24}:00" for hour in ticks])
    axes.set_xlabel("clock")


def apart(levels: Sequence[float], least: float) -> list[float]:
    """Return the heights of labels, moved up where they would lie on each other."""
    placed: dict[int, float] = {}
    for at in sorted(range(len(levels)), key=lambda n: levels[n]):
        placed[at] = max(levels[at], max(placed.values(), default=-np.inf) + least)
    return [placed[at] for at in range(len(levels))]


def pixels(figure: Figure) -> Image.Image:
    """Return the figure, from `canvas`, as it is drawn."""
    agg: Any = figure.canvas
    with rc_context(_STYLE):
        agg.draw()
    return Image.frombuffer("RGBA", agg.get_width_height(), agg.buffer_rgba(), "raw", "RGBA", 0, 1).convert("RGB")


def png(figure: Figure, colours: int | None = None) -> bytes:
    """Return the figure as a PNG file.

    Parameters
    ----------
    figure : Figure
        From `canvas`.
    colours : int, optional
        Reduce to so many colours: a smaller file for storing [-].
    """
    picture, file = pixels(figure), io.BytesIO()
    if colours is not None:
        picture = picture.quantize(colours, dither=Image.Dither.NONE)
    picture.save(file, "PNG", compress_level=1 if colours is None else 9)
    return file.getvalue()


def webp(figure: Figure) -> bytes:
    """Return the figure as a WebP file without loss, written as fast as can be: for a slider that moves."""
    file = io.BytesIO()
    pixels(figure).save(file, "WEBP", lossless=True, quality=0, method=0)
    return file.getvalue()


def svg(figure: Figure) -> str:
    """Return the figure as an SVG file, the same each time: letters as outlines, no date and no random names."""
    file = io.StringIO()
    with rc_context({**_STYLE, "svg.hashsalt": "ridethrough"}):
        figure.savefig(file, format="svg", metadata={"Date": None, "Creator": None})
    return file.getvalue()


def img(figure: Figure, alt: str) -> str:
    """Return the figure as an HTML image with its text alternative, smaller than drawn: sharp on fine screens."""
    data = base64.b64encode(png(figure, colours=64)).decode("ascii")
    width, height = (round(_SHOWN * side) for side in figure.canvas.get_width_height())
    return (
        f'<img alt="{html.escape(alt, quote=True)}" width="{width}" height="{height}" '
        f'style="max-width:100%;height:auto" src="data:image/png;base64,{data}">'
    )
