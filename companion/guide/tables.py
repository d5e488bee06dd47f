"""The tables of the guide as rows and columns of ready text: what a template prints and nothing more."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from companion.guide.document import Column
from companion.guide.naming import activity_words, demand_words, level_words, listed, store_name
from companion.language.locale import Locale
from companion.language.said import Said, isolated
from companion.reckoning import choices
from companion.reckoning.containers import GasStore, Store
from companion.reckoning.deliveries import ExpectedDelivery
from companion.reckoning.demand import Demand
from companion.reckoning.duration import Window
from companion.reckoning.plan import Plan
from companion.reckoning.supply import ReservoirSupply

KINDS = ("portable", "reservoir", "cylinder")
"""The kinds of container in the order in which they are shown side by side."""


@dataclass(frozen=True)
class Row:
    """One row: its head, the drawing that goes with it, its answers."""

    head: Said
    level: Fraction | None
    """What the gauge that is drawn in the head shows, as a share of full; None for a row without a drawing."""
    cells: tuple[Said, ...]


@dataclass(frozen=True)
class Table:
    """One table, ready to be placed, and what the programs for a phone must know of it beside."""

    caption: Said | None
    """None where the heading above says it."""
    corner: Said
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    gauge: str = ""
    """The kind of gauge that is drawn in the heads; none where none is."""
    divisions: int = 4
    """How many equal parts that gauge has."""


def answer(kind: str, minutes: int, locale: Locale) -> Said:
    """Return what stands in a cell: the time, or what to do where no time can be promised."""
    too_low = {
        "reservoir": locale.say("Too low: call now"),
        "portable": locale.say("Too low to use"),
        "cylinder": locale.say("Too low: change it"),
    }
    return locale.duration(minutes) if minutes else too_low[kind]


def durations(made: Plan, kind: str, locale: Locale) -> list[Table]:
    """Return a table for each container of a kind: gauge reading by activity, for a reservoir by its daily use.

    A reservoir also fills portables and stands, so the time of one activity alone would promise too much.
    """
    if kind == "reservoir":
        return [_reservoir_days(line, made, locale) for line in made.supply]
    found = []
    for store in made.stores:
        if store.kind == kind:
            caption = locale.say("{name}: it lasts at least", name=store_name(store, made.stores, locale))
            table = _durations_of(store, made.windows, caption, locale)
            found.append(_to_its_stop(table, store, made, locale) if isinstance(store, GasStore) else table)
    return found


def _to_its_stop(table: Table, store: GasStore, made: Plan, locale: Locale) -> Table:
    """Return the table of a cylinder down to the reading at which to change it: what is above that has a line too."""
    if set(table.rows[-1].cells) == {answer("cylinder", 0, locale)}:
        return table
    stop = pressure(store.stop_reading, store, locale)
    # A cylinder that is the only one cannot be changed.
    act = locale.say("Change it") if made.cylinder_count > 1 else locale.say("Plan as if empty")
    return replace(table, rows=(*table.rows, Row(stop, None, (act,) * len(table.columns))))


def all_durations(made: Plan, locale: Locale) -> list[Table]:
    """Return the tables of all containers, what is carried out of the home first."""
    return [found for kind in KINDS for found in durations(made, kind, locale)]


def steady(made: Plan, locale: Locale) -> list[Table]:
    """Return a table for each container that gives pulses: how long it lasts on the steady flow when they fail.

    A table of its own, and no more columns: six in large print are too narrow to read, and a hurried eye takes
    the wrong one.
    """
    return [
        _durations_of(
            store,
            made.steady_windows,
            locale.say("{name}, if the pulses stop: it lasts at least", name=store_name(store, made.stores, locale)),
            locale,
        )
        for store in made.stores
        if any(window.container == store.id for window in made.steady_windows)
    ]


def undrawn(table: Table) -> Table:
    """Return a table without its gauges, where they stand beside the same marks on another page."""
    return replace(table, rows=tuple(replace(row, level=None) for row in table.rows))


def weights(made: Plan, locale: Locale) -> list[Table]:
    """Return a table for each portable by its weight, for who cannot see the gauge: its times, from full down."""
    by_gauge = durations(awake(made), "portable", locale)
    found = []
    for line, table in zip(made.weights, by_gauge, strict=True):
        unit = "mass-kilogram" if line.metric else "mass-pound"
        heads = [locale.amount(weight, unit, 1) for weight in line.at_least.values()]
        rows = [replace(row, head=head, level=None) for row, head in zip(table.rows, heads, strict=True)]
        found.append(replace(table, corner=locale.say("Portable weighs at least"), rows=tuple(rows), gauge=""))
    return found


def grouped(store: Store, windows: Sequence[Window]) -> list[list[Demand]]:
    """Return the columns: activities that use the same share one.

    At one setting of a conserver, who breathes faster uses more.
    """
    columns: dict[tuple[object, float], list[Demand]] = {}
    for found in windows:
        if found.container == store.id and found.level == 1:
            columns.setdefault((found.demand.set_to, found.demand.flow_l_min), []).append(found.demand)
    return list(columns.values())


def _columns(groups: list[list[Demand]], locale: Locale) -> tuple[Column, ...]:
    if len(groups) == 1:
        return (Column(locale.say("Lasts at least, at {use}", use=demand_words(groups[0][0], locale))),)
    return tuple(
        Column(
            listed([activity_words(found.activity, locale) for found in group], locale),
            demand_words(group[0], locale),
        )
        for group in groups
    )


def _reservoir_days(line: ReservoirSupply, made: Plan, locale: Locale) -> Table:
    store = made.liquid_store(line.container)
    return Table(
        caption=locale.say("{name}: it lasts at least", name=store_name(store, made.stores, locale)),
        corner=locale.say("Reservoir shows"),
        columns=(Column(locale.say("With all that you use in a day")),),
        rows=tuple(
            Row(
                head=level_words(level, locale),
                level=level,
                cells=(answer("reservoir", minutes, locale),),
            )
            for level, minutes in line.safe_min.items()
        ),
        gauge=store.gauge,
        divisions=store.divisions,
    )


def _durations_of(store: Store, windows: Sequence[Window], caption: Said, locale: Locale) -> Table:
    groups = grouped(store, windows)
    safe_min = {
        (window.level, window.demand.activity): window.safe_min for window in windows if window.container == store.id
    }

    def row(level: Fraction, head: Said, drawn: Fraction | None) -> Row:
        times = (safe_min[level, group[0].activity] for group in groups)
        return Row(head, drawn, tuple(answer(store.kind, minutes, locale) for minutes in times))

    corner = {
        "reservoir": locale.say("Reservoir shows"),
        "portable": locale.say("Portable shows"),
        "cylinder": locale.say("Cylinder shows"),
    }
    table = Table(caption, corner[store.kind], _columns(groups, locale), ())
    if isinstance(store, GasStore):
        rows = choices.cylinder_rows(store)
        return replace(table, rows=tuple(row(line.level, pressure(line.reading, store, locale), None) for line in rows))
    return replace(
        table,
        rows=tuple(row(level, level_words(level, locale), level) for level in store.levels),
        gauge=store.gauge,
        divisions=store.divisions,
    )


def pressure(reading: Decimal, store: GasStore, locale: Locale) -> Said:
    """Spell what the gauge of a cylinder shows, in its own unit."""
    return locale.alone(isolated(f"{locale.number(reading, 6)} {store.pressure_unit}"))


def sleeps_on_portable(made: Plan) -> bool:
    """Return whether sleep on a portable is ordered."""
    return any(night.kind == "portable" and night.asleep_min for night in made.nights)


def awake(made: Plan) -> Plan:
    """Return a plan without the times asleep on a portable, where no sleep on one is ordered: nobody should try it."""
    if sleeps_on_portable(made):
        return made
    others = {window.demand.activity for window in made.windows_of("portable")} - {"sleep"}
    if not others:
        return made

    def told(windows: Sequence[Window]) -> tuple[Window, ...]:
        return tuple(found for found in windows if found.kind != "portable" or found.demand.activity != "sleep")

    return replace(made, windows=told(made.windows), steady_windows=told(made.steady_windows))


def standing(made: Plan, locale: Locale) -> list[Table]:
    """Return a table for each portable: what a full one still gives after it waited."""
    found = []
    for line in made.standing:
        store = made.liquid_store(line.container)
        groups = grouped(store, made.windows)
        found.append(
            Table(
                caption=locale.say(
                    "{name}, filled and not used: it still lasts", name=store_name(store, made.stores, locale)
                ),
                corner=locale.say("It waited"),
                columns=_columns(groups, locale),
                rows=tuple(
                    Row(
                        head=locale.hours(row.hours),
                        level=None,
                        cells=tuple(answer("portable", row.safe_min[group[0].activity], locale) for group in groups),
                    )
                    for row in line.rows
                ),
            )
        )
    return found


def deliveries(made: Plan, locale: Locale) -> list[Table]:
    """Return the calendar of deliveries as a table; none where no delivery is needed in these weeks."""
    if not made.deliveries:
        return []
    if made.deliveries[0].call_by is None:
        corner, head = locale.say("The supplier comes"), locale.say("What you do")
    elif made.call.mark is None:
        corner, head = locale.say("Ask on this day"), locale.say("The supplier must come by this day")
    else:
        corner, head = locale.say("Call by this day"), locale.say("Expected by this day")
    return [
        Table(
            caption=locale.say("Deliveries in the next eight weeks"),
            corner=corner,
            columns=(Column(head),),
            rows=tuple(
                Row(
                    head=locale.weekday_date(line.call_by or line.expected),
                    level=None,
                    cells=(_coming(line, locale),),
                )
                for line in made.deliveries
            ),
        )
    ]


def _coming(line: ExpectedDelivery, locale: Locale) -> Said:
    """Return the day of a delivery and what to do about it; on a round the day stands in the head."""
    if line.call_by is not None:
        day = locale.weekday_date(line.expected)
        if line.in_time:
            return day
        return locale.say("{date}. This may be too late. Ask the supplier now.", date=day)
    if not line.in_time:
        return locale.say("This may be too late. Ask the supplier now for an extra delivery.")
    if line.day_off:
        return locale.say("This is a public holiday. Ask the supplier now on which day they come.")
    return locale.say("If nobody comes, call on the same day.")


def flows(made: Plan, locale: Locale) -> list[Table]:
    """Return the ordered flow or setting by activity, in one column where every container is set alike."""
    activities = list(dict.fromkeys(found.demand.activity for found in made.windows))
    asked = {
        store: [made.window(store.id, Fraction(1), activity).demand for activity in activities] for store in made.stores
    }
    # Containers that are set alike share a column. On a portable nobody sleeps to whom it is not ordered.
    not_asleep = awake(made) is not made
    columns: dict[tuple[object, ...], list[Store]] = {}
    for store, column in asked.items():
        wakes = not_asleep and store.kind == "portable"
        columns.setdefault((wakes, *(found.set_to for found in column)), []).append(store)
    shown = [(alike, asked[alike[0]]) for alike in columns.values()]

    def head(alike: list[Store]) -> Said:
        if len(shown) == 1:
            return locale.say("Set it to")
        return listed([store_name(store, made.stores, locale) for store in alike], locale)

    return [
        Table(
            caption=locale.say("What the prescriber ordered"),
            corner=locale.say("You are"),
            columns=tuple(Column(head(alike)) for alike, _ in shown),
            rows=tuple(
                Row(
                    activity_words(activity, locale),
                    None,
                    tuple(
                        locale.say("not for sleep")
                        if activity == "sleep" and not_asleep and alike[0].kind == "portable"
                        else demand_words(column[place], locale)
                        for alike, column in shown
                    ),
                )
                for place, activity in enumerate(activities)
            ),
        )
    ]
