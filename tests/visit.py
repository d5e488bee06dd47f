"""The web programs as the tests use them: asked in this process, or running on a port."""

import asyncio
import datetime as dt
import socket
import subprocess
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import httpx
import uvicorn
from starlette.types import ASGIApp

from companion.case import Case
from companion.link.code import address as link_address
from companion.link.code import encode
from companion.link.keys import Keys
from companion.web import desk, public
from companion.web.visitors import Access
from tests.tools import key_file, npm_file, program

KEYS = Keys((b"k" * 32,))
TODAY = dt.date(2026, 11, 25)


def public_app(keys: Keys = KEYS, today: dt.date = TODAY) -> ASGIApp:
    """Return the public program."""
    return public.application(lambda: keys, lambda: today)


ACCESS = Access("", "the token of a test")


def desk_app(folder: Path, access: Access = ACCESS) -> ASGIApp:
    """Return the clinic's desk, with its keys and its list of equipment in a folder."""
    return desk.application(key_file(folder / "link.keys"), lambda: TODAY, access)


def address(case: Case, rest: str = "", keys: Keys = KEYS) -> str:
    """Return the address of a case's page, as the QR code holds it, with something behind it."""
    return link_address("", encode(case, keys)) + rest


def ask(app: ASGIApp, method: str, path: str, **more: Any) -> httpx.Response:
    """Send one request; an error of the program is an answer here, as it is behind a server."""

    async def sent() -> httpx.Response:
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8020") as client:
            return await client.request(method, path, **more)

    return asyncio.run(sent())


def get(app: ASGIApp, path: str, headers: Mapping[str, str] | None = None) -> httpx.Response:
    """Ask for a page."""
    return ask(app, "GET", path, headers=headers)


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


@contextmanager
def running(app: ASGIApp) -> Iterator[str]:
    """Serve a program on a free port, and give its address."""
    port = free_port()
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="error", access_log=False))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join()


def assert_valid(folder: Path, *pages: str) -> None:
    """Hold pages against the Nu HTML checker, all at once, because it takes longest to begin."""
    for number, page in enumerate(pages):
        (folder / f"{number}.html").write_text(page, encoding="utf-8")
    paths = [str(folder / f"{number}.html") for number in range(len(pages))]
    jar = npm_file("vnu-jar/build/dist/vnu.jar")
    # For a few seconds of work: what Java does to be quick later takes longer than it saves.
    brief = ("-XX:TieredStopAtLevel=1", "-XX:+UseSerialGC", "-Xss8m")
    command = [program("java"), *brief, "-jar", jar, "--errors-only", *paths]
    checked = subprocess.run(command, capture_output=True, text=True, check=False)
    assert checked.returncode == 0, checked.stderr


XHTML = "{http://www.w3.org/1999/xhtml}"


def tree(page: str) -> ElementTree.Element:
    """Read a page, which must be well-formed."""
    return ElementTree.fromstring(page)


def words(element: ElementTree.Element) -> str:
    """Return the text of an element as it is read, with single spaces."""
    return " ".join("".join(element.itertext()).split())


def by_id(page: ElementTree.Element, name: str) -> ElementTree.Element:
    """Return the element with an id."""
    return next(element for element in page.iter() if element.get("id") == name)


def shown(element: ElementTree.Element, css_class: str) -> str | None:
    """Return the text of the part with a class, or None where there is none or it is hidden."""
    return next(
        (
            words(part)
            for part in element.iter()
            if css_class in part.get("class", "").split() and part.get("hidden") is None
        ),
        None,
    )
