"""The reservoirs in one table: what the gauge shows, how long that lasts, and what to do."""

from collections.abc import Sequence
from fractions import Fraction

from companion.case.model import Case
from companion.guide.document import Column
from companion.guide.naming import level_words, store_name
from companion.guide.tables import Row, Table
from companion.language.locale import Locale
from companion.language.said import Said, joined, typed
from companion.reckoning import choices
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
    heads = [Column(name, lasts) for name in named] if len(plan.supply) > 1 else [Column(lasts)]
    return Table(
        caption=None,
        corner=locale.say("Gauge shows"),
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
            *_between(group, plan, locale),
        ),
        gauge=stores[0].gauge,
        divisions=stores[0].divisions,
    )


def _between(group: Sequence[ReservoirSupply], plan: Plan, locale: Locale) -> list[Row]:
    """Return the row of a needle between two marks; none for lamps, of which each is lit or not."""
    store = plan.liquid_store(group[0].container)
    if store.gauge == "electronic":
        return []
    middle = Fraction((store.divisions + 1) // 2, store.divisions)
    times = (locale.say("As at the lower mark") for _ in group)
    return [
        Row(
            locale.say("between two marks"),
            middle + Fraction(1, 2 * store.divisions),
            (*times, locale.say("Go by the lower mark.")),
        )
    ]


def _time(minutes: int, locale: Locale) -> Said:
    return locale.duration(minutes) if minutes else locale.say("Plan as if empty")


def to_do(level: Fraction, case: Case, plan: Plan, locale: Locale) -> Said:
    """Return what to do at a mark: the same rule as on the first page, told mark by mark."""
    rule = plan.call
    if level <= choices.low_mark(plan.supply):
        return joined(*_when_low(case, locale))
    if rule.mark is None:
        if case.clinic.delivery.round is None:
            return locale.say("Ask for the next delivery now.")
        return locale.say("Wait for the round.")
    if level > rule.mark:
        return locale.say("No call is needed yet.")
    if level == rule.mark and rule.unless_within_days is not None:
        return locale.say(
            "Call the supplier today, unless they come within {days}.", days=locale.days(rule.unless_within_days)
        )
    return locale.say("**Call the supplier today.**")


def _when_low(case: Case, locale: Locale) -> list[Said]:
    """Return the steps of a low reservoir."""
    at_night = (case.clinic.supplier or case.clinic).phone_night is not None
    steps = [
        locale.say("**Call the supplier now, by day or night.**")
        if at_night
        else locale.say("**Call the supplier now.**")
    ]
    if case.portable:
        steps.append(locale.say("Do not fill the portable."))
    if len(case.reservoir) > 1:
        steps.append(locale.say("Change to the other reservoir."))
    elif case.cylinder:
        steps.append(locale.say("Put a full cylinder ready."))
    return steps
