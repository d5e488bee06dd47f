"""One language: its catalogue, its numbers and its direction.

``Locale`` is always an argument, never a global: two languages can be made at the same time. It spells
numbers, lengths of time, dates and amounts; it knows no case and no plan, and it never rounds up.
"""

import datetime as dt
import hashlib
import re
import tomllib
from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal
from functools import cache, lru_cache
from typing import Any, Literal

import babel
from babel import dates, lists, numbers, units
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po
from markupsafe import Markup, escape

from companion import resources
from companion.errors import SettingError
from companion.facts.units import SPELLED, Amount

SOURCE = "en"
"""The language in which the guide is written."""


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
        raise SettingError(f"There is no language '{tag}'. There are: {', '.join(available())}.")
    return tomllib.loads(resources.read("locales", f"{tag}/locale.toml"))


@cache
def catalogue(tag: str) -> Catalog | None:
    """Return the translations of a language, read straight from its ``messages.po``; None for the source.

    Raises:
        SettingError: the file is missing or cannot be read.
    """
    if tag in (SOURCE, PSEUDO):
        return None
    path = resources.folder("locales") / tag / "messages.po"
    try:
        with path.open("rb") as file:
            return read_po(file, locale=babel.Locale.parse(tag, sep="-"))
    except (OSError, ValueError) as error:
        raise SettingError(f"The translations of '{tag}' cannot be read: {path}: {error}.") from error


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


def digest(message: str, translation: str) -> str:
    """Return what stands for a message and its translation in a review."""
    return hashlib.sha256(f"{message}\0{translation}".encode()).hexdigest()[:16]


@cache
def is_reviewed(tag: str) -> bool:
    """Return whether a qualified translator has reviewed every message as it reads today."""
    held, review = catalogue(tag), review_of(tag)
    if held is None:
        return True
    return review is not None and all(
        digest(str(entry.id), str(entry.string)) in review.digests for entry in held if entry.id
    )


def isolated(text: object) -> Markup:
    """Wrap what has a direction of its own (a number with its unit, a phone number) and must not break or flip."""
    return Markup(f'<bdi dir="ltr" class="keep">{escape(text)}</bdi>')


