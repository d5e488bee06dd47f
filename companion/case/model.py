"""The case: one patient's prescription and equipment, as it was ordered.

Every field says in its description what is right and in ``ask`` who knows it, because the messages of
``companion check`` and the JSON Schema are made from them. Nothing here computes a duration, and
nothing that can hurt has a default.
"""

import datetime as dt
import math
import re
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    model_validator,
)
from pydantic_core import core_schema

from companion.facts import oxygen
from companion.facts.region import REGIONS, Region
from companion.facts.units import COMPUTED_IN, SPELLED, Amount, parse_amount, units_of

SUPPLIER = "the equipment supplier (it stands on the container's data sheet)"
PRESCRIBER = "the prescriber"
CLINIC = "whoever keeps the clinic's own settings"
CLINICIAN = "the person who hands over the equipment"

ACTIVITIES = ("rest", "exertion", "sleep")
Activity = Literal["rest", "exertion", "sleep"]

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]


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
ReservePressure = Annotated[Amount, Within("pressure", 0, 1500, "more than any usual reserve (1,500 psi, 103 bar)")]
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
ShortTime = Annotated[Amount, Within("time", 0, 240, "more than 4 hours")]
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

# Line ends, controls, soft hyphens, direction marks and tags. Joiners stay: Persian and emoji need them.
_HIDDEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\xad\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u2069\ufeff\ufffe\uffff\U000e0000-\U000e007f]"
)


def _plain_line(value: str) -> str:
    """Refuse characters that cannot be seen: they could turn the order of a line round, or break the page."""
    if _HIDDEN.search(value):
        raise ValueError("it holds a control or direction character that cannot be seen; type it anew")
    return value


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
Percent = Annotated[Decimal, Field(ge=0, le=100, max_digits=5, decimal_places=2)]


def _asked(description: str, ask: str, example: object, *, in_link: bool = True, **rules: Any) -> Any:
    """Describe a field: what is right, who knows it, and whether it travels in the link.

    What could tell who the patient is never travels.
    """
    return Field(
        description=description,
        examples=[example],
        json_schema_extra={"x-ask": ask, "x-in-link": in_link},
        **rules,
    )


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, validate_default=False)


class Patient(_Part):
    """Who the guide is for. All of it stays out of the link."""

    name: Line | None = _asked(
        "the name to print on the guide, or leave it out",
        CLINICIAN,
        "Rosa Lindqvist",
        in_link=False,
        default=None,
    )
    languages: list[LanguageTag] | None = _asked(
        "the languages of the guide, such as ['es', 'en']; left out, English",
        CLINICIAN,
        ["es"],
        in_link=False,
        default=None,
        min_length=1,
        max_length=6,
    )


class ActivityOrder(_Part):
    """What is ordered for one activity: a continuous flow, a pulse setting, or both."""

    flow: Flow | None = _asked("a continuous flow, such as '2 L/min'", PRESCRIBER, "2 L/min", default=None)
    pulse_setting: str | None = _asked(
        "the number on the conserver, such as '2'; a setting has no unit and is not a flow",
        PRESCRIBER,
        "2",
        default=None,
        pattern=r"^[0-9]{1,2}(\.5)?$",
    )
    breaths_per_minute: int | None = _asked(
        "how often this patient breathes in a minute in this activity, counted; needed for a pulse setting",
        CLINICIAN,
        20,
        default=None,
        ge=8,
        le=60,
    )
    hours_per_day: HoursOfDay = _asked("hours a day in this activity with oxygen, such as '8 h'", PRESCRIBER, "8 h")
    on_portable: HoursOfDay | None = _asked(
        "how many of these hours are spent on a portable, such as '2 h'; "
        "left out, the supply is planned as if the reservoir gave them as well",
        CLINICIAN,
        "2 h",
        default=None,
    )

    @model_validator(mode="after")
    def _says_how(self) -> Self:
        if self.flow is None and self.pulse_setting is None:
            raise ValueError("neither a flow nor a pulse setting is ordered; give 'flow', 'pulse_setting' or both")
        if self.pulse_setting is not None and self.breaths_per_minute is None:
            raise ValueError("a pulse setting needs 'breaths_per_minute': its use is bolus × breaths per minute")
        if self.on_portable is not None and self.on_portable.to("time") > self.hours_per_day.to("time"):
            raise ValueError("'on_portable' is longer than 'hours_per_day'")
        return self


