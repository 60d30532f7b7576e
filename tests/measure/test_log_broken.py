"""Files that are no log, or one with a fault: each is refused with what to do, never half read.

Whatever a file holds, the outcome is a `MeterLog` that keeps its promises or a refusal that names the file.
"""

from __future__ import annotations

import math
import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, currently_in_test_context, event, given, settings
from hypothesis import strategies as st

from ridethrough.measure import layout as fields_module
from ridethrough.measure.layout import LogRefusal
from ridethrough.measure.log import MeterLog, read_log

GOOD = "moment,watt\n" + "".join(f"2026-02-03 22:{at:02}:00,{40 + at % 5}.5\n" for at in range(30))


def outcome(path: Path, content: bytes) -> MeterLog | LogRefusal:
    """Return the log or the refusal that a file with this content gives, after checking that either is whole."""
    path.write_bytes(content)
    try:
        result: MeterLog | LogRefusal = read_log(path)
    except LogRefusal as refusal:
        result = refusal
    if isinstance(result, LogRefusal):
        check_refusal(result, path.name, content)
    else:
        check_log(result)
    if currently_in_test_context():  # how often each happens: --hypothesis-show-statistics
        event(type(result).__name__)
    return result


def check_refusal(refusal: LogRefusal, name: str, content: bytes) -> None:
    lines = content.count(b"\n") + content.count(b"\r") + 1
    assert refusal.file == name
    assert str(refusal).startswith(f"Given: {name}")
    assert refusal.remedy.endswith(".")
    assert refusal.row is None or 1 <= refusal.row <= lines


def check_log(log: MeterLog) -> None:
    end_s = log.start_s + log.duration_s
    assert log.start_s.size == log.duration_s.size == log.power_w.size > 0
    assert np.isfinite(log.power_w).all()
    assert (log.power_w >= 0).all()
    assert (log.duration_s > 0).all()
    assert (end_s[:-1] <= log.start_s[1:] + 1e-6).all()
    assert end_s[-1] <= log.span_s + 1e-6
    assert 0 < log.coverage <= 1
    assert log.resolution.magnitude > 0
    assert repr(log).startswith("<MeterLog")
    assert all(finding.count > 0 for finding in log.findings)


