"""The sections of the guide: Markdown files, each read once into parts that know no language and no case.

A block of text (heading, paragraph, item of a list) is one message for the translator. Between them stand lines of
two kinds, which are data and no program:

    ::: if portable          what follows, up to ``:::``, is said where the case has it; ``::: else`` begins the rest
    ::: box warning          what follows, up to ``:::``, stands in a box
    ::: step 1               what follows, up to ``:::``, is a step with its drawing
    ::: beside car           what follows, up to ``:::``, has a drawing at its side
    ::: columns              what follows, up to ``:::``, stands in columns, cut at each ``@next``
    @table flows             a table, lines to write on, links to other headings …

``<!-- about: … -->`` and ``<!-- note: … -->`` speak to the translator: of the file, and of the next block.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Literal
from xml.etree.ElementTree import Element

import markdown

from companion import resources
from companion.errors import SettingError

_COMMENT = re.compile(r"<!--\s*(about|note):\s*(.*?)\s*-->")
_FENCE = re.compile(r":::\s*(.*)")
_CALL = re.compile(r"@([a-z-]+)((?: [^ ]+)*)")
_ANCHOR = re.compile(r"(.*) \{#([a-z-]+)\}")


@dataclass(frozen=True)
class Message:
    """One block of text."""

    kind: Literal["heading", "paragraph"]
    text: str
    level: int = 0
    """Of a heading: 2 or 3."""
    anchor: str | None = None
    """Of a heading: the name by which other pages lead here."""


@dataclass(frozen=True)
class Listing:
    """A list of messages."""

    items: tuple[str, ...]
    numbered: bool
    start: int = 1
    """The number of the first item."""


@dataclass(frozen=True)
class Call:
    """A line that asks for something that is made for each case: a table, a drawing, links."""

    name: str
    words: tuple[str, ...]
    where: str
    """File and line."""


@dataclass(frozen=True)
class Group:
    """Parts within a fence: a box, a step."""

    name: str
    words: tuple[str, ...]
    parts: tuple["Part", ...]
    where: str


@dataclass(frozen=True)
class When:
    """Parts that are said where a case has something, and others where it has not."""

    condition: str
    then: tuple["Part", ...]
    otherwise: tuple["Part", ...]
    where: str


Part = Message | Listing | Call | Group | When


@dataclass(frozen=True)
class Note:
    """Where a message stands, and what the translator should know."""

    text: str
    file: str
    line: int
    comment: str


@cache
def section(name: str) -> tuple[Part, ...]:
    """Return the parts of one section.

    Raises:
        SettingError: a fence is not closed, or a line is none that is known.
    """
    lines = _Lines(name)
    parts = tuple(_parts(lines))
    if lines.left:
        raise SettingError(f"{lines.where()}: ':::' closes nothing.")
    return parts


def title(name: str) -> str:
    """Return the heading of a section, as a message, for the table of contents."""
    return next(part.text for part in section(name) if isinstance(part, Message))


def notes(name: str) -> Iterator[Note]:
    """Yield each message of a section with where it stands and what the translator should know."""
    about = note = ""
    texts = set(_texts(section(name)))
    for number, line in enumerate(_source(name).splitlines(), start=1):
        comment = _COMMENT.fullmatch(line.strip())
        if comment:
            about, note = (comment[2], note) if comment[1] == "about" else (about, comment[2])
            continue
        text = _ANCHOR.sub(r"\1", re.sub(r"^(#+|-|\d+\.)\s+", "", line.strip()))
        if text in texts:
            yield Note(text, f"templates/sections/{name}.md", number, f"{about} {note}".strip())
            note = ""


def _texts(parts: tuple[Part, ...]) -> Iterator[str]:
    for part in parts:
        match part:
            case Message():
                yield part.text
            case Listing():
                yield from part.items
            case Group():
                yield from _texts(part.parts)
            case When():
                yield from _texts(part.then + part.otherwise)


@cache
def headings() -> set[str]:
    """Return the names of all headings to which lines can lead: the section's, or their own."""
    names = [path.stem for path in (resources.folder("templates") / "sections").glob("*.md")]
    parts = [part for name in names for part in _messages(section(name))]
    return {*names, *(part.anchor for part in parts if part.anchor)}


