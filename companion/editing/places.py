"""What stands where it may not: outside the margins, on the foot, over something else; and type that is too small."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from statistics import mode

from companion.editing.fault import SAME, THIN, Fault
from companion.editing.printed import FOOT_GAP, POINTS_PER_MM, Area, Line, Page, Printed

EDGE = 5 * POINTS_PER_MM
"""What no printer reaches at each edge of the paper [pt]; common practice, no source."""
LEAST_TYPE = {"guide": 16.0, "table": 16.0, "fridge": 16.0, "log": 16.0, "door": 16.0}
"""The smallest type on each sheet for the patient [pt]. UKAAF: large print is 16 pt or more."""
LEAST_BODY = {"guide": 18.0, "table": 18.0}
"""The type in which most letters are set [pt]; the project's choice."""


# ── the room for text ───────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True)
class Room:
    """From where to where the content of a page may stand [pt from its upper edge]."""

    top: float
    bottom: float
    foot: float | None
    """Where the running foot begins."""

    @property
    def height(self) -> float:
        """Return how much of a page that is."""
        return self.bottom - self.top


def room_of(printed: Printed) -> Room:
    """Return the room that the pages of a sheet have in common."""
    feet = [round(page.foot.top, 1) for page in printed.pages if page.foot]
    top = min((content.top for page in printed.pages for content in page.content), default=EDGE)
    if feet:
        foot = mode(feet)
        return Room(top, foot - FOOT_GAP, foot)
    # Without a foot, the lower margin is as wide as the upper.
    return Room(top, printed.pages[0].height - max(top, EDGE), None)


# ── type ────────────────────────────────────────────────────────────────────────────────────────


def small_type(printed: Printed) -> Iterator[Fault]:
    """Find what is set smaller than its sheet may be."""
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


def misplaced(printed: Printed, room: Room) -> Iterator[Fault]:
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
        min(area.left, area.top) < EDGE - SAME
        or area.right > page.width - EDGE + SAME
        or area.bottom > page.height - EDGE + SAME
    )


def _reaches(area: Area, foot: float | None) -> bool:
    return foot is not None and area.bottom > foot + SAME / 2


# ── one over another ────────────────────────────────────────────────────────────────────────────


def overlaps(printed: Printed) -> Iterator[Fault]:
    """Find text that is printed over text, drawings and lines."""
    for page in printed.pages:
        # What is lower than a small letter is a mark over one, and may stand over the line before.
        lines = [line for line in page.lines if line.has_letters and line.area.height > 0.4 * line.least_size]
        for one, other in combinations(lines, 2):
            # The tails of one line may reach between the tops of the next.
            if one.area.covers(other.area, SAME, 0.25 * min(one.area.height, other.area.height)):
                yield Fault(page.number, "text over text", f"{one.words} | {other.words}")
        for line in lines:
            if line.block and line.printed_over:
                yield Fault(page.number, "text over text", line.words)
        for figure, area in page.drawings:
            for line in lines:
                its_own = line.block is not None and figure in line.block.above
                if not its_own and line.area.covers(area, SAME, SAME):
                    yield Fault(page.number, "text over a drawing", f"{line.words} | {figure.alt}")
        for (figure, area), (other_figure, other_area) in combinations(page.drawings, 2):
            if area.covers(other_area, SAME, SAME):
                yield Fault(page.number, "drawing over a drawing", f"{figure.alt} | {other_figure.alt}")
        yield from _on_lines(page, lines)


def _on_lines(page: Page, lines: Sequence[Line]) -> Iterator[Fault]:
    rules = [stroke for stroke in page.strokes if min(stroke.width, stroke.height) < THIN]
    for line in lines:
        if any(_touches(rule, line.area) for rule in rules):
            yield Fault(page.number, "text on a line", line.words)


def _touches(rule: Area, text: Area) -> bool:
    """Return whether a line goes through letters or touches their side; along their foot it only underlines them."""
    if rule.width < rule.height:
        centre = (rule.left + rule.right) / 2
        return text.left - SAME < centre < text.right + SAME and text.shared(rule)[1] > SAME
    quarter = text.height / 4
    return text.top + quarter < rule.middle < text.bottom - quarter and text.shared(rule)[0] > SAME
