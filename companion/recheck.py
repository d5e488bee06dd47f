"""Holds a guide that was made before against what this program computes today."""

import datetime as dt
import re
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import zxingcpp

from companion.errors import CaseError, CompanionError, LinkError, SettingError
from companion.link import code as link
from companion.reckoning import figures as printed
from companion.reckoning.figures import Figures
from companion.reckoning.plan import plan

if TYPE_CHECKING:
    from PIL.Image import Image

LARGEST_FILE = 64 * 1024 * 1024
"""Bytes. A guide as PDF is below 1 MB, a photo below 20 MB."""

LARGEST_PHOTO = 100_000_000
"""Pixels."""

_DOTS_PER_INCH = 150
"""A module of the code is 3 pt: 6 dots."""

_ADDRESS = re.compile(r"https?://.+/[tT]/([A-Z2-7/]+)(?:#([A-Z2-7]{5}))?")


class RecheckError(CompanionError):
    """A file that cannot be read as a guide, a PDF or a photo."""


@dataclass(frozen=True)
class Carried:
    """What a guide says of itself."""

    code: str
    figures: Figures | None
    """Every figure; None where only the QR code could be read."""
    stamp: str | None
    """What stands for the figures in a QR code."""


@dataclass(frozen=True)
class Verdict:
    """How a guide stands today."""

    state: Literal["same", "stale", "not ours"]
    reasons: tuple[str, ...] = ()


def recheck(path: Path, keys: link.Keys, today: dt.date) -> Verdict:
    """Compute a guide again from the code that it carries.

    Args:
        path: the guide as HTML or PDF, or a picture in which its QR code can be seen.
        keys: the clinic's keys.
        today: the day for which the guide must still hold.

    Raises:
        RecheckError: the file cannot be read.
    """
    carried = carried_by(path)
    if carried is None:
        return Verdict("not ours", ("It carries no code of ours that can be read.",))
    try:
        case = link.decode(carried.code, keys)
    except LinkError as error:
        if isinstance(error.__cause__, CaseError):
            faults = tuple(f"{fault.where}: {fault.problem}" for fault in error.__cause__.faults)
            return Verdict("stale", ("Today's checks refuse it.", *faults))
        return Verdict("not ours", (str(error),))
    now = printed.figures(case, plan(case))
    if carried.figures is not None:
        reasons = printed.changes(carried.figures, now)
    elif carried.stamp == printed.stamp(now):
        reasons = []
    else:
        reasons = ["Its figures are not today's. From the code alone it cannot be seen which; today's are:"]
        reasons += [f"{name}: {value}" for name, value in now.items()]
    if today > case.prescription.review_date:
        reasons.append(f"The order was to be reviewed by {case.prescription.review_date}.")
    return Verdict("stale" if reasons else "same", tuple(reasons))


def carried_by(path: Path) -> Carried | None:
    """Return what a guide carries, or None where it is none of ours.

    Raises:
        RecheckError: the file cannot be read.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise RecheckError(f"{path} cannot be read: {error.strerror}.") from error
    if len(data) > LARGEST_FILE:
        raise RecheckError(f"{path} is too large for a guide or a photo.")
    if data.startswith(b"%PDF-"):
        return _from_pdf(data, path)
    if data.lstrip()[:9].lower().startswith((b"<!doctype", b"<html")):
        reader = _Metas()
        reader.feed(data.decode("utf-8", errors="replace"))
        return _from_parts(reader.found)
    return _from_photo(data, path)


def _from_parts(parts: dict[str, str]) -> Carried | None:
    if "companion-code" not in parts or "companion-figures" not in parts:
        return None
    return Carried(parts["companion-code"], printed.from_text(parts["companion-figures"]), None)


class _Metas(HTMLParser):
    """Gathers what stands in the head of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.found: dict[str, str] = {}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = dict(attrs)
        if tag == "meta" and held.get("name") and held.get("content"):
            self.found[str(held["name"])] = str(held["content"])


def _from_pdf(data: bytes, path: Path) -> Carried | None:
    pdfium = _library("pypdfium2")
    try:
        document = pdfium.PdfDocument(data)
    except pdfium.PdfiumError as error:
        raise RecheckError(f"{path} cannot be read as a PDF: {error}.") from error
    with document:
        keywords = document.get_metadata_value("Keywords")
        carried = _from_parts(dict(re.findall(r"(companion-[a-z]+) (.*?)(?=, companion-|$)", keywords)))
        if carried is not None:
            return carried
        # Printed to a file or scanned: the words are gone, the picture is left.
        for page in document:
            found = _from_picture(page.render(scale=_DOTS_PER_INCH / 72).to_pil())
            if found is not None:
                return found
    return None


def _from_photo(data: bytes, path: Path) -> Carried | None:
    import io

    pil = _library("PIL.Image")
    try:
        picture = pil.open(io.BytesIO(data))
        if picture.width * picture.height > LARGEST_PHOTO:
            raise RecheckError(f"{path} has too many pixels for a photo.")
        return _from_picture(picture.convert("L"))
    except (OSError, SyntaxError, ValueError) as error:
        if isinstance(error, RecheckError):
            raise
        raise RecheckError(f"{path} is no page, no PDF and no picture that can be read.") from error


def _from_picture(picture: "Image") -> Carried | None:
    for found in zxingcpp.read_barcodes(picture):
        address = _ADDRESS.fullmatch(found.text)
        if address:
            return Carried(address[1].replace("/", ""), None, address[2])
    return None


def _library(name: str) -> Any:
    import importlib

    try:
        return importlib.import_module(name)
    except ImportError as error:
        raise SettingError(f"This needs the package '{name}': install companion[recheck].") from error
