"""The kinds of values that may be entered: amounts with their bounds, lines of text, phone numbers."""

import datetime as dt
import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Any
from unicodedata import category, name

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints, ValidationInfo, WithJsonSchema
from pydantic_core import core_schema

from companion.facts.region import DAY_FIRST, MONTH_FIRST, region_code
from companion.facts.units import COMPUTED_IN, SPELLED, Amount, either, readings
from companion.fonts import without_a_font


@dataclass(frozen=True)
class Within:
    """The kind of an amount and its bounds, both in the unit in which that kind is computed."""

    kind: str
    least: float
    most: float
    slip: str
    """What is said of an amount outside the bounds."""
    usual: tuple[str, ...] = ()
    """The units in which a number alone may be meant here; it is read where only one of them lies within the bounds.
    None for a mass (lb, kg), a boil-off, a length, the gas of a cylinder: there more than one is sensible."""

    def _too_little(self) -> str:
        if "between" in self.slip or " to " in self.slip:
            return self.slip
        return f"too little: at least {self.least:g} {SPELLED[COMPUTED_IN[self.kind]]}"

    def read(self, value: object) -> Amount:
        """Read an amount as typed; raise ``ValueError`` with what is wrong."""
        amounts = [value] if isinstance(value, Amount) else readings(value, self.kind, self.usual)
        # What is typed in another unit may miss the bound that it names by the last bit: 107.6 °F is 42 °C.
        found = {amount: round(amount.to(self.kind), 9) for amount in amounts}
        fitting = [amount for amount, size in found.items() if self.least <= size <= self.most]
        if len({found[amount] for amount in fitting}) > 1:
            raise ValueError(f"{either(fitting)}; write it with its unit and without a comma")
        if fitting:
            return fitting[0]
        if len(found) > 1 and len({amount.unit for amount in amounts}) > 1:
            raise ValueError(f"in no usual unit it fits: {either(amounts)}; {self.slip}")
        raise ValueError(self._too_little() if max(found.values()) < self.least else self.slip)

    def __get_pydantic_core_schema__(self, _source: Any, _handler: Any) -> core_schema.CoreSchema:
        """Tell Pydantic how to read and write an amount."""
        return core_schema.no_info_plain_validator_function(self.read, serialization=core_schema.to_string_ser_schema())

    def __get_pydantic_json_schema__(self, _schema: Any, _handler: Any) -> dict[str, Any]:
        """Tell an editor how an amount is written."""
        unit = r"\s*[^\d\s.,].*" if not self.usual else ".*"
        return {"type": ["string", "number"], "pattern": rf"^\s*\d[\d,]*(\.\d+)?{unit}$", "x-kind": self.kind}


