"""The desk's page, and what is told of it while values are typed."""

import base64
from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from typing import Any

from markupsafe import Markup

from companion.case.rooms import EQUIPMENT, Rooms
from companion.errors import Fault
from companion.guide.document import Sheet
from companion.guide.notice_words import notice_words
from companion.guide.pictures import picture
from companion.guide.sheet_names import SHEETS
from companion.guide.tables import all_durations
from companion.language.catalogue import SOURCE
from companion.language.locale import Locale
from companion.reckoning.plan import plan
from companion.render.html import environment, web_page
from companion.web import form, kits
from companion.web.desk_case import EIGHT, Checked, consequences
from companion.web.old_new import case_before, moves
from companion.web.tongue import Tongue

TONGUE = "tongue"
"""The field in which the desk's own language travels: that which the browser asks for."""

OFFERED: tuple[Sheet, ...] = (*SHEETS, "short")
"""The sheets that the desk makes and shows; the plain text comes with the guide."""


def page(
    entries: form.Entries,
    faults: Sequence[Fault],
    found: Checked,
    notes: Sequence[str],
    rooms: Rooms,
    token: str,
    *,
    fresh: bool,
) -> str:
    """Return the whole page."""
    tongue = tongue_of(entries)
    groups = form.groups(entries, [*faults, *found.meant], found.taken)
    return web_page(
        "web/desk.html.jinja",
        Locale(tongue.tag, "US"),
        **_shared(found, tongue),
        groups=groups,
        eight={part.name: part for part in form.parts(groups) if part.name in (*EIGHT, "patient.languages")},
        entries=entries,
        languages=form.languages(),
        faults=faults,
        places=form.places(groups),
        way=tongue.way,
        picture_of=_gauge_picture,
        preview=Markup(_preview(entries, found, rooms)),
        following=Markup(_following(found, tongue)),
        notes=notes,
        kits=_offered(entries, rooms),
        kit=Markup(_kit(entries, rooms)),
        prescribers=rooms.settings.get("prescribers", ()),
        sheets=OFFERED,
        sheets_shown=sorted(OFFERED, key=lambda sheet: sheet != "short"),
        unfolded=_unfolded(entries, faults, found, rooms),
        token=token,
        fresh=fresh,
        one=lambda name: "".join(entries.get(name, ())[:1]),
    )


def news(entries: form.Entries, found: Checked, rooms: Rooms) -> dict[str, Any]:
    """Return what changes on the page while values are typed."""
    tongue = tongue_of(entries)
    groups = form.groups(entries, [*found.faults, *found.meant], found.taken)
    return {
        "preview": _preview(entries, found, rooms),
        "following": _following(found, tongue),
        "kit": _kit(entries, rooms),
        "faults": {
            part.id: "".join(_fault(fault, found, tongue) for fault in part.faults)
            for part in form.parts(groups)
            if part.faults
        },
        "taken": {form.id_of(name): tongue.say(text) for name, text in found.taken.items()},
        "read": {place: tongue.words("read", value=value) for place, value in found.read.items()},
    }


def tongue_of(entries: form.Entries) -> Tongue:
    """Return the language in which a page is asked for."""
    return Tongue("".join(entries.get(TONGUE, (SOURCE,))))


def _shared(found: Checked, tongue: Tongue) -> dict[str, Any]:
    return {"w": tongue.words, "say": tongue.say, "plain": tongue.plain, "meant": found.meant, "read": found.read}


@cache
def _gauge_picture(kind: str) -> str:
    """Return the drawing of a gauge of some kind, as the address of an image; a gauge tells its kind at any level."""
    drawn = picture(Locale(SOURCE, "US"), "gauge", kind=kind, level=Fraction(1, 2), divisions=4)
    return f"data:image/svg+xml;base64,{base64.b64encode(drawn.svg.encode()).decode()}"


def _preview(entries: form.Entries, found: Checked, rooms: Rooms) -> str:
    """Return the table of the case as it stands, or how much is missing."""
    tongue = tongue_of(entries)
    shared = _shared(found, tongue)
    if found.case is None:
        none = Locale(tongue.tag, "US")
        return web_page("web/preview.html.jinja", none, **shared, count=len(found.faults), containers=())
    made = plan(found.case)
    locale = Locale(tongue.tag, found.case.clinic.region)
    was = case_before(entries, rooms)
    return web_page(
        "web/preview.html.jinja",
        locale,
        **shared,
        count=0,
        containers=all_durations(made, locale),
        compared=was is not None,
        moves=moves(was, found.case, tongue.tag) if was else (),
        notices=[tongue.say(notice_words(notice)) for notice in made.notices],
    )


def _unfolded(entries: form.Entries, faults: Sequence[Fault], found: Checked, rooms: Rooms) -> dict[str, bool]:
    """Return which folded parts of the page are open: those in which something is wrong, or open to be filled in."""
    wrong = [fault.where for fault in (*faults, *found.meant)]
    order = ("prescription", "issued", "patient")
    picked = "".join(entries.get("kit", ()))
    own = any(name.startswith(EQUIPMENT) and any(texts) for name, texts in entries.items())
    return {
        "order": any(where.startswith(order) and where not in EIGHT for where in wrong),
        "equipment": any(where.startswith(EQUIPMENT) for where in wrong) or (not picked and (own or not rooms.kits)),
        "clinic": any(where.startswith("clinic") for where in wrong) or not rooms.settings,
    }


def _following(found: Checked, tongue: Tongue) -> str:
    following = [(place, tongue.say(text)) for place, text in consequences(found.whole, tongue.tag)]
    return web_page("web/following.html.jinja", Locale(tongue.tag, "US"), following=following)


def _offered(entries: form.Entries, rooms: Rooms) -> list[tuple[str, str]]:
    """Return the kits to pick from: those that are not retired, and the one that was picked."""
    picked = "".join(entries.get("kit", ()))
    return [
        (name, str(kit.get("name", name)))
        for name, kit in rooms.kits.items()
        if kit.get("retired") is not True or name == picked
    ]


def _kit(entries: form.Entries, rooms: Rooms) -> str:
    """Return what the picked kit holds, in a line, and how often it was used."""
    name = "".join(entries.get("kit", ()))
    kit = rooms.kits.get(name)
    if kit is None:
        return ""
    tongue = tongue_of(entries)
    held = [
        ", ".join(map(tongue.say, kits.title_of(container, part, place)))
        for part in EQUIPMENT[:3]
        for place, container in enumerate(kit.get(part, ()), start=1)
    ]
    used = tongue.words("kit used", count=kits.uses(rooms.folder, name))
    return str(Markup("<p>{}. {}</p>").format("; ".join(held), used))


def _fault(fault: Fault, found: Checked, tongue: Tongue) -> str:
    held = {"page": Locale(tongue.tag, "US"), **_shared(found, tongue)}
    module = environment().get_template("web/_fault.html.jinja").make_module(held)
    return str(module.beside(fault))  # type: ignore[attr-defined]
