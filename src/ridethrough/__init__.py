"""Ride-through: how long a battery unit keeps a refrigerator running, how big it must be, how sure that is.

The way the data flows: readings -> measure -> model -> answer -> teach. The public names below are grouped
by room and loaded on first use, so that ``import ridethrough`` is quick.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .answer.compare import compare
    from .answer.headroom import headroom
    from .answer.ledger import Ledger, ledger
    from .answer.outage import Outage
    from .answer.ride import Ride, ride, spread
    from .answer.size import Size, size
    from .estimate import Estimate
    from .measure.bench import RundownLine, fit_rundowns
    from .measure.candidates import Units, read_units
    from .measure.draw import Draw, measure_draw, time_to_log
    from .measure.log import Meter, MeterLog, hand_readings, read_log
    from .measure.rundown import Rundown
    from .measure.standby import (
        idle_fuel,
        standby_from_empty,
        standby_from_gauge,
        standby_from_refill,
        standby_on,
    )
    from .model.battery import aged, charge_after, peukert_hours, takes_charge
    from .model.inverter import Inverter
    from .model.load import Load
    from .model.nameplate import apparent_power, label_limit, label_power
    from .model.pattern import Pattern
    from .model.ratings import Ratings
    from .model.recharge import Recharge
    from .model.room import in_room
    from .model.temperature import TemperatureCurve
    from .model.unit import BackupUnit
    from .sources import coefficient
    from .teach.exercises import exercise
    from .units import Q_, Refusal, display, read_quantity, show

_ROOMS = {
    "units": ("Q_", "Refusal", "display", "read_quantity", "show"),
    "estimate": ("Estimate",),
    "sources": ("coefficient",),
    "measure.log": ("Meter", "MeterLog", "hand_readings", "read_log"),
    "measure.draw": ("Draw", "measure_draw", "time_to_log"),
    "measure.rundown": ("Rundown",),
    "measure.bench": ("RundownLine", "fit_rundowns"),
    "measure.standby": (
        "idle_fuel", "standby_from_empty", "standby_from_gauge", "standby_from_refill", "standby_on",
    ),
    "measure.candidates": ("Units", "read_units"),
    "model.battery": ("aged", "charge_after", "peukert_hours", "takes_charge"),
    "model.inverter": ("Inverter",),
    "model.load": ("Load",),
    "model.nameplate": ("apparent_power", "label_limit", "label_power"),
    "model.room": ("in_room",),
    "model.pattern": ("Pattern",),
    "model.recharge": ("Recharge",),
    "model.ratings": ("Ratings",),
    "model.temperature": ("TemperatureCurve",),
    "model.unit": ("BackupUnit",),
    "answer.outage": ("Outage",),
    "answer.headroom": ("headroom",),
    "answer.ledger": ("Ledger", "ledger"),
    "answer.ride": ("Ride", "ride", "spread"),
    "answer.size": ("Size", "size"),
    "answer.compare": ("compare",),
    "teach.exercises": ("exercise",),
}  # fmt: skip
_HOME = {name: room for room, names in _ROOMS.items() for name in names}

__all__ = [  # noqa: RUF022 - grouped by room, as above
    "Q_", "Refusal", "display", "read_quantity", "show",
    "Estimate",
    "coefficient",
    "Meter", "MeterLog", "hand_readings", "read_log", "Draw", "measure_draw", "time_to_log",
    "Rundown", "RundownLine", "fit_rundowns",
    "idle_fuel", "standby_from_empty", "standby_from_gauge", "standby_from_refill", "standby_on",
    "Units", "read_units",
    "Load", "apparent_power", "label_limit", "label_power", "in_room",
    "TemperatureCurve", "aged", "charge_after", "peukert_hours", "takes_charge", "Inverter", "Ratings", "BackupUnit",
    "Pattern", "Recharge",
    "Outage", "headroom", "Ledger", "ledger", "Ride", "ride", "spread", "Size", "size", "compare",
    "exercise",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(importlib.import_module(f".{_HOME[name]}", __name__), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOME})
