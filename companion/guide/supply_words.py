"""Sentences about the supply, chosen by the plan: when to call, when the supplier comes, how long cylinders last."""

from companion.case.delivery import WEEKDAYS, Round
from companion.case.model import Case
from companion.guide.naming import level_words, store_name
from companion.language.locale import Locale
from companion.language.said import Said, joined
from companion.reckoning.plan import Plan


def call_rule(case: Case, made: Plan, locale: Locale) -> Said:
    """Return the sentences that say when to ask for oxygen, the same wherever they stand."""
    rule = made.call
    if rule.mark is not None and rule.unless_within_days is not None:
        return locale.say(
            "Call when the reservoir gauge has come down to {call_mark}, unless the supplier comes within {days}. "
            "When it shows still less, always follow the table of the reservoir.",
            call_mark=level_words(rule.mark, locale),
            days=locale.days(rule.unless_within_days),
        )
    if rule.mark is not None:
        return locale.say(
            "Call on the day when the reservoir gauge has come down to {call_mark}, or is lower.",
            call_mark=level_words(rule.mark, locale),
        )
    if case.clinic.delivery.round is not None:
        return locale.say(
            "Each morning, see in the table of the reservoir whether you must call. If nobody "
            "comes on the day of the supplier, call the same day."
        )
    if rule.next_within_days:
        return locale.say(
            "At each delivery, ask for the next one. The supplier must come again within {days}.",
            days=locale.days(rule.next_within_days),
        )
    return locale.say("The reservoir is too small for your flow. Ask the clinic now how you get enough oxygen.")


def round_words(fixed: Round | None, locale: Locale) -> Said | None:
    """Return on which days the supplier comes without a call; None where it has no such days."""
    if fixed is None:
        return None
    weekdays = locale.weekdays([WEEKDAYS.index(day) for day in fixed.weekdays])
    if fixed.every_weeks == 1:
        # Translators: {weekdays} is one day or a list of days, such as "Tuesday and Friday"
        return locale.say("The supplier comes every {weekdays} without a call.", weekdays=weekdays)
    return locale.say(
        # Translators: {weeks} is a length of time, such as "2 weeks"
        "The supplier comes on {weekdays}, every {weeks}, without a call.",
        weeks=locale.weeks(fixed.every_weeks),
        weekdays=weekdays,
    )


def cylinder_supply(count: int, lasts_min: int, locale: Locale) -> Said:
    """Return how many back-up cylinders there are and how long they last together."""
    return locale.plural(
        count,
        "You have {count} back-up cylinder at home. If it is full, it lasts {time} at your highest flow.",
        "You have {count} back-up cylinders at home. If all are full, they last {time} in all, at your highest flow.",
        time=locale.duration(lasts_min),
    )


def cylinder_nights(made: Plan, locale: Locale) -> Said | None:
    """Return which cylinders do not last the ordered sleep, and which do."""
    nights = made.nights_of("cylinder")
    named = {store.id: store_name(store, made.stores, locale) for store in made.stores}
    told = []
    for night in nights:
        if night.lasts:
            continue
        if night.lasts_min:
            told.append(
                locale.say(
                    "{name}: do not sleep through the night on one. It may run out after {time}.",
                    name=named[night.container],
                    time=locale.duration(night.lasts_min),
                )
            )
        else:
            told.append(
                locale.say("{name}: do not sleep on it. It may run out very soon.", name=named[night.container])
            )
    if told and len(told) < len(nights):
        told += [
            locale.say("At night, begin with a full one of this kind: {name}.", name=named[night.container])
            for night in nights
            if night.lasts
        ]
    return joined(*told) if told else None