Flow = Annotated[
    Amount, Within("flow", 0.05, 60, "no home flow: it must lie between 0.05 and 60 L/min", usual=("L/min",))
]
ReservoirMass = Annotated[
    Amount,
    Within(
        "mass",
        0.05,
        69,
        "more oxygen than the largest home reservoir holds (60 L of liquid, 69 kg, 151 lb)",
    ),
]
Mass = Annotated[
    Amount,
    Within("mass", 0.2, 150, "no mass of a home container: it must lie between 0.2 and 150 kg"),
]
LiquidVolume = Annotated[
    Amount, Within("liquid volume", 0.05, 60, "a home reservoir holds at most 60 L of liquid oxygen", usual=("L",))
]
WorkingPressure = Annotated[
    Amount,
    Within("pressure", 0, 70, "home containers work at 0 to 70 psi (4.8 bar), read on a gauge", usual=("psi", "bar")),
]
CylinderPressure = Annotated[
    Amount,
    Within("pressure", 500, 4400, "a full cylinder holds 500 to 4,400 psi (34 to 303 bar)", usual=("psi", "bar")),
]
ReservePressure = Annotated[
    Amount,
    Within(
        "pressure",
        1,
        1500,
        "a reserve lies between 1 and 1,500 psi (103 bar); at 0 the cylinder is empty before anybody changes it",
        usual=("psi", "bar"),
    ),
]
GaugeDivision = Annotated[
    Amount, Within("pressure", 1, 1000, "no division of a pressure gauge: 1 to 1,000 psi", usual=("psi", "bar"))
]
GasVolume = Annotated[
    Amount,
    Within(
        "gas volume",
        50,
        12000,
        "a cylinder holds 50 to 12,000 L of gas; litres of liquid are another quantity",
    ),
]
WaterVolume = Annotated[
    Amount, Within("gas volume", 0.4, 60, "the water volume of a cylinder lies between 0.4 and 60 L", usual=("L",))
]
TradeFactor = Annotated[
    Amount,
    Within(
        "trade factor",
        0.02,
        4,
        "trade factors lie between 0.02 and 4 L/psi (0.28 for a US size E)",
        usual=("L/psi", "L/bar"),
    ),
]
MassLoss = Annotated[
    Amount,
    Within(
        "mass loss",
        0.01,
        3,
        "boil-off of a home container lies between 0.01 and 3 kg/day",
    ),
]
Dose = Annotated[Amount, Within("dose", 1, 200, "a bolus lies between 1 and 200 mL", usual=("mL",))]
HoursOfDay = Annotated[Amount, Within("time", 0, 1440, "a day has 24 hours", usual=("h",))]
# A portable takes a minute or two; the bounds only tell seconds, minutes and hours apart. Common practice, no source.
FillTime = Annotated[Amount, Within("time", 1 / 6, 30, "filling a portable takes 10 s to 30 min")]
ShortTime = Annotated[Amount, Within("time", 0, 240, "more than 4 hours", usual=("min", "h"))]
# The highest town in which people live all year lies at 5,100 m (from memory).
Altitude = Annotated[Amount, Within("distance", 0, 5500, "no home lies so high: 0 to 5,500 m (18,000 ft)")]
Distance = Annotated[Amount, Within("distance", 0.5, 30, "no sensible safety distance: 0.5 to 30 m")]
# 37 °C: Wilderness Medical Society 2011, 2020; 42 °C: first-aid page of Carman-Dufferin ("40 to 42 °C"). The 40 to
# 46 °C of DOE-HDBK-1015 reach what scalds, and laboratories stop at 40 or 41 °C.
WaterTemperature = Annotated[
    Amount,
    Within(
        "temperature",
        37,
        42,
        "water for frozen skin is 37 to 42 °C (98.6 to 107.6 °F): cooler thaws too slowly, warmer scalds skin that "
        "cannot feel it",
        usual=("°C", "°F"),
    ),
]
# Published: 10 min (Alabama Department of Insurance) to 60 min (training text that matches DOE-HDBK-1015 ch. 5).
AiringTime = Annotated[
    Amount,
    Within("time", 10, 60, "for clothes that were near oxygen, sources give 10 to 60 minutes", usual=("min", "h")),
]
# At least 60 min: the same training text. A day is no source's figure: more is a slip of the unit.
SplashAiringTime = Annotated[
    Amount,
    Within(
        "time",
        60,
        1440,
        "for clothes splashed with liquid, sources give 1 hour or more; write 1 to 24 h",
        usual=("min", "h"),
    ),
]

# Line ends, controls, and what Unicode (DerivedCoreProperties, 17.0) says is drawn as nothing: soft hyphens, direction
# marks, fillers, variation selectors, tags. Joiners stay: Persian and many Indian languages write with them.
_HIDDEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\xad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f"
    "\u3164\ufe00-\ufe0f\ufeff\uffa0\ufff0-\ufff8\ufffe\uffff\U0001bca0-\U0001bca3\U0001d173-\U0001d17a\U000e0000-\U000e0fff]"
)


def _plain_line(value: str) -> str:
    """Refuse characters that cannot be seen, as they could turn a line round, and signs that cannot be printed."""
    hidden = _HIDDEN.search(value)
    if hidden:
        raise ValueError(
            f"it holds a control or direction character that cannot be seen ({_code_of(hidden[0])}); type it anew"
        )
    if not any(category(sign)[0] in "LNPS" for sign in value):
        raise ValueError("it holds nothing that can be seen")
    if missing := without_a_font(value):
        raise ValueError(
            f"the guide cannot be printed with '{missing}' ({_code_of(missing)}): no font of this program has it; "
            "write it in other letters, as on an international letter"
        )
    return value