def _messages(parts: tuple[Part, ...]) -> Iterator[Message]:
    for part in parts:
        match part:
            case Message():
                yield part
            case Group():
                yield from _messages(part.parts)
            case When():
                yield from _messages(part.then + part.otherwise)


def calls(parts: tuple[Part, ...]) -> Iterator[Call | Group | When]:
    """Yield every part that names something, so that a test can hold the names against what there is."""
    for part in parts:
        if isinstance(part, Call | Group | When):
            yield part
        if isinstance(part, Group):
            yield from calls(part.parts)
        if isinstance(part, When):
            yield from calls(part.then + part.otherwise)


@cache
def _source(name: str) -> str:
    return resources.read("templates", f"sections/{name}.md")


class _Lines:
    """The lines of a file that are not comments, with the place that is read."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.lines = [
            (number, line.strip())
            for number, line in enumerate(_source(name).splitlines(), start=1)
            if not _COMMENT.fullmatch(line.strip())
        ]
        self.place = 0

    @property
    def left(self) -> bool:
        return self.place < len(self.lines)

    @property
    def line(self) -> str:
        return self.lines[self.place][1]

    def where(self) -> str:
        number = self.lines[self.place if self.left else -1][0]
        return f"templates/sections/{self.name}.md, line {number}"


def _parts(lines: _Lines) -> Iterator[Part]:
    """Yield parts up to the end of the file or the ``:::`` that closes them, which is left to the caller."""
    text: list[str] = []
    while lines.left:
        fence, call = _FENCE.fullmatch(lines.line), _CALL.fullmatch(lines.line)
        if fence is None and call is None:
            text.append(lines.line)
            lines.place += 1
            continue
        yield from _prose(text)
        text = []
        if call is not None:
            yield Call(call[1], tuple(call[2].split()), lines.where())
            lines.place += 1
        elif fence is None or fence[1] in ("", "else"):
            return
        else:
            yield _fenced(fence[1].split(), lines)
    yield from _prose(text)


def _fenced(words: list[str], lines: _Lines) -> Part:
    where = lines.where()
    lines.place += 1
    inside = tuple(_parts(lines))
    otherwise: tuple[Part, ...] = ()
    if lines.left and lines.line == "::: else" and words[0] == "if":
        lines.place += 1
        otherwise = tuple(_parts(lines))
    if not lines.left or lines.line != ":::":
        raise SettingError(f"{where}: '::: {' '.join(words)}' is not closed by ':::'.")
    lines.place += 1
    if words[0] == "if":
        return When(words[1].replace("-", "_"), inside, otherwise, where)
    return Group(words[0], tuple(words[1:]), inside, where)


def _prose(lines: list[str]) -> Iterator[Part]:
    """Yield the blocks of a piece of Markdown."""
    root = Element("div")
    _markdown().parser.parseChunk(root, "\n".join(lines))
    for element in root:
        if element.tag in ("ul", "ol"):
            start = int(element.get("start", "1"))
            yield Listing(tuple(_words(item) for item in element), element.tag == "ol", start)
        elif element.tag == "p":
            yield Message("paragraph", _words(element))
        else:
            text = _words(element)
            anchor = _ANCHOR.fullmatch(text)
            text, name = (anchor[1], anchor[2]) if anchor else (text, None)
            yield Message("heading", text, int(element.tag[1]), name)


def _words(element: Element) -> str:
    """Return the text of a block; an item that stands alone holds a paragraph."""
    # A space that does not break stays one.
    return re.sub("[ \n]+", " ", element.text or "".join(part.text or "" for part in element)).strip(" \n")


@cache
def _markdown() -> markdown.Markdown:
    reader = markdown.Markdown()
    reader.parser.blockprocessors["olist"].LAZY_OL = False  # type: ignore[attr-defined]
    return reader
