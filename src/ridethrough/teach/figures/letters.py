"""A canvas that keeps what it has drawn: most words and marks of a picture stood in the picture before."""

from __future__ import annotations

from math import ceil, floor
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg

_KEPT = 150  # words: 20 MB at most


class _Renderer(RendererAgg):
    """Draws like its parent, words from memory where it has drawn them in the same look."""

    def __init__(self, *size: float) -> None:
        super().__init__(*size)
        self._words: dict[Any, tuple[np.ndarray, int]] = {}

    def draw_text(
        self, gc: Any, x: float, y: float, s: str, prop: Any, angle: float, ismath: Any = False, mtext: Any = None
    ) -> None:
        """Draw text; see the parent."""
        if ismath or angle or gc.get_clip_rectangle() or gc.get_clip_path() != (None, None):
            super().draw_text(gc, x, y, s, prop, angle, ismath, mtext)
            return
        look = s, hash(prop), gc.get_rgb(), x % 1, y % 1
        if look not in self._words:
            if len(self._words) > _KEPT:
                self._words.clear()
            self._words[look] = self._written(gc, x % 1, y % 1, s, prop, mtext)
        pixels, below = self._words[look]
        self.draw_image(gc, floor(x) - below, int(self.height) - floor(y) - below, pixels)

    def _written(self, gc: Any, x: float, y: float, s: str, prop: Any, mtext: Any) -> tuple[np.ndarray, int]:
        """Return the pixels of a text that begins near (0, 0), upside down, and how far left and below they begin."""
        width, height, _ = self.get_text_width_height_descent(s, prop, False)
        around = 4 + ceil(height)
        page = RendererAgg(ceil(width) + 2 * around, 2 * around, self.dpi)
        page.draw_text(gc, around + x, around + y, s, prop, 0, False, mtext)
        return np.asarray(page.buffer_rgba())[::-1].copy(), around


class Canvas(FigureCanvasAgg):
    """A canvas that draws the marks and labels of its axes once, as long as they stay what they are."""

    _looks: Any = None
    _pixels: Any = None

    def get_renderer(self) -> _Renderer:
        """Return what draws, a new one where the size has changed."""
        size = (*self.get_width_height(physical=True), self.figure.dpi)
        kept = getattr(self, "renderer", None)
        if not isinstance(kept, _Renderer) or (kept.width, kept.height, kept.dpi) != size:
            self.renderer = _Renderer(*size)
        return self.renderer

    def draw(self) -> None:
        """Draw the figure: first what may be kept, then all the rest."""
        renderer, figure = self.get_renderer(), self.figure
        grounds = [part for axes in figure.axes for part in (axes.patch, axes.xaxis, axes.yaxis) if part.get_visible()]
        looks = [renderer, *(_looks(axes) for axes in figure.axes)]
        if looks != self._looks:
            renderer.clear()
            for part in (figure.patch, *grounds):
                part.draw(renderer)
            self._looks, self._pixels = looks, self.copy_from_bbox(figure.bbox)
        self.restore_region(self._pixels)
        for part in (figure.patch, *grounds):
            part.set_visible(False)
        try:
            figure.draw(renderer)
        finally:
            for part in (figure.patch, *grounds):
                part.set_visible(True)


def _looks(axes: Axes) -> list[Any]:
    """Return what decides how the marks and labels of axes look."""
    found: list[Any] = [axes.get_position().bounds, axes.viewLim.bounds, axes.get_facecolor()]
    for axis in (axes.xaxis, axes.yaxis):
        places, label = axis.get_majorticklocs(), axis.label
        texts = axis.get_major_formatter().format_ticks(list(places))
        found += [axis.get_visible(), axis.get_scale(), list(places), texts, str(axis.get_tick_params())]
        found += [label.get_text(), label.get_color(), label.get_fontsize(), label.get_fontweight()]
    return found
