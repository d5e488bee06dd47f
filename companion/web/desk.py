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
import threading
import zipfile
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractAsyncContextManager
from pathlib import Path
from typing import Any

import tomli_w
from markupsafe import Markup
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
from companion.errors import CaseError, CompanionError, Fault
from companion.guide.clinician import notice_words
from companion.guide.make import make_set
from companion.guide.page import environment
from companion.language.locale import SOURCE, Locale
from companion.link.keys import load_keys
from companion.reckoning.plan import plan
from companion.web import equipment, form
from companion.web.pages import containers
from companion.web.security import Guard, policy, refused

SAVED_AS = "case.toml"
DOWNLOADED_AS = "guide.zip"

_LARGEST_REQUEST = LARGEST_FILE + 16 * 1024  # bytes: a case file in its envelope
_OWN_HOST = re.compile(r"(localhost|127(\.[0-9]{1,3}){3}|\[::1\])(:[0-9]{1,5})?")
_STARTED_WITH = ("reservoir", "portable", "cylinder")
_LOCALE = Locale(SOURCE, "US")

_typesetting = threading.Lock()
"""There is one typesetter in the process."""


def application(key_file: Path, today: Callable[[], dt.date]) -> ASGIApp:
    """Return the desk.

    Args:
        key_file: the clinic's keys; its own list of equipment lies beside them.
        today: the clock, for the date of a new guide.
    """
    own_list = key_file.with_name("equipment.toml")

    def page(entries: form.Entries, *, told: bool = False, note: str = "", faults: Sequence[Fault] = ()) -> Response:
        """Show the form; its messages only once the clinician has asked for them."""
        preview, found = _preview(entries)
        shown = [*faults, *(found if told else ())]
        return _html(_form_page(entries, shown, preview, note, _sizes(own_list)), 422 if shown else 200)

    async def start(_: Request) -> Response:
        entries: dict[str, Sequence[str]] = {"issued": [today().isoformat()]}
        for kind in _STARTED_WITH:
            entries = form.with_container(kind, entries)
        return page(entries)

    async def act(request: Request) -> Response:
        entries = await _entries(request)
        action, _, which = "".join(entries.pop("do", ["check"])).partition(":")
        if action == "make":
            return await make(entries)
        if action == "save":
            values = form.case_values(entries)
            return _download(tomli_w.dumps(values).encode(), SAVED_AS, "application/toml")
        if action == "add" and which in _STARTED_WITH:
            return page(form.with_container(which, entries))
        if action == "remove" and _is_container(which):
            return page(form.without_container(which, entries))
        if action == "fill" and _is_container(which):
            return page(_filled(which, entries, _sizes(own_list)))
        if action == "keep" and _is_container(which):
            return page(entries, note=_kept(which, entries, own_list, today()))
        return page(entries, told=True)

    async def open_file(request: Request) -> Response:
        async with _form(request) as sent:
            file = sent.get("file")
            if not isinstance(file, UploadFile):
                raise HTTPException(400)
            data = await file.read()
        try:
            values = toml_values(data, "the file")
        except CaseError as error:
            return page({}, faults=error.faults)
        return page(form.entries_of(values), told=True, faults=_strangers(values))

    async def preview(request: Request) -> Response:
        entries = await _entries(request)
        shown, faults = _preview(entries)
        places = form.places(form.groups(entries, ()))
        beside: dict[str, str] = {}
        for fault in faults:
            if fault.where in places:
                place = places[fault.where]
                beside[place] = beside.get(place, "") + _fault(fault)
        return JSONResponse({"preview": shown, "faults": beside}, headers={"cache-control": "no-store"})

    async def make(entries: form.Entries) -> Response:
        try:
            case = case_from_dict(form.case_values(entries), source="the form")
        except CaseError:
            return page(entries, told=True)
        try:
            return _download(await asyncio.to_thread(_packed, case, key_file), DOWNLOADED_AS, "application/zip")
        except CompanionError as error:
            return page(entries, note=str(error))

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
    return Guard(_OwnVisitors(program), largest_body=_LARGEST_REQUEST, seconds=120)


