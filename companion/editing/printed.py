"""What stands where on a finished PDF: its ink, and which part of the tagged text each piece belongs to."""

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

from companion.language.locale import Locale

POINTS_PER_MM = 72 / 25.4

INLINE = frozenset({"Span", "Link", "Reference", "Em", "Strong", "Quote", "Code", "Sub", "Sup"})
"""Parts that stand within a line of another."""
_HOLDERS = frozenset({"Document", "Part", "Art", "Sect", "Div", "Aside", "NonStruct"})
_EDGE_MARK = 10 * POINTS_PER_MM
_FOOT_FROM = 0.8
"""The foot stands in the lowest fifth of a page."""
FOOT_GAP = 4 * POINTS_PER_MM
"""What is kept free between the text and the foot [pt]."""


@dataclass(frozen=True)
class Area:
    """A rectangle on a page, in points from its upper left corner."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """Return how wide it is."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Return how high it is."""
        return self.bottom - self.top

    @property
    def middle(self) -> float:
        """Return how far down its middle is."""
        return (self.top + self.bottom) / 2

    def shared(self, other: "Area") -> tuple[float, float]:
        """Return width and height of what both cover; below 0 where they are apart."""
        return (
            min(self.right, other.right) - max(self.left, other.left),
            min(self.bottom, other.bottom) - max(self.top, other.top),
        )

    def covers(self, other: "Area", width: float, height: float) -> bool:
        """Return whether both cover more than so much."""
        shared_width, shared_height = self.shared(other)
        return shared_width > width and shared_height > height


def around(areas: "list[Area]") -> Area:
    """Return the smallest area that holds all of some."""
    return Area(
        min(area.left for area in areas),
        min(area.top for area in areas),
        max(area.right for area in areas),
        max(area.bottom for area in areas),
    )


@dataclass(eq=False)
class Part:
    """One part of the tagged text, such as a paragraph, a row of a table, a drawing."""

    kind: str
    """Its standard type: H2, P, LI, TR, Figure …"""
    lang: str
    """BCP 47: its own, or that of what it stands in."""
    alt: str
    """What a drawing says to who does not see it."""
    place: tuple[int, ...]
    """Its way down from the root of the tree: sorted by it, parts stand in the order of reading."""
    parent: "Part | None"
    inks: "list[Ink]" = field(default_factory=list)
    """Its own ink, without that of its children."""
    children: "list[Part]" = field(default_factory=list)

    @cached_property
    def all_inks(self) -> "list[Ink]":
        """Return its ink and that of all that it holds."""
        return [*self.inks, *(ink for child in self.children for ink in child.all_inks)]

    @cached_property
    def pages(self) -> list[int]:
        """Return the pages on which it stands."""
        return sorted({ink.page for ink in self.all_inks})

    @property
    def has_text(self) -> bool:
        """Return whether it is more than drawings."""
        return any(ink.text for ink in self.all_inks)

    @cached_property
    def block(self) -> "Part":
        """Return what begins a line of its own: this part, or the one in whose line it stands."""
        inside = self.kind in INLINE and self.parent is not None and self.parent.kind not in _HOLDERS
        return self.parent.block if inside and self.parent is not None else self

    @cached_property
    def above(self) -> "tuple[Part, ...]":
        """Return this part and all that it stands in, the root last."""
        return (self, *(self.parent.above if self.parent else ()))

    def inside(self, kind: str) -> "Part | None":
        """Return the nearest part of a kind that it is, or stands in."""
        return next((part for part in self.above if part.kind == kind), None)

    def all_parts(self) -> "Iterator[Part]":
        """Yield it and all that it holds, in the order of reading."""
        yield self
        for child in self.children:
            yield from child.all_parts()


@dataclass(eq=False)
class Ink:
    """Some letters that were set at once, or one stroke of a drawing."""

    page: int
    area: Area
    part: Part | None
    """None for what is no content to a screen reader: the foot, the lines of a table, a frame."""
    text: str | None = None
    """None for a stroke."""
    size: float = 0.0
    """Of the type [pt], as it stands on the paper."""
    strokes: int = 0
    """Of which a drawing's line is made."""


@dataclass(eq=False)
class Line:
    """What stands on one line of one block."""

    page: int
    area: Area
    block: Part | None
    inks: list[Ink]

    @property
    def least_size(self) -> float:
        """Return its smallest type [pt]."""
        return min(ink.size for ink in self.inks)

    @property
    def has_letters(self) -> bool:
        """Return whether it has more than points and dashes."""
        return any(sign.isalnum() for sign in self.words)

    @cached_property
    def words(self) -> str:
        """Return its words, first the one that is read first."""
        leftwards = (
            self.block is not None
            and Locale(self.block.lang, "").direction == "rtl"
            # Words that are not translated yet keep their own direction.
            and any(unicodedata.bidirectional(sign) in ("R", "AL") for ink in self.inks for sign in ink.text or "")
        )
        inks = sorted(self.inks, key=lambda ink: -ink.area.right if leftwards else ink.area.left)
        text = ""
        edge = inks[0].area.right if leftwards else inks[0].area.left
        for ink in inks:
            gap = edge - ink.area.right if leftwards else ink.area.left - edge
            text += (" " if gap > 0.15 * ink.size else "") + (ink.text or "")
            edge = min(edge, ink.area.left) if leftwards else max(edge, ink.area.right)
        return " ".join(text.split())

    @property
    def printed_over(self) -> bool:
        """Return whether some of its words stand on others. Marks over letters, and letters that are joined, do not."""
        inks = sorted((ink for ink in self.inks if ink.area.height > 0.4 * ink.size), key=lambda ink: ink.area.left)
        return any(one.area.shared(other.area)[0] > 0.3 * one.size for one, other in pairwise(inks))