# name: content, row that must be named, what the message must say
BROKEN: dict[str, tuple[bytes, int | None, str]] = {
    "empty": (b"", None, "empty"),
    "blank": (b"\n\n  \r\n", None, "empty"),
    "only a byte-order mark": (b"\xef\xbb\xbf", None, "empty"),
    "prose": (b"It was a dark and stormy night.\nNothing was logged.\n", None, "no log"),
    "prose with commas": (b"It was dark, and stormy.\nNothing, alas, was logged.\n", None, "column of times"),
    "markup": (b"<html><body>\n<p>404, not found</p>\n</body></html>\n", None, ""),
    "a list of settings": (b'{"a": 1,\n "b": [2, 3],\n "c": "x"}\n', None, ""),
    "a picture": (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(range(256)) * 20, None, "not text"),
    "a workbook": (b"PK\x03\x04\x14\x00\x06\x00" + bytes(range(256)) * 20, None, "not text"),
    "packed": (b"\x1f\x8b\x08\x00" + random.Random(1).randbytes(3000), None, "not text"),
    "zeros": (b"\0" * 5000, None, ""),
    "header only": (b"moment,watt\n", 1, "no readings below"),
    "header only, no line end": (b"moment;watt", 1, "no readings below"),
    "one row": (b"moment,watt\n2026-02-03 22:00,40\n", None, "one reading"),
    "no header": (b"2026-02-03 22:00,40\n2026-02-03 22:01,50\n", 1, "column names"),
    "one column": (b"watt\n40\n50\n60\n", None, "no log"),
    "no time column": (b"nr,watt\n1,40\n2,50\n3,60\n", None, "column of times"),
    "no power column": (b"moment,room\n2026-02-03 22:00,21.5\n2026-02-03 22:01,21.4\n", None, "column of power"),
    "all the same time": (b"moment,watt\n" + b"2026-02-03 22:00,40\n2026-02-03 22:00,50\n" * 9, None, "same time"),
    "text among numbers": (GOOD.replace("40.5", "error", 1).encode(), 2, "'error'"),
    "text late among numbers": (GOOD.encode() + b"2026-02-03 22:30:00,E-17x\n", 32, "'E-17x'"),
    "nan": (GOOD.replace("42.5", "nan", 1).encode(), 4, "'nan'"),
    "inf": (GOOD.replace("42.5", "inf", 1).encode(), 4, "'inf'"),
    "a number beyond all bounds": (GOOD.replace("42.5", "1e999", 1).encode(), 4, "'1e999'"),
    "a power that no outlet gives": (GOOD.replace("42.5", "1e12", 1).encode(), 4, "at most 100,000 W"),
    "a word for a time": (GOOD.replace("2026-02-03 22:07:00", "noon", 1).encode(), 9, "'noon'"),
    "no time in a row": (GOOD.replace("2026-02-03 22:07:00", "", 1).encode(), 9, "no date"),
    "a day in no calendar": (GOOD.replace("2026-02-03 22:07", "2026-02-30 22:07", 1).encode(), 9, "calendar"),
    "a time on no clock": (GOOD.replace("2026-02-03 22:07", "2026-02-03 25:07", 1).encode(), 9, "clock"),
    "a zone in one row": (GOOD.replace("22:07:00", "22:07:00Z", 1).encode(), 9, "zone"),
    "a row too long": (GOOD.replace("42.5", "42.5,7", 1).encode(), 4, "3 fields"),
    "a row too short": (GOOD.replace(",42.5", "", 1).encode(), 4, "1 fields"),
    "cut off in the last row": (GOOD[:-8].encode(), 31, "2026-02-03 22:29:"),
    "zeros at the end": (GOOD.encode() + b"\0" * 600, None, "not text"),
    "a second header": ((GOOD + GOOD).encode(), 32, "'moment'"),
    "a sum below": (GOOD.encode() + b"Total,1234\n", 32, "'Total'"),
    "an open quote": (GOOD.replace("42.5", '"42.5', 1).encode(), None, ""),
    "a unit in each field": (GOOD.replace(".5\n", ".5 W\n").encode(), 2, "no number"),
    "thousands marks": (GOOD.replace(",42.5", ',"1,042.5"').encode(), 4, "no number: '1,042.5'"),
    "a decimal comma in a comma table": (GOOD.replace("42.5", "42,5").encode(), None, ""),
    "a millennium": (GOOD.replace("2026-02-03 22:29", "2099-02-03 22:29").encode(), 31, "years"),
    "before 1970": (GOOD.replace("2026-", "1926-").encode(), 2, "1970"),
    "epochs beyond belief": (b"epoch,watt\n1e30,1\n2e30,2\n3e30,3\n", 2, "beyond"),
    "times in seconds that are too large": (b"t (s),watt\n5,1\n9e9,2\n9.1e9,3\n", 4, "2100"),
    "all empty readings": (b"moment,watt\n2026-02-03 22:00,\n2026-02-03 22:01,\n", None, "no reading"),
    "no energy at all": (b"moment,energy (Wh)\n2026-02-03 22:00,\n2026-02-03 22:01,\n", None, "no reading"),
    "one energy and no step up": (
        b"moment,energy (Wh)\n2026-02-03 22:00,5\n2026-02-03 22:01,\n",
        2,
        "which of the two",
    ),
    "many columns": (b"moment," + b"w," * 5000 + b"\n" + b"1," * 5001 + b"\n", None, "5002 columns"),
    "a bracket full of blanks": (b"moment,watt (" + b" " * 50_000 + b"x\n", 1, "no readings"),
    "a name of brackets": (b"moment," + b"[(" * 25_000 + b"\n2026-02-03 22:00,1\n", None, "column of power"),
    "one endless line": (b"moment,watt," + b"x" * 300_000, None, "no log"),
    "one endless field": (GOOD.encode() + b"2026-02-03 22:30:00," + b"7" * 300_000 + b"\n", 32, ""),
    "one endless row": (GOOD.encode() + b"2026-02-03 22:30:00," + b"7" * 300_000 + b",1\n", 32, "fields"),
    "a reading twice in the header": (
        b"moment,watt,watt\n2026-02-03 22:00,1,2\n2026-02-03 22:01,1,2\n",
        None,
        "several",
    ),
    "two-figure years": (GOOD.replace("2026-02-03", "03.02.26").encode(), None, ""),
    "a negative draw": (GOOD.replace(",4", ",-4").encode(), 2, "negative"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_file_is_refused(tmp_path: Path, name: str) -> None:
    content, row, words = BROKEN[name]
    refusal = outcome(tmp_path / "broken.csv", content)
    assert isinstance(refusal, LogRefusal), refusal
    assert words in str(refusal)
    if row is not None:
        assert refusal.row == row


def test_the_good_file_is_good(tmp_path: Path) -> None:
    assert isinstance(outcome(tmp_path / "good.csv", GOOD.encode()), MeterLog)


def test_half_a_letter_at_the_end_is_no_letter(tmp_path: Path) -> None:
    assert isinstance(outcome(tmp_path / "cut.csv", GOOD[:-1].encode() + b"\xc2"), MeterLog)


def test_what_is_no_file_is_refused(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "missing.csv", "", "a\0b.csv", "x" * 5000, None, 5, b"log.csv"):
        with pytest.raises(LogRefusal):
            read_log(path)


def test_a_file_that_is_too_large_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fields_module, "LARGEST_BYTES", 100)
    refusal = outcome(tmp_path / "large.csv", GOOD.encode())
    assert "at most" in str(refusal)


def test_a_fault_far_behind_the_head_is_named_with_its_row(tmp_path: Path) -> None:
    lines = [
        f"2026-02-{1 + at // 86400:02}T{at // 3600 % 24:02}:{at // 60 % 60:02}:{at % 60:02},40.5"
        for at in range(200_000)
    ]
    lines[150_000] = lines[150_000].replace("40.5", "4o.5")
    refusal = outcome(tmp_path / "long.csv", ("moment,watt\n" + "\n".join(lines)).encode())
    assert isinstance(refusal, LogRefusal)
    assert (refusal.row, refusal.column, refusal.value) == (150_002, "watt", "4o.5")


def test_rows_are_counted_across_blank_lines_and_a_preamble(tmp_path: Path) -> None:
    text = "made up\n\n" + GOOD.replace("2026-02-03 22:05", "\n\n2026-02-03 22:05").replace("44.5", "-944.5")
    refusal = outcome(tmp_path / "blank.csv", text.encode())
    assert isinstance(refusal, LogRefusal)
    assert refusal.row == text[: text.index("-944.5")].count("\n") + 1


# -- whatever the file holds ------------------------------------------------------------------------

fields = st.one_of(
    st.sampled_from(
        ["", "40", "40.5", "0", "-3", "1,5", "1.234,5", "nan", "1e999", "2026-02-03 22:00", "2026-02-03T22:01:00Z",
         "03.04.2026 08:00", "13/04/2026 8:00 pm", "22:00", "25:61", "1770156000", "1770156060000", "W", "watt", "time",
         "Energy [kWh]", "date", "power", "V", "A", "\0", '"', "é", "−5", "+7", "9" * 400, "1_0", "٣", "24:00:00"]
    ),
    st.text(max_size=8),
    st.floats().map(str),
    st.datetimes().map(str),
    st.integers().map(str),
)  # fmt: skip
tables = st.builds(
    lambda rows, mark, end: end.join(mark.join(row) for row in rows),
    st.lists(st.lists(fields, min_size=1, max_size=4), max_size=12),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", "\r\n", "\r"]),
)


@pytest.fixture(scope="module")
def scratch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("scratch") / "any.csv"


EAGER = settings(max_examples=300, suppress_health_check=[HealthCheck.too_slow])


@EAGER
@given(content=st.binary(max_size=400))
def test_any_bytes(scratch: Path, content: bytes) -> None:
    outcome(scratch, content)


@EAGER
@given(table=tables, encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]))
def test_any_table(scratch: Path, table: str, encoding: str) -> None:
    outcome(scratch, table.encode(encoding, errors="replace"))


