"""A case that was opened beside what it becomes: every line of its sheets that the change moves, old beside new."""

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from difflib import SequenceMatcher

from companion.case.model import Case
from companion.case.read import case_from_dict
from companion.case.rooms import Rooms, complete
from companion.guide.document import Block, Heading, Section, Sheet
from companion.guide.sheets import document
from companion.language.locale import Locale
from companion.language.said import plain
from companion.reckoning.plan import plan
from companion.render.text import text
from companion.web import form

_COMPARED: tuple[Sheet, ...] = ("guide", "wallet", "door")
"""Together they say all that is said to a patient or a helper; the other sheets repeat parts of it."""

_ALIKE = 0.6  # as the documentation of difflib has it for a close match


@dataclass(frozen=True)
class Move:
    """One line that reads otherwise now, stands there no more or anew."""

    where: str
    """The heading above it."""
    old: str
    new: str


def case_before(entries: form.Entries, rooms: Rooms) -> Case | None:
    """Return the case that was opened; None where none was."""
    held = "".join(entries.get("before", ()))
    if not held:
        return None
    try:
        whole, _ = complete(json.loads(held), rooms)
        return case_from_dict(whole, "the file")
    except (ValueError, TypeError, AttributeError, RecursionError):  # it was no whole case, or is no longer ours
        return None


def moves(old: Case, new: Case, tag: str) -> list[Move]:
    """Return what differs between the sheets of two cases, in the order of reading, in one language."""
    before, after = (dict(_sections(case, tag)) for case in (old, new))
    found: list[Move] = []
    for where in [*after, *(gone for gone in before if gone not in after)]:
        was, now = before.get(where, []), after.get(where, [])
        for step, a, b, c, d in SequenceMatcher(None, was, now, autojunk=False).get_opcodes():
            if step != "equal":
                found += [Move(where, *pair) for pair in _paired(was[a:b], now[c:d])]
    return found


def _paired(was: list[str], now: list[str]) -> Iterator[tuple[str, str]]:
    """Yield each line beside the one that it has become, or beside nothing."""
    left = list(now)
    for line in was:
        same = next((new for new in left if SequenceMatcher(None, line, new).ratio() > _ALIKE), None)
        if same is None:
            yield line, ""
            continue
        place = left.index(same)
        yield from (("", new) for new in left[:place])
        yield line, same
        left = left[place + 1 :]
    yield from (("", new) for new in left)


def _sections(case: Case, tag: str) -> Iterator[tuple[str, list[str]]]:
    made, locale = plan(case), Locale(tag, case.clinic.region)
    for sheet in _COMPARED:
        whole = document(sheet, case, made, locale, None)
        for part in _parts(whole.blocks):
            heading = next((one.text for one in part if isinstance(one, Heading) and one.level == 2), whole.title)
            yield plain(heading), [line for line in text(replace(whole, blocks=part)).splitlines() if line]


def _parts(blocks: tuple[Block, ...]) -> Iterator[tuple[Block, ...]]:
    """Yield the sections that hold no other, and in one part what stands in none."""
    loose = tuple(block for block in blocks if not isinstance(block, Section))
    if loose:
        yield loose
    for section in blocks:
        if isinstance(section, Section):
            yield from _parts(section.blocks)
