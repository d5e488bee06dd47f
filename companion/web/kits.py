"""The clinic's folder as the desk changes it: kits, the clinic's own settings, and how often a kit was used."""

import datetime as dt
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from companion.case.asking import answered
from companion.case.check import field_value
from companion.case.fields import fields_of
from companion.case.model import Case
from companion.case.rooms import EQUIPMENT, Rooms, Usual, read_rooms, region_of, write_kit, write_settings
from companion.errors import CaseError, CompanionError, SettingError
from companion.web.desk_words import label, way, words

USED = "used.txt"
"""A line for each guide made at the desk: its day and its kit, and nothing about the patient."""


def rooms_of(folder: Path) -> tuple[Rooms, str]:
    """Return the clinic's folder, and what is wrong with it where nothing of it can be used."""
    try:
        return read_rooms(folder), ""
    except CaseError as error:
        return Rooms(folder, {}, {}), words("room damaged", problem=f"{error.source}: {error.faults[0].problem}")


def kept_kit(named: str, former: str, values: Mapping[str, Any], rooms: Rooms) -> tuple[str, str]:
    """Keep the equipment of a form as a kit; return the name of its file, empty where it was not kept, and a note."""
    name = re.sub(r"[^a-z0-9]+", "-", named.casefold()).strip("-")[:60]
    if not name:
        return "", words("kit unnamed")
    before = rooms.kits.get(name, {})
    confirmed = [entry for entry in values.get("confirmed", ()) if str(entry).startswith(EQUIPMENT)]
    title = before.get("name", named) if name == former else named
    kit = {"name": title} | {part: values[part] for part in EQUIPMENT if part in values}
    if confirmed:
        kit["confirmed"] = confirmed
    try:
        missing = write_kit(rooms.folder, name, kit)
    except CaseError as error:
        fault = error.faults[0]
        return "", words("kit wrong", problem=f"{way(fault.where)}: {fault.problem}")
    except SettingError as error:
        return "", str(error)
    return name, words("kit half", name=title, count=len(missing)) if missing else words("kit kept", name=title)


def retired_kit(name: str, rooms: Rooms) -> str:
    """Offer a kit to nobody anew, and say so."""
    kit = rooms.kits.get(name)
    if kit is None:
        return words("kit unnamed")
    try:
        write_kit(rooms.folder, name, {**kit, "retired": True})
    except CompanionError as error:
        return str(error)
    return words("kit retired", name=kit.get("name", name))


def answer_read(values: Mapping[str, Any], file: str, rooms: Rooms) -> str:
    """Put a supplier's answer, or a whole kit, into the clinic's folder, and say what became of it."""
    try:
        name, kit, changes = answered(values, Path(file), rooms)
        missing = write_kit(rooms.folder, name, kit)
    except CaseError as error:
        fault = error.faults[0]
        return words("kit wrong", problem=f"{way(fault.where)}: {fault.problem}")
    except SettingError as error:
        return str(error)
    told = "; ".join(changes) or words("nothing changed")
    return words("kit answer", name=kit.get("name", name), count=len(missing), changes=told)


def kept_clinic(whole: Mapping[str, Any], rooms: Rooms) -> str:
    """Keep the clinic of a form, and what it ordered as what is usual, and say so."""
    order = whole.get("prescription", {})
    usual = {name: order[name] for name in fields_of(Usual) if name in order}
    region = region_of(whole)
    issued = field_value(Case, "issued", whole.get("issued"), region)
    review = field_value(Case, "prescription.review_date", order.get("review_date"), region)
    if issued and review:
        usual["review_days"] = (review - issued).days
    prescribers = [*rooms.settings.get("prescribers", ()), *filter(None, [order.get("prescriber")])]
    settings = {"clinic": whole.get("clinic", {}), "usual": usual, "prescribers": list(dict.fromkeys(prescribers))}
    try:
        write_settings(rooms.folder, settings)
    except CaseError as error:
        fault = error.faults[0]
        return words("clinic wrong", problem=f"{way(fault.where)}: {fault.problem}")
    except SettingError as error:
        return str(error)
    return words("clinic kept")


def count_use(folder: Path, kit: str | None, today: dt.date) -> None:
    """Note that a guide was made from a kit."""
    if kit is None:
        return
    try:
        with (folder / USED).open("a", encoding="utf-8") as file:
            file.write(f"{today} {kit}\n")
    except OSError as error:
        raise SettingError(f"{folder / USED} cannot be written: {error.strerror}.") from error


def uses(folder: Path, kit: str) -> int:
    """Return how many guides were made from a kit at this desk."""
    try:
        lines = (folder / USED).read_text(encoding="utf-8").splitlines()
    except OSError:
        return 0
    return sum(line.partition(" ")[2] == kit for line in lines)


def title_of(container: Mapping[str, Any], kind: str, place: int) -> list[str]:
    """Return how a container of a kit is told in a line: its kind and the first fact of its size."""
    sizes = [str(container[one]) for one in ("liquid_volume", "oxygen_mass", "content") if one in container]
    return [f"{label(kind)} {place}", *sizes[:1]]
