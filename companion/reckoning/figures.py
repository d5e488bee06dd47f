"""The figures on which a reader of a guide relies, by name: what must be the same for a guide to be good.

They are set into every page and PDF, and as a stamp behind the address in the QR code, so that a guide can be
held against today's computing years later.
"""

import base64
import hashlib

from companion.case.model import Case
from companion.reckoning.plan import Plan

Figures = dict[str, str]


def figures(case: Case, made: Plan) -> Figures:  # noqa: C901 - a list of figures
    """Return every figure that is printed for the patient, in plain signs: minutes, shares of full, dates."""
    found: Figures = {}
    for window in made.windows:
        if window.kind != "reservoir":
            _add(found, f"{window.container} {window.demand.activity}", window.safe_min)
    for window in made.steady_windows:
        _add(found, f"{window.container} steady {window.demand.activity}", window.safe_min)
    for line in made.standing:
        for row in line.rows:
            for activity, minutes in row.safe_min.items():
                _add(found, f"{line.container} waiting {activity}", minutes)
        _add(found, f"{line.container} empty after hours", line.empty_after_hours)
    for allowed in made.trips:
        for trip in allowed.trips:
            stays = f"{trip.resting_stay_min}/{trip.stay_min}/{trip.home_mark}"
            _add(found, f"{allowed.container} trips", stays)
        _add(found, f"{allowed.container} walk", allowed.walk_min)
    for supply in made.supply:
        found[f"{supply.container} day"] = " ".join(map(str, supply.safe_min.values()))
        found[f"{supply.container} call"] = supply.call_at
    found["call"] = f"{made.call.mark} {made.call.unless_within_days} {made.call.next_within_days}"
    for coming in made.deliveries:
        doubt = f"{'' if coming.in_time else ' late'}{' holiday' if coming.day_off else ''}"
        _add(found, "deliveries", f"{coming.call_by}/{coming.expected}{doubt}")
    for activity, minutes in made.backup_min.items():
        _add(found, f"back-up {activity}", minutes)
    if made.backup_min:
        found["back-up one"] = str(made.backup_one_min)
        found["back-up changes"] = str(made.backup_changes)
    settings = case.clinic.settings()
    return found | {
        "flame distance": f"{settings.flame_distance_m:g} m",
        "heat distance": f"{settings.heat_distance_m:g} m",
        "emergency number": str(settings.emergency_number),
        "fire number": str(settings.fire_number),
        "airing": f"{settings.airing_min} {settings.splash_airing_min}",
        "water": " ".join(f"{celsius:g}" for celsius in (*settings.water_c, settings.water_max_c)),
    }


def as_text(found: Figures) -> str:
    """Write figures in one line."""
    return "; ".join(f"{name}={value}" for name, value in found.items())


def from_text(text: str) -> Figures:
    """Read what ``as_text`` wrote."""
    return {name: value for name, _, value in (part.partition("=") for part in text.split("; "))}


def changes(before: Figures, after: Figures) -> list[str]:
    """Return in words what differs, by name; nothing where all is the same."""
    names = dict.fromkeys([*before, *after])
    return [
        f"{name}: {before.get(name, 'nothing')} → {after.get(name, 'nothing')}"
        for name in names
        if before.get(name) != after.get(name)
    ]


def stamp(found: Figures) -> str:
    """Return five capitals that stand for the figures where there is no room for more."""
    return base64.b32encode(hashlib.sha256(as_text(found).encode()).digest())[:5].decode("ascii")


def _add(found: Figures, name: str, value: object) -> None:
    found[name] = f"{found[name]} {value}" if name in found else str(value)
