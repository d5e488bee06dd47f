"""The clinic's folder: what is the same for all its patients, once, and what is the same for a set of equipment.

    clinic.toml       the clinic itself, what it usually orders, its prescribers
    kits/NAME.toml    one set of equipment, each container as its data sheet has it

A case says ``kit = "NAME"`` and takes the rest from there. What the case says itself stands above its kit, and its kit
and the clinic's own settings above nothing: they fill what was left out, and what neither has is asked for.
"""

import copy
import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import tomli_w

from companion.case.amounts import Entry, HoursOfDay, Line
from companion.case.check import checked_parts, field_value
from companion.case.clinic import Clinic
from companion.case.equipment import Conserver, Cylinder, Portable, Reservoir
from companion.case.fields import CLINIC, CLINICIAN, Part, asked, fields_of, like
from companion.case.fit import misfits
from companion.case.model import Case
from companion.case.prescription import ACTIVITIES, Interface, NightFlow, Prescription, SaturationTarget, WhileFilling
from companion.case.slips import idle, slips
from companion.case.toml_file import read_toml
from companion.errors import CaseError, Fault, harmless
from companion.facts.region import region_code
from companion.facts.units import Amount
from companion.files import write_whole

CLINIC_FILE = "clinic.toml"
KITS = "kits"

EQUIPMENT = ("reservoir", "portable", "cylinder", "conserver")


class Usual(Part):
    """What this clinic orders unless a case says otherwise: its own settings, and so no guess."""

    interface: Interface | None = like(Prescription, "interface")
    target_saturation: SaturationTarget | None = like(Prescription, "target_saturation")
    humidifier: bool | None = like(Prescription, "humidifier")
    hours_off_oxygen: HoursOfDay | None = like(Prescription, "hours_off_oxygen")
    while_filling: WhileFilling | None = like(Prescription, "while_filling")
    at_night: NightFlow | None = like(Prescription, "at_night")
    review_days: int | None = asked(
        "after how many days an order is reviewed, such as 90", CLINIC, 90, default=None, in_link=False, ge=1, le=366
    )


class Settings(Part):
    """What ``clinic.toml`` holds."""

    clinic: Clinic = like(Case, "clinic", default=...)
    usual: Usual = asked("what the clinic usually orders", CLINIC, {}, default=Usual(), in_link=False)
    prescribers: list[Line] = asked(
        "who orders oxygen at this clinic, to pick from",
        CLINIC,
        ["Dr Amara Osei"],
        default=[],
        in_link=False,
        max_length=40,
    )


class Kit(Part):
    """What ``kits/NAME.toml`` holds: a set of equipment as the supplier brings it."""

    name: Line = asked("what the clinic calls this set", CLINIC, "36 L reservoir, 1 L portable", in_link=False)
    retired: bool = asked(
        "true once it is given to nobody anew; cases that name it can still be made",
        CLINIC,
        False,
        default=False,
        in_link=False,
    )
    confirmed: list[Entry] = like(Case, "confirmed", default=[], max_length=60)
    reservoir: list[Reservoir] = like(Case, "reservoir", default=..., min_length=1, max_length=4)
    portable: list[Portable] = like(Case, "portable", default=[], max_length=4)
    cylinder: list[Cylinder] = like(Case, "cylinder", default=[], max_length=4)
    conserver: Conserver | None = like(Case, "conserver")


@dataclass(frozen=True)
class Rooms:
    """A clinic's folder as it is now, unchecked."""

    folder: Path
    settings: Mapping[str, Any]
    """What ``clinic.toml`` holds; nothing where there is none."""
    kits: Mapping[str, Mapping[str, Any]]
    """Each kit by the name of its file."""


def read_rooms(folder: Path) -> Rooms:
    """Read a clinic's folder.

    Raises:
        CaseError: a file in it is no TOML, or has something else where a table or a list belongs.
    """
    file = folder / CLINIC_FILE
    kits = {path.stem: _shaped(path, Kit) for path in sorted((folder / KITS).glob("*.toml"))}
    return Rooms(folder, _shaped(file, Settings) if file.exists() else {}, kits)


