"""Starts the web programs. Neither writes an access log: an address holds a code, and a form holds a person."""

import asyncio
import datetime as dt
import ipaddress
import os
from pathlib import Path
from typing import Any

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from companion.errors import SettingError
from companion.link.keys import load_keys
from companion.web import public

_PATIENCE_SECONDS = 30
"""How long a connection may be open before it has asked for something in full."""


class _Impatient(H11Protocol):
    """Closes a connection whose request does not come to its end; uvicorn itself would wait for ever.

    It stands on the reader of uvicorn's that limits the size of headers.
    """

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self.loop.call_later(_PATIENCE_SECONDS, self._close_if_idle)

    def _close_if_idle(self) -> None:
        if self.cycle is None or self.cycle.response_complete:
            self.transport.close()
        else:
            self.loop.call_later(_PATIENCE_SECONDS, self._close_if_idle)


_SERVER: dict[str, Any] = {
    "http": _Impatient,
    "log_level": "warning",
    "access_log": False,
    "server_header": False,
    "proxy_headers": False,
    "timeout_keep_alive": 5,
    "limit_concurrency": 512,
    "h11_max_incomplete_event_size": 16 * 1024,
}

PUBLIC_WORKERS = 2


def serve_public(host: str, port: int, key_file: Path) -> None:
    """Serve the public pages until stopped.

    Raises:
        SettingError: the clinic's keys cannot be read.
    """
    load_keys(key_file)
    os.environ[public.KEY_FILE_VARIABLE] = str(key_file)
    _tell(host, port, "The public pages are served")
    uvicorn.run(
        f"{public.__name__}:{public.from_environment.__name__}",
        factory=True,
        host=host,
        port=port,
        workers=PUBLIC_WORKERS,
        **_SERVER,
    )


def serve_desk(host: str, port: int, key_file: Path) -> None:
    """Serve the clinic's desk until stopped.

    Raises:
        SettingError: the address is not this machine's own, or the clinic's keys cannot be read.
    """
    from companion.web.desk import application

    if not _is_loopback(host):
        raise SettingError(
            f"The desk is served on this machine alone, not on '{host}'. Put the clinic's own sign-in in front "
            "of it, or serve the public pages with --public."
        )
    load_keys(key_file)
    _tell(host, port, "The desk is open")
    uvicorn.run(application(key_file, dt.date.today), host=host, port=port, **_SERVER)


def _is_loopback(host: str) -> bool:
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _tell(host: str, port: int, what: str) -> None:
    shown = f"[{host}]" if ":" in host else host
    print(f"{what} at http://{shown}:{port}/ . Stop with Ctrl+C.", flush=True)
