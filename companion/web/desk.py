"""The clinic's desk: one form for prescription and equipment, a preview, and the guide as one download.

It runs on the clinician's own machine, or behind the clinic's own sign-in. A case lives in the form alone: the
clinician saves it to a file and opens it from one, and nothing of it is kept or logged here.
"""

import asyncio
import base64
import datetime as dt
import hashlib
import io
import re
import zipfile
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

import tomli_w
from markupsafe import Markup
from python_multipart.multipart import parse_options_header
from starlette.applications import Starlette
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from companion import resources
from companion.case.model import Case
from companion.case.read import LARGEST_FILE, case_from_dict, toml_values
from companion.errors import CaseError, CompanionError, Fault, SettingError, harmless
from companion.guide.notice_words import notice_words
from companion.guide.sheet_names import SHEETS
from companion.language.catalogue import SOURCE
from companion.language.locale import Locale
from companion.link.keys import load_keys
from companion.make import make_family_set
from companion.reckoning.plan import plan
from companion.render.html import environment, web_page
from companion.web import equipment, form
from companion.web.pages import containers
from companion.web.security import Guard, policy, refused
from companion.web.visitors import Access, OwnVisitors, same

SAVED_AS = "case.toml"
DOWNLOADED_AS = "guide.zip"

_LARGEST_REQUEST = LARGEST_FILE + 64 * 1024  # bytes: a case file and the form beside it
_STARTED_WITH: tuple[equipment.Kind, ...] = get_args(equipment.Kind)
_LOCALE = Locale(SOURCE, "US")

_typesetting = ThreadPoolExecutor(1)
"""There is one typesetter in the process, and who waits for it keeps nobody from a preview."""


