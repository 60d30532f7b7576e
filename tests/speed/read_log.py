"""Read a month of one-second readings, and compare time and memory with what pyarrow itself takes for the same file.

Run it by hand: ``python tests/speed/read_log.py``. It prints the ratios and is no test: the times of a
shared machine belong in no test. Each reading runs in a process of its own, so that its peak memory is its own.

The month is written twice: with ISO times, which pyarrow parses as it reads, and as dd.mm.yyyy with a decimal
comma, which it reads as text and then converts. What is wanted of each: at most 3 times pyarrow's time, and at
most 4 times the memory of the file's two columns (16 bytes a row) at the peak, above what the process held before.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import textwrap
from pathlib import Path

import numpy as np
import pandas as pd

ROWS = 30 * 86_400
ROUNDS = 3

ISO = """
    import pyarrow as pa, pyarrow.csv as pacsv
    types = pacsv.ConvertOptions(column_types={"time": pa.timestamp("ns"), "power (W)": pa.float64()})
    work = lambda: pacsv.read_csv(path, convert_options=types)
"""
EUROPEAN = """
    import pyarrow as pa, pyarrow.compute as pc, pyarrow.csv as pacsv
    texts = pacsv.ConvertOptions(column_types={"time": pa.string(), "power (W)": pa.string()})
    def work():
        table = pacsv.read_csv(path, parse_options=pacsv.ParseOptions(delimiter=";"), convert_options=texts)
        return (pc.strptime(table["time"], "%d.%m.%Y %H:%M:%S", "s"),
                pc.replace_substring(table["power (W)"], ",", ".").cast(pa.float64()))
"""
KIT = """
    import pyarrow.csv
    from ridethrough.measure.log import read_log
    work = lambda: read_log(path)
"""
MEASURE = """
    import sys, threading, time
    from pathlib import Path
    path = sys.argv[1]
    {setup}
    status = Path("/proc/self/status")
    def held():
        return int(next(line for line in status.read_text().splitlines() if line.startswith("VmRSS")).split()[1]) * 1024
    small = Path(path).with_name("small " + Path(path).name)
    path, whole = str(small), path
    work()  # imports, thread pools and registries are no part of a log
    path, before, peak, going = whole, held(), 0, True
    def watch():
        global peak
        while going:
            peak = max(peak, held())
            time.sleep(0.001)
    watcher = threading.Thread(target=watch)
    if sys.argv[2] == "memory":
        watcher.start()
    begin = time.perf_counter()
    kept = work()
    took = time.perf_counter() - begin
    going = False
    print(took, max(peak, held()) - before)
"""


def measure(setup: str, path: Path, what: str) -> tuple[float, float]:
    """Return the time [s] and the peak memory above the start [bytes] of one reading in a fresh process."""
    code = textwrap.dedent(MEASURE).format(setup=textwrap.dedent(setup))
    run = subprocess.run([sys.executable, "-c", code, str(path), what], capture_output=True, text=True, check=True)
    took, memory = run.stdout.split()
    return float(took), float(memory)


def write_log(path: Path, rows: int, european: bool = False) -> None:
    """Write an invented refrigerator's log: one reading a second."""
    at = np.arange(rows)
    draw = np.random.default_rng(1)
    power = np.where(at % 2_700 < 1_100, 71.0 + 20 * np.exp(-(at % 2_700) / 90), 1.4) + draw.normal(0, 0.3, rows)
    times = np.datetime64("2026-01-13T00:00:00") + at
    text = pd.Series(times).dt.strftime("%d.%m.%Y %H:%M:%S") if european else np.datetime_as_string(times)
    table = pd.DataFrame({"time": text, "power (W)": power.clip(0).round(1)})
    table.to_csv(path, index=False, sep=";" if european else ",", decimal="," if european else ".")


def compare(path: Path, setup: str) -> None:
    """Print time and memory of pyarrow, by ``setup``, and of the kit for one file, and their ratios."""
    ways = {"pyarrow": setup, "read_log": KIT}
    times = {name: [] for name in ways}
    for _ in range(ROUNDS):  # by turns, since other work on the machine comes and goes
        for name, way in ways.items():
            times[name].append(measure(way, path, "time")[0])
    memory = {name: max(measure(way, path, "memory")[1] for _ in range(ROUNDS)) for name, way in ways.items()}
    columns = 16 * ROWS
    print(f"{path.name}: {ROWS:,} rows, {path.stat().st_size / 1e6:.0f} MB")
    for name in ways:
        print(f"{name:9} {min(times[name]):.3f} s, peak {memory[name] / 1e6:.0f} MB above the start")
    print(f"time: {min(times['read_log']) / min(times['pyarrow']):.2f} times pyarrow's (at most 3 wanted)")
    print(
        f"memory: {memory['read_log'] / columns:.2f} times the two columns' {columns / 1e6:.0f} MB (at most 4 wanted)"
    )


def main() -> None:
    """Compare a month in each form."""
    with tempfile.TemporaryDirectory() as folder:
        for name, setup in (("iso.csv", ISO), ("european.csv", EUROPEAN)):
            path = Path(folder) / name
            write_log(path, ROWS, name == "european.csv")
            write_log(path.with_name(f"small {name}"), 1_000, name == "european.csv")
            compare(path, setup)


if __name__ == "__main__":
    main()
