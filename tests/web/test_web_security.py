"""What holds for every answer: limits of time and size, and a log that quotes nothing."""

import asyncio
import logging
from collections.abc import AsyncIterator

import pytest
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from starlette.types import Receive, Scope, Send

from companion.web.security import Guard, refused
from tests.visit import ask


async def slow(_: Scope, __: Receive, ___: Send) -> None:
    await asyncio.sleep(30)


async def broken(scope: Scope, receive: Receive, _: Send) -> None:
    raise ValueError(f"cannot read {await Request(scope, receive).body()!r}")


async def length(request: Request) -> PlainTextResponse:
    return PlainTextResponse(str(len(await request.body())))


greedy = Starlette(routes=[Route("/", length, methods=["POST"])], exception_handlers={HTTPException: refused})


def test_a_request_may_not_take_for_ever() -> None:
    assert ask(Guard(slow, largest_body=0, seconds=0.05), "GET", "/").status_code == 503


def test_an_error_is_logged_by_its_kind_and_place_alone(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG):
        reply = ask(Guard(broken, largest_body=100, seconds=5), "POST", "/", content=b"Rosa Lindqvist")
    assert reply.status_code == 500
    assert "Rosa" not in reply.text
    (told,) = [line for line in caplog.messages if "test_web_security" in line]
    assert told.startswith("ValueError at ")
    assert "Rosa" not in caplog.text


def test_what_a_method_is_allowed_is_said() -> None:
    assert ask(Guard(greedy, largest_body=100, seconds=5), "PUT", "/").headers["allow"] == "POST"


def test_two_lengths_of_one_request_are_refused() -> None:
    headers = {"content-length": "1", "transfer-encoding": "chunked"}
    reply = ask(Guard(greedy, largest_body=100, seconds=5), "POST", "/", content=b"x", headers=headers)
    assert reply.status_code == 400
    assert reply.headers["connection"] == "close"


@pytest.mark.parametrize("size", [100, 101])
@pytest.mark.parametrize("declared", [True, False])
def test_a_body_is_counted_whether_its_size_was_told_or_not(size: int, declared: bool) -> None:
    async def parts() -> AsyncIterator[bytes]:
        yield b"x" * size

    content = b"x" * size if declared else parts()
    status = ask(Guard(greedy, largest_body=100, seconds=5), "POST", "/", content=content).status_code
    assert status == (413 if size > 100 else 200)
