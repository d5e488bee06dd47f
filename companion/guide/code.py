"""What the QR code of a guide holds, and the code as a block of the document."""

from dataclasses import dataclass, replace

from companion.guide import tables
from companion.language.locale import Locale
from companion.reckoning.choices import SHARED_ROWS
from companion.reckoning.containers import marks
from companion.reckoning.plan import Plan

LONGEST_TEXT = 900
"""Bytes in a code that holds the table itself: 997 fit in version 25 of ISO/IEC 18004 at level M, 375 pt wide."""


@dataclass(frozen=True)
class Code:
    """What the QR code of a guide holds."""

    content: str
    """An address, or without a server the short table as plain text."""
    base: str | None
    """The clinic's address as it is printed in words, or None."""
    signed: str
    """The signed code of the case alone, which is carried unseen by the page."""
    figures: str
    """The sealed figures, which are carried beside it."""


def table_text(plan: Plan, locale: Locale) -> str:
    """Return the short table as plain text, for a QR code that works without a server."""
    # Names of containers stay out of every code.
    plan = replace(plan, stores=tuple(replace(store, name=None) for store in plan.stores))
    text = ""
    # Portable first, then reservoirs, each table with a few marks or not at all: each line more makes the code finer.
    for table in [*tables.durations(plan, "portable", locale), *tables.durations(plan, "reservoir", locale)]:
        lines = [str(table.caption)]
        for row in (row for row in table.rows if row.level in marks(table.divisions, SHARED_ROWS)):
            answers = [str(cell) for cell in row.cells]
            if len(answers) > 1:
                heads = (str(column.head) for column in table.columns)
                answers = [f"{head} {answer}" for head, answer in zip(heads, answers, strict=True)]
            lines.append(f"{row.head}: {'; '.join(answers)}")
        longer = "\n".join(filter(None, [text, *lines]))
        if len(longer.encode()) <= LONGEST_TEXT:
            text = longer
    return text
