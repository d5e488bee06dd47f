"""Whom to call, and the number: the number for life and death first, then by what they help with and when."""

from companion.case.clinic import Clinic, OfficeHours, Supplier
from companion.case.delivery import WEEKDAYS
from companion.case.model import Case
from companion.language.locale import Locale
from companion.language.said import Said, isolated, typed


def phone_rows(case: Case, locale: Locale, *, with_hours: bool = True) -> tuple[tuple[Said, Said], ...]:
    """Return each number of the home with who answers it, and when."""

    def row(who: Said, number: str) -> tuple[Said, Said]:
        return who, locale.alone(isolated(number))

    clinic, settings = case.clinic, case.clinic.settings()
    rows = []
    if settings.emergency_number is not None:
        both = settings.emergency_number == settings.fire_number
        who = locale.say("Ambulance and fire department") if both else locale.say("Ambulance")
        rows.append(row(who, settings.emergency_number))
    if settings.fire_number is not None and settings.fire_number != settings.emergency_number:
        rows.append(row(locale.say("Fire department"), settings.fire_number))
    if clinic.supplier is not None:
        who = locale.say("Supplier: {name}", name=locale.alone(typed(clinic.supplier.name)))
        rows.append(row(_by_day(who, clinic.supplier, locale, with_hours=with_hours), clinic.supplier.phone_day))
        if clinic.supplier.phone_night is not None:
            rows.append(row(locale.say("Supplier at other times"), clinic.supplier.phone_night))
    called = typed(clinic.name)
    whose = (
        locale.say("Clinic: {name}", name=called)
        if clinic.supplier is not None
        else locale.say("Clinic and supplier: {name}", name=called)
    )
    rows.append(row(_by_day(whose, clinic, locale, with_hours=with_hours), clinic.phone_day))
    if clinic.phone_night is not None:
        rows.append(row(locale.say("Clinic at other times"), clinic.phone_night))
    return tuple(rows)


def calls(case: Case, locale: Locale) -> tuple[tuple[Said, str], ...]:
    """Return what stands on each button of a phone, and the number that it calls: whoever helps first comes first."""
    clinic, emergency = case.clinic, case.clinic.settings().emergency_number
    rows = []
    if emergency is not None:
        rows.append((locale.say("Ambulance {number}", number=isolated(emergency)), emergency))
    if clinic.supplier is not None:
        called = clinic.supplier.phone_day
        rows.append((locale.say("Supplier {number}", number=isolated(called)), called))
        if clinic.supplier.phone_night is not None:
            rows.append((locale.say("Supplier at other times"), clinic.supplier.phone_night))
    rows.append((locale.say("Clinic {number}", number=isolated(clinic.phone_day)), clinic.phone_day))
    if clinic.phone_night is not None:
        rows.append((locale.say("Clinic at other times"), clinic.phone_night))
    return tuple(rows)


def _by_day(whose: Said, called: Clinic | Supplier, locale: Locale, *, with_hours: bool) -> Said:
    """Return who answers the number of the day, with the hours where they are known."""
    if called.office_hours is not None and with_hours:
        # Translators: who answers, and when, such as "Clinic, Monday and Tuesday, 8:00 to 17:00"
        return locale.say("{whose}, {days}, {hours}", whose=whose, **_open(called.office_hours, locale))
    return locale.say("{whose}, in office hours", whose=whose) if called.phone_night is not None else whose


def _open(hours: OfficeHours, locale: Locale) -> dict[str, Said]:
    places = sorted(WEEKDAYS.index(day) for day in hours.weekdays)
    if len(places) > 2 and places == list(range(places[0], places[-1] + 1)):
        first, last = (locale.weekdays([place]) for place in (places[0], places[-1]))
        # Translators: a span of weekdays, such as "Monday to Friday"
        days = locale.say("{first} to {last}", first=first, last=last)
    else:
        days = locale.weekdays(places)
    # Translators: a span of hours, such as "8:00 AM to 5:00 PM"
    return {
        "days": days,
        "hours": locale.say("{opens} to {closes}", opens=locale.clock(hours.from_), closes=locale.clock(hours.to)),
    }
