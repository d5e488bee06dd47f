"""Many cases in one file: a line of JSON each, or a row of a table each.

A column of a table is named by the path of its field, as it stands in the messages: ``prescription.rest.flow``,
``reservoir.1.boil_off``, ``conserver.bolus.2``. An empty cell is a field that is left out. A column ``id``
names the case; the model does not know it.
"""

import csv
import json
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, Self

from companion.case.fields import CLINICIAN, Part, fields_of, typed
from companion.case.model import Case
from companion.case.toml_file import LARGEST_FILE
from companion.errors import CaseError, Fault


@dataclass(frozen=True)
class Row:
    """One case as it was read, or why it could not be."""

    line: int
    """Where it ends in the file, counted from 1."""
    raw: dict[str, Any] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()


def read_rows(path: Path) -> Iterator[Row]:
    """Yield the cases of a ``.csv`` or ``.jsonl`` file, one after another, never the whole file at once.

    Raises:
        CaseError: the file cannot be read at all, or its first line names no fields.
    """
    try:
        if path.suffix == ".csv":
            yield from _table_rows(path)
        else:
            yield from _json_lines(path)
    except OSError as error:
        problem = f"it cannot be read: {error.strerror}"
        raise CaseError(str(path), [_file_fault(str(path), problem, "the path of a file of cases")]) from error


def _file_fault(read: str, problem: str, right: str) -> Fault:
    return Fault("the file", read, problem, right, CLINICIAN)


def _line_fault(read: str, problem: str, right: str) -> tuple[Fault, ...]:
    return (Fault("the line", read, problem, right, CLINICIAN),)


_TOO_LONG = "it is too long for a case"


def _skip_line(file: IO[Any], begun: str | bytes) -> None:
    """Read on to the end of a line without keeping it: one line must not fill the memory."""
    end = "\n" if isinstance(begun, str) else b"\n"
    while begun and begun[-1:] != end:
        begun = file.readline(LARGEST_FILE)


# ── JSON Lines ──────────────────────────────────────────────────────────────────────────────────


def _json_lines(path: Path) -> Iterator[Row]:
    right = "one case a line, as JSON with the fields of a case file"
    with path.open("rb") as file:
        number = 0
        while line := file.readline(LARGEST_FILE):
            number += 1
            if len(line) == LARGEST_FILE:
                _skip_line(file, line)
                yield Row(number, faults=_line_fault(f"{LARGEST_FILE} bytes or more", _TOO_LONG, right))
                continue
            if not line.strip():
                continue
            try:
                raw = json.loads(line.decode("utf-8-sig"))
            except UnicodeDecodeError as error:
                yield Row(number, faults=_line_fault(f"byte {line[error.start]:#04x}", "it is not UTF-8 text", right))
            except json.JSONDecodeError as error:
                yield Row(number, faults=_line_fault("text that is no JSON", f"{error.msg} at {error.colno}", right))
            except ValueError:
                yield Row(number, faults=_line_fault("a number of thousands of digits", "it is no amount", right))
            except RecursionError:
                yield Row(number, faults=_line_fault("brackets nested too deep", "it is no case", right))
            else:
                if isinstance(raw, dict):
                    yield Row(number, raw)
                else:
                    yield Row(number, faults=_line_fault(type(raw).__name__, "it is no table of fields", right))


# ── a table ─────────────────────────────────────────────────────────────────────────────────────


def _table_rows(path: Path) -> Iterator[Row]:
    # Bytes that are no UTF-8 become lone surrogates: they spoil their own row only.
    with path.open(encoding="utf-8-sig", errors="surrogateescape", newline="") as file:
        lines = _Lines(file)
        reader = csv.reader(lines)
        try:
            names = next(reader, [])
        except csv.Error:
            names = []
        twice = sorted(name for name, count in Counter(names).items() if count > 1)
        if not any(names) or twice:
            problem = f"columns named twice: {', '.join(twice)}" if twice else "its first line names no columns"
            right = "a first line with the path of each field, such as prescription.rest.flow"
            raise CaseError(str(path), [_file_fault(f"{len(names)} columns", problem, right)])
        while True:
            try:
                cells = next(reader)
            except StopIteration:
                return
            except csv.Error as error:
                yield Row(lines.number, faults=_line_fault("a row that is no CSV", str(error), "RFC 4180"))
                continue
            if any(cell.strip() for cell in cells):
                yield _table_row(lines.number, names, cells)


class _Lines:
    """The lines of a text, counted; one that is too long is an error of its own and does not fill the memory."""

    def __init__(self, file: IO[str]) -> None:
        self._file = file
        self.number = 0

    def __iter__(self) -> Self:
        return self

    def __next__(self) -> str:
        line = self._file.readline(LARGEST_FILE)
        if not line:
            raise StopIteration
        self.number += 1
        if len(line) == LARGEST_FILE:
            _skip_line(self._file, line)
            raise csv.Error(_TOO_LONG)
        return line


def _table_row(line: int, names: list[str], cells: list[str]) -> Row:
    if len(cells) > len(names):
        read = f"{len(cells)} cells"
        return Row(line, faults=_line_fault(read, "more cells than columns", f"at most {len(names)} cells"))
    filled = {name: cell.strip() for name, cell in zip(names, cells, strict=False) if cell.strip()}
    broken = [name for name, cell in filled.items() if any("\ud800" <= sign <= "\udfff" for sign in cell)]
    if broken:
        return Row(
            line,
            faults=tuple(
                Fault(name, "bytes", "it is not UTF-8 text", "a file saved as UTF-8", CLINICIAN) for name in broken
            ),
        )
    return Row(line, _nested(filled))


def _nested(filled: dict[str, str]) -> dict[str, Any]:
    """Turn paths with their cells into tables within tables, as a case file holds them."""
    raw: dict[str, Any] = {}
    lists: dict[str, dict[int, dict[str, Any]]] = {}
    for path, cell in filled.items():
        name, _, rest = path.partition(".")
        place, _, inner = rest.partition(".")
        if name in _LISTS and re.fullmatch("[1-9][0-9]?", place, re.ASCII) and inner:
            _put(lists.setdefault(name, {}).setdefault(int(place), {}), inner, cell, _LISTS[name])
        elif name in _LISTS and rest:
            raw[path] = cell  # no such place: kept under its path, where the check calls it unknown
        else:
            _put(raw, path, cell, Case)
    return {name: [found[place] for place in sorted(found)] for name, found in lists.items()} | raw


def _put(table: dict[str, Any], path: str, cell: str, model: type[Part]) -> None:
    """Put a cell at a path; what stands behind a table of free keys, such as ``bolus``, is one key."""
    name, _, rest = path.partition(".")
    field = fields_of(model).get(name)
    if not rest:
        many = field is not None and field.many
        table[name] = cell.replace(",", " ").split() if many else typed(cell, field.kind if field else str)
        return
    inner = table.setdefault(name, {})
    if not isinstance(inner, dict):
        # The same name is a column of its own: kept under its path, where the check calls it unknown.
        table[path] = cell
    elif field is not None and field.part is not None:
        _put(inner, rest, cell, field.part)
    else:
        inner[rest] = cell


_LISTS: dict[str, type[Part]] = {
    name: field.part for name, field in fields_of(Case).items() if field.many and field.part is not None
}
