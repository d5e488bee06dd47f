"""The tables for going out: how long one may stay away, by the way, and when to start for home."""

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
    apart = line.use.as_set.get("rest", line.use.most) < line.use.most
    stays = [locale.say("You only sit there"), _busy_stay(line, locale)] if apart else [locale.say("Stay at most")]
    return Table(
        caption=locale.say("{name}, just filled: how long you may stay", name=store_name(store, plan.stores, locale)),
        corner=locale.say("One way takes"),
        columns=tuple(Column(head) for head in (*stays, locale.say("Start for home at"))),
        rows=tuple(
            Row(
                head=locale.duration(trip.way_min),
                level=None,
                cells=(
                    *((_stay(trip.resting_stay_min, locale),) if apart else ()),
                    _stay(trip.stay_min, locale),
                    _home_mark(trip, locale),
                ),
            )
            for trip in line.trips
        ),
    )


def _busy_stay(line: Trips, locale: Locale) -> Said:
    if "sleep" not in line.use.as_set:
        return locale.say("You also walk there")
    if "exertion" not in line.use.as_set:
        return locale.say("You also sleep there")
    return locale.say("You also walk or sleep there")


def _stay(minutes: int | None, locale: Locale) -> Said:
    if minutes is None:
        return locale.say("Too far: do not go")
    return locale.duration(minutes) if minutes else locale.say("Turn back at once")


def _home_mark(trip: Trip, locale: Locale) -> Said:
    if trip.stay_min is None:
        return locale.say("Too far: do not go")
    return level_words(trip.home_mark, locale) if trip.home_mark else locale.say("Go by the clock")
