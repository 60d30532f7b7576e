"""The energy ledger, and what standby costs: lesson 00 and the end of every lesson."""

from __future__ import annotations

from functools import partial
from typing import Any

from ...answer.ledger import Ledger, ledger
from ...answer.outage import Outage
from ...model.load import Load
from ...model.unit import BackupUnit
from ...units import Q_, show
from ..figures import ledger_figure, plain
from ..panels import Panel, Slider, View


def sentence(account: Ledger) -> str:
    """Return what a ledger says, for everyone."""
    unit, outage = account.unit, show(account.outage.duration)
    runs = f"{unit.label} keeps the {account.load.name} running for {account.lasts}"
    return f"With {show(unit.standby)} of standby, {runs}. {outage} without mains: {account.verdict}."


def ledger_view(account: Ledger, *, reach: tuple[float, float] | None = None) -> View:
    """Return the view of a ledger: its sentence, its lines and its figure."""
    table = account.rows[["line", "energy (Wh)", "low (Wh)", "high (Wh)", "basis"]]
    return View(sentence(account), table, account.headline, partial(ledger_figure, account=account, reach=reach))


def standby_panel(load: Load, unit: BackupUnit, *, start: Any = "100 %") -> Panel:
    """Return the panel of lesson 00: how many hours does being switched on cost?"""

    def view(standby_w: float, hours: float) -> View:
        account = ledger(load, unit.with_standby(Q_(standby_w, "W")), Outage(Q_(hours, "h"), start=start))
        return ledger_view(account, reach=(-0.65 * plain(unit.printed), plain(unit.printed)))

    standby_w = Slider("standby of the unit", 5, 40, 5, unit="W")
    return Panel(view, standby_w=standby_w, hours=Slider("length of the outage", 6, 24, 24, unit="h", step=6))
