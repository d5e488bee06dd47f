"""Every value that a sentence of the guide may hold, chosen from the case and the plan and spelled for a language.

Nothing is computed here. A value that the case does not have is None, and the sections ask ``has`` first.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field, fields
from fractions import Fraction
from typing import Any

from markupsafe import Markup

from companion.case.clinic import WEEKDAYS, Round
from companion.case.model import Case
from companion.case.prescription import Activity
from companion.facts import oxygen
from companion.facts.region import Region
from companion.facts.units import Amount
from companion.language.locale import Locale, isolated
from companion.reckoning import choices
from companion.reckoning.nights import Night
from companion.reckoning.plan import Plan

METRES_PER_FOOT = 0.3048


def _help(text: str) -> Any:
    """Describe a value for the translator."""
    return field(metadata={"help": text})


@dataclass(frozen=True)
class Values:
    """Text ready to be placed; numbers are isolated so that they read the same in every script."""

    clinic_name: Markup = _help("name of the clinic")
    phone_day: Markup = _help("phone number by day")
    phone_night: Markup | None = _help("phone number at night")
    emergency_number: Markup | None = _help("number of the ambulance")
    fire_number: Markup | None = _help("number of the fire service")
    portable_full_time: Markup | None = _help("how long a full portable lasts, such as 3 hours 15 minutes")
    portable_full_activity: Markup | None = _help("the activity that goes with that time: when you walk")
    portable_reserve: Markup = _help("time held back for delays on the way home, such as 30 minutes")
    walk_time: Markup | None = _help("time after which to turn back on a walk without a stop, such as 1 hour")
    portable_sleep_time: Markup | None = _help("how long a full portable lasts asleep, such as 6 hours")
    portable_empty_by: Markup | None = _help("time after which a full, unused portable is empty, such as 44 hours")
    call_rule: Markup = _help("whole sentences that say when to ask for a delivery")
    call_mark: Markup | None = _help("mark of the reservoir's gauge: one half, five eighths, 3 of 5 parts")
    round: Markup | None = _help("a whole sentence that says on which days the supplier comes without a call")
    delivery_days: Markup = _help("time from the call to the delivery, such as 2 days")
    low_mark: Markup = _help("mark at which the reservoir is low: one quarter, three eighths, 2 of 5 parts")
    reservoir_low_time: Markup | None = _help("how long a reservoir lasts at that mark, such as 24 hours")
    cylinder_count: Markup | None = _help("number of back-up cylinders in the home, such as 2")
    cylinder_time: Markup | None = _help("how long all full cylinders last together, such as 4 hours")
    cylinder_one_time: Markup | None = _help("how long one full cylinder lasts where most is used, such as 3 hours")
    cylinder_sleep_time: Markup | None = _help("how long one full cylinder lasts asleep, such as 3 hours")
    cylinder_changes: Markup = _help("how often the cylinder must be changed until all are used, such as 13")
    cylinder_stop: Markup | None = _help("pressure at which to change cylinders of every kind, such as 200 psi")
    flame_distance: Markup = _help("least distance to a flame, such as 10 feet (3 metres)")
    heat_distance: Markup = _help("least distance to heaters, such as 5 feet (1.5 metres)")
    airing_time: Markup = _help("how long to air clothes, such as 30 minutes")
    splash_airing_time: Markup = _help("how long to air clothes that were splashed, such as 1 hour")
    water_temperature: Markup = _help("temperature of lukewarm water, such as 37 to 39 °C")
    water_max: Markup = _help("highest temperature of that water, such as 40 °C")
    boiling_point: Markup = _help("how cold the liquid is, such as −183 °C")
    saturation_target: Markup | None = _help("range of saturation, such as 88 to 92 %")
    issue_date: Markup = _help("date of the guide")
    review_date: Markup = _help("date by which the order is reviewed")


VALUE_HELP = {item.name: str(item.metadata["help"]) for item in fields(Values)}
"""What each placeholder holds, for the translator."""


@dataclass(frozen=True)
class Has:
    """What the case holds, so that a section says nothing about equipment that is not there."""

    portable: bool
    cylinder: bool
    one_cylinder_stop: bool
    humidifier: bool
    water_bottle: bool
    pulse: bool
    mask: bool
    exertion: bool
    sleep: bool
    emergency_number: bool
    fire_number: bool
    saturation_target: bool
    hanging_gauge: bool
    night_phone: bool
    trolley: bool
    call_mark: bool
    round: bool
    subdivision: bool
    walk: bool
    night_on_portable: bool
    """Whether sleep on a portable is ordered."""
    short_night_on_portable: bool
    """Whether it is, and a full one does not last it."""
    portable_sleep_time: bool
    short_night_on_cylinder: bool
    """Whether sleep is ordered, and one full cylinder does not last it."""
    cylinder_sleep_time: bool
    cylinder_changes: bool
    """Whether there is more than one cylinder, and a time that one lasts."""


def has(case: Case, made: Plan) -> Has:
    """Return what the case holds, and what of it the plan finds too little."""
    on_portable, on_cylinder = _nights(made, "portable"), _nights(made, "cylinder")
    orders = case.prescription.orders()
    settings = case.clinic.settings()
    pulses = any(item.conserver for item in case.portable) or any(item.conserver for item in case.cylinder)
    return Has(
        portable=bool(case.portable),
        cylinder=bool(case.cylinder),
        one_cylinder_stop=_cylinder_stop(case) is not None,
        humidifier=case.prescription.humidifier,
        water_bottle=any(item.water_bottle for item in case.reservoir),
        pulse=pulses and any(order.pulse_setting for order in orders.values()),
        mask=case.prescription.interface == "mask",
        exertion="exertion" in orders,
        sleep="sleep" in orders,
        emergency_number=settings.emergency_number is not None,
        fire_number=settings.fire_number is not None,
        saturation_target=case.prescription.target_saturation is not None,
        hanging_gauge=any(item.gauge.kind == "hanging" for item in case.portable),
        night_phone=case.clinic.phone_night is not None,
        trolley=any(item.carrier == "trolley" for item in case.portable),
        call_mark=made.call.mark is not None,
        round=case.clinic.delivery.round is not None,
        subdivision=case.clinic.subdivision is not None,
        walk=bool(made.trips) and all(line.walk_min for line in made.trips),
        night_on_portable=any(night.asleep_min is not None for night in on_portable),
        short_night_on_portable=any(night.asleep_min is not None and not night.lasts for night in on_portable),
        portable_sleep_time=bool(_shortest(on_portable)),
        short_night_on_cylinder=any(not night.lasts for night in on_cylinder),
        cylinder_sleep_time=bool(_shortest(on_cylinder)),
        cylinder_changes=made.backup_changes > 0 and made.backup_one_min > 0,
    )


def _cylinder_stop(case: Case) -> Amount | None:
    """Return the reading at which to change cylinders where it is the same for every kind."""
    stops = {item.reserve for item in case.cylinder}
    return stops.pop() if len(stops) == 1 else None


def _nights(made: Plan, kind: str) -> list[Night]:
    return [night for night in made.nights if night.kind == kind]


def _shortest(nights: list[Night]) -> int:
    """Return the time asleep that holds for each of them [min]; 0 where there is none."""
    return min((night.lasts_min for night in nights), default=0)


def level_words(level: Fraction, locale: Locale) -> Markup:
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
    # Translators: what a gauge shows that has other marks than quarters or eighths, such as "4 of 5 parts"
    return locale.say("{count} of {parts} parts", count=isolated(level.numerator), parts=isolated(level.denominator))


def activity_words(activity: Activity, locale: Locale) -> Markup:
    """Return an activity as the head of a column."""
    words = {
        "rest": locale.say("At rest"),
        "exertion": locale.say("Walking"),
        "sleep": locale.say("Asleep"),
    }
    return words[activity]


def _when(activity: Activity, locale: Locale) -> Markup:
    words = {
        "rest": locale.say("when you rest"),
        "exertion": locale.say("when you walk"),
        "sleep": locale.say("when you sleep"),
    }
    return words[activity]


def distance(metres: float, locale: Locale, *, metric: bool) -> Markup:
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


def temperature(celsius: float, *, metric: bool, whole: Callable[[float], int] = round) -> Markup:
    """Spell a temperature in whole degrees of both scales, the region's first."""
    both = [isolated(f"{degrees} {unit}".replace("-", "−")) for unit, degrees in _both_scales(celsius, whole).items()]
    return Markup("{} ({})").format(*(both if metric else reversed(both)))


