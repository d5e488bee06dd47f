"""How long a caseload takes in parts, each a run of its own as on a machine of its own; and what that means for more.

    python -m tests.benchmarks.parts --cases 1000 --parts 2

Every part is run twice: the second run, which leaves all as it is, shows what starting and looking takes. The pace is
the first less the second, so that a short run tells it as well as a long one.
"""

import argparse
import csv
import resource
import shutil
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
    told = words.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        keys = key_file(work / "link.keys")
        cases = write_cases(work / "cases.jsonl", told.cases)
        for parts in told.parts:
            out = work / f"out-{parts}"
            took_s, made_s = _run(cases, out, keys, parts)
            _, kept_s = _run(cases, out, keys, parts)
            a_case_s = (made_s - kept_s) / told.cases
            hours = NATION * a_case_s / 3600
            print(
                f"{told.cases} cases in {parts} parts at once: {took_s:.0f} s by the clock; of one core {made_s:.0f} "
                f"s, {kept_s:.0f} s where all stands, so {a_case_s * 1000:.0f} ms a case; {NATION:,} cases: "
                f"{hours:,.0f} hours of one core, {hours / 64:,.1f} h on 64",
                flush=True,
            )
            made = [row for index in out.glob("*/index.csv") for row in csv.DictReader(index.open(encoding="utf-8"))]
            assert len({row["id"] for row in made}) == told.cases, "a case is in no part, or in two"
            shutil.rmtree(out)  # a thousand cases are more than a gigabyte


def _run(cases: Path, out: Path, keys: Path, parts: int) -> tuple[float, float]:
    """Run all parts at once; return the time by the clock and that of the processors [s]."""
    logs = [cases.with_name(f"part-{part}.log") for part in range(1, parts + 1)]
    before = _cpu_s()
    start = time.perf_counter()
    runs = [
        subprocess.Popen(
            [
                *(sys.executable, "-m", "companion", "batch", str(cases), "--out", str(out), "--keys", str(keys)),
                *("--part", f"{part}/{parts}", "--processes", "1", "--quiet", "--today", "2026-11-02"),
            ],
            stderr=log.open("wb"),
        )
        for part, log in enumerate(logs, start=1)
    ]
    for run, log in zip(runs, logs, strict=True):
        if run.wait():
            sys.exit(f"A part ended with exit code {run.returncode}: {log.read_text(encoding='utf-8')}")
    return time.perf_counter() - start, _cpu_s() - before


def _cpu_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


if __name__ == "__main__":
    main()
