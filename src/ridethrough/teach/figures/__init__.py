"""The kit's figures: one style, and each figure an ordinary function of what it shows.

Every function takes the `Figure` to draw on, so that a panel can keep one alive; without it, a new one is
made. Colours are of the Okabe-Ito palette and always come with a second cue. The background is opaque, so
the pictures read in a dark theme too.
"""

from .account import bars_figure, ledger_figure
from .base import canvas, img, png
from .curves import curves_figure, rundown_figure
from .draws import band_figure, parting_figure, trace_figure

__all__ = ["band_figure", "bars_figure", "canvas", "curves_figure", "img", "ledger_figure", "parting_figure", "png",
           "rundown_figure", "trace_figure"]  # fmt: skip
