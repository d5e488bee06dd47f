"""The guide, and each sheet beside it, as a tree of blocks: what is said, in its order, and what kind of thing it is.

A document holds no markup, computes nothing, and knows neither paper nor screen. The printers in ``companion.render``
give each kind of block its look; a kind that a printer does not know is an error there.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Literal

from companion.language.said import Direction, Said, plain

Sign = Literal["prohibition", "warning", "instruction", "safe"]
"""The kinds of a box, each with a sign after ISO 3864-1: do not, danger, do this, this is normal."""

Sheet = Literal["guide", "short", "fridge", "wallet", "door", "log", "clinician", "table", "text"]


@dataclass(frozen=True)
class Drawing:
    """A picture with what it tells somebody who cannot see it. A drawing is an image: its SVG is data, as a PNG's."""

    name: str
    """The same for the same picture, so that a printer can know it again; a file's name."""
    svg: str
    alt: Said
    width: float
    height: float
    """Both in points on paper."""
    caption: Said | None = None
    """What stands below it; None where the words beside it say enough, as beside a gauge in a table."""


@dataclass(frozen=True)
class Heading:
    """The title of what follows."""

    level: Literal[1, 2, 3]
    text: Said
    anchors: tuple[str, ...] = ()
    """The names by which other blocks point here."""


@dataclass(frozen=True)
class Paragraph:
    """A sentence or a few."""

    text: Said
    manner: Literal["plain", "large", "bold", "for"] = "plain"
    """``for``: the line that says whose guide this is."""


@dataclass(frozen=True)
class Items:
    """A list; numbered where the order matters."""

    items: tuple[Said, ...]
    numbered: bool = False
    start: int = 1
    """The number of the first item: steps go on below a drawing."""


@dataclass(frozen=True)
class Box:
    """What must not be passed over: a sign, which has its word as its alternative, and blocks."""

    sign: Sign
    picture: Drawing
    blocks: tuple["Block", ...]


@dataclass(frozen=True)
class Beside:
    """Blocks with the drawing that belongs to them at their side."""

    blocks: tuple["Block", ...]
    picture: Drawing


@dataclass(frozen=True)
class Step:
    """One step of many, with its own drawing where the equipment has one."""

    number: int
    blocks: tuple["Block", ...]
    picture: Drawing | None


@dataclass(frozen=True)
class Column:
    """The head of a column of answers."""

    head: Said
    below: Said | None = None
    """The flow or setting, under the head."""
    kind: Literal["figure", "words"] = "figure"
    """``words``: what to do, in sentences."""

    def label(self, language: int = 0) -> str:
        """Return what stands beside an answer where the heads cannot be seen: on a phone, or read aloud."""
        return ", ".join(plain(head, language) for head in (self.head, self.below) if head is not None)


@dataclass(frozen=True)
class Row:
    """One row of answers."""

    head: Said
    cells: tuple[Said, ...]
    gauge: Drawing | None = None
    """The gauge that shows the head."""


@dataclass(frozen=True)
class Answers:
    """A computed table: for each reading or day, the answers under their heads."""

    caption: Said | None
    """None where the heading above says it."""
    corner: Said
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Phones:
    """Whom to call, and the number."""

    caption: Said
    rows: tuple[tuple[Said, Said], ...]


@dataclass(frozen=True)
class Pairs:
    """Words, and at the end of the line their figure."""

    rows: tuple[tuple[Said, Said | None], ...]
    """None leaves a line to write on."""


@dataclass(frozen=True)
class Parts:
    """A drawing with numbers, and the names of the numbered parts."""

    picture: Drawing
    names: tuple[Said, ...]


@dataclass(frozen=True)
class Link:
    """A line that leads to a heading."""

    anchor: str
    words: Said


@dataclass(frozen=True)
class See:
    """Lines that lead to other pages of the same document."""

    links: tuple[Link, ...]


@dataclass(frozen=True)
class Lines:
    """Empty lines to write on."""

    count: int = 2
    fill: bool = False
    """Whether they go on to the end of the paper: the pages of a folded sheet are a multiple of four."""


@dataclass(frozen=True)
class Code:
    """A code for the camera of a phone, what it is, and the address behind it in words."""

    content: str
    label: Said
    address: Said | None


@dataclass(frozen=True)
class Columns:
    """Groups of blocks side by side."""

    columns: tuple[tuple["Block", ...], ...]


