"""The calendar of deliveries: on which days oxygen is asked for and comes, with the days off of the place."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from companion.case.delivery import WEEKDAYS, Round
from companion.case.model import Case
from companion.facts.days_off import public_holidays, weekend
from companion.reckoning import choices
from companion.reckoning.supply import ReservoirSupply

WEEKS = 8
"""How far ahead deliveries are reckoned. Later holidays may still be moved by law."""

A_YEAR = dt.timedelta(days=366)


@dataclass(frozen=True)
class ExpectedDelivery:
    """One delivery, reckoned at the worst: every flow at its upper end, every reading at its lower."""

    call_by: dt.date | None
    """The last day on which to ask for it, a day on which somebody answers; None where the supplier comes unasked."""
    expected: dt.date
    """The day by which it comes."""
    in_time: bool
    """Whether it comes before the spare days have begun."""
    day_off: bool = False
    """Whether a round falls on a public holiday, so that nobody knows whether it comes."""


@dataclass(frozen=True)
class CallRule:
    """When the patient asks for oxygen, one rule for all reservoirs of the home."""

    mark: Fraction | None
    """Call on the day when a gauge, read once a day, has come down to this mark or is lower; None where no mark below
    full lasts through the wait for that."""
    unless_within_days: int | None
    """On a round: no call between this mark and the next mark below it where the supplier comes within so many days;
    below the next mark always call. None: always call."""
    next_within_days: int
    """Whole days after a delivery within which the next must come."""
    days_to_call: int
    """Whole days after a delivery for which a call can wait; where there is a mark, never beyond the day on which it is
    reached at the highest use."""


def call_rule(case: Case, supply: tuple[ReservoirSupply, ...]) -> CallRule:
    """Choose the rule that is safe for each reservoir, as if it were the only one in use.

    On a round, a reading that outlasts the days until the round needs no call, down to the mark below the one for a
    call. A low reservoir always needs one.
    """
    mark = choices.call_mark(supply)
    unless = 0
    if case.clinic.delivery.round is not None and mark is not None and mark > choices.low_mark(supply):
        unless = int(choices.days_below(supply, mark) - latest_hour_days(case))
    return CallRule(
        mark=mark,
        unless_within_days=unless if unless >= 1 else None,
        next_within_days=choices.days_between(supply),
        days_to_call=choices.days_to_call(supply, mark),
    )


def latest_hour_days(case: Case) -> float:
    """Return the share of its day that has gone by when a delivery comes at the latest."""
    return case.clinic.delivery.latest_hour / 24


def spare_days(case: Case) -> float:
    """Return the days of oxygen to keep beyond the day of a delivery: the clinic's, or that day to its latest hour."""
    return max(float(case.clinic.policy.safety_days), latest_hour_days(case))


def longest_wait_days(case: Case) -> int:
    """Return the most days from a call to its delivery: what was stated, or more where the calendar says so.

    The call may come on any day until the order is reviewed. Where nobody answers at night and on days off, it is
    heard on the next working day.
    """
    delivery = case.clinic.delivery
    wait = delivery.lead_days + delivery.closed_days
    for day in _days_until(case.issued, _horizon(case)):
        wait = max(wait, (_comes(case, _heard(case, day)) - day).days)
    return wait


def longest_closed_run(case: Case) -> int:
    """Return the most days in a row without deliveries until the order is reviewed, from the calendar."""
    longest = run = 0
    for day in _days_until(case.issued, _horizon(case)):
        run = 0 if _delivers(case, day) else run + 1
        longest = max(longest, run)
    return longest


def longest_round_gap(fixed: Round) -> int:
    """Return the most days from one round to the next, public holidays left aside."""
    first = fixed.starts or dt.date(2020, 1, 1)
    days = [
        day for day in _days_until(first, first + dt.timedelta(weeks=2 * fixed.every_weeks)) if _on_round(fixed, day)
    ]
    return max((later - day).days for day, later in pairwise(days))


