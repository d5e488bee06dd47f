"""Whether a finished PDF is fit to be handed over as paper: what lies outside, over something else, apart, too small.

It knows nothing of how the sheets are set: only the tags, where the ink is, and the lines that are drawn. So it holds
for every language, and for a style sheet that is changed tomorrow.
"""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations, pairwise
from statistics import mode
from typing import Literal

from companion.editing.printed import FOOT_GAP, POINTS_PER_MM, Area, Ink, Line, Page, Part, Printed, around
from companion.facts.region import REGIONS
from companion.facts.units import SPELLED, units_of
from companion.language.locale import Locale

Kind = Literal[
    "outside the margins",
    "over the foot",
    "text over text",
    "text over a drawing",
    "drawing over a drawing",
    "text on a line",
    "heading alone",
    "box parted",
    "step parted from its drawing",
    "caption parted from its table",
    "header row alone",
    "header row not repeated",
    "row over two pages",
    "less than half full",
    "number parted from its unit",
    "code not readable",
    "type too small",
    "body too small",
    "number of pages",
]

EDGE = 5 * POINTS_PER_MM
"""What no printer reaches at each edge of the paper [pt]; common practice, no source."""
LEAST_FILL = 0.5
LEAST_TYPE = {"guide": 16.0, "table": 16.0, "fridge": 16.0, "log": 16.0, "door": 16.0}
"""The smallest type on each sheet for the patient [pt]. UKAAF: large print is 16 pt or more."""
LEAST_BODY = {"guide": 18.0, "table": 18.0}
"""The type in which most letters are set [pt]; the project's choice."""
PAGES_OF_A_FOLDED_SHEET = {"guide": 4}