@EAGER
@given(data=st.data())
def test_a_table_of_one_kind_with_a_few_odd_fields(scratch: Path, data: st.DataObject) -> None:
    """Close to a log: a header, a kind of time, numbers, and here and there something else."""
    head = data.draw(
        st.sampled_from(["time,P (W)", "t_s,e_kwh", "date,clock,w", "time,V,A", "at,counter kWh", "at,Wh"])
    )
    begin, step = data.draw(st.integers(0, 2_000_000_000)), data.draw(st.sampled_from([0, 1, 10, 900, 3600, 86_400]))
    form = data.draw(st.sampled_from(["iso", "number", "clock", "day first", "two"]))
    lines = []
    for at in range(data.draw(st.integers(0, 25))):
        time = np.datetime64(begin + at * step, "s").item()
        text = {
            "iso": time.isoformat(),
            "number": str(begin + at * step),
            "clock": f"{at * step // 3600}:00:{at % 60:02}",
            "day first": f"{time:%d.%m.%Y %H:%M}",
            "two": f"{time:%Y-%m-%d,%H:%M:%S}",
        }[form]
        row = [*text.split(","), *(str(data.draw(st.integers(-5, 300)) / 10) for _ in range(head.count(",")))]
        if data.draw(st.integers(0, 15)) == 0:
            row[data.draw(st.integers(0, len(row) - 1))] = data.draw(fields)
        lines.append(",".join(row))
    outcome(scratch, "\n".join([head, *lines]).encode("utf-8", errors="replace"))