class SaturationTarget(_Part):
    """The range of oxygen saturation that the prescriber wants, in per cent."""

    low: int = _asked("the lower end in per cent", PRESCRIBER, 88, ge=70, le=100)
    high: int = _asked("the upper end in per cent", PRESCRIBER, 92, ge=70, le=100)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.low >= self.high:
            raise ValueError("'low' must be less than 'high'")
        return self


class Prescription(_Part):
    """What the prescriber ordered."""

    prescriber: Line | None = _asked("who ordered the oxygen", CLINICIAN, "Dr Amara Osei", in_link=False, default=None)
    review_date: dt.date = _asked(
        "the day by which the order is reviewed, such as 2027-03-01", PRESCRIBER, "2027-03-01"
    )
    interface: Literal["nasal cannula", "mask", "transtracheal catheter"] = _asked(
        "'nasal cannula', 'mask' or 'transtracheal catheter'", PRESCRIBER, "nasal cannula"
    )
    target_saturation: SaturationTarget | None = _asked(
        "only if the prescriber gave one: { low = 88, high = 92 }",
        PRESCRIBER,
        {"low": 88, "high": 92},
        default=None,
    )
    humidifier: bool = _asked("true or false", PRESCRIBER, False)
    hours_off_oxygen: HoursOfDay = _asked(
        "hours a day without oxygen, '0 h' if none; with the hours of the activities it makes 24",
        PRESCRIBER,
        "0 h",
    )
    rest: ActivityOrder | None = _asked("what is ordered at rest", PRESCRIBER, {}, default=None)
    exertion: ActivityOrder | None = _asked("what is ordered when walking or working", PRESCRIBER, {}, default=None)
    sleep: ActivityOrder | None = _asked("what is ordered asleep", PRESCRIBER, {}, default=None)

    def orders(self) -> dict[Activity, ActivityOrder]:
        """Return what is ordered, by activity, only the activities that are ordered."""
        found = {"rest": self.rest, "exertion": self.exertion, "sleep": self.sleep}
        return {activity: found[activity] for activity in ACTIVITIES if found[activity] is not None}  # type: ignore[misc]

    @model_validator(mode="after")
    def _fills_a_day(self) -> Self:
        if not self.orders():
            raise ValueError("no activity is ordered; give at least one of 'rest', 'exertion', 'sleep'")
        minutes = self.hours_off_oxygen.to("time") + sum(
            order.hours_per_day.to("time") for order in self.orders().values()
        )
        if abs(minutes - 1440) > 0.5:
            raise ValueError(
                f"the hours of the activities and 'hours_off_oxygen' make {minutes / 60:g} h; a day has 24 h"
            )
        return self


class Gauge(_Part):
    """The gauge that shows how much liquid is left."""

    kind: Literal["float", "hanging", "pressure difference", "electronic"] = _asked(
        "'float', 'hanging' (read while it hangs from its strap), 'pressure difference' or 'electronic'",
        SUPPLIER,
        "float",
    )
    divisions: int = _asked(
        "how many equal parts its marks make between empty and full, 4 for quarters", SUPPLIER, 4, ge=2, le=20
    )


