"""Where numbers come from: kinds of source, and the kit's one table of coefficients.

No coefficient stands anywhere else in the kit. Each has a value, a band, a unit and a source, and
enters a calculation as an `Estimate`: anywhere in its band with equal chance.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Literal

from .estimate import Estimate
from .units import Q_, Refusal

if TYPE_CHECKING:
    import pandas as pd

Kind = Literal["published", "common practice", "from memory", "invented"]


@dataclass(frozen=True)
class Source:
    """Where a number comes from.

    Parameters
    ----------
    kind : {"published", "common practice", "from memory", "invented"}
        "common practice" has no document behind it; "from memory" has one that was not at hand.
    text : str
        Author, title, edition, clause or table; or who practises it.
    """

    kind: Kind
    text: str

    def __str__(self) -> str:
        return f"{self.kind}: {self.text}"


@dataclass(frozen=True)
class Coefficient:
    """A number the kit brings along: value, band and unit, and where it comes from.

    Parameters
    ----------
    name : str
        As `coefficient` finds it.
    value, low, high : float
        The value and the two ends of its band, in ``unit``.
    unit : str
        As in quantity text; "1" for a share.
    source : Source
        Where value and band come from.
    note : str
        What the number means and where it holds.
    """

    name: str
    value: float
    low: float
    high: float
    unit: str
    source: Source
    note: str = ""

    def estimate(self) -> Estimate:
        """Return it as an Estimate: anywhere in its band with equal chance."""
        value, low, high = (Q_(number, self.unit) for number in (self.value, self.low, self.high))
        return Estimate.band(value, low, high, self.name, source=str(self.source), entries=(self.name,))


_CFR = Source("published", "10 CFR 430.32(a), refrigerators, compliance date 2014-09-15")
_TRADE = Source("common practice", "battery and solar trade, no document at hand")
_KIT = Source("common practice", "the kit's own rule, no document behind it")
_BENCH = Source("common practice", "bench testers, no document at hand")
_ARMY = Source("published", "US Army TM 10-6140-200-14, 1-9: capacity 100 % at 77 F, 75 % at 32 F, 40 % at 0 F; "
               "the bands are the kit's own")  # fmt: skip
_LITHIUM_COLD = Source("published", "PyPI pybamm 26.10, OKane2022, energy at C/20 to C/5 (upper end); NREL SSC, Li-ion "
                       "block of a test input (lower end); no neutral table for iron phosphate was found")  # fmt: skip
_LEAD_RATE = Source("published", "PyPI pybamm 26.10, Sulzer2019, charge at C/20 to 2C: 1.03 to 1.22, 1.095 on average")


def _simulated(cell: str, found: str) -> Source:
    return Source("published", f"PyPI pybamm 26.10, {cell}, energy at steady power, {found} on average")


_LITHIUM_POINTS = {-20: (0.65, 0.40, 0.97), -10: (0.84, 0.70, 0.98), 0: (0.92, 0.85, 0.99), 25: (1, 1, 1),
                   45: (1.02, 1.00, 1.04)}  # fmt: skip
_LEAD_POINTS = {-18: (0.40, 0.30, 0.50), 0: (0.75, 0.67, 0.83), 25: (1, 1, 1), 38: (1.06, 1.00, 1.12)}

COEFFICIENTS: tuple[Coefficient, ...] = (
    Coefficient("depth of discharge, iron phosphate", 0.95, 0.91, 0.99, "1", _TRADE,
                "share of the printed capacity that the unit's own cut-off gives up"),
    Coefficient("depth of discharge, nickel-manganese-cobalt", 0.92, 0.86, 0.97, "1", _TRADE,
                "share of the printed capacity that the unit's own cut-off gives up"),
    Coefficient("depth of discharge, sealed lead-acid", 0.50, 0.45, 0.55, "1",
                Source("published", "Open Source Solar Project handbook, 'Energy storage sizing and selection'"),
                "deeper discharges are possible and shorten its life"),
    Coefficient("depth of discharge, flooded lead-acid", 0.50, 0.45, 0.55, "1",
                Source("published", "Open Source Solar Project handbook, 'Energy storage sizing and selection'"),
                "deeper discharges are possible and shorten its life"),
    *(
        Coefficient(f"capacity at {celsius} degC, {chemistry}", value, low, high, "1", source,
                    "over the capacity at 25 degC, at a rate that empties it in some hours")
        for chemistry, source, points in (
            ("iron phosphate", _LITHIUM_COLD, _LITHIUM_POINTS),
            ("nickel-manganese-cobalt", _LITHIUM_COLD, _LITHIUM_POINTS),
            ("sealed lead-acid", _ARMY, _LEAD_POINTS),
            ("flooded lead-acid", _ARMY, _LEAD_POINTS),
        )
        for celsius, (value, low, high) in points.items()
    ),
    *(
        Coefficient(f"rate exponent, {chemistry}", value, low, high, "1", source,
                    "k of run time ~ (power from the battery)^-k, in discharges of half a day or longer; at 1 every "
                    "rate gives the same energy")
        for chemistry, value, low, high, source in (
            ("iron phosphate", 1.00, 1.00, 1.05, _BENCH),
            ("nickel-manganese-cobalt", 1.00, 1.00, 1.05, _BENCH),
            ("sealed lead-acid", 1.10, 1.03, 1.22, _LEAD_RATE),
            ("flooded lead-acid", 1.10, 1.03, 1.22, _LEAD_RATE),
        )
    ),
    *(
        Coefficient(f"rate exponent above the rating, {chemistry}", value, low, high, "1", source,
                    "the same for a power above printed capacity over rating hours")
        for chemistry, value, low, high, source in (
            ("iron phosphate", 1.06, 1.00, 1.15, _simulated("Prada2013", "C/20 to 1C: 1.02 to 1.17, 1.07")),
            ("nickel-manganese-cobalt", 1.04, 1.00, 1.08, _simulated("OKane2022", "C/20 to 1C: 1.01 to 1.07, 1.03")),
            ("sealed lead-acid", 1.12, 1.03, 1.27, _simulated("Sulzer2019", "C/20 to 2C: 1.04 to 1.27, 1.12")),
            ("flooded lead-acid", 1.12, 1.03, 1.27, _simulated("Sulzer2019", "C/20 to 2C: 1.04 to 1.27, 1.12")),
        )
    ),
    *(
        Coefficient(f"rating hours, {chemistry}", hours, hours, hours, "h", source,
                    "the discharge that the printed capacity was rated for")
        for chemistry, hours, source in (
            ("iron phosphate", 5, Source("from memory", "IEC 61960: rated at 0.2 of the capacity in an hour")),
            ("nickel-manganese-cobalt", 5, Source("from memory", "IEC 61960: rated at 0.2 of the capacity in an hour")),
            ("sealed lead-acid", 20, _TRADE),
            ("flooded lead-acid", 20, _TRADE),
        )
    ),
    *(
        Coefficient(f"coldest charging, {chemistry}", celsius, celsius, celsius, "degC", source, note)
        for chemistry, celsius, source, note in (
            ("iron phosphate", 0, Source("from memory", "JEITA guideline"), "of the cells"),
            ("nickel-manganese-cobalt", 0, Source("from memory", "JEITA guideline"), "of the cells"),
            ("sealed lead-acid", -18, _TRADE, "slower in the cold; a frozen battery never"),
            ("flooded lead-acid", -18, _TRADE, "slower in the cold; a frozen battery never"),
        )
    ),
    *(
        Coefficient(f"self-discharge, {chemistry}", value, low, high, "1", _TRADE,
                    "share of full lost in a month of storage at about 20 degC, switched off")
        for chemistry, value, low, high in (
            ("iron phosphate", 0.03, 0.01, 0.05),
            ("nickel-manganese-cobalt", 0.03, 0.01, 0.05),
            ("sealed lead-acid", 0.04, 0.02, 0.08),
            ("flooded lead-acid", 0.07, 0.03, 0.15),
        )
    ),
    *(
        Coefficient(f"fading, {chemistry}", value, low, high, "1", _TRADE,
                    "share of the printed capacity lost in a year of standing ready and now and then a discharge; "
                    "no neutral measured table at hand")
        for chemistry, value, low, high in (
            ("iron phosphate", 0.02, 0.01, 0.04),
            ("nickel-manganese-cobalt", 0.03, 0.01, 0.06),
            ("sealed lead-acid", 0.05, 0.02, 0.10),
            ("flooded lead-acid", 0.05, 0.02, 0.10),
        )
    ),
    Coefficient("least step between battery temperatures", 10.0, 10.0, 10.0, "kelvin", _KIT,
                "closer run-downs say more about the runs than about the cold"),
    Coefficient("run-to-run repeatability", 0.02, 0.01, 0.03, "1", _BENCH,
                "standard deviation of one full run's time about the mean of many at that load"),
    Coefficient("smallest rating", 300, 300, 300, "W", _BENCH, "what a unit with outlets gives at least"),
    Coefficient("gauge departure", 0.0, -0.03, 0.03, "1", _BENCH,
                "how far a displayed fall of charge lies from the true one, as a share of full"),
    Coefficient("capacity over its print", 1.0, 0.96, 1.02, "1", _BENCH,
                "what a new battery holds at its rating, over the number on its box"),
    Coefficient("standby over its sheet", 1.0, 0.9, 1.4, "1", _BENCH,
                "what a unit takes with nothing plugged in, over what its sheet says"),
    Coefficient("efficiency beyond its sheet", 0.0, -0.03, 0.01, "1", _BENCH,
                "outlet over battery power at the load that the sheet states, less what it says"),
    Coefficient("charge power over printed capacity", 0.3, 0.1, 0.6, "1/h", _BENCH,
                "the most that a unit's charger takes, for each watt-hour printed, where its sheet does not say"),
    Coefficient("taper from", 0.90, 0.80, 0.95, "1", _BENCH,
                "charge from which a charger takes less and less, in proportion to what is missing to full"),
    Coefficient("hours to warm frozen cells", 3.0, 1.0, 6.0, "h", _BENCH,
                "of its heater, once cells have taken the cold of the room, until they may be charged"),
    Coefficient("charger efficiency", 0.88, 0.80, 0.96, "1", _BENCH, "into the battery over from the wall"),
    Coefficient("cycle of a cold appliance", 1.0, 1.0, 1.0, "h", _KIT,
                "from one start of the compressor to the next where none was measured; about right for many"),
    Coefficient("time that varies by itself", 3.0, 3.0, 3.0, "h", _KIT,
                "within it an appliance lies above or below its mean all along, from one to the next independently"),
    Coefficient("step of a ride", 10.0, 10.0, 10.0, "min", _KIT,
                "in which a load whose phase nobody knows is taken at its mean and its variance"),
    Coefficient("least share of draws within limits", 0.5, 0.5, 0.5, "1", _KIT,
                "with fewer, what was put in says more about its limits than about itself"),
    Coefficient("longest ride", 366.0, 366.0, 366.0, "day", _KIT, "after which a unit that still runs is left alone"),
    Coefficient("day-to-day spread", 0.0, -0.15, 0.15, "1", _KIT,
                "where the energy of 95 in 100 days of a refrigerator lies about its mean, before any was seen"),
    Coefficient("weight of the stated day-to-day spread", 3.0, 3.0, 3.0, "day", _KIT,
                "it counts as much as so many days that were seen; tried on the kit's own simulated appliances"),
    Coefficient("likeness of successive days", 0.75, 0.75, 0.75, "1", _KIT,
                "correlation of one day's mean power with the next one's, as weather and habits last"),
    *(
        Coefficient(f"draw per kelvin of room, {cabinet}", value, low, high, "1",
                    Source("common practice", "heat leaks in proportion to room less inside, and a hot room makes "
                           "the compressor work harder; no measured table at hand"),
                    "relative change of its mean power for each kelvin of room temperature")
        for cabinet, value, low, high in (("refrigerator", 0.04, 0.02, 0.06), ("freezer", 0.03, 0.02, 0.04))
    ),
    Coefficient("least step between rooms", 2.0, 2.0, 2.0, "kelvin", _KIT,
                "closer measurements say more about the meter than about the room"),
    Coefficient("warmest room", 43.0, 43.0, 43.0, "degC",
                Source("from memory", "IEC 62552-1, climate class T"), "up to which cold appliances are built to work"),
    Coefficient("coldest room, refrigerator", 10.0, 10.0, 10.0, "degC",
                Source("from memory", "IEC 62552-1, climate class SN"),
                "below which a refrigerator's own compressor may stop; a freezer compartment may then thaw"),
    Coefficient("coldest room, freezer", -15.0, -15.0, -15.0, "degC", _TRADE,
                "chest freezers are run in unheated stores; the maker's manual says how cold"),
    *(
        Coefficient(f"{scheme} weight at {percent} % load", weight, weight, weight, "1", source,
                    "share of time that the scheme gives to this load")
        for scheme, source, weights in (
            ("CEC", Source("published", "Sandia PVPMC, on the CEC inverter test protocol"),
             {10: 0.04, 20: 0.05, 30: 0.12, 50: 0.21, 75: 0.53, 100: 0.05}),
            ("European", Source("from memory", "European efficiency of grid-tie inverters"),
             {5: 0.03, 10: 0.06, 20: 0.13, 30: 0.10, 50: 0.48, 100: 0.20}),
        )
        for percent, weight in weights.items()
    ),
    Coefficient("start over running power", 6.0, 4.0, 11.0, "1",
                Source("published", "NFPA 70 (NEC), tables 430.248 and 430.251(A): locked-rotor over full-load "
                       "current 6.0; band: measured appliances in the ACSF1 data set (Gisler et al., WoSSPA 2013)"),
                "current, and so apparent power, in the moment in which a compressor starts"),
    Coefficient("tolerance of a voltage", 0.10, 0.10, 0.10, "1",
                Source("from memory", "IEC 60038: supply voltages within 10 % of nominal")),
    Coefficient("power factor of a small motor", 0.75, 0.55, 0.95, "1", _TRADE,
                "watts over volt-amperes of a running compressor"),
    Coefficient("resistive loss", 0.02, 0.0, 0.04, "1",
                Source("published", "inverter table in PyPI pvlib 0.16.1, sam-library-cec-inverters-2019-03-05.csv: "
                       "median 0.019 of every 40th row; grid-tie inverters, not battery units"),
                "loss at rated power that grows with the square of the power, over rated power"),
    *(
        part
        for name, slope, constant in (
            ("3", 8.07, 233.7),
            ("3A", 7.07, 201.6),
            ("4", 8.51, 297.8),
            ("1A", 6.79, 193.6),
            ("3I", 8.07, 317.7),
        )
        for part in (
            Coefficient(f"US label limit slope, class {name}", slope, slope, slope, "kWh/year/ft3", _CFR,
                        "for each cubic foot of adjusted volume"),
            Coefficient(f"US label limit constant, class {name}", constant, constant, constant, "kWh/year", _CFR),
        )
    ),
    Coefficient("days in a label's year", 365, 365, 365, "day",
                Source("published", "Regulation (EU) 2019/2016, Annex IV: AE = 365 E_daily"), "not 365.25"),
    Coefficient("covered from", 0.90, 0.90, 0.90, "1", _KIT, "chance to last from which the verdict is covered"),
    Coefficient("tight from", 0.50, 0.50, 0.50, "1", _KIT, "chance to last from which the verdict is tight"),
)  # fmt: skip


@cache
def _by_name() -> dict[str, Coefficient]:
    return {coefficient.name: coefficient for coefficient in COEFFICIENTS}


def lookup(name: str) -> Coefficient:
    """Return the table's entry called ``name``, or say which names there are."""
    if name not in _by_name():
        near = [known for known in _by_name() if known.split(",")[0] == name.split(",")[0]]
        raise Refusal(
            f"the coefficient {name!r}",
            "one that the table holds",
            f"Write one of: {'; '.join(near or _by_name())}.",
        )
    return _by_name()[name]


def coefficient(name: str) -> Estimate:
    """Return the coefficient called ``name`` as an Estimate, its uncertainty that of its band.

    Two calls give two independent influences; keep the result where one influence is meant.

    Example
    -------
    >>> coefficient("depth of discharge, iron phosphate")
    <Estimate 0.95, 95 %: 0.9 to 1>
    """
    return lookup(name).estimate()


def table_of(names: Iterable[str]) -> pd.DataFrame:
    """Return the table's entries of these names, each once: columns coefficient, value, low, high, unit, source."""
    import pandas as pd

    entries = [lookup(name) for name in dict.fromkeys(names)]
    return pd.DataFrame(
        [(c.name, c.value, c.low, c.high, c.unit, str(c.source)) for c in entries],
        columns=["coefficient", "value", "low", "high", "unit", "source"],
    )
