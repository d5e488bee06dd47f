"""Sentences about filling a portable, chosen by its valve, by the couplings in the home and by what was ordered."""

import math

from companion.case.model import Case
from companion.guide.conditions import couplings
from companion.guide.naming import store_name
from companion.language.locale import Locale
from companion.language.said import Said, joined
from companion.reckoning.plan import Plan


def fill_time(case: Case, locale: Locale) -> Said | None:
    """Return how long filling takes: of several portables the longest time, where all are known."""
    times = [item.fill_time for item in case.portable]
    if not times or None in times:
        return None
    return locale.duration(max(1, math.ceil(max(time.to("time") for time in times if time is not None))))


def fill_only_from(case: Case, made: Plan, locale: Locale) -> Said | None:
    """Return which reservoir fills which portable, where their couplings are unlike; None where each fits each."""
    if not case.portable or len(couplings(case)) == 1:
        return None
    named = {store.id: store_name(store, made.stores, locale) for store in made.stores}
    told = [
        # Translators: {portable} and {reservoir} are names of containers
        locale.say(
            "Fill this portable: {portable}, only from this reservoir: {reservoir}.",
            portable=named[f"portable-{place}"],
            reservoir=named[f"reservoir-{beside}"],
        )
        for place, portable in enumerate(case.portable, start=1)
        for beside, reservoir in enumerate(case.reservoir, start=1)
        if portable.coupling.casefold() == reservoir.coupling.casefold()
    ]
    return joined(*told)


def _fill_valve(case: Case) -> str | None:
    """Return how the fill valve closes, where it is known and the same on every portable."""
    ways = {item.fill_valve for item in case.portable}
    return ways.pop() if len(ways) == 1 else None


def fill_valve_closed(case: Case, locale: Locale) -> Said:
    """Return how to see that the fill valve is closed."""
    told = {
        "lever across": locale.say("Check that the fill valve is closed. Its lever must lie across."),
        "lever along": locale.say("Check that the fill valve is closed. Its lever must lie along the portable."),
        "clockwise": locale.say("Check that the fill valve is closed. Turn it to the right until it stops."),
        "counter-clockwise": locale.say("Check that the fill valve is closed. Turn it to the left until it stops."),
    }
    way = _fill_valve(case)
    return told[way] if way else locale.say("Check that the fill valve is closed, as the supplier showed you.")


def fill_valve_open(case: Case, locale: Locale) -> Said:
    """Return how the fill valve is opened."""
    told = {
        "lever across": locale.say("Open the fill valve: turn the lever along the portable."),
        "lever along": locale.say("Open the fill valve: turn the lever across."),
        "clockwise": locale.say("Open the fill valve: turn it to the left."),
        "counter-clockwise": locale.say("Open the fill valve: turn it to the right."),
    }
    way = _fill_valve(case)
    return told[way] if way else locale.say("Open the fill valve.")


def while_filling(case: Case, locale: Locale) -> Said | None:
    """Return what to breathe from while filling; None where nobody has ordered it."""
    told = {
        "reservoir": locale.say("While you fill, keep breathing from the reservoir."),
        "cylinder": locale.say("Before you fill, change to a cylinder. Afterwards, change back and close its valve."),
        "other portable": locale.say("While you fill one portable, breathe from the other one."),
        "pause": locale.say(
            "Your clinic allows you the few minutes of filling without oxygen. Put it back on right after."
        ),
    }
    way = case.prescription.while_filling
    return told[way] if way else None
