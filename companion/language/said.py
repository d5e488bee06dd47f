"""What is said: a text in one language or two, as data. It holds no markup; printers decide how each run looks.

A message of the catalogue is read once for each language: ``**`` makes its words bold, ``{name}`` is the place of a
value. Everything else is text, whatever it looks like, so that a translation can never become part of a program.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

Direction = Literal["ltr", "rtl", "auto"]


@dataclass(frozen=True)
class Run:
    """Some words that look alike."""

    words: str
    bold: bool = False
    keep: bool = False
    """Whether it stays on one line: a number with its unit, a phone number, a date."""
    direction: Direction | None = None
    """Of what has a direction of its own, and would else turn round in a line of the other; None: the line's."""

    def __str__(self) -> str:
        return self.words


NEW_LINE = Run("\n")
"""Begins a new line within one text."""


@dataclass(frozen=True)
class Speech:
    """A text in one language."""

    tag: str
    """BCP 47."""
    direction: Direction
    runs: tuple[Run, ...]

    def __str__(self) -> str:
        return _words(self.runs)


@dataclass(frozen=True)
class Said:
    """One text in the language of the reader, or in two: the reader's first, then that of who helps."""

    speeches: tuple[Speech, ...]

    @property
    def first(self) -> Speech:
        """Return the text in the reader's language."""
        return self.speeches[0]

    def __str__(self) -> str:
        """Return the words in the reader's language, for a place that takes plain text alone."""
        return str(self.first)


Value = Said | Run | str | int
"""What may stand in the place of a placeholder."""


def marked(message: str) -> str:
    """Mark a constant as a message for the translators; it is said elsewhere."""
    return message


def isolated(text: object) -> Run:
    """Return what has a direction of its own (a number with its unit, a phone number) and must not break or flip."""
    return Run(str(text), keep=True, direction="ltr")


def whole(text: object) -> Run:
    """Return words that stay on one line, such as "3 hours", in the direction that they bring with them."""
    return Run(str(text), keep=True, direction="auto")


def typed(text: str) -> Run:
    """Return what a person has typed, which has a script of its own: a name."""
    return Run(text, direction="auto")


PLACEHOLDER = re.compile(r"\{([a-z_]+)\}")
_PARTS = re.compile(r"(\*\*|\{[a-z_]+\})")


@lru_cache(maxsize=8192)
def _parts(message: str) -> tuple[Run | str, ...]:
    """Return a message as runs and, as plain strings, the names of its placeholders with a mark of bold before."""
    parts: list[Run | str] = []
    bold = False
    for part in _PARTS.split(message):
        if part == "**":
            bold = not bold
        elif PLACEHOLDER.fullmatch(part):
            parts.append(("*" if bold else "") + part[1:-1])
        elif part:
            parts.append(Run(part, bold=bold))
    return tuple(parts)


def filled(message: str, values: Mapping[str, Value], language: int = 0) -> Iterator[Run]:
    """Yield the runs of a message with its placeholders filled.

    Args:
        message: one message in one language.
        values: what stands in the place of each placeholder.
        language: which language of a value in two is meant: 0 the first, 1 the second.

    Raises:
        KeyError: the message has a placeholder for which there is no value.
    """
    for part in _parts(message):
        if isinstance(part, Run):
            yield part
            continue
        value = values[part.lstrip("*")]
        for run in runs_of(value, language):
            yield replace(run, bold=True) if part.startswith("*") else run


def runs_of(value: Value, language: int = 0) -> tuple[Run, ...]:
    """Return what a value says in the first or second language of a page."""
    if isinstance(value, Said):
        return value.speeches[min(language, len(value.speeches) - 1)].runs
    return (value if isinstance(value, Run) else Run(str(value)),)


def plain(value: Value, language: int = 0) -> str:
    """Return the words of a value in the first or second language of a page, for a place that takes text alone."""
    return _words(runs_of(value, language))


def _words(runs: tuple[Run, ...]) -> str:
    return "".join(" " if run is NEW_LINE else run.words for run in runs)


def joined(*texts: Said, between: str | Run | None = None) -> Said:
    """Return texts one after another as one text, in each language that any of them has.

    Args:
        between: what stands between them; None: what stands between sentences in each language.
    """
    from companion.language.catalogue import settings  # it loads Babel, and help is to answer at once

    most = max(texts, key=lambda text: len(text.speeches))
    speeches = []
    for place, speech in enumerate(most.speeches):
        runs: list[Run] = []
        held = settings(speech.tag).get("between_sentences", " ") if between is None else between
        apart = held if isinstance(held, Run) else Run(held)
        for text in texts:
            runs += [apart, *runs_of(text, place)] if runs else runs_of(text, place)
        speeches.append(replace(speech, runs=tuple(runs)))
    return Said(tuple(speeches))


def lines(*texts: Said) -> Said:
    """Return texts one under another as one text."""
    return joined(*texts, between=NEW_LINE)