_SAME = 2.0
"""Points by which edges may differ that are meant to be the same."""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong on a page."""

    page: int
    kind: Kind
    words: str
    """The words in question."""

    def __str__(self) -> str:
        return f"page {self.page}: {self.kind}: {self.words}"


@dataclass(frozen=True)
class Audit:
    """What was found."""

    faults: tuple[Fault, ...]
    fills: tuple[float, ...]
    """How far down each page is used: 1 is down to its foot."""

    @property
    def mean_fill(self) -> float:
        """Return the mean fill of all pages."""
        return sum(self.fills) / len(self.fills)


def audit(printed: Printed, most: int | None = None) -> Audit:
    """Look at a finished sheet.

    Args:
        printed: the sheet.
        most: how many pages it may have, if that matters.
    """
    room = _room(printed)
    fills = tuple(_fill(page, room) for page in printed.pages)
    faults = [
        *_number_of_pages(printed, most),
        *_fills(fills),
        *_type(printed),
        *_places(printed, room),
        *_overlaps(printed),
        *_headings(printed),
        *_boxes(printed, room),
        *_steps(printed),
        *_tables(printed),
        *_units(printed),
        *_codes(printed),
    ]
    return Audit(tuple(sorted(dict.fromkeys(faults), key=lambda fault: fault.page)), fills)


# ── the room for text ───────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True)
class _Room:
    """From where to where the content of a page may stand [pt from its upper edge]."""

    top: float
    bottom: float
    foot: float | None
    """Where the running foot begins."""

    @property
    def height(self) -> float:
        return self.bottom - self.top


def _room(printed: Printed) -> _Room:
    feet = [round(page.foot.top, 1) for page in printed.pages if page.foot]
    top = min((content.top for page in printed.pages for content in page.content), default=EDGE)
    if feet:
        foot = mode(feet)
        return _Room(top, foot - FOOT_GAP, foot)
    # Without a foot, the lower margin is as wide as the upper.
    return _Room(top, printed.pages[0].height - max(top, EDGE), None)


def _fill(page: Page, room: _Room) -> float:
    lowest = max((content.bottom for content in page.content), default=room.top)
    return min(1.0, max(0.0, (lowest - room.top) / room.height))


def _fills(fills: tuple[float, ...]) -> Iterator[Fault]:
    for number, fill in enumerate(fills[:-1], start=1):
        if fill < LEAST_FILL:
            yield Fault(number, "less than half full", f"{fill:.0%}")


# ── pages and type ──────────────────────────────────────────────────────────────────────────────


def _number_of_pages(printed: Printed, most: int | None) -> Iterator[Fault]:
    pages = len(printed.pages)
    each = PAGES_OF_A_FOLDED_SHEET.get(printed.sheet, 1)
    if pages % each:
        yield Fault(pages, "number of pages", f"{pages} are no multiple of {each}")
    if most is not None and pages > most:
        yield Fault(pages, "number of pages", f"{pages} are more than {most}")


def _type(printed: Printed) -> Iterator[Fault]:
    least = LEAST_TYPE.get(printed.sheet, 0.0)
    letters: Counter[float] = Counter()
    for page in printed.pages:
        for line in page.lines:
            if line.block and line.block.lang == printed.root.lang:
                for ink in line.inks:
                    letters[round(ink.size, 1)] += len(ink.text or "")
        smallest = min(page.lines, key=lambda line: line.least_size, default=None)
        if smallest and smallest.least_size < least - 0.05:
            yield Fault(page.number, "type too small", f"{smallest.least_size:.1f} pt: {smallest.words}")
    body = max(letters, key=lambda size: letters[size], default=0.0)
    if letters and body < LEAST_BODY.get(printed.sheet, 0.0):
        yield Fault(1, "body too small", f"{body:.1f} pt")


# ── where it stands ─────────────────────────────────────────────────────────────────────────────


def _places(printed: Printed, room: _Room) -> Iterator[Fault]:
    """Find what comes too near the edge of the paper or stands on the foot."""
    for page in printed.pages:
        for line in page.lines:
            if _leaves(line.area, page):
                yield Fault(page.number, "outside the margins", line.words)
            elif line.block and _reaches(line.area, room.foot):
                yield Fault(page.number, "over the foot", line.words)
        for figure, area in page.drawings:
            if _leaves(area, page):
                yield Fault(page.number, "outside the margins", figure.alt)
            elif _reaches(area, room.foot):
                yield Fault(page.number, "over the foot", figure.alt)
        if any(_leaves(stroke, page) and not page.is_edge_mark(stroke) for stroke in page.strokes):
            yield Fault(page.number, "outside the margins", "a line of a table or box")


def _leaves(area: Area, page: Page) -> bool:
    return (
        min(area.left, area.top) < EDGE - _SAME
        or area.right > page.width - EDGE + _SAME
        or area.bottom > page.height - EDGE + _SAME
    )


def _reaches(area: Area, foot: float | None) -> bool:
    return foot is not None and area.bottom > foot + _SAME / 2


# ── one over another ────────────────────────────────────────────────────────────────────────────

_THIN = 6.0
"""Points: a stroke that is no thicker is a line."""


def _overlaps(printed: Printed) -> Iterator[Fault]:
    """Find text that is printed over text, drawings and lines."""
    for page in printed.pages:
        # What is lower than a small letter is a mark over one, and may stand over the line before.
        lines = [line for line in page.lines if line.has_letters and line.area.height > 0.4 * line.least_size]
        for one, other in combinations(lines, 2):
            # The tails of one line may reach between the tops of the next.
            if _covers(one.area, other.area, _SAME, 0.25 * min(one.area.height, other.area.height)):
                yield Fault(page.number, "text over text", f"{one.words} | {other.words}")
        for line in lines:
            if line.block and line.printed_over:
                yield Fault(page.number, "text over text", line.words)
        for figure, area in page.drawings:
            for line in lines:
                its_own = line.block is not None and figure in line.block.above
                if not its_own and _covers(line.area, area, _SAME, _SAME):
                    yield Fault(page.number, "text over a drawing", f"{line.words} | {figure.alt}")
        for (figure, area), (other_figure, other_area) in combinations(page.drawings, 2):
            if _covers(area, other_area, _SAME, _SAME):
                yield Fault(page.number, "drawing over a drawing", f"{figure.alt} | {other_figure.alt}")
        yield from _on_lines(page, lines)


def _on_lines(page: Page, lines: Sequence[Line]) -> Iterator[Fault]:
    rules = [stroke for stroke in page.strokes if min(stroke.width, stroke.height) < _THIN]
    for line in lines:
        if any(_touches(rule, line.area) for rule in rules):
            yield Fault(page.number, "text on a line", line.words)


def _covers(one: Area, other: Area, width: float, height: float) -> bool:
    shared_width, shared_height = one.shared(other)
    return shared_width > width and shared_height > height


def _touches(rule: Area, text: Area) -> bool:
    """Return whether a line goes through letters or touches their side; along their foot it only underlines them."""
    if rule.width < rule.height:
        centre = (rule.left + rule.right) / 2
        return text.left - _SAME < centre < text.right + _SAME and text.shared(rule)[1] > _SAME
    quarter = text.height / 4
    return text.top + quarter < rule.middle < text.bottom - quarter and text.shared(rule)[0] > _SAME


# ── headings ────────────────────────────────────────────────────────────────────────────────────

_HEADING = re.compile(r"H([1-6]?)")


def _level(part: Part) -> int:
    """Return the level of a heading; all else stands below every heading."""
    found = _HEADING.fullmatch(part.kind)
    return int(found[1] or 1) if found else 7


def _headed(printed: Printed) -> Iterator[tuple[Part, list[Part]]]:
    """Yield each heading with the blocks that it heads, headings under it among them."""
    blocks = list(dict.fromkeys(min(block.above, key=_level) for block in printed.blocks if block.kind != "Lbl"))
    blocks = [block for block in blocks if block.pages]
    for place, heading in enumerate(blocks):
        if _level(heading) < 7:
            rest = blocks[place + 1 :]
            ends = (end for end, block in enumerate(rest) if _level(block) <= _level(heading))
            yield heading, rest[: next(ends, len(rest))]


def _headings(printed: Printed) -> Iterator[Fault]:
    """Find a heading with nothing of what it heads on its page."""
    for heading, below in _headed(printed):
        if below and heading.pages[-1] not in below[0].pages:
            yield Fault(heading.pages[-1], "heading alone", printed.words_of(heading))


# ── drawings ────────────────────────────────────────────────────────────────────────────────────

_STEP = re.compile(r"\S*\d|\S+\s+\S*\d")
"""A heading that begins with a number, or with one word and a number: "3." or "Step 3"."""
_WIDEST_SIGN = 80
"""Points: what is drawn larger is no sign in a line."""


def _steps(printed: Printed) -> Iterator[Fault]:
    """Find a step on another page than its drawing."""
    for heading, below in _headed(printed):
        drawing = next((block for block in below if block.kind == "Figure" and not _is_sign(block)), None)
        words = printed.words_of(heading)
        if drawing and drawing.pages != heading.pages and _STEP.match(words):
            yield Fault(heading.pages[0], "step parted from its drawing", words)
    for figure in printed.blocks:
        if figure.kind == "Figure":
            texts = _texts_beside(figure)
            if texts and all(text.pages != figure.pages for text in texts):
                yield Fault(texts[0].pages[0], "step parted from its drawing", printed.words_of(texts[0]))


def _is_sign(figure: Part) -> bool:
    return around([ink.area for ink in figure.all_inks]).width <= _WIDEST_SIGN


def _texts_beside(figure: Part) -> list[Part]:
    """Return what a drawing belongs to: the item of a list that holds it, or the text in the next cell of a grid."""
    for cell, holder in pairwise(figure.above):
        if holder.kind == "LI":
            return [holder]
        if holder.kind not in ("LBody", "Div", "P", "Span"):
            return []
        place = holder.children.index(cell)
        near = [part for part in holder.children[max(0, place - 1) : place + 2] if part is not cell and part.has_text]
        if near and holder.kind == "Div":
            area = around([ink.area for ink in figure.all_inks])
            here = figure.pages[0]
            row = [text for text in near if any(i.page == here and i.area.shared(area)[1] > 0 for i in text.all_inks)]
            return row or near
    return []


# ── boxes ───────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True)
class _Box:
    """A frame around some lines or a thick line at their side: so much of a box as stands on one page."""

    area: Area
    inks: tuple[Ink, ...]

    @property
    def first_line(self) -> list[Ink]:
        """Return the text of its first line."""
        texts = [ink for ink in self.inks if ink.text is not None and ink.area.width > 0.1]
        first = min(texts, key=lambda ink: ink.area.top, default=None)
        return [ink for ink in texts if first and ink.area.top < first.area.bottom]

    @property
    def is_one_line(self) -> bool:
        """Return whether no text follows the first line."""
        return all(ink in self.first_line for ink in self.inks if ink.text is not None and ink.area.width > 0.1)

    @property
    def has_sign(self) -> bool:
        """Return whether a sign stands at its first line."""
        first = around([ink.area for ink in self.first_line or self.inks])
        figures: dict[Part, list[Area]] = {}
        for ink in self.inks:
            figure = ink.part and ink.part.inside("Figure")
            if figure:
                figures.setdefault(figure, []).append(ink.area)
        drawn = map(around, figures.values())
        return any(area.width <= _WIDEST_SIGN and area.shared(first)[1] > 0 for area in drawn)

    @property
    def holders(self) -> set[Part]:
        """Return every part in which something of it stands, except what holds a whole text."""
        above = {part for ink in self.inks if ink.part for part in ink.part.above}
        return {part for part in above if part.kind not in ("Document", "Part", "Art", "Sect")}


def _boxes(printed: Printed, room: _Room) -> Iterator[Fault]:
    """Find a box that goes on over the page."""
    for page, following in pairwise(printed.pages):
        ends = [box for box in _boxes_of(page) if max(area.top for area in page.content) < box.area.bottom]
        rests = [box for box in _boxes_of(following) if min(area.bottom for area in following.content) > box.area.top]
        for box in ends:
            for rest in rests:
                fits = box.area.height + rest.area.height <= room.height
                if _goes_on(box, rest) and (fits or box.is_one_line):
                    words = " ".join(ink.text or "" for ink in box.first_line)
                    yield Fault(page.number, "box parted", " ".join(words.split()))


def _goes_on(box: _Box, rest: _Box) -> bool:
    """Return whether the second is the end of the first, and no box of its own."""
    if abs(box.area.left - rest.area.left) > _SAME or abs(box.area.width - rest.area.width) > _SAME:
        return False
    # Where boxes have signs, what begins without one has begun before.
    return bool(box.holders & rest.holders) or (box.has_sign and not rest.has_sign)


def _boxes_of(page: Page) -> Iterator[_Box]:
    rules = [stroke for stroke in page.strokes if stroke.height < _THIN and stroke.width > 40]
    for stroke in page.strokes:
        is_frame = stroke.width > 100 and stroke.height > 24
        is_side = 2.4 <= stroke.width <= 16 and stroke.height > 24 and not page.is_edge_mark(stroke)
        # The upright lines of a table meet level ones.
        if is_frame or (is_side and not any(_covers(stroke, rule, -4, -4) for rule in rules)):
            inks = tuple(ink for ink in page.inks if ink.part and _holds(stroke, ink.area, is_frame=is_frame))
            if not all(ink.part and ink.part.inside("Table") for ink in inks):
                yield _Box(stroke, inks)


def _holds(stroke: Area, area: Area, *, is_frame: bool) -> bool:
    level = stroke.top <= area.middle <= stroke.bottom
    return level and not (is_frame and (area.left < stroke.left or area.right > stroke.right))


# ── tables ──────────────────────────────────────────────────────────────────────────────────────

_SENTENCE_END = (".", "!", "?", "。", "！", "？", "؟", "।", "۔")


def _tables(printed: Printed) -> Iterator[Fault]:
    for table in printed.parts:
        if table.kind == "Table" and table.pages:
            yield from _caption(printed, table)
            yield from _rows(printed, table)


def _caption(printed: Printed, table: Part) -> Iterator[Fault]:
    """Find a caption on the page before its table."""
    first = next(place for place, block in enumerate(printed.blocks) if table in block.above)
    before = printed.blocks[first - 1] if first else None
    if before and before.kind not in ("Figure", "Link") and before.pages[-1] < table.pages[0]:
        words = printed.words_of(before)
        # A caption is no sentence, no end of a list or of another table, and a heading is told as such.
        part_of_more = any(part.kind in ("LI", "Table") or _level(part) < 7 for part in before.above)
        if not part_of_more and not words.endswith(_SENTENCE_END):
            yield Fault(before.pages[-1], "caption parted from its table", words)


def _rows(printed: Printed, table: Part) -> Iterator[Fault]:
    every = [part for part in table.all_parts() if part.kind == "TR" and part.pages]
    heads = [row for row in every if row.inside("THead")]
    rows = [row for row in every if row not in heads]
    for row in every:
        if len(row.pages) > 1:
            yield Fault(row.pages[0], "row over two pages", printed.words_of(row))
    if not heads or not rows:
        return
    told = " ".join(printed.words_of(row) for row in heads)
    last = heads[-1].pages[-1]
    if not any(last in row.pages for row in rows):
        yield Fault(last, "header row alone", told)
    for number in sorted({row.pages[0] for row in rows} - {page for row in heads for page in row.pages}):
        top = min(ink.area.top for row in rows for ink in row.all_inks if ink.page == number)
        # To a screen reader the repeated row is no content.
        lines = printed.pages[number - 1].lines
        above = " ".join(line.words for line in lines if line.block is None and line.area.middle < top)
        if not _letters(told) <= _letters(above):
            yield Fault(number, "header row not repeated", told)


def _letters(words: str) -> Counter[str]:
    return Counter(sign for sign in words if sign.isalnum())


# ── numbers and their units ─────────────────────────────────────────────────────────────────────

_NUMBER_LAST = re.compile(r"(?<![A-Za-z\d.,-])\d[\d.,]*$")
_COUNTS = (0, 1, 2, 3, 5, 6, 11, 21, 100)
"""They bring out each form that a noun takes after a number (CLDR, plural rules)."""


def _units(printed: Printed) -> Iterator[Fault]:
    """Find a number at the end of a line whose unit begins the next."""
    for block in printed.blocks:
        for line, following in pairwise(printed.lines_of(block)):
            number = _NUMBER_LAST.search(line.words)
            if number and any(_begins(following.words, unit) for unit in _unit_words(block.lang)):
                yield Fault(line.page, "number parted from its unit", f"{line.words} | {following.words}")


def _begins(words: str, unit: str) -> bool:
    if ord(unit[-1]) >= 0x2E80:  # scripts that put no space between words
        return words.startswith(unit)
    # Joined letters, and those with a mark, come out of a PDF in another order, twice, or with a gap in the word.
    first, second = (word.rstrip(".,;:!?)(،؛।") for word in (*words.split()[:2], "", "")[:2])
    return set(unit) in (set(first), set(first + second))


@cache
def _unit_words(tag: str) -> frozenset[str]:
    """Return what stands behind a number where the program prints an amount or a length of time in a language."""
    # Distances are printed by CLDR's words: "in" at the beginning of a line is hardly an inch.
    found = {*SPELLED.values(), "%"} - set(units_of("distance"))
    for locale in (Locale(tag, region) for region in REGIONS):
        for count in _COUNTS:
            spelled = (
                locale.duration(count % 60),
                locale.hours(count),
                locale.days(count),
                locale.weeks(count),
                locale.amount(count, "length-meter"),
                locale.amount(count, "length-foot"),
                locale.amount(count, "concentr-percent"),
            )
            found |= {word for said in spelled for word in re.sub(r"\d", " ", str(said)).split()[:1]}
    return frozenset(found)


# ── codes ───────────────────────────────────────────────────────────────────────────────────────


def _codes(printed: Printed) -> Iterator[Fault]:
    for figure, texts in printed.codes.items():
        if not texts:
            yield Fault(figure.pages[0], "code not readable", figure.alt)
