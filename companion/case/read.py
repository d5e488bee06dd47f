"""From a case file to a Case, or to everything that is wrong with it at once."""

import datetime as dt
import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Annotated, Any, get_args

from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from companion.case.fields import CLINICIAN, fields_of
from companion.case.fit import misfits
from companion.case.model import Case, nearest
from companion.case.slips import idle, slips
from companion.errors import CaseError, Fault, did_you_mean, harmless
from companion.files import opened

LARGEST_FILE = 256 * 1024
"""A case file is 2 kB; anything over this [bytes] is not one."""

MOST_VALUES = 1000
"""The fullest case holds some 300. Of many thousand, it would take minutes and megabytes to tell what is wrong."""

_KEY_PART = r"""(?:[A-Za-z0-9_-]++|"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+')"""
_ENDLESS_KEY = re.compile(rf"(?<![A-Za-z0-9_\\-]){_KEY_PART}(?:[ \t]*+\.[ \t]*+{_KEY_PART}){{20}}")
"""A field lies at most 4 deep. The time and memory that tomllib takes for a key grow with the square of its parts.
No key begins behind a backslash: else each of many escaped quotes would be looked behind to the end of its line."""


def read_case(path: Path, day: dt.date | None = None) -> Case:
    """Read a case file.

    Args:
        path: the file.
        day: the day on which the case is used; None: whether the order has run out by now is not asked.

    Raises:
        CaseError: with every fault found: file, field, what was read, what would be right, whom to ask.
    """
    return case_from_dict(_toml(path), str(path), day)


def case_from_dict(raw: dict[str, Any], source: str, day: dt.date | None = None) -> Case:
    """Check a case given as plain values, as TOML, JSON or a form give them; ``day`` as for a file.

    Raises:
        CaseError: with every fault found, and with every value that is unlikely and not confirmed.
    """
    parts, faults = _parts(raw, source)
    unlikely = slips(parts, day)
    confirmed = parts.get("confirmed") or []
    faults += [fault for fault in unlikely if fault.confirm not in confirmed] or (
        [] if faults else idle(confirmed, unlikely)
    )
    return _case(parts, faults, source)


def accepted_case(raw: dict[str, Any], source: str) -> Case:
    """Check a case that was accepted before, as a code or a manifest holds it: what is unlikely is not asked again.

    Raises:
        CaseError: with every fault found.
    """
    return _case(*_parts(raw, source), source)


def _case(parts: dict[str, Any], faults: list[Fault], source: str) -> Case:
    if faults:
        raise CaseError(source, faults)
    return Case.model_construct(**parts)


def _parts(raw: dict[str, Any], source: str) -> tuple[dict[str, Any], list[Fault]]:
    """Return the parts that are right by themselves, and what is wrong with them and between them."""
    _refuse_endless(raw, source)
    parts: dict[str, Any] = {}
    faults: list[Fault] = []
    for name, field in Case.model_fields.items():
        if name not in raw:
            if field.is_required():
                faults.append(_missing((name,)))
            else:
                parts[name] = field.get_default()
            continue
        value, found = _checked(name, raw[name])
        faults += found
        # A part that was refused is left out, so that nobody takes it for one that is not there.
        if value is not None or not found:
            parts[name] = value
    faults += [_unknown((name,), raw[name]) for name in raw if name not in Case.model_fields]
    # Parts that are right by themselves are held against each other even where another part is wrong,
    # so that one run tells all.
    return parts, faults + misfits(parts)