def _both_scales(celsius: float, whole: Callable[[float], int]) -> dict[str, int]:
    # The last digits are noise of the conversion, which would cut 105 °F to 104.
    return {"°C": whole(round(celsius, 6)), "°F": whole(round(celsius * 9 / 5 + 32, 6))}


def _water(region: Region, locale: Locale) -> Markup:
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


def values(case: Case, made: Plan, locale: Locale) -> Values:
    """Choose and spell every value."""
    settings = case.clinic.settings()
    metric = settings.metric
    example = choices.example_window(made.windows)
    empty_after_hours = choices.empty_after_hours(made.standing)
    low_time = choices.low_time(made.supply)
    backup_min = choices.backup_min(made.backup_min)
    walk = choices.walk_min(made.trips)
    target = case.prescription.target_saturation
    night = case.clinic.phone_night
    return Values(
        clinic_name=Markup("<bdi>{}</bdi>").format(case.clinic.name),
        phone_day=isolated(case.clinic.phone_day),
        phone_night=isolated(night) if night else None,
        emergency_number=isolated(settings.emergency_number) if settings.emergency_number else None,
        fire_number=isolated(settings.fire_number) if settings.fire_number else None,
        portable_full_time=locale.duration(example.safe_min) if example else None,
        portable_full_activity=_when(example.demand.activity, locale) if example else None,
        portable_reserve=locale.duration(int(made.margins.portable_reserve_min)),
        walk_time=locale.duration(walk) if walk else None,
        portable_sleep_time=_asleep(made, "portable", locale),
        portable_empty_by=None if empty_after_hours is None else locale.hours(empty_after_hours),
        call_rule=_call_rule(case, made, locale),
        call_mark=None if made.call.mark is None else level_words(made.call.mark, locale),
        round=_round(case.clinic.delivery.round, locale),
        low_mark=level_words(choices.low_mark(made.supply), locale),
        delivery_days=locale.days(made.wait_days),
        reservoir_low_time=locale.duration(low_time) if low_time else None,
        cylinder_count=isolated(sum(item.count for item in case.cylinder)) if case.cylinder else None,
        cylinder_time=None if backup_min is None else locale.duration(backup_min),
        cylinder_one_time=locale.duration(made.backup_one_min) if made.backup_one_min else None,
        cylinder_sleep_time=_asleep(made, "cylinder", locale),
        cylinder_changes=isolated(made.backup_changes),
        cylinder_stop=isolated(stop) if (stop := _cylinder_stop(case)) else None,
        flame_distance=distance(settings.flame_distance_m, locale, metric=metric),
        heat_distance=distance(settings.heat_distance_m, locale, metric=metric),
        airing_time=locale.duration(settings.airing_min),
        splash_airing_time=locale.duration(settings.splash_airing_min),
        water_temperature=_water(settings, locale),
        water_max=temperature(settings.water_max_c, metric=metric, whole=math.floor),
        boiling_point=temperature(oxygen.BOILING_POINT_C, metric=metric),
        saturation_target=(
            locale.say("{low} to {high} %", low=isolated(target.low), high=isolated(target.high)) if target else None
        ),
        issue_date=locale.date(case.issued),
        review_date=locale.date(case.prescription.review_date),
    )


