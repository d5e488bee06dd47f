"""A finished PDF is read with PDFium alone, page by page.

A page gives only those parts of the tree of tags that it shows, but each keeps its place among all children of its
parent; so a part that runs over two pages is known by its place in the tree.
"""

import ctypes
import math
import unicodedata
from collections.abc import Iterator
from typing import Any

from companion.editing.printed import Area, Ink, Page, Part, Printed
from companion.errors import CompanionError
from companion.language.locale import Locale
from companion.recheck.paper import DOTS_PER_INCH, carried_unseen, library, texts_of_codes

_LONGEST_RUN = 2000
"""Letters that are read of one run; a line has fewer than 200."""
_CODE_STROKES = 400
"""The smallest QR code is a line of more strokes than any in a drawing of ours."""


class AuditError(CompanionError):
    """A file that is no finished sheet."""


def read_printed(data: bytes) -> Printed:
    """Read a finished PDF.

    Raises:
        AuditError: it is no PDF, or has no tags.
    """
    pdfium = library("pypdfium2")
    try:
        document = pdfium.PdfDocument(data)
    except pdfium.PdfiumError as error:
        raise AuditError("this is no PDF that can be read.") from error
    with document:
        reader = _Reader(pdfium.raw, document)
        pages = [reader.page(number, page) for number, page in enumerate(document, start=1)]
        codes = {
            figure: _texts_of_codes(document[page.number - 1], area)
            for page in pages
            for figure, area in page.drawings
            if any(ink.strokes > _CODE_STROKES for ink in figure.all_inks)
        }
        carried = carried_unseen(document)
    if not reader.root.all_inks:
        raise AuditError("this PDF has no tags: it was not made by this program, or was printed anew by another.")
    return Printed(pages, reader.root, codes, carried)


def _texts_of_codes(page: Any, area: Area) -> list[str]:
    width, height = page.get_size()
    # As it is photographed: with what stands close by.
    near = Area(area.left - 20, area.top - 20, area.right + 20, area.bottom + 20)
    cut = (max(0, near.left), max(0, height - near.bottom), max(0, width - near.right), max(0, near.top))
    return texts_of_codes(page.render(scale=DOTS_PER_INCH / 72, crop=cut).to_pil())


