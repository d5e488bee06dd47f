"""Sizes that fill fields of the desk's form: a few generic ones, and those that the clinic has kept for itself.

A size holds equipment and nothing about a patient. What only a container's own data sheet tells, boil-off first of
all, stands in no generic size: it is asked for.
"""

import datetime as dt
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import tomli_w
from pydantic import TypeAdapter

from companion import resources
from companion.errors import SettingError
from companion.files import write_whole

_OF_ONE_HOME = {"name", "count", "cold_fills_per_day", "warm_fills_per_day"}
"""Fields that belong to a patient's home and not to a kind of container."""


Kind = Literal["reservoir", "portable", "cylinder"]


@dataclass(frozen=True)
class Size:
    """One kind of container as it is picked from a list."""

    kind: Kind
    name: str
    fields: dict[str, Any]
    """Values as a case file holds them."""
    source: str
    noted: dt.date


def generic_sizes() -> list[Size]:
    """Return the sizes that come with the program."""
    return _sizes(resources.read("templates", "web/equipment.toml"))


def own_sizes(path: Path) -> list[Size]:
    """Return the sizes that the clinic has kept; none where there is no file yet.

    Raises:
        SettingError: the file cannot be read or understood.
    """
    try:
        return _sizes(path.read_text(encoding="utf-8")) if path.exists() else []
    except (OSError, ValueError, RecursionError) as error:
        raise SettingError(
            f"The list of the clinic's own equipment, {path}, cannot be used, so nothing of it is offered. Mend the "
            f"file, or move it away: {_first_line(error)}"
        ) from error


def keep(path: Path, kind: Kind, fields: dict[str, Any], today: dt.date) -> None:
    """Add a container to the clinic's list, once.

    Raises:
        SettingError: the list cannot be read or written.
    """
    kept = {name: value for name, value in fields.items() if name not in _OF_ONE_HOME}
    sizes = own_sizes(path)
    if any((size.kind, size.fields) == (kind, kept) for size in sizes):
        return
    sizes.append(Size(kind, _described(kept), kept, "kept at the clinic's desk", today))
    write_whole(path, tomli_w.dumps({"size": [vars(size) for size in sizes]}).encode())


def _described(fields: dict[str, Any]) -> str:
    told: Sequence[str] = ("liquid_volume", "oxygen_mass", "content", "water_volume", "factor")
    told = (*told, "working_pressure", "full_pressure", "boil_off", "coupling")
    return ", ".join(str(fields[name]) for name in told if name in fields)


def _sizes(text: str) -> list[Size]:
    return TypeAdapter(dict[Literal["size"], list[Size]]).validate_python(tomllib.loads(text)).get("size", [])


def _first_line(error: Exception) -> str:
    return str(error).partition("\n")[0]