class _LiquidContainer(_Part):
    # The most oxygen beside the empty mass that a container plausibly holds. Typical ones hold 1.4 (reservoir)
    # and 0.3 to 0.6 (portable); a full mass typed for the oxygen is 1 more than the true share.
    _most_oxygen_to_empty: ClassVar[float] = 1.8
    name: Line | None = _asked(
        "what the clinic calls this container; stays out of the link",
        CLINICIAN,
        "By the bed",
        in_link=False,
        default=None,
    )
    liquid_volume: LiquidVolume | None = _asked(
        "litres of liquid oxygen when full, with 'working_pressure'; or give 'oxygen_mass'",
        SUPPLIER,
        "31 L",
        default=None,
    )
    working_pressure: WorkingPressure | None = _asked(
        "the pressure at which it works, such as '20 psi'; needed with 'liquid_volume'",
        SUPPLIER,
        "20 psi",
        default=None,
    )
    empty_mass: Mass = _asked("what the empty container weighs, such as '51 lb'", SUPPLIER, "51 lb")
    boil_off: MassLoss = _asked(
        "what evaporates a day while it stands unused, such as '1.5 lb/day'", SUPPLIER, "1.5 lb/day"
    )
    economiser: bool | None = _asked(
        "true if the gas that boils off is breathed first; left out, it is counted as lost beside the flow",
        SUPPLIER,
        True,
        default=None,
    )
    max_flow: Flow = _asked("the highest flow it can give, such as '6 L/min'", SUPPLIER, "6 L/min")
    gauge: Gauge = _asked("{ kind = 'float', divisions = 4 }", SUPPLIER, {"kind": "float", "divisions": 4})
    coupling: Word = _asked(
        "the family of its fill coupling, in the supplier's words; a portable and its reservoir must agree",
        SUPPLIER,
        "top fill",
    )

    oxygen_mass: ReservoirMass | None = _asked(
        "the mass of the oxygen alone when full, such as '73 lb'; or give 'liquid_volume' and 'working_pressure'",
        SUPPLIER,
        "73 lb",
        default=None,
    )

    @model_validator(mode="after")
    def _holds_what_it_says(self) -> Self:
        stated = self.oxygen_mass.to("mass") if self.oxygen_mass else None
        derived = None
        if self.liquid_volume is not None:
            if self.working_pressure is None:
                raise ValueError("'liquid_volume' needs 'working_pressure': a litre under pressure is lighter")
            derived = self.liquid_volume.to("liquid volume") * oxygen.liquid_density_kg_per_l(
                self.working_pressure.to("pressure") * 0.0689476
            )
        if stated is None and derived is None:
            raise ValueError("its content is missing; give 'oxygen_mass', or 'liquid_volume' and 'working_pressure'")
        if stated is not None and derived is not None and not 0.9 < stated / derived < 1.1:
            raise ValueError(
                f"'oxygen_mass' is {stated:.2f} kg, but 'liquid_volume' makes {derived:.2f} kg; one of them is wrong"
            )
        content = self.content_kg()
        empty = self.empty_mass.to("mass")
        if content > self._most_oxygen_to_empty * empty:
            raise ValueError(
                f"{content:.1f} kg of oxygen in a container of {empty:.1f} kg is too much; "
                "is it the mass of the full container, or kg where lb was meant?"
            )
        if not 0.002 < self.boil_off.to("mass loss") / content < 2.5:
            raise ValueError(
                f"a boil-off of {self.boil_off} does not fit {content:.2f} kg of oxygen; look at both units"
            )
        return self

    def content_kg(self) -> float:
        """Return the oxygen in the full container [kg]; where mass and volume are both given, the smaller."""
        found = []
        if self.oxygen_mass is not None:
            found.append(self.oxygen_mass.to("mass"))
        if self.liquid_volume is not None and self.working_pressure is not None:
            density = oxygen.liquid_density_kg_per_l(self.working_pressure.to("pressure") * 0.0689476)
            found.append(self.liquid_volume.to("liquid volume") * density)
        return min(found)


class Reservoir(_LiquidContainer):
    """The stationary container of liquid oxygen that stays at home."""

    water_bottle: bool = _asked("true if a bottle collects the water that drips from it", SUPPLIER, True)


