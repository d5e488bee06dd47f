"""The link behind the QR code: a case without anything personal, packed, signed, and read back.

``CODE`` is base32 (A to Z, 2 to 7), which a QR code stores in its compact alphanumeric mode:

    version (1 byte) | key number (1 byte) | the case by the layout of its version | signature (10 bytes)
"""

import base64
import binascii
import hashlib
import hmac

from companion.case.model import Case
from companion.case.read import accepted_case
from companion.errors import CaseError, LinkError
from companion.link.keys import Keys, key_number
from companion.link.layouts import LAYOUTS, NEWEST, with_meaning
from companion.link.wire import Reader

LONGEST_CODE = 3200
"""Characters. The longest code that a case within the model's bounds makes is shorter; a test holds it."""

_SIGNATURE = 10  # bytes; 80 bits cannot be guessed over a network, and keep the printed code coarse
_FOLDER_NAME = 240  # characters; file systems take 255 bytes, and a published page lies in folders named like its code


def encode(case: Case, keys: Keys) -> str:
    """Return the signed code of a case, without its personal fields."""
    key = keys.signing()
    body = bytes([NEWEST, key_number(key)]) + LAYOUTS[NEWEST].write(case)[1]
    return base64.b32encode(body + _signature(key, body)).decode("ascii").rstrip("=")


def decode(code: str, keys: Keys) -> Case:
    """Return the case of a code.

    Raises:
        LinkError: it is not ours, was changed or cut, or its key or version is no longer read.
    """
    if len(code) > LONGEST_CODE:
        raise LinkError("The code is too long to be one of ours.")
    try:
        raw = base64.b32decode(code + "=" * (-len(code) % 8))
    except (binascii.Error, ValueError) as error:
        raise LinkError("The code holds characters that our codes never hold.") from error
    body, signature = raw[:-_SIGNATURE], raw[-_SIGNATURE:]
    if len(body) < 3:
        raise LinkError("The code is cut off.")
    known = keys.numbered(body[1])
    if not known:
        raise LinkError("The code was signed with a key that is no longer in use, or not by this clinic.")
    # b32decode ignores spare bits at the end: hold the text itself against what we would have written.
    canonical = base64.b32encode(raw).decode("ascii").rstrip("=")
    if canonical != code or not any(hmac.compare_digest(signature, _signature(key, body)) for key in known):
        raise LinkError("The code was changed or misread.")
    return _case_of(body[0], body[2:])


def _case_of(version: int, packed: bytes) -> Case:
    if version not in LAYOUTS:
        raise LinkError(f"The code is of version {version}; this program reads versions 1 to {NEWEST}.")
    reader = Reader(packed)
    try:
        values = LAYOUTS[version].read(iter(()), reader)
        reader.end()
    except ValueError as error:
        raise LinkError("The code is signed, but no program of ours wrote it.") from error
    try:
        return accepted_case(with_meaning(values, version), source="the code")
    except CaseError as error:
        raise LinkError("The code no longer passes today's checks; a new guide is needed.") from error


def version_of(code: str) -> int:
    """Return the version of a code that was decoded."""
    return base64.b32decode(code[:8])[0]


def address(base: str, code: str) -> str:
    """Return the address that the QR code holds."""
    return f"{base}/t/{in_parts(code)}"


def in_parts(code: str) -> str:
    """Return a code as it stands in an address: a slash after each part, so that each can name a folder."""
    return "/".join(code[start : start + _FOLDER_NAME] for start in range(0, len(code), _FOLDER_NAME))


def _signature(key: bytes, body: bytes) -> bytes:
    return hmac.new(key, body, hashlib.sha256).digest()[:_SIGNATURE]
