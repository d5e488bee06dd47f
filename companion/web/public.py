"""The public program: the page behind the QR code and its guide, from the code alone.

It stores nothing, takes no case and has no form that sends one, so it can be copied onto any number of machines
behind any cache.

    /t/CODE           the table, in the language that the phone prefers
    /t/CODE/es        in one language
    /t/CODE/es/guide  the whole guide
    /t/table.js, /t/worker.js, /t/guide.js
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
from companion.language.catalogue import SOURCE, available
from companion.language.locale import Locale
from companion.link.code import decode
from companion.link.keys import Keys
from companion.reckoning.plan import Plan, plan
from companion.render.html import web_page
from companion.web.pages import Asked, Place, full_guide, read_question, table_page
from companion.web.security import Guard, policy, refused

SCRIPTS = ("table.js", "worker.js", "guide.js")
SCRIPT_POLICY = "default-src 'none'; connect-src 'self'; frame-ancestors 'none'"
"""The worker fetches our own pages, under the policy that its own file came with."""

_CHINESE = {
    "zh": "zh-hans",
    "zh-cn": "zh-hans",
    "zh-sg": "zh-hans",
    "zh-tw": "zh-hant",
    "zh-hk": "zh-hant",
    "zh-mo": "zh-hant",
}

_log = logging.getLogger(__name__)

_CODE_PART = re.compile(r"[A-Z2-7]+")


@dataclass(frozen=True)
class Page:
    """A page ready to be sent."""

    body: bytes
    packed: bytes
    policy: str


@dataclass(frozen=True)
class Address:
    """What stands after ``/t/``."""

    code: str
    place: Place
    tag: str | None
    """The language, or None: the one that the phone prefers."""
    guide: bool


def read_address(rest: str) -> Address | None:
    """Read what stands after ``/t/``; None where it can be no page of ours.

    A long code stands there in several parts; see ``companion.link.code.in_parts``.
    """
    parts = rest.rstrip("/").split("/")
    code_parts: list[str] = []
    while parts and (not code_parts or _CODE_PART.fullmatch(parts[0])):
        code_parts.append(parts.pop(0))
    tag = parts.pop(0) if parts and parts[0] in available() else None
    guide = parts == ["guide"]
    if parts and not guide:
        return None
    place = Place("/".join(code_parts), "../" * rest.count("/"))
    return Address("".join(code_parts), place, tag, guide)


class Pages:
    """Makes the pages of one set of keys, and remembers the last of them."""

    def __init__(self, keys: Keys) -> None:
        self._keys = keys
        # Bounds: a case with its plan takes 30 kB, a page 50 kB and a guide 250 kB.
        self._case = lru_cache(maxsize=1024)(self._case_of)
        self.table = lru_cache(maxsize=1024)(self._table)
        self.guide = lru_cache(maxsize=64)(self._guide)

    def question(self, code: str, query: dict[str, str]) -> Asked:
        """Return what the address asks of the case of a code.

        Raises:
            LinkError: the code is not ours, or no longer.
        """
        return read_question(query, self._case(code)[1])

    def review_date(self, code: str) -> dt.date:
        """Return the day by which the order behind a code is reviewed."""
        return self._case(code)[0].prescription.review_date

    def _case_of(self, code: str) -> tuple[Case, Plan]:
        case = decode(code, self._keys)
        return case, plan(case)

    def _table(self, code: str, place: Place, tag: str, asked: Asked, *, out_of_date: bool) -> Page:
        case, made = self._case(code)
        locale = Locale(tag, case.clinic.region)
        return _page(table_page(case, made, locale, place, asked, out_of_date=out_of_date, served=True))

    def _guide(self, code: str, up: str, tag: str, *, out_of_date: bool) -> Page:
        case, made = self._case(code)
        return _page(full_guide(case, made, Locale(tag, case.clinic.region), up, out_of_date=out_of_date))


def _page(text: str) -> Page:
    body = text.encode()
    return Page(body, gzip.compress(body, mtime=0), f"{policy(text)}; frame-ancestors 'none'")


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
        tag = address.tag or _preferred(request.headers.get("accept-language", ""))
        try:
            pages = pages_of(keys())
        except SettingError as error:
            _log.error("%s", error)
            return _answer(request, unreadable(tag), status=503)
        try:
            asked = pages.question(address.code, dict(request.query_params))
        except LinkError:
            return _answer(request, unreadable(tag), status=404)
        out_of_date = today() > pages.review_date(address.code)
        if address.guide:
            # A guide takes a fifth of a second at first; others must not wait for it.
            page = await asyncio.to_thread(pages.guide, address.code, address.place.up, tag, out_of_date=out_of_date)
            return _answer(request, page)
        return _answer(request, pages.table(address.code, address.place, tag, asked, out_of_date=out_of_date))

    async def script(request: Request) -> Response:
        return Response(
            script_file(request.url.path.rsplit("/", 1)[1]),
            media_type="text/javascript",
            headers={"cache-control": "public, max-age=300", "content-security-policy": SCRIPT_POLICY},
        )

    routes = [
        *(Route(f"/{t}/{name}", script) for t in "tT" for name in SCRIPTS),
        *(Route(f"/{t}/{{rest:path}}", show) for t in "tT"),
    ]
    program = Starlette(routes=routes, exception_handlers={HTTPException: refused, Exception: refused})
    # Such an answer would repeat whatever host the request names.
    program.router.redirect_slashes = False
    return Guard(program, largest_body=0, seconds=20)


@cache
def script_file(name: str) -> bytes:
    """Return one of our scripts, without its comments: a phone may pay for every kilobyte."""
    return re.sub(r"(?m)^ *//.*\n", "", resources.read("templates", f"web/{name}")).encode()


@lru_cache(maxsize=256)
def _preferred(header: str) -> str:
    """Return the language of ours that an Accept-Language header likes best."""
    weighed = []
    for item in header[:200].split(","):
        tag, _, weight = item.partition(";")
        quality = re.fullmatch(r"\s*q=(0(?:\.\d{1,3})?|1(?:\.0{1,3})?)\s*", weight)
        weighed.append((-(float(quality[1]) if quality else 1.0), tag.strip().casefold()))
    held = {tag.casefold(): tag for tag in available()}
    for _, tag in sorted(weighed, key=lambda pair: pair[0]):
        # Phones send a country with Chinese, our folders are named for the script.
        wanted = _CHINESE.get(tag, tag)
        while wanted:
            if wanted in held:
                return held[wanted]
            wanted = wanted.rpartition("-")[0]
    return SOURCE


@cache
def unreadable(tag: str) -> Page:
    """Return the page for a code that we do not read, or that is cut off: whom to call, and no time of any kind."""
    locale = Locale(tag, "US")
    return _page(web_page("web/unreadable.html.jinja", locale))


def _answer(request: Request, page: Page, status: int = 200) -> Response:
    packs = "gzip" in request.headers.get("accept-encoding", "")
    headers = {
        "content-security-policy": page.policy,
        "cache-control": "public, max-age=300" if status == 200 else "no-store",
        "vary": "accept-encoding, accept-language",
    }
    if packs:
        headers["content-encoding"] = "gzip"
    return Response(page.packed if packs else page.body, status, headers, media_type="text/html")