def _code_of(signs: str) -> str:
    return ", ".join(f"U+{ord(sign):04X} {name(sign, '')}".strip() for sign in signs)


Line = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80), AfterValidator(_plain_line)
]
Sentence = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200), AfterValidator(_plain_line)
]
Word = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=24), AfterValidator(_plain_line)
]
Phone = Annotated[
    str, Field(min_length=2, max_length=24, pattern=r"^[+(]?[0-9][0-9 ().-]*$"), AfterValidator(_plain_line)
]
LanguageTag = Annotated[str, Field(max_length=20, pattern=r"^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$")]
Entry = Annotated[str, Field(min_length=1, max_length=80), AfterValidator(_plain_line)]
Percent = Annotated[Decimal, Field(ge=0, le=100, max_digits=5, decimal_places=2, strict=False)]


_NUMBERED_DAY = re.compile(r"(\d{1,2})([/.-])(\d{1,2})\2(\d{4}|\d{2})")
_NAMED_DAY = re.compile(r"(?:(\d{1,2})\.? ([a-z]{3,9})\.?|([a-z]{3,9})\.? (\d{1,2})),? (\d{4})")
_MONTHS = (
    *("january", "february", "march", "april", "may", "june"),
    *("july", "august", "september", "october", "november", "december"),
)


def _day(value: object, info: ValidationInfo) -> object:
    """Read a date as TOML, JSON or a person gives it; a number or a time of day is none."""
    if isinstance(value, dt.datetime):
        raise ValueError("a time of day where only a date belongs")
    if isinstance(value, int | float) and not isinstance(value, bool):
        raise ValueError("a number, not a date; a date has hyphens")
    if not isinstance(value, str):
        return value
    found = set(_days(value.strip().casefold(), (info.context or {}).get("region")))
    if len(found) > 1:
        either = " or ".join(f"{day:%-d %B %Y}" for day in sorted(found))
        raise ValueError(f"it may mean {either}; write the year first, as in 2026-11-30")
    if not found:
        raise ValueError("not a date")
    return found.pop()


def _days(text: str, region: str | None) -> Iterator[dt.date]:
    """Yield every day that a text may mean; the order of day and month is that of the region where one has its own."""
    if (numbers := _NUMBERED_DAY.fullmatch(text)) is not None:
        first, mark, second, year = numbers.groups()
        day_first = _day_of(year, second, first)
        month_first = _day_of(year, first, second)
        if mark == "." or region in DAY_FIRST:
            yield from day_first
        elif region in MONTH_FIRST:
            yield from month_first
        else:
            yield from (*day_first, *month_first)
    elif (named := _NAMED_DAY.fullmatch(text)) is not None:
        month = named[2] or named[3]
        numbers_of = [place for place, name in enumerate(_MONTHS, start=1) if name.startswith(month)]
        if len(numbers_of) == 1:
            yield from _day_of(named[5], str(numbers_of[0]), named[1] or named[4])
    else:
        try:
            yield dt.date.fromisoformat(text)
        except ValueError:
            return


def _day_of(year: str, month: str, day: str) -> list[dt.date]:
    """Return the day of three numbers, or none; a year of two figures is one of this century."""
    try:
        return [dt.date(int(year) if len(year) == 4 else 2000 + int(year), int(month), int(day))]
    except ValueError:
        return []


Day = Annotated[dt.date, BeforeValidator(_day)]


RegionCode = Annotated[
    str, BeforeValidator(lambda value: region_code(value) if isinstance(value, str) else value), Field(max_length=40)
]

_CLOCK = r"(?:[01][0-9]|2[0-3]):[0-5][0-9](?::00)?"


def _clock_time(value: object) -> dt.time:
    """Read a time of day as a file, a cell or a form give it."""
    if isinstance(value, dt.time):  # TOML has times of its own
        value = value.isoformat()
    if not isinstance(value, str) or not re.fullmatch(_CLOCK, value):
        raise ValueError("not a time of the 24-hour clock: two digits, a colon, two digits")
    return dt.time.fromisoformat(value)


ClockTime = Annotated[
    dt.time, BeforeValidator(_clock_time), WithJsonSchema({"type": "string", "pattern": f"^{_CLOCK}$"})
]
