"""Which of several figures is told: the shortest, the latest, the highest, the reading to go by. Plain numbers.

Where a home has several containers or activities, one figure has to be right for all of them. Each choice errs
towards less oxygen: the shortest time, the earliest hour, the highest mark at which to call.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from companion.case.prescription import Activity
from companion.reckoning.containers import LEVELS, GasStore, LiquidStore, Store, marks
from companion.reckoning.duration import Window
from companion.reckoning.supply import ReservoirSupply, Standing
from companion.reckoning.trips import Trips

LOW = Fraction(1, 4)
"""At this share of full the guide goes over to saving and calling at once; common practice, no source."""

SHARED_ROWS = 5
"""The most rows of a table for all containers together, which has to stay on one page."""


# ── of a time by gauge reading ──────────────────────────────────────────────────────────────────


def at_reading(times: Mapping[Fraction, int], reading: Fraction) -> int:
    """Return the time at a reading: that of the highest mark not above it; below the lowest mark 0 [min]."""
    not_above = [mark for mark in times if mark <= reading]
    return times[max(not_above)] if not_above else 0


def shortest_at(tables: Iterable[Mapping[Fraction, int]], reading: Fraction) -> int:
    """Return the time that holds for each of several containers or activities at a reading [min]."""
    return min(at_reading(times, reading) for times in tables)


def shared_levels(stores: Iterable[Store]) -> tuple[Fraction, ...]:
    """Return the rows of one table for several liquid containers: the marks of the coarsest gauge, a few of them."""
    return min((marks(store.divisions, SHARED_ROWS) for store in stores if isinstance(store, LiquidStore)), key=len)


def mark_not_above(levels: Sequence[Fraction], reading: Fraction) -> Fraction:
    """Return the highest of the marks not above a reading, or the lowest where all are."""
    return max((level for level in levels if level <= reading), default=min(levels))


# ── portables ───────────────────────────────────────────────────────────────────────────────────


def example_window(windows: Iterable[Window]) -> Window | None:
    """Return the time of a full portable that the guide gives as an example; None without a portable.

    It is for an outing: the shortest time awake, and of equally short ones walking.
    """
    full = [window for window in windows if window.kind == "portable" and window.level == 1]
    awake = [window for window in full if window.demand.activity != "sleep"]
    return min(awake or full, key=lambda window: (window.safe_min, window.demand.activity != "exertion"), default=None)


def walk_min(trips: Iterable[Trips]) -> int:
    """Return the minute at which to turn back on a walk, whichever portable was taken [min]; 0 without a portable."""
    return min((line.walk_min for line in trips), default=0)


def empty_after_hours(standing: Iterable[Standing]) -> int | None:
    """Return the hours after which some full, unused portable can be empty; None without a portable."""
    return min((line.empty_after_hours for line in standing), default=None)


# ── reservoirs ──────────────────────────────────────────────────────────────────────────────────


def call_mark(supply: Iterable[ReservoirSupply]) -> Fraction:
    """Return the mark at which to call, whichever reservoir is in use."""
    return max(line.call_mark for line in supply)


def days_to_first_empty(supply: Iterable[ReservoirSupply]) -> int:
    """Return the whole days after which the first of the reservoirs can be empty."""
    return min(line.days_to_empty for line in supply)


def low_mark(supply: Iterable[ReservoirSupply]) -> Fraction:
    """Return the mark at which a reservoir is low: on each gauge the lowest that is not below a quarter of full."""
    return max(min(level for level in line.safe_min if level >= LOW) for line in supply)


def low_time(supply: Sequence[ReservoirSupply]) -> int:
    """Return how long any of the reservoirs lasts at the mark at which it is low [min]."""
    return shortest_at([line.safe_min for line in supply], low_mark(supply))


# ── cylinders ───────────────────────────────────────────────────────────────────────────────────


def backup_min(by_activity: Mapping[Activity, int]) -> int | None:
    """Return how long the whole back-up lasts, whatever the patient does [min]; None without cylinders."""
    return min(by_activity.values(), default=None)


def one_cylinder_min(windows: Iterable[Window]) -> int:
    """Return how long any full cylinder lasts, whatever the patient does [min]; 0 without cylinders."""
    return min((window.safe_min for window in windows if window.kind == "cylinder" and window.level == 1), default=0)


def cylinders_to_bridge(windows: Iterable[Window], wait_days: int) -> dict[str, int]:
    """Return for each kind of cylinder how many full ones alone cover the wait for a delivery.

    In the activity that uses most; a kind that gives no certain time in it is left out.
    """
    shortest: dict[str, int] = {}
    for window in windows:
        if window.kind == "cylinder" and window.level == 1:
            shortest[window.container] = min(window.safe_min, shortest.get(window.container, window.safe_min))
    return {container: math.ceil(wait_days * 1440 / minutes) for container, minutes in shortest.items() if minutes}


@dataclass(frozen=True)
class CylinderRow:
    """One row of a cylinder's table."""

    level: Fraction
    """The share of the full pressure for which its times were computed."""
    reading: float
    """What its gauge shows, in the unit of that gauge; at or above the level."""


def cylinder_rows(store: GasStore) -> tuple[CylinderRow, ...]:
    """Return the rows of a cylinder's table: full, and marks that its gauge has.

    A level between two marks is told by the mark above it, which holds more; so a coarse gauge has fewer rows.
    """
    rows = [CylinderRow(LEVELS[0], store.full_reading)]
    for level in LEVELS[1:]:
        # A millionth of a mark is noise of the conversion between units.
        mark = math.ceil(store.full_psi * float(level) / store.division_psi - 1e-6)
        reading = store.full_reading * mark * store.division_psi / store.full_psi
        if reading < rows[-1].reading:
            rows.append(CylinderRow(level, round(reading, 6)))
    return tuple(rows)
