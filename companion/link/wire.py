"""How each kind of value is written in a code: as marks of one bit, which a record gathers, and as bytes.

What stands here is printed on paper and read back years later. A kind is never changed: a new way of writing is a
new kind beside the old one.
"""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, ClassVar, Protocol

from companion.facts.units import SPELLED, Amount, units_of

Marks = list[bool]

_FIRST_DAY = dt.date(2020, 1, 1)

_UNITS = (
    # Pint's names. A unit is its place in this list, so a new one comes last.
    "kilogram",
    "gram",
    "pound",
    "ounce",
    "liter",
    "milliliter",
    "liter / minute",
    "milliliter / minute",
    "pound_force_per_square_inch",
    "bar",
    "kilopascal",
    "megapascal",
    "minute",
    "hour",
    "day",
    "kilogram / day",
    "pound / day",
    "gram / hour",
    "liter / pound_force_per_square_inch",
    "liter / bar",
    "meter",
    "foot",
    "gram / day",
    "centimeter",
    "inch",
    "foot ** 3",
    "meter ** 3",
    "degree_Celsius",
    "degree_Fahrenheit",
    "second",
)


class WireError(ValueError):
    """Bytes that no code of ours holds."""


class Reader:
    """Reads bytes one after another."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def take(self, count: int) -> bytes:
        """Return the next bytes."""
        if self._at + count > len(self._data):
            raise WireError("it ends too early")
        self._at += count
        return self._data[self._at - count : self._at]

    def varint(self) -> int:
        """Return a whole number that ``varint`` wrote."""
        number = shift = 0
        while True:
            byte = self.take(1)[0]
            number |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                return number

    def text(self) -> str:
        """Return a text that ``text`` wrote."""
        return self.take(self.varint()).decode("utf-8")

    def end(self) -> None:
        """Make sure that nothing is left."""
        if self._at != len(self._data):
            raise WireError("it goes on after its end")


def varint(number: int) -> bytes:
    """Write a whole number from 0, 7 bits a byte, the lowest first."""
    out = bytearray()
    while number > 127:
        out.append(number & 127 | 128)
        number >>= 7
    return bytes([*out, number])


def text(words: str) -> bytes:
    """Write a text behind its length."""
    data = words.encode("utf-8")
    return varint(len(data)) + data


class Kind(Protocol):
    """How one kind of value is written."""

    @property
    def marks(self) -> int:
        """How many marks it takes."""

    def write(self, value: Any) -> tuple[Marks, bytes]:
        """Return a value as marks and bytes."""

    def read(self, marks: Iterator[bool], reader: Reader) -> Any:
        """Return the value that was written."""


class _Plain:
    """A kind without marks."""

    marks: ClassVar[int] = 0


class Count(_Plain):
    """A whole number from 0."""

    def write(self, value: int) -> tuple[Marks, bytes]:
        return [], varint(value)

    def read(self, _: Iterator[bool], reader: Reader) -> int:
        return reader.varint()


class Text(_Plain):
    """Words."""

    def write(self, value: str) -> tuple[Marks, bytes]:
        return [], text(value)

    def read(self, _: Iterator[bool], reader: Reader) -> str:
        return reader.text()


class Day(_Plain):
    """A date from 2020 on."""

    def write(self, value: dt.date) -> tuple[Marks, bytes]:
        return [], varint((value - _FIRST_DAY).days)

    def read(self, _: Iterator[bool], reader: Reader) -> dt.date:
        try:
            return _FIRST_DAY + dt.timedelta(days=reader.varint())
        except OverflowError as error:
            raise WireError("a day after the last") from error


class Number(_Plain):
    """A number with every digit as it was typed: 10.0 is another spelling than 10.

    Digits and decimal places (0 to 6) share a whole number; what does not fit there stands as text behind a 7.
    """

    def write(self, value: Decimal) -> tuple[Marks, bytes]:
        sign, digits, exponent = value.as_tuple()
        assert isinstance(exponent, int), value  # the model takes neither infinity nor NaN
        if sign or not -6 <= exponent <= 0:
            return [], varint(7) + text(str(value))
        return [], varint(int("".join(map(str, digits))) << 3 | -exponent)

    def read(self, _: Iterator[bool], reader: Reader) -> Decimal:
        packed = reader.varint()
        if packed & 7 == 7:
            return Decimal(reader.text())
        # Arithmetic would round to 28 digits.
        return Decimal((0, Decimal(packed >> 3).as_tuple().digits, -(packed & 7)))


class ShortNumber(Number):
    """A number as version 1 wrote it: at most 7 decimal places, more of them came back as another number."""

    def read(self, _: Iterator[bool], reader: Reader) -> Decimal:
        packed = reader.varint()
        return Decimal(packed >> 3).scaleb(-(packed & 7))


@dataclass(frozen=True)
class Quantity(_Plain):
    """A number with its unit, as typed."""

    of: str
    """What it measures, as ``companion.facts.units`` names it."""

    def write(self, value: Amount) -> tuple[Marks, bytes]:
        return [], Number().write(value.number)[1] + bytes([_UNITS.index(value.unit)])

    def read(self, marks: Iterator[bool], reader: Reader) -> Amount:
        number = Number().read(marks, reader)
        place = reader.take(1)[0]
        if place >= len(_UNITS) or SPELLED[_UNITS[place]] not in units_of(self.of):
            raise WireError(f"no unit of {self.of}")
        return Amount(number, _UNITS[place])


@dataclass(frozen=True)
class OneOf(_Plain):
    """One of some words, by its place."""

    words: tuple[str, ...]

    def write(self, value: str) -> tuple[Marks, bytes]:
        return [], bytes([self.words.index(value)])

    def read(self, _: Iterator[bool], reader: Reader) -> str:
        place = reader.take(1)[0]
        if place >= len(self.words):
            raise WireError("no word of ours")
        return self.words[place]


class Flag:
    """True or false."""

    marks = 1

    def write(self, value: bool | None) -> tuple[Marks, bytes]:
        return [bool(value)], b""

    def read(self, marks: Iterator[bool], _: Reader) -> bool:
        return next(marks)


@dataclass(frozen=True)
class Usual:
    """A value that mostly is the same one: behind a mark that says whether it is another."""

    kind: Kind
    usual: Any

    @property
    def marks(self) -> int:
        return 1 + self.kind.marks

    def is_usual(self, value: Any) -> bool:
        """Return whether a value is the usual one as it is written, for 10.0 equals 10 and is spelled another way."""
        return self.kind.write(value) == self.kind.write(self.usual)

    def write(self, value: Any) -> tuple[Marks, bytes]:
        if self.is_usual(value):
            return [False] * self.marks, b""
        marks, data = self.kind.write(value)
        return [True, *marks], data

    def read(self, marks: Iterator[bool], reader: Reader) -> Any:
        if next(marks):
            return self.kind.read(marks, reader)
        for _ in range(self.kind.marks):
            next(marks)
        return self.usual


@dataclass(frozen=True)
class Maybe(Usual):
    """A value that may be left out: behind a mark that says whether it is there."""

    usual: None = None

    def is_usual(self, value: Any) -> bool:
        """Return whether the value is left out."""
        return value is None


@dataclass(frozen=True)
class Many(_Plain):
    """A list, behind its length. Its items have no marks of their own."""

    kind: Kind

    def write(self, value: list[Any]) -> tuple[Marks, bytes]:
        return [], varint(len(value)) + b"".join(self.kind.write(item)[1] for item in value)

    def read(self, marks: Iterator[bool], reader: Reader) -> list[Any]:
        return [self.kind.read(marks, reader) for _ in range(reader.varint())]


@dataclass(frozen=True)
class Named(_Plain):
    """A table of values by free names. Its values have no marks of their own."""

    kind: Kind

    def write(self, value: Mapping[str, Any]) -> tuple[Marks, bytes]:
        return [], varint(len(value)) + b"".join(text(name) + self.kind.write(item)[1] for name, item in value.items())

    def read(self, marks: Iterator[bool], reader: Reader) -> dict[str, Any]:
        return {reader.text(): self.kind.read(marks, reader) for _ in range(reader.varint())}


@dataclass(frozen=True)
class Record(_Plain):
    """A part of a case: the marks of all its fields first, then the bytes of each, in this order."""

    fields: Mapping[str, Kind]

    def write(self, value: object) -> tuple[Marks, bytes]:
        marks: Marks = []
        body = b""
        for name, kind in self.fields.items():
            more, data = kind.write(getattr(value, name))
            marks += more
            body += data
        bits = sum(mark << place for place, mark in enumerate(marks))
        return [], bits.to_bytes((len(marks) + 7) // 8, "little") + body

    def read(self, _: Iterator[bool], reader: Reader) -> dict[str, Any]:
        count = sum(kind.marks for kind in self.fields.values())
        bits = int.from_bytes(reader.take((count + 7) // 8), "little")
        marks = (bool(bits >> place & 1) for place in range(count))
        values = {name: kind.read(marks, reader) for name, kind in self.fields.items()}
        # A field that was left out is left out again: the model says what that means.
        return {name: value for name, value in values.items() if value is not None}
