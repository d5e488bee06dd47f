"""The tables of what goes beside the guide: a few rows each, with what to do at each mark."""

from collections.abc import Iterable
from fractions import Fraction

from companion.case.model import Case
from companion.case.prescription import Activity
from companion.guide import tables
from companion.guide.document import Column
from companion.guide.naming import activity_words, demand_words, level_words, store_name
from companion.guide.reservoir_table import to_do
from companion.guide.tables import Row, Table
from companion.language.locale import Locale
from companion.language.said import Said, isolated, lines
from companion.reckoning import choices
from companion.reckoning.containers import GasStore
from companion.reckoning.duration import Window
from companion.reckoning.plan import Plan

NIGHT_HOURS = 12
"""From a fill in the evening to an outing in the morning; a row of the guide's table of waiting."""

Times = dict[Fraction, int]
"""Times by gauge reading [min]."""


def ordered(case: Case, locale: Locale) -> list[tuple[Said, Said]]:
    """Return each activity with what is ordered for it: the flow, the setting, or both."""
    found = []
    for activity, order in case.prescription.orders().items():
        uses = [locale.flow(order.flow)] if order.flow else []
        if order.pulse_setting:
            uses.append(locale.say("pulses: number {setting}", setting=isolated(order.pulse_setting)))
        found.append((activity_words(activity, locale), lines(*uses)))
    return found


# ── reservoirs ──────────────────────────────────────────────────────────────────────────────────


def reservoirs(case: Case, made: Plan, locale: Locale) -> Table:
    """Return how long a reservoir lasts from each mark, and what to do there; of several, what is right for each."""
    times = [line.safe_min for line in made.supply]
    stores = [made.liquid_store(line.container) for line in made.supply]
    low = choices.low_mark(made.supply)
    levels = {*choices.shared_levels(stores), low, *([made.call.mark] if made.call.mark else [])}

    def row(level: Fraction) -> Row:
        lasts = tables.answer("reservoir", choices.shortest_at(times, level), locale)
        return Row(level_words(level, locale), level, (lasts, to_do(level, case, made, locale)))

    return Table(
        caption=None,
        corner=locale.say("A reservoir shows") if len(made.supply) > 1 else locale.say("The reservoir shows"),
        columns=(Column(locale.say("In daily use")), Column(locale.say("Do this"), kind="words")),
        rows=(*(row(level) for level in sorted(levels, reverse=True)), _empty_row(case, locale)),
        gauge=stores[0].gauge,
        divisions=min(store.divisions for store in stores),
    )


def _empty_row(case: Case, locale: Locale) -> Row:
    """Return the row of a gauge that shows nothing any more: use what comes, rely on none of it."""
    act = (
        locale.say("Use what still comes. Then change to a cylinder.")
        if case.cylinder
        else locale.say("Use what still comes.")
    )
    return Row(level_words(Fraction(0), locale), Fraction(0), (locale.say("No sure time"), act))


# ── portables ───────────────────────────────────────────────────────────────────────────────────


def portables(made: Plan, locale: Locale) -> Table:
    """Return how long a portable lasts in use from each mark, and a full one after a night; of several the shortest."""
    stores = [made.liquid_store(line.container) for line in made.standing]
    groups = _groups(made)
    waited = [next(row for row in line.rows if row.hours == NIGHT_HOURS).safe_min for line in made.standing]

    def answers(minutes: Iterable[int]) -> tuple[Said, ...]:
        return tuple(tables.answer("portable", found, locale) for found in minutes)

    def row(level: Fraction) -> Row:
        head = locale.say("full, just filled") if level == 1 else level_words(level, locale)
        return Row(head, level, answers(choices.shortest_at(_times(group), level) for group in groups))

    return Table(
        caption=None,
        corner=locale.say("A portable shows") if len(stores) > 1 else locale.say("The portable shows"),
        columns=tuple(_column(group, locale, alone=len(groups) == 1) for group in groups),
        rows=(
            *(row(level) for level in choices.shared_levels(stores)),
            Row(
                # Translators: {hours} is a length of time, such as "12 hours"
                locale.say("filled {hours} ago, unused", hours=locale.hours(NIGHT_HOURS)),
                None,
                answers(min(row[window.demand.activity] for row in waited for window in group) for group in groups),
            ),
        ),
        gauge=stores[0].gauge,
        divisions=min(store.divisions for store in stores),
    )


def _groups(made: Plan) -> list[list[Window]]:
    """Return the windows column by column: all in one where everything is set alike, else by activity.

    Whoever is not ordered to sleep on a portable must not read from the sheet that they may.
    """
    windows = made.windows_of("portable")
    if len({window.demand.set_to for window in windows}) == 1:
        return [list(windows)]
    by_activity: dict[Activity, list[Window]] = {}
    for window in windows:
        if window.demand.activity == "sleep" and not tables.sleeps_on_portable(made):
            continue
        by_activity.setdefault(window.demand.activity, []).append(window)
    return list(by_activity.values())


def _column(group: list[Window], locale: Locale, *, alone: bool) -> Column:
    asked = group[0].demand
    alike = len({window.demand.set_to for window in group}) == 1
    return Column(
        locale.say("At all times") if alone else activity_words(asked.activity, locale),
        demand_words(asked, locale) if alike else None,
    )


def _times(windows: Iterable[Window]) -> list[Times]:
    """Return the times of each container in each activity by gauge reading [min]."""
    found: dict[tuple[str, Activity], Times] = {}
    for window in windows:
        found.setdefault((window.container, window.demand.activity), {})[window.level] = window.safe_min
    return list(found.values())


# ── cylinders ───────────────────────────────────────────────────────────────────────────────────


def cylinders(made: Plan, locale: Locale) -> Table:
    """Return for each kind of cylinder how long a full one lasts, whatever the patient does, and when to change it."""

    def row(store: GasStore) -> Row:
        alike = [found for found in (*made.windows, *made.steady_windows) if found.container == store.id]
        lasts = choices.one_cylinder_min(alike)
        return Row(
            store_name(store, made.stores, locale),
            None,
            (
                locale.duration(lasts) if lasts else locale.say("No sure time"),
                # Translators: {pressure} is a reading of a pressure gauge, such as 200 psi
                locale.say("{pressure} or less", pressure=tables.pressure(store.stop_reading, store, locale)),
            ),
        )

    return Table(
        caption=None,
        corner=locale.say("Back-up"),
        columns=(
            Column(locale.say("A full one")),
            Column(locale.say("Used up at") if made.cylinder_count == 1 else locale.say("Change at")),
        ),
        rows=tuple(row(store) for store in made.stores if isinstance(store, GasStore)),
    )


# ── of every kind ─────────────────────────────────────────────────────────────────────────────────


def all_of(case: Case, made: Plan, locale: Locale) -> list[Table]:
    """Return the tables of the home's containers, what it depends on most first."""
    return [
        reservoirs(case, made, locale),
        *([portables(made, locale)] if case.portable else []),
        *([cylinders(made, locale)] if case.cylinder else []),
    ]
