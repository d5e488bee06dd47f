"""Which of several figures is told: the shortest, the latest, the highest, the reading to go by. Plain numbers.

Where a home has several containers or activities, one figure has to be right for all of them. Each choice errs
towards less oxygen: the shortest time, the earliest hour, the highest mark at which to call.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import count
from typing import Literal, TypeVar

from companion.case.prescription import Activity
from companion.reckoning.containers import LEVELS, GasStore, LiquidStore, Store, marks
from companion.reckoning.duration import Window, round_down
from companion.reckoning.nights import Night
from companion.reckoning.supply import ReservoirSupply, Standing
from companion.reckoning.trips import Trip, Trips

Time = TypeVar("Time", int, float)

LOW = Fraction(1, 4)
"""At this share of full the guide goes over to saving and calling at once; common practice, no source."""

SHARED_ROWS = 5
"""The most rows of a table for all containers together, which has to stay on one page."""


# ── of a time by gauge reading ──────────────────────────────────────────────────────────────────


def at_reading(times: Mapping[Fraction, Time], reading: Fraction) -> Time | Literal[0]:
    """Return the time at a reading: that of the highest mark not above it; below the lowest mark 0."""
    not_above = [mark for mark in times if mark <= reading]
    return times[max(not_above)] if not_above else 0


def shortest_at(tables: Iterable[Mapping[Fraction, Time]], reading: Fraction) -> Time | Literal[0]:
    """Return the time that holds for each of several containers or activities at a reading."""
    return min(at_reading(times, reading) for times in tables)


def shared_levels(stores: Iterable[Store]) -> tuple[Fraction, ...]:
    """Return the rows of one table for several liquid containers: the marks of the coarsest gauge, a few of them."""
    return min((marks(store.divisions, SHARED_ROWS) for store in stores if isinstance(store, LiquidStore)), key=len)


def mark_not_above(levels: Sequence[Fraction], reading: Fraction) -> Fraction:
    """Return the highest of the marks not above a reading, or the lowest where all are."""
    return max((level for level in levels if level <= reading), default=min(levels))


# ── portables ───────────────────────────────────────────────────────────────────────────────────


EXAMPLE_WAY_MIN = 30
"""The way, one way, that the guide reads aloud from its table [min]."""


def example_trip(trips: Iterable[Trips]) -> Trip | None:
    """Return the trip that the guide gives as an example; None where its table has none that is possible.

    Of several portables it is the first's: the example reads a line of the table just above.
    """
    first = next(iter(trips), None)
    if first is None:
        return None
    told = [trip for trip in first.trips if trip.way_min <= EXAMPLE_WAY_MIN and trip.stay_min and trip.home_mark]
    return max(told, key=lambda trip: trip.way_min, default=None)


def empty_after_hours(standing: Iterable[Standing]) -> int | None:
    """Return the hours after which some full, unused portable can be empty; None without a portable."""
    return min((line.empty_after_hours for line in standing), default=None)


def shortest_night(nights: Iterable[Night]) -> int:
    """Return the time asleep that holds for each of them [min]; 0 where there is none."""
    return min((night.lasts_min for night in nights), default=0)


# ── reservoirs ──────────────────────────────────────────────────────────────────────────────────


def call_mark(supply: Iterable[ReservoirSupply]) -> Fraction | None:
    """Return the mark at which to call, whichever reservoir is in use; None where one of them has none."""
    marks_to_call = [line.call_mark for line in supply]
    return None if None in marks_to_call else max(mark for mark in marks_to_call if mark is not None)


def days_below(supply: Iterable[ReservoirSupply], mark: Fraction) -> float:
    """Return how long any of the reservoirs lasts from a reading below a mark, at the worst, not rounded [days].

    From there down to the next mark of its own gauge, which is what counts; 0 where there is none.
    """
    return shortest_at(
        [{lower: days for lower, days in line.days_from.items() if lower < mark} for line in supply], mark
    )


def days_between(supply: Iterable[ReservoirSupply]) -> int:
    """Return the whole days after a delivery within which the next must come, whichever reservoir is in use."""
    return min(line.days_between for line in supply)


def days_to_call(supply: Sequence[ReservoirSupply], mark: Fraction | None) -> int:
    """Return the whole days after a delivery for which a call can wait, whichever reservoir is in use.

    No longer than until the mark for a call is reached at the highest use: a date must not put off what a gauge asks.
    """
    waits = [line.days_to_call for line in supply]
    return min(waits if mark is None else [*waits, *(line.mornings_to(mark) for line in supply)])


def low_mark(supply: Iterable[ReservoirSupply]) -> Fraction:
    """Return the mark at which a reservoir is low: on each gauge the lowest that is not below a quarter of full."""
    return max(min(level for level in line.safe_min if level >= LOW) for line in supply)


def reservoir_rows(line: ReservoirSupply, divisions: int, call: Fraction | None) -> tuple[Fraction, ...]:
    """Return the marks of one reservoir's table, highest first: a few, with the one to call at and the low one."""
    needed = {Fraction(1), low_mark([line])} | ({mark_not_above(list(line.safe_min), call)} if call else set())
    # On a fine scale a mark next to one of these says little more.
    apart = Fraction(1, divisions) if divisions > SHARED_ROWS else 0
    few = {mark for mark in marks(divisions, SHARED_ROWS) if all(abs(mark - other) > apart for other in needed)}
    return tuple(sorted((few | needed) & line.safe_min.keys(), reverse=True))


