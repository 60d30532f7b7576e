"""Ride-through: how long a battery unit keeps a refrigerator running, how big it must be, how sure that is.

The way the data flows: readings -> measure -> model -> answer -> teach.
"""

from .estimate import Estimate, Influence, estimate
from .units import Q_, Refusal, display, read_quantity, show

__all__ = ["Q_", "Estimate", "Influence", "Refusal", "display", "estimate", "read_quantity", "show"]