class _Reader:
    """Reads page after page into one tree of parts."""

    def __init__(self, raw: Any, document: Any) -> None:
        self._raw = raw
        self._known: dict[tuple[int, ...], Part] = {}
        self._letters = (ctypes.c_ushort * _LONGEST_RUN)()
        self._number = ctypes.c_float()
        self._edges = [ctypes.c_float() for _ in range(4)]
        self._matrix = raw.FS_MATRIX()
        lang = self._told(raw.FPDFCatalog_GetLanguage, document.raw) or "en"
        self.root = Part("Document", lang, "", (), None)
        self._leftwards = Locale(lang, "").direction == "rtl"

    def page(self, number: int, page: Any) -> Page:
        width, height = page.get_size()
        owners = self._owners(page)
        texts = page.get_textpage()
        raw = self._raw
        inks: list[Ink] = []
        for place in range(raw.FPDFPage_CountObjects(page.raw)):
            thing = raw.FPDFPage_GetObject(page.raw, place)
            owner = owners.get(raw.FPDFPageObj_GetMarkedContentID(thing))
            inks += self._inks(number, height, thing, owner, texts)
        for ink in inks:
            if ink.part:
                ink.part.inks.append(ink)
        return Page(number, width, height, inks)

    def _inks(self, number: int, height: float, thing: Any, owner: Part | None, texts: Any) -> Iterator[Ink]:
        raw = self._raw
        if not raw.FPDFPageObj_GetBounds(thing, *self._edges):
            return
        left, bottom, right, top = (edge.value for edge in self._edges)
        area = Area(left, height - top, right, height - bottom)
        if owner and owner.inside("Figure") and raw.FPDFPageObj_GetType(thing) == raw.FPDF_PAGEOBJ_PATH:
            area = self._drawn(height, thing)
        if raw.FPDFPageObj_GetType(thing) != raw.FPDF_PAGEOBJ_TEXT:
            yield Ink(number, area, owner, strokes=max(0, raw.FPDFPath_CountSegments(thing)))
            return
        raw.FPDFTextObj_GetFontSize(thing, self._number)
        raw.FPDFPageObj_GetMatrix(thing, self._matrix)
        size = self._number.value * math.hypot(self._matrix.c, self._matrix.d)
        length = raw.FPDFTextObj_GetText(thing, texts.raw, self._letters, 2 * _LONGEST_RUN)
        yield Ink(number, area, owner, self._in_order(self._read(length)), size)

    def _drawn(self, height: float, path: Any) -> Area:
        """Return what a path of a drawing covers; for PDFium alone each corner of a stroke has a long point."""
        raw = self._raw
        fill, stroke = ctypes.c_int(), ctypes.c_int()
        raw.FPDFPath_GetDrawMode(path, fill, stroke)
        raw.FPDFPath_SetDrawMode(path, fill.value, 0)
        raw.FPDFPageObj_Transform(path, 1, 0, 0, 1, 0, 0)  # it measures anew
        raw.FPDFPageObj_GetBounds(path, *self._edges)
        raw.FPDFPath_SetDrawMode(path, fill.value, stroke.value)
        left, bottom, right, top = (edge.value for edge in self._edges)
        raw.FPDFPageObj_GetStrokeWidth(path, self._number)
        raw.FPDFPageObj_GetMatrix(path, self._matrix)
        pen = stroke.value * self._number.value / 2 * math.hypot(self._matrix.c, self._matrix.d)
        return Area(left - pen, height - top - pen, right + pen, height - bottom + pen)

    def _in_order(self, text: str) -> str:
        """Return a run as it is read: in a file from right to left, PDFium turns round the words of other scripts."""
        if not self._leftwards or any(unicodedata.bidirectional(sign) in ("R", "AL") for sign in text):
            return text
        return " ".join(reversed(text.split(" ")))

    def _owners(self, page: Any) -> dict[int, Part]:
        """Return the part to which each marked content of a page belongs."""
        raw = self._raw
        owners: dict[int, Part] = {}
        tree = raw.FPDF_StructTree_GetForPage(page.raw)
        for place in range(raw.FPDF_StructTree_CountChildren(tree)):
            child = raw.FPDF_StructTree_GetChildAtIndex(tree, place)
            if child:
                self._part(child, (place,), self.root, owners)
        raw.FPDF_StructTree_Close(tree)
        return owners

    def _part(self, element: Any, place: tuple[int, ...], parent: Part, owners: dict[int, Part]) -> None:
        raw = self._raw
        part = self._known.get(place)
        if part is None:
            lang = self._told(raw.FPDF_StructElement_GetLang, element) or parent.lang
            alt = self._told(raw.FPDF_StructElement_GetAltText, element)
            kind = self._told(raw.FPDF_StructElement_GetType, element)
            part = self._known[place] = Part(kind, lang, alt, place, parent)
            parent.children.append(part)
        for below in range(raw.FPDF_StructElement_CountChildren(element)):
            child = raw.FPDF_StructElement_GetChildAtIndex(element, below)
            if child:
                self._part(child, (*place, below), part, owners)
            else:
                owner = raw.FPDF_StructElement_GetChildMarkedContentID(element, below)
                if owner >= 0:
                    owners[owner] = part

    def _told(self, ask: Any, element: Any) -> str:
        return self._read(ask(element, self._letters, 2 * _LONGEST_RUN))

    def _read(self, length: int) -> str:
        """Return what was written into the buffer: so many bytes of UTF-16, with a zero at the end."""
        return ctypes.string_at(self._letters, max(0, min(length, 2 * _LONGEST_RUN) - 2)).decode("utf-16-le", "replace")
