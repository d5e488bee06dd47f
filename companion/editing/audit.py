"""Whether a finished PDF is fit to be handed over as paper: what lies outside, over something else, apart, too small.

It knows nothing of how the sheets are set: only the tags, where the ink is, and the lines that are drawn. So it holds
for every language, and for a style sheet that is changed tomorrow.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from companion.editing.fault import Fault
from companion.editing.parted import parted_boxes, parted_headings, parted_steps, parted_tables, parted_units
from companion.editing.places import Room, misplaced, overlaps, room_of, small_type
from companion.editing.printed import Page, Printed

LEAST_FILL = 0.5
PAGES_OF_A_FOLDED_SHEET = {"guide": 4}


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
    room = room_of(printed)
    fills = tuple(_fill(page, room) for page in printed.pages)
    faults = [
        *_number_of_pages(printed, most),
        *_fills(fills),
        *small_type(printed),
        *misplaced(printed, room),
        *overlaps(printed),
        *parted_headings(printed),
        *parted_boxes(printed, room),
        *parted_steps(printed),
        *parted_tables(printed),
        *parted_units(printed),
        *_codes(printed),
    ]
    return Audit(tuple(sorted(dict.fromkeys(faults), key=lambda fault: fault.page)), fills)


def _fill(page: Page, room: Room) -> float:
    lowest = max((content.bottom for content in page.content), default=room.top)
    return min(1.0, max(0.0, (lowest - room.top) / room.height))


def _fills(fills: tuple[float, ...]) -> Iterator[Fault]:
    for number, fill in enumerate(fills[:-1], start=1):
        if fill < LEAST_FILL:
            yield Fault(number, "less than half full", f"{fill:.0%}")


def _number_of_pages(printed: Printed, most: int | None) -> Iterator[Fault]:
    pages = len(printed.pages)
    each = PAGES_OF_A_FOLDED_SHEET.get(printed.sheet, 1)
    if pages % each:
        yield Fault(pages, "number of pages", f"{pages} are no multiple of {each}")
    if most is not None and pages > most:
        yield Fault(pages, "number of pages", f"{pages} are more than {most}")


def _codes(printed: Printed) -> Iterator[Fault]:
    for figure, texts in printed.codes.items():
        if not texts:
            yield Fault(figure.pages[0], "code not readable", figure.alt)
