"""What each language holds: its settings, its catalogue of messages, and the review that a clinic recorded."""

import datetime as dt
import gettext
import hashlib
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import babel
from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po

from companion import resources
from companion.errors import SettingError, did_you_mean, harmless

SOURCE = "en"
"""The language in which the guide is written."""


MESSAGES, DESK = "messages.po", "desk.po"
"""The catalogues of a language: what a patient or helper reads, and what who sits at the clinic's desk reads."""

PSEUDO = "en-XA"
"""English made 40 % longer and accented, to see where a layout breaks. Never offered to a reader."""


@cache
def available() -> tuple[str, ...]:
    """Return the tags of every language that we hold, the source first."""
    folder = resources.folder("locales")
    found = sorted(place.name for place in folder.iterdir() if (place / "locale.toml").is_file())
    return (SOURCE, *(tag for tag in found if tag not in (SOURCE, PSEUDO)))


@cache
def settings(tag: str) -> dict[str, Any]:
    """Return what ``locales/TAG/locale.toml`` says of a language.

    Raises:
        SettingError: there is no such language.
    """
    if tag not in (*available(), PSEUDO):
        meant = did_you_mean(tag, available())
        held = ", ".join(
            f"{known} ({babel.Locale.parse(known, sep='-').get_display_name('en')})" for known in available()
        )
        raise SettingError(f"There is no language '{harmless(tag)}'.{meant} There are: {held}.")
    return tomllib.loads(resources.read("locales", f"{tag}/locale.toml"))


@cache
def catalogue(tag: str) -> Catalog | None:
    """Return the translations of a language; None for the source.

    Raises:
        SettingError: its ``messages.po`` is missing or cannot be read.
    """
    return None if tag in (SOURCE, PSEUDO) else read_catalogue(tag)


def read_catalogue(tag: str, file: str = MESSAGES) -> Catalog:
    """Read a catalogue of a language as it stands now.

    Raises:
        SettingError: it is missing or cannot be read.
    """
    path = resources.folder("locales") / tag / file
    try:
        with path.open("rb") as held:
            return read_po(held, locale=babel.Locale.parse(tag, sep="-"))
    except (OSError, ValueError) as error:
        raise SettingError(f"The translations of '{tag}' cannot be read: {path}: {error}.") from error


def translation(tag: str, message: str, count: int = 1) -> str | None:
    """Return how a message is said in a language; None where nobody has translated it as it reads today.

    Args:
        count: the number by which a message with several forms is said.
    """
    entries = catalogue(tag)
    entry = entries.get(message) if entries is not None else None
    if entry is None or entry.fuzzy or not is_translated(entry):
        return None
    forms = forms_of(entry)
    return forms[_form_for(tag)(count)] if len(forms) > 1 else forms[0]


def message_of(entry: Message) -> str:
    """Return the message of an entry; of one with several forms that for one alone, by which it is found."""
    return entry.id if isinstance(entry.id, str) else entry.id[0]


def forms_of(entry: Message) -> tuple[str, ...]:
    """Return how a message is said, once for each form that numbers have in the language."""
    return (entry.string,) if isinstance(entry.string, str) else tuple(entry.string or ())


def is_translated(entry: Message) -> bool:
    """Return whether each form of a message is there."""
    forms = forms_of(entry)
    return bool(forms) and all(forms)


@cache
def _form_for(tag: str) -> Callable[[int], int]:
    """Return what gives the place of the form for a number, by the head of the catalogue."""
    entries = catalogue(tag)
    assert entries is not None, "the source has its two forms in the program"
    return gettext.c2py(entries.plural_expr)


@dataclass(frozen=True)
class Review:
    """What a qualified translator has reviewed: recorded by a clinic, message by message."""

    by: str
    qualification: str
    date: dt.date
    digests: frozenset[str]
    """Digest of each message with its translation as they were reviewed."""


@cache
def review_of(tag: str) -> Review | None:
    """Return the review that a clinic recorded in ``locales/TAG/review.toml``, or None."""
    path = resources.folder("locales") / tag / "review.toml"
    if not path.is_file():
        return None
    held = tomllib.loads(path.read_text(encoding="utf-8"))
    return Review(held["by"], held["qualification"], held["date"], frozenset(held["digests"]))


def digest(entry: Message) -> str:
    """Return what stands for a message and its translation in a review."""
    return hashlib.sha256("\0".join((message_of(entry), *forms_of(entry))).encode()).hexdigest()[:16]


@cache
def is_reviewed(tag: str) -> bool:
    """Return whether a qualified translator has reviewed every message as it reads today."""
    held, review = catalogue(tag), review_of(tag)
    if held is None:
        return True
    return review is not None and all(not entry.fuzzy and digest(entry) in review.digests for entry in held if entry.id)
