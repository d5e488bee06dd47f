"""The clinic's desk: eight values for a patient, the page as it will print beside them, and the guide as one download.

It runs on the clinician's own machine, or behind the clinic's own sign-in. A case lives in the form alone: the
clinician saves it to a file and opens it from one, and nothing of it is kept or logged here. What is the same for all
patients lies in the clinic's folder, beside its keys.
"""

import asyncio
import base64
import datetime as dt
import io
import re
import zipfile
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

import tomli_w
from python_multipart.multipart import parse_options_header
from starlette.applications import Starlette
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from companion import resources
from companion.case.asking import questions
from companion.case.fhir import bundle_values
from companion.case.model import Case
from companion.case.read import case_from_dict
from companion.case.rooms import EQUIPMENT, Rooms
from companion.case.toml_file import LARGEST_FILE, toml_values
from companion.errors import CaseError, CompanionError, Fault, harmless
from companion.guide.document import Sheet
from companion.guide.sheet_names import letters_for, told_apart, whose
from companion.guide.sheets import document
from companion.language.catalogue import SOURCE, available
from companion.language.locale import Bilingual, Locale
from companion.link.keys import load_keys
from companion.make import code_of, make_family_set
from companion.reckoning.plan import plan
from companion.render.pdf import pdf, pictures
from companion.web import desk_page, form, kits
from companion.web.desk_case import checked, kept_for_later, reduced
from companion.web.desk_page import TONGUE
from companion.web.desk_words import words
from companion.web.preferred import preferred
from companion.web.security import Guard, policy, refused
from companion.web.tongue import tongues
from companion.web.visitors import Access, OwnVisitors, same

SAVED_AS = "case.toml"
DOWNLOADED_AS = "guide.zip"

_LARGEST_REQUEST = LARGEST_FILE + 64 * 1024  # bytes: a case file and the form beside it
_STARTED_WITH = ("reservoir", "portable", "cylinder")
_PAGES_SHOWN = 8

_typesetting = ThreadPoolExecutor(1)
"""There is one typesetter in the process, and who waits for it keeps nobody from a preview."""


