"""Who the guide is for, and what the prescriber ordered."""

from collections.abc import Container, Iterator
from typing import Literal, Self

from pydantic import model_validator

from companion.case.amounts import Day, Flow, HoursOfDay, LanguageTag, Line, Phone
from companion.case.fields import CLINICIAN, PRESCRIBER, Part, asked

ACTIVITIES = ("rest", "exertion", "sleep")
Activity = Literal["rest", "exertion", "sleep"]
Interface = Literal["nasal cannula", "mask", "transtracheal catheter"]
WhileFilling = Literal["reservoir", "cylinder", "other portable", "pause"]
NightFlow = Literal["sleep", "exertion"]
Custom = Literal["incense", "oil-lamp", "charcoal", "water-pipe", "cooking-gas"]
"""What glows or burns in a home by custom."""


class NextOfKin(Part):
    """Who is told when the patient cannot speak."""

    name: Line = asked("the name to print on the card", CLINICIAN, "Jonas Lindqvist", in_link=False)
    phone: Phone = asked("the number at which they can be reached", CLINICIAN, "555-0171", in_link=False)


class Patient(Part):
    """Who the guide is for. All of it stays out of the link."""

    name: Line | None = asked(
        "the name to print on the guide, or leave it out",
        CLINICIAN,
        "Rosa Lindqvist",
        in_link=False,
        default=None,
    )
    languages: list[LanguageTag] | None = asked(
        "the languages of the guide, such as ['es', 'en']; left out, English",
        CLINICIAN,
        ["es"],
        in_link=False,
        default=None,
        min_length=1,
        max_length=6,
    )
    customs: list[Custom] | None = asked(
        "what else glows or burns in this home, such as ['incense', 'water-pipe']; left out, what is customary where "
        "the languages of the guide are spoken",
        CLINICIAN,
        ["incense"],
        in_link=False,
        default=None,
        max_length=5,
    )
    weighs_portable: bool = asked(
        "true if the patient cannot see the gauge and weighs the portable: the guide then has a table of weights",
        CLINICIAN,
        True,
        in_link=False,
        default=False,
    )
    next_of_kin: NextOfKin | None = asked(
        "for the card that an ambulance crew reads: { name = 'Jonas Lindqvist', phone = '555-0171' }",
        CLINICIAN,
        {"name": "Jonas Lindqvist", "phone": "555-0171"},
        in_link=False,
        default=None,
    )
    allergies: Line | None = asked(
        "the allergies, or 'none known', for the card that an ambulance crew reads",
        CLINICIAN,
        "Penicillin",
        in_link=False,
        default=None,
    )


class ActivityOrder(Part):
    """What is ordered for one activity: a continuous flow, a pulse setting, or both."""

    flow: Flow | None = asked("a continuous flow, such as '2 L/min'", PRESCRIBER, "2 L/min", default=None)
    pulse_setting: str | None = asked(
        "the number on the conserver, such as '2'; a setting has no unit and is not a flow",
        PRESCRIBER,
        "2",
        default=None,
        pattern=r"^[0-9]{1,2}(\.5)?$",
    )
    breaths_per_minute: int | None = asked(
        "how often this patient breathes in a minute in this activity, counted; needed for a pulse setting",
        CLINICIAN,
        20,
        default=None,
        ge=8,
        le=60,
    )
    hours_per_day: HoursOfDay = asked("hours a day in this activity with oxygen, such as '8 h'", PRESCRIBER, "8 h")
    on_portable: HoursOfDay | None = asked(
        "how many of these hours are spent on a portable, such as '2 h'; "
        "left out, the supply is planned as if the reservoir gave them as well",
        CLINICIAN,
        "2 h",
        default=None,
    )

    @classmethod
    def lacks(cls, given: Container[str]) -> Iterator[str]:
        """Yield that nothing is ordered, or that breaths were not counted."""
        if "flow" not in given and "pulse_setting" not in given:
            yield "neither a flow nor a pulse setting is ordered; give 'flow', 'pulse_setting' or both"
        if "pulse_setting" in given and "breaths_per_minute" not in given:
            yield "a pulse setting needs 'breaths_per_minute': its use is bolus × breaths per minute"

    @model_validator(mode="after")
    def _fits_its_hours(self) -> Self:
        if self.on_portable is not None and self.on_portable.to("time") > self.hours_per_day.to("time"):
            raise ValueError("'on_portable' is longer than 'hours_per_day'")
        return self


class SaturationTarget(Part):
    """The range of oxygen saturation that the prescriber wants, in per cent."""

    low: int = asked("the lower end in per cent", PRESCRIBER, 88, ge=70, le=100)
    high: int = asked("the upper end in per cent", PRESCRIBER, 92, ge=70, le=100)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.low >= self.high:
            raise ValueError("'low' must be less than 'high'")
        return self