def application(key_file: Path, today: Callable[[], dt.date], access: Access) -> ASGIApp:  # noqa: C901, PLR0915 - each part is short
    """Return the desk.

    Args:
        key_file: the clinic's keys; its own list of equipment lies beside them.
        today: the clock, for the date of a new guide.
        access: what a visitor must bring.
    """
    own_list = key_file.with_name("equipment.toml")

    def page(entries: form.Entries, *, told: bool = False, note: str = "", faults: Sequence[Fault] = ()) -> Response:
        """Show the form; its messages only once the clinician has asked for them."""
        checked = _checked(entries, today())
        shown = [*faults, *(checked.faults if told else ())]
        sizes, trouble = _sizes(own_list)
        return _html(_form_page(entries, shown, checked, note or trouble, sizes, access.token), 422 if shown else 200)

    def empty() -> Response:
        entries: dict[str, Sequence[str]] = {"issued": [today().isoformat()]}
        for kind in _STARTED_WITH:
            entries = form.with_container(kind, entries)
        return page(entries)

    def acted(action: str, which: str, entries: form.Entries) -> Response:
        if action == "save":
            values = form.case_values(entries)
            return _download(tomli_w.dumps(values).encode(), SAVED_AS, "application/toml")
        if action == "add" and which in _STARTED_WITH:
            return page(form.with_container(which, entries))
        if action == "remove" and _is_container(which):
            return page(form.without_container(which, entries))
        if action == "fill" and _is_container(which):
            return page(_filled(which, entries, _sizes(own_list)[0]))
        if action == "keep" and _is_container(which):
            return page(entries, note=_kept(which, entries, own_list, today()))
        return page(entries, told=True)

    def opened(data: bytes, entries: form.Entries) -> Response:
        try:
            values = toml_values(data, "the file")
        except CaseError as error:
            # What was typed before stays.
            return page(entries, faults=error.faults)
        day = today().isoformat()
        note = ""
        if "issued" in values:
            read = harmless(str(values["issued"])[:20])
            note = f"The date of this guide is now {day}, today. The file says {read}."
        return page(form.entries_of(values) | {"issued": [day]}, told=True, note=note, faults=_strangers(values))

    def previewed(entries: form.Entries) -> Response:
        checked = _checked(entries, today())
        groups = form.groups(entries, [*checked.faults, *checked.meant])
        beside = {
            part.id: "".join(_fault(fault, checked) for fault in part.faults)
            for part in form.parts(groups)
            if part.faults
        }
        return JSONResponse({"preview": _preview(checked), "faults": beside}, headers={"cache-control": "no-store"})

    def made(entries: form.Entries) -> Response:
        case = _checked(entries, today()).case
        if case is None:
            return page(entries, told=True)
        try:
            return _download(_packed(case, key_file), DOWNLOADED_AS, "application/zip")
        except CompanionError as error:
            return page(entries, note=str(error))

    # Reading a form waits for the network; all that follows is work, and is done beside the loop that serves everybody.

    async def start(_: Request) -> Response:
        return await asyncio.to_thread(empty)

    async def act(request: Request) -> Response:
        async with _form(request, access) as sent:
            entries = _entries(sent)
        action, _, which = "".join(entries.pop("do", ["check"])).partition(":")
        if action == "make":
            return await asyncio.get_running_loop().run_in_executor(_typesetting, made, entries)
        return await asyncio.to_thread(acted, action, which, entries)

    async def open_file(request: Request) -> Response:
        async with _form(request, access) as sent:
            file = sent.get("file")
            entries = _entries(sent)
            if not isinstance(file, UploadFile) or not file.filename:
                return await asyncio.to_thread(page, entries, note="Choose a case file first, then press 'Open'.")
            return await asyncio.to_thread(opened, await file.read(), entries)

    async def preview(request: Request) -> Response:
        async with _form(request, access) as sent:
            return await asyncio.to_thread(previewed, _entries(sent))

    async def script(_: Request) -> Response:
        return Response(resources.read("templates", "web/desk.js"), media_type="text/javascript")

    routes = [
        Route("/", start),
        Route("/", act, methods=["POST"]),
        Route("/open", open_file, methods=["POST"]),
        Route("/preview", preview, methods=["POST"]),
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


def _entries(sent: FormData) -> dict[str, Sequence[str]]:
    found: dict[str, list[str]] = {}
    for name, value in sent.multi_items():
        if isinstance(value, str) and name != "token":
            found.setdefault(name, []).append(value)
    return dict(found)


@dataclass(frozen=True)
class Checked:
    """A form that was held against the model."""

    case: Case | None
    """The case; None while something is wrong with it."""
    faults: list[Fault]
    """What is wrong, or unlikely and not ticked."""
    meant: list[Fault]
    """What is unlikely, and ticked as meant."""


def _checked(entries: form.Entries, today: dt.date) -> Checked:
    """Check a form; a tick counts only beside a value that is unlikely still."""
    values = form.case_values(entries)
    ticked = values.pop("confirmed", [])
    try:
        return Checked(case_from_dict(values, "the form", today), [], [])
    except CaseError as error:
        meant = [fault for fault in error.faults if fault.confirm in ticked]
        faults = [fault for fault in error.faults if fault not in meant]
    confirmed = {"confirmed": [fault.confirm for fault in meant]}
    return Checked(None if faults else case_from_dict(values | confirmed, "the form", today), faults, meant)


def _is_container(path: str) -> bool:
    return re.fullmatch(rf"({'|'.join(_STARTED_WITH)})\[[1-9]\]", path) is not None


def _strangers(values: Mapping[str, Any]) -> list[Fault]:
    """Return the messages about fields that a file holds and the form has no place for."""
    try:
        case_from_dict({name: value for name, value in values.items() if name != "confirmed"}, "the file")
    except CaseError as error:
        places = form.places(form.groups(form.entries_of(values), ()))
        return [fault for fault in error.faults if fault.where not in places and not fault.confirm]
    return []


# ── containers and sizes ────────────────────────────────────────────────────────────────────────


def _sizes(own_list: Path) -> tuple[list[equipment.Size], str]:
    """Return the sizes to pick from, and what is wrong with the clinic's own list."""
    try:
        return [*equipment.own_sizes(own_list), *equipment.generic_sizes()], ""
    except SettingError as error:
        return equipment.generic_sizes(), str(error)


def _filled(which: str, entries: form.Entries, sizes: list[equipment.Size]) -> dict[str, Sequence[str]]:
    """Return the entries with the fields of the picked size put into one container."""
    kind = which.partition("[")[0]
    picked = "".join(entries.get(f"{which}.size", ()))
    size = next((size for size in sizes if (size.kind, size.name) == (kind, picked)), None)
    fields = form.entries_of(size.fields) if size else {}
    return {**entries, **{f"{which}.{name}": texts for name, texts in fields.items()}}


def _kept(which: str, entries: form.Entries, own_list: Path, today: dt.date) -> str:
    """Add a container that is right in itself to the clinic's list, and say so."""
    kind = next(kind for kind in _STARTED_WITH if which.startswith(kind))
    place = int(which[len(kind) + 1 : -1])
    wrong = any(fault.where.startswith(which) for fault in _checked(entries, today).faults)
    if wrong or place > form.rows_of(kind, entries):
        return "This container cannot be kept before it is complete. Press 'Check' to see what is missing."
    try:
        equipment.keep(own_list, kind, form.case_values(entries)[kind][place - 1], today)
    except SettingError as error:
        return str(error)
    return "Kept in the clinic's own list. It holds the container and nothing about the patient."


# ── what goes out ───────────────────────────────────────────────────────────────────────────────


def _preview(checked: Checked) -> str:
    """Return the table of the case as it stands, or how much is missing."""
    if checked.case is None:
        return web_page("web/preview.html.jinja", _LOCALE, count=len(checked.faults), containers=())
    made = plan(checked.case)
    return web_page(
        "web/preview.html.jinja",
        _LOCALE,
        count=0,
        containers=containers(made, Locale(SOURCE, checked.case.clinic.region)),
        notices=[notice_words(notice) for notice in made.notices],
    )


def _form_page(
    entries: form.Entries,
    faults: Sequence[Fault],
    checked: Checked,
    note: str,
    sizes: list[equipment.Size],
    token: str,
) -> str:
    groups = form.groups(entries, [*faults, *checked.meant])
    return web_page(
        "web/desk.html.jinja",
        _LOCALE,
        groups=groups,
        faults=faults,
        places=form.places(groups),
        meant=checked.meant,
        preview=Markup(_preview(checked)),
        note=note,
        sizes=sizes,
        token=token,
    )


def _fault(fault: Fault, checked: Checked) -> str:
    context = {"page": _LOCALE, "_": _LOCALE.say, "meant": checked.meant}
    module = environment().get_template("web/_fault.html.jinja").make_module(context)
    return str(module.beside(fault))  # type: ignore[attr-defined]


def _packed(case: Case, key_file: Path) -> bytes:
    """Make the set in each language and pack it into one file."""
    out = io.BytesIO()
    made = plan(case)
    keys = load_keys(key_file)
    stamp = (case.issued.year, case.issued.month, case.issued.day, 0, 0, 0)
    locales = [Locale(tag, case.clinic.region) for tag in case.patient.languages or [SOURCE]]
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in make_family_set(case, made, locales, keys, (*SHEETS, "short")):
            packed.writestr(zipfile.ZipInfo(name, stamp), data, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _html(page: str, status: int) -> Response:
    headers = {
        "content-security-policy": f"{policy(page)}; frame-ancestors 'none'",
        "cache-control": "no-store",
        # Under "no-referrer" a browser would not say of its own form that it is ours.
        "referrer-policy": "same-origin",
    }
    return Response(page, status, headers, media_type="text/html")


def _download(data: bytes, name: str, kind: str) -> Response:
    """Answer with a file whose name tells two patients' files apart and tells of neither who it is."""
    stem, _, ending = name.rpartition(".")
    letters = base64.b32encode(hashlib.sha256(data).digest())[:6].decode().lower()
    name = f"{stem}-{letters}.{ending}"
    headers = {"content-disposition": f'attachment; filename="{name}"', "cache-control": "no-store"}
    return Response(data, headers=headers, media_type=kind)