def application(key_file: Path, today: Callable[[], dt.date], access: Access) -> ASGIApp:  # noqa: C901, PLR0915 - each part is short
    """Return the desk.

    Args:
        key_file: the clinic's keys; its own folder is the one in which they lie.
        today: the clock, for the date of a new guide.
        access: what a visitor must bring.
    """
    folder = key_file.parent

    def page(
        entries: form.Entries, *, told: bool = False, note: str = "", faults: Sequence[Fault] = (), fresh: bool = False
    ) -> Response:
        """Show the form; its messages only once the clinician has asked for them."""
        rooms, trouble = kits.rooms_of(folder)
        found = checked(entries, today(), rooms)
        shown = [*faults, *(found.faults if told else ())]
        notes = [one for one in (note, trouble) if one]
        return _html(
            desk_page.page(entries, shown, found, notes, rooms, access.token, fresh=fresh), 422 if shown else 200
        )

    def empty(tongue: str) -> Response:
        entries: dict[str, Sequence[str]] = {"issued": [today().isoformat()], TONGUE: [tongue]}
        for kind in () if kits.rooms_of(folder)[0].kits else _STARTED_WITH:
            entries = form.with_container(kind, entries)
        return page(entries, fresh=True)

    def acted(action: str, which: str, entries: form.Entries) -> Response:  # noqa: PLR0911 - one line for each button
        rooms, _ = kits.rooms_of(folder)
        if action == "save":
            found = checked(entries, today(), rooms)
            whole = found.whole
            return _download(tomli_w.dumps(whole).encode(), SAVED_AS, "application/toml", found.case)
        if action == "add" and which in _STARTED_WITH:
            return page(form.with_container(which, entries))
        if action == "remove" and _is_container(which):
            return page(form.without_container(which, entries), note=words("out", container=which))
        if action == "putback":
            return page(form.with_container_back(entries))
        if action == "openkit":
            return page(_opened_kit(entries, rooms))
        if action == "keepkit":
            return keep_kit(entries, rooms)
        if action == "retirekit":
            return page(entries, note=kits.retired_kit(_one(entries, "kit") or _one(entries, "from_kit"), rooms))
        if action == "askkit":
            return _download(_asked(entries, rooms).encode(), "ask-the-supplier.toml", "application/toml")
        if action == "keepclinic":
            return page(entries, note=kits.kept_clinic(checked(entries, today(), rooms).whole, rooms))
        return page(entries, told=action == "check")

    def keep_kit(entries: form.Entries, rooms: Rooms) -> Response:
        whole = checked(entries, today(), rooms).whole
        name, note = kits.kept_kit(_one(entries, "kitname"), _one(entries, "from_kit"), whole, rooms)
        if not name:
            return page(entries, note=note)
        return page({**_without_equipment(entries), "kit": [name]}, note=note)

    def opened(data: bytes, file: str, entries: form.Entries) -> Response:
        rooms, _ = kits.rooms_of(folder)
        try:
            if data.lstrip()[:1] == b"{":
                values, faults = bundle_values(data, "the file")
                merged = {**entries, **form.entries_of(values)}
                return page(merged, told=True, note=words("bundle"), faults=faults)
            values = toml_values(data, "the file")
        except CompanionError as error:
            # What was typed before stays.
            return page(entries, faults=error.faults if isinstance(error, CaseError) else (), note=_said(error))
        if "prescription" not in values and any(part in values for part in EQUIPMENT):
            return page(entries, note=kits.answer_read(values, file, rooms))
        day = today().isoformat()
        note = ""
        if "issued" in values:
            note = words("of today", day=day, read=harmless(str(values["issued"])[:20]))
        stands, other_kit = reduced(values, rooms)
        if other_kit:
            note = f"{note} {words('kit moved', name=harmless(str(values['from_kit'])))}"
        now = {**stands, "issued": [day], "before": [kept_for_later(values)], TONGUE: entries[TONGUE]}
        return page(now, told=True, note=note, faults=_strangers(values))

    def previewed(entries: form.Entries) -> Response:
        rooms, _ = kits.rooms_of(folder)
        found = checked(entries, today(), rooms)
        return JSONResponse(desk_page.news(entries, found, rooms), headers={"cache-control": "no-store"})

    def made(entries: form.Entries) -> Response:
        rooms, _ = kits.rooms_of(folder)
        case = checked(entries, today(), rooms).case
        if case is None:
            return page(entries, told=True)
        try:
            packed = _download(_packed(case, entries, key_file), DOWNLOADED_AS, "application/zip", case)
            kits.count_use(folder, case.from_kit, today())
        except CompanionError as error:
            return page(entries, note=str(error))
        return packed

    def printed(entries: form.Entries) -> Response:
        """Answer with one sheet, which the browser shows and prints."""
        case = checked(entries, today(), kits.rooms_of(folder)[0]).case
        if case is None:
            return page(entries, told=True)
        try:
            data = _sheet(case, entries, key_file)
        except CompanionError as error:
            return page(entries, note=str(error))
        headers = {
            "content-disposition": "inline",
            "cache-control": "no-store",
            # The browser's own viewer has styles of its own.
            "content-security-policy": "frame-ancestors 'none'",
        }
        return Response(data, headers=headers, media_type="application/pdf")

    def pictured(entries: form.Entries) -> Response:
        """Answer with the first pages of the sheet that is shown."""
        case = checked(entries, today(), kits.rooms_of(folder)[0]).case
        shown: list[str] = []
        trouble = ""
        if case is not None:
            try:
                made = plan(case)
                locale = _shown_locale(case, entries)
                sheet = document(
                    _shown_sheet(entries), case, made, locale, code_of(case, made, locale, load_keys(key_file))
                )
                shown = [base64.b64encode(one).decode() for one in pictures(sheet, _PAGES_SHOWN)]
            except CompanionError as error:
                trouble = str(error)
        return JSONResponse({"pages": shown, "trouble": trouble}, headers={"cache-control": "no-store"})

    # Reading a form waits for the network; all that follows is work, and is done beside the loop that serves everybody.

    async def start(request: Request) -> Response:
        return await asyncio.to_thread(empty, _tongue(request))

    async def typeset(work: Callable[[form.Entries], Response], entries: form.Entries) -> Response:
        return await asyncio.get_running_loop().run_in_executor(_typesetting, work, entries)

    async def act(request: Request) -> Response:
        async with _form(request, access) as sent:
            entries = _entries(sent, request)
        action, _, which = "".join(entries.pop("do", ["check"])).partition(":")
        if action in ("make", "print"):
            return await typeset(made if action == "make" else printed, entries)
        return await asyncio.to_thread(acted, action, which, entries)

    async def open_file(request: Request) -> Response:
        async with _form(request, access) as sent:
            file = sent.get("file")
            entries = _entries(sent, request)
            if not isinstance(file, UploadFile) or not file.filename:
                return await asyncio.to_thread(page, entries, note=words("choose"))
            return await asyncio.to_thread(opened, await file.read(), file.filename, entries)

    async def preview(request: Request) -> Response:
        async with _form(request, access) as sent:
            return await asyncio.to_thread(previewed, _entries(sent, request))

    async def picture(request: Request) -> Response:
        async with _form(request, access) as sent:
            return await typeset(pictured, _entries(sent, request))

    async def script(_: Request) -> Response:
        return Response(resources.read("templates", "web/desk.js"), media_type="text/javascript")

    routes = [
        Route("/", start),
        Route("/", act, methods=["POST"]),
        Route("/open", open_file, methods=["POST"]),
        Route("/preview", preview, methods=["POST"]),
        Route("/picture", picture, methods=["POST"]),
        Route("/desk.js", script),
    ]
    program = Starlette(routes=routes, exception_handlers={HTTPException: refused, Exception: refused})
    program.router.redirect_slashes = False
    return Guard(OwnVisitors(program, access), largest_body=_LARGEST_REQUEST, seconds=120)


