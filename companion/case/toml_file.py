"""A TOML file as plain values, unchecked: bounded before it is read, and told in plain words where it is none."""

import re
import tomllib
from pathlib import Path
from typing import Any

from companion.case.fields import CLINICIAN
from companion.errors import CaseError, Fault
from companion.files import opened

LARGEST_FILE = 256 * 1024
"""A case file is 2 kB; anything over this [bytes] is not one."""

MOST_VALUES = 1000
"""The fullest case holds some 300. Of many thousand, it would take minutes and megabytes to tell what is wrong."""

_KEY_PART = r"""(?:[A-Za-z0-9_-]++|"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+')"""
_ENDLESS_KEY = re.compile(rf"(?<![A-Za-z0-9_\\-]){_KEY_PART}(?:[ \t]*+\.[ \t]*+{_KEY_PART}){{20}}")
"""A field lies at most 4 deep. The time and memory that tomllib takes for a key grow with the square of its parts.
No key begins behind a backslash: else each of many escaped quotes would be looked behind to the end of its line."""


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
    refuse_endless(values, source)
    return values


def refuse_endless(values: dict[str, Any], source: str) -> None:
    """Refuse values of which there are too many for a case.

    Raises:
        CaseError: there are.
    """
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


def read_toml(path: Path) -> dict[str, Any]:
    """Return the values of a file.

    Raises:
        CaseError: it cannot be read, or is none.
    """
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