def expected_deliveries(case: Case, rule: CallRule) -> tuple[ExpectedDelivery, ...]:
    """Return the deliveries of the next weeks, from a reservoir that is full on the day of the guide.

    Without a round each is called for; where there is no mark for a call, each is agreed on with the one before.
    """
    found: list[ExpectedDelivery] = []
    filled = case.issued
    while True:
        needed_by = filled + dt.timedelta(days=rule.next_within_days)
        if case.clinic.delivery.round is not None:
            coming = _next_round(case, found[-1].expected if found else case.issued, needed_by)
        elif rule.mark is not None:
            coming = _next_called(case, filled, needed_by, rule.days_to_call)
        else:
            coming = _next_agreed(case, filled, needed_by)
        if coming.expected > case.issued + dt.timedelta(weeks=WEEKS):
            return tuple(found)
        found.append(coming)
        if not coming.day_off:
            filled = coming.expected


def _next_round(case: Case, after: dt.date, needed_by: dt.date) -> ExpectedDelivery:
    fixed = case.clinic.delivery.round
    assert fixed is not None
    day = after + dt.timedelta(days=1)
    while not _on_round(fixed, day):
        day += dt.timedelta(days=1)
    return ExpectedDelivery(None, day, day <= needed_by, _is_holiday(case, day))


def _next_called(case: Case, filled: dt.date, needed_by: dt.date, days_to_call: int) -> ExpectedDelivery:
    """Return the delivery that is called for on the last working day from which even the longest wait is bridged."""
    first = _heard(case, filled)
    call = filled + dt.timedelta(days=days_to_call)
    while call > first and not _works(case, call):
        call -= dt.timedelta(days=1)
    call = max(call, first)
    expected = _comes(case, call, after=filled)
    return ExpectedDelivery(call, expected, expected <= needed_by)


def _next_agreed(case: Case, filled: dt.date, needed_by: dt.date) -> ExpectedDelivery:
    """Return the last delivery that is in time if it is asked for with the one before, or else the first."""
    call = _heard(case, filled)
    first = _comes(case, call, after=filled)
    last = needed_by
    while last > first and not _delivers(case, last):
        last -= dt.timedelta(days=1)
    return ExpectedDelivery(call, max(first, last), first <= needed_by)


def _on_round(fixed: Round, day: dt.date) -> bool:
    if WEEKDAYS[day.weekday()] not in fixed.weekdays:
        return False
    weeks = (_monday(day) - _monday(fixed.starts)).days // 7 if fixed.starts else 0
    return weeks % fixed.every_weeks == 0


def _monday(day: dt.date) -> dt.date:
    return day - dt.timedelta(days=day.weekday())


def _heard(case: Case, day: dt.date) -> dt.date:
    """Return the day on which a call is answered: at once by day and night, or on the next working day."""
    while case.clinic.phone_night is None and not _works(case, day):
        day += dt.timedelta(days=1)
    return day


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
    return WEEKDAYS[day.weekday()] in weekdays and not _is_holiday(case, day)


def _works(case: Case, day: dt.date) -> bool:
    """Return whether the supplier works: not on the region's weekend, unless it delivers then."""
    on_weekend = day.weekday() in weekend(case.clinic.region)
    delivers = WEEKDAYS[day.weekday()] in (case.clinic.delivery.weekdays or ())
    return (delivers or not on_weekend) and not _is_holiday(case, day)


def _is_holiday(case: Case, day: dt.date) -> bool:
    return day in public_holidays(case.clinic.region, case.clinic.subdivision, day.year)


def _horizon(case: Case) -> dt.date:
    """Return the day until which the guide may be in use, at most a year ahead: then the holidays come round again."""
    review = min(case.prescription.review_date, case.issued + A_YEAR)
    return max(review, case.issued + dt.timedelta(weeks=WEEKS))


def _days_until(first: dt.date, last: dt.date) -> Iterator[dt.date]:
    return (first + dt.timedelta(days=place) for place in range((last - first).days))
