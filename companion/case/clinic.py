"""The clinic: whom to call, how the supplier delivers, and the margins of its policy."""

import math
from dataclasses import replace
from decimal import Decimal
from typing import Any, Literal, Self

from pydantic import model_validator

from companion.case.amounts import (
    AiringTime,
    Distance,
    Line,
    Percent,
    Phone,
    ShortTime,
    SplashAiringTime,
    WaterTemperature,
)
from companion.case.fields import CLINIC, SUPPLIER, Part, asked
from companion.facts.region import REGIONS, Region
from companion.facts.units import Amount

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]


class Delivery(Part):
    """How the supplier delivers liquid oxygen."""

    lead_days: int = asked("days from the call to the delivery at the latest", SUPPLIER, 2, ge=0, le=30)
    closed_days: int = asked(
        "the most days in a row without deliveries, 2 for a plain weekend, more with holidays",
        SUPPLIER,
        2,
        ge=0,
        le=14,
    )
    weekdays: list[Weekday] | None = asked(
        "the weekdays on which the supplier delivers, such as ['tuesday', 'friday']; "
        "left out, every day but the region's weekend",
        SUPPLIER,
        ["tuesday", "friday"],
        default=None,
        min_length=1,
        max_length=7,
    )


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
        "how much more than the set flow a container may give, in per cent", CLINIC, 10, default=Decimal(10)
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
    portable_reserve: ShortTime = asked(
        "time held back on a portable so that the patient gets home",
        CLINIC,
        "30 min",
        default=Amount(Decimal(30), "minute"),
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
    region: str = asked(
        f"two letters of the country where the patient lives, one of {', '.join(sorted(REGIONS))}",
        CLINIC,
        "US",
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
