"""The reservoirs in one table: what the gauge shows, how long that lasts, and what to do."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from companion.case.model import Case
from companion.guide.document import Column
from companion.guide.naming import level_words, listed, store_name
from companion.guide.tables import Row, Table
from companion.language.locale import Locale
from companion.language.said import Said, joined, typed
from companion.reckoning import choices
from companion.reckoning.deliveries import latest_hour_days, longest_round_gap
from companion.reckoning.plan import Plan
from companion.reckoning.supply import ReservoirSupply


def reservoirs(case: Case, plan: Plan, locale: Locale) -> list[Table]:
    """Return a table for all reservoirs whose gauges look alike, two at most, and one for each other."""
    alike: dict[tuple[str, tuple[Fraction, ...]], list[ReservoirSupply]] = {}
    for line in plan.supply:
        store = plan.liquid_store(line.container)
        rows = choices.reservoir_rows(line, store.divisions, plan.call.mark)
        alike.setdefault((store.gauge, rows), []).append(line)
    return [
        _table(group[place : place + 2], rows, case, plan, locale)
        for (_, rows), group in alike.items()
        for place in range(0, len(group), 2)
    ]


def _table(
    group: Sequence[ReservoirSupply], rows: tuple[Fraction, ...], case: Case, plan: Plan, locale: Locale
) -> Table:
    stores = [plan.liquid_store(line.container) for line in group]
    named = [
        locale.alone(typed(store.name)) if store.name else store_name(store, plan.stores, locale) for store in stores
    ]
    lasts = locale.say("Lasts at least")
    if len(group) > 1 and all(len({line.safe_min[level] for line in group}) == 1 for level in rows):
        # Equal times stand once.
        return replace(
            _table(group[:1], rows, case, plan, locale),
            caption=listed(named, locale),
            columns=(
                Column(locale.say("Each reservoir lasts at least")),
                Column(locale.say("Do this"), kind="words"),
            ),
        )
    heads = [Column(name, lasts) for name in named] if len(plan.supply) > 1 else [Column(lasts)]
    return Table(
        caption=None,
        corner=locale.say("Reservoir shows"),
        columns=(*heads, Column(locale.say("Do this"), kind="words")),
        rows=(
            *(
                Row(
                    level_words(level, locale),
                    level,
                    (*(_time(line.safe_min[level], locale) for line in group), to_do(level, case, plan, locale)),
                )
                for level in rows
            ),
            *_between(group, rows, case, plan, locale),
        ),
        gauge=stores[0].gauge,
        divisions=stores[0].divisions,
    )


def _between(
    group: Sequence[ReservoirSupply], rows: tuple[Fraction, ...], case: Case, plan: Plan, locale: Locale
) -> list[Row]:
    """Return the row of a gauge between two lines; none for lamps of which each has its line.

    The time is that of the lower mark. What to do waits until that mark is reached, but on a round.
    """
    store = plan.liquid_store(group[0].container)
    if store.gauge == "electronic" and len(rows) == store.divisions:
        return []
    middle = Fraction((store.divisions + 1) // 2, store.divisions)
    lower = locale.say("The lower time")
    act = (
        locale.say("Do what the higher mark says.")
        if waits_for_the_mark(case, plan)
        else locale.say("Do what the lower mark says.")
    )
    return [
        Row(locale.say("between two marks"), middle + Fraction(1, 2 * store.divisions), (*(lower for _ in group), act))
    ]


def _time(minutes: int, locale: Locale) -> Said:
    return locale.duration(minutes) if minutes else locale.say("Plan as if empty")


def waits_for_the_mark(case: Case, plan: Plan) -> bool:
    """Return whether a needle between two marks calls for what the higher one says, until it is down at the lower."""
    return case.clinic.delivery.round is None and plan.call.mark is not None


def to_do(level: Fraction, case: Case, plan: Plan, locale: Locale) -> Said:
    """Return what to do at a mark: the same rule as on the first page, told mark by mark."""
    rule = plan.call
    if level <= choices.low_mark(plan.supply):
        return joined(*_when_low(case, locale))
    if rule.mark is not None and case.clinic.delivery.round is None:
        if level > rule.mark:
            return locale.say("No call yet.")
        if level == rule.mark:
            return locale.say("**Call today.**")
        return locale.say("**Call today**, if you have not called.")
    return _until_they_come(level, case, plan, locale)


def _until_they_come(level: Fraction, case: Case, plan: Plan, locale: Locale) -> Said:
    """Return what to do at a mark where the supplier comes unasked, or each delivery is arranged with the one before.

    A call, unless that mark lasts until they come; a needle between two marks is told by the lower one.
    """
    lasts = choices.shortest_at([line.days_from for line in plan.supply], level) - latest_hour_days(case)
    fixed = case.clinic.delivery.round
    if fixed is not None and lasts >= longest_round_gap(fixed):
        return locale.say("No call yet.")
    if lasts >= 1:
        return locale.say("Call today, unless the supplier comes within {days}.", days=locale.days(int(lasts)))
    return locale.say("**Call today.**")


def _when_low(case: Case, locale: Locale) -> list[Said]:
    """Return the steps of a low reservoir."""
    at_night = (case.clinic.supplier or case.clinic).phone_night is not None
    steps = [locale.say("**Call now, by day or night.**") if at_night else locale.say("**Call now.**")]
    if case.portable:
        steps.append(locale.say("Do not fill the portable."))
    if len(case.reservoir) > 1:
        steps.append(locale.say("Change to the other reservoir."))
    elif case.cylinder:
        steps.append(locale.say("Get a cylinder ready."))
    return steps