class _OwnVisitors:
    """Refuses what another site's page sends here through the clinician's browser.

    Such a page could else have its own figures signed with the clinic's key.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "http":
            headers = dict(scope["headers"])
            host = headers.get(b"host", b"").decode("latin-1")
            site = headers.get(b"sec-fetch-site", b"none")
            if not _OWN_HOST.fullmatch(host) or (scope["method"] != "GET" and site not in (b"same-origin", b"none")):
                await (await refused(Request(scope), HTTPException(403)))(scope, receive, send)
                return
        await self._app(scope, receive, send)


# ── what came in ────────────────────────────────────────────────────────────────────────────────


def _form(request: Request) -> AbstractAsyncContextManager[FormData]:
    return request.form(max_files=1, max_fields=2000, max_part_size=LARGEST_FILE)


async def _entries(request: Request) -> dict[str, Sequence[str]]:
    found: dict[str, list[str]] = {}
    async with _form(request) as sent:
        for name, value in sent.multi_items():
            if isinstance(value, str):
                found.setdefault(name, []).append(value)
    return dict(found)


def _is_container(path: str) -> bool:
    return re.fullmatch(rf"({'|'.join(_STARTED_WITH)})\[[1-9]\]", path) is not None


def _strangers(values: Mapping[str, Any]) -> list[Fault]:
    """Return the messages about fields that a file holds and the form has no place for."""
    try:
        case_from_dict(dict(values), source="the file")
    except CaseError as error:
        places = form.places(form.groups(form.entries_of(values), ()))
        return [fault for fault in error.faults if fault.where not in places and fault.where != "the file"]
    return []


# ── containers and sizes ────────────────────────────────────────────────────────────────────────


def _sizes(own_list: Path) -> list[equipment.Size]:
    return [*equipment.own_sizes(own_list), *equipment.generic_sizes()]


def _filled(which: str, entries: form.Entries, sizes: list[equipment.Size]) -> dict[str, Sequence[str]]:
    """Return the entries with the fields of the picked size put into one container."""
    kind = which.partition("[")[0]
    picked = "".join(entries.get(f"{which}.size", ()))
    size = next((size for size in sizes if (size.kind, size.name) == (kind, picked)), None)
    fields = form.entries_of(size.fields) if size else {}
    return {**entries, **{f"{which}.{name}": texts for name, texts in fields.items()}}


def _kept(which: str, entries: form.Entries, own_list: Path, today: dt.date) -> str:
    """Add a container that is right in itself to the clinic's list, and say so."""
    kind, _, place = which.rstrip("]").partition("[")
    values = form.case_values(entries)
    try:
        case_from_dict(values, source="the form")
        wrong = False
    except CaseError as error:
        wrong = any(fault.where.startswith(which) for fault in error.faults)
    if wrong or int(place) > form.rows_of(kind, entries):
        return "This container cannot be kept before it is complete. Press 'Check' to see what is missing."
    equipment.keep(own_list, kind, values[kind][int(place) - 1], today)
    return "Kept in the clinic's own list. It holds the container and nothing about the patient."


# ── what goes out ───────────────────────────────────────────────────────────────────────────────


def _preview(entries: form.Entries) -> tuple[str, list[Fault]]:
    """Return the table of the case as it stands, or how much is missing, and the messages."""
    template = environment().get_template("web/preview.html.jinja")
    try:
        case = case_from_dict(form.case_values(entries), source="the form")
    except CaseError as error:
        return template.render(_=_LOCALE.say, count=len(error.faults), containers=()), error.faults
    made = plan(case)
    shown = template.render(
        _=_LOCALE.say,
        count=0,
        containers=containers(made, Locale(SOURCE, case.clinic.region)),
        notices=[notice_words(notice) for notice in made.notices],
    )
    return shown, []


def _form_page(
    entries: form.Entries, faults: Sequence[Fault], preview: str, note: str, sizes: list[equipment.Size]
) -> str:
    groups = form.groups(entries, faults)
    return (
        environment()
        .get_template("web/desk.html.jinja")
        .render(
            _=_LOCALE.say,
            locale=_LOCALE,
            paper="a4",
            leading=_LOCALE.leading,
            fonts=_LOCALE.fonts,
            groups=groups,
            faults=faults,
            places=form.places(groups),
            preview=Markup(preview),
            note=note,
            sizes=sizes,
        )
    )


def _fault(fault: Fault) -> str:
    module = environment().get_template("web/_fault.html.jinja").make_module({"_": _LOCALE.say})
    return str(module.beside(fault))  # type: ignore[attr-defined]


def _packed(case: Case, key_file: Path) -> bytes:
    """Make the set in each language and pack it into one file."""
    out = io.BytesIO()
    made = plan(case)
    keys = load_keys(key_file)
    stamp = (case.issued.year, case.issued.month, case.issued.day, 0, 0, 0)
    with _typesetting, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for tag in case.patient.languages or [SOURCE]:
            for name, data in make_set(case, made, Locale(tag, case.clinic.region), keys):
                packed.writestr(zipfile.ZipInfo(name, stamp), data, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _html(page: str, status: int) -> Response:
    headers = {"content-security-policy": f"{policy(page)}; frame-ancestors 'none'", "cache-control": "no-store"}
    return Response(page, status, headers, media_type="text/html")


def _download(data: bytes, name: str, kind: str) -> Response:
    """Answer with a file whose name tells two patients' files apart and tells of neither who it is."""
    stem, _, ending = name.rpartition(".")
    letters = base64.b32encode(hashlib.sha256(data).digest())[:6].decode().lower()
    name = f"{stem}-{letters}.{ending}"
    headers = {"content-disposition": f'attachment; filename="{name}"', "cache-control": "no-store"}
    return Response(data, headers=headers, media_type=kind)
