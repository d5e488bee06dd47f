"""The public program: the page behind the QR code and its guide, from the code alone.

It stores nothing, takes no case and has no form that sends anything, so it can be copied onto any number of machines
behind any cache.

    /t/CODE                     the page, in the language that the phone prefers
    /t/CODE/es                  in one language
    /t/CODE/es/guide            the whole guide
    /t/CODE/es/deliveries.ics   the deliveries for a calendar
    /t/CODE/es/app.webmanifest  for the home screen
    /t/table.js, /t/worker.js, /t/guide.js, /t/icon.svg
    /, /t                       the printed address without its code: that the camera is needed
"""

import asyncio
import datetime as dt
import gzip
import logging
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import ASGIApp

from companion import resources
from companion.case.model import Case
from companion.errors import LinkError, SettingError
from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.link.code import decode
from companion.link.keys import Keys
from companion.reckoning.plan import Plan, plan
from companion.render.html import script, web_page
from companion.web.pages import Place, deliveries, full_guide, manifest, table_page
from companion.web.preferred import preferred
from companion.web.security import Guard, policy, refused

SCRIPTS = ("table.js", "worker.js", "guide.js")
ICON = "icon.svg"
FILE_POLICY = "default-src 'none'; frame-ancestors 'none'"
SCRIPT_POLICY = "default-src 'none'; connect-src 'self'; frame-ancestors 'none'"
"""The worker fetches our own pages, under the policy that its own file came with."""

_log = logging.getLogger(__name__)

GUIDE, DELIVERIES, MANIFEST = "guide", "deliveries.ics", "app.webmanifest"
"""What can stand behind a code beside its page."""

_CODE_PART = re.compile(r"[A-Z2-7]+")


@dataclass(frozen=True)
class Page:
    """A page or file ready to be sent."""

    body: bytes
    packed: bytes
    policy: str
    kind: str = "text/html"


@dataclass(frozen=True)
class Address:
    """What stands after ``/t/``."""

    code: str
    place: Place
    tag: str | None
    """The language, or None: the one that the phone prefers."""
    part: str | None
    """What is asked for beside the page, or None: the page."""


def read_address(rest: str) -> Address | None:
    """Read what stands after ``/t/``; None where it can be no page of ours.

    A long code stands there in several parts; see ``companion.link.code.in_parts``.
    """
    parts = rest.rstrip("/").split("/")
    code_parts: list[str] = []
    while parts and (not code_parts or _CODE_PART.fullmatch(parts[0])):
        code_parts.append(parts.pop(0))
    tag = parts.pop(0) if parts and parts[0] in available() else None
    if parts and parts not in ([GUIDE], [DELIVERIES], [MANIFEST]):
        return None
    place = Place("/".join(code_parts), "../" * rest.count("/"))
    return Address("".join(code_parts), place, tag, parts[0] if parts else None)


class Pages:
    """Makes the pages of one set of keys, and remembers the last of them."""

    def __init__(self, keys: Keys) -> None:
        self._keys = keys
        # Bounds: a case with its plan takes 30 kB, a page 50 kB and a guide 250 kB.
        self._case = lru_cache(maxsize=1024)(self._case_of)
        self.table = lru_cache(maxsize=1024)(self._table)
        self.guide = lru_cache(maxsize=64)(self._guide)

    def review_date(self, code: str) -> dt.date:
        """Return the day by which the order behind a code is reviewed.

        Raises:
            LinkError: the code is not ours, or no longer.
        """
        return self._case(code)[0].prescription.review_date

    def _case_of(self, code: str) -> tuple[Case, Plan]:
        case = decode(code, self._keys)
        return case, plan(case)

    def _table(self, code: str, place: Place, tag: str, *, out_of_date: bool) -> Page:
        case, made = self._case(code)
        return _page(table_page(case, made, Locale(tag, case.clinic.region), place, out_of_date=out_of_date))

    def _guide(self, code: str, place: Place, tag: str, *, out_of_date: bool) -> Page:
        case, made = self._case(code)
        return _page(full_guide(case, made, Locale(tag, case.clinic.region), place, out_of_date=out_of_date))

    def deliveries(self, code: str, tag: str) -> Page:
        """Return the deliveries for a calendar."""
        case, made = self._case(code)
        return _file(deliveries(case, made, Locale(tag, case.clinic.region)), "text/calendar")

    def manifest(self, code: str, place: Place, tag: str) -> Page:
        """Return what a home screen needs."""
        return _file(
            manifest(Locale(tag, self._case(code)[0].clinic.region), place).encode(), "application/manifest+json"
        )


