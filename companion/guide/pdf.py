"""The same page typeset for large print: XHTML in, tagged PDF (PDF/UA-1) out."""

import datetime as dt
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from companion import resources
from companion.errors import SettingError

if TYPE_CHECKING:
    import typst


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
    for package in ("manimgx_fonts", "manimgx_fonts_cjk"):
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
    made = _compiler().compile(format="pdf", sys_inputs={"page": page}, pdf_standards=["ua-1"], timestamp=stamp)
    assert isinstance(made, bytes)
    return made
