"""Who may ask the desk: whoever knows its address, from its own pages alone.

A desk signs with the clinic's key, so another user of the machine, or another site's page in the clinician's browser,
must not reach it. Its address holds a secret, and each form a second one. Both are made from the clinic's key: they
stay the same from day to day, and whoever may read the key may know them.
"""

import base64
import hmac
import re
from dataclasses import dataclass
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from companion.errors import SettingError
from companion.link.keys import Keys
from companion.web.security import refused

_OWN_HOST = re.compile(r"(localhost|127(\.[0-9]{1,3}){3}|\[::1\])(:[0-9]{1,5})?")
_ORIGIN = re.compile(r"https://[a-z0-9.-]+(:[0-9]{1,5})?")


@dataclass(frozen=True)
class Access:
    """What a visitor of the desk must bring."""

    address: str
    """The first part of every path; empty where the desk answers without one."""
    token: str
    """What each form sends back."""
    origin: str | None = None
    """How browsers name the desk behind the clinic's sign-in, such as ``https://desk.clinic.example``."""


def access(keys: Keys, origin: str | None) -> Access:
    """Return what the visitors of a clinic's desk must bring.

    Raises:
        SettingError: the origin is none.
    """
    if origin is not None and not _ORIGIN.fullmatch(origin):
        raise SettingError(
            f"'{origin}' is no address of a sign-in. Write https:// and the name that the browser shows, in small "
            "letters and with nothing behind it, such as https://desk.clinic.example"
        )
    return Access(_secret(keys, b"address of the desk"), _secret(keys, b"form of the desk"), origin)


def _secret(keys: Keys, purpose: bytes) -> str:
    digest = hmac.digest(keys.signing(), purpose, "sha256")[:16]
    return base64.b32encode(digest).decode("ascii").rstrip("=").lower()


def same(sent: str, secret: str) -> bool:
    """Compare in a time that tells nothing about the secret."""
    return hmac.compare_digest(sent.encode(), secret.encode())


class OwnVisitors:
    """Lets in what comes to the desk's own address, and takes the secret part off the path."""

    def __init__(self, app: ASGIApp, access: Access) -> None:
        self._app = app
        self._access = access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] == "http":
            first, slash, rest = scope["path"].removeprefix("/").partition("/")
            if not self._is_own(scope["method"], Headers(scope=scope)):
                await (await refused(Request(scope), HTTPException(403)))(scope, receive, send)
                return
            if self._access.address:
                if not same(first, self._access.address):
                    await (await refused(Request(scope), HTTPException(403)))(scope, receive, send)
                    return
                if not slash:
                    await RedirectResponse(f"{first}/")(scope, receive, send)
                    return
                scope = {**scope, "path": f"/{rest}"}
        await self._app(scope, receive, send)

    def _is_own(self, method: str, headers: Headers) -> bool:
        host = headers.get("host", "")
        local = _OWN_HOST.fullmatch(host) is not None
        if not local and (self._access.origin is None or host != urlsplit(self._access.origin).netloc):
            return False
        if method in ("GET", "HEAD"):
            return True
        site = headers.get("sec-fetch-site")
        if site is not None:
            return site in ("same-origin", "none")
        # Browsers leave that header out where the desk stands behind a sign-in without TLS.
        origin = headers.get("origin")
        return origin is None or origin == self._access.origin or (local and origin == f"http://{host}")