@dataclass(frozen=True)
class Locale:
    """A language as it is written in one country."""

    tag: str
    """BCP 47, a folder under ``locales/``."""
    region: str
    """ISO 3166-1 alpha-2: decides date order and spelling of units where the language has variants."""

    @property
    def cldr(self) -> babel.Locale:
        """Return CLDR's data for the language in this country, or for the language alone."""
        return _cldr(self.tag, self.region)

    @property
    def direction(self) -> str:
        """Return ``"rtl"`` or ``"ltr"``."""
        return self.cldr.text_direction

    @property
    def native_name(self) -> str:
        """Return what the language calls itself."""
        return str(settings(self.tag)["name"])

    @property
    def fonts(self) -> list[str]:
        """Return the font families for print, the first that has a sign is used."""
        return list(settings(self.tag)["fonts"])

    @property
    def leading(self) -> float:
        """Return the distance of lines, in type sizes; scripts with tall marks need more."""
        return float(settings(self.tag)["leading"])

    def text(self, message: str) -> str:
        """Return the translation of one message, placeholders and all; the English where it is missing."""
        if self.tag == PSEUDO:
            return _longer(message)
        found = catalogue(self.tag)
        entry = found.get(message) if found is not None else None
        if entry is None or entry.fuzzy or not entry.string:
            return message
        assert isinstance(entry.string, str)
        return entry.string

    @property
    def languages(self) -> tuple["Locale", ...]:
        """Return each language of the page alone, the first first."""
        return (self,)

    @property
    def reviewed(self) -> bool:
        """Return whether a qualified translator has reviewed every message as it reads today."""
        return is_reviewed(self.tag)

    def say(self, message: str, **values: object) -> Markup:
        """Return a translated message with its named placeholders filled; every value is escaped."""
        # str.format, because Markup's own walks each message in Python, a thousand in a set of sheets.
        return Markup(str.format(escape(self.text(message)), **{name: escape(value) for name, value in values.items()}))

    def number(self, value: float | Decimal, places: int = 2) -> str:
        """Spell a number, cut (not rounded) after some places, digits as on the equipment."""
        cut = Decimal(str(value)).quantize(Decimal(1).scaleb(-places), rounding=ROUND_DOWN).normalize()
        return numbers.format_decimal(
            cut, locale=self.cldr, group_separator=False, decimal_quantization=False, numbering_system="latn"
        )

    def flow(self, ordered: Amount) -> Markup:
        """Spell a flow exactly as it was ordered, in the unit of the order, without zeros at the end."""
        places = max(0, -int(ordered.number.as_tuple().exponent))
        return isolated(f"{self.number(ordered.number, places)} {SPELLED[ordered.unit]}")

    def duration(self, minutes: int) -> Markup:
        """Spell a length of time exactly: "3 hours 15 minutes", "7 days". The figure was rounded before."""
        if minutes >= 48 * 60 and minutes % 1440 == 0:
            return self._unit(minutes // 1440, "duration-day")
        hours, rest = divmod(minutes, 60)
        if not hours:
            return self._unit(rest, "duration-minute")
        if not rest:
            return self._unit(hours, "duration-hour")
        # Translators: a length of time, such as "3 hours 15 minutes"
        return self.say(
            "{hours} {minutes}",
            hours=self._unit(hours, "duration-hour"),
            minutes=self._unit(rest, "duration-minute"),
        )

    def days(self, count: int) -> Markup:
        """Spell a number of whole days."""
        return self._unit(count, "duration-day")

    def weeks(self, count: int) -> Markup:
        """Spell a number of whole weeks."""
        return self._unit(count, "duration-week")

    def weekdays(self, days: list[int]) -> Markup:
        """Spell the names of weekdays, Monday as 0, as a list in the order of the week."""
        names = dates.get_day_names("wide", "stand-alone", locale=self.cldr)
        return Markup("<bdi>{}</bdi>").format(
            lists.format_list([names[day] for day in sorted(set(days))], locale=self.cldr)
        )

    def hours(self, count: int) -> Markup:
        """Spell a number of whole hours."""
        return self._unit(count, "duration-hour")

    def amount(self, value: float, unit: str, places: int = 0) -> Markup:
        """Spell an amount in a unit of CLDR such as ``length-meter``, cut after some places."""
        return self._unit(Decimal(self._cut(value, places)), unit)

    def date(self, day: dt.date) -> Markup:
        """Spell a date with its month in words."""
        words = dates.format_date(day, "long", locale=self.cldr)
        if self.cldr.language == "fr" and day.day == 1:
            words = words.replace("1", "1er", 1)  # CLDR leaves the ordinal to the writer
        return Markup(f'<bdi class="keep">{escape(words)}</bdi>')

    def weekday_date(self, day: dt.date) -> Markup:
        """Spell a date under its weekday."""
        return Markup("{} <br/>{}").format(dates.format_date(day, "cccc", locale=self.cldr), self.date(day))

    @staticmethod
    def _cut(value: float, places: int) -> str:
        return str(Decimal(str(round(value, 9))).quantize(Decimal(1).scaleb(-places), rounding=ROUND_DOWN))

    def _unit(self, count: int | Decimal, unit: str) -> Markup:
        return _spelled(self, count, unit)


# The same few hundred times stand in every guide, and CLDR's rules take a tenth of a millisecond for each.
@lru_cache(maxsize=4096, typed=True)
def _spelled(locale: Locale, count: int | Decimal, unit: str) -> Markup:
    figure = locale.number(Decimal(count), 1)
    # Babel gives back the bare key where it has no long form, and Arabic and Hebrew drop the figure from
    # one and two; a reader must find the figure that stands in the table. Then the form for 100 serves.
    forms: tuple[tuple[Literal["long", "short"], int | Decimal], ...]
    forms = (("long", count), ("long", 100), ("short", count), ("short", 100))
    for length, counted in forms:
        spelled = units.format_unit(counted, unit, length=length, locale=locale.cldr, numbering_system="latn")
        if counted == 100:
            spelled = spelled.replace("100", figure)
        if unit not in spelled and figure in spelled:
            break
    return Markup('<bdi class="keep">{}</bdi>').format(spelled)


class Two(Markup):
    """A text in two languages, the second under the first and tagged as its own; each can be had alone."""

    first: Markup
    second: Markup


def _two(first: Markup, second: Markup, other: Locale) -> Two:
    both = Two(
        Markup('{} <span class="other" lang="{}" dir="{}">{}</span>').format(first, other.tag, other.direction, second)
    )
    both.first, both.second = first, second
    return both


@dataclass(frozen=True)
class Bilingual(Locale):
    """A language with a second one line under line, so that a clinician can point at what the patient reads."""

    other: Locale

    @property
    def languages(self) -> tuple[Locale, ...]:
        """Return both languages, each alone."""
        return (Locale(self.tag, self.region), self.other)

    def say(self, message: str, **values: object) -> Markup:
        """Return a message in both languages, each with the values as it spells them."""
        first = {name: value.first if isinstance(value, Two) else value for name, value in values.items()}
        second = {name: value.second if isinstance(value, Two) else value for name, value in values.items()}
        return _two(self.languages[0].say(message, **first), self.other.say(message, **second), self.other)

    def date(self, day: dt.date) -> Markup:
        """Spell a date in both languages."""
        return _two(self.languages[0].date(day), self.other.date(day), self.other)

    def weekday_date(self, day: dt.date) -> Markup:
        """Spell a date under its weekday in both languages."""
        return _two(self.languages[0].weekday_date(day), self.other.weekday_date(day), self.other)

    def _unit(self, count: int | Decimal, unit: str) -> Markup:
        return _two(self.languages[0]._unit(count, unit), self.other._unit(count, unit), self.other)


def plain(text: Markup) -> Markup:
    """Return the first language of a text alone, for a place that takes no markup, such as a title."""
    return text.first if isinstance(text, Two) else text


_ACCENTED = str.maketrans("aeiouyAEIOUY", "áéíóúýÁÉÍÓÚÝ")


def _longer(message: str) -> str:
    """Accent a message outside its placeholders and add two words in five."""
    parts = re.split(r"(\{[a-z_]*\})", message)
    accented = "".join(part if part.startswith("{") else part.translate(_ACCENTED) for part in parts)
    filler = ("lóng wórds " * 40)[: round(len(message) * 0.4)].strip()
    return f"{accented} {filler}" if filler else accented


@cache
def _cldr(tag: str, region: str) -> babel.Locale:
    for name in (f"{tag.replace('-', '_')}_{region}", tag.replace("-", "_"), tag.split("-")[0]):
        try:
            return babel.Locale.parse(name)
        except (babel.UnknownLocaleError, ValueError):
            continue
    raise SettingError(f"CLDR knows no language '{tag}'.")
