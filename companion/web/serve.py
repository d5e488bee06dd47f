"""Starts the web programs. What they log counts answers and quotes nothing.

An address holds a code, and a form holds a person.

The desk works in processes that are replaced: what a clinician typed is in the memory of one that soon ends, and the
process that stays sees no request at all.
"""

import asyncio
import datetime as dt
import http.client
import ipaddress
import multiprocessing
import os
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable, MutableSequence
from multiprocessing.connection import wait
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import h11
import uvicorn
from starlette.types import ASGIApp, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from companion.errors import SettingError
from companion.link.keys import KeyFile, load_keys
from companion.web import public
from companion.web.health import PATH, STATUSES, Watched, count_line
from companion.web.visitors import Access, access

_PATIENCE_SECONDS = 30
"""How long a connection may be open before it has asked for something in full, body and all."""

_READING_SECONDS = 120
"""How long an answer may lie there before it has been taken in full: a slow phone needs a minute for a guide."""

_FIRST_SECONDS = 3
"""How long a process that ends still lets a connection ask that is new: its request may be on its way already. It is
less than the parent waits when all is stopped."""

_MOST_CONNECTIONS = 400
"""Beyond this the one that has kept us waiting longest is closed, so that half a request keeps no whole one out."""


class _Impatient(H11Protocol):
    """Closes a connection whose request does not come to its end, or whose answers nobody takes.

    Uvicorn itself would wait for ever. It stands on the reader of uvicorn's that limits the size of headers.
    """

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self.ends = False
        self._begin()
        self._watch()
        if len(self.connections) > _MOST_CONNECTIONS:
            waiting = [one for one in self.connections if isinstance(one, _Impatient) and one.keeps_us_waiting()]
            min(waiting, key=lambda one: one.since).transport.abort()

    def on_response_complete(self) -> None:
        self._begin()
        super().on_response_complete()

    def shutdown(self) -> None:
        """End when what was asked is answered; a connection closed before it has asked would lose its request."""
        if self.cycle is None and not self.ends:
            self.ends = True
            self.loop.call_later(_FIRST_SECONDS, self.shutdown)
        elif self in self.connections:
            super().shutdown()

    def keeps_us_waiting(self) -> bool:
        """Tell whether it is the other side's turn: to send, or to take what was sent."""
        return self._has_to_send() or self._has_to_take()

    def _has_to_send(self) -> bool:
        return self.conn.their_state in (h11.IDLE, h11.SEND_BODY)

    def _has_to_take(self) -> bool:
        return self.transport.get_write_buffer_size() > 0

    def _begin(self) -> None:
        self.since = self.loop.time()

    def _watch(self) -> None:
        if self not in self.connections:
            return
        waited = self.loop.time() - self.since
        if waited >= _READING_SECONDS and self._has_to_take():
            self.transport.abort()  # to close it would wait until the rest was taken
        elif waited >= _PATIENCE_SECONDS and self._has_to_send():
            self.transport.close()
        self.loop.call_later(max(_PATIENCE_SECONDS - waited, 1), self._watch)


_SERVER: dict[str, Any] = {
    "http": _Impatient,
    "ws": "none",
    "log_level": "warning",
    "access_log": False,
    "server_header": False,
    "proxy_headers": False,
    "timeout_keep_alive": 5,
    "limit_concurrency": 512,
    "h11_max_incomplete_event_size": 16 * 1024,
}

PUBLIC_WORKERS = 2
DESK_WORKERS = 2

_COUNT_SECONDS = 900
"""How often the numbers of answers are told."""

REST_SECONDS = 30.0
"""A process of the desk ends when nothing has been asked of it for so long."""

_LONGEST_SECONDS = 300
"""It ends at the latest so long after its first request, and takes the memory of its guides with it."""

_GRACE_SECONDS = 150
"""How long it may then finish what it is at; a request of the desk is given 120 s."""


# ── the public pages ────────────────────────────────────────────────────────────────────────────


def serve_public(host: str, port: int, key_file: Path) -> None:
    """Serve the public pages until stopped.

    Raises:
        SettingError: the clinic's keys cannot be read, or the address cannot be listened on.
    """
    load_keys(key_file)
    with _listening(host, port) as listener:
        open_now = f"The public pages are served at {_address(host, listener)}/"
        _keep_working(PUBLIC_WORKERS, _work_in_public, listener, (key_file,), open_now)


def _work_in_public(listener: socket.socket, counted: MutableSequence[int], key_file: Path) -> None:
    threading.Thread(target=_end_with_the_parent, daemon=True).start()
    keys = KeyFile(key_file).keys
    watched = Watched(public.application(keys, dt.date.today), keys, counted)
    uvicorn.Server(uvicorn.Config(watched, **_SERVER)).run(sockets=[listener])


# ── the desk ────────────────────────────────────────────────────────────────────────────────────


def serve_desk(host: str, port: int, key_file: Path, origin: str | None) -> None:
    """Serve the clinic's desk until stopped.

    Args:
        origin: how browsers name the desk behind the clinic's sign-in; None where there is none.

    Raises:
        SettingError: the address is not this machine's own or is taken, or the clinic's keys cannot be read.
    """
    if not _is_loopback(host):
        raise SettingError(
            f"The desk is served on this machine alone, not on '{host}'. Put the clinic's own sign-in in front "
            "of it, or serve the public pages with --public."
        )
    visitors = access(load_keys(key_file), origin)
    with _listening(host, port) as listener:
        open_now = (
            f"The desk is open at {_address(host, listener)}/{visitors.address}/\n"
            "Whoever has this whole address can make guides in the clinic's name: give it to nobody else."
        )
        _keep_working(DESK_WORKERS, _work_at_the_desk, listener, (key_file, visitors, REST_SECONDS), open_now)


