"""Read a month of one-second readings, and compare time and memory with pyarrow's own parse of the same file.

Run it by hand: ``python tests/speed/read_log.py``. It prints both ratios and is no test: the times of a
shared machine belong in no test. Each reading runs in a process of its own, so that its peak memory is its own.

What is wanted: at most 3 times pyarrow's time (the same types given), and at most 4 times the memory of the
file's two columns (16 bytes a row) at the peak, above what the process held before.
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
ROUNDS = 5

PYARROW = """
    import pyarrow as pa, pyarrow.csv as pacsv
    types = pacsv.ConvertOptions(column_types={"time": pa.timestamp("ns"), "power (W)": pa.float64()})
    work = lambda: pacsv.read_csv(path, convert_options=types)
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
    small = Path(path).with_name("small.csv")
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


def write_log(path: Path, rows: int) -> None:
    """Write an invented refrigerator's log: one reading a second, ISO times."""
    at = np.arange(rows)
    draw = np.random.default_rng(1)
    power = np.where(at % 2_700 < 1_100, 71.0 + 20 * np.exp(-(at % 2_700) / 90), 1.4) + draw.normal(0, 0.3, rows)
    times = np.datetime_as_string(np.datetime64("2026-01-10T00:00:00") + at)
    pd.DataFrame({"time": times, "power (W)": power.clip(0).round(1)}).to_csv(path, index=False)


def main() -> None:
    """Print time and memory of both, and their ratios."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "month.csv"
        write_log(path, ROWS)
        write_log(path.with_name("small.csv"), 1_000)
        print(f"{ROWS:,} rows, {path.stat().st_size / 1e6:.0f} MB")
        times = {name: min(measure(setup, path, "time")[0] for _ in range(ROUNDS))
                 for name, setup in (("pyarrow", PYARROW), ("read_log", KIT))}  # fmt: skip
        memory = {name: max(measure(setup, path, "memory")[1] for _ in range(ROUNDS))
                  for name, setup in (("pyarrow", PYARROW), ("read_log", KIT))}  # fmt: skip
    columns = 16 * ROWS
    for name in times:
        print(f"{name:9} {times[name]:.3f} s, peak {memory[name] / 1e6:.0f} MB above the start")
    print(f"time: {times['read_log'] / times['pyarrow']:.2f} times pyarrow's (at most 3 wanted)")
    print(
        f"memory: {memory['read_log'] / columns:.2f} times the two columns' {columns / 1e6:.0f} MB (at most 4 wanted)"
    )


if __name__ == "__main__":
    main()
