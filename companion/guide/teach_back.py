"""Teach-back: questions made from one case, with the answers that its guide gives.

The patient says in their own words, or shows, what they will do; a few things are told, then asked, then the
next few. It tests the explanation and not the patient (AHRQ Health Literacy Universal Precautions Toolkit, Tool 5).
"""

from dataclasses import dataclass
from fractions import Fraction

from companion.case.model import Case
from companion.case.prescription import Activity
from companion.guide import tables
from companion.guide.naming import level_words, store_name
from companion.guide.values import Values, values
from companion.language.locale import Locale
from companion.language.said import Said
from companion.reckoning import choices
from companion.reckoning.plan import Plan

HALF = Fraction(1, 2)
"""About how full the container is that is asked about: its own mark there, or the next one down."""

WAITED_HOURS = 4
"""The waiting time that is asked for; it stands in a row of the guide's tables."""


@dataclass(frozen=True)
class Question:
    """What is asked, and the answer that the guide gives."""

    ask: Said
    expect: Said


def teach_back(case: Case, made: Plan, locale: Locale) -> tuple[Question, ...]:
    """Return the six or seven questions of a case in one language, in the order in which they are asked."""
    v = values(case, made, locale)
    return (*_times(case, made, v, locale), *_dangers(v, locale), *_troubles(v, made.cylinder_count, locale))


def asked_activity(case: Case) -> Activity:
    """Return the activity that is asked about: walking, where it is ordered."""
    orders = case.prescription.orders()
    return "exertion" if "exertion" in orders else next(iter(orders))


def _times(case: Case, made: Plan, v: Values, locale: Locale) -> tuple[Question, ...]:
    call = Question(
        locale.say("When do you call for a delivery?"),
        v.call_rule,
    )
    if not made.standing:
        line = made.supply[0]
        level = choices.mark_not_above(list(line.safe_min), HALF)
        ask = locale.say(
            "{name}: the gauge shows {level}. How long do you plan for?",
            name=_name(line.container, made, locale),
            level=level_words(level, locale),
        )
        return Question(ask, tables.answer("reservoir", line.safe_min[level], locale)), call
    return _portable_level(case, made, locale), _portable_waited(case, made, locale), call


def _portable_level(case: Case, made: Plan, locale: Locale) -> Question:
    container = made.standing[0].container
    level = choices.mark_not_above(made.liquid_store(container).levels, HALF)
    activity = asked_activity(case)
    held = {"name": _name(container, made, locale), "level": level_words(level, locale)}
    ask = {
        "rest": locale.say("{name}: the gauge shows {level}. You are resting. How long do you plan for?", **held),
        "exertion": locale.say("{name}: the gauge shows {level}. You are walking. How long do you plan for?", **held),
        "sleep": locale.say("{name}: the gauge shows {level}. You want to sleep. How long do you plan for?", **held),
    }[activity]
    return Question(ask, tables.answer("portable", made.window(container, level, activity).safe_min, locale))


def _portable_waited(case: Case, made: Plan, locale: Locale) -> Question:
    line = made.standing[0]
    activity = asked_activity(case)
    held = {"name": _name(line.container, made, locale), "hours": locale.hours(WAITED_HOURS)}
    ask = {
        "rest": locale.say(
            "{name}: you filled it {hours} ago and did not use it. You rest now. How long do you plan for?", **held
        ),
        "exertion": locale.say(
            "{name}: you filled it {hours} ago and did not use it. You walk now. How long do you plan for?", **held
        ),
        "sleep": locale.say(
            "{name}: you filled it {hours} ago and did not use it. You sleep now. How long do you plan for?", **held
        ),
    }[activity]
    row = next(row for row in line.rows if row.hours == WAITED_HOURS)
    return Question(ask, tables.answer("portable", row.safe_min[activity], locale))


def _dangers(v: Values, locale: Locale) -> tuple[Question, ...]:
    return (
        Question(
            locale.say("How far do you stay from flames, stoves and people who smoke?"),
            locale.say("At least {flame_distance}.", flame_distance=v.flame_distance),
        ),
        Question(
            locale.say("Very cold liquid comes out and does not stop. What do you do?"),
            locale.say("Step back. Do not touch it. Get everyone out. Call from outside."),
        ),
    )


def _troubles(v: Values, cylinders: int, locale: Locale) -> tuple[Question, ...]:
    worse = (
        locale.say(
            "Call {emergency_number} at once. Keep the flow that was ordered.", emergency_number=v.emergency_number
        )
        if v.emergency_number
        else locale.say("Call an ambulance at once. Keep the flow that was ordered.")
    )
    no_oxygen = (
        locale.plural(
            cylinders,
            "Change to the back-up cylinder at once. Then call the supplier. "
            "If it is full, plan for no more than {cylinder_time}.",
            "Change to a back-up cylinder at once. Then call the supplier. "
            "For all full cylinders together, plan for no more than {cylinder_time}.",
            cylinder_time=v.cylinder_time,
        )
        if v.cylinder_time
        else locale.say("Call the supplier at once. If you feel unwell, call an ambulance first.")
    )
    return (
        Question(locale.say("You feel much worse. What do you do?"), worse),
        Question(locale.say("No oxygen comes from the reservoir. What do you do?"), no_oxygen),
    )


def _name(container: str, made: Plan, locale: Locale) -> Said:
    return store_name(next(store for store in made.stores if store.id == container), made.stores, locale)
