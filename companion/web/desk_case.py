"""A form held against the model and the clinic's folder: what is taken from there, and what follows."""

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from companion.case.check import field_value, said_back
from companion.case.model import Case
from companion.case.read import case_from_dict
from companion.case.rooms import EQUIPMENT, Rooms, complete, region_of
from companion.errors import CaseError, Fault
from companion.language.locale import Locale
from companion.web import form
from companion.web.desk_words import words

EIGHT = (
    "patient.name",
    "prescription.rest.flow",
    "prescription.exertion.flow",
    "prescription.sleep.flow",
    "prescription.exertion.hours_per_day",
    "prescription.sleep.hours_per_day",
)
"""What is typed for each patient, beside languages and kit, which are picked."""


@dataclass(frozen=True)
class Checked:
    """A form that was held against the model."""

    case: Case | None
    """The case; None while something is wrong with it."""
    faults: list[Fault]
    """What is wrong, or unlikely and not ticked."""
    meant: list[Fault]
    """What is unlikely, and ticked as meant."""
    whole: dict[str, Any]
    """The values with all that was taken from the clinic's folder."""
    taken: Mapping[str, str]
    """What was taken, by field."""
    read: Mapping[str, str]
    """What was read as something else than was typed, by the id of the field."""


def checked(entries: form.Entries, today: dt.date, rooms: Rooms) -> Checked:
    """Check a form; a tick counts only beside a value that is unlikely still."""
    values = form.case_values(entries)
    ticked = values.pop("confirmed", [])
    whole, absent = complete(values, rooms)
    typed_in = form.entries_of(values)
    taken = {
        name: texts[0]
        for name, texts in form.entries_of(whole).items()
        if name not in typed_in and name not in form.UNASKED and not name.startswith(EQUIPMENT)
    }
    read = {form.id_of(path): meant for path, _, meant in said_back(Case, values, region_of(whole))}
    confirmed = list(whole.get("confirmed", []))
    meant: list[Fault] = []
    faults = absent
    case = None
    if not absent:
        try:
            case = case_from_dict(whole, "the form", today)
        except CaseError as error:
            meant = [fault for fault in error.faults if fault.confirm in ticked]
            faults = [fault for fault in error.faults if fault not in meant and not _follows(fault, error.faults)]
    if meant:
        whole["confirmed"] = [*confirmed, *(fault.confirm for fault in meant)]
        case = None if faults else case_from_dict(whole, "the form", today)
    return Checked(case, faults, meant, whole, taken, read)


def _follows(fault: Fault, faults: Sequence[Fault]) -> bool:
    """Return whether the hours at rest are missing only because other hours are, or are wrong."""
    others = any(
        other.where.startswith("prescription.") and "hours_" in other.where for other in faults if other != fault
    )
    return fault.absent and fault.where == "prescription.rest.hours_per_day" and others


# ── a file that was opened ──────────────────────────────────────────────────────────────────────


def reduced(values: Mapping[str, Any], rooms: Rooms) -> tuple[dict[str, Sequence[str]], bool]:
    """Return what must stand in the form for a whole case, and whether its kit is another one now.

    What the clinic's folder would give all the same is left out, so that it follows what is changed.
    """
    name = values.get("from_kit")
    kit = rooms.kits.get(name) if isinstance(name, str) else None
    as_kit = kit is not None and all(_plain(kit.get(part)) == _plain(values.get(part)) for part in EQUIPMENT)
    entries: dict[str, Sequence[str]] = dict(form.entries_of(values))
    if as_kit:
        entries = {entry: texts for entry, texts in entries.items() if not entry.startswith((*EQUIPMENT, "from_kit"))}
        entries["kit"] = [str(name)]
    for entry in [one for one in entries if one.startswith(("prescription.", "clinic.")) and one not in EIGHT]:
        without = {one: texts for one, texts in entries.items() if one != entry}
        if form.entries_of(complete(form.case_values(without), rooms)[0]).get(entry) == entries[entry]:
            entries = without
    return entries, kit is not None and not as_kit


def _plain(value: Any) -> Any:
    """Return values without parts that are empty, as a form would give them back."""
    return {name: texts for name, texts in form.entries_of({"it": value or {}}).items() if any(texts)}


def kept_for_later(values: Mapping[str, Any]) -> str:
    """Return a case as a field of the form carries it, to hold it beside what it becomes."""
    return json.dumps(values, default=str)


# ── what follows from the eight values ──────────────────────────────────────────────────────────


def consequences(whole: dict[str, Any], tag: str) -> list[tuple[str, str]]:
    """Return what was not typed for this patient and holds for the guide, each with the id of its field.

    It is said in English, but for the date, which is that of a language.
    """
    region = region_of(whole)
    found: list[tuple[str, str]] = []

    def read(path: str) -> Any:
        value: Any = whole
        for step in path.split("."):
            value = value.get(step) if isinstance(value, Mapping) else None
        return None if value is None else field_value(Case, path, value, region)

    def add(path: str, name: str, **held: Any) -> None:
        if all(value is not None for value in held.values()):
            found.append((form.id_of(path), words(name, **held)))

    for path, name in (
        ("prescription.rest.hours_per_day", "rest hours"),
        ("prescription.exertion.on_portable", "portable hours"),
        ("prescription.hours_off_oxygen", "off hours"),
    ):
        add(path, name, hours=read(path))
    for portable in _tables(whole.get("portable")):
        fills = {"cold": portable.get("cold_fills_per_day"), "warm": portable.get("warm_fills_per_day")}
        add("equipment", "fills", **fills)
    add("prescription.interface", "interface", interface=read("prescription.interface"))
    humidifier = read("prescription.humidifier")
    add(
        "prescription.humidifier",
        "humidifier",
        answer=words("yes" if humidifier else "no") if humidifier is not None else None,
    )
    target = "prescription.target_saturation"
    add(f"{target}.low", "target", low=read(f"{target}.low"), high=read(f"{target}.high"))
    review = read("prescription.review_date")
    day = Locale(tag, region or "US").date(review) if review else None
    add("prescription.review_date", "review", day=day)
    coming = read("clinic.delivery.round.weekdays")
    add("clinic.delivery.round.weekdays", "round", weekdays=", ".join(map(str.capitalize, coming)) if coming else None)
    add("clinic.delivery.lead_days", "lead", days=read("clinic.delivery.lead_days"))
    return found


def _tables(value: Any) -> list[Mapping[str, Any]]:
    return [item for item in value if isinstance(item, Mapping)] if isinstance(value, list) else []
