"""The link behind the QR code: a case without anything personal, packed, signed, and read back.

``CODE`` is base32 (A to Z, 2 to 7), which a QR code stores in its compact alphanumeric mode:

    version (1 byte) | key number (1 byte) | packed case | signature (10 bytes)

The packing walks the fields of the model in their order, so it holds exactly what the model holds. When the
model or the list of units changes, ``VERSION`` must rise; a test compares the model with its fingerprint.
"""

import base64
import binascii
import datetime as dt
import hashlib
import hmac
import os
import secrets
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from companion.case.model import Case
from companion.case.read import accepted_case
from companion.errors import CaseError, LinkError, SettingError
from companion.facts.units import SPELLED, Amount

VERSION = 1
LONGEST_CODE = 3200
"""Characters. The longest code that a case within the model's bounds makes is shorter; a test holds it."""

_SIGNATURE = 10  # bytes; 80 bits cannot be guessed over a network, and keep the printed code coarse
_FOLDER_NAME = 240  # characters; file systems take 255 bytes, and a published page lies in folders named like its code
_UNITS = list(SPELLED)
_FIRST_DAY = dt.date(2020, 1, 1)


# ── keys ────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True)
class Keys:
    """The clinic's keys: the first signs, all are accepted, so an old key stays until its guides are replaced."""

    secrets: tuple[bytes, ...]

    def signing(self) -> bytes:
        """Return the key for new codes."""
        return self.secrets[0]

    def numbered(self, number: int) -> list[bytes]:
        """Return the keys that a code may mean; two keys in 256 share a number."""
        return [key for key in self.secrets if _key_number(key) == number]


def default_key_file() -> Path:
    """Return where the clinic's keys lie unless told otherwise."""
    base = os.environ.get("XDG_CONFIG_HOME")
    return (Path(base) if base else Path.home() / ".config") / "companion" / "link.keys"


def load_keys(path: Path, *, make: bool) -> Keys:
    """Read a key file (one key of 64 hexadecimal digits a line), making it with mode 600 on first use if asked.

    Raises:
        SettingError: it cannot be read, made or understood.
    """
    try:
        if make and not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "w", encoding="ascii") as file:
                file.write(secrets.token_hex(32) + "\n")
        lines = [line.strip() for line in path.read_text(encoding="ascii").splitlines()]
        keys = tuple(bytes.fromhex(line) for line in lines if line and not line.startswith("#"))
    except (OSError, ValueError) as error:
        raise SettingError(f"The key file {path} cannot be used: {error}.") from error
    if not keys or any(len(key) != 32 for key in keys):
        raise SettingError(f"The key file {path} must hold keys of 64 hexadecimal digits, one a line, newest first.")
    return Keys(keys)


def _key_number(key: bytes) -> int:
    return hashlib.sha256(b"number" + key).digest()[0]


# ── the code ────────────────────────────────────────────────────────────────────────────────────


def encode(case: Case, keys: Keys) -> str:
    """Return the signed code of a case, without its personal fields."""
    key = keys.signing()
    body = bytes([VERSION, _key_number(key)]) + _packed_model(case)
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
    if body[0] != VERSION:
        raise LinkError(f"The code is of version {body[0]}; this program reads version {VERSION}.")
    reader = _Reader(body[2:])
    try:
        return accepted_case(_unpacked_model(Case, reader), source="the code")
    except CaseError as error:
        raise LinkError("The code no longer passes today's checks; a new guide is needed.") from error


def address(base: str, code: str) -> str:
    """Return the address that the QR code holds."""
    return f"{base}/t/{in_parts(code)}"


def in_parts(code: str) -> str:
    """Return a code as it stands in an address: a slash after each part, so that each can name a folder."""
    return "/".join(code[start : start + _FOLDER_NAME] for start in range(0, len(code), _FOLDER_NAME))


def _signature(key: bytes, body: bytes) -> bytes:
    return hmac.new(key, body, hashlib.sha256).digest()[:_SIGNATURE]


# ── packing, by the fields of the model ─────────────────────────────────────────────────────────


def travels(field: FieldInfo) -> bool:
    """Tell whether a field is part of the code; what could say who the patient is never is."""
    extra = field.json_schema_extra
    return isinstance(extra, dict) and bool(extra["x-in-link"])


