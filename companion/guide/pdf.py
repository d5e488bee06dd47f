"""The same page typeset for large print: XHTML in, tagged PDF (PDF/UA-1) out."""

import datetime as dt
import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from companion import resources
from companion.errors import SettingError

if TYPE_CHECKING:
    import typst


_FONT_PACKAGES = ("manimgx_fonts", "manimgx_fonts_cjk", "fontpkg_ibm_plex_sans_arabic")
"""Noto Sans for every script. Its Arabic builds letters from strokes and dots, which come out of a PDF as noise, so
Arabic has a face whose letters are whole."""


@cache
def _compiler() -> "typst.Compiler":
    """Return the one compiler of this process, with its fonts loaded once.

    Raises:
        SettingError: a font package is not installed.
    """
    import typst

    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=_font_folders())
    return typst.Compiler(str(resources.folder("templates") / "print.typ"), font_paths=fonts)


def _font_folders() -> list[Path]:
    from importlib.util import find_spec

    found = []
    for package in _FONT_PACKAGES:
        spec = find_spec(package)
        if spec is None or spec.origin is None:
            raise SettingError(
                f"The font package '{package.replace('_', '-')}' is missing, so no PDF can be made. "
                "Install the program again with its dependencies."
            )
        found.append(Path(spec.origin).parent)
    return found


def pdf(page: str, made_on: dt.date) -> bytes:
    """Typeset a page. The same page and date give the same bytes.

    Args:
        page: well-formed XHTML from ``companion.guide.page``.
        made_on: the date of the guide, which becomes the date of the file.
    """
    stamp = int(dt.datetime(made_on.year, made_on.month, made_on.day, tzinfo=dt.UTC).timestamp())
    inputs = _with_drawings_beside(page)
    made = _compiler().compile(format="pdf", sys_inputs=inputs, pdf_standards=["ua-1"], timestamp=stamp)
    assert isinstance(made, bytes)
    return made


_DRAWING = re.compile(r"(<svg [^>]*>).*?</svg>", re.DOTALL)


def _with_drawings_beside(page: str) -> dict[str, str]:
    """Return the page with a number in the place of each drawing, and the drawings by their numbers.

    Typst hashes whatever its functions are called with. With the drawings inside the page, that was half of the
    time of a PDF.
    """
    numbers: dict[str, str] = {}

    def numbered(found: re.Match[str]) -> str:
        number = numbers.setdefault(found[0], f"drawing-{len(numbers)}")
        return f'{found[1][:-1]} data-drawing="{number}"/>'

    shorter = _DRAWING.sub(numbered, page)
    return {"page": shorter, **{number: svg for svg, number in numbers.items()}}
