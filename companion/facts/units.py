"""The one Pint registry, and amounts as a person writes them: "2 L/min", "45 lb", "137 bar".

An amount keeps the number and unit that were typed, so that it can be shown and sent on unchanged,
and converts to the unit in which we compute.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint

COMPUTED_IN = {
    "mass": "kilogram",
    "liquid volume": "liter",
    "gas volume": "liter",
    "dose": "milliliter",
    "flow": "liter / minute",
    "pressure": "pound_force_per_square_inch",
    "time": "minute",
    "mass loss": "kilogram / day",
    "trade factor": "liter / pound_force_per_square_inch",
    "distance": "meter",
    "temperature": "degree_Celsius",
}
"""Each kind of amount and the unit in which we compute with it. Pressures are gauge pressures."""

BAR_PER_PSI = 0.0689475729
"""One pound-force per square inch [bar] (NIST SP 811, appendix B.8)."""

KG_PER_LB = 0.45359237
"""One pound [kg], exactly (NIST SP 811, appendix B.8)."""

SPELLED = {
    # Pint's name of a unit and how we write it. The order is part of the link code: add at the end only.
    "kilogram": "kg",
    "gram": "g",
    "pound": "lb",
    "ounce": "oz",
    "liter": "L",
    "milliliter": "mL",
    "liter / minute": "L/min",
    "milliliter / minute": "mL/min",
    "pound_force_per_square_inch": "psi",
    "bar": "bar",
    "kilopascal": "kPa",
    "megapascal": "MPa",
    "minute": "min",
    "hour": "h",
    "day": "days",
    "kilogram / day": "kg/day",
    "pound / day": "lb/day",
    "gram / hour": "g/h",
    "liter / pound_force_per_square_inch": "L/psi",
    "liter / bar": "L/bar",
    "meter": "m",
    "foot": "ft",
    "gram / day": "g/day",
    "centimeter": "cm",
    "inch": "in",
    "foot ** 3": "ft³",
    "meter ** 3": "m³",
    "degree_Celsius": "°C",
    "degree_Fahrenheit": "°F",
    "second": "s",
}

DEFINED = (
    # As Pint's own file defines them. All of that file takes half a second to read, of which every command would pay.
    "kilo- = 1e3 = k-",
    "mega- = 1e6 = M-",
    "deci- = 1e-1 = d-",
    "centi- = 1e-2 = c-",
    "milli- = 1e-3 = m-",
    "meter = [length] = m = metre",
    "second = [time] = s = sec",
    "gram = [mass] = g",
    "kelvin = [temperature]; offset: 0 = K",
    "degree_Celsius = kelvin; offset: 273.15 = °C = celsius = degC = degreeC",
    "degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = °F = fahrenheit = degF = degreeF",
    "minute = 60 * second = min",
    "hour = 60 * minute = h = hr",
    "day = 24 * hour = d",
    "liter = decimeter ** 3 = l = L = ℓ = litre",
    "grain = 64.79891 * milligram = gr",
    "pound = 7e3 * grain = lb = avoirdupois_pound",
    "ounce = pound / 16 = oz = avoirdupois_ounce",
    "yard = 0.9144 * meter = yd = international_yard",
    "foot = yard / 3 = ft = international_foot = feet = international_feet",
    "inch = yard / 36 = in = international_inch = inches = international_inches",
    "newton = kilogram * meter / second ** 2 = N",
    "pascal = newton / meter ** 2 = Pa",
    "bar = 1e5 * pascal",
    "standard_gravity = 9.80665 * meter / second ** 2 = g_0",
    "pound_force = standard_gravity * pound = lbf",
    "pound_force_per_square_inch = pound_force / inch ** 2 = psi = psig",
)

LONGEST_AMOUNT = 40
"""Characters. What is longer is no amount, and is never looked at: reading it could take minutes."""

_NUMBER_AND_UNIT = re.compile(r"\s*([-−]?)(\d[\d,]*)(?:\.(\d+))?\s*([^\d\s.,].*?)?\s*")
_THOUSANDS = re.compile(r"[1-9]\d{0,2}(,\d{3})+")
_MOST_DIGITS = 6
"""On each side of the decimal point: an amount is read off a label, and the code on paper packs no more."""
_UNIT_TEXT = re.compile(r"°?[A-Za-zµ]+³?( ?/ ?[A-Za-z]+)?")

_AS_WRITTEN = {
    # What stands on labels and orders, and the unit that it can only mean. In small letters.
    "psi": "psi",
    "psig": "psi",
    "lb": "lb",
    "lbs": "lb",
    "kg": "kg",
    "lpm": "L/min",
    "l/m": "L/min",
    "l/min": "L/min",
    "lb/day": "lb/day",
    "lbs/day": "lb/day",
    "kg/day": "kg/day",
    "cu ft": "ft³",
    "cuft": "ft³",
    "cf": "ft³",
    "ft3": "ft³",
    "cubic feet": "ft³",
    "cubic foot": "ft³",
    "m3": "m³",
    "cubic metres": "m³",
    "cubic meters": "m³",
}


@cache
def registry() -> "pint.UnitRegistry[float]":
    """Return the registry of the units in ``DEFINED``; made once."""
    import pint

    units: pint.UnitRegistry[float] = pint.UnitRegistry(None, cache_folder=None)
    units.load_definitions(DEFINED)
    return units


@cache
def _scale(unit: str, target: str) -> tuple[float, float]:
    """Return factor and offset from one unit to another; only temperatures have an offset."""
    zero, one = (float(registry().Quantity(number, unit).to(target).magnitude) for number in (0.0, 1.0))
    return one - zero, zero


@cache
def _unit_named(text: str) -> str | None:
    """Return Pint's name of a unit as typed, or None where it is no unit."""
    text = re.sub(r"\s*(?:/|\b(?:per|a)\b)\s*", "/", " ".join(text.replace(".", "").split()))
    text = _AS_WRITTEN.get(text.casefold(), text)
    if not _UNIT_TEXT.fullmatch(text):
        return None
    import pint

    try:
        return str(registry().parse_units(text.replace("³", "**3")))
    except (pint.errors.PintError, ValueError, TypeError):
        return None