# ── what came in ────────────────────────────────────────────────────────────────────────────────


@asynccontextmanager
async def _form(request: Request, access: Access) -> AsyncIterator[FormData]:
    """Read a form of ours; one without our token is another site's."""
    _, options = parse_options_header(request.headers.get("content-type"))
    if options.get(b"charset", b"utf-8").lower() != b"utf-8":
        raise HTTPException(400)  # browsers send no other, and some make the reader fail
    async with request.form(max_files=1, max_fields=2000, max_part_size=LARGEST_FILE) as sent:
        if not same(str(sent.get("token", "")), access.token):
            raise HTTPException(403)
        yield sent


def _entries(sent: FormData, request: Request) -> dict[str, Sequence[str]]:
    found: dict[str, list[str]] = {}
    for name, value in sent.multi_items():
        if isinstance(value, str) and name != "token":
            found.setdefault(name, []).append(value)
    return {**found, TONGUE: [_tongue(request)]}


def _tongue(request: Request) -> str:
    return preferred(request.headers.get("accept-language", ""), tongues())


def _is_container(path: str) -> bool:
    return re.fullmatch(rf"({'|'.join(_STARTED_WITH)})\[[1-9]\]", path) is not None


def _strangers(values: Mapping[str, Any]) -> list[Fault]:
    """Return the messages about fields that a file holds and the form has no place for."""
    known = {name: value for name, value in values.items() if name not in ("confirmed", "kit")}
    try:
        case_from_dict(known, "the file")
    except CaseError as error:
        places = form.places(form.groups(form.entries_of(values), (), {}))
        return [fault for fault in error.faults if fault.where not in places and not (fault.confirm or fault.absent)]
    return []


def _said(error: CompanionError) -> str:
    return "" if isinstance(error, CaseError) else str(error)


def _one(entries: form.Entries, name: str) -> str:
    return "".join(entries.get(name, ())[:1]).strip()


# ── kits ────────────────────────────────────────────────────────────────────────────────────────


