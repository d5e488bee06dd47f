"""The same page typeset for large print: XHTML in, tagged PDF (PDF/UA-1) out."""

import datetime as dt
import re
import zlib
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
    return typst.Compiler(root=resources.folder("templates"), font_paths=fonts)


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
    # The compiler takes files by name, as its documentation says; its types forget it.
    made = _compiler().compile(_files(page), format="pdf", pdf_standards=["ua-1"], timestamp=stamp)  # type: ignore[type-var]
    assert isinstance(made, bytes)
    return made


_PARTS = [
    (re.compile(rf"<{tag}\b([^>]*)>.*?</{tag}>", re.DOTALL), f'<{tag}{{}} data-file="{{}}"/>')
    for tag in ("svg", "table", "section")
]
"""What goes into files of its own, and what is left in its place. None of them holds another of its kind."""

_NAMES = 10_000
"""Typst has room for 65,535 names of files, and forgets none while the process lives."""


def _files(page: str) -> dict[str, bytes]:
    """Return the page as files in memory: its sections, their tables and drawings each beside what holds them.

    Typst keeps what it has made of a file, and takes it again in the next guide where the file is the same. (An input
    of the compiler, ``sys.inputs``, would be part of everything.) A file is named by its content, so that what
    stands around it is mostly the same when it is.
    """
    files: dict[str, bytes] = {}
    for part, left in _PARTS:

        def beside(found: re.Match[str], left: str = left) -> str:
            content = found[0].encode()
            number = zlib.crc32(content) % _NAMES
            while files.setdefault(str(number), content) != content:
                number = (number + 1) % _NAMES
            return left.format(found[1], number)

        page = part.sub(beside, page)
    # The style sheet is included, so that it is parsed once and not for each page.
    return {"main.typ": b'#include "print.typ"', "page.xml": page.encode(), **files}
