"""What a file says of itself: a guide as page or PDF, or a picture in which its QR code can be seen.

The file may come from anywhere. So only formats that are named here are opened, within bounds, and
``companion.recheck.apart`` does it in a process of its own.
"""

import io
import os
import re
import stat
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING, Any

import zxingcpp

from companion.errors import CompanionError, SettingError

if TYPE_CHECKING:
    from PIL.Image import Image

LARGEST_FILE = 64 * 1024 * 1024
"""Bytes. A guide as PDF is below 1 MB, a photo below 20 MB."""

LARGEST_PAGE = 4 * 1024 * 1024
"""Bytes of a page. The longest guide in two languages is below 0.5 MB."""

LARGEST_PICTURE = 100_000_000
"""Pixels."""

MOST_PAGES = 400
"""Of a PDF. The longest guide in two languages has fewer than 150."""

LONGEST_TEXT = 2_000_000
"""Characters that are read of a PDF. A guide in two languages has 80,000."""

_PICTURES = ("JPEG", "PNG", "WEBP", "TIFF")
DOTS_PER_INCH = 150
"""A module of the code is 3 pt: 6 dots."""
_WIDEST_SHEET = 2400
"""Points: twice an A3 sheet. Nobody prints a guide on more."""

_ADDRESS = re.compile(r"https?://.+/[tT]/([A-Z2-7/]+)(?:#([A-Z2-7]{5}))?")
_HIDDEN = "companion-"
_UNSEEN = frozenset({"style", "script", "title", "svg"})


class RecheckError(CompanionError):
    """A file that cannot be read as a guide, a PDF or a photo."""


@dataclass(frozen=True)
class Paper:
    """What stands on a guide and in it."""

    hidden: dict[str, str] = field(default_factory=dict)
    """What its file carries unseen, by name: ``code``, ``figures``, ``sheet``."""
    code: str = ""
    """The code in a QR code; empty where none was looked for."""
    stamp: str = ""
    """What stands behind the code there, or nothing."""
    text: str = ""
    """The words that can be seen on it; empty for a picture."""
    is_pdf: bool = False


def read_paper(path: Path) -> Paper:
    """Read a file.

    Raises:
        RecheckError: it cannot be read, is too large, or is of no format that is read here.
    """
    data = _bytes_of(path)
    if data.startswith(b"%PDF-"):
        return _from_pdf(data, path)
    if data[:1000].lstrip().lower().startswith((b"<!doctype html", b"<html")):
        return _from_page(data, path)
    return _from_picture_file(data, path)


def _bytes_of(path: Path) -> bytes:
    try:
        # Without waiting: a pipe that nobody writes to would never be open.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
        with os.fdopen(handle, "rb") as file:
            state = os.fstat(handle)
            if not stat.S_ISREG(state.st_mode):
                raise RecheckError(f"{path} is no file. Name the guide's HTML, its PDF, or a photo of its code.")
            if state.st_size > LARGEST_FILE:
                raise RecheckError(f"{path} is too large for a guide or a photo: at most {LARGEST_FILE >> 20} MB.")
            return file.read()
    except OSError as error:
        raise RecheckError(f"{path} cannot be read: {error.strerror}.") from error


# ── a page ──────────────────────────────────────────────────────────────────────────────────────


class _Page(HTMLParser):
    """Gathers what stands in the head of a page, and the words that are seen."""

    def __init__(self) -> None:
        super().__init__()
        self.hidden: dict[str, str] = {}
        self.words: list[str] = []
        self._unseen = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._unseen += tag in _UNSEEN
        values = dict(attrs)
        name = values.get("name") or ""
        if tag == "meta" and name.startswith(_HIDDEN):
            self.hidden.setdefault(name.removeprefix(_HIDDEN), values.get("content") or "")
        self.words.append(" ")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        self._unseen -= tag in _UNSEEN

    def handle_endtag(self, tag: str) -> None:
        self._unseen = max(0, self._unseen - (tag in _UNSEEN))
        self.words.append(" ")

    def handle_data(self, data: str) -> None:
        if not self._unseen:
            self.words.append(data)


