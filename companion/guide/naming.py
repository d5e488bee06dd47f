"""How the guide names what was computed: a gauge reading, an activity, a flow, a distance, a temperature."""

import math
from collections.abc import Callable, Sequence
from fractions import Fraction

from companion.case.prescription import Activity
from companion.facts.region import Region
from companion.language.locale import Locale
from companion.language.said import Run, Said, isolated, typed
from companion.reckoning.containers import Store
from companion.reckoning.demand import Demand

METRES_PER_FOOT = 0.3048


def level_words(level: Fraction, locale: Locale) -> Said:
    """Return a gauge reading in words; figures such as 3/4 turn round in some scripts."""
    words = {
        Fraction(1): locale.say("full"),
        Fraction(7, 8): locale.say("seven eighths"),
        Fraction(3, 4): locale.say("three quarters"),
        Fraction(5, 8): locale.say("five eighths"),
        Fraction(1, 2): locale.say("one half"),
        Fraction(3, 8): locale.say("three eighths"),
        Fraction(1, 4): locale.say("one quarter"),
        Fraction(1, 8): locale.say("one eighth"),
        Fraction(0): locale.say("empty"),
    }
    if level in words:
        return words[level]
    # Translators: what a gauge shows that has other marks than quarters or eighths, such as "4 of 5 parts"; {count} is
    # the 5
    return locale.plural(
        level.denominator, "{shown} of {count} part", "{shown} of {count} parts", shown=isolated(level.numerator)
    )


def activity_words(activity: Activity, locale: Locale) -> Said:
    """Return an activity as the head of a column."""
    words = {
        "rest": locale.say("At rest"),
        "exertion": locale.say("Walking"),
        "sleep": locale.say("Asleep"),
    }
    return words[activity]


def when_words(activity: Activity, locale: Locale) -> Said:
    """Return an activity within a sentence."""
    words = {
        "rest": locale.say("when you rest"),
        "exertion": locale.say("when you walk"),
        "sleep": locale.say("when you sleep"),
    }
    return words[activity]


def distance(metres: float, locale: Locale, *, metric: bool) -> Said:
    """Spell a least distance in whole feet and half metres, rounded up, the region's unit first.

    5 cm and a twentieth of a foot are let go, so that 10 feet and 3 metres are the same distance.
    """
    feet = math.ceil(round(metres / METRES_PER_FOOT, 1))
    half_metres = math.ceil(round(metres - 0.05, 2) * 2) / 2
    in_metres = locale.amount(half_metres, "length-meter", 1)
    in_feet = locale.amount(feet, "length-foot")
    first, second = (in_metres, in_feet) if metric else (in_feet, in_metres)
    # Translators: a distance in two systems, such as "10 feet (3 metres)"
    return locale.say("{first} ({second})", first=first, second=second)


def temperature(celsius: float, locale: Locale, *, metric: bool, whole: Callable[[float], int] = round) -> Said:
    """Spell a temperature in whole degrees of both scales, the region's first."""
    both = [isolated(f"{degrees} {unit}".replace("-", "−")) for unit, degrees in _both_scales(celsius, whole).items()]
    first, second = both if metric else reversed(both)
    return locale.alone(first, Run(" ("), second, Run(")"))


def _both_scales(celsius: float, whole: Callable[[float], int]) -> dict[str, int]:
    # The last digits are noise of the conversion, which would cut 105 °F to 104.
    return {"°C": whole(round(celsius, 6)), "°F": whole(round(celsius * 9 / 5 + 32, 6))}


def water(region: Region, locale: Locale) -> Said:
    """Spell the range of the water for frostbite in both scales, its upper end cut so that none is too hot.

    "to" and no dash, which turns round.
    """
    low, high = region.water_c
    lows, highs = _both_scales(low, round), _both_scales(high, math.floor)
    both = [
        locale.say("{low} to {high}", low=isolated(lows[unit]), high=isolated(f"{highs[unit]} {unit}"))
        for unit in ("°C", "°F")
    ]
    first, second = both if region.metric else reversed(both)
    return locale.say("{first} ({second})", first=first, second=second)


def demand_words(found: Demand, locale: Locale) -> Said:
    """Return the flow or the setting, never one for the other."""
    if found.flow is None:
        return locale.say("number {setting}", setting=isolated(found.setting))
    return locale.flow(found.flow)


def store_name(store: Store, stores: Sequence[Store], locale: Locale) -> Said:
    """Return what the guide calls a container: the name that the clinic gave it, where there are several of a kind."""
    names = {
        "reservoir": locale.say("Reservoir"),
        "portable": locale.say("Portable"),
        "cylinder": locale.say("Cylinder"),
    }
    alike = [other for other in stores if other.kind == store.kind]
    if len(alike) == 1:
        return names[store.kind]
    if store.name is not None:
        # Translators: {container} is a kind of container, {name} what the clinic calls it, such as "Cylinder (hall)"
        return locale.say("{container} ({name})", container=names[store.kind], name=typed(store.name))
    return locale.say("{name} {number}", name=names[store.kind], number=isolated(alike.index(store) + 1))


def listed(told: Sequence[Said], locale: Locale) -> Said:
    """Return the parts of a list, at least one, as one text."""
    so_far = told[0]
    for more in told[1:]:
        # Translators: two parts of a list, such as "2 L/min when you rest, 3 L/min when you walk"
        so_far = locale.say("{first}, {more}", first=so_far, more=more)
    return so_far
