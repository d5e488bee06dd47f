"""How long a caseload takes in parts, each a run of its own as on a machine of its own; and what that means for more.

    python -m tests.benchmarks.parts --cases 1000 --parts 2

A short run is mostly the start of its processes, so the pace is that between two sizes.
"""

import argparse
import csv
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.caseload import write_cases
from tests.tools import key_file

NATION = 1_500_000


def main() -> None:
    """Print the figures."""
    words = argparse.ArgumentParser(prog="python -m tests.benchmarks.parts")
    words.add_argument("--cases", type=int, default=1000, metavar="N")
    words.add_argument("--parts", type=int, nargs="+", default=[1, 2], metavar="N", help="in how many at once")
    words.add_argument("--sheets-kept", action="store_true", help="run again over what is made, and time that")
    told = words.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        keys = key_file(work / "link.keys")
        cases = write_cases(work / "cases.jsonl", told.cases)
        for parts in told.parts:
            out = work / f"out-{parts}"
            _told(told.cases, parts, *_run(cases, out, keys, parts))
            if told.sheets_kept:
                _told(told.cases, parts, *_run(cases, out, keys, parts), "left as they were")
            made = [row for index in out.glob("*/index.csv") for row in csv.DictReader(index.open(encoding="utf-8"))]
            assert len({row["id"] for row in made}) == told.cases, "a case is in no part, or in two"


def _run(cases: Path, out: Path, keys: Path, parts: int) -> tuple[float, float]:
    """Run all parts at once; return the time by the clock and that of the processors [s]."""
    before = _cpu_s()
    start = time.perf_counter()
    runs = [
        subprocess.Popen(
            [
                *(sys.executable, "-m", "companion", "batch", str(cases), "--out", str(out), "--keys", str(keys)),
                *("--part", f"{part}/{parts}", "--processes", "1", "--quiet", "--today", "2026-11-02"),
            ],
            stderr=subprocess.DEVNULL,
        )
        for part in range(1, parts + 1)
    ]
    for run in runs:
        assert run.wait() == 0
    return time.perf_counter() - start, _cpu_s() - before


def _cpu_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _told(cases: int, parts: int, took_s: float, cpu_s: float, what: str = "made") -> None:
    a_case = cpu_s / cases
    hours = NATION * a_case / 3600
    print(
        f"{cases} cases {what} in {parts} parts at once: {took_s:.0f} s by the clock, {a_case * 1000:.0f} ms of "
        f"processor a case; {NATION:,} cases: {hours:,.0f} hours of one core, {hours / 64:,.1f} h on 64 cores",
        flush=True,
    )


if __name__ == "__main__":
    main()