@cache
def units_of(kind: str) -> tuple[str, ...]:
    """Return the spellings that are understood for one kind of amount, ours first."""
    parsed = registry().parse_units
    wanted = parsed(COMPUTED_IN[kind]).dimensionality
    return tuple(spelling for name, spelling in SPELLED.items() if parsed(name).dimensionality == wanted)


@dataclass(frozen=True)
class Amount:
    """A number with its unit, as typed."""

    number: Decimal
    unit: str
    """Pint's name, a key of ``SPELLED``."""

    def to(self, kind: str) -> float:
        """Return the value in the unit in which that kind is computed."""
        factor, offset = _scale(self.unit, COMPUTED_IN[kind])
        return float(self.number) * factor + offset

    def __str__(self) -> str:
        return f"{self.number} {SPELLED[self.unit]}"


def parse_amount(text: object, kind: str) -> Amount:
    """Read an amount such as "2 L/min" that can mean one thing only.

    Raises:
        ValueError: with what is wrong and what would be right, in words.
    """
    found = readings(text, kind)
    if len(found) > 1:
        raise ValueError(f"{either(found)}; write it without a comma")
    return found[0]


def readings(value: object, kind: str, usual: Sequence[str] = ()) -> list[Amount]:
    """Return every amount that was possibly meant, at least one.

    Args:
        value: a text such as "2 L/min", or a number.
        kind: the kind of amount.
        usual: the units, as we spell them, in which a number alone may be meant here.

    Raises:
        ValueError: with what is wrong and what would be right, in words.
    """
    if isinstance(value, int | float | Decimal) and not isinstance(value, bool):
        value = str(value)
    units = ", ".join(units_of(kind))
    if not isinstance(value, str):
        raise ValueError(f"not a number with its unit; write one of {units}")
    if len(value) > LONGEST_AMOUNT:
        raise ValueError(f"too long for an amount: at most {LONGEST_AMOUNT} characters")
    match = _NUMBER_AND_UNIT.fullmatch(value)
    if match is None:
        raise ValueError("not a number followed by a unit")
    sign, whole, part, unit_text = match.groups()
    if sign:
        raise ValueError("less than nothing: an amount has no minus sign")
    numbers = _numbers(whole, part)
    if unit_text is None:
        if not usual:
            raise ValueError(f"a number needs its unit; write one of {units}")
        named = [_unit_named(one) for one in usual]
    else:
        if re.match(r"[-–]\s*\d", unit_text):
            raise ValueError("a range; write the one number that was ordered or measured")
        named = [_unit_named(unit_text)]
        # "2 L" for a flow: of each minute, where a number alone would be too.
        if named[0] and [_unit_named(one) for one in usual] == [f"{named[0]} / minute"]:
            named = [f"{named[0]} / minute"]
    if any(unit not in SPELLED or SPELLED[unit] not in units_of(kind) for unit in named):
        raise ValueError(f"'{unit_text}' is no unit of {kind} here; write one of {units}")
    return [Amount(number, unit) for unit in named if unit for number in numbers]


def _numbers(whole: str, part: str | None) -> list[Decimal]:
    """Return what figures may mean: a comma parts thousands, or stands for the decimal point."""
    written = []
    if "," not in whole:
        written.append(f"{whole}.{part}" if part else whole)
    else:
        if _THOUSANDS.fullmatch(whole):
            written.append(whole.replace(",", "") + (f".{part}" if part else ""))
        if whole.count(",") == 1 and not part and not whole.endswith(","):
            written.append(whole.replace(",", "."))
    if not written:
        raise ValueError("not a number followed by a unit (a comma parts three figures, as in 2,000)")
    for one in written:
        before, _, after = one.partition(".")
        if len(before) > _MOST_DIGITS or len(after) > _MOST_DIGITS:
            raise ValueError(
                f"too many digits: at most {_MOST_DIGITS} before the decimal point and {_MOST_DIGITS} after it"
            )
    return [Decimal(one) for one in written]


def either(amounts: Sequence[Amount]) -> str:
    """Return the words for an amount that may mean several things."""
    return f"it may mean {' or '.join(map(str, dict.fromkeys(amounts)))}"


_HOURS_AND_MINUTES = re.compile(
    r"\s*(\d{1,4})\s*(?::(?=\d\d)|h(?:(?:ou)?rs?)?)\s*(\d{1,2})\s*(?:m(?:in(?:ute)?s?)?)?\s*",
    re.IGNORECASE | re.ASCII,
)


def parse_duration_min(text: str) -> float:
    """Read how long something takes, as people write it: "90 min", "1.5 h", "1h30", "1 h 30 min", "1:30" [min].

    Raises:
        ValueError: with what is wrong and what would be right, in words.
    """
    parts = _HOURS_AND_MINUTES.fullmatch(text)
    if parts is None:
        return parse_amount(text, "time").to("time")
    hours, minutes = int(parts[1]), int(parts[2])
    if minutes >= 60:
        raise ValueError(f"an hour has 60 minutes, and behind the hours stand {minutes}")
    return 60.0 * hours + minutes
