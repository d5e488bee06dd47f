"""Every value that a sentence of the guide may hold, chosen from the case and the plan and spelled for a language.

Nothing is computed here. A value that the case does not have is None, and the sections ask ``has`` first.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from typing import Any

from companion.case.delivery import WEEKDAYS, Round
from companion.case.model import Case
from companion.case.prescription import Activity
from companion.facts.units import Amount
from companion.guide import tables
from companion.guide.naming import (
    demand_words,
    distance,
    level_words,
    listed,
    store_name,
    temperature,
    water,
    when_words,
)
from companion.language.locale import Locale
from companion.language.said import Said, Value, isolated, joined, typed
from companion.reckoning import choices
from companion.reckoning.containers import GasStore
from companion.reckoning.demand import Demand
from companion.reckoning.nights import Night
from companion.reckoning.plan import Plan


def _help(text: str) -> Any:
    """Describe a value for the translator."""
    return field(metadata={"help": text})


@dataclass(frozen=True)
class Values:
    """What is ready to be placed; numbers are isolated so that they read the same in every script."""

    clinic_name: Value = _help("name of the clinic")
    phone_day: Value = _help("phone number by day")
    phone_night: Value | None = _help("phone number at night")
    emergency_number: Value | None = _help("number of the ambulance")
    do_call_ambulance: Said = _help("begins a sentence: Call 911, or: Call an ambulance")
    call_ambulance: Said = _help("goes on in a sentence: call 911, or: call an ambulance")
    call_supplier_now: Said = _help("whole sentences: call the supplier now, by day or night if somebody answers then")
    say_on_phone: Said | None = _help("what to say to who answers a call in the language of the place")
    sound_on_phone: Value | None = _help("how that sounds, written in the letters of the reader’s language")
    fire_number: Value | None = _help("number of the fire service")
    ordered_now: Said = _help("what is ordered, by activity, such as 2 L/min at rest, 3 L/min walking")
    steady_set: Said | None = _help("the steady flow, by activity, for when the pulses stop")
    cylinder_places: Said | None = _help("the names that the clinic gave the cylinders, such as In the hall")
    cylinder_first: Said | None = _help("of unlike cylinders, the name of the one to take first")
    cylinder_first_set: Said | None = _help("what to set that cylinder to, by activity")
    kin_name: Value | None = _help("name of the next of kin")
    kin_phone: Value | None = _help("phone number of the next of kin")
    sleep_flow: Said | None = _help("the flow asleep, such as 2 L/min")
    cylinder_set: Said | None = _help(
        "what to set a cylinder to, by activity, such as 2 L/min at rest, 3 L/min walking"
    )
    portable_set: Said | None = _help("what to set a portable to, by activity, such as 2 L/min at rest")
    off_oxygen: Value | None = _help("hours a day without oxygen that were ordered, such as 6 hours")
    night_flow: Said | None = _help("the flow for a short walk at night, such as 2 L/min")
    example_way: Value | None = _help("a way, one way, from the table for going out, such as 30 minutes")
    example_stay: Value | None = _help("how long one may stay then, such as 4 hours 30 minutes")
    fill_only_from: Said | None = _help("whole sentences that say which reservoir fills which portable")
    fill_time: Value | None = _help("how long filling takes, such as 3 minutes")
    fill_valve_closed: Said = _help("whole sentences that say how to see that the fill valve is closed")
    fill_valve_open: Said = _help("a whole sentence: open the fill valve, and which way where that is known")
    while_filling: Said | None = _help("whole sentences that say what to breathe from while filling")
    supplier_night: Value | None = _help("phone number of the supplier at night and on weekends")
    portable_empty_by: Value | None = _help("time after which a full, unused portable is empty, such as 44 hours")
    portable_reserve: Value = _help("time held back for delays on the way home, such as 30 minutes")
    portable_sleep_time: Value | None = _help("how long a full portable lasts asleep, such as 6 hours")
    call_rule: Said = _help("whole sentences that say when to ask for a delivery")
    call_mark: Value | None = _help("mark of the reservoir's gauge: one half, five eighths, 3 of 5 parts")
    round: Said | None = _help("a whole sentence that says on which days the supplier comes without a call")
    delivery_days: Value = _help("time from the call to the delivery, such as 2 days")
    low_mark: Value = _help("mark at which the reservoir is low: one quarter, three eighths, 2 of 5 parts")
    low_time: Value = _help("how long the reservoir at that mark and all full cylinders last, such as 3 days")
    reservoir_full_time: Value = _help("how long a full reservoir lasts, such as 6 days")
    cylinder_supply: Said | None = _help(
        "whole sentences that say how many back-up cylinders there are, and their time"
    )
    cylinder_time: Value | None = _help("how long all full cylinders last together, such as 4 hours")
    cylinder_one_time: Value | None = _help("how long one full cylinder lasts where most is used, such as 3 hours")
    cylinder_nights: Said | None = _help("whole sentences that say which cylinders do not last through a night")
    cylinder_stop: Value | None = _help("pressure at which to change cylinders of every kind, such as 200 psi")
    flame_distance: Value = _help("least distance to a flame, such as 10 feet (3 metres)")
    heat_distance: Value = _help("least distance to heaters, such as 5 feet (1.5 metres)")
    airing_time: Value = _help("how long to air clothes, such as 30 minutes")
    splash_airing_time: Value = _help("how long to air clothes that were splashed, such as 1 hour")
    water_temperature: Value = _help("temperature of lukewarm water, such as 37 to 39 °C")
    water_max: Value = _help("highest temperature of that water, such as 40 °C")
    pressure_unit: Value | None = _help("the unit of a cylinder's gauge: psi, bar, kPa or MPa")
    saturation_target: Value | None = _help("range of saturation, such as 88 to 92 %")
    saturation_low: Value | None = _help("lower end of that range, such as 88 %")
    saturation_high: Value | None = _help("upper end of that range, such as 92 %")
    meter_call: Value | None = _help("saturation below which to call the clinic, such as 88 %")
    meter_emergency: Value | None = _help("saturation below which to call an ambulance, such as 80 %")
    issue_date: Value = _help("date of the guide")
    review_date: Value = _help("date by which the order is reviewed")


VALUE_HELP = {item.name: str(item.metadata["help"]) for item in fields(Values)}
"""What each placeholder holds, for the translator."""


@dataclass(frozen=True)
class Has:
    """What the case holds, so that a section says nothing about equipment that is not there."""

    portable: bool
    weights: bool
    """Whether the patient weighs the portable, because the gauge cannot be seen."""
    cylinder: bool
    one_cylinder_stop: bool
    humidifier: bool
    water_bottle: bool
    pulse: bool
    mask: bool
    catheter: bool
    other_source: bool
    """Whether the home has anything to breathe from beside its one reservoir."""
    spare_portable: bool
    """Whether a portable is all that there is beside the reservoir."""
    exertion: bool
    fire_number: bool
    saturation_target: bool
    hanging_gauge: bool
    night_phone: bool
    trolley: bool
    call_mark: bool
    round: bool
    example: bool
    top_fill: bool
    """Whether every portable joins its reservoir from above; side_fill: from the side."""
    side_fill: bool
    two_reservoirs: bool
    meter_gap: bool
    """Whether a call on the same day is enough, between the low end of the range and what needs a call at once."""
    night_as_asleep: bool
    unlike_night: bool
    """Whether walking and sleep are set unlike, so that a walk at night needs an answer."""
    backup_short: bool
    """Whether the back-up runs out before a delivery must have come."""
    night_advice: bool
    """Whether sleep is ordered, and nobody may take it for granted that a portable lasts it."""
    short_night_on_portable: bool
    """Whether sleep on a portable is ordered, and a full one does not last it."""
    portable_sleep_time: bool
    one_cylinder: bool
    short_night_on_cylinder: bool
    """Whether sleep is ordered, and one full cylinder does not last it."""
    cylinder_changes: bool
    """Whether there is more than one cylinder, and a time that one lasts."""


def has(case: Case, made: Plan) -> Has:
    """Return what the case holds, and what of it the plan finds too little."""
    on_portable, on_cylinder = _nights(made, "portable"), _nights(made, "cylinder")
    orders = case.prescription.orders()
    settings = case.clinic.settings()
    target, meter = case.prescription.target_saturation, case.prescription.finger_meter
    pulses = any(item.conserver for item in case.portable) or any(item.conserver for item in case.cylinder)
    return Has(
        portable=bool(case.portable),
        weights=bool(case.portable) and case.patient.weighs_portable,
        cylinder=bool(case.cylinder),
        one_cylinder_stop=cylinder_stop(case) is not None,
        humidifier=case.prescription.humidifier,
        water_bottle=any(item.water_bottle for item in case.reservoir),
        pulse=pulses and any(order.pulse_setting for order in orders.values()),
        mask=case.prescription.interface == "mask",
        catheter=case.prescription.interface == "transtracheal catheter",
        other_source=len(made.stores) > 1,
        spare_portable=bool(case.portable) and not case.cylinder,
        exertion="exertion" in orders,
        fire_number=settings.fire_number is not None,
        saturation_target=target is not None,
        hanging_gauge=any(item.gauge.kind == "hanging" for item in case.portable),
        night_phone=case.clinic.phone_night is not None,
        trolley=any(item.carrier == "trolley" for item in case.portable),
        call_mark=made.call.mark is not None,
        round=case.clinic.delivery.round is not None,
        example=len(made.trips) == 1 and choices.example_trip(made.trips) is not None,
        top_fill=couplings(case) == {"top fill"},
        side_fill=couplings(case) == {"side fill"},
        two_reservoirs=len(case.reservoir) > 1,
        meter_gap=target is not None and meter is not None and (meter.call_below or target.low) < target.low,
        night_as_asleep=case.prescription.at_night == "sleep",
        unlike_night="sleep" in orders and len(set(_at_home(made).values())) > 1,
        backup_short=bool(made.backup_min) and min(made.backup_min.values()) < made.wait_min,
        night_advice=bool(on_portable)
        and (
            all(night.asleep_min is None for night in on_portable)
            or any(night.asleep_min is not None and not night.lasts for night in on_portable)
        ),
        short_night_on_portable=any(night.asleep_min is not None and not night.lasts for night in on_portable),
        portable_sleep_time=bool(_shortest(on_portable)),
        one_cylinder=made.cylinder_count == 1,
        short_night_on_cylinder=any(not night.lasts for night in on_cylinder),
        cylinder_changes=len(case.cylinder) == 1 and made.backup_changes > 0 and made.backup_one_min > 0,
    )


def couplings(case: Case) -> set[str]:
    """Return the families of couplings in the home."""
    return {item.coupling.casefold() for item in (*case.reservoir, *case.portable)}


def _at_home(made: Plan) -> dict[Activity, Demand]:
    """Return what the reservoir is set to, by activity."""
    return {found.demand.activity: found.demand for found in made.windows_of("reservoir")}


def cylinder_stop(case: Case) -> Amount | None:
    """Return the reading at which to change cylinders where it is the same for every kind."""
    stops = {item.reserve for item in case.cylinder}
    return stops.pop() if len(stops) == 1 else None


def _nights(made: Plan, kind: str) -> list[Night]:
    return [night for night in made.nights if night.kind == kind]


def _shortest(nights: list[Night]) -> int:
    """Return the time asleep that holds for each of them [min]; 0 where there is none."""
    return min((night.lasts_min for night in nights), default=0)


def values(case: Case, made: Plan, locale: Locale) -> Values:
    """Choose and spell every value."""
    settings = case.clinic.settings()
    metric = settings.metric
    example = choices.example_trip(made.trips)
    empty_after_hours = choices.empty_after_hours(made.standing)
    backup_min = choices.backup_min(made.backup_min)
    target = case.prescription.target_saturation
    night = case.clinic.supplier.phone_night if case.clinic.supplier else case.clinic.phone_night
    meter = case.prescription.finger_meter
    at_night = case.prescription.at_night if len(set(_at_home(made).values())) > 1 else None
    kin = case.patient.next_of_kin
    first = choices.cylinder_to_take_first(made.stores, made.windows)
    on_phone = locale.languages[0].on_the_phone(settings.answering)
    return Values(
        clinic_name=typed(case.clinic.name),
        phone_day=isolated(case.clinic.phone_day),
        phone_night=isolated(case.clinic.phone_night) if case.clinic.phone_night else None,
        emergency_number=isolated(settings.emergency_number) if settings.emergency_number else None,
        do_call_ambulance=(
            locale.say("Call {number}", number=isolated(settings.emergency_number))
            if settings.emergency_number
            else locale.say("Call an ambulance")
        ),
        call_ambulance=(
            locale.say("call {number}", number=isolated(settings.emergency_number))
            if settings.emergency_number
            else locale.say("call an ambulance")
        ),
        call_supplier_now=(
            locale.say("Call the supplier now, by day or night. The numbers are on the first page.")
            if night
            else locale.say("Call the supplier now. If nobody answers, call again as soon as the office opens.")
        ),
        say_on_phone=on_phone[0] if on_phone else None,
        sound_on_phone=on_phone[1] if on_phone else None,
        fire_number=isolated(settings.fire_number) if settings.fire_number else None,
        ordered_now=_by_activity(list(_at_home(made).values()), locale),
        steady_set=_steady(made, locale),
        cylinder_places=(
            listed(places, locale)
            if (places := [locale.alone(typed(item.name)) for item in case.cylinder if item.name])
            else None
        ),
        cylinder_first=store_name(first, made.stores, locale) if first else None,
        cylinder_first_set=(
            _by_activity(
                [found.demand for found in made.windows if found.container == first.id and found.level == 1], locale
            )
            if first
            else None
        ),
        kin_name=typed(kin.name) if kin else None,
        kin_phone=isolated(kin.phone) if kin else None,
        sleep_flow=demand_words(_at_home(made)["sleep"], locale) if "sleep" in _at_home(made) else None,
        cylinder_set=_set_to(made, "cylinder", locale),
        portable_set=_set_to(tables.awake(made), "portable", locale),
        off_oxygen=locale.duration(off) if (off := int(case.prescription.hours_off_oxygen.to("time"))) else None,
        night_flow=demand_words(_at_home(made)[at_night], locale) if at_night else None,
        example_way=locale.duration(example.way_min) if example else None,
        example_stay=locale.duration(example.stay_min) if example and example.stay_min else None,
        fill_only_from=_fill_only_from(case, made, locale),
        fill_time=_fill_time(case, locale),
        fill_valve_closed=_fill_valve_closed(case, locale),
        fill_valve_open=_fill_valve_open(case, locale),
        while_filling=_while_filling(case, locale),
        supplier_night=isolated(night) if night else None,
        portable_empty_by=None if empty_after_hours is None else locale.hours(empty_after_hours),
        portable_reserve=locale.duration(int(made.margins.portable_reserve_min)),
        portable_sleep_time=_asleep(made, "portable", locale),
        call_rule=_call_rule(case, made, locale),
        call_mark=None if made.call.mark is None else level_words(made.call.mark, locale),
        round=_round(case.clinic.delivery.round, locale),
        low_mark=level_words(choices.low_mark(made.supply), locale),
        delivery_days=locale.days(made.wait_days),
        low_time=locale.duration(choices.low_time(made.supply, made.backup_min)),
        reservoir_full_time=locale.duration(choices.full_time(made.supply)),
        cylinder_supply=None if backup_min is None else _cylinder_supply(made.cylinder_count, backup_min, locale),
        cylinder_time=None if backup_min is None else locale.duration(backup_min),
        cylinder_one_time=locale.duration(made.backup_one_min) if made.backup_one_min else None,
        cylinder_nights=_cylinder_nights(made, locale),
        cylinder_stop=isolated(stop) if (stop := cylinder_stop(case)) else None,
        flame_distance=distance(settings.flame_distance_m, locale, metric=metric),
        heat_distance=distance(settings.heat_distance_m, locale, metric=metric),
        airing_time=locale.duration(settings.airing_min),
        splash_airing_time=locale.duration(settings.splash_airing_min),
        water_temperature=water(settings, locale),
        water_max=temperature(settings.water_max_c, locale, metric=metric, whole=math.floor),
        saturation_target=(
            locale.say("{low} to {high}", low=isolated(target.low), high=isolated(f"{target.high} %"))
            if target
            else None
        ),
        pressure_unit=_pressure_unit(made),
        saturation_low=_per_cent(target.low if target else None),
        saturation_high=_per_cent(target.high if target else None),
        meter_call=_per_cent(meter.call_below if meter else None),
        meter_emergency=_per_cent(meter.emergency_below if meter else None),
        issue_date=locale.date(case.issued),
        review_date=locale.date(case.prescription.review_date),
    )


def _by_activity(asked: Sequence[Demand], locale: Locale) -> Said:
    """Return what is set, once where it is the same for all, else by activity."""
    if len({found.set_to for found in asked}) == 1:
        return demand_words(asked[0], locale)
    told = [
        # Translators: a flow or number and an activity, such as "2 L/min when you rest"
        locale.say("{use} {when}", use=demand_words(found, locale), when=when_words(found.activity, locale))
        for found in asked
    ]
    return listed(told, locale)


def _steady(made: Plan, locale: Locale) -> Said | None:
    asked = {found.demand.activity: found.demand for found in made.steady_windows}
    return _by_activity(list(asked.values()), locale) if asked else None


def _set_to(made: Plan, kind: str, locale: Locale) -> Said | None:
    """Return what every container of a kind is set to; None where they are set unlike, or there is none."""
    by_container: dict[str, dict[Activity, Demand]] = {}
    for found in made.windows_of(kind):
        by_container.setdefault(found.container, {})[found.demand.activity] = found.demand
    settings = {tuple(demand.set_to for demand in asked.values()) for asked in by_container.values()}
    if len(settings) != 1:
        return None
    return _by_activity(list(next(iter(by_container.values())).values()), locale)


def _cylinder_supply(count: int, lasts_min: int, locale: Locale) -> Said:
    """Return how many back-up cylinders there are and how long they last together."""
    return locale.plural(
        count,
        "You have {count} back-up cylinder at home. If it is full, it lasts {time} at your highest flow.",
        "You have {count} back-up cylinders at home. If all are full, they last {time} in all, at your highest flow.",
        time=locale.duration(lasts_min),
    )


def _cylinder_nights(made: Plan, locale: Locale) -> Said | None:
    """Return which cylinders do not last the ordered sleep, and which do."""
    nights = _nights(made, "cylinder")
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
            locale.say("At night, use this one: {name}.", name=named[night.container])
            for night in nights
            if night.lasts
        ]
    return joined(*told) if told else None


def _fill_time(case: Case, locale: Locale) -> Said | None:
    """Return how long filling takes: of several portables the longest time, where all are known."""
    times = [item.fill_time for item in case.portable]
    if not times or None in times:
        return None
    return locale.duration(max(1, math.ceil(max(time.to("time") for time in times if time is not None))))


def _fill_only_from(case: Case, made: Plan, locale: Locale) -> Said | None:
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


def _fill_valve_closed(case: Case, locale: Locale) -> Said:
    told = {
        "lever across": locale.say("Check that the fill valve is closed. Its lever must lie across."),
        "lever along": locale.say("Check that the fill valve is closed. Its lever must lie along the portable."),
        "clockwise": locale.say("Check that the fill valve is closed. Turn it to the right until it stops."),
        "counter-clockwise": locale.say("Check that the fill valve is closed. Turn it to the left until it stops."),
    }
    way = _fill_valve(case)
    return told[way] if way else locale.say("Check that the fill valve is closed, as the supplier showed you.")


def _fill_valve_open(case: Case, locale: Locale) -> Said:
    told = {
        "lever across": locale.say("Open the fill valve: turn the lever along the portable."),
        "lever along": locale.say("Open the fill valve: turn the lever across."),
        "clockwise": locale.say("Open the fill valve: turn it to the left."),
        "counter-clockwise": locale.say("Open the fill valve: turn it to the right."),
    }
    way = _fill_valve(case)
    return told[way] if way else locale.say("Open the fill valve.")


def _while_filling(case: Case, locale: Locale) -> Said | None:
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


def _pressure_unit(made: Plan) -> Value | None:
    units = {store.pressure_unit for store in made.stores if isinstance(store, GasStore)}
    return isolated(units.pop()) if len(units) == 1 else None


def _per_cent(share: int | None) -> Value | None:
    return None if share is None else isolated(f"{share} %")


def _asleep(made: Plan, kind: str, locale: Locale) -> Said | None:
    shortest = _shortest(_nights(made, kind))
    return locale.duration(shortest) if shortest else None


def _call_rule(case: Case, made: Plan, locale: Locale) -> Said:
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


def _round(fixed: Round | None, locale: Locale) -> Said | None:
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
