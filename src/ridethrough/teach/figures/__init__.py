"""The kit's figures: each an ordinary function of what it shows, which draws on axes and explains its looks.

The style stands in ``kit.mplstyle``, the palette in ``palette``: a colour for each meaning, of the Okabe-Ito palette,
and always a second cue. `paint` empties a figure, so that a panel can keep one alive, and writes the two lines above.
"""

from .bars import bars_figure, capacity_figure, ledger_figure, outages_figure
from .base import Curve, Picture, canvas, img, paint, plain, png, svg, webp
from .curves import band_figure, curves_figure, rundown_figure, steps_figure
from .hours import charge_figure, emptying_figure, household_figure, parting_figure, starts_figure, trace_figure
from .palette import LOADS, OWN