class Portable(_LiquidContainer):
    """The container of liquid oxygen that is filled from the reservoir and carried."""

    _most_oxygen_to_empty: ClassVar[float] = 1.0

    carrier: Literal["bag", "trolley"] = _asked("'bag' or 'trolley'", CLINICIAN, "bag")
    conserver: bool = _asked(
        "true if it gives oxygen in pulses by the conserver of this case", SUPPLIER, False, default=False
    )
    cold_fills_per_day: int = _asked(
        "how many times a day it is filled while still cold from the last fill", CLINICIAN, 1, ge=0, le=12
    )
    warm_fills_per_day: int = _asked("how many times a day it is filled when warm", CLINICIAN, 0, ge=0, le=12)

    @model_validator(mode="after")
    def _can_be_carried(self) -> Self:
        largest = oxygen.LARGEST_PORTABLE_L
        litres = self.liquid_volume.to("liquid volume") if self.liquid_volume else self.content_kg() / 1.1412
        if litres > largest:
            raise ValueError(
                f"a portable holds at most {largest} L of liquid oxygen (1.7 kg, 3.8 lb); is it litres of gas, or lb?"
            )
        return self


class Cylinder(_Part):
    """A cylinder of compressed oxygen gas, kept as back-up. A letter alone does not fix its content."""

    name: Line | None = _asked(
        "what the clinic calls this cylinder; stays out of the link",
        CLINICIAN,
        "Hall",
        in_link=False,
        default=None,
    )
    count: int = _asked("how many such cylinders are in the home", CLINICIAN, 2, ge=1, le=20)
    full_pressure: CylinderPressure = _asked(
        "the pressure when full, such as '2000 psi' or '137 bar'", SUPPLIER, "2000 psi"
    )
    content: GasVolume | None = _asked(
        "litres of gas at 'full_pressure', such as '623 L'; or 'water_volume'; or 'factor'",
        SUPPLIER,
        "623 L",
        default=None,
    )
    water_volume: WaterVolume | None = _asked("its water volume, such as '4.7 L'", SUPPLIER, "4.7 L", default=None)
    factor: TradeFactor | None = _asked("its trade factor, such as '0.28 L/psi'", SUPPLIER, "0.28 L/psi", default=None)
    reserve: ReservePressure = _asked(
        "the pressure at which to change to the next one, such as '200 psi'", SUPPLIER, "200 psi"
    )
    gauge_division: GaugeDivision = _asked(
        "the pressure between two marks of its gauge, such as '100 psi'", SUPPLIER, "100 psi"
    )
    max_flow: Flow = _asked("the highest flow of its regulator, such as '15 L/min'", SUPPLIER, "15 L/min")
    conserver: bool = _asked(
        "true if it gives oxygen in pulses by the conserver of this case", SUPPLIER, False, default=False
    )

    @model_validator(mode="after")
    def _has_one_content(self) -> Self:
        given = [name for name in ("content", "water_volume", "factor") if getattr(self, name) is not None]
        if len(given) != 1:
            raise ValueError(
                f"give exactly one of 'content', 'water_volume' and 'factor'; read {' and '.join(given) or 'none'}"
            )
        if self.reserve.to("pressure") >= self.full_pressure.to("pressure") / 2:
            raise ValueError("'reserve' is half of 'full_pressure' or more; are they in the same unit?")
        return self

    def full_litres(self) -> float:
        """Return the gas in one full cylinder, down to 0 gauge [L at 70 °F and 1 atm]."""
        pressure = self.full_pressure.to("pressure")
        if self.content is not None:
            return self.content.to("gas volume")
        if self.factor is not None:
            return self.factor.to("trade factor") * pressure
        assert self.water_volume is not None
        # Ideal gas: a real cylinder holds 2 to 7 % more below 300 bar, so this errs short.
        return self.water_volume.to("gas volume") * pressure * 0.0689476 / oxygen.ATMOSPHERE_BAR


class Conserver(_Part):
    """A device that gives oxygen only as a breath begins. Its settings mean what its own data say."""

    bolus: dict[Annotated[str, Field(pattern=r"^[0-9]{1,2}(\.5)?$")], Dose] = _asked(
        "the bolus of each ordered setting from the device's own data: { '2' = '22.8 mL' }",
        "the supplier of the conserver (its data sheet gives mL per pulse for each setting)",
        {"2": "22.8 mL"},
        min_length=1,
        max_length=12,
    )