def _page(text: str) -> Page:
    body = text.encode()
    return Page(body, gzip.compress(body, mtime=0), f"{policy(text)}; frame-ancestors 'none'")


def _file(body: bytes, kind: str) -> Page:
    return Page(body, gzip.compress(body, mtime=0), FILE_POLICY, kind)


def application(keys: Callable[[], Keys], today: Callable[[], dt.date]) -> ASGIApp:
    """Return the public program.

    Args:
        keys: the clinic's keys as they are now; pages that older ones made are forgotten when they change.
        today: the clock, for the review date.
    """
    pages_of = lru_cache(maxsize=1)(Pages)

    async def show(request: Request) -> Response:
        address = read_address(request.path_params["rest"])
        if address is None:
            raise HTTPException(404)
        tag = address.tag or preferred(request.headers.get("accept-language", ""), available())
        try:
            pages = pages_of(keys())
        except SettingError as error:
            _log.error("%s", error)
            return _answer(request, unreadable(tag), status=503)
        try:
            out_of_date = today() > pages.review_date(address.code)
        except LinkError:
            return _answer(request, unreadable(tag), status=404)
        match address.part:
            case "guide":
                # A guide takes a fifth of a second at first; others must not wait for it.
                made = asyncio.to_thread(pages.guide, address.code, address.place, tag, out_of_date=out_of_date)
                return _answer(request, await made)
            case "deliveries.ics":
                return _answer(request, pages.deliveries(address.code, tag))
            case "app.webmanifest":
                return _answer(request, pages.manifest(address.code, address.place, tag))
        return _answer(request, pages.table(address.code, address.place, tag, out_of_date=out_of_date))

    async def start(request: Request) -> Response:
        return _answer(request, start_page(preferred(request.headers.get("accept-language", ""), available())))

    async def script_of(request: Request) -> Response:
        return Response(
            script_file(request.url.path.rsplit("/", 1)[1]),
            media_type="text/javascript",
            headers={"cache-control": "public, max-age=300", "content-security-policy": SCRIPT_POLICY},
        )

    async def icon(_: Request) -> Response:
        return Response(icon_file(), media_type="image/svg+xml", headers={"cache-control": "public, max-age=300"})

    routes = [
        *(Route(path, start) for path in ("/", "/t", "/t/", "/T", "/T/")),
        *(Route(f"/{t}/{ICON}", icon) for t in "tT"),
        *(Route(f"/{t}/{name}", script_of) for t in "tT" for name in SCRIPTS),
        *(Route(f"/{t}/{{rest:path}}", show) for t in "tT"),
    ]
    program = Starlette(routes=routes, exception_handlers={HTTPException: refused, Exception: refused})
    # Such an answer would repeat whatever host the request names.
    program.router.redirect_slashes = False
    return Guard(program, largest_body=0, seconds=20)


@cache
def script_file(name: str) -> bytes:
    """Return one of our scripts."""
    return script(f"web/{name}").encode()


@cache
def icon_file() -> bytes:
    """Return the picture for a home screen."""
    return resources.read("templates", f"web/{ICON}").encode()


@cache
def unreadable(tag: str) -> Page:
    """Return the page for a code that we do not read, or that is cut off: whom to call, and no time of any kind."""
    locale = Locale(tag, "US")
    return _page(web_page("web/unreadable.html.jinja", locale))


@cache
def start_page(tag: str) -> Page:
    """Return the page for the printed address alone: no code can be typed, it is too long, so the camera is needed."""
    return _page(web_page("web/start.html.jinja", Locale(tag, "US")))


def _answer(request: Request, page: Page, status: int = 200) -> Response:
    packs = "gzip" in request.headers.get("accept-encoding", "")
    headers = {
        "content-security-policy": page.policy,
        "cache-control": "public, max-age=300" if status == 200 else "no-store",
        "vary": "accept-encoding, accept-language",
    }
    if packs:
        headers["content-encoding"] = "gzip"
    return Response(page.packed if packs else page.body, status, headers, media_type=page.kind)