def toml_values(data: bytes, source: str) -> dict[str, Any]:
    """Return the values of a case file, unchecked.

    Raises:
        CaseError: it is too large, no UTF-8 text or no TOML.
    """

    def unreadable(read: str, problem: str, right: str) -> CaseError:
        return _unreadable(source, read, problem, right)

    if len(data) > LARGEST_FILE:
        raise unreadable(
            f"more than {LARGEST_FILE} bytes", "it is too large for a case file", "a TOML file of a few kB"
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise unreadable(
            f"byte {data[error.start]:#04x} at position {error.start}",
            "it is not UTF-8 text",
            "a text file saved as UTF-8",
        ) from error
    if _ENDLESS_KEY.search(text):
        raise unreadable("a name of more than 20 parts", "it is no case file", "TOML, as in the examples folder")
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise unreadable(
            "text that is no TOML", _said_of_toml(str(error)), "TOML, as in the examples folder"
        ) from error
    except ValueError as error:  # Python reads no whole number of more digits
        raise unreadable(
            "a number of more than 4,300 digits", "no value of a case has so many", "TOML, as in the examples folder"
        ) from error
    except RecursionError as error:
        raise unreadable("brackets nested too deep", "it is no case file", "TOML, as in the examples folder") from error
    _refuse_endless(values, source)
    return values


def _refuse_endless(values: dict[str, Any], source: str) -> None:
    waiting: list[Any] = [values]
    count = 0
    while waiting:
        value = waiting.pop()
        inner = value if isinstance(value, list) else list(value.values()) if isinstance(value, dict) else ()
        count += len(inner)
        if count > MOST_VALUES:
            read = f"more than {MOST_VALUES} values"
            raise _unreadable(source, read, "it is too long for a case", "the fields of one case")
        waiting += inner


def _said_of_toml(words: str) -> str:
    """Return what is wrong with a TOML file, in plain words where the library's speak of its own workings."""
    twice = re.match(r"Cannot (?:overwrite a value|declare \(.*\) twice|mutate immutable namespace .*)", words)
    return f"the same field or table stands there twice{words[twice.end() :]}" if twice else words


def _toml(path: Path) -> dict[str, Any]:
    try:
        with opened(path) as file:
            data = file.read(LARGEST_FILE + 1)
    except OSError as error:
        raise _unreadable(
            str(path), str(path), f"it cannot be read: {error.strerror}", "the path of a case file"
        ) from error
    return toml_values(data, str(path))


def _unreadable(source: str, read: str, problem: str, right: str) -> CaseError:
    return CaseError(source, [Fault("the file", read, problem, right, CLINICIAN)])


def _checked(name: str, value: Any) -> tuple[Any, list[Fault]]:
    """Validate one top-level part; a list keeps its right items, so that they can still be compared."""
    if not isinstance(value, list) or not fields_of(Case)[name].many:
        return _validated(_part_reader(name), value, (name,))
    kept: list[Any] = []
    faults: list[Fault] = []
    for place, item in enumerate(value):
        checked, found = _validated(_item_reader(name), item, (name, place))
        kept.append(checked)
        faults += found
    if not faults:
        return _validated(_part_reader(name), kept, (name,))
    return kept, faults


@cache
def _part_reader(name: str) -> TypeAdapter[Any]:
    field = Case.model_fields[name]
    # The bounds of a list stand beside its type.
    annotation: Any = Annotated[field.annotation, *field.metadata] if field.metadata else field.annotation
    return TypeAdapter(annotation)


@cache
def _item_reader(name: str) -> TypeAdapter[Any]:
    return TypeAdapter(get_args(Case.model_fields[name].annotation)[0])


def _validated(reader: TypeAdapter[Any], value: Any, at: tuple[str | int, ...]) -> tuple[Any, list[Fault]]:
    try:
        return reader.validate_python(value), []
    except ValidationError as error:
        return None, [_fault(at, detail) for detail in error.errors(include_url=False)]


_PROBLEMS = {
    # Pydantic's kind of error -> our words; the rest is said in the words of the check that failed.
    "int_type": "not a whole number",
    "int_parsing": "not a whole number",
    "int_from_float": "not a whole number",
    "float_type": "not a number",
    "decimal_type": "not a number",
    "decimal_parsing": "not a number",
    "bool_type": "neither true nor false",
    "bool_parsing": "neither true nor false",
    "string_type": "not text in quotes",
    "string_too_short": "it is empty or too short",
    "string_too_long": "it is too long",
    "string_pattern_mismatch": "not written as it must be",
    "literal_error": "not one of the words that it may be",
    "date_type": "not a date",
    "date_parsing": "not a date",
    "dict_type": "not a table of fields",
    "model_type": "not a table of fields",
    "model_attributes_type": "not a table of fields",
    "list_type": "not a list; write it in double brackets, [[ ]]",
    "too_long": "more than there can be: at most {max_length}",
    "too_short": "fewer than there must be: at least {min_length}",
    "greater_than_equal": "too small: at least {ge}",
    "less_than_equal": "too large: at most {le}",
    "finite_number": "not a number",
    "decimal_max_digits": "too many digits: at most {max_digits}",
    "decimal_max_places": "too many digits after the point: at most {decimal_places}",
}


def _fault(at: tuple[str | int, ...], detail: ErrorDetails) -> Fault:
    path = (*at, *(step for step in detail["loc"] if step != "[key]"))
    if detail["type"] == "missing":
        return _missing(path)
    if detail["type"] == "extra_forbidden":
        return _unknown(path, detail["input"])
    if detail["type"] == "value_error":
        problem = str(detail["ctx"]["error"])
    elif detail["type"] in _PROBLEMS:
        problem = _PROBLEMS[detail["type"]].format(**detail.get("ctx", {}))
    else:
        problem = detail["msg"]
    right, ask = _told(path)
    return Fault(_spelled(path), _shown(detail["input"]), problem, right, ask)


def _missing(path: tuple[str | int, ...]) -> Fault:
    right, ask = _told(path)
    return Fault(_spelled(path), "nothing", "it is missing", right, ask)


def _unknown(path: tuple[str | int, ...], value: Any) -> Fault:
    owner = nearest(path[:-1])
    known = fields_of(Case if owner is None or owner.part is None else owner.part)
    meant = did_you_mean(str(path[-1]), known)
    problem = f"there is no such field here.{meant}" if meant else "there is no such field here"
    return Fault(_spelled(path), _shown(value), problem, f"one of: {', '.join(known)}", CLINICIAN)


def _spelled(path: tuple[str | int, ...]) -> str:
    """Write a path as a person counts: the first reservoir is reservoir[1]."""
    text = ""
    for step in path:
        text += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if text else step
    return harmless(_cut(text, 120))


def _shown(value: Any) -> str:
    if isinstance(value, dict):
        text = "fields: " + (", ".join(map(str, value)) or "none")
    elif isinstance(value, list):
        text = f"a list of {len(value)}"
    elif isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, dt.date | dt.time):
        text = value.isoformat()
    else:
        text = repr(value)
    return harmless(_cut(text, 60))


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 3] + "..."


def _told(path: tuple[str | int, ...]) -> tuple[str, str]:
    """Return what would be right and whom to ask."""
    field = nearest(path)
    return (field.right, field.ask) if field else ("fields as in the examples folder", CLINICIAN)
