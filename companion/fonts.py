"""Which fonts there are, and whether they have every sign of a text. Nothing is read for plain ASCII.

A sign that no font has cannot be printed at all, so a case that holds one is refused when it is entered.
"""

import unicodedata
from collections.abc import Iterator
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from companion.errors import SettingError

_PACKAGES = ("manimgx_fonts", "fontpkg_ibm_plex_sans_arabic", "manimgx_fonts_cjk")
"""Noto Sans for every script. Its Arabic builds letters from strokes and dots, which come out of a PDF as noise, so
Arabic has a face whose letters are whole."""

_NO_NAMES = [""] * (1 << 16)
_JOINERS = "\u200c\u200d"


def folders() -> list[Path]:
    """Return the folder of each font package.

    Raises:
        SettingError: a font package is not installed.
    """
    found = []
    for package in _PACKAGES:
        spec = find_spec(package)
        if spec is None or spec.origin is None:
            raise SettingError(
                f"The font package '{package.replace('_', '-')}' is missing, so no PDF can be made. "
                "Install the program again with its dependencies."
            )
        found.append(Path(spec.origin).parent)
    return found


def weights_of(family: str) -> dict[str, Path]:
    """Return the files of a family by their weights: one that has all of them, or a regular and a bold one."""
    name = family.replace(" ", "")
    held = {path.stem: path for path in _files()}
    if f"{name}[wght]" in held:
        return {"400 700": held[f"{name}[wght]"]}
    return {"400": held[f"{name}-Regular"], "700": held[f"{name}-Bold"]}


def without_a_font(text: str) -> str:
    """Return the first sign of a text, with the marks upon it, that cannot be printed; nothing where all can.

    Raises:
        SettingError: a font package is not installed.
    """
    if text.isascii():
        return ""
    return next((sign for sign in _with_their_marks(text) if not _in_a_font(sign)), "")


def _with_their_marks(text: str) -> Iterator[str]:
    """Yield each sign with the marks upon it and what is joined to it, roughly as Unicode Annex 29 divides a text."""
    sign = ""
    for one in text:
        upon = unicodedata.category(one).startswith("M") or one in _JOINERS or "\U0001f3fb" <= one <= "\U0001f3ff"
        if sign and not upon and sign[-1] not in _JOINERS:
            yield sign
            sign = ""
        sign += one
    yield sign


def _in_a_font(sign: str) -> bool:
    """Return whether the typesetter finds a font for a sign with its marks.

    It takes Noto Sans, or else one font that has the letter; a mark that is not in the same font it refuses. Which
    one it takes is not known here, so each that has the letter must have the marks.
    """
    needed = {ord(one) for one in sign if one not in _JOINERS}
    first, *others = _files()
    if needed <= _signs_of(first):
        return True
    having = (path for path in others if ord(sign[0]) in _signs_of(path))
    if len(needed) == 1:
        return any(having)
    found = [needed <= _signs_of(path) for path in having]
    return bool(found) and all(found)


@cache
def _files() -> tuple[Path, ...]:
    """Return every font file, Noto Sans itself first."""
    found = [path for folder in folders() for path in sorted(folder.rglob("*.?t[cf]"))]
    return tuple(sorted(found, key=lambda path: path.name != "NotoSans[wght].ttf"))


@cache
def _signs_of(path: Path) -> frozenset[int]:
    from fontTools.ttLib import TTFont

    with TTFont(path, fontNumber=0, lazy=True) as font:
        # The names of the glyphs are of no use here, and to read them takes most of the time.
        font.setGlyphOrder(_NO_NAMES)
        return frozenset(font.getBestCmap())
