"""A document typeset for large print: a tagged PDF (PDF/UA-1), the same bytes for the same document and date.

The document goes to Typst as JSON: the style sheet ``templates/print.typ`` has a function for each kind of block. What
a person typed or translated is data there and never source.
"""

import datetime as dt
import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields
from functools import cache
from typing import TYPE_CHECKING, Any, Literal

from companion import fonts, resources
from companion.errors import PrintError, SettingError
from companion.guide.document import (
    BLOCKS,
    Code,
    Column,
    Document,
    Drawing,
    GridColumn,
    Link,
    Row,
    Screen,
    Section,
    texts_of,
)
from companion.language.said import NEW_LINE, Run, Said, plain
from companion.render.outlines import with_outlines
from companion.render.qr import qr_drawing
from companion.render.row_heads import with_row_heads

if TYPE_CHECKING:
    import typst


def pdf(document: Document, made_on: dt.date) -> bytes:
    """Typeset a document.

    Args:
        document: what is printed.
        made_on: the date of the guide, which becomes the date of the file.

    Raises:
        SettingError: a font package is missing.
        PrintError: the typesetter refuses it.
    """
    stamp = int(dt.datetime(made_on.year, made_on.month, made_on.day, tzinfo=dt.UTC).timestamp())
    printed = _typeset(document, format="pdf", pdf_standards=["ua-1"], timestamp=stamp)
    assert isinstance(printed, bytes)
    # The rows of a log are empty: nothing heads them.
    return printed if document.sheet == "log" else with_row_heads(printed)


def pictures(document: Document, most: int) -> list[bytes]:
    """Return the first pages of a document as they will print, as PNG, small enough to be looked at beside a form.

    Raises:
        SettingError: a font package is missing.
        PrintError: the typesetter refuses it.
    """
    printed = _typeset(document, format="png", ppi=72)
    pages = printed if isinstance(printed, list) else [printed]
    return [page for page in pages[:most] if page is not None]


def _typeset(document: Document, **how: Any) -> Any:
    with _told_by_section(document):
        # The compiler takes files by name, as its documentation says; its types forget it.
        return _compiler().compile(_files(document), **how)


@contextmanager
def _told_by_section(document: Document) -> Iterator[None]:
    """Say of a fault of the typesetter in which part of the document it is."""
    try:
        yield
    except BaseException as error:
        # What it refuses is a RuntimeError. A fault of its own is no Exception, and would end the server's answer or a
        # whole caseload.
        if not isinstance(error, RuntimeError) and type(error).__name__ != "PanicException":
            raise
        raise PrintError(_section_of(document, str(error)), str(error)) from error


@dataclass(frozen=True)
class Mark:
    """Where a section begins or ends on paper."""

    name: str
    edge: Literal["begin", "end"]
    page: int
    y: float
    """From the upper edge of the page [pt]."""
    limit: float
    """Where the foot of that page begins [pt]."""


def marks(document: Document) -> list[Mark]:
    """Return where the sections of a document stand that says how many pages are begun before each.

    Raises:
        SettingError: a font package is missing.
        PrintError: the typesetter refuses it.
    """
    import typst

    with _told_by_section(document):
        found = typst.query(  # type: ignore[type-var]  # as of compile
            _files(document),
            "<mark>",
            field="value",
            root=resources.folder("templates"),
            font_paths=_fonts(),
        )
    # Only a compilation makes the typesetter forget what it has not used for ten of them. A layout keeps 65 MB, and six
    # languages are laid out a hundred times: more than the desk may have.
    _compiler().compile({"main.typ": b""}, format="pdf")  # type: ignore[type-var]  # as of compile
    return [Mark(*mark) for mark in json.loads(found)]


@cache
def _fonts() -> "typst.Fonts":
    """Return the fonts of this process, loaded once.

    Raises:
        SettingError: a font package is not installed.
    """
    import typst

    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=fonts.folders())


@cache
def _compiler() -> "typst.Compiler":
    """Return the one compiler of this process."""
    import typst

    return typst.Compiler(root=resources.folder("templates"), font_paths=_fonts())


def _section_of(document: Document, message: str) -> str:
    """Return the heading of the section with the text that a message of the typesetter quotes."""
    quoted = re.search(r'text `"(.+?)"`', message)
    text = re.sub(r"\\u\{([0-9a-f]+)\}", lambda sign: chr(int(sign[1], 16)), quoted[1]) if quoted else message
    for section in document.blocks:
        if isinstance(section, Section) and any(text in plain(said) for said in texts_of(section)):
            return plain(next(texts_of(section)))
    return "the first page"


def _files(document: Document) -> dict[str, bytes]:
    """Return a document as files in memory: each named section and each drawing beside what holds it.

    Typst keeps what it has made of a file and takes it again where the file is the same; names say the place, so that
    there are few of them and what stands around a file does not change with it. (An input of the compiler,
    ``sys.inputs``, would be part of everything.)
    """
    writer = _Writer()
    shown = writer.value(document)
    # The style sheet is included, so that it is parsed once and not for each document.
    return {"main.typ": b'#include "print.typ"', "document.json": _packed(shown), **writer.files}


class _Writer:
    """Turns a document into plain values, and puts what goes into files of its own beside them."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}

    def value(self, value: Any) -> Any:
        if value is None or isinstance(value, str | int | float):
            return value
        if isinstance(value, Screen):
            return None
        if isinstance(value, Said):
            return [
                {"lang": speech.tag, "dir": speech.direction, "runs": [_run(run) for run in speech.runs]}
                for speech in value.speeches
            ]
        if isinstance(value, Drawing):
            file = f"{value.name}.svg"
            self.files[file] = with_outlines(value.svg, _svg_of).encode()
            return {
                "kind": "drawing",
                "file": file,
                "alt": str(value.alt),
                "width": value.width,
                "caption": self.value(value.caption),
                "height": value.height,
            }
        if isinstance(value, Code):
            drawing = qr_drawing(value.content, value.label)
            return {"kind": "code", "picture": self.value(drawing), "address": self.value(value.address)}
        if isinstance(value, Section) and value.name is not None:
            file = f"{value.name}.json"
            self.files[file] = _packed(self._fields(value))
            return {"kind": "file", "file": file}
        if isinstance(value, tuple):
            return [self.value(part) for part in value]
        if isinstance(value, (Document, Column, Row, Link, GridColumn, *BLOCKS)):
            return self._fields(value)
        raise SettingError(f"companion/render/pdf.py does not know '{type(value).__name__}' as a part of a document.")

    def _fields(self, value: Any) -> dict[str, Any]:
        parts = {item.name: self.value(getattr(value, item.name)) for item in fields(value)}
        return {"kind": type(value).__name__.lower(), **parts} if isinstance(value, BLOCKS) else parts


@cache
def _svg_of(source: str) -> str:
    made = _compiler().compile({"main.typ": source.encode()}, format="svg")  # type: ignore[type-var]
    assert isinstance(made, bytes)
    return made.decode()


def _run(run: Run) -> Any:
    """Return some words: a text where they are plain, and how they look where they are not."""
    if run is NEW_LINE:
        return {"words": "", "line": True}
    if not (run.bold or run.keep or run.direction):
        return run.words
    return {"words": run.words, "bold": run.bold, "keep": run.keep, "dir": run.direction}


def _packed(value: Any) -> bytes:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode()
