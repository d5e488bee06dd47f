"""A whole caseload: every guide of many cases, over several processes, to be stopped and taken up again.

Each case has a folder of its own under the output folder, and in it a ``manifest.json`` that is written last: what
the guide was made from, with what, and the hash of each file. A case whose manifest still holds is left as it
is. Nothing in the output depends on the clock, the order of work or the number of processes.
"""

import datetime as dt
import hashlib
import json
import multiprocessing
import os
import re
import signal
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import asdict, dataclass
from importlib.metadata import version
from itertools import chain, islice
from pathlib import Path
from typing import Any, Literal

from companion import __version__, resources
from companion.case import read_case
from companion.case.fields import CLINICIAN
from companion.case.read import accepted_case, case_from_dict
from companion.case.rows import read_rows
from companion.errors import CaseError, CompanionError, Fault, SettingError
from companion.export.answer import notice_lines
from companion.files import write_whole
from companion.guide.notice_words import notice_words
from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.link.keys import load_keys
from companion.make import make_set
from companion.reckoning.figures import changes, figures
from companion.reckoning.plan import plan

MANIFEST = "manifest.json"
ERRORS = ("errors.jsonl", "errors.txt")
NOTICES = "notices.txt"

_POOL_LIFE = 150
"""Cases for which a process lives. Typst remembers what it has typeset; a new process has forgotten it.

The pool's own ``max_tasks_per_child`` can hang for ever (CPython issue 115634, Python 3.11 and later).
"""

_ID = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9._-]{0,63}")


@dataclass(frozen=True)
class Entry:
    """One case of the load."""

    id: str
    """The name of its folder in the output."""
    file: str
    line: int | None
    """Its line, where the file holds many cases."""
    raw: dict[str, Any] | None
    """Its fields; None where the file is a case file, which is read when its turn comes."""
    faults: tuple[Fault, ...] = ()
    """Why it could not even be read."""


@dataclass(frozen=True)
class Job:
    """What is the same for all cases of a run."""

    out: Path
    key_file: Path
    languages: tuple[str, ...]
    """For cases that name none."""
    made_with: dict[str, str]
    """Versions and hashes of all that the output depends on, apart from the case."""
    day: dt.date | None = None
    """The day of the run, on which no order may be past its review date; None: that is not asked."""


State = Literal["made", "kept", "faulty"]


@dataclass(frozen=True)
class Result:
    """What became of one case."""

    entry: Entry
    state: State
    faults: tuple[Fault, ...] = ()
    notices: tuple[str, ...] = ()
    """What the clinician must know before the guide is handed over."""


# ── the cases ───────────────────────────────────────────────────────────────────────────────────


def entries(source: Path) -> Iterator[Entry]:
    """Yield the cases of a folder of case files, of one case file, or of a ``.csv`` or ``.jsonl`` file.

    Raises:
        CompanionError: there is nothing of that kind.
    """
    if source.is_dir():
        files = [
            path
            for path in sorted(source.rglob("*.toml"))
            if not any(part.startswith(".") for part in path.relative_to(source).parts)
        ]
        if not files:
            raise CompanionError(f"There is no case file in {source}: their names end in .toml.")
        for path in files:
            yield Entry(path.relative_to(source).with_suffix("").as_posix(), str(path), None, None)
    elif source.suffix == ".toml":
        yield Entry(source.stem, str(source), None, None)
    elif source.suffix in (".csv", ".jsonl"):
        yield from _row_entries(source)
    else:
        raise CompanionError(f"{source} is no folder of cases, and no .toml, .csv or .jsonl file.")


def _row_entries(source: Path) -> Iterator[Entry]:
    seen: dict[str, int] = {}
    for row in read_rows(source):
        raw = dict(row.raw)
        name = str(raw.pop("id", f"{source.stem}-{row.line:06d}"))
        faults = row.faults
        if not _ID.fullmatch(name):
            problem = "it cannot be the name of a folder"
            faults += (Fault("id", repr(name), problem, "up to 64 letters, digits, '-', '_' and '.'", CLINICIAN),)
        elif name.casefold() in seen:
            problem = f"line {seen[name.casefold()]} has the same id"
            faults += (Fault("id", repr(name), problem, "an id of its own for each case", CLINICIAN),)
        else:
            seen[name.casefold()] = row.line
        yield Entry(name, str(source), row.line, raw, faults)


# ── the run ─────────────────────────────────────────────────────────────────────────────────────


