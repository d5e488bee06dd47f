"""Kills a batch at random moments and takes it up again: the end must be that of an undisturbed run.

Two orders of the same patients take turns, so that most kills come while one set replaces another: at each moment a
folder must hold the whole set of one order or nothing. Run with ``python -m tests.benchmarks.kill``; some ten minutes
on two cores.
"""

import argparse
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path

from tests.batch.loads import batch_words, write_keys
from tests.benchmarks.caseload import raw_cases
from tests.caseload import snapshot, write_lines

Sets = dict[str, dict[str, str]]


def main() -> int:
    """Kill so often, always resuming the same output; return 0 if nothing was lost."""
    words = argparse.ArgumentParser(prog="python -m tests.benchmarks.kill")
    words.add_argument("--kills", type=int, default=100)
    words.add_argument("--cases", type=int, default=6)
    words.add_argument("--seed", type=int, default=0)
    asked = words.parse_args()
    dice = random.Random(asked.seed)  # noqa: S311
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        keys, out = write_keys(work), work / "out"
        loads, whole, longest = [], [], 0.0
        for issued in ("2026-11-02", "2026-11-09"):
            raws = (raw | {"issued": issued} for raw in raw_cases(asked.cases))
            loads.append(write_lines(work / f"{issued}.jsonl", *raws))
            start = time.perf_counter()
            subprocess.run(_command(loads[-1], work / issued, keys), check=True, capture_output=True)
            longest = time.perf_counter() - start
            whole.append(_sets(work / issued))
        killed = mixed = rounds = 0
        while killed < asked.kills:
            order = dice.randrange(2)
            running = subprocess.Popen(
                _command(loads[order], out, keys), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            )
            time.sleep(dice.uniform(0.2, longest))
            if running.poll() is None:
                running.send_signal(signal.SIGKILL)
                killed += 1
            running.wait()
            time.sleep(0.1)  # the workers end with their parent
            mixed += sum(files not in (whole[0][name], whole[1][name]) for name, files in _sets(out).items())
            if killed % 5 == 0:
                subprocess.run(_command(loads[order], out, keys), check=True, capture_output=True)
                if _sets(out) != whole[order] or list((out / ".batch" / "new").iterdir()):
                    print(f"After {killed} kills the output differs from that of an undisturbed run.")
                    return 1
                rounds += 1
                print(f"{killed} kills, {rounds} resumed runs alike; mixed sets: {mixed}", flush=True)
    print(f"{killed} kills, {rounds} resumed runs compared with an undisturbed one: all alike; mixed sets: {mixed}.")
    return int(mixed > 0)


def _command(load: Path, out: Path, keys: Path) -> list[str]:
    return [sys.executable, "-m", "companion", *batch_words(load, out, keys, 2)]


def _sets(out: Path) -> Sets:
    """Return the files of each case that are in reach, with their hashes."""
    found: Sets = defaultdict(dict)
    for name, digest in (snapshot(out) if out.is_dir() else {}).items():
        case_id, _, file = name.rpartition("/")
        # The index at the top tells what the last run did.
        if case_id and not case_id.startswith(".batch"):
            found[case_id][file] = digest
    return dict(found)


if __name__ == "__main__":
    sys.exit(main())
