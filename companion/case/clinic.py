"""The clinic: whom to call, the margins of its policy, and what it sets for its paper."""

import math
from dataclasses import replace
from decimal import Decimal
from typing import Any, Literal, Self

from pydantic import model_validator

from companion.case.amounts import (
    AiringTime,
    Altitude,
    ClockTime,
    Distance,
    Flow,
    HoursOfDay,
    Line,
    Percent,
    Phone,
    RegionCode,
    Sentence,
    ShortTime,
    SplashAiringTime,
    WaterTemperature,
)
from companion.case.delivery import Delivery, Weekday
from companion.case.fields import CLINIC, CLINICIAN, SUPPLIER, Part, asked
from companion.facts.days_off import subdivisions
from companion.facts.region import REGIONS, Region
from companion.facts.units import Amount


class FrostbiteWater(Part):
    """The water in which frozen skin is thawed. Its upper end is the clinic's "never above"."""

    low: WaterTemperature = asked("the coolest that it may be, such as '37 °C' or '99 degF'", CLINIC, "37 °C")
    high: WaterTemperature = asked("the warmest that it may ever be, such as '39 °C' or '102 degF'", CLINIC, "39 °C")

    @model_validator(mode="after")
    def _is_a_range(self) -> Self:
        # With 1.5 °C between, the lower end to the nearest degree stays below the upper end cut, in both scales.
        if round(self.high.to("temperature") - self.low.to("temperature"), 9) < 1.5:
            raise ValueError(
                "'high' must be at least 1.5 °C (2.7 °F) above 'low': both are printed in whole °C and whole °F"
            )
        return self


