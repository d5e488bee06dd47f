"""The calendar of deliveries: on which days oxygen is asked for and comes, with the region's days off."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import holidays

from companion.case.clinic import WEEKDAYS
from companion.case.model import Case

WEEKS = 8
"""How far ahead deliveries are reckoned. Later holidays may still be moved by law."""


@dataclass(frozen=True)
class ExpectedDelivery:
    """One delivery, reckoned at the worst: every flow at its upper end, every reading at its lower."""

    call_by: dt.date
    """The last day on which to ask for it; a day on which somebody is there to ask."""
    expected: dt.date
    """The day by which it comes, if it was asked for on that day."""
    in_time: bool
    """Whether the reservoir then still holds the clinic's safety days."""


def expected_deliveries(case: Case, days_to_empty: int) -> tuple[ExpectedDelivery, ...]:
    """Return the deliveries of the next weeks, from a reservoir that is full on the day of the guide.

    Each is asked for on the last day on which it still comes in time.

    Args:
        case: the case, with its delivery and its policy.
        days_to_empty: of the reservoir that is empty first, at the worst.
    """
    days_to_wait = days_to_empty - case.clinic.policy.safety_days
    found: list[ExpectedDelivery] = []
    filled = case.issued
    while True:
        next_one = _next_delivery(case, filled, days_to_wait)
        if next_one.expected > case.issued + dt.timedelta(weeks=WEEKS):
            return tuple(found)
        found.append(next_one)
        filled = next_one.expected


def longest_wait_days(case: Case) -> int:
    """Return the most days from a call to its delivery: what was stated, or more where the calendar says so.

    The call may come on any day of the next weeks. Where nobody answers at night and on days off, it is heard
    on the next working day.
    """
    delivery = case.clinic.delivery
    wait = delivery.lead_days + delivery.closed_days
    for day in _days_from(case.issued, WEEKS * 7):
        heard = day
        while case.clinic.phone_night is None and not _works(case, heard):
            heard += dt.timedelta(days=1)
        wait = max(wait, (_comes(case, heard) - day).days)
    return wait


def longest_closed_run(case: Case) -> int:
    """Return the most days in a row without deliveries in the next weeks, from the calendar."""
    longest = run = 0
    for day in _days_from(case.issued, WEEKS * 7):
        run = 0 if _delivers(case, day) else run + 1
        longest = max(longest, run)
    return longest


def _next_delivery(case: Case, filled: dt.date, days_to_wait: int) -> ExpectedDelivery:
    needed_by = filled + dt.timedelta(days=days_to_wait)
    call = _last_working_day(case, filled, needed_by)
    while (expected := _comes(case, call, after=filled)) > needed_by and call > filled:
        call = _last_working_day(case, filled, call - dt.timedelta(days=1))
    return ExpectedDelivery(call, expected, expected <= needed_by)


def _last_working_day(case: Case, earliest: dt.date, day: dt.date) -> dt.date:
    """Return the last day up to ``day`` on which the supplier can be asked, but never before ``earliest``."""
    while day > earliest and not _works(case, day):
        day -= dt.timedelta(days=1)
    return max(day, earliest)


def _comes(case: Case, call: dt.date, after: dt.date = dt.date.min) -> dt.date:
    """Return the day of a delivery: its lead time in working days, then the next day with deliveries."""
    day = call
    for _ in range(case.clinic.delivery.lead_days):
        day += dt.timedelta(days=1)
        while not _works(case, day):
            day += dt.timedelta(days=1)
    while day <= after or not _delivers(case, day):
        day += dt.timedelta(days=1)
    return day


def _delivers(case: Case, day: dt.date) -> bool:
    weekdays = case.clinic.delivery.weekdays
    if weekdays is None:
        return _works(case, day)
    return WEEKDAYS[day.weekday()] in weekdays and day not in _days_off(case.clinic.region)


def _works(case: Case, day: dt.date) -> bool:
    """Return whether the supplier works: not on the region's weekend, unless it delivers then."""
    days_off = _days_off(case.clinic.region)
    weekend = day.weekday() in days_off.weekend and WEEKDAYS[day.weekday()] not in (case.clinic.delivery.weekdays or ())
    return not weekend and day not in days_off


@cache
def _days_off(region: str) -> holidays.HolidayBase:
    """Return the holidays of a whole country, filled in by the year as they are asked for."""
    return holidays.country_holidays(region)


def _days_from(first: dt.date, count: int) -> Iterator[dt.date]:
    return (first + dt.timedelta(days=place) for place in range(count))