class Delivery(_Part):
    """How the supplier delivers liquid oxygen."""

    lead_days: int = _asked("days from the call to the delivery at the latest", SUPPLIER, 2, ge=0, le=30)
    closed_days: int = _asked(
        "the most days in a row without deliveries, 2 for a plain weekend, more with holidays",
        SUPPLIER,
        2,
        ge=0,
        le=14,
    )
    weekdays: list[Weekday] | None = _asked(
        "the weekdays on which the supplier delivers, such as ['tuesday', 'friday']; "
        "left out, every day but the region's weekend",
        SUPPLIER,
        ["tuesday", "friday"],
        default=None,
        min_length=1,
        max_length=7,
    )


class FrostbiteWater(_Part):
    """The water in which frozen skin is thawed. Its upper end is the clinic's "never above"."""

    low: WaterTemperature = _asked("the coolest that it may be, such as '37 °C' or '99 degF'", CLINIC, "37 °C")
    high: WaterTemperature = _asked("the warmest that it may ever be, such as '39 °C' or '102 degF'", CLINIC, "39 °C")

    @model_validator(mode="after")
    def _is_a_range(self) -> Self:
        # With 1.5 °C between, the lower end to the nearest degree stays below the upper end cut, in both scales.
        if round(self.high.to("temperature") - self.low.to("temperature"), 9) < 1.5:
            raise ValueError(
                "'high' must be at least 1.5 °C (2.7 °F) above 'low': both are printed in whole °C and whole °F"
            )
        return self


class Policy(_Part):
    """The clinic's margins, each with a default, and the figures that it sets in the place of the region's.

    The clinician's copy prints all of them.
    """

    flow_tolerance_percent: Percent = _asked(
        "how much more than the set flow a container may give, in per cent", CLINIC, 10, default=Decimal(10)
    )
    reading_error_divisions: Decimal = _asked(
        "how far a gauge may be misread, in divisions",
        CLINIC,
        0.5,
        default=Decimal("0.5"),
        ge=0,
        le=2,
        max_digits=3,
    )
    portable_reserve: ShortTime = _asked(
        "time held back on a portable so that the patient gets home",
        CLINIC,
        "30 min",
        default=Amount(Decimal(30), "minute"),
    )
    cold_fill_loss_percent: Percent = _asked(
        "lost in filling a portable that is still cold, in per cent of what it holds",
        CLINIC,
        10,
        default=Decimal(10),
    )
    warm_fill_loss_percent: Percent = _asked(
        "lost in filling a warm portable, in per cent of what it holds", CLINIC, 25, default=Decimal(25)
    )
    safety_days: int = _asked("days of oxygen to keep beyond the delivery", CLINIC, 2, default=2, ge=0, le=14)
    flame_distance: Distance | None = _asked(
        "least distance to any flame; left out, the region's", CLINIC, "3 m", default=None
    )
    heat_distance: Distance | None = _asked(
        "least distance to heaters and electrical devices; left out, the region's",
        CLINIC,
        "1.5 m",
        default=None,
    )
    emergency_number: Phone | None = _asked(
        "the ambulance number; left out, the region's where sources agree", CLINIC, "911", default=None
    )
    fire_number: Phone | None = _asked(
        "the number of the fire service; left out, the region's where sources agree", CLINIC, "911", default=None
    )
    airing_time: AiringTime | None = _asked(
        "how long clothes and hair are aired before they come near heat; left out, the region's",
        CLINIC,
        "30 min",
        default=None,
    )
    splash_airing_time: SplashAiringTime | None = _asked(
        "how long clothes are aired that were splashed with liquid; left out, the region's",
        CLINIC,
        "1 h",
        default=None,
    )
    frostbite_water: FrostbiteWater | None = _asked(
        "the water for frozen skin: { low = '37 °C', high = '39 °C' }; left out, the region's",
        CLINIC,
        {"low": "37 °C", "high": "39 °C"},
        default=None,
    )


