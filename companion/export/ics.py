"""The calendar of deliveries as a file for the calendar of a phone (iCalendar, RFC 5545)."""

import datetime as dt
import uuid
from collections.abc import Iterator

from companion.case.model import Case
from companion.guide.values import Values, values
from companion.language.locale import Locale
from companion.language.said import Said, isolated
from companion.reckoning.plan import Plan

_NAMES = uuid.UUID("6f2b6a70-7f0d-4f3c-9a52-0c6de0b6f7a1")
"""A namespace of our own, made once at random."""

_FIRST_DAY = dt.date(2020, 1, 1)
"""From which the revisions of an event are counted: a guide of a later day has the higher number."""

_FOLD = 75  # bytes of a line without its break (RFC 5545, 3.1)


def calendar_file(case: Case, made: Plan, locale: Locale) -> bytes:
    """Return events of a whole day for each delivery: to call (an alarm at nine), and to expect it.

    Where the supplier comes unasked, there is none to call.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//companion//delivery calendar//EN",
        "CALSCALE:GREGORIAN",
        *_events(case, made, locale, values(case, made, locale)),
        "END:VCALENDAR",
    ]
    return b"".join(_folded(line) for line in lines)


def _events(case: Case, made: Plan, locale: Locale, v: Values) -> Iterator[str]:
    gauge = (
        locale.say("Call sooner, at once, when the reservoir gauge shows {call_mark} or less.", call_mark=v.call_mark)
        if v.call_mark is not None and v.round is None
        else v.call_rule  # on a round, or where each delivery is agreed on with the one before
    )
    phone = isolated((case.clinic.supplier or case.clinic).phone_day)
    call = locale.say("Call {phone_day}.", phone_day=phone)
    again = locale.say("If it does not come, call {phone_day} on the same day.", phone_day=phone)
    to_call = locale.say("Oxygen: call for a delivery today")
    to_expect = locale.say("Oxygen: a delivery is expected today")
    off = locale.say("This is a public holiday. Ask the supplier now on which day they come.")
    home = _home(case)
    for number, line in enumerate(made.deliveries, start=1):
        if line.call_by is not None:
            yield from _event(case, f"{home} {number} call", line.call_by, to_call, (call, gauge), alarm=True)
        note = (off,) if line.day_off else ()
        yield from _event(case, f"{home} {number}", line.expected, to_expect, (*note, again, gauge), alarm=False)


def _home(case: Case) -> str:
    """Return what stays the same of a home when its guide is made anew, so that its events are moved, not doubled.

    Where nobody is named, as behind a code, that is the order and the equipment: in a calendar for several patients
    the deliveries of one must never take the place of another's.
    """
    if case.patient.name:
        return f"{case.clinic.name} {case.patient.name}"
    return case.model_dump_json(exclude={"issued": True, "prescription": {"review_date": True}})


def _event(
    case: Case, known_as: str, day: dt.date, title: Said, told: tuple[Said, ...], *, alarm: bool
) -> Iterator[str]:
    yield from (
        "BEGIN:VEVENT",
        f"UID:{uuid.uuid5(_NAMES, known_as)}",
        f"SEQUENCE:{(case.issued - _FIRST_DAY).days}",
        f"DTSTAMP:{case.issued:%Y%m%d}T000000Z",
        f"DTSTART;VALUE=DATE:{day:%Y%m%d}",
        f"DTEND;VALUE=DATE:{day + dt.timedelta(days=1):%Y%m%d}",
        f"SUMMARY:{_text(title)}",
        "DESCRIPTION:" + "\\n".join(_text(sentence) for sentence in told),
        "TRANSP:TRANSPARENT",
    )
    if alarm:
        yield from (
            "BEGIN:VALARM",
            "ACTION:DISPLAY",
            f"DESCRIPTION:{_text(title)}",
            "TRIGGER:PT9H",
            "END:VALARM",
        )
    yield "END:VEVENT"


def _text(words: Said) -> str:
    """Return a TEXT value with its four special characters escaped (RFC 5545, 3.3.11)."""
    plain = str(words).replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return plain.replace("\n", "\\n")


def _folded(line: str) -> bytes:
    """Break a line so that no piece is longer than 75 bytes and no character is cut."""
    pieces = [b""]
    for character in line:
        encoded = character.encode()
        if len(pieces[-1]) + len(encoded) > _FOLD:
            pieces.append(b" ")
        pieces[-1] += encoded
    return b"\r\n".join(pieces) + b"\r\n"
