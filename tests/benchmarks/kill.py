"""Kills a batch at random moments and takes it up again: the end must be that of an undisturbed run.

Run with ``python -m tests.benchmarks.kill``; some six minutes on two cores.
"""

import argparse
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.caseload import write_cases
from tests.caseload import snapshot


def main() -> int:
    """Kill so often, always resuming the same output; return 0 if nothing was lost."""
    words = argparse.ArgumentParser(prog="python -m tests.benchmarks.kill")
    words.add_argument("--kills", type=int, default=50)
    words.add_argument("--cases", type=int, default=8)
    words.add_argument("--seed", type=int, default=0)
    asked = words.parse_args()
    dice = random.Random(asked.seed)  # noqa: S311
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        cases = write_cases(work / "cases.jsonl", asked.cases)
        (work / "link.keys").write_text("cd" * 32, encoding="ascii")

        def command(out: Path) -> list[str]:
            options = ["--out", str(out), "--keys", str(work / "link.keys"), "--processes", "2"]
            return [sys.executable, "-m", "companion", "batch", str(cases), *options]

        start = time.perf_counter()
        subprocess.run(command(work / "whole"), check=True, capture_output=True)  # noqa: S603
        longest = time.perf_counter() - start
        whole = snapshot(work / "whole")
        killed = halves = 0
        out, rounds = work / "out-0", 0
        while killed < asked.kills:
            running = subprocess.Popen(command(out), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # noqa: S603
            time.sleep(dice.uniform(0.2, longest))
            if running.poll() is None:
                running.send_signal(signal.SIGKILL)
                killed += 1
            running.wait()
            time.sleep(0.05)  # the workers end with their parent
            found = snapshot(out) if out.is_dir() else {}
            # A file under its own name is whole at every moment; only a manifest vouches for a folder.
            halves += sum(whole[name] != held for name, held in found.items() if not Path(name).name.startswith("."))
            if running.returncode == 0 or killed % 5 == 0:
                subprocess.run(command(out), check=True, capture_output=True)  # noqa: S603
                if snapshot(out) != whole:
                    print(f"After {killed} kills the output differs from that of an undisturbed run.")
                    return 1
                rounds += 1
                out = work / f"out-{rounds}"
    print(f"{killed} kills, {rounds} resumed runs compared with an undisturbed one: all alike; half-written: {halves}.")
    return int(halves > 0)


if __name__ == "__main__":
    sys.exit(main())