@dataclass(frozen=True)
class Card:
    """A card to cut out and fold into four faces, as a booklet."""

    cover: tuple["Block", ...]
    inside: tuple[tuple["Block", ...], tuple["Block", ...]]
    back: tuple["Block", ...]

    @property
    def faces(self) -> tuple[tuple["Block", ...], ...]:
        """Return its faces as they are read."""
        return (self.cover, *self.inside, self.back)


@dataclass(frozen=True)
class Form:
    """A table to write in: its heads, and the words with which each row begins, if any."""

    caption: Said
    heads: tuple[Said, ...]
    rows: tuple[tuple[Said, ...], ...]
    """What stands in the first cells of each row; the others are empty."""
    manner: Literal["week", "record", "signatures", "show", "ask"]


@dataclass(frozen=True)
class GridColumn:
    """A column of a grid, and what stands in it."""

    head: Said
    kind: Literal["words", "figure", "note"]


@dataclass(frozen=True)
class Grid:
    """A table for professionals."""

    caption: Said | None
    """None where the heading above says it."""
    columns: tuple[GridColumn, ...]
    rows: tuple[tuple[Said, ...], ...]


@dataclass(frozen=True)
class Section:
    """Blocks that belong together."""

    blocks: tuple["Block", ...]
    name: str | None = None
    """By which other blocks point here; None where nothing does."""
    manner: Literal["living", "urgent", "page", "plain"] = "plain"
    """``living`` holds sections of which each begins a page and stays on it where it can; ``urgent`` has a mark at
    the edge of the paper; ``page`` begins a page."""


Block = (
    Heading
    | Paragraph
    | Items
    | Box
    | Beside
    | Step
    | Drawing
    | Answers
    | Phones
    | Pairs
    | Parts
    | See
    | Lines
    | Code
    | Columns
    | Card
    | Form
    | Grid
    | Section
)

BLOCKS: tuple[type, ...] = Block.__args__


@dataclass(frozen=True)
class Screen:
    """What a screen has around a document, and paper has not."""

    back: Said
    """The heading of the list to which a reader goes back."""
    read: Said
    """Begins to read a section aloud."""
    stop: Said


@dataclass(frozen=True)
class Document:
    """One sheet of paper or one page: everything that a printer must know."""

    sheet: Sheet
    title: Said
    blocks: tuple[Block, ...]
    running: tuple[Said, ...]
    """The lines at the foot of each page; ``#`` stands for the number of the page, ``##`` for the number of pages."""
    tag: str
    direction: Direction
    languages: int
    paper: Literal["us-letter", "a4"]
    fonts: tuple[str, ...]
    """The families that hold its signs, the first that has a sign is used."""
    leading: float
    """The distance of lines, in type sizes."""
    paragraph_gap: float
    """The distance of paragraphs in the guide, in type sizes."""
    letter_width: float
    """How wide a letter is on the mean, in type sizes."""
    begins: tuple[tuple[str, int], ...] | None = None
    """How many pages are begun before each section that is named, 0 where it goes on below another; None where the
    printer decides."""
    carried: tuple[tuple[str, str], ...] = ()
    """What it carries unseen, so that it can be checked again later: name and content."""
    binding: Literal["none", "one side", "both sides"] = "none"
    """Whether it is bound or punched, and how it is printed then."""
    screen: Screen | None = None
    """None where it has no list and nothing to read at length."""


def texts_of(block: object, *, pictures: bool = True) -> Iterator[Said]:
    """Yield every text below a block or document, in reading order.

    Args:
        block: any part of a document.
        pictures: whether to yield of a drawing or code what it tells somebody who cannot see it.
    """
    if isinstance(block, Said):
        yield block
    elif isinstance(block, tuple):
        for part in block:
            yield from texts_of(part, pictures=pictures)
    elif isinstance(block, Drawing):
        yield from [block.alt] if pictures else []
        yield from [block.caption] if block.caption else []
    elif isinstance(block, Code):
        yield from [block.label] if pictures else []
        yield from [block.address] if block.address else []
    elif isinstance(block, (Document, Column, Row, Link, GridColumn, *BLOCKS)):
        for item in fields(block):  # type: ignore[arg-type]
            yield from texts_of(getattr(block, item.name), pictures=pictures)
