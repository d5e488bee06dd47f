"""The calendar of deliveries: on which days oxygen is asked for and comes, with the region's days off."""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

import holidays

from companion.case.model import WEEKDAYS, Case
from companion.supply import ReservoirSupply

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


def expected_deliveries(case: Case, supply: Sequence[ReservoirSupply]) -> tuple[ExpectedDelivery, ...]:
    """Return the deliveries of the next weeks, from a reservoir that is full on the day of the guide.

    Each is asked for on the last day on which it still comes in time. Where several reservoirs are in use,
    the one that is empty first decides.
    """
    days_to_wait = min(line.days_to_empty for line in supply) - case.clinic.policy.safety_days
    found: list[ExpectedDelivery] = []
    filled = case.issued
    while True:
        next_one = _next_delivery(case, filled, days_to_wait)
        if next_one.expected > case.issued + dt.timedelta(weeks=WEEKS):
            return tuple(found)
        found.append(next_one)
        filled = next_one.expected


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
    while (expected := _comes(case, call, filled)) > needed_by and call > filled:
        call = _last_working_day(case, filled, call - dt.timedelta(days=1))
    return ExpectedDelivery(call, expected, expected <= needed_by)


def _last_working_day(case: Case, earliest: dt.date, day: dt.date) -> dt.date:
    """Return the last day up to ``day`` on which the supplier can be asked, but never before ``earliest``."""
    while day > earliest and not _works(case, day):
        day -= dt.timedelta(days=1)
    return max(day, earliest)


def _comes(case: Case, call: dt.date, filled: dt.date) -> dt.date:
    """Return the day of a delivery: its lead time in working days, then the next day with deliveries."""
    day = call
    for _ in range(case.clinic.delivery.lead_days):
        day += dt.timedelta(days=1)
        while not _works(case, day):
            day += dt.timedelta(days=1)
    while day <= filled or not _delivers(case, day):
        day += dt.timedelta(days=1)
    return day


def _delivers(case: Case, day: dt.date) -> bool:
    weekdays = case.clinic.delivery.weekdays
    if weekdays is None:
        return _works(case, day)
    return WEEKDAYS[day.weekday()] in weekdays and day not in _days_off(case.clinic.region)


def _works(case: Case, day: dt.date) -> bool:
    region = case.clinic.region
    return day.weekday() not in _days_off(region).weekend and day not in _days_off(region)


@cache
def _days_off(region: str) -> holidays.HolidayBase:
    """Return the holidays of a whole country, filled in by the year as they are asked for."""
    return holidays.country_holidays(region)


def _days_from(first: dt.date, count: int) -> Iterator[dt.date]:
    return (first + dt.timedelta(days=place) for place in range(count))
