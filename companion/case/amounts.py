"""The kinds of values that may be entered: amounts with their bounds, lines of text, phone numbers."""

import datetime as dt
import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Any
from unicodedata import category, name

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints, WithJsonSchema
from pydantic_core import core_schema

from companion.facts.units import COMPUTED_IN, SPELLED, Amount, parse_amount
from companion.fonts import without_a_font


@dataclass(frozen=True)
class Within:
    """The kind of an amount and its bounds, both in the unit in which that kind is computed."""

    kind: str
    least: float
    most: float
    slip: str
    """What is said of an amount outside the bounds."""

    def _too_little(self) -> str:
        if "between" in self.slip or " to " in self.slip:
            return self.slip
        return f"too little: at least {self.least:g} {SPELLED[COMPUTED_IN[self.kind]]}"

    def read(self, value: object) -> Amount:
        """Read an amount as typed; raise ``ValueError`` with what is wrong."""
        amount = value if isinstance(value, Amount) else parse_amount(value, self.kind)
        # What is typed in another unit may miss the bound that it names by the last bit: 107.6 °F is 42 °C.
        found = round(amount.to(self.kind), 9)
        if found < self.least:
            raise ValueError(self._too_little())
        if found > self.most:
            raise ValueError(self.slip)
        return amount

    def __get_pydantic_core_schema__(self, _source: Any, _handler: Any) -> core_schema.CoreSchema:
        """Tell Pydantic how to read and write an amount."""
        return core_schema.no_info_plain_validator_function(self.read, serialization=core_schema.to_string_ser_schema())

    def __get_pydantic_json_schema__(self, _schema: Any, _handler: Any) -> dict[str, Any]:
        """Tell an editor how an amount is written."""
        return {"type": "string", "pattern": r"^\s*\d+(\.\d+)?\s*[^\d\s.,].*$", "x-kind": self.kind}


Flow = Annotated[Amount, Within("flow", 0.05, 60, "no home flow: it must lie between 0.05 and 60 L/min")]
ReservoirMass = Annotated[
    Amount,
    Within("mass", 0.05, 69, "more oxygen than the largest home reservoir holds (60 L of liquid, 69 kg, 151 lb)"),
]
Mass = Annotated[Amount, Within("mass", 0.2, 150, "no mass of a home container: it must lie between 0.2 and 150 kg")]
LiquidVolume = Annotated[
    Amount, Within("liquid volume", 0.05, 60, "a home reservoir holds at most 60 L of liquid oxygen")
]
WorkingPressure = Annotated[
    Amount, Within("pressure", 0, 70, "home containers work at 0 to 70 psi (4.8 bar), read on a gauge")
]
CylinderPressure = Annotated[
    Amount, Within("pressure", 500, 4400, "a full cylinder holds 500 to 4,400 psi (34 to 303 bar)")
]
ReservePressure = Annotated[
    Amount,
    Within(
        "pressure",
        1,
        1500,
        "a reserve lies between 1 and 1,500 psi (103 bar); at 0 the cylinder is empty before anybody changes it",
    ),
]
GaugeDivision = Annotated[Amount, Within("pressure", 1, 1000, "no division of a pressure gauge: 1 to 1,000 psi")]
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
    Amount, Within("gas volume", 0.4, 60, "the water volume of a cylinder lies between 0.4 and 60 L")
]
TradeFactor = Annotated[
    Amount,
    Within("trade factor", 0.02, 4, "trade factors lie between 0.02 and 4 L/psi (0.28 for a US size E)"),
]
MassLoss = Annotated[
    Amount, Within("mass loss", 0.01, 3, "boil-off of a home container lies between 0.01 and 3 kg/day")
]
Dose = Annotated[Amount, Within("dose", 1, 200, "a bolus lies between 1 and 200 mL")]
HoursOfDay = Annotated[Amount, Within("time", 0, 1440, "a day has 24 hours")]
# A portable takes a minute or two; the bounds only tell seconds, minutes and hours apart. Common practice, no source.
FillTime = Annotated[Amount, Within("time", 1 / 6, 30, "filling a portable takes 10 s to 30 min")]
ShortTime = Annotated[Amount, Within("time", 0, 240, "more than 4 hours")]
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
    ),
]
# Published: 10 min (Alabama Department of Insurance) to 60 min (training text that matches DOE-HDBK-1015 ch. 5).
AiringTime = Annotated[
    Amount, Within("time", 10, 60, "for clothes that were near oxygen, sources give 10 to 60 minutes")
]
# At least 60 min: the same training text. A day is no source's figure: more is a slip of the unit.
SplashAiringTime = Annotated[
    Amount, Within("time", 60, 1440, "for clothes splashed with liquid, sources give 1 hour or more; write 1 to 24 h")
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
Word = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=24), AfterValidator(_plain_line)
]
Phone = Annotated[
    str, Field(min_length=2, max_length=24, pattern=r"^\+?[0-9][0-9 ().-]*$"), AfterValidator(_plain_line)
]
LanguageTag = Annotated[str, Field(max_length=20, pattern=r"^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$")]
Entry = Annotated[str, Field(min_length=1, max_length=80), AfterValidator(_plain_line)]
Percent = Annotated[Decimal, Field(ge=0, le=100, max_digits=5, decimal_places=2, strict=False)]


def _day(value: object) -> object:
    """Read a date as TOML, JSON or a form give it; a number or a time of day is none."""
    if isinstance(value, dt.datetime):
        raise ValueError("a time of day where only a date belongs")
    if isinstance(value, int | float) and not isinstance(value, bool):
        raise ValueError("a number, not a date; a date has hyphens")
    if isinstance(value, str):
        try:
            return dt.date.fromisoformat(value)
        except ValueError:
            raise ValueError("not a date") from None
    return value


Day = Annotated[dt.date, BeforeValidator(_day)]

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
