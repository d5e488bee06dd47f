"""Which cases there are: in a folder of case files, in one case file, or in the rows of a table."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from companion.batch.folders import is_taken
from companion.batch.parts import WHOLE, Part
from companion.case.fields import CLINICIAN
from companion.case.rooms import is_of_the_clinic
from companion.case.rows import read_rows
from companion.errors import CompanionError, Fault, harmless

_ROW_ID = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9._-]{0,63}")


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


def entries(source: Path, part: Part = WHOLE) -> Iterator[Entry]:
    """Return the cases of a folder of case files, of one case file, or of a ``.csv`` or ``.jsonl`` file.

    Raises:
        CompanionError: there is nothing of that kind.
    """
    return (entry for entry in _all(source) if part.has(entry.id))


def _all(source: Path) -> Iterator[Entry]:
    if source.is_dir():
        yield from _file_entries(source)
    elif source.suffix == ".toml":
        yield _file_entry(source, source.stem, set())
    elif source.suffix in (".csv", ".jsonl") and (source.is_file() or not source.exists()):
        yield from _row_entries(source)
    else:
        raise CompanionError(f"{harmless(str(source))} is no folder of cases, and no .toml, .csv or .jsonl file.")


def _file_entries(source: Path) -> Iterator[Entry]:
    files = [
        path
        for path in sorted(source.rglob("*.toml"))
        if not any(part.startswith(".") for part in path.relative_to(source).parts) and not is_of_the_clinic(path)
    ]
    if not files:
        raise CompanionError(f"There is no case file in {harmless(str(source))}: their names end in .toml.")
    parents = {above.as_posix().casefold() for path in files for above in path.relative_to(source).parents}
    seen: set[str] = set()
    for path in files:
        yield _file_entry(path, path.relative_to(source).with_suffix("").as_posix(), parents | seen)
        seen.add(path.relative_to(source).with_suffix("").as_posix().casefold())


def _file_entry(path: Path, name: str, others: set[str]) -> Entry:
    """Return the entry of a case file; ``others`` are the folders that other cases need, in small letters."""
    problem = None
    right = "another name for the case file"
    if not _is_text(name):
        problem, right = "its name is not UTF-8 text", "a name in UTF-8; a share from an old system may write Latin-1"
    elif is_taken(name):
        problem = "the output keeps something else under this name"
    elif name.casefold() in others:
        problem = "its sheets would lie among those of another case"
    elif path.exists() and not path.is_file() and not path.is_dir():
        problem, right = "it is a pipe or a device, and could be read for ever", "a plain file"
    faults = (Fault("the file", str(path), problem, right, CLINICIAN),) if problem else ()
    return Entry(name, str(path), None, None, faults)


def _row_entries(source: Path) -> Iterator[Entry]:
    seen: dict[str, int] = {}
    for row in read_rows(source):
        raw = dict(row.raw)
        given = raw.pop("id", f"{source.stem}-{row.line:06d}")
        name = str(given)
        problem, right = None, "up to 64 letters, digits, '-', '_' and '.'"
        if not isinstance(given, str | int) or not _ROW_ID.fullmatch(name):
            problem = "it cannot be the name of a folder"
        elif is_taken(name):
            problem = "the output keeps something else under this name"
        elif name.casefold() in seen:
            problem, right = f"line {seen[name.casefold()]} has the same id", "an id of its own for each case"
        else:
            seen[name.casefold()] = row.line
        faults = (Fault("id", repr(name), problem, right, CLINICIAN),) if problem else ()
        yield Entry(name, str(source), row.line, raw, row.faults + faults)


def _is_text(name: str) -> bool:
    """Return whether a name is text: bytes of a file name that are no UTF-8 become lone surrogates."""
    return not any("\ud800" <= sign <= "\udfff" for sign in name)
