"""The tables of the guide as rows and columns of ready text: what a template prints and nothing more."""

import math
from dataclasses import dataclass
from fractions import Fraction

from markupsafe import Markup

from companion.containers import LEVELS, GasStore, Store
from companion.demand import Demand
from companion.guide.values import activity_words, level_words
from companion.locale import Locale, isolated
from companion.plan import Plan
from companion.supply import ReservoirSupply


@dataclass(frozen=True)
class Row:
    """One row: its head, the drawing that goes with it, its answers."""

    head: Markup
    quarters: int | None
    """The level that the gauge in the head shows, in quarters; None for a row without a drawing."""
    cells: tuple[Markup, ...]


@dataclass(frozen=True)
class Column:
    """The head of a column of answers: the activity, and the flow below it."""

    head: Markup
    below: Markup


@dataclass(frozen=True)
class Table:
    """One table with its caption."""

    caption: Markup
    corner: Markup
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]


def store_name(store: Store, made: Plan, locale: Locale) -> Markup:
    """Return what the guide calls a container, with its place where there are several of a kind."""
    names = {
        "reservoir": locale.say("Reservoir"),
        "portable": locale.say("Portable"),
        "cylinder": locale.say("Cylinder"),
    }
    alike = [other for other in made.stores if other.kind == store.kind]
    if len(alike) == 1:
        return names[store.kind]
    return locale.say("{name} {number}", name=names[store.kind], number=isolated(alike.index(store) + 1))


def demand_words(found: Demand, locale: Locale) -> Markup:
    """Return the flow or the setting, never one for the other."""
    if found.mode == "pulse":
        return locale.say("number {setting}", setting=isolated(found.setting))
    return locale.flow(found.flow_l_min)


def durations(made: Plan, kind: str, locale: Locale) -> list[Table]:
    """Return a table for each container of a kind: gauge reading by activity, for a reservoir by its daily use.

    A reservoir also fills portables and stands, so the time of one activity alone would promise too much.
    """
    if kind == "reservoir":
        return [_reservoir_days(line, made, locale) for line in made.supply]
    return [_durations_of(store, made, locale) for store in made.stores if store.kind == kind]


def _grouped(store: Store, made: Plan) -> list[list[Demand]]:
    """Return the columns: one where every activity uses the same, else one for each activity."""
    asked = [found.demand for found in made.windows if found.container == store.id and found.level == 1]
    alike = len({(found.mode, found.flow_l_min, found.setting) for found in asked}) == 1
    return [asked] if alike else [[found] for found in asked]


def _columns(groups: list[list[Demand]], locale: Locale) -> tuple[Column, ...]:
    return tuple(
        Column(
            activity_words(group[0].activity, locale) if len(group) == 1 else locale.say("At all times"),
            demand_words(group[0], locale),
        )
        for group in groups
    )


def _reservoir_days(line: ReservoirSupply, made: Plan, locale: Locale) -> Table:
    store = next(store for store in made.stores if store.id == line.container)
    return Table(
        caption=locale.say("{name}: it lasts at least", name=store_name(store, made, locale)),
        corner=locale.say("Gauge shows"),
        columns=(Column(locale.say("With all that you use in a day"), Markup("")),),
        rows=tuple(
            Row(
                head=level_words(level, locale),
                quarters=int(level * 4),
                cells=(locale.duration(minutes) if minutes else locale.say("Too low: call now"),),
            )
            for level, minutes in line.safe_min.items()
        ),
    )


def _durations_of(store: Store, made: Plan, locale: Locale) -> Table:
    groups = _grouped(store, made)
    empty = {
        "portable": locale.say("Too low: fill it"),
        "cylinder": locale.say("Too low: change it"),
    }[store.kind]

    def answer(level: Fraction, group: list[Demand]) -> Markup:
        minutes = made.window(store.id, level, group[0].activity).safe_min
        return locale.duration(minutes) if minutes else empty

    return Table(
        caption=locale.say("{name}: it lasts at least", name=store_name(store, made, locale)),
        corner=locale.say("Gauge shows"),
        columns=_columns(groups, locale),
        rows=tuple(
            Row(
                head=_reading(store, level, locale),
                quarters=None if isinstance(store, GasStore) else int(level * 4),
                cells=tuple(answer(level, group) for group in groups),
            )
            for level in LEVELS
        ),
    )


def _reading(store: Store, level: Fraction, locale: Locale) -> Markup:
    """Return what the gauge shows: words for a level, the pressure for a cylinder in the unit of its gauge."""
    if not isinstance(store, GasStore):
        return level_words(level, locale)
    # Rounded up: a gauge that shows this much holds at least what was computed.
    return isolated(f"{math.ceil(store.full_reading * float(level))} {store.pressure_unit}")


def standing(made: Plan, locale: Locale) -> list[Table]:
    """Return a table for each portable: what a full one still gives after it waited."""
    found = []
    for line in made.standing:
        store = next(store for store in made.stores if store.id == line.container)
        groups = _grouped(store, made)
        found.append(
            Table(
                caption=locale.say("{name}, filled and not used: it still lasts", name=store_name(store, made, locale)),
                corner=locale.say("It waited"),
                columns=_columns(groups, locale),
                rows=tuple(
                    Row(
                        head=locale.hours(row.hours),
                        quarters=None,
                        cells=tuple(
                            locale.duration(row.safe_min[group[0].activity])
                            if row.safe_min[group[0].activity]
                            else locale.say("Too low: fill it")
                            for group in groups
                        ),
                    )
                    for row in line.rows
                ),
            )
        )
    return found
