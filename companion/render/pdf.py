"""The same page typeset for large print: XHTML in, tagged PDF (PDF/UA-1) out."""

import datetime as dt
import re
import zlib
from functools import cache
from typing import TYPE_CHECKING

from markupsafe import Markup

from companion import fonts, resources
from companion.errors import PrintError

if TYPE_CHECKING:
    import typst


@cache
def _compiler() -> "typst.Compiler":
    """Return the one compiler of this process, with its fonts loaded once.

    Raises:
        SettingError: a font package is not installed.
    """
    import typst

    loaded = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=fonts.folders())
    return typst.Compiler(root=resources.folder("templates"), font_paths=loaded)


def pdf(page: str, made_on: dt.date) -> bytes:
    """Typeset a page. The same page and date give the same bytes.

    Args:
        page: well-formed XHTML from ``companion.guide.page``.
        made_on: the date of the guide, which becomes the date of the file.

    Raises:
        PrintError: the typesetter refuses it.
    """
    from typst import TypstError

    stamp = int(dt.datetime(made_on.year, made_on.month, made_on.day, tzinfo=dt.UTC).timestamp())
    try:
        # The compiler takes files by name, as its documentation says; its types forget it.
        made = _compiler().compile(_files(page), format="pdf", pdf_standards=["ua-1"], timestamp=stamp)  # type: ignore[type-var]
    except TypstError as error:
        raise PrintError(_section_of(page, error.message), error.message) from error
    assert isinstance(made, bytes)
    return made


def _section_of(page: str, message: str) -> str:
    """Return the heading of the section with the text that a message of the typesetter quotes."""
    quoted = re.search(r'text `"(.+?)"`', message)
    text = re.sub(r"\\u\{([0-9a-f]+)\}", lambda sign: chr(int(sign[1], 16)), quoted[1]) if quoted else message
    for section in re.findall(r"<section\b.*?</section>", page, re.DOTALL):
        if text in Markup(section).striptags():
            return Markup(re.split(r"</h[1-6]>", section)[0]).striptags()
    return "the first page"


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
