"""The lessons' views: what each panel shows at a position, as pure functions, and the panels themselves."""

from .appliances import length_panel, parting_view, starts_view, sticker_panel, trace_view
from .appliances import all_together, household_panel, pantry_loads, shedding_view
from .outages import cold_panel, emptying_view, outage_panel, past_view, rides_view, stretch_panel, stretch_view
from .units import crossing_panel, efficiency_panel, ledger_view, rundown_view, sentence, standby_panel, usable_panel
from .units import choice_panel, frontier_view