def last_mark(supply: Iterable[ReservoirSupply], stores: Iterable[Store], call: Fraction | None) -> Fraction | None:
    """Return the lowest mark in the tables of the reservoirs; None where they end at unlike marks."""
    divisions = {store.id: store.divisions for store in stores if isinstance(store, LiquidStore)}
    last = {reservoir_rows(line, divisions[line.container], call)[-1] for line in supply}
    return last.pop() if len(last) == 1 else None


def full_time(supply: Sequence[ReservoirSupply]) -> int:
    """Return how long any of the full reservoirs lasts [min]."""
    return shortest_at([line.safe_min for line in supply], Fraction(1))


# ── cylinders ───────────────────────────────────────────────────────────────────────────────────


def backup_minutes(cylinders: Sequence[GasStore], windows: Sequence[Window]) -> dict[Activity, int]:
    """Return how long all full cylinders last one after another, by activity [min]; empty without cylinders.

    Args:
        cylinders: the back-up.
        windows: the times of each container, on pulses and on the steady flow when they stop: the shorter one counts.
    """
    shortest: dict[tuple[str, Activity], int] = {}
    for window in windows:
        if window.kind == "cylinder" and window.level == 1:
            place = window.container, window.demand.activity
            shortest[place] = min(window.safe_min, shortest.get(place, window.safe_min))
    return {
        activity: round_down(sum(store.count * shortest[store.id, activity] for store in cylinders))
        for activity in dict.fromkeys(activity for _, activity in shortest)
    }


def backup_min(by_activity: Mapping[Activity, int]) -> int | None:
    """Return how long the whole back-up lasts, whatever the patient does [min]; None without cylinders."""
    return min(by_activity.values(), default=None)


def low_time(supply: Sequence[ReservoirSupply], backup: Mapping[Activity, int]) -> int:
    """Return how long the reservoir and then the whole back-up last from the mark that is low [min].

    It is the sum of what is told of each, so that nobody has to add in a hurry; 0 where no time is certain, and of
    several reservoirs, because nobody knows what the others hold then.
    """
    if len(supply) > 1:
        return 0
    alone = shortest_at([line.safe_min for line in supply], low_mark(supply))
    told = alone + (backup_min(backup) or 0)
    return told // 60 * 60 if told >= 48 * 60 else round_down(told)


def one_cylinder_min(windows: Iterable[Window]) -> int:
    """Return how long any full cylinder lasts, whatever the patient does [min]; 0 without cylinders."""
    return min((window.safe_min for window in windows if window.kind == "cylinder" and window.level == 1), default=0)


def cylinder_to_take_first(stores: Iterable[Store], windows: Iterable[Window]) -> Store | None:
    """Return of several kinds of cylinder the one that lasts longest at the use that is hardest on it; else None."""
    kinds = [store for store in stores if isinstance(store, GasStore)]
    if len(kinds) < 2:
        return None
    full = [window for window in windows if window.kind == "cylinder" and window.level == 1]
    return max(kinds, key=lambda store: min(window.safe_min for window in full if window.container == store.id))


def cylinders_to_bridge(windows: Iterable[Window], wait_min: int) -> dict[str, int]:
    """Return for each kind of cylinder how many full ones alone cover the wait for a delivery.

    In the activity that uses most, by the time that is printed for them; a kind that gives no certain time in it is
    left out.
    """
    shortest: dict[str, int] = {}
    for window in windows:
        if window.kind == "cylinder" and window.level == 1:
            shortest[window.container] = min(window.safe_min, shortest.get(window.container, window.safe_min))
    return {container: _fewest(wait_min, minutes) for container, minutes in shortest.items() if minutes}


def _fewest(wait_min: int, minutes: int) -> int:
    return next(number for number in count(math.ceil(wait_min / minutes)) if round_down(number * minutes) >= wait_min)


@dataclass(frozen=True)
class CylinderRow:
    """One row of a cylinder's table."""

    level: Fraction
    """The share of the full pressure for which its times were computed."""
    reading: Decimal
    """What its gauge shows, in the unit of that gauge; at or above the level."""


def cylinder_rows(store: GasStore) -> tuple[CylinderRow, ...]:
    """Return the rows of a cylinder's table: full, and marks that its gauge has.

    A level between two marks is told by the mark above it, which holds more; so a coarse gauge has fewer rows.
    """
    rows = [CylinderRow(LEVELS[0], store.full_reading)]
    for level in LEVELS[1:]:
        mark = math.ceil(level * Fraction(store.full_reading) / Fraction(store.division_reading))
        reading = mark * store.division_reading
        if reading < rows[-1].reading:
            rows.append(CylinderRow(level, reading))
    return tuple(rows)
