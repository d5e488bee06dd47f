"""Caseloads for the tests: cases in many forms, a run as a person starts it, and what it left."""

import csv
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from companion.batch.entries import Entry
from companion.batch.one import Job
from companion.batch.stamp import made_with
from companion.link.keys import load_keys
from tests.caseload import write_lines
from tests.cases import case_dict
from tests.conftest import TODAY, as_toml
from tests.tools import key_file

DIGITS = "ab" * 32
"""A clinic's key."""


def flat(raw: dict[str, Any], before: str = "") -> Iterator[tuple[str, str]]:
    """Write a case as the cells of a table, by the paths of its fields."""
    for name, value in raw.items():
        path = f"{before}{name}"
        if isinstance(value, dict):
            yield from flat(value, f"{path}.")
        elif isinstance(value, list) and isinstance(value[0], dict):
            for place, item in enumerate(value, start=1):
                yield from flat(item, f"{path}.{place}.")
        else:
            yield path, " ".join(value) if isinstance(value, list) else str(value)


def write_table(path: Path, rows: list[dict[str, str]]) -> Path:
    """Write rows as CSV."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(dict.fromkeys(name for row in rows for name in row)))
        writer.writeheader()
        writer.writerows(rows)
    return path


def write_files(folder: Path, cases: dict[str, dict[str, Any] | None]) -> Path:
    """Write case files by their names, the base case with some changes; one of ``None`` is no case at all."""
    for name, changes in cases.items():
        path = folder / f"{name}.toml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("no case" if changes is None else as_toml(case_dict(changes)), encoding="utf-8")
    return folder


def numbered_cases(path: Path, count: int) -> Path:
    """Write so many cases, which differ in the name alone."""
    return write_lines(path, *(case_dict({"patient.name": f"P{n}"}) | {"id": f"p{n}"} for n in range(count)))


def sets_in(folder: Path) -> set[str]:
    """Return the folders with a guide that lie in reach."""
    found = {path.parent.relative_to(folder).as_posix() for path in folder.rglob("guide.*.pdf")}
    return {name for name in found if not name.startswith((".batch", "do-not-hand-over"))}


def write_keys(folder: Path) -> Path:
    """Write the clinic's key file."""
    return key_file(folder / "link.keys", DIGITS)


def entry_of(changes: dict[str, Any] | None = None, case_id: str = "rosa") -> Entry:
    """Return the base case with some changes as it comes out of a file of cases."""
    return Entry(case_id, "cases.jsonl", 7, case_dict(changes))


def job_in(folder: Path) -> Job:
    """Return a job that writes into ``out`` there."""
    keys = write_keys(folder)
    return Job(folder / "out", keys, ("en",), made_with(load_keys(keys)))


def batch_words(source: Path, out: Path, keys: Path, processes: int = 1) -> list[str]:
    """Return the words of the command."""
    words = ["batch", str(source), "--out", str(out), "--keys", str(keys), "--processes", str(processes)]
    return [*words, "--today", TODAY.isoformat()]  # of the processes that are started, too


def started(words: list[str]) -> "subprocess.Popen[str]":
    """Start the command in a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "companion", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
