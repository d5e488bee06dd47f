"""The tables for going out: how long one may stay away, by the way, and when to start for home."""

from collections.abc import Sequence

from companion.guide.document import Column
from companion.guide.naming import level_words, store_name
from companion.guide.tables import Row, Table
from companion.language.locale import Locale
from companion.language.said import Said
from companion.reckoning.plan import Plan
from companion.reckoning.trips import Trip, Trips


def trips(plan: Plan, locale: Locale) -> list[Table]:
    """Return a table for each portable: how long one may stay away, by the way, and when to start for home."""
    return [_trips_of(line, plan, locale) for line in plan.trips]


def _trips_of(line: Trips, plan: Plan, locale: Locale) -> Table:
    store = plan.liquid_store(line.container)
    return Table(
        caption=locale.say("{name}, just filled: how long you may stay", name=store_name(store, plan.stores, locale)),
        corner=locale.say("One way takes"),
        columns=tuple(Column(head) for head in (*stays(line, plan, locale), locale.say("Start for home at"))),
        rows=tuple(
            Row(
                head=_way(trip, locale),
                level=None,
                cells=(
                    *(stay_words(minutes, locale) for minutes in stay_minutes(trip, line)),
                    home_mark(trip, locale),
                ),
            )
            for trip in _told(line.trips)
        ),
    )


def stays(line: Trips, plan: Plan, locale: Locale) -> tuple[Said, ...]:
    """Return what may be done on a stay, a time for each: one where sitting uses as much as anything."""
    if _rests_apart(line):
        return locale.say("Stay at most, only sitting"), _busy_stay(line, plan, locale)
    return (locale.say("Stay at most"),)


def stay_minutes(trip: Trip, line: Trips) -> tuple[int | None, ...]:
    """Return how long each of these stays may be at most [min]; None: too far."""
    return (trip.resting_stay_min, trip.stay_min) if _rests_apart(line) else (trip.stay_min,)


def _rests_apart(line: Trips) -> bool:
    return line.use.as_set.get("rest", line.use.most) < line.use.most


def _told(trips: Sequence[Trip]) -> list[Trip]:
    """Return the trips to tell: of those that are too far, the shortest stands for all."""
    possible = [trip for trip in trips if trip.stay_min is not None]
    return [*possible, *trips[len(possible) : len(possible) + 1]]


def _way(trip: Trip, locale: Locale) -> Said:
    way = locale.duration(trip.way_min)
    return way if trip.stay_min is not None else locale.say("{time} or more", time=way)


def _busy_stay(line: Trips, plan: Plan, locale: Locale) -> Said:
    """Return what a stay is like in which more than sitting is done; sleep only where it is ordered on a portable."""
    asleep = any(night.container == line.container and night.asleep_min for night in plan.nights)
    if "exertion" in line.use.as_set and not asleep:
        return locale.say("Stay at most, also walking")
    if "exertion" not in line.use.as_set:
        return locale.say("Stay at most, also sleeping")
    return locale.say("Stay at most, also walking or sleeping")


def stay_words(minutes: int | None, locale: Locale) -> Said:
    """Return how long to stay at most; None: too far."""
    if minutes is None:
        return locale.say("Too far: do not go")
    return locale.duration(minutes) if minutes else locale.say("Turn back at once")


def home_mark(trip: Trip, locale: Locale) -> Said:
    """Return the reading at which to start for home."""
    if trip.stay_min is None:
        return locale.say("Too far: do not go")
    return level_words(trip.home_mark, locale) if trip.home_mark else locale.say("Go by the clock")
