"""One language, or two at once: the messages, numbers, lengths of time and dates as they are said there.

``Locale`` is always an argument, never a global: two languages can be made at the same time. It knows no case and
no plan, and it never rounds up.
"""

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal
from functools import cache, lru_cache
from typing import Literal
from unicodedata import bidirectional

import babel
from babel import dates, lists, numbers, units

from companion.errors import SettingError
from companion.facts.region import REGIONS
from companion.facts.units import SPELLED, Amount
from companion.language.catalogue import PSEUDO, SOURCE, is_reviewed, settings, translation
from companion.language.english import english
from companion.language.said import (
    PLACEHOLDER,
    Direction,
    Run,
    Said,
    Speech,
    Value,
    filled,
    isolated,
    typed,
    whole,
)

PARAGRAPH_GAP = 0.66
"""In type sizes. A language whose guide would have more than ten folded sheets sets a little less."""

LATIN_LETTER_WIDTH = 0.48
"""In type sizes, measured on the guide; Cyrillic, Arabic and Devanagari come near it."""


@dataclass(frozen=True)
class Locale:
    """A language as it is written in one country."""

    tag: str
    """BCP 47, a folder under ``locales/``."""
    region: str
    """ISO 3166-1 alpha-2: decides the decimal sign, and date order and spelling where the language has variants."""

    @property
    def cldr(self) -> babel.Locale:
        """Return CLDR's data for the language in this country, or for the language alone."""
        return _cldr(self.tag, self.region)

    @property
    def direction(self) -> Direction:
        """Return ``"rtl"`` or ``"ltr"``."""
        return _direction(self.tag, self.region)

    @property
    def native_name(self) -> str:
        """Return what the language calls itself."""
        return str(settings(self.tag)["name"])

    @property
    def fonts(self) -> list[str]:
        """Return the font families for print, the first that has a sign is used."""
        return list(settings(self.tag)["fonts"])

    @property
    def customs(self) -> list[str]:
        """Return what glows or burns by custom in a home where the language is spoken."""
        return list(settings(self.tag).get("customs", []))

    def on_the_phone(self, answering: str | None) -> tuple[Said, Run | None] | None:
        """Return what to say to who answers a call in another language, and how it sounds in the reader's script.

        None where the language is the reader's own, or one that we do not hold.
        """
        if answering is None or answering == self.tag:
            return None
        theirs = Locale(answering, self.region)
        own_name = _cldr(self.tag, self.region).get_language_name(theirs.cldr)
        words = str(settings(answering)["phone"]["say"]).format(language=own_name)
        sound = settings(self.tag).get("phone", {}).get("sounds", {}).get(answering)
        return theirs.alone(Run(words, bold=True)), Run(sound) if sound else None

    @property
    def letter_width(self) -> float:
        """Return how wide a letter is on the mean, in type sizes."""
        return float(settings(self.tag).get("letter_width", LATIN_LETTER_WIDTH))

    @property
    def paragraph_gap(self) -> float:
        """Return the distance of paragraphs in the guide, in type sizes."""
        return float(settings(self.tag).get("paragraph_gap", PARAGRAPH_GAP))

    @property
    def leading(self) -> float:
        """Return the distance of lines, in type sizes; scripts with tall marks need more."""
        return float(settings(self.tag)["leading"])

    @property
    def languages(self) -> tuple["Locale", ...]:
        """Return each language that is spoken here alone, the reader's first."""
        return (self,)

    @property
    def reviewed(self) -> bool:
        """Return whether a qualified translator has reviewed every message as it reads today."""
        return is_reviewed(self.tag)

    def text(self, message: str) -> str:
        """Return the translation of one message, placeholders and all; the English where it is missing."""
        if self.tag == PSEUDO:
            return _longer(message)
        if self.tag == SOURCE:
            return english(message, self.region)
        return translation(self.tag, message) or english(message, self.region)

    def say(self, message: str, **values: Value) -> Said:
        """Return a message in each language, with its named placeholders filled."""
        return Said(
            tuple(
                language._heard(message)._speech(*filled(language.text(message), values, place))
                for place, language in enumerate(self.languages)
            )
        )

    def plural(self, count: int, one: str, many: str, **values: Value) -> Said:
        """Return a message in the form that a number asks for in each language, which it may hold as ``{count}``."""
        placed = {**values, "count": isolated(count)}
        return Said(
            tuple(
                language._heard(one)._speech(*filled(language._form(count, one, many), placed, place))
                for place, language in enumerate(self.languages)
            )
        )

    def _form(self, count: int, one: str, many: str) -> str:
        found = None if self.tag in (SOURCE, PSEUDO) else translation(self.tag, one, count)
        return found or Locale(self.tag if self.tag == PSEUDO else SOURCE, self.region).text(
            one if count == 1 else many
        )

    def _heard(self, message: str) -> "Locale":
        """Return the language in which a message is read: the source's where it is not translated yet."""
        if PLACEHOLDER.fullmatch(message):
            return self  # it says what its value says
        behind = self.tag not in (SOURCE, PSEUDO) and translation(self.tag, message) is None
        return Locale(SOURCE, self.region) if behind else self

    def alone(self, *runs: Run) -> Said:
        """Return what reads the same in each language, such as a name or a phone number."""
        return Said((self.languages[0]._speech(*runs),))

    def number(self, value: float | Decimal, places: int = 2) -> str:
        """Spell a number, cut (not rounded) after some places, with the digits and the sign that the equipment has.

        The place decides on the sign, and no language: who reads French in the United States has a dial with "1.5".
        """
        cut = Decimal(str(value)).quantize(Decimal(1).scaleb(-places), rounding=ROUND_DOWN).normalize()
        return f"{cut:f}".replace(".", REGIONS[self.region].decimal)

    def flow(self, ordered: Amount) -> Said:
        """Spell a flow exactly as it was ordered, in the unit of the order, without zeros at the end."""
        places = max(0, -int(ordered.number.as_tuple().exponent))
        return self._each(
            lambda language: (isolated(f"{language.number(ordered.number, places)} {SPELLED[ordered.unit]}"),)
        )

    def duration(self, minutes: int) -> Said:
        """Spell a length of time exactly: "3 hours 15 minutes", "7 days". The figure was rounded before."""
        if minutes >= 48 * 60 and minutes % 60 == 0:
            days, hours = divmod(minutes // 60, 24)
            if not hours:
                return self.days(days)
            # Translators: a length of time, such as "2 days 20 hours"
            return self.say("{days} {hours}", days=self.days(days), hours=self.hours(hours))
        hours, rest = divmod(minutes, 60)
        if not hours:
            return self._unit(rest, "duration-minute")
        if not rest:
            return self.hours(hours)
        # Translators: a length of time, such as "3 hours 15 minutes"
        return self.say("{hours} {minutes}", hours=self.hours(hours), minutes=self._unit(rest, "duration-minute"))

    def days(self, count: int) -> Said:
        """Spell a number of whole days."""
        return self._unit(count, "duration-day")

    def weeks(self, count: int) -> Said:
        """Spell a number of whole weeks."""
        return self._unit(count, "duration-week")

    def weekdays(self, days: list[int]) -> Said:
        """Spell the names of weekdays, Monday as 0, as a list in the order of the week."""
        return self._each(lambda language: (typed(_weekdays(language, days)),))

    def hours(self, count: int) -> Said:
        """Spell a number of whole hours."""
        return self._unit(count, "duration-hour")

    def amount(self, value: float, unit: str, places: int = 0) -> Said:
        """Spell an amount in a unit of CLDR such as ``length-meter``, cut after some places."""
        cut = Decimal(str(round(value, 9))).quantize(Decimal(1).scaleb(-places), rounding=ROUND_DOWN)
        # To CLDR "3.0" is another form than "3": in Polish "3,0 metra", but "3 metry".
        return self._unit(int(cut) if cut == int(cut) else cut, unit)

    def date(self, day: dt.date) -> Said:
        """Spell a date with its month in words."""
        return self._each(lambda language: (whole(_date(language, day)),))

    def weekday_date(self, day: dt.date) -> Said:
        """Spell a weekday with its date, without the year: of a day in the next weeks."""
        return self._each(lambda language: (whole(_weekday_date(language, day)),))

    def clock(self, time: dt.time) -> Said:
        """Spell a time of day, such as "8:00 AM" or "17:00"."""
        return self._each(lambda language: (_clock(language, time),))

    def _unit(self, count: int | Decimal, unit: str) -> Said:
        return self._each(lambda language: (_spelled(language, count, unit),))

    def _each(self, spelled: "Callable[[Locale], tuple[Run, ...]]") -> Said:
        return Said(tuple(language._speech(*spelled(language)) for language in self.languages))

    def _speech(self, *runs: Run) -> Speech:
        return Speech(self.tag, self.direction, runs)


@dataclass(frozen=True)
class Bilingual(Locale):
    """A language with a second one line under line, so that a clinician can point at what the patient reads.

    What is said of one language alone (its direction, its fonts) is said of the reader's.
    """

    other: Locale

    @property
    def languages(self) -> tuple[Locale, ...]:
        """Return both languages, each alone."""
        return (Locale(self.tag, self.region), self.other)


def _weekdays(locale: Locale, days: list[int]) -> str:
    names = dates.get_day_names("wide", "stand-alone", locale=locale.cldr)
    return str(lists.format_list([names[day] for day in sorted(set(days))], locale=locale.cldr))


def _weekday_date(locale: Locale, day: dt.date) -> str:
    words = dates.format_skeleton("MMMMEEEEd", day, locale=locale.cldr)
    if locale.cldr.language == "fr" and day.day == 1:
        return str(words).replace("1", "1er", 1)
    return str(words)


def _clock(locale: Locale, time: dt.time) -> Run:
    words = dates.format_time(time, "short", locale=locale.cldr)
    # "7:30 AM" is read from left to right on an Urdu page too; what stands for AM in Arabic, as its page is.
    return whole(words) if any(bidirectional(sign) in ("R", "AL") for sign in words) else isolated(words)


def _date(locale: Locale, day: dt.date) -> str:
    words = dates.format_date(day, "long", locale=locale.cldr)
    if locale.cldr.language == "fr" and day.day == 1:
        return words.replace("1", "1er", 1)  # CLDR leaves the ordinal to the writer
    return words


# The same few hundred times stand in every guide, and CLDR's rules take a tenth of a millisecond for each.
@lru_cache(maxsize=4096, typed=True)
def _spelled(locale: Locale, count: int | Decimal, unit: str) -> Run:
    figure = locale.number(Decimal(count), 1)
    # Babel gives back the bare key where it has no long form, and Arabic and Hebrew drop the figure from
    # one and two; a reader must find the figure that stands in the table. Then the form for 100 serves.
    forms: tuple[tuple[Literal["long", "short"], int | Decimal], ...]
    forms = (("long", count), ("long", 100), ("short", count), ("short", 100))
    for length, counted in forms:
        spelled = units.format_unit(counted, unit, length=length, locale=locale.cldr, numbering_system="latn")
        spelled = spelled.replace(numbers.format_decimal(counted, locale=locale.cldr, numbering_system="latn"), figure)
        if unit not in spelled and figure in spelled:
            break
    return whole(spelled)


_ACCENTED = str.maketrans("aeiouyAEIOUY", "áéíóúýÁÉÍÓÚÝ")


def _longer(message: str) -> str:
    """Accent a message outside its placeholders and add two words in five."""
    parts = re.split(r"(\{[a-z_]*\})", message)
    accented = "".join(part if part.startswith("{") else part.translate(_ACCENTED) for part in parts)
    filler = ("lóng wórds " * 40)[: round(len(message) * 0.4)].strip()
    return f"{accented} {filler}" if filler else accented


@cache
def _direction(tag: str, region: str) -> Direction:
    return "rtl" if _cldr(tag, region).text_direction == "rtl" else "ltr"


@cache
def _cldr(tag: str, region: str) -> babel.Locale:
    for name in (f"{tag.replace('-', '_')}_{region}", tag.replace("-", "_"), tag.split("-", maxsplit=1)[0]):
        try:
            return babel.Locale.parse(name)
        except (babel.UnknownLocaleError, ValueError):
            continue
    raise SettingError(f"CLDR knows no language '{tag}'.")
