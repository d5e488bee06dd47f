"""From a file to a FHIR bundle, or to what is wrong with it; nothing in it can fill the memory.

It is checked with the R4B models of ``fhir.resources`` (FHIR 4.3.0), in which the resources that are read have the
elements of R4 (4.0.1).
"""

import json
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import ValidationError

from companion.case.fields import CLINICIAN
from companion.errors import CaseError, Fault, SettingError
from companion.files import opened

if TYPE_CHECKING:
    from fhir.resources.R4B.bundle import Bundle

LARGEST_BUNDLE = 4 * 1024 * 1024
"""Bytes. A bundle of one patient's order and equipment is some 20 kB."""

_LONGEST_NUMBER = 20
"""Characters of a number before its exponent of at most two digits. Written out, 1e99999999 fills a gigabyte."""


def bundle_bytes(path: Path) -> bytes:
    """Return what a file holds.

    Raises:
        CaseError: it cannot be read.
    """
    try:
        with opened(path) as file:
            return file.read(LARGEST_BUNDLE + 1)
    except OSError as error:
        raise CaseError(
            str(path), [_unreadable("the file", str(path), f"it cannot be read: {error.strerror}")]
        ) from error


def _unreadable(where: str, read: str, problem: str) -> Fault:
    return Fault(where, read, problem, "a FHIR R4 Bundle as JSON", CLINICIAN)


def bundle_of(data: bytes, source: str) -> "Bundle":
    """Check a bundle.

    Raises:
        CaseError: it is no FHIR R4 bundle.
        SettingError: the FHIR library is not installed.
    """
    try:
        from fhir.resources.R4B.bundle import Bundle
    except ImportError as error:
        raise SettingError("Reading FHIR needs the package 'fhir.resources': install companion[fhir].") from error

    if len(data) > LARGEST_BUNDLE:
        raise CaseError(source, [_unreadable("the file", f"more than {LARGEST_BUNDLE} bytes", "it is too large")])
    try:
        raw = json.loads(data.decode("utf-8-sig"), parse_float=_decimal, parse_int=_whole)
        return Bundle.model_validate(raw)
    except ValidationError as error:
        faults = [
            _unreadable(".".join(map(str, detail["loc"])) or "the bundle", str(detail["input"])[:60], detail["msg"])
            for detail in error.errors(include_url=False)
        ]
        raise CaseError(source, faults) from error
    except _TooLongError as error:
        problem = "that number is too long for any amount"
        raise CaseError(source, [_unreadable("the file", str(error)[:60], problem)]) from error
    except (ValueError, RecursionError) as error:
        problem = "it is no JSON text in UTF-8" if isinstance(error, ValueError) else "brackets nested too deep"
        raise CaseError(source, [_unreadable("the file", "text that is no JSON", problem)]) from error


class _TooLongError(ValueError):
    pass


def _decimal(text: str) -> Decimal:
    number, _, exponent = text.casefold().partition("e")
    if len(number) > _LONGEST_NUMBER or len(exponent.lstrip("+-")) > 2:
        raise _TooLongError(text)
    return Decimal(text)


def _whole(text: str) -> int:
    if len(text) > _LONGEST_NUMBER:
        raise _TooLongError(text)
    return int(text)