@EAGER
@given(data=st.data())
def test_a_good_log_with_bytes_changed(scratch: Path, data: st.DataObject) -> None:
    content = bytearray(GOOD.encode())
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    outcome(scratch, bytes(content))


@EAGER
@given(cut=st.integers(0, len(GOOD)))
def test_a_log_cut_anywhere_is_whole_or_refused(scratch: Path, cut: int) -> None:
    """What is read of a log cut off within a row is no more than its whole rows, but for the last field's digits."""
    result = outcome(scratch, GOOD[:cut].encode())
    if isinstance(result, MeterLog):
        whole = read_whole(scratch)
        np.testing.assert_array_equal(result.power_w, whole.power_w[: result.power_w.size])


def read_whole(scratch: Path) -> MeterLog:
    path = scratch.with_name("whole.csv")
    path.write_text(GOOD)
    return read_log(path)


@EAGER
@given(
    steps=st.lists(st.integers(1, 20), min_size=2, max_size=60),
    watts=st.lists(st.integers(0, 300), min_size=61, max_size=61),
)
def test_energy_of_held_readings_is_the_sum_over_their_steps(scratch: Path, steps: list[int], watts: list[int]) -> None:
    """Held until the next: sum of P dt, by hand."""
    times = np.cumsum([0, *steps])
    scratch.write_text("elapsed s,W\n" + "".join(f"{time},{watt}\n" for time, watt in zip(times, watts, strict=False)))
    log = read_log(scratch, hold="until the next")
    joules = sum(step * watt for step, watt in zip(steps, watts, strict=False))
    assert math.isclose(log.mean_power_w() * log.span_s, joules, abs_tol=1e-6)
