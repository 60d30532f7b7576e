"""The lessons' views: what each panel shows at a position, as pure functions, and the panels themselves."""

from .account import ledger_view, sentence, standby_panel
from .bench import crossing_panel, rundown_view
from .capacity import usable_panel
from .conversion import efficiency_panel, starts_view
from .draws import length_panel, parting_view, sticker_panel, trace_view
from .household import all_together, household_panel, pantry_loads, shedding_view
from .sizing import outage_panel, past_view, rides_view, side_by_side
from .weather import cold_panel, emptying_view

__all__ = ["all_together", "cold_panel", "crossing_panel", "efficiency_panel", "emptying_view", "household_panel",
           "ledger_view", "length_panel", "outage_panel", "pantry_loads", "parting_view", "past_view", "rides_view",
           "rundown_view", "sentence", "shedding_view", "side_by_side", "standby_panel", "starts_view",
           "sticker_panel", "trace_view", "usable_panel"]  # fmt: skip