def made_with(key_file: Path) -> dict[str, str]:
    """Return what the output of this program depends on, apart from the case; the key only as a hash."""
    keys = load_keys(key_file)
    return {
        "program": __version__,
        "code": _hash_of(resources.code(), "*.py"),
        "templates": _hash_of(resources.folder("templates"), "*"),
        "locales": _hash_of(resources.folder("locales"), "*"),
        "key": hashlib.sha256(b"batch" + keys.signing()).hexdigest()[:16],
        **{name: version(name) for name in ("typst", "manimgx-fonts", "manimgx-fonts-cjk", "babel", "holidays")},
    }


def run(source: Path, job: Job, processes: int, told: Callable[[Result], None]) -> Counter[State]:
    """Make every guide and write the faults as a report; return how many cases came to what.

    Args:
        source: a folder or file of cases.
        job: what is the same for all of them.
        processes: how many work at once.
        told: called with each result as it comes.

    Raises:
        SettingError: something is wrong that no case can help: a full disk, a missing font. What was made stands.
    """
    counted: Counter[State] = Counter()
    faulty, noted = [], []
    for result in _results(entries(source), job, processes):
        counted[result.state] += 1
        if result.faults:
            faulty.append(result)
        if result.notices:
            noted.append(result)
        told(result)
    _report(job.out, sorted(faulty, key=_in_order))
    _report_notices(job.out, sorted(noted, key=_in_order))
    return counted


def _in_order(result: Result) -> tuple[str, int]:
    return result.entry.file, result.entry.line or 0


def _results(queue: Iterator[Entry], job: Job, processes: int) -> Iterator[Result]:
    """Yield results as they come. A case that ends its process costs no other case its guide."""
    while (first := next(queue, None)) is not None:
        share = chain((first,), islice(queue, _POOL_LIFE * processes - 1))
        suspects: list[Entry] = []
        with _pool(processes) as pool:
            pending: dict[Future[Result], Entry] = {}
            while True:
                # A few cases ahead keep every process busy; the rest stay unread.
                while len(pending) < 4 * processes and not suspects and (entry := next(share, None)):
                    if entry.faults:
                        yield Result(entry, "faulty", entry.faults)
                        continue
                    try:
                        pending[pool.submit(make_one, entry, job)] = entry
                    except BrokenProcessPool:
                        suspects.append(entry)
                if not pending:
                    break
                for future in wait(pending, return_when=FIRST_COMPLETED).done:
                    entry = pending.pop(future)
                    error = future.exception()
                    if isinstance(error, BrokenProcessPool):
                        suspects.append(entry)
                    elif isinstance(error, SettingError):
                        pool.shutdown(cancel_futures=True)
                        raise error
                    else:
                        yield future.result() if error is None else _failed(entry, error)
        yield from (_alone(entry, job) for entry in suspects)


def _alone(entry: Entry, job: Job) -> Result:
    """Make one case in a process of its own, to find out which one ended the others'."""
    with _pool(1) as pool:
        future = pool.submit(make_one, entry, job)
        error = future.exception()
        if isinstance(error, SettingError):
            raise error
        return future.result() if error is None else _failed(entry, error)


def _failed(entry: Entry, error: BaseException) -> Result:
    problem = f"the guide could not be made: {type(error).__name__}: {error}"
    right = "a program without this fault; the other cases are not touched by it"
    return Result(entry, "faulty", (Fault("the program", entry.id, problem, right, "whoever maintains the program"),))


def _pool(processes: int) -> ProcessPoolExecutor:
    # Spawn: a process forked after Typst has run once never returns from its next run.
    return ProcessPoolExecutor(processes, multiprocessing.get_context("spawn"), initializer=_end_with_the_parent)


def _end_with_the_parent() -> None:
    """Leave Ctrl-C to the parent, and let no worker outlive a parent that was killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    assert parent is not None

    def follow() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=follow, daemon=True).start()


# ── one case ────────────────────────────────────────────────────────────────────────────────────


def make_one(entry: Entry, job: Job) -> Result:
    """Make the guide of one case in its languages, or leave it where it is whole and still right."""
    try:
        if entry.raw is None:
            case = read_case(Path(entry.file), job.day)
        else:
            case = case_from_dict(entry.raw, entry.file, job.day)
    except CaseError as error:
        return Result(entry, "faulty", tuple(error.faults))
    languages = tuple(case.patient.languages or job.languages)
    right = f"one of: {', '.join(available())}"
    unknown = tuple(
        Fault(f"patient.languages[{place}]", tag, "there is no such language", right, CLINICIAN)
        for place, tag in enumerate(languages, start=1)
        if tag not in available()
    )
    if unknown:
        return Result(entry, "faulty", unknown)
    made = plan(case)
    notices = tuple(notice_words(notice) for notice in made.notices)
    folder = job.out / entry.id
    text = case.model_dump_json()
    head = {
        "made_with": job.made_with,
        "languages": list(languages),
        "case_sha256": hashlib.sha256(text.encode()).hexdigest(),
    }
    before = _manifest(folder)
    files = before.get("files", {})
    if all(before.get(name) == value for name, value in head.items()) and _whole(folder, files):
        _swept(folder, files, [])
        return Result(entry, "kept", notices=notices)
    hashes = {}
    for tag in languages:
        for name, data in make_set(case, made, Locale(tag, case.clinic.region), load_keys(job.key_file)):
            write_whole(folder / name, data)
            hashes[name] = hashlib.sha256(data).hexdigest()
    _swept(folder, hashes, [name for name in files if name not in hashes])
    held = {"id": entry.id, **head, "files": hashes, "figures": figures(case, made), "case": json.loads(text)}
    write_whole(folder / MANIFEST, _json_bytes(held))
    return Result(entry, "made", notices=notices)


def _manifest(folder: Path) -> dict[str, Any]:
    """Return what a folder's manifest says; nothing where there is none that can be read."""
    try:
        held = json.loads((folder / MANIFEST).read_bytes())
    except (OSError, ValueError):
        return {}
    return held if isinstance(held, dict) else {}