def _minutes_at_least(time: Amount) -> int:
    """Return a time that must not be shortened in whole minutes [min]."""
    return math.ceil(round(time.to("time"), 9))


class Clinic(_Part):
    """Who stands behind the guide."""

    name: Line = _asked("the name to print", CLINIC, "Harbour Lane Breathing Clinic")
    phone_day: Phone = _asked("the number to call by day", CLINIC, "555-0142")
    phone_night: Phone | None = _asked(
        "the number to call at night, if it is another one", CLINIC, "555-0143", default=None
    )
    region: str = _asked(
        f"two letters of the country where the patient lives, one of {', '.join(sorted(REGIONS))}",
        CLINIC,
        "US",
    )
    link_base: str | None = _asked(
        "where the clinic serves the duration tables, such as 'https://oxygen.example.org'; left out, the code "
        "on the guide carries the short table itself",
        CLINIC,
        "https://oxygen.example.org",
        default=None,
        in_link=False,  # it stands before the code already
        pattern=r"^https?://[a-z0-9.-]+(:[0-9]{2,5})?(/[a-zA-Z0-9._-]+)*$",
        max_length=60,
    )
    delivery: Delivery = _asked("{ lead_days = 2, closed_days = 2 }", SUPPLIER, {"lead_days": 2, "closed_days": 2})
    policy: Policy = _asked("the clinic's margins; each may be left out", CLINIC, {}, default=Policy())

    @model_validator(mode="after")
    def _region_known(self) -> Self:
        if self.region not in REGIONS:
            raise ValueError(f"'region' is '{self.region}'; write one of {', '.join(sorted(REGIONS))}")
        return self

    def settings(self) -> Region:
        """Return what the region holds, and in its place what the clinic has set."""
        policy = self.policy
        water = policy.frostbite_water
        own: dict[str, Any] = {
            "emergency_number": policy.emergency_number,
            "fire_number": policy.fire_number,
            "flame_distance_m": policy.flame_distance and policy.flame_distance.to("distance"),
            "heat_distance_m": policy.heat_distance and policy.heat_distance.to("distance"),
            "airing_min": policy.airing_time and _minutes_at_least(policy.airing_time),
            "splash_airing_min": policy.splash_airing_time and _minutes_at_least(policy.splash_airing_time),
            "water_c": water and (water.low.to("temperature"), water.high.to("temperature")),
            "water_max_c": water and water.high.to("temperature"),
        }
        return replace(REGIONS[self.region], **{name: value for name, value in own.items() if value is not None})


class Case(_Part):
    """One patient's home: what was ordered, with what equipment, by which clinic."""

    issued: dt.date = _asked(
        "the date of this guide, such as 2026-11-02",
        CLINICIAN,
        "2026-11-02",
        ge=dt.date(2020, 1, 1),  # the code of the link counts days from here
        le=dt.date(2099, 12, 31),  # holidays by the moon are not known for later
    )
    patient: Patient = _asked("may be left out", CLINICIAN, {}, default=Patient())
    prescription: Prescription = _asked("what the prescriber ordered", PRESCRIBER, {})
    reservoir: list[Reservoir] = _asked("at least one [[reservoir]]", SUPPLIER, [], min_length=1, max_length=4)
    portable: list[Portable] = _asked("none or more [[portable]]", SUPPLIER, [], default=[], max_length=4)
    cylinder: list[Cylinder] = _asked("none or more [[cylinder]]", SUPPLIER, [], default=[], max_length=4)
    conserver: Conserver | None = _asked("the conserver, if a pulse setting is ordered", SUPPLIER, {}, default=None)
    clinic: Clinic = _asked("who stands behind the guide", CLINIC, {})


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a case file, so that an editor completes and checks it."""
    schema = Case.model_json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    for part in [schema, *schema["$defs"].values()]:
        for field in part.get("properties", {}).values():
            kinds = [kind["x-kind"] for kind in [field, *field.get("anyOf", [])] if "x-kind" in kind]
            for kind in kinds:
                field["description"] += f" (units: {', '.join(units_of(kind))})"
    return schema