def _fields(model: type[BaseModel]) -> list[tuple[str, Any, bool]]:
    """Return name, type and whether it may be None, of each field that travels."""
    found = []
    for name, field in model.model_fields.items():
        if not travels(field):
            continue
        kind: Any = field.annotation
        optional = get_origin(kind) in (Union, UnionType) and NoneType in get_args(kind)
        if optional:
            kind = next(part for part in get_args(kind) if part is not NoneType)
        if hasattr(kind, "__metadata__"):
            kind = get_args(kind)[0]
        found.append((name, kind, optional))
    return found


def _packed_model(item: BaseModel) -> bytes:
    """Pack a model: first a bit for each field that may be missing or is true or false, then the values."""
    flags: list[bool] = []
    body = b""
    for name, kind, optional in _fields(type(item)):
        value = getattr(item, name)
        if optional:
            flags.append(value is not None)
        if kind is bool:
            flags.append(bool(value))
        elif value is not None:
            body += _packed(value, kind)
    bits = sum(flag << place for place, flag in enumerate(flags))
    return bits.to_bytes((len(flags) + 7) // 8, "little") + body


def _unpacked_model(model: type[BaseModel], reader: "_Reader") -> dict[str, Any]:
    fields = _fields(model)
    flag_count = sum(optional + (kind is bool) for _, kind, optional in fields)
    bits = int.from_bytes(reader.take((flag_count + 7) // 8), "little")
    values: dict[str, Any] = {}
    for name, kind, optional in fields:
        present = True
        if optional:
            present, bits = bool(bits & 1), bits >> 1
        if kind is bool:
            flag, bits = bool(bits & 1), bits >> 1
            if present:
                values[name] = flag
        elif present:
            values[name] = _unpacked(kind, reader)
    return values


def _packed(value: Any, kind: Any) -> bytes:
    if isinstance(value, BaseModel):
        return _packed_model(value)
    if isinstance(value, Amount):
        return _packed_decimal(value.number) + bytes([_UNITS.index(value.unit)])
    if isinstance(value, Decimal):
        return _packed_decimal(value)
    if isinstance(value, dt.date):
        return _varint((value - _FIRST_DAY).days)
    if isinstance(value, int):
        return _varint(value)
    if get_origin(kind) is Literal:
        return bytes([get_args(kind).index(value)])
    if isinstance(value, str):
        text = value.encode("utf-8")
        return _varint(len(text)) + text
    if isinstance(value, list):
        return _varint(len(value)) + b"".join(_packed(item, get_args(kind)[0]) for item in value)
    assert isinstance(value, dict), kind
    return _varint(len(value)) + b"".join(_packed(k, str) + _packed(v, Amount) for k, v in value.items())


def _unpacked(kind: Any, reader: "_Reader") -> Any:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return _unpacked_model(kind, reader)
    if kind is Amount:
        return Amount(reader.decimal(), _UNITS[reader.take(1)[0]])
    if kind is Decimal:
        return reader.decimal()
    if kind is dt.date:
        return _FIRST_DAY + dt.timedelta(days=reader.varint())
    if kind is int:
        return reader.varint()
    if kind is str:
        return reader.take(reader.varint()).decode("utf-8")
    if get_origin(kind) is Literal:
        return get_args(kind)[reader.take(1)[0]]
    if get_origin(kind) is list:
        return [_unpacked(get_args(kind)[0], reader) for _ in range(reader.varint())]
    assert get_origin(kind) is dict, kind
    return {_unpacked(str, reader): _unpacked(Amount, reader) for _ in range(reader.varint())}


def _varint(number: int) -> bytes:
    """Pack a whole number, 7 bits a byte, the lowest first."""
    out = bytearray()
    while number > 127:
        out.append(number & 127 | 128)
        number >>= 7
    return bytes([*out, number])


def _packed_decimal(number: Decimal) -> bytes:
    """Pack digits and decimal places together; the number comes back as it was typed."""
    places = max(0, -int(number.as_tuple().exponent))
    return _varint(int(number.scaleb(places)) << 3 | places)


class _Reader:
    """Reads what the packing wrote. The signature was checked before, so it never runs out."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def take(self, count: int) -> bytes:
        self._at += count
        return self._data[self._at - count : self._at]

    def varint(self) -> int:
        number = shift = 0
        while True:
            byte = self.take(1)[0]
            number |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                return number

    def decimal(self) -> Decimal:
        packed = self.varint()
        return Decimal(packed >> 3).scaleb(-(packed & 7))