def _without_equipment(entries: form.Entries) -> dict[str, Sequence[str]]:
    return {name: texts for name, texts in entries.items() if not name.startswith((*EQUIPMENT, "kit", "from_kit"))}


def _opened_kit(entries: form.Entries, rooms: Rooms) -> dict[str, Sequence[str]]:
    """Return the entries with the containers of the picked kit in them, open to change."""
    name = _one(entries, "kit")
    kit = rooms.kits.get(name, {})
    parts = {part: kit[part] for part in EQUIPMENT if part in kit}
    own = _without_equipment(entries) | form.entries_of(parts)
    return own | {"from_kit": [name], "kitname": [str(kit.get("name", name))]}


def _asked(entries: form.Entries, rooms: Rooms) -> str:
    """Return the list for the supplier: what the picked kit, or the equipment in the form, lacks."""
    name = _one(entries, "kit")
    if name in rooms.kits:
        return questions(rooms, name)
    values = form.case_values(entries)
    name = re.sub(r"[^a-z0-9]+", "-", _one(entries, "kitname").casefold()).strip("-") or "new-kit"
    own = {part: values[part] for part in EQUIPMENT if part in values}
    return questions(Rooms(rooms.folder, rooms.settings, {name: own} if own else {}), name)


# ── what goes out ───────────────────────────────────────────────────────────────────────────────


def _locales(case: Case) -> list[Locale]:
    return [Locale(tag, case.clinic.region) for tag in dict.fromkeys(case.patient.languages or [SOURCE])]


def _shown_locale(case: Case, entries: form.Entries) -> Locale:
    """Return the language that was asked for, else that in which the sheet comes in the set."""
    tag = _one(entries, "shown.language")
    if tag in available():
        return Locale(tag, case.clinic.region)
    first, *others = _locales(case)
    if others and _shown_sheet(entries) not in ("guide", "clinician"):
        return Bilingual(first.tag, first.region, others[0])
    return first


def _shown_sheet(entries: form.Entries) -> Sheet:
    asked = _one(entries, "shown.sheet")
    return next((sheet for sheet in desk_page.OFFERED if sheet == asked), "short")


def _sheet(case: Case, entries: form.Entries, key_file: Path) -> bytes:
    made, locale = plan(case), _shown_locale(case, entries)
    code = code_of(case, made, locale, load_keys(key_file))
    return pdf(document(_shown_sheet(entries), case, made, locale, code), case.issued)


def _packed(case: Case, entries: form.Entries, key_file: Path) -> bytes:
    """Make the sheets that were picked, in each language, and pack them into one file."""
    out = io.BytesIO()
    made = plan(case)
    keys = load_keys(key_file)
    stamp = (case.issued.year, case.issued.month, case.issued.day, 0, 0, 0)
    wanted = [sheet for sheet in desk_page.OFFERED if sheet in entries.get("sheets", ())] or desk_page.OFFERED
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in make_family_set(case, made, _locales(case), keys, wanted):
            packed.writestr(zipfile.ZipInfo(told_apart(name, case), stamp), data, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _html(page: str, status: int) -> Response:
    headers = {
        "content-security-policy": f"{policy(page)}; frame-ancestors 'none'",
        "cache-control": "no-store",
        # Under "no-referrer" a browser would not say of its own form that it is ours.
        "referrer-policy": "same-origin",
    }
    return Response(page, status, headers, media_type="text/html")


def _download(data: bytes, name: str, kind: str, case: Case | None = None) -> Response:
    """Answer with a file whose name tells two patients' files apart, and who they are where the clinic allows it."""
    stem, _, ending = name.rpartition(".")
    if case is not None and case.clinic.paper.named_files:
        name = f"{whose(case)}.{case.issued}.{name}"
    else:
        name = f"{stem}-{letters_for(data)}.{ending}"
    headers = {"content-disposition": f"attachment; filename*=UTF-8''{quote(name)}", "cache-control": "no-store"}
    return Response(data, headers=headers, media_type=kind)
