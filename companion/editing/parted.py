"""What belongs together and stands apart: a heading, a step, a box, a table, a number, each from what is its own."""

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from companion.editing.fault import SAME, THIN, Fault
from companion.editing.places import Room
from companion.editing.printed import Area, Ink, Page, Part, Printed, around
from companion.facts.region import REGIONS
from companion.facts.units import SPELLED, units_of
from companion.language.locale import Locale

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


def parted_headings(printed: Printed) -> Iterator[Fault]:
    """Find a heading with nothing of what it heads on its page."""
    for heading, below in _headed(printed):
        if below and heading.pages[-1] not in below[0].pages:
            yield Fault(heading.pages[-1], "heading alone", printed.words_of(heading))


# ── drawings ────────────────────────────────────────────────────────────────────────────────────

_STEP = re.compile(r"\S*\d|\S+\s+\S*\d")
"""A heading that begins with a number, or with one word and a number: "3." or "Step 3"."""
WIDEST_SIGN = 80
"""Points: what is drawn larger is no sign in a line."""


def parted_steps(printed: Printed) -> Iterator[Fault]:
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
    return around([ink.area for ink in figure.all_inks]).width <= WIDEST_SIGN


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
        return any(area.width <= WIDEST_SIGN and area.shared(first)[1] > 0 for area in drawn)

    @property
    def holders(self) -> set[Part]:
        """Return every part in which something of it stands, except what holds a whole text."""
        above = {part for ink in self.inks if ink.part for part in ink.part.above}
        return {part for part in above if part.kind not in ("Document", "Part", "Art", "Sect")}


def parted_boxes(printed: Printed, room: Room) -> Iterator[Fault]:
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
    if abs(box.area.left - rest.area.left) > SAME or abs(box.area.width - rest.area.width) > SAME:
        return False
    # Where boxes have signs, what begins without one has begun before.
    return bool(box.holders & rest.holders) or (box.has_sign and not rest.has_sign)


def _boxes_of(page: Page) -> Iterator[_Box]:
    rules = [stroke for stroke in page.strokes if stroke.height < THIN and stroke.width > 40]
    for stroke in page.strokes:
        is_frame = stroke.width > 100 and stroke.height > 24
        is_side = 2.4 <= stroke.width <= 16 and stroke.height > 24 and not page.is_edge_mark(stroke)
        # The upright lines of a table meet level ones.
        if is_frame or (is_side and not any(stroke.covers(rule, -4, -4) for rule in rules)):
            inks = tuple(ink for ink in page.inks if ink.part and _holds(stroke, ink.area, is_frame=is_frame))
            if not all(ink.part and ink.part.inside("Table") for ink in inks):
                yield _Box(stroke, inks)


def _holds(stroke: Area, area: Area, *, is_frame: bool) -> bool:
    level = stroke.top <= area.middle <= stroke.bottom
    return level and not (is_frame and (area.left < stroke.left or area.right > stroke.right))


# ── tables ──────────────────────────────────────────────────────────────────────────────────────

_SENTENCE_END = (".", "!", "?", "。", "！", "？", "؟", "।", "۔")


def parted_tables(printed: Printed) -> Iterator[Fault]:
    """Find a table parted from its caption, its header row or the rest of a row."""
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


def parted_units(printed: Printed) -> Iterator[Fault]:
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
