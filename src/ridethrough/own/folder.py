"""A folder of one's own in: logs, run-downs, units, prices and settings, each known by its columns.

Nothing has to be there, and a broken file stops no other. What was read, and all that is wrong or missing, stands in
one report.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from ..answer.outage import Outage
from ..measure.bench import fit_rundowns
from ..measure.candidates import read_table, read_units
from ..measure.draw import Draw, measure_draw
from ..measure.layout import find_layout
from ..measure.log import CHOICES, KEPT, Meter, read_log
from ..measure.rundown import Rundown
from ..measure.standby import standby_on
from ..model.load import Load
from ..model.rundowns import RundownLine
from ..model.unit import BackupUnit
from ..units import Refusal, of_kind, rows_beside
from .columns import ORDER, cell_of, rundown_roles, taken_for

MISSING = {row.pop("what"): row for row in rows_beside(__file__, "missing.csv")}
KEYS = {row["section"]: row["keys"].split() for row in rows_beside(__file__, "settings.csv")}
COLUMNS = ["where", "taken for", "status", "found", "to do"]
STATUS = ["not read", "missing", "not used", "used in part", "from print", "measured", "read"]  # as they are told
LENGTHS = ["12 h", "24 h", "72 h", "168 h"]
EARLY = {"yes": True, "no": False, "": False}


@dataclass(frozen=True, eq=False)
class OwnBench:
    """What a folder of one's own tells; make it with `read_bench`.

    Parameters
    ----------
    folder : str
        Its name.
    draws : mapping from name to Draw
        The appliances that were logged.
    lines : mapping from name to RundownLine
        The units that were run down.
    units : mapping from name to BackupUnit
        All units with their prices, those run down in place of their print.
    outages : tuple of Outage
        Those wanted.
    files : tuple of Path
        What was read.
    report : pandas.DataFrame
        Columns: where (file, row, unit or appliance), taken for, status, found, to do.
    """

    folder: str
    draws: Mapping[str, Draw]
    lines: Mapping[str, RundownLine]
    units: Mapping[str, BackupUnit]
    outages: tuple[Outage, ...]
    files: tuple[Path, ...]
    report: pd.DataFrame

    @property
    def load(self) -> Load:
        """All appliances together; refused where none was read."""
        if not self.draws:
            raise Refusal(f"{self.folder}, without a log that was read", "one or more", "Look at its .report.")
        return Load(tuple(draw.appliance for draw in self.draws.values()))

    def __str__(self) -> str:
        counts = {"appliances": self.draws, "units": self.units, "units run down": self.lines, "outages": self.outages}
        return f"{self.folder}: {', '.join(f'{what} {len(each)}' for what, each in counts.items())}"

    def __repr__(self) -> str:
        lines = (f"\n  {', '.join(filter(None, row[:3]))}: {' -> '.join(filter(None, row[3:]))}"
                 for row in self.report.itertuples(index=False))  # fmt: skip
        return f"<OwnBench {self}{''.join(lines)}>"

    def _repr_html_(self) -> str:
        table = self.report.to_html(index=False, justify="left").replace("<td>", '<td style="text-align: left">')
        return f"<div>{self}{table}</div>"


def read_bench(folder: str | Path) -> OwnBench:
    """Return all that a folder of one's own tells, and a report of what is wrong or missing in it.

    Parameters
    ----------
    folder : str or path
        With any of: logs as `read_log` takes them; a table of run-downs (columns for the unit, the hours, the load or
        the energy delivered, and if need be room, packs, stopped early, charge left); tables of units and prices as
        `read_units` takes them; settings in TOML. `write_templates` writes one of each.

    Raises
    ------
    Refusal
        If there is no such folder. What is wrong in it stands in the report.
    """
    place = Path(of_kind(folder, str | Path, "folder", "the name of a folder", 'Write read_bench("my-bench").'))
    if not place.is_dir():
        raise Refusal(f"the folder {str(folder)!r}, which is not there", "a folder with your files",
                      'Write rt.write_templates("my-bench") for a folder to fill in.')  # fmt: skip
    return _Reader(place).read()


class _Reader:
    """What is gathered while a folder is read."""

    def __init__(self, place: Path) -> None:
        self.place, self.report, self.files = place, list[tuple[str, ...]](), list[Path]()
        self.told: dict[str, dict[str, Any]] = {section: {} for section in KEYS}
        self.meters, self.draws = dict[str, Meter](), dict[str, Draw]()
        self.runs, self.lines = dict[str, list[Rundown]](), dict[str, RundownLine]()
        self.units: Any = {}

    def miss(self, what: str, where: str = "", *facts: Any) -> None:
        """Tell in the report what is missing, or not used."""
        self.report.append((where, *(text.format(*facts) for text in MISSING[what].values())))

    @contextmanager
    def trying(self, where: str, taken: str) -> Iterator[None]:
        """Tell in the report why something could not be read, and go on."""
        try:
            yield
        except (OSError, ValueError, TypeError, AttributeError) as error:
            told = str(error), "Look at this file in a text editor."
            if isinstance(error, Refusal):
                told = error.given.removeprefix(f"{where}: "), f"Needed: {error.needed}. {error.remedy}"
            self.report.append((where, taken, "not read", *told))

    def read(self) -> OwnBench:
        """Return what the folder tells."""
        found: dict[str, list[Path]] = {taken: [] for taken in ORDER}
        for file in sorted(self.place.iterdir()):
            if file.is_file() and file.name[0] != "." and file.name != KEPT:
                with self.trying(file.name, ""):
                    found[taken_for(file)].append(file)
        for taken, files in found.items():
            for file in files:
                with self.trying(file.name, taken):
                    if file != files[0] and taken in ORDER[:3]:
                        raise Refusal(f"a second file of {taken}", "one", f"Put both into {files[0].name}.")
                    said = getattr(self, f"read_{taken.replace('-', '')}")(file)
                    self.report.append((file.name, taken, "read", *said))
                    self.files.append(file)
        for name in sorted(self.told["logs"].keys() - {file.name for file in found["log"]}):
            self.miss("no such log", name)
        self.judge()
        outages, report = self.outages(), pd.DataFrame(self.report, columns=COLUMNS)
        report = report.sort_values("status", key=lambda told: told.map(STATUS.index), kind="stable", ignore_index=True)
        name, used = self.place.resolve().name, tuple(self.files)
        return OwnBench(name, self.draws, self.lines, self.units, outages, used, report)

    # Each of these takes one file, and returns what was found in it and what to do.

    def read_settings(self, file: Path) -> tuple[str, str]:
        for section, told in tomllib.loads(file.read_text(encoding="utf-8-sig")).items():
            tables = [*told.values()] if section in ("meters", "logs") and isinstance(told, dict) else [told]
            if not all(isinstance(table, dict) for table in tables):
                raise Refusal(f"{section} = {told!r}", "a section", f"Write [{section}] as rt.write_templates does.")
            for key in [key for table in tables for key in table if key not in KEYS.get(section, [])]:
                self.miss("odd key", file.name, f"{key} under [{section}]", ", ".join(KEYS.get(section, KEYS)))
            self.told[section] = told
        for name, told in self.told["meters"].items():
            self.meters[name] = Meter(**_pick(told, KEYS["meters"]), name=name)
        return ", ".join(section for section in KEYS if self.told[section]), ""

    def read_units(self, file: Path) -> tuple[str, str]:
        self.units, self.unit_file = read_units(file), file
        return f"{len(self.units)} units: {', '.join(self.units)}", ""

    def read_prices(self, file: Path) -> tuple[str, str]:
        if not self.units:
            raise Refusal("prices without units", "a table of units", MISSING["no units"]["to do"])
        self.units = read_units(self.unit_file, prices=file)
        return f"prices of {', '.join(name for name in self.units if self.units.prices(name))}", ""

    def read_rundowns(self, file: Path) -> tuple[str, str]:
        roles, told, names = rundown_roles(find_layout(file)), self.told["rundowns"], list[str]()
        usual = _pick(told, ("unit", "room"))
        for here, row in read_table(file, list(roles.values()))[1].items():
            with self.trying(here, "run-downs"):
                given = usual | {role: cell_of(role, column, row[column])
                                 for role, column in roles.items() if row[column]}  # fmt: skip
                name, early = given.pop("unit", None), str(given.pop("early", "")).lower()
                if name is None or early not in EARLY:
                    raise Refusal(f"unit {name}, stopped early {early!r}", "the unit's name, and yes or no",
                                  'Fill both in; for one unit alone write unit = "..." under [rundowns].')  # fmt: skip
                if {"load", "delivered"} <= given.keys():
                    self.miss("both", here)
                    del given["load"]
                names.append(self.take(name, Rundown(**given, stopped_early=EARLY[early]), self.meter(told)))
        return f"{len(names)} run-downs of {', '.join(dict.fromkeys(names))}", ""

    def read_log(self, file: Path) -> tuple[str, str]:
        told = self.told["logs"].get(file.name, {})
        log = read_log(file, meter=self.meter(told), **_pick(told, CHOICES))
        if "rundown_of" in told:
            run = Rundown(log, **_pick(told, ("room", "stopped_early", "left", "packs")))
            return f"a run-down of {self.take(told['rundown_of'], run, log.meter)}", ""
        draw = measure_draw(log, told.get("appliance", file.stem), **_pick(told, ("room", "cabinet")))
        known = self.draws.get(draw.name, draw)
        self.draws[draw.name] = min(known, draw, key=lambda each: each.mean_power.u)
        if known is not draw:
            self.miss("second log", draw.name, self.draws[draw.name].mean_power)
        found = (f"{draw.name}: {draw.mean_power} over {draw.days:.1f} days", *map(str, log.findings))
        return "; ".join(found), "; ".join(draw.warnings)

    def meter(self, told: Mapping[str, Any]) -> Meter:
        """Return the meter that is named, or the only one there is."""
        name = told.get("meter", next(iter(self.meters)) if len(self.meters) == 1 else None)
        if name is not None and name not in self.meters:
            raise Refusal(f"the meter {name!r}", "one of the settings", f'Write its accuracy under [meters."{name}"].')
        return Meter() if name is None else self.meters[name]

    def take(self, unit: str, run: Rundown, meter: Meter) -> str:
        """Take a run-down of a unit, refused where it can be none; return the unit's name."""
        Rundown.of(run).power(meter)
        _ = run.lasts
        self.runs.setdefault(unit, []).append(run)
        return unit

    def judge(self) -> None:
        """Put what was run down in place of its print, and tell what is missing."""
        told = self.told["rundowns"]
        for name, runs in self.runs.items():
            with self.trying(name, "unit"):
                if name not in [*self.units]:
                    raise Refusal("its run-downs", "its row in a table of units, with capacity and rated power",
                                  "Add the row; standby and efficiency may stay empty.")  # fmt: skip
                unit, _ = self.units.reckoned(name)
                line = fit_rundowns(runs, meter=self.meter(told), chemistry=unit.chemistry, rated=unit.ratings.rated,
                                    **_pick(told, ("repeatability", "rate_exponent", "idling")))  # fmt: skip
                self.units, self.lines[name] = self.units.measured(as_measured(unit, line)), line
                found = f"{line.energy}, to share; standby {line.standby}; both at the outlet"
                self.report.append((name, "unit", "measured", found, "; ".join(line.warnings)))
        for name in [name for name in self.units if name not in self.lines]:
            try:
                self.miss("printed only", self.units[name].name)
            except Refusal as refusal:
                self.miss("not reckoned", name, refusal.given)
        for name in [name for name, draw in self.draws.items() if draw.surge is None]:
            self.miss("no surge", name)
        priced = [name for name in self.units if self.units.prices(name)]
        for what, there in {"no log": self.draws, "no units": self.units, "no prices": priced}.items():
            if not there:
                self.miss(what)

    def outages(self) -> tuple[Outage, ...]:
        """Return the outages wanted."""
        told = _pick(self.told["outage"], KEYS["outage"])
        lengths = told.pop("lengths", [])
        if not lengths:
            self.miss("no outages", "", ", ".join(LENGTHS))
        if "room" in told and all(draw.appliance.room is None for draw in self.draws.values()):
            self.miss("no room", f"room {told.pop('room')}")
        wanted = [lengths] if isinstance(lengths, str) else lengths or LENGTHS
        with self.trying("", "settings"):
            return tuple(Outage(each, **told) for each in wanted)
        return ()


def _pick(told: Mapping[str, Any], keys: Any) -> dict[str, Any]:
    return {key: told[key] for key in keys if key in told}


def as_measured(unit: BackupUnit, line: RundownLine) -> BackupUnit:
    """Return a unit from print as its own run-downs measured it, with what its sheet says of packs and charger."""
    k1, packs = unit.inverter.k1, unit.pack_standby if line.pack is None else None
    own = None if packs is None else standby_on("outlet", packs, found_on="battery", k1=k1)
    return BackupUnit.from_rundowns(
        unit.name, line, printed=unit.printed, rated=unit.ratings, k1=k1, pack=unit.pack, packs_max=unit.packs_max,
        pack_standby=own, charge_power=unit.charge_power, taper_from=unit.taper_from,
    )  # fmt: skip
