"""Every value that a sentence of the guide may hold, chosen from the case and the plan and spelled for a language.

Nothing is computed here. A value that the case does not have is None, and the sections ask ``has`` first.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from typing import Any

from companion.case.model import Case
from companion.case.prescription import Activity
from companion.guide import tables
from companion.guide.filling_words import (
    fill_only_from,
    fill_time,
    fill_valve_closed,
    fill_valve_open,
    while_filling,
)
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
from companion.guide.supply_words import call_rule, cylinder_nights, cylinder_supply, round_words
from companion.language.locale import Locale
from companion.language.said import Said, Value, isolated, typed
from companion.reckoning import choices
from companion.reckoning.containers import GasStore
from companion.reckoning.demand import Demand
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
    low_time: Value | None = _help("how long the reservoir at that mark and all full cylinders last, such as 3 days")
    last_mark: Value | None = _help("lowest mark in the table of the reservoir; nothing where reservoirs differ in it")
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
    last = choices.last_mark(made.supply, made.stores, made.call.mark)
    at_night = case.prescription.at_night if len(set(made.at_home.values())) > 1 else None
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
        ordered_now=_by_activity(list(made.at_home.values()), locale),
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
        sleep_flow=demand_words(made.at_home["sleep"], locale) if "sleep" in made.at_home else None,
        cylinder_set=_set_to(made, "cylinder", locale),
        portable_set=_set_to(tables.awake(made), "portable", locale),
        off_oxygen=locale.duration(off) if (off := int(case.prescription.hours_off_oxygen.to("time"))) else None,
        night_flow=demand_words(made.at_home[at_night], locale) if at_night else None,
        example_way=locale.duration(example.way_min) if example else None,
        example_stay=locale.duration(example.stay_min) if example and example.stay_min else None,
        fill_only_from=fill_only_from(case, made, locale),
        fill_time=fill_time(case, locale),
        fill_valve_closed=fill_valve_closed(case, locale),
        fill_valve_open=fill_valve_open(case, locale),
        while_filling=while_filling(case, locale),
        supplier_night=isolated(night) if night else None,
        portable_empty_by=None if empty_after_hours is None else locale.hours(empty_after_hours),
        portable_reserve=locale.duration(int(made.margins.portable_reserve_min)),
        portable_sleep_time=_asleep(made, "portable", locale),
        call_rule=call_rule(case, made, locale),
        call_mark=None if made.call.mark is None else level_words(made.call.mark, locale),
        round=round_words(case.clinic.delivery.round, locale),
        low_mark=level_words(choices.low_mark(made.supply), locale),
        last_mark=level_words(last, locale) if last else None,
        delivery_days=locale.days(made.wait_days),
        low_time=locale.duration(low_min) if (low_min := choices.low_time(made.supply, made.backup_min)) else None,
        reservoir_full_time=locale.duration(choices.full_time(made.supply)),
        cylinder_supply=None if backup_min is None else cylinder_supply(made.cylinder_count, backup_min, locale),
        cylinder_time=None if backup_min is None else locale.duration(backup_min),
        cylinder_one_time=locale.duration(made.backup_one_min) if made.backup_one_min else None,
        cylinder_nights=cylinder_nights(made, locale),
        cylinder_stop=isolated(stops.pop()) if len(stops := {item.reserve for item in case.cylinder}) == 1 else None,
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


def _pressure_unit(made: Plan) -> Value | None:
    units = {store.pressure_unit for store in made.stores if isinstance(store, GasStore)}
    return isolated(units.pop()) if len(units) == 1 else None


def _per_cent(share: int | None) -> Value | None:
    return None if share is None else isolated(f"{share} %")


def _asleep(made: Plan, kind: str, locale: Locale) -> Said | None:
    shortest = choices.shortest_night(made.nights_of(kind))
    return locale.duration(shortest) if shortest else None