@dataclass(eq=False)
class Page:
    """One page."""

    number: int
    width: float
    height: float
    inks: list[Ink]

    @cached_property
    def lines(self) -> list[Line]:
        """Return its lines of text, block by block in the order of the file."""
        blocks: dict[Part | None, list[Ink]] = {}
        for ink in self.inks:
            # What is set to hold a space has no ink.
            if ink.text is not None and ink.area.width > 0.1 and ink.area.height > 0.1:
                blocks.setdefault(ink.part and ink.part.block, []).append(ink)
        return [line for block, inks in blocks.items() for line in _lines(self.number, block, inks)]

    @cached_property
    def drawings(self) -> "list[tuple[Part, Area]]":
        """Return its drawings, each with all that it covers."""
        found: dict[Part, list[Area]] = {}
        for ink in self.inks:
            figure = ink.part and ink.part.inside("Figure")
            if figure:
                found.setdefault(figure, []).append(ink.area)
        return [(figure, around(areas)) for figure, areas in found.items()]

    @cached_property
    def strokes(self) -> list[Area]:
        """Return lines and frames that are not part of a drawing."""
        return [ink.area for ink in self.inks if ink.part is None and ink.text is None]

    @cached_property
    def foot(self) -> Area | None:
        """Return what the running foot covers, with a line over it."""
        texts = [line.area for line in self.lines if self._is_foot(line)]
        if not texts:
            return None
        words = around(texts)
        rules = [
            stroke
            for stroke in self.strokes
            if stroke.height < 4 and stroke.width > self.width / 2 and 0 <= words.top - stroke.bottom < 2 * FOOT_GAP
        ]
        # The lower edge of a table has lines that lead down to it.
        upright = [stroke for stroke in self.strokes if stroke.height > 12]
        alone = [rule for rule in rules if not any(rule.shared(line)[1] > -2 for line in upright)]
        return around([words, *alone])

    def _is_foot(self, line: Line) -> bool:
        return line.block is None and line.area.top > _FOOT_FROM * self.height and line.has_letters

    @cached_property
    def content(self) -> list[Area]:
        """Return what is used of it, above its foot: text, drawings, and the lines of tables to write in."""
        edge = self.foot.top if self.foot else self.height
        texts = [line.area for line in self.lines if not self._is_foot(line)]
        drawings = [area for _, area in self.drawings]
        strokes = [stroke for stroke in self.strokes if not self.is_edge_mark(stroke)]
        return [area for area in (*texts, *drawings, *strokes) if area.top < edge - 1]

    def is_edge_mark(self, stroke: Area) -> bool:
        """Return whether a stroke is a mark at a side edge to find the page by, and no content."""
        return stroke.right <= _EDGE_MARK or stroke.left >= self.width - _EDGE_MARK


def _lines(page: int, block: Part | None, inks: list[Ink]) -> list[Line]:
    rows: list[list[Ink]] = []
    # The tallest first: a full stop or a mark over a letter belongs to the line whose letters stand beside it. What is
    # no content (a foot, a header row that is repeated) has no cells: there, what comes next in the file is beside it.
    for ink in sorted(inks, key=lambda ink: -ink.area.height) if block else inks:
        middle, near = ink.area.middle, 0.2 * ink.size
        for row in rows if block else reversed(rows):
            level = row[0].area.top - near <= middle <= row[0].area.bottom + near
            if level and (block or ink.area.shared(around([one.area for one in row]))[0] > -0.5 * ink.size):
                row.append(ink)
                break
        else:
            rows.append([ink])
    lines = [Line(page, around([ink.area for ink in row]), block, row) for row in rows]
    return sorted(lines, key=lambda line: line.area.top)


@dataclass(eq=False)
class Printed:
    """A finished PDF."""

    pages: list[Page]
    root: Part
    codes: dict[Part, list[str]]
    """The drawings that are QR codes, and what a reader finds in each at 150 dots per inch."""
    carried: dict[str, str]
    """What the program has put into the file unseen: ``sheet`` and others."""

    @property
    def sheet(self) -> str:
        """Return which sheet it is, such as ``guide``; empty where the file does not say."""
        return self.carried.get("sheet", "").partition(" ")[0]  # its languages follow

    @cached_property
    def parts(self) -> list[Part]:
        """Return every part in the order of reading."""
        return sorted(self.root.all_parts(), key=lambda part: part.place)

    @cached_property
    def blocks(self) -> list[Part]:
        """Return what begins lines of its own or is a drawing, and has ink, in the order of reading."""
        found: dict[Part, None] = {}
        for part in self.parts:
            if part.inks:
                found[part.inside("Figure") or part.block] = None
        return list(found)

    def lines_of(self, block: Part) -> list[Line]:
        """Return the lines of a block, on all its pages."""
        return self._lines.get(block, [])

    @cached_property
    def _lines(self) -> dict[Part, list[Line]]:
        found: dict[Part, list[Line]] = {}
        for page in self.pages:
            for line in page.lines:
                if line.block:
                    found.setdefault(line.block, []).append(line)
        return found

    def words_of(self, part: Part) -> str:
        """Return the words of a part, or what its drawings say."""
        blocks = dict.fromkeys(below.block for below in part.all_parts() if below.all_inks)
        lines = [line for block in blocks for line in self.lines_of(block)]
        told = " ".join(line.words for line in lines)
        return told or next((below.alt for below in part.all_parts() if below.alt), "a drawing")