def _work_at_the_desk(
    listener: socket.socket, counted: MutableSequence[int], key_file: Path, visitors: Access, rest_seconds: float
) -> None:
    """Serve the desk in this process until it has been at rest, or at work for long."""
    from companion.web.desk import application

    threading.Thread(target=_end_with_the_parent, daemon=True).start()
    lifetime = _Lifetime(application(key_file, dt.date.today, visitors), rest_seconds)
    watched = Watched(lifetime, KeyFile(key_file).keys, counted)
    _DeskServer(uvicorn.Config(watched, **_SERVER), lifetime).run(sockets=[listener])


class _Lifetime:
    """Knows when a process of the desk has done its work."""

    def __init__(self, app: ASGIApp, rest_seconds: float) -> None:
        self._app = app
        self._rest_seconds = rest_seconds
        self._under_way = 0
        self._first: float | None = None
        self._last = 0.0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        self._first = self._first or time.monotonic()
        self._under_way += 1
        try:
            await self._app(scope, receive, send)
        finally:
            self._under_way -= 1
            self._last = time.monotonic()

    def is_over(self) -> bool:
        """Tell whether another process should go on from here."""
        if self._first is None:
            return False
        now = time.monotonic()
        at_rest = not self._under_way and now - self._last > self._rest_seconds
        return at_rest or now - self._first > _LONGEST_SECONDS


class _DeskServer(uvicorn.Server):
    def __init__(self, config: uvicorn.Config, lifetime: _Lifetime) -> None:
        super().__init__(config)
        self._lifetime = lifetime

    async def on_tick(self, counter: int) -> bool:
        if not self._lifetime.is_over():
            return await super().on_tick(counter)
        # What hangs then, hangs for ever.
        last_resort = threading.Timer(_GRACE_SECONDS, os._exit, (1,))
        last_resort.daemon = True
        last_resort.start()
        return True


# ── processes ───────────────────────────────────────────────────────────────────────────────────


def _keep_working(
    count: int, work: Callable[..., None], listener: socket.socket, arguments: tuple[Any, ...], open_now: str
) -> None:
    """Keep so many processes at work, a new one for each that ends, until this one is told to stop.

    Args:
        count: how many work at once.
        work: what each of them does with the listener, the counts and the arguments.
        listener: what all of them listen on.
        arguments: what else they need.
        open_now: is told as soon as one of them answers, and not before.

    Raises:
        SettingError: none of them could start.
    """
    spawn = multiprocessing.get_context("spawn")
    # Without a lock, which a process that is ended could keep from the others; a count may be lost instead.
    counted = spawn.Array("L", STATUSES, lock=False)

    def worker() -> BaseProcess:
        process = spawn.Process(target=work, args=(listener, counted, *arguments))
        process.start()
        return process

    signal.signal(signal.SIGTERM, signal.default_int_handler)
    workers = [worker() for _ in range(count)]
    try:
        _wait_until_it_answers(listener, workers)
        _tell(open_now)
        while True:
            wait([process.sentinel for process in workers], _COUNT_SECONDS)
            _count(counted)
            ended = [process for process in workers if not process.is_alive()]
            if any(process.exitcode for process in ended):
                time.sleep(1)  # one that cannot even start is not started a thousand times a second
            workers = [worker() if process in ended else process for process in workers]
    except KeyboardInterrupt:
        pass
    finally:
        for process in workers:
            process.terminate()
        for process in workers:
            process.join(5)
            process.kill()
        _count(counted)


def _wait_until_it_answers(listener: socket.socket, workers: list[BaseProcess]) -> None:
    """Ask for the health until it is told; whoever reads "open" may then ask at once."""
    host, port, *_ = listener.getsockname()
    while True:
        asked = http.client.HTTPConnection(host, port, timeout=1)
        try:
            asked.request("GET", PATH)
            if asked.getresponse().status == http.HTTPStatus.OK:
                return
        except (OSError, http.client.HTTPException):
            pass  # nobody is there yet
        finally:
            asked.close()
        if not any(process.is_alive() for process in workers):
            raise SettingError("The program could not start; what stands above says why. Nothing is served.")
        time.sleep(0.05)


def _count(counted: MutableSequence[int]) -> None:
    if line := count_line(counted, dt.datetime.now(dt.UTC)):
        print(line, file=sys.stderr, flush=True)


def _end_with_the_parent() -> None:
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)


# ── where they listen ───────────────────────────────────────────────────────────────────────────


def _listening(host: str, port: int) -> socket.socket:
    """Return a socket that is bound, so that what is told of the address is true."""
    if not 0 <= port <= 65535:
        raise SettingError(f"There is no port {port}. Ports go from 1 to 65535; without --port it is 8020.")
    try:
        family, _, _, _, place = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        return socket.create_server(place, family=family, backlog=2048)
    except OSError as error:
        raise SettingError(
            f"Port {port} of '{host}' cannot be used: {error.strerror}. Is another program listening there? "
            "Try another one with --port."
        ) from error


def _is_loopback(host: str) -> bool:
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _address(host: str, listener: socket.socket) -> str:
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}:{listener.getsockname()[1]}"


def _tell(what: str) -> None:
    print(f"{what}\nStop with Ctrl+C.", flush=True)