class Policy(Part):
    """The clinic's margins, each with a default, and the figures that it sets in the place of the region's.

    The clinician's copy prints all of them.
    """

    flow_tolerance_percent: Percent = asked(
        "how much more than the set flow a container may give, in per cent; 10: norm of the industry (abstract "
        "OF-02-141, 2002)",
        CLINIC,
        10,
        default=Decimal(10),
    )
    bolus_tolerance_percent: Percent = asked(
        "how much larger than its data say a pulse may be, in per cent; 10: common practice, no source",
        CLINIC,
        10,
        default=Decimal(10),
    )
    breathing_tolerance_percent: Percent = asked(
        "how much faster than counted the patient may breathe on pulses, in per cent; 10: common practice, no source",
        CLINIC,
        10,
        default=Decimal(10),
    )
    reading_error_divisions: Decimal = asked(
        "how far a gauge may be misread, in divisions",
        CLINIC,
        0.5,
        default=Decimal("0.5"),
        ge=0,
        le=2,
        max_digits=3,
        strict=False,
    )
    gauge_accuracy_percent: Percent = asked(
        "how far the gauge of a liquid container may itself be wrong, in per cent of full; it counts where it is more "
        "than the misreading, as on a fine scale; 5: common practice, no source",
        CLINIC,
        5,
        default=Decimal(5),
    )
    cylinder_gauge_accuracy_percent: Percent = asked(
        "the same of a cylinder's gauge, in per cent of the full pressure; 3.5: class 2.5 of EN 837-1 on a scale that "
        "ends a third above the full pressure, from memory",
        CLINIC,
        3.5,
        default=Decimal("3.5"),
    )
    warm_cylinder_percent: Percent = asked(
        "how much too high a cylinder's gauge may stand because the cylinder is warm, in per cent; 5: 30 °C in place "
        "of 21 °C at up to 3,500 psi, by CoolProp 8.0.0",
        CLINIC,
        5,
        default=Decimal(5),
    )
    vapour_percent: Percent = asked(
        "how much of the cold vapour that fills a container without liquid counts as left behind, in per cent; 100: "
        "all of it, by the density of the saturated vapour (CoolProp 8.0.0)",
        CLINIC,
        100,
        default=Decimal(100),
    )
    boil_off_tolerance_percent: Percent = asked(
        "how much more than its data sheet says a container may boil off, in per cent; 15: common practice, no source; "
        "a room at 30 °C in place of 15 °C adds 8 to 22 % by the laws of conduction and radiation",
        CLINIC,
        15,
        default=Decimal(15),
    )
    portable_reserve: ShortTime = asked(
        "time held back on a portable so that the patient gets home",
        CLINIC,
        "30 min",
        default=Amount(Decimal(30), "minute"),
    )
    portable_spread: HoursOfDay = asked(
        "over how much of the day the hours on a portable are spread, with the pauses in which it boils off; 16 h: "
        "a day without the night, common practice, no source",
        CLINIC,
        "16 h",
        default=Amount(Decimal(16), "hour"),
    )
    cold_fill_loss_percent: Percent = asked(
        "lost in filling a portable that is still cold, in per cent of what it holds",
        CLINIC,
        10,
        default=Decimal(10),
    )
    warm_fill_loss_percent: Percent = asked(
        "lost in filling a warm portable, in per cent of what it holds", CLINIC, 25, default=Decimal(25)
    )
    let_down_percent: Percent = asked(
        "how much counts of what a fill takes beyond the portable's rating, because liquid let down to the open air is "
        "denser and partly turns to gas, in per cent; 100: all of it, by the working pressures (CoolProp 8.0.0)",
        CLINIC,
        100,
        default=Decimal(100),
    )
    icing_flow: Flow = asked(
        "the flow above which liquid equipment ices up or may not keep its pressure; 6 L/min: common practice, "
        "no source",
        CLINIC,
        "6 L/min",
        default=Amount(Decimal(6), "liter / minute"),
    )
    safety_days: int = asked("days of oxygen to keep beyond the delivery", CLINIC, 2, default=2, ge=0, le=14)
    flame_distance: Distance | None = asked(
        "least distance to any flame; left out, the region's", CLINIC, "3 m", default=None
    )
    heat_distance: Distance | None = asked(
        "least distance to heaters and electrical devices; left out, the region's",
        CLINIC,
        "1.5 m",
        default=None,
    )
    emergency_number: Phone | None = asked(
        "the ambulance number; left out, the region's where sources agree", CLINIC, "911", default=None
    )
    fire_number: Phone | None = asked(
        "the number of the fire service; left out, the region's where sources agree", CLINIC, "911", default=None
    )
    airing_time: AiringTime | None = asked(
        "how long clothes and hair are aired before they come near heat; left out, the region's",
        CLINIC,
        "30 min",
        default=None,
    )
    splash_airing_time: SplashAiringTime | None = asked(
        "how long clothes are aired that were splashed with liquid; left out, the region's",
        CLINIC,
        "1 h",
        default=None,
    )
    frostbite_water: FrostbiteWater | None = asked(
        "the water for frozen skin: { low = '37 °C', high = '39 °C' }; left out, the region's",
        CLINIC,
        {"low": "37 °C", "high": "39 °C"},
        default=None,
    )


class OfficeHours(Part):
    """When somebody answers a number of the day."""

    weekdays: list[Weekday] = asked(
        "the weekdays on which it is open, such as ['monday', 'tuesday']",
        CLINIC,
        ["monday", "tuesday"],
        in_link=False,
        min_length=1,
        max_length=7,
    )
    from_: ClockTime = asked(
        "when it opens, by the 24-hour clock, such as '08:00'", CLINIC, "08:00", in_link=False, alias="from"
    )
    to: ClockTime = asked("when it closes, by the 24-hour clock, such as '17:00'", CLINIC, "17:00", in_link=False)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.from_ >= self.to:
            raise ValueError(
                f"'from' is {self.from_:%H:%M} and 'to' is {self.to:%H:%M}; 'to' must be later on the same day"
            )
        return self


class Supplier(Part):
    """Who brings the oxygen, where it is another house than the clinic."""

    name: Line = asked("the supplier's name to print", CLINIC, "Harbour Oxygen Supply")
    phone_day: Phone = asked("the supplier's number by day", CLINIC, "555-0150")
    phone_night: Phone | None = asked(
        "the supplier's number at night, if it is another one", CLINIC, "555-0151", default=None
    )
    office_hours: OfficeHours | None = asked(
        "when somebody answers the supplier's 'phone_day', written as the clinic's; left out, no hours are printed",
        CLINIC,
        {"weekdays": ["monday", "tuesday"], "from": "08:00", "to": "17:00"},
        in_link=False,
        default=None,
    )