# Finger meters are tested from 70 to 100 % (ISO 80601-2-61, from memory): below that none can be gone by.
_LEAST_SHOWN = 70


class FingerMeter(Part):
    """The readings of the patient's own finger meter at which something must be done, in per cent."""

    call_below: int | None = asked(
        "the reading below which the patient calls the clinic, in per cent",
        PRESCRIBER,
        88,
        in_link=False,
        default=None,
        ge=_LEAST_SHOWN,
        le=100,
    )
    emergency_below: int | None = asked(
        "the reading below which the patient calls the ambulance, in per cent",
        PRESCRIBER,
        80,
        in_link=False,
        default=None,
        ge=_LEAST_SHOWN,
        le=100,
    )

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.call_below is None and self.emergency_below is None:
            raise ValueError("no reading is given; give 'call_below', 'emergency_below' or both")
        if self.call_below is not None and self.emergency_below is not None and self.emergency_below >= self.call_below:
            raise ValueError(
                f"'emergency_below' is {self.emergency_below}; it must be less than 'call_below', {self.call_below}"
            )
        return self


class Prescription(Part):
    """What the prescriber ordered."""

    prescriber: Line | None = asked("who ordered the oxygen", CLINICIAN, "Dr Amara Osei", in_link=False, default=None)
    diagnosis: Line | None = asked(
        "why the oxygen is ordered, in a few words, for the card that an ambulance crew reads",
        PRESCRIBER,
        "COPD with chronic respiratory failure",
        in_link=False,
        default=None,
    )
    review_date: Day = asked("the day by which the order is reviewed, such as 2027-03-01", PRESCRIBER, "2027-03-01")
    interface: Interface = asked("'nasal cannula', 'mask' or 'transtracheal catheter'", PRESCRIBER, "nasal cannula")
    target_saturation: SaturationTarget | None = asked(
        "only if the prescriber gave one: { low = 88, high = 92 }",
        PRESCRIBER,
        {"low": 88, "high": 92},
        default=None,
    )
    finger_meter: FingerMeter | None = asked(
        "only if the patient has a finger meter and the prescriber said what to do: "
        "{ call_below = 88, emergency_below = 80 }",
        PRESCRIBER,
        {"call_below": 88, "emergency_below": 80},
        in_link=False,
        default=None,
    )
    humidifier: bool = asked("true or false", PRESCRIBER, False)
    hours_off_oxygen: HoursOfDay = asked(
        "hours a day without oxygen, '0 h' if none; with the hours of the activities it makes 24",
        PRESCRIBER,
        "0 h",
    )
    rest: ActivityOrder | None = asked("what is ordered at rest", PRESCRIBER, {}, default=None)
    exertion: ActivityOrder | None = asked("what is ordered when walking or working", PRESCRIBER, {}, default=None)
    sleep: ActivityOrder | None = asked("what is ordered asleep", PRESCRIBER, {}, default=None)

    while_filling: WhileFilling | None = asked(
        "how the patient gets oxygen while the portable is filled: 'reservoir', 'cylinder', 'other portable', or "
        "'pause' where the minutes without oxygen are allowed",
        PRESCRIBER,
        "reservoir",
        in_link=False,
        default=None,
    )
    at_night: NightFlow | None = asked(
        "which ordered flow is used for a short walk at night, as to the toilet: 'sleep' or 'exertion'",
        PRESCRIBER,
        "sleep",
        in_link=False,
        default=None,
    )

    @classmethod
    def lacks(cls, given: Container[str]) -> Iterator[str]:
        """Yield that nothing is ordered."""
        if not any(activity in given for activity in ACTIVITIES):
            yield "no activity is ordered; give at least one of 'rest', 'exertion', 'sleep'"

    def orders(self) -> dict[Activity, ActivityOrder]:
        """Return what is ordered, by activity, only the activities that are ordered."""
        found = {"rest": self.rest, "exertion": self.exertion, "sleep": self.sleep}
        return {activity: found[activity] for activity in ACTIVITIES if found[activity] is not None}  # type: ignore[misc]

    @model_validator(mode="after")
    def _fills_a_day(self) -> Self:
        minutes = self.hours_off_oxygen.to("time") + sum(
            order.hours_per_day.to("time") for order in self.orders().values()
        )
        if abs(minutes - 1440) > 0.5:
            raise ValueError(
                f"the hours of the activities and 'hours_off_oxygen' make {minutes / 60:g} h; a day has 24 h"
            )
        return self
