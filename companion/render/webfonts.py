"""The signs of a script for a page: a phone without a font for it would show empty boxes.

They are made once a language: every sign of its script, so that a name needs no more. Latin is on every device, and so
are the signs of Chinese, Japanese and Korean on a device of their readers; one weight of those in use alone would be
larger than a guide.
"""

import base64
import io
import logging
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache

from companion import fonts

ON_EVERY_DEVICE = ("Noto Sans", "Noto Sans CJK SC", "Noto Sans CJK TC", "Noto Sans CJK JP", "Noto Sans CJK KR")

_FIRST_BEYOND_LATIN = 0x0300
_FIRST_OF_OLD_FORMS = 0xFB00
"""Forms of letters that fonts choose by themselves have signs of their own from here, for old files."""


@dataclass(frozen=True)
class Face:
    """One file of a family."""

    family: str
    weight: str
    """In the words of CSS: "400", or "400 700" of a file that has all between."""
    woff2: str
    """In base64."""


def faces(families: Iterable[str]) -> Iterator[Face]:
    """Yield the files that a page in these families carries."""
    for family in families:
        if family not in ON_EVERY_DEVICE:
            yield from _faces_of(family)


@cache
def _faces_of(family: str) -> tuple[Face, ...]:
    return tuple(
        Face(family, weight, base64.b64encode(_script_of(str(path))).decode())
        for weight, path in fonts.weights_of(family).items()
    )


def _script_of(path: str) -> bytes:
    """Return a font as WOFF2 with the signs of its script alone."""
    from fontTools import subset, unicodedata

    logging.getLogger("fontTools.subset").setLevel(logging.ERROR)  # it names each table that it leaves out
    options = subset.Options(flavor="woff2", hinting=False)
    with subset.load_font(path, options) as font:
        signs = [
            sign
            for sign in font.getBestCmap()
            if _FIRST_BEYOND_LATIN <= sign < _FIRST_OF_OLD_FORMS and unicodedata.script(chr(sign)) != "Latn"
        ]
        subsetter = subset.Subsetter(options)
        subsetter.populate(unicodes=signs)
        subsetter.subset(font)
        written = io.BytesIO()
        subset.save_font(font, written, options)
    return written.getvalue()
