"""How the supplier delivers: on which days, after which wait, with or without a call."""

import datetime as dt
from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, model_validator

from companion.case.amounts import Day
from companion.case.fields import SUPPLIER, Part, asked

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def _weekday(value: object) -> object:
    """Return the weekday that is meant by its name, in capitals too, or by its first three letters or more."""
    if not isinstance(value, str) or len(value) < 3:
        return value
    return next((day for day in WEEKDAYS if day.startswith(value.casefold())), value)


Weekday = Annotated[
    Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"], BeforeValidator(_weekday)
]


class Round(Part):
    """Fixed days on which the supplier comes without a call."""

    weekdays: list[Weekday] = asked(
        "the weekdays on which the supplier comes, such as ['thursday']",
        SUPPLIER,
        ["thursday"],
        min_length=1,
        max_length=7,
    )
    every_weeks: int = asked("1 for every week, 2 for every second week", SUPPLIER, 1, default=1, ge=1, le=8)
    starts: Day | None = asked(
        "a day on which the supplier comes, such as 2026-11-02; needed unless the supplier comes every week",
        SUPPLIER,
        "2026-11-02",
        default=None,
        ge=dt.date(2020, 1, 1),
        le=dt.date(2099, 12, 31),
    )

    @model_validator(mode="after")
    def _can_be_dated(self) -> Self:
        if self.every_weeks > 1 and self.starts is None:
            raise ValueError(
                f"'every_weeks' is {self.every_weeks}; write in 'starts' a day on which the supplier comes, "
                "so that the weeks can be counted"
            )
        if self.starts is not None and WEEKDAYS[self.starts.weekday()] not in self.weekdays:
            raise ValueError(
                f"'starts' is {self.starts}, a {WEEKDAYS[self.starts.weekday()].capitalize()}; "
                f"write a day that is one of the 'weekdays': {', '.join(self.weekdays)}"
            )
        return self


class Delivery(Part):
    """How the supplier delivers liquid oxygen."""

    lead_days: int = asked("days from a call to the delivery at the latest", SUPPLIER, 2, ge=0, le=30)
    closed_days: int = asked(
        "the most days in a row without deliveries, 2 for a plain weekend, more with holidays",
        SUPPLIER,
        2,
        ge=0,
        le=14,
    )
    weekdays: list[Weekday] | None = asked(
        "the weekdays on which the supplier delivers after a call, such as ['tuesday', 'friday']; "
        "left out, every day but the region's weekend",
        SUPPLIER,
        ["tuesday", "friday"],
        default=None,
        min_length=1,
        max_length=7,
    )
    latest_hour: int = asked(
        "the hour of the day by which a delivery comes at the latest, 18 for six in the evening",
        SUPPLIER,
        18,
        default=18,
        ge=1,
        le=24,
    )
    round: Round | None = asked(
        "fixed days on which the supplier comes without a call: { weekdays = ['thursday'] }; left out, every "
        "delivery is asked for",
        SUPPLIER,
        {"weekdays": ["thursday"]},
        default=None,
    )