def _shaped(path: Path, model: type[Part]) -> dict[str, Any]:
    """Return the values of a file in which tables and lists stand where its model has them."""
    values = read_toml(path)
    for name, field in fields_of(model).items():
        value = values.get(name, [] if field.many else {})
        items = value if field.many and isinstance(value, list) else [value]
        table = field.part is not None and not all(isinstance(item, dict) for item in items)
        if table or (field.many and not isinstance(value, list)):
            fault = Fault(name, harmless(repr(value)[:60]), "not a table or list of fields", field.right, field.ask)
            raise CaseError(str(path), [fault])
    return values


def is_of_the_clinic(path: Path) -> bool:
    """Return whether a file is one of a clinic's folder, and so no case."""
    return path.name == CLINIC_FILE or (path.parent.name == KITS and (path.parent.parent / CLINIC_FILE).exists())


def region_of(raw: Mapping[str, Any]) -> str | None:
    """Return the region that plain values name: it says in which order people there write a date."""
    clinic = raw.get("clinic")
    named = clinic.get("region") if isinstance(clinic, dict) else None
    return region_code(named) if isinstance(named, str) else None


# ── whether a room is in order ──────────────────────────────────────────────────────────────────


def faults_of_settings(settings: Mapping[str, Any]) -> list[Fault]:
    """Return what is wrong or missing in what a clinic keeps of itself."""
    return checked_parts(Settings, dict(settings), region_of(settings))[1]


def faults_of_kit(kit: Mapping[str, Any]) -> list[Fault]:
    """Return what is wrong, missing or unlikely in a kit, within its containers and between them."""
    parts, faults = checked_parts(Kit, dict(kit), None)
    unlikely = slips(parts, None)
    confirmed = parts.get("confirmed") or []
    faults += misfits(parts)
    faults += [fault for fault in unlikely if fault.confirm not in confirmed]
    return faults or list(idle(confirmed, unlikely))


# ── a case, completed ───────────────────────────────────────────────────────────────────────────


def completed(raw: dict[str, Any], home: Path) -> tuple[dict[str, Any], list[Fault]]:
    """Return a case with all that it takes from the clinic's folder, and why it cannot take it.

    The folder is looked for where the case names one (``clinic = "../clinic"``), else beside the case and in the
    folders above it. A case that has its own ``[clinic]`` and names no kit takes nothing.
    """
    named = raw.get("clinic")
    if isinstance(named, str):
        if not (home / named / CLINIC_FILE).is_file():
            right = f"the path of a folder with a {CLINIC_FILE}, from the folder of the case; or a table [clinic]"
            return raw, [Fault("clinic", repr(named), "there is no clinic's folder", right, CLINICIAN)]
        return complete({name: value for name, value in raw.items() if name != "clinic"}, read_rooms(home / named))
    if "kit" not in raw and named is not None:
        return raw, []
    here = home.resolve()
    found = next((folder for folder in (here, *here.parents) if (folder / CLINIC_FILE).is_file()), None)
    if found is None:
        right = f'a {CLINIC_FILE} beside the case or in a folder above it, or its path: clinic = "../clinic"'
        problem = "there is no clinic's folder to take it from"
        return raw, [Fault("kit", repr(raw["kit"]), problem, right, CLINICIAN)] if "kit" in raw else []
    return complete(raw, read_rooms(found))


def complete(raw: Mapping[str, Any], rooms: Rooms) -> tuple[dict[str, Any], list[Fault]]:
    """Return a case with what it leaves out taken from a clinic's folder, and why its kit cannot be taken."""
    case = copy.deepcopy(dict(raw))
    faults = _with_kit(case, rooms)
    own = case.get("clinic", {})
    if rooms.settings and isinstance(own, dict):
        case["clinic"] = _over(rooms.settings.get("clinic", {}), own)
    if isinstance(case.get("prescription"), dict):
        _with_usual(case, rooms.settings.get("usual", {}))
        _with_hours(case)
    return case, faults


