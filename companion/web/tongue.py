"""The desk in the language of who sits at it.

What a clinician reads is written in English where it belongs: the words of the desk, the help of each field, the
message of a check with its values in place. At the edge of the page each is looked up in ``locales/TAG/desk.po``,
a message with values by its pattern; what nobody has translated stays English.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from companion import resources
from companion.case.fields import Part, fields_of
from companion.case.model import Case
from companion.language.catalogue import DESK, SOURCE, is_translated, message_of, read_catalogue
from companion.language.said import PLACEHOLDER
from companion.web.desk_words import WORDS, as_on_the_page, way

NUMBER = "{number}"
"""The placeholder that stands for figures alone."""


@cache
def tongues() -> tuple[str, ...]:
    """Return the languages in which the desk can be had, English first."""
    folder = resources.folder("locales")
    return (SOURCE, *sorted(place.parent.name for place in folder.glob(f"*/{DESK}")))


@dataclass(frozen=True)
class Tongue:
    """One language of the desk."""

    tag: str

    def say(self, text: str) -> str:
        """Return an English message in this language, and each message that stands in it as a value."""
        if self.tag == SOURCE or not text:
            return text
        held = _held(self.tag)
        found = held.whole.get(text) or held.whole.get(f"{text[0].swapcase()}{text[1:]}")
        if found:
            return found
        for pattern, translation in held.patterns:
            if (match := pattern.fullmatch(text)) is not None:
                return self._filled(translation, match.groupdict())
        if (counted := re.fullmatch(r"(.+) ([0-9]+)", text)) is not None:
            return f"{self.say(counted[1])} {counted[2]}"
        head, apart, rest = text.partition(": ")
        return f"{self.say(head)}{apart}{self.say(rest)}" if rest else text

    def words(self, name: str, /, **values: object) -> str:
        """Return a sentence of the desk with its values."""
        return self._filled(self.say(WORDS[name]), {key: str(value) for key, value in values.items()})

    def _filled(self, translation: str, values: Mapping[str, str]) -> str:
        return PLACEHOLDER.sub(lambda place: self.say(values[place[1]]), translation)

    def way(self, path: str) -> str:
        """Return how the page calls a field with the part in which it stands."""
        return self.say(way(path))

    def plain(self, text: str) -> str:
        """Return a message as the page says it: each field by its label."""
        return as_on_the_page(self.say(text), _known(), self.say)


@dataclass(frozen=True)
class _Held:
    whole: Mapping[str, str]
    patterns: tuple[tuple[re.Pattern[str], str], ...]
    """Those with the most letters of their own first: they say most surely which message it is."""


@cache
def _held(tag: str) -> _Held:
    entries = [entry for entry in read_catalogue(tag, DESK) if entry.id and is_translated(entry) and not entry.fuzzy]
    said = {message_of(entry): str(entry.string) for entry in entries}
    with_values = [message for message in said if PLACEHOLDER.search(message)]
    with_values.sort(key=lambda message: len(PLACEHOLDER.sub("", message)), reverse=True)
    return _Held(said, tuple((_pattern(message), said[message]) for message in with_values))


def _pattern(message: str) -> re.Pattern[str]:
    made = ""
    for part in re.split(r"(\{[a-z_]+\})", message):
        if not PLACEHOLDER.fullmatch(part):
            made += re.escape(part)
        else:
            made += f"(?P<{part[1:-1]}>{'[0-9.]+' if part == NUMBER else '.+?'})"
    return re.compile(made, re.DOTALL)


@cache
def _known() -> frozenset[str]:
    return frozenset(_names(Case))


def _names(model: type[Part]) -> set[str]:
    found: set[str] = set()
    for name, field in fields_of(model).items():
        found.add(name)
        if field.part is not None:
            found |= _names(field.part)
    return found