def words_of_page(page: str) -> str:
    """Return the words of a page that are seen."""
    return _parsed(page).text


def _parsed(page: str) -> Paper:
    reader = _Page()
    reader.feed(page)
    reader.close()
    return Paper(hidden=reader.hidden, text="".join(reader.words))


def _from_page(data: bytes, path: Path) -> Paper:
    if len(data) > LARGEST_PAGE:
        raise RecheckError(f"{path} is too large for a page of a guide: at most {LARGEST_PAGE >> 20} MB.")
    return _parsed(data.decode("utf-8", errors="replace"))


# ── a PDF ───────────────────────────────────────────────────────────────────────────────────────


def _from_pdf(data: bytes, path: Path) -> Paper:
    pdfium = library("pypdfium2")
    try:
        document = pdfium.PdfDocument(data)
    except pdfium.PdfiumError as error:
        raise RecheckError(f"{path} cannot be read as a PDF: {error}.") from error
    with document:
        if len(document) > MOST_PAGES:
            raise RecheckError(f"{path} has {len(document)} pages; a guide has at most {MOST_PAGES}.")
        hidden = carried_unseen(document)
        text = _words(document)
        if len(text) > LONGEST_TEXT:
            raise RecheckError(f"{path} has more words than a guide.")
        if "code" in hidden:
            return Paper(hidden=hidden, text=text, is_pdf=True)
        # Printed to a file or scanned: what it carried unseen is gone, the picture is left.
        for page in document:
            if max(page.get_size()) <= _WIDEST_SHEET:
                seen = _from_picture(page.render(scale=DOTS_PER_INCH / 72).to_pil())
                if seen.code:
                    return Paper(code=seen.code, stamp=seen.stamp, text=text, is_pdf=True)
    return Paper(text=text, is_pdf=True)


def words_of_pdf(data: bytes) -> str:
    """Return the words of a PDF of our own, as they are read out of one from elsewhere."""
    with library("pypdfium2").PdfDocument(data) as document:
        return _words(document)


def _words(document: Any) -> str:
    text = ""
    for page in document:
        text += page.get_textpage().get_text_range() + "\n"
        if len(text) > LONGEST_TEXT:
            break
    return text


def carried_unseen(document: Any) -> dict[str, str]:
    """Return what an open PDF carries unseen: ``companion-code CODE, companion-figures TEXT, …``."""
    keywords = document.get_metadata_value("Keywords")
    parts = keywords.removeprefix(_HIDDEN).split(f", {_HIDDEN}") if keywords.startswith(_HIDDEN) else []
    return {name: value for name, _, value in (part.partition(" ") for part in parts)}


# ── a picture ───────────────────────────────────────────────────────────────────────────────────


def _from_picture_file(data: bytes, path: Path) -> Paper:
    pil = library("PIL.Image")
    pil.MAX_IMAGE_PIXELS = None  # our own bound is told in our own words
    try:
        picture = pil.open(io.BytesIO(data), formats=_PICTURES)
    except (OSError, SyntaxError, ValueError) as error:
        raise RecheckError(
            f"{path} is no page of a guide, no PDF and no picture of the kinds {', '.join(_PICTURES)}."
        ) from error
    if picture.width * picture.height > LARGEST_PICTURE:
        raise RecheckError(f"{path} has too many pixels for a photo: at most {LARGEST_PICTURE // 1_000_000} million.")
    return _from_picture(picture.convert("L"))


def _from_picture(picture: "Image") -> Paper:
    for text in texts_of_codes(picture):
        address = _ADDRESS.fullmatch(text)
        if address:
            return Paper(code=address[1].replace("/", ""), stamp=address[2] or "")
    return Paper()


def texts_of_codes(picture: "Image") -> list[str]:
    """Return the text in each code that can be read in a picture."""
    return [barcode.text for barcode in zxingcpp.read_barcodes(picture)]


def library(name: str) -> Any:
    """Return a library that is not installed with every program of ours.

    Raises:
        SettingError: it is missing.
    """
    import importlib

    try:
        return importlib.import_module(name)
    except ImportError as error:
        raise SettingError(f"This needs the package '{name}': install companion[recheck].") from error