def _with_kit(case: dict[str, Any], rooms: Rooms) -> list[Fault]:
    """Put the containers of the kit into a case, but for the kinds of which it has its own."""
    if "kit" not in case:
        return []
    name = case.pop("kit")
    kit = rooms.kits.get(name) if isinstance(name, str) else None
    if kit is None:
        right = f"one of: {', '.join(rooms.kits)}" if rooms.kits else f"a file in the folder '{KITS}' of the clinic"
        return [Fault("kit", repr(name)[:60], "there is no such kit", harmless(right), CLINICIAN)]
    taken = [part for part in EQUIPMENT if part in kit and part not in case]
    case.update({part: copy.deepcopy(kit[part]) for part in taken})
    case["from_kit"] = name
    meant = [entry for entry in kit.get("confirmed", ()) if str(entry).startswith(tuple(taken))]
    if meant:
        case["confirmed"] = [*case.get("confirmed", ()), *meant]
    return []


def _with_usual(case: dict[str, Any], usual: Mapping[str, Any]) -> None:
    order = _over({name: value for name, value in usual.items() if name != "review_days"}, case["prescription"])
    case["prescription"] = order
    days = usual.get("review_days")
    issued = field_value(Case, "issued", case.get("issued"), region_of(case))
    if isinstance(days, int) and isinstance(issued, dt.date):
        order.setdefault("review_date", issued + dt.timedelta(days=days))


def _over(below: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """Return a table with another one's fields in the place of its own, tables within tables field by field."""
    return {**below, **own} | {
        name: _over(below[name], value)
        for name, value in own.items()
        if isinstance(value, Mapping) and isinstance(below.get(name), Mapping)
    }


def _with_hours(case: dict[str, Any]) -> None:
    """Give rest what the other hours leave of the day, and a portable all hours of walking."""
    order = case["prescription"]
    ordered = {activity: order[activity] for activity in ACTIVITIES if isinstance(order.get(activity), dict)}
    hours = [order.get("hours_off_oxygen")] + [
        ordered[activity].get("hours_per_day") for activity in ordered if activity != "rest"
    ]
    read = [field_value(Case, "prescription.hours_off_oxygen", one, None) for one in hours]
    if "rest" in ordered and all(isinstance(one, Amount) for one in read):
        left = 24 - sum((Decimal(str(round(one.to("time"), 6))) for one in read), Decimal()) / 60
        if left >= 0:
            ordered["rest"].setdefault("hours_per_day", _spelled(left))
    walking = ordered.get("exertion")
    out = walking and field_value(Case, "prescription.exertion.hours_per_day", walking.get("hours_per_day"), None)
    if walking is not None and out and case.get("portable"):
        walking.setdefault("on_portable", walking["hours_per_day"])


def _spelled(hours: Decimal) -> str:
    in_hours = round(hours, 6).normalize()
    return f"{in_hours:f} h"


# ── what is written into the folder ─────────────────────────────────────────────────────────────


def write_settings(folder: Path, settings: Mapping[str, Any]) -> None:
    """Keep what is the clinic's own.

    Raises:
        CaseError: something of it is wrong or missing.
        SettingError: the folder cannot be written to.
    """
    _refuse(CLINIC_FILE, faults_of_settings(settings))
    write_whole(folder / CLINIC_FILE, tomli_w.dumps(dict(settings)).encode())


def write_kit(folder: Path, name: str, kit: Mapping[str, Any]) -> list[Fault]:
    """Keep a kit, and return what is still missing: it may be completed later, but nothing in it may be wrong.

    Raises:
        CaseError: something in it is wrong.
        SettingError: the folder cannot be written to.
    """
    faults = faults_of_kit(kit)
    missing = [fault for fault in faults if fault.absent]
    _refuse(f"{KITS}/{name}.toml", [fault for fault in faults if not fault.absent])
    write_whole(folder / KITS / f"{name}.toml", tomli_w.dumps(dict(kit)).encode())
    return missing


def _refuse(source: str, faults: list[Fault]) -> None:
    if faults:
        raise CaseError(source, faults)