def _whole(folder: Path, files: dict[str, str]) -> bool:
    try:
        return all(hashlib.sha256((folder / name).read_bytes()).hexdigest() == held for name, held in files.items())
    except OSError:
        return False


def _swept(folder: Path, files: dict[str, str], gone: list[str]) -> None:
    """Remove files that a former guide had and this one has not, and what a killed run was writing."""
    for name in gone:
        (folder / name).unlink(missing_ok=True)
    for name in (*files, MANIFEST):
        for left in folder.glob(f".{name}.*"):
            left.unlink(missing_ok=True)


def _json_bytes(held: object) -> bytes:
    return (json.dumps(held, indent=1, ensure_ascii=False) + "\n").encode()


def _hash_of(folder: Path, pattern: str) -> str:
    total = hashlib.sha256()
    for path in sorted(folder.rglob(pattern)):
        if path.is_file() and "__pycache__" not in path.parts:
            total.update(f"{path.relative_to(folder).as_posix()}\0".encode())
            total.update(hashlib.sha256(path.read_bytes()).digest())
    return total.hexdigest()[:16]


# ── what is told afterwards ─────────────────────────────────────────────────────────────────────


def _report(out: Path, faulty: list[Result]) -> None:
    """Write every fault with file, line and field: for programs and for people. No faults, no report."""
    lines, told = [], []
    for result in faulty:
        entry = result.entry
        place = entry.file if entry.line is None else f"{entry.file}, line {entry.line}"
        told.append(f"{place} ({entry.id})\n" + "\n".join(str(fault) for fault in result.faults) + "\n")
        lines += [
            json.dumps({"id": entry.id, "file": entry.file, "line": entry.line, **asdict(fault)}, ensure_ascii=False)
            for fault in result.faults
        ]
    for name, text in zip(ERRORS, ("\n".join(lines) + "\n", "\n".join(told)), strict=True):
        for left in out.glob(f".{name}.*"):
            left.unlink(missing_ok=True)
        if faulty:
            write_whole(out / name, text.encode())
        else:
            (out / name).unlink(missing_ok=True)


def _report_notices(out: Path, noted: list[Result]) -> None:
    """Write what the clinician must know of each guide. Nothing to know, no report."""
    if noted:
        texts = (f"{result.entry.id}\n{notice_lines(result.notices)}" for result in noted)
        write_whole(out / NOTICES, "\n".join(texts).encode())
    else:
        (out / NOTICES).unlink(missing_ok=True)


@dataclass(frozen=True)
class Recall:
    """A guide that carries figures which are no longer computed."""

    id: str
    program: str
    """The version of the program that made it."""
    changed: tuple[str, ...]


def changed_since(out: Path, until: str) -> Iterator[Recall]:
    """Yield the guides under a folder, made by version ``until`` or an older one, whose figures are others today.

    Raises:
        CompanionError: that is no version.
    """
    newest = _version(until)
    for path in sorted(out.rglob(MANIFEST)):
        held = _manifest(path.parent)
        if not held or _version(held["made_with"]["program"]) > newest:
            continue
        try:
            case = accepted_case(held["case"], str(path))
        except CaseError as error:
            changed = [f"today's checks refuse it: {fault.where}: {fault.problem}" for fault in error.faults]
        else:
            changed = changes(held["figures"], figures(case, plan(case)))
        if changed:
            yield Recall(held["id"], held["made_with"]["program"], tuple(changed))


def _version(text: str) -> tuple[int, ...]:
    if not re.fullmatch(r"\d{1,6}(\.\d{1,6}){0,3}", text):
        raise CompanionError(f"'{text}' is no version; write it as '{__version__}'.")
    return tuple(int(part) for part in text.split("."))