def _asleep(made: Plan, kind: str, locale: Locale) -> Markup | None:
    shortest = _shortest(_nights(made, kind))
    return locale.duration(shortest) if shortest else None


def _call_rule(case: Case, made: Plan, locale: Locale) -> Markup:
    """Return the sentences that say when to ask for oxygen, the same wherever they stand."""
    rule = made.call
    if rule.mark is not None and rule.unless_within_days is not None:
        return locale.say(
            "Call when the reservoir gauge shows {call_mark}, unless the supplier comes within {days}. "
            "Always call when the gauge shows less. Between two marks, take the lower.",
            call_mark=level_words(rule.mark, locale),
            days=locale.days(rule.unless_within_days),
        )
    if rule.mark is not None:
        return locale.say(
            "Call when the reservoir gauge shows {call_mark} or less. Between two marks, take the lower.",
            call_mark=level_words(rule.mark, locale),
        )
    if case.clinic.delivery.round is not None:
        return locale.say("If the supplier does not come on the day of the round, call at once.")
    if rule.next_within_days:
        return locale.say(
            "At each delivery, ask for the next one. The supplier must come again within {days}.",
            days=locale.days(rule.next_within_days),
        )
    return locale.say("The reservoir is too small for your flow. Ask the clinic now how you get enough oxygen.")


def _round(fixed: Round | None, locale: Locale) -> Markup | None:
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
