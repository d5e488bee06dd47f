"""What every answer of both programs has in common: headers, limits, and a log that holds nothing of anybody."""

import asyncio
import base64
import hashlib
import logging
import re
import traceback

from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

log = logging.getLogger("companion.web")
# The reader of forms tells the bytes at which it stopped.
logging.getLogger("python_multipart").setLevel(logging.CRITICAL)

LONGEST_TARGET = 4096
"""Bytes of path and query: the longest code and a full outing take 1,600."""

_HEADERS = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "accept-ranges": "none",
    # For answers without a policy of their own: they hold neither script nor style.
    "content-security-policy": "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
}

_STYLE = re.compile(r"<style>(.*?)</style>", re.DOTALL)


_REFUSALS = {
    400: ("That could not be read", "Nothing was kept. Please try again."),
    403: (
        "That is not allowed here",
        "Open the desk by the whole address that it told when it was started, or by the clinic's own sign-in.",
    ),
    404: ("There is no such page", "Scan the code on the paper again, or type the address anew."),
    405: ("That is not done here", "Nothing was kept."),
    413: ("That is too large", "Nothing was read or kept. A case file is a few kB. Go back, and pick another one."),
    414: ("The address is too long", "Scan the code on the paper again, or call your clinic or your oxygen supplier."),
    500: ("Something went wrong here", "Nothing was kept. Please try again."),
    503: ("That took too long", "Nothing was kept. Please try again."),
}


def policy(page: str) -> str:
    """Return the Content-Security-Policy of one of our pages: its own style, and scripts from our files alone."""
    styles = " ".join(sorted({_digest(style) for style in _STYLE.findall(page)}))
    return (
        f"default-src 'none'; script-src 'self'; style-src {styles}; img-src 'self' data:; font-src data:; "
        "connect-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'"
    )


def _digest(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def plain_page(title: str, sentence: str) -> bytes:
    """Return the page for a request that was refused before anything was made of it."""
    return (
        Markup(
            '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"/>'
            '<meta name="viewport" content="width=device-width, initial-scale=1"/><title>{0}</title></head>'
            "<body><main><h1>{0}</h1><p>{1}</p></main></body></html>\n"
        )
        .format(title, sentence)
        .encode()
    )


async def refused(_: Request, error: Exception) -> HTMLResponse:
    """Answer a request that Starlette or a limit refused, for ``exception_handlers``."""
    status = error.status_code if isinstance(error, HTTPException) else 500
    title, sentence = _REFUSALS.get(status, _REFUSALS[400])
    headers = {"cache-control": "no-store"}
    if isinstance(error, HTTPException):
        headers |= error.headers or {}
    return HTMLResponse(plain_page(title, sentence), status, headers)


class Guard:
    """Wraps a program: limits size and time of a request, sets the headers, and lets no error tell what came in."""

    def __init__(self, app: ASGIApp, *, largest_body: int, seconds: float) -> None:
        self._app = app
        self._largest_body = largest_body
        self._seconds = seconds

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        answer = _Answer(send)
        if len(scope["raw_path"]) + len(scope["query_string"]) > LONGEST_TARGET:
            await answer.refuse(414)
            return
        if {b"content-length", b"transfer-encoding"} <= {name for name, _ in scope["headers"]}:
            # Two lengths of one request: a proxy before us may have believed the other (RFC 9112, 6.3).
            await answer.refuse(400)
            return
        try:
            async with asyncio.timeout(self._seconds):
                await self._app(scope, self._counted(scope, receive), answer)
        except TimeoutError:
            await answer.refuse(503)
        except ClientDisconnect:
            return
        except Exception as error:
            # The error's own text may quote what came in, so only its kind and place are told.
            place = traceback.extract_tb(error.__traceback__)[-1]
            log.error("%s at %s:%s", type(error).__name__, place.filename, place.lineno)
            await answer.refuse(500)

    def _counted(self, scope: Scope, receive: Receive) -> Receive:
        declared = dict(scope["headers"]).get(b"content-length", b"0")
        # The server has already refused what is no number.
        too_large = int(declared) > self._largest_body
        read = 0

        async def counted() -> Message:
            nonlocal read
            if too_large:
                raise HTTPException(413)
            message = await receive()
            read += len(message.get("body", b""))
            if read > self._largest_body:
                raise HTTPException(413)
            return message

        return counted


class _Answer:
    """Sends an answer with the headers of all, and can refuse as long as none has begun."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self._begun = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self._begun = True
            given = {name.lower() for name, _ in message["headers"]}
            message["headers"] = [
                *message["headers"],
                *((n.encode(), v.encode()) for n, v in _HEADERS.items() if n.encode() not in given),
            ]
        await self._send(message)

    async def refuse(self, status: int) -> None:
        if self._begun:
            return
        body = plain_page(*_REFUSALS[status])
        headers = [
            (b"content-type", b"text/html; charset=utf-8"),
            (b"content-length", str(len(body)).encode()),
            (b"cache-control", b"no-store"),
            (b"connection", b"close"),
        ]
        await self({"type": "http.response.start", "status": status, "headers": headers})
        await self({"type": "http.response.body", "body": body})
