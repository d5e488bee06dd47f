"""Tables of the clinician's copy: what each container holds, how long the supply lasts, what a change would move."""

from collections.abc import Iterator

from companion.case.model import Case
from companion.guide.document import Grid
from companion.guide.grids import Words, container_words, grid, in_english, time_words
from companion.language.catalogue import SOURCE
from companion.language.locale import Locale
from companion.language.said import joined, typed
from companion.reckoning.containers import GasStore, LiquidStore, level_name
from companion.reckoning.plan import Plan


def contents(case: Case, made: Plan) -> Grid:
    """Return what each container holds, loses and keeps, and by which coupling it is filled."""

    def row(store: LiquidStore | GasStore, name: str | None) -> tuple[Words, ...]:
        called = in_english(container_words(store.id))
        if name:
            called = joined(called, Locale(SOURCE, "US").alone(typed(name)), between=": ")
        if isinstance(store, LiquidStore):
            rule = "the greater of flow and boil-off" if store.economiser else "flow and boil-off together"
            return (
                called,
                f"{store.full_kg:.2f} kg = {store.full_litres:.0f} L; "
                f"{store.vapour_share:.1%} of it stays as vapour; filled, at most {store.most_kg:.2f} kg",
                f"{store.boil_off_l_min:.3f} L/min",
                rule,
                f"{store.division:.3f} of full",
                _filled(store, case),
            )
        return (
            called,
            f"{store.full_litres:.0f} L at {store.full_psi:.0f} psi; each of {store.count}",
            "none",
            f"the flow; {store.reserve_psi:.0f} psi stay in",
            f"{store.division_psi:.0f} psi",
            "",
        )

    return grid(
        "What each container holds and loses",
        ("Container", "Oxygen when full", "Boil-off", "Lost in a minute of use", "One division", "Filled"),
        tuple(row(store, store.name) for store in made.stores),
        "wwwwww",
    )


def _filled(store: LiquidStore, case: Case) -> str:
    """Say by which coupling a container is filled; of a portable, from which reservoirs."""
    place = int(store.id.rpartition("-")[2]) - 1
    if store.kind == "reservoir":
        return f"by the supplier; {case.reservoir[place].coupling}"
    coupling = case.portable[place].coupling
    from_there = [
        f"Reservoir {number}"
        for number, item in enumerate(case.reservoir, start=1)
        if item.coupling.casefold() == coupling.casefold()
    ]
    return f"from {' or '.join(from_there)}; {coupling}"


def supply(made: Plan) -> Grid:
    """Return how long each reservoir lasts and whether it bridges the wait for a delivery."""
    return grid(
        f"How long each reservoir lasts alone; the wait for a delivery with what is kept is {made.bridge_days:g} days",
        ("Reservoir", "Days, nominal", "Days, worst", "Call at", "Days to it", "Safe, by gauge", "Bridges a delivery"),
        tuple(
            (
                container_words(line.container),
                f"{line.days_nominal:.1f}",
                str(line.days_to_empty),
                line.call_at,
                "none" if line.days_to_mark is None else str(line.days_to_mark),
                "; ".join(f"{level_name(level)}: {time_words(time)}" for level, time in line.safe_min.items()),
                "yes" if line.covers_delivery else "no",
            )
            for line in made.supply
        ),
        "wffwfww",
    )


def daily_use(made: Plan) -> Grid:
    """Return what each reservoir gives in a day, part by part."""
    return grid(
        "Daily use of each reservoir, in litres of gas",
        ("Reservoir", "Figure", "Breathed", "Cold fills", "Warm fills", "Boil-off", "Total"),
        tuple(
            (
                container_words(line.container),
                name,
                *(f"{part:.0f}" for part in (use.direct, use.cold_fills, use.warm_fills, use.standing, use.total)),
            )
            for line in made.supply
            for name, use in (
                ("nominal", line.nominal),
                ("worst", line.worst),
                *([("worst, at home all day", line.at_home)] if line.at_home.total > line.worst.total else ()),
            )
        ),
        "wwfffff",
    )


def what_if(made: Plan) -> Grid:
    """Return the supply after each change that the equipment allows."""
    return grid(
        "If something changes",
        ("Reservoir", "Change", "Days, worst", "Call at", "Bridges a delivery"),
        tuple(
            (
                container_words(found.supply.container),
                found.change,
                str(found.supply.days_to_empty),
                found.supply.call_at,
                "yes" if found.supply.covers_delivery else "no",
            )
            for found in made.what_if
        ),
        "wwfww",
    )


def standing(made: Plan) -> Iterator[Grid]:
    """Yield for each portable what is left of a full one that stands unused."""
    for line in made.standing:
        activities = tuple(line.rows[0].safe_min)
        yield grid(
            f"{container_words(line.container)}, full and unused: nothing can be relied on after "
            f"{line.empty_after_hours} hours",
            ("Waited", "Oxygen left, nominal", *(f"Safe, {activity}" for activity in activities)),
            tuple(
                (
                    f"{row.hours} h",
                    f"{row.left_kg:.3f} kg",
                    *(time_words(row.safe_min[activity]) for activity in activities),
                )
                for row in line.rows
            ),
            "w" * (2 + len(activities)),
        )
