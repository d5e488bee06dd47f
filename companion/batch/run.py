"""A whole caseload: every guide of many cases, over several processes, to be stopped and taken up again.

Each case has a folder of its own under the output folder, and in it a ``manifest.json``: what the guide was made
from, with what, and the hash of each file. A case whose manifest still holds is left as it is. Nothing in the
output depends on the clock, the order of work or the number of processes.

One output folder belongs to one caseload. A guide there whose case is gone or faulty now is taken out of reach.
"""

import multiprocessing
import os
import signal
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Future, wait
from dataclasses import dataclass, replace
from multiprocessing.context import BaseContext
from pathlib import Path
from typing import Any

from filelock import FileLock
from pebble import ProcessExpired, ProcessPool

from companion.batch import folders
from companion.batch.entries import Entry, entries
from companion.batch.index import index_row, write_index
from companion.batch.manifest import ManifestError, read_manifest
from companion.batch.one import Job, Result, State, make_one
from companion.batch.report import write_notices, write_report
from companion.errors import CompanionError, Fault, SettingError, harmless

_CASES_PER_PROCESS = 150
"""Typst remembers what it has typeset; a new process has forgotten it, patients' names among it."""

_LONGEST_CASE_S = 600
"""Seconds. A case takes a fraction of one, and a minute or two on a very busy machine; a hung share or a fault of a
library would take the whole night."""


_at_work: list[FileLock] = []
"""The lock of this process, where it is a worker: kept, because it ends when it is forgotten."""

_NO_PROCESSES = (
    "The processes that make the guides were ended from outside. What was made stands; run the command again."
)


@dataclass(frozen=True)
class Outcome:
    """What became of a caseload."""

    counted: Counter[State]
    withdrawn: tuple[str, ...]
    """Sets that were taken out of reach, because their case is gone or faulty now."""
    to_look_at: tuple[str, ...]
    """Sets that belong to no case and could not be taken out of reach, each with the reason."""
    urgent: int = 0
    """Homes in which oxygen may run out, as a notice of the first rank says."""


def run(source: Path, job: Job, processes: int, tell: Callable[[Result], None]) -> Outcome:
    """Make every guide, take those out of reach that no case stands for, and write three reports.

    One tells the faults, one what must be known of each guide before it is handed over, one is a table of all cases.

    Args:
        source: a folder or file of cases.
        job: what is the same for all of them.
        processes: how many work at once.
        tell: called with each result as it comes.

    Raises:
        CompanionError: there are no cases, or the output folder holds those of another load.
        SettingError: something is wrong that no case can help: a full disk, a missing font. What was made stands.
    """
    with folders.alone(job.out):
        _refuse_another_load(job.out, {entry.id for entry in entries(source, job.part)})
        counted: Counter[State] = Counter()
        faulty: list[Result] = []
        noted: list[Result] = []
        right: set[str] = set()
        index: list[dict[str, Any]] = []
        stopped = True
        try:
            for made in _results(entries(source, job.part), job, processes):
                # Of ten thousand cases what was entered must not lie in the memory until the end.
                result = replace(made, entry=replace(made.entry, raw=None))
                counted[result.state] += 1
                index.append(index_row(result))
                if result.faults:
                    faulty.append(result)
                else:
                    right.add(result.entry.id)
                if result.notices:
                    noted.append(result)
                tell(result)
            stopped = False
        finally:
            write_report(job.out, faulty, stopped=stopped)
            write_notices(job.out, noted, stopped=stopped)
            write_index(job.out, index, stopped=stopped)
        withdrawn, to_look_at = _withdraw(job.out, right)
    urgent = sum(row["may_run_out"] > 0 for row in index)
    return Outcome(counted, tuple(withdrawn), tuple(to_look_at), urgent)


def _refuse_another_load(out: Path, ids: set[str]) -> None:
    """Refuse to take every single guide out of reach: whoever asks for that has named the wrong folder."""
    standing = list(folders.sets(out, withdrawn=False))
    if not ids.isdisjoint(standing):
        return
    others = [case_id for case_id in standing if _manifest_problem(out / case_id) is None]
    if others:
        raise CompanionError(
            f"{out} holds the guides of other cases ({len(others)}, such as {harmless(others[0])}), and none of this "
            "caseload. One folder belongs to one caseload: give another --out, or move those guides away first."
        )


def _withdraw(out: Path, right: set[str]) -> tuple[list[str], list[str]]:
    withdrawn, to_look_at = [], []
    for case_id in folders.sets(out, withdrawn=False):
        if case_id in right:
            continue
        problem = _manifest_problem(out / case_id)
        if problem is None:
            try:
                folders.withdraw(out, case_id)
            except OSError as error:
                problem = f"it cannot be moved: {error.strerror}"
        if problem is None:
            withdrawn.append(harmless(case_id))
        else:
            to_look_at.append(f"{harmless(case_id)}: {problem}")
    return withdrawn, to_look_at


def _manifest_problem(folder: Path) -> str | None:
    try:
        read_manifest(folder)
    except ManifestError as error:
        return str(error)
    return None


def _results(queue: Iterator[Entry], job: Job, processes: int) -> Iterator[Result]:
    """Yield results as they come. A case that hangs or ends its process costs no other case its guide."""
    pool = ProcessPool(processes, _CASES_PER_PROCESS, _begin, (job.out,), _fresh_processes())
    pending: dict[Future[Result], Entry] = {}
    try:
        while True:
            # A few cases ahead keep every process busy; the rest stay unread.
            while len(pending) < 4 * processes and (entry := next(queue, None)):
                if entry.faults:
                    yield Result(entry, "faulty", entry.faults)
                else:
                    pending[_scheduled(pool, entry, job)] = entry
            if not pending:
                return
            for future in wait(pending, return_when=FIRST_COMPLETED).done:
                yield _result(pending.pop(future), future)
    finally:
        pool.stop()  # type: ignore[no-untyped-call]
        pool.join()


def _fresh_processes() -> BaseContext:
    """Return the way in which workers begin: forked from a process that has read what all of them need.

    That one has typeset nothing: forked after Typst has run once, a process never returns from its next run.
    """
    if "forkserver" not in multiprocessing.get_all_start_methods():  # Windows
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["companion.batch.ready"])
    return context


def _scheduled(pool: ProcessPool, entry: Entry, job: Job) -> Future[Result]:
    try:
        return pool.schedule(make_one, (entry, job), timeout=_LONGEST_CASE_S)
    except RuntimeError as error:
        raise SettingError(_NO_PROCESSES) from error


def _result(entry: Entry, future: Future[Result]) -> Result:
    error = future.exception()
    if error is None:
        return future.result()
    if isinstance(error, SettingError):
        raise error
    if isinstance(error, BrokenExecutor):
        raise SettingError(_NO_PROCESSES) from error
    if isinstance(error, TimeoutError):
        problem = f"the guide was not made in {_LONGEST_CASE_S} seconds, and was given up"
    elif isinstance(error, ProcessExpired):
        problem = f"the guide could not be made: its process ended with {error.exitcode}"
    else:
        problem = f"the guide could not be made: {type(error).__name__}: {error}"
    right = "a program without this fault; the other cases are not touched by it"
    return Result(entry, "faulty", (Fault("the program", entry.id, problem, right, "whoever maintains the program"),))


def _begin(out: Path) -> None:
    """Leave Ctrl-C to the parent, and let no worker outlive a parent that was killed."""
    _at_work.append(folders.at_work(out))
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    assert parent is not None

    def follow() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=follow, daemon=True).start()