class Paper(Part):
    """What the clinic sets for the sheets themselves."""

    sentence: Sentence | None = asked(
        "one sentence of the clinic's own, at most 200 letters: it is printed as it stands here, in no other language, "
        "behind the clinic's name",
        CLINIC,
        "Please bring this guide to each visit.",
        in_link=False,
        default=None,
    )
    binding: Literal["none", "one side", "both sides"] = asked(
        "whether the guide is bound or punched: 'one side' or 'both sides', as it is printed; the margin at the "
        "binding is wider then",
        CLINIC,
        "both sides",
        in_link=False,
        default="none",
    )
    named_files: bool = asked(
        "true if the name of a file may tell whose it is, where the sheet itself does: "
        "'rosa-lindqvist.2026-11-02.guide.en.pdf'",
        CLINIC,
        False,
        in_link=False,
        default=False,
    )


def _minutes_at_least(time: Amount) -> int:
    """Return a time that must not be shortened in whole minutes [min]."""
    return math.ceil(round(time.to("time"), 9))


class Clinic(Part):
    """Who stands behind the guide."""

    name: Line = asked("the name to print", CLINIC, "Harbour Lane Breathing Clinic")
    phone_day: Phone = asked("the number to call by day", CLINIC, "555-0142")
    phone_night: Phone | None = asked(
        "the number to call at night, if it is another one", CLINIC, "555-0143", default=None
    )
    office_hours: OfficeHours | None = asked(
        "when somebody answers 'phone_day': { weekdays = ['monday', 'tuesday'], from = '08:00', to = '17:00' }; left "
        "out, no hours are printed",
        CLINIC,
        {"weekdays": ["monday", "tuesday"], "from": "08:00", "to": "17:00"},
        in_link=False,
        default=None,
    )
    supplier: Supplier | None = asked(
        "the supplier, where it is another house than the clinic: "
        "{ name = 'Harbour Oxygen Supply', phone_day = '555-0150' }",
        CLINIC,
        {"name": "Harbour Oxygen Supply", "phone_day": "555-0150"},
        default=None,
    )
    region: RegionCode = asked(
        f"the country where the patient lives, in two letters or by its name, one of {', '.join(sorted(REGIONS))}",
        CLINIC,
        "US",
    )
    subdivision: str | None = asked(
        "the part of the country where the patient lives, as ISO 3166-2 has it after the country's two letters, such "
        "as 'OH' or 'ENG'; left out, the public holidays of every part count as days off",
        CLINIC,
        "OH",
        default=None,
    )
    altitude: Altitude | None = asked(
        "how high above the sea the patient lives, such as '1600 m' or '5280 ft'; no time becomes longer by it",
        CLINICIAN,
        "1600 m",
        default=None,
    )
    link_base: str | None = asked(
        "where the clinic serves the duration tables, such as 'https://oxygen.example.org'; left out, the code "
        "on the guide carries the short table itself",
        CLINIC,
        "https://oxygen.example.org",
        default=None,
        in_link=False,  # it stands before the code already
        pattern=r"^https?://[a-z0-9.-]+(:[0-9]{2,5})?(/[a-zA-Z0-9._-]+)*$",
        max_length=60,
    )
    delivery: Delivery = asked("{ lead_days = 2, closed_days = 2 }", SUPPLIER, {"lead_days": 2, "closed_days": 2})
    policy: Policy = asked("the clinic's margins; each may be left out", CLINIC, {}, default=Policy())
    paper: Paper = asked(
        "what the clinic sets for its sheets; each may be left out", CLINIC, {}, in_link=False, default=Paper()
    )

    @model_validator(mode="after")
    def _place_known(self) -> Self:
        if self.region not in REGIONS:
            raise ValueError(f"'region' is '{self.region}'; write one of {', '.join(sorted(REGIONS))}")
        known = subdivisions(self.region)
        if self.subdivision is not None and self.subdivision not in known:
            right = f"write one of {', '.join(known)}" if known else f"leave it out: '{self.region}' has no parts here"
            raise ValueError(f"'subdivision' is '{self.subdivision}'; {right}")
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
