"""A log reads the same in whatever dress a program writes it: random layouts, each with its readings known."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridethrough.measure.layout import LogRefusal
from ridethrough.measure.log import MeterLog, read_log

STAMPS = {
    "iso": "%Y-%m-%dT%H:%M:%S",
    "iso, to the minute": "%Y-%m-%d %H:%M",
    "year first, slashes": "%Y/%m/%d %H:%M:%S",
    "day first": "%d.%m.%Y %H:%M:%S",
    "day first, comma": "%d-%m-%Y, %H:%M",
    "month first, AM or PM": "%m/%d/%Y %I:%M:%S %p",
    "thousandths": "%d.%m.%Y %H:%M:%S.%f",
    "two columns": "%d.%m.%Y|%H:%M:%S",
    "two columns, AM or PM": "%Y-%m-%d|%I:%M %p",
    "in UTC": "%Y-%m-%d %H:%M:%SZ",
    "an hour ahead": "%Y-%m-%d %H:%M:%S+01:00",
    "day first, in UTC": "%d.%m.%Y %H:%M:%S UTC",
    "day first, behind": "%d.%m.%Y %H:%M:%S -05:30",
    "epoch": "",
    "elapsed": "",
}
UNITS = {"P [W]": 1.0, "draw (kW)": 1000.0, "mw (mW)": 0.001, "Leistung/W": 1.0, "active_power_w": 1.0}


@dataclass(frozen=True)
class Dress:
    """How a file is written."""

    delimiter: str
    decimal: str
    form: str
    bare: bool  # no zero before a number below ten
    name: str
    encoding: str
    quoting: int
    end: str
    trailing: bool
    blank: tuple[int, ...]  # rows before which a line is empty
    preamble: int
    others: tuple[int, int]  # columns of something else, before and after

    def time(self, at: datetime, begin: datetime) -> list[str]:
        """Return the fields that hold a time."""
        if self.form == "epoch":
            return [str(int(pd.Timestamp(at, tz="UTC").timestamp()))]
        if self.form == "elapsed":
            seconds = int((at - begin).total_seconds())
            return [f"{seconds // 3600}:{seconds // 60 % 60:02}:{seconds % 60:02}"]
        text = at.strftime(STAMPS[self.form])
        if self.bare:
            text = "/".join(part.removeprefix("0") for part in text.split("/"))
            text = ".".join(part.removeprefix("0") for part in text.split(".", 2))
        return text.split("|")

    def write(self, path: Path, begin: datetime, step: timedelta, values: list[str]) -> None:
        """Write the readings."""
        file = io.StringIO()
        writer = csv.writer(file, delimiter=self.delimiter, quoting=self.quoting, lineterminator=self.end)
        head = ["day", "clock"] if "two" in self.form else ["moment" if self.form != "epoch" else "epoch"]
        for _ in range(self.preamble):
            file.write(f"made by nobody{self.end}")
        extra = [""] * self.trailing
        writer.writerow([*["room"] * self.others[0], *head, self.name, *["note"] * self.others[1], *extra])
        for at, value in enumerate(values):
            file.write(self.end * self.blank.count(at))
            fields = [*self.time(begin + at * step, begin), value.replace(".", self.decimal)]
            writer.writerow([*["ä 1"] * self.others[0], *fields, *['of "x"'] * self.others[1], *extra])
        path.write_bytes(file.getvalue().encode(self.encoding))


dresses = st.builds(
    Dress,
    delimiter=st.sampled_from([",", ";", "\t"]),
    decimal=st.sampled_from([",", "."]),
    form=st.sampled_from(sorted(STAMPS)),
    bare=st.booleans(),
    name=st.sampled_from(sorted(UNITS)),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1"]),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    trailing=st.booleans(),
    blank=st.lists(st.integers(0, 30), max_size=4).map(tuple),
    preamble=st.integers(0, 3),
    others=st.tuples(st.integers(0, 1), st.integers(0, 2)),
)
readings = st.lists(st.integers(0, 999).map(lambda tenths: f"{tenths / 10:.1f}"), min_size=3, max_size=30)
begins = st.datetimes(datetime(2001, 1, 13), datetime(2089, 1, 1)).map(
    lambda at: at.replace(day=max(at.day, 13), hour=0, second=0, microsecond=0)
)


@settings(max_examples=400)
@given(dress=dresses, values=readings, begin=begins, minutes=st.integers(1, 40))
def test_a_log_reads_the_same_in_any_dress(
    tmp_path_factory: pytest.TempPathFactory, dress: Dress, values: list[str], begin: datetime, minutes: int
) -> None:
    path = tmp_path_factory.getbasetemp() / "dressed.csv"
    dress.write(path, begin, timedelta(minutes=minutes), values)
    factor = UNITS[dress.name]
    log = read_log(path, unit="W" if factor == 1.0 else None, hold="until the next")
    np.testing.assert_allclose(log.power_w, [float(value) * factor for value in values[:-1]], rtol=1e-12)
    np.testing.assert_array_equal(log.duration_s, 60 * minutes)
    assert log.resolution.magnitude == pytest.approx(0.1 * factor)
    ahead = {"an hour ahead": 1.0, "day first, behind": -5.5, "in UTC": 0.0, "day first, in UTC": 0.0, "epoch": 0.0}
    if dress.form == "elapsed":
        assert log.begins is None
    else:
        hours = ahead.get(dress.form)
        assert log.begins == pd.Timestamp(begin - timedelta(hours=hours or 0), tz="UTC" if hours is not None else None)


@settings(max_examples=200)
@given(dress=dresses, values=readings, begin=begins, data=st.data())
def test_a_field_that_is_no_reading_is_named_in_any_dress(
    tmp_path_factory: pytest.TempPathFactory, dress: Dress, values: list[str], begin: datetime, data: st.DataObject
) -> None:
    path = tmp_path_factory.getbasetemp() / "faulty.csv"
    values += ["1.5", "2.5", "3.5", "4.5"]
    bad = data.draw(st.integers(1, len(values) - 1))
    word = data.draw(st.sampled_from(["err", "1.2.3", "0x1F", "nan", "1_0", "5 W", "٣"]))
    if dress.encoding == "latin-1" and word == "٣":
        word = "³"
    values[bad] = word
    dress.write(path, begin, timedelta(minutes=10), values)
    with pytest.raises(LogRefusal) as refused:
        read_log(path, unit="W" if UNITS[dress.name] == 1.0 else None, decimal=dress.decimal)
    assert refused.value.value == word.replace(".", dress.decimal)
    assert refused.value.column == dress.name
    assert refused.value.row == 1 + dress.preamble + 1 + bad + sum(at <= bad for at in dress.blank)


def test_many_shapes_of_one_date_are_told_apart(tmp_path: Path) -> None:
    """Days and months without zeros before them: each row by hand."""
    dates = ["9/30/2026 9:05 PM", "10/1/2026 12:00 AM", "10/1/2026 12:30 PM", "10/12/2026 1:00 PM"]
    path = tmp_path / "shapes.csv"
    path.write_text("at,w\n" + "".join(f"{date},4{at}\n" for at, date in enumerate(dates)))
    log = read_log(path, hold="until the next")
    assert log.begins == pd.Timestamp("2026-09-30 21:05")
    np.testing.assert_allclose(log.start_s / 60, [0, 175, 175 + 750])
    assert isinstance(log, MeterLog)
