"""Tables for professionals: sentences of the clinician's copy as texts, which are in English and so no messages."""

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal
from typing import Literal

from companion.guide.document import Grid, GridColumn
from companion.language.catalogue import SOURCE
from companion.language.locale import Locale
from companion.language.said import Run, Said

Words = str | Said

Kind = Literal["words", "figure", "note"]
_KINDS: dict[str, Kind] = {"w": "words", "f": "figure", "n": "note"}


def grid(caption: str | None, heads: Sequence[Words], rows: Sequence[Sequence[Words]], kinds: str) -> Grid:
    """Return one table; of each column its kind: ``w`` words, ``f`` figures, ``n`` a note in smaller type."""
    return Grid(
        None if caption is None else in_english(caption),
        tuple(GridColumn(in_english(head), _KINDS[kind]) for head, kind in zip(heads, kinds, strict=True)),
        tuple(tuple(in_english(cell) for cell in row) for row in rows),
    )


def in_english(words: Words) -> Said:
    """Return a sentence that is in English alone."""
    return words if isinstance(words, Said) else Locale(SOURCE, "US").alone(Run(words))


def time_words(minutes: int) -> str:
    """Return a length of time as short as professionals write it: "5 h 55 min", "9 d"."""
    if minutes >= 48 * 60 and minutes % 1440 == 0:
        return f"{minutes // 1440} d"
    hours, rest = divmod(minutes, 60)
    return " ".join([*([f"{hours} h"] if hours else []), *([f"{rest} min"] if rest or not hours else [])])


def container_words(container: str) -> str:
    """Return the name of a container of the plan: ``portable-1`` is "Portable 1"."""
    return container.replace("-", " ").capitalize()


def entered_words(value: object) -> str:
    """Return a value as it was entered."""
    if value is None or value == []:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return ", ".join(f"setting {setting}: {bolus}" for setting, bolus in value.items())
    if isinstance(value, list):
        return ", ".join(str(item) for item in value)
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, dt.time):
        return value.isoformat("minutes")
    if isinstance(value, Decimal):
        return f"{value:f}"
    return str(value)
