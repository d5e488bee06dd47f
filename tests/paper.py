"""What stands where on a page of a PDF, read by PDFium: in C, because pdfplumber takes half a minute for one guide."""

import ctypes
from dataclasses import dataclass

import pypdfium2
from pypdfium2 import raw


@dataclass(frozen=True, slots=True)
class Letter:
    """One sign on paper, in points from the left and from the top."""

    text: str
    size: float
    left: float
    right: float
    top: float
    bottom: float


@dataclass(frozen=True)
class Leaf:
    """One page."""

    width: float
    height: float
    letters: tuple[Letter, ...]
    text: str
    """What a reader gets who copies it."""


def leaves(data: bytes) -> tuple[Leaf, ...]:
    """Return the pages of a PDF with every sign that is seen."""
    return tuple(_leaf(page) for page in pypdfium2.PdfDocument(data))


def _leaf(page: pypdfium2.PdfPage) -> Leaf:
    text = page.get_textpage()
    height = page.get_height()
    box = raw.FS_RECTF()
    letters = []
    for place in range(text.count_chars()):
        sign = chr(raw.FPDFText_GetUnicode(text, place))
        if sign.isspace() or raw.FPDFText_IsGenerated(text, place) == 1:
            continue
        raw.FPDFText_GetLooseCharBox(text, place, ctypes.byref(box))
        size = round(raw.FPDFText_GetFontSize(text, place), 1)
        letters.append(Letter(sign, size, box.left, box.right, height - box.top, height - box.bottom))
    return Leaf(page.get_width(), height, tuple(letters), text.get_text_range())
