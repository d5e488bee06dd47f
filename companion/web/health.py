"""Whether a program that serves is well, and how much it has answered: numbers alone, and never what was asked."""

import datetime as dt
from collections.abc import Callable, MutableSequence
from http import HTTPStatus

from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from companion.errors import SettingError

PATH = "/health"
"""Asked by whoever watches over a service: 200 while its keys can be read, else 503. It says nothing of anybody."""

STATUSES = 600
"""A count for each status of HTTP."""


class Watched:
    """Answers for a program whether it is well, and counts its answers by their status.

    It stands before all else: who asks for the health needs no secret address, and is not counted as work.
    """

    def __init__(self, app: ASGIApp, check: Callable[[], object], counted: MutableSequence[int]) -> None:
        """Watch over a program.

        Args:
            app: the program.
            check: raises ``SettingError`` where the clinic's keys cannot be read.
            counted: shared by all processes, a place for each status.
        """
        self._app = app
        self._check = check
        self._counted = counted

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] == "http" and scope["path"] == PATH:
            await self._health()(scope, receive, send)
            return

        async def counting(message: Message) -> None:
            if message["type"] == "http.response.start":
                self._counted[message["status"]] += 1
            await send(message)

        await self._app(scope, receive, counting)

    def _health(self) -> PlainTextResponse:
        headers = {"cache-control": "no-store", "x-content-type-options": "nosniff"}
        try:
            self._check()
        except SettingError:
            return PlainTextResponse("The clinic's keys cannot be read.\n", HTTPStatus.SERVICE_UNAVAILABLE, headers)
        return PlainTextResponse("ok\n", HTTPStatus.OK, headers)


def count_line(counted: MutableSequence[int], now: dt.datetime) -> str:
    """Return how many answers there were, by status, and begin to count anew; nothing where there were none."""
    told = []
    for status in range(len(counted)):
        if count := counted[status]:
            counted[status] -= count
            told.append(f"{status}: {count}")
    return f"{now:%Y-%m-%d %H:%M} UTC, answers by status: {', '.join(told)}" if told else ""
