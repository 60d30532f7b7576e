"""A colour for each meaning, of the Okabe-Ito palette, the same in all lessons."""

from collections.abc import Sequence
from typing import Any

APPLIANCE, OWN = "#C44E00", "#E69F00"  # vermilion: what is plugged in takes; orange: what the unit takes for itself
HELD, KEPT = "#0072B2", "#56B4E9"  # blue: what a unit gives; sky: what stays in it
LEFT, SHORT = "#009E73", "#A3487D"  # green: what is left over; purple: what is missing, and when
MAINS, INK = "#F0E442", "#222222"
ASSUMED: dict[str, Any] = {"color": "#C9C9C9", "hatch": "///"}  # nothing else is hatched or grey
SUM_ASSUMED: dict[str, Any] = {"color": "#6E6E6E"}  # what rests on it, and lines
BEFORE: dict[str, Any] = {"color": "#8A8A8A", "linewidth": 1.4}  # the interval of what was known before
# shades of the appliance where several stand side by side, in the household's order: light beside dark
LOADS = (APPLIANCE, "#F2B48A", "#7A2E00", "#FBDCC8", "#A8643C", "#3F1800", "#E88A4D")
UNITS = {"Unit B": HELD, "Unit D": INK, "Unit A": "#7D7A00", "Unit C": LEFT}  # where several stand side by side


def of_units(names: Sequence[str]) -> list[str]:
    """Return a colour for each of four units at most: the scenario's keep theirs, others take what is left."""
    free = iter([colour for name, colour in UNITS.items() if name not in names])
    return [UNITS[name] if name in UNITS else next(free) for name in names]
