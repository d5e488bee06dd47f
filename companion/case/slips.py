"""Slips of the pen: values that are possible and unlikely, each asked back until the case says that it is meant.

A value outside what is usual is refused like a fault, with the entry for the case's list ``confirmed`` that lets it
pass. A case that was accepted once (in a code on paper, in a manifest) is not asked again.
"""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from companion.case.equipment import Conserver, Cylinder, Portable, Reservoir
from companion.case.fields import CLINICIAN, CONSERVER_SUPPLIER, PRESCRIBER, SUPPLIER
from companion.case.prescription import Prescription
from companion.errors import Fault
from companion.facts.units import Amount

EXPIRED = "expired"
"""The entry of ``confirmed`` for an order past its review date: it stands for that question alone."""


@dataclass(frozen=True)
class Usual:
    """What is usual for one figure."""

    what: str
    """The figure in words, to be followed by its range."""
    least: float
    most: float
    unit: str
    ask: str
    source: str


USUAL = {
    "flow": Usual(
        "the flow ordered for an adult", 0.5, 15, "L/min", PRESCRIBER, "common practice, no source; children have less"
    ),
    "cannula": Usual(
        "the flow through a nasal cannula", 0, 6, "L/min", PRESCRIBER, "teaching of respiratory care, from memory"
    ),
    "mask": Usual(
        "the flow into a mask",
        2,
        15,
        "L/min",
        PRESCRIBER,
        "an entrainment mask for 24 % takes 2 L/min, a plain one 5 or more: teaching of respiratory care, from memory",
    ),
    "breaths": Usual(
        "a breathing rate", 12, 40, "a minute", CLINICIAN, "12 to 20 at rest is normal, from memory; 40: no source"
    ),
    "bolus": Usual(
        "one pulse for each number of the setting",
        5,
        25,
        "mL",
        CONSERVER_SUPPLIER,
        "three of four devices in Palwai, AJRCCM 2010;181:1061, table 2 (7 to 17), and four in Respir Care 2010;55:433 "
        "(9 to 20); the fourth in Palwai has 1.5 and must be confirmed",
    ),
    "reservoir content": Usual(
        "the oxygen of a reservoir beside its empty mass",
        0.5,
        1.65,
        "times",
        SUPPLIER,
        "33 kg in 23 kg: 1.4; no source",
    ),
    "portable content": Usual(
        "the oxygen of a portable beside its empty mass", 0.15, 0.65, "times", SUPPLIER, "0.3 to 0.6, from memory"
    ),
    "reservoir boil-off": Usual(
        "the boil-off of a reservoir", 0.5, 5, "% of its oxygen a day", SUPPLIER, "1 to 3 % a day, from memory"
    ),
    "portable boil-off": Usual(
        "the boil-off of a portable",
        25,
        150,
        "% of its oxygen a day",
        SUPPLIER,
        "a full one is empty after 24 to 60 hours, from memory",
    ),
    "portable volume": Usual(
        "the liquid in a portable",
        0.25,
        1.3,
        "L",
        SUPPLIER,
        "0.3 to 0.6 L with a conserver, 1 to 1.2 L else, from memory",
    ),
    "working pressure": Usual(
        "the pressure of liquid containers",
        15,
        60,
        "psi",
        SUPPLIER,
        "20 to 25 psi, a type for high flow 50; from memory",
    ),
    "divisions": Usual("the parts of a level gauge", 2, 10, "", SUPPLIER, "common practice, no source"),
    "gas": Usual(
        "the gas in a back-up cylinder at home",
        100,
        5500,
        "L",
        SUPPLIER,
        "sizes from C to G; common practice, no source",
    ),
    "marks": Usual(
        "the parts of a pressure gauge between 0 and full", 5, 60, "", SUPPLIER, "common practice, no source"
    ),
    "reserve": Usual(
        "the reserve of a cylinder",
        100,
        600,
        "psi",
        SUPPLIER,
        "200 psi or 14 bar and 500 psi; common practice, no source",
    ),
}
"""Every range outside of which a value is asked back."""

OLDEST_ISSUE = dt.timedelta(days=366)
"""British Thoracic Society, quality standards for home oxygen use in adults, 2017: a review at least once a year, so a
guide dated before that is none of today."""
FURTHEST_ISSUE = dt.timedelta(days=31)
"""Common practice, no source: a guide is made shortly before it is handed over."""
FURTHEST_REVIEW = dt.timedelta(days=366)
"""British Thoracic Society, quality standards for home oxygen use in adults, 2017: a review at least once a year."""


def slips(parts: dict[str, Any], day: dt.date | None) -> list[Fault]:
    """Return every unlikely value of the parts that are right by themselves, the confirmed ones too.

    Args:
        parts: the parts of a case by name; one that was refused is not there.
        day: the day on which the case is used; None: its dates are held against each other alone.
    """
    found: list[Fault] = []
    order = parts.get("prescription")
    if isinstance(order, Prescription):
        found += _of_order(order)
        found += _of_review(order, parts.get("issued"), day)
    if isinstance(parts.get("conserver"), Conserver):
        found += _of_conserver(parts["conserver"])
    for kind in ("reservoir", "portable"):
        for place, item in enumerate(parts.get(kind) or [], start=1):
            if isinstance(item, Reservoir | Portable):
                found += _of_liquid(f"{kind}[{place}]", kind, item)
    for place, item in enumerate(parts.get("cylinder") or [], start=1):
        if isinstance(item, Cylinder):
            found += _of_cylinder(f"cylinder[{place}]", item)
    if day is not None and isinstance(parts.get("issued"), dt.date):
        found += _of_issue(parts["issued"], day)
    return found


def idle(confirmed: list[str], found: list[Fault]) -> Iterator[Fault]:
    """Refuse an entry of ``confirmed`` that confirms nothing: it would let the next slip pass unseen.

    Entries about dates stay, because what a day makes unlikely another makes likely.
    """
    asked = {fault.confirm for fault in found} | {EXPIRED, "issued", "prescription.review_date"}
    for entry in confirmed:
        if entry not in asked:
            yield Fault(
                "confirmed",
                repr(entry),
                "there is nothing unlikely that this would confirm",
                "a list of the fields about which you were asked, and no other",
                CLINICIAN,
            )


def _question(where: str, read: object, problem: str, ask: str, confirm: str | None = None) -> Fault:
    entry = confirm or where
    right = (
        f'the value as it was ordered or stands on the device; if this one is meant, add "{entry}" to the list '
        f"'confirmed' at the top of the case: confirmed = [\"{entry}\"]"
    )
    return Fault(where, str(read), f"possible, but unlikely: {problem}", right, ask, confirm=entry)


def _unusual(where: str, read: object, value: float, name: str) -> Iterator[Fault]:
    """Ask a value back that is outside what is usual; it is given in the unit of that range."""
    usual = USUAL[name]
    if not usual.least <= round(value, 9) <= usual.most:
        span = f"{usual.least:g} to {usual.most:g}" if usual.least else f"up to {usual.most:g}"
        here = (
            ""
            if str(read).startswith(f"{value:g} ")
            else f"; here it is {value:.0f}"
            if value >= 100
            else f"; here it is {value:.2g}"
        )
        yield _question(where, read, f"{usual.what} is usually {span} {usual.unit}".rstrip() + here, usual.ask)


# ── what was ordered ────────────────────────────────────────────────────────────────────────────


def _of_order(prescription: Prescription) -> Iterator[Fault]:
    orders = prescription.orders()
    by = {"nasal cannula": "cannula", "mask": "mask"}.get(prescription.interface)
    for activity, order in orders.items():
        where = f"prescription.{activity}"
        if order.flow is not None:
            value = order.flow.to("flow")
            yield from _first(
                _unusual(f"{where}.flow", order.flow, value, "flow"),
                _unusual(f"{where}.flow", order.flow, value, by) if by else iter(()),
            )
        if order.breaths_per_minute is not None:
            yield from _unusual(
                f"{where}.breaths_per_minute", order.breaths_per_minute, order.breaths_per_minute, "breaths"
            )
        if order.pulse_setting is not None and prescription.interface == "mask":
            problem = "a conserver feels the breath at the nose, not in a mask"
            yield _question(f"{where}.pulse_setting", order.pulse_setting, problem, PRESCRIBER)
        elif order.pulse_setting is not None and activity == "sleep":
            problem = "asleep a conserver may miss shallow breaths, so a steady flow is the rule"
            yield _question(f"{where}.pulse_setting", order.pulse_setting, problem, PRESCRIBER)
    yield from _less_on_exertion(prescription)


def _first(*questions: Iterator[Fault]) -> Iterator[Fault]:
    """Yield one question about a value, the first that there is."""
    found = next((fault for question in questions for fault in question), None)
    if found is not None:
        yield found


def _less_on_exertion(prescription: Prescription) -> Iterator[Fault]:
    rest, exertion = prescription.rest, prescription.exertion
    if rest is None or exertion is None:
        return
    if rest.flow and exertion.flow and exertion.flow.to("flow") < rest.flow.to("flow"):
        problem = f"walking has less than the {rest.flow} at rest"
        yield _question("prescription.exertion.flow", exertion.flow, problem, PRESCRIBER)
    if rest.pulse_setting and exertion.pulse_setting and float(exertion.pulse_setting) < float(rest.pulse_setting):
        problem = f"walking has less than setting {rest.pulse_setting} at rest"
        yield _question("prescription.exertion.pulse_setting", exertion.pulse_setting, problem, PRESCRIBER)


def _of_conserver(conserver: Conserver) -> Iterator[Fault]:
    before: tuple[str, Amount] | None = None
    for setting, bolus in sorted(conserver.bolus.items(), key=lambda pair: float(pair[0])):
        where = f"conserver.bolus.{setting}"
        if before is not None and bolus.to("dose") < before[1].to("dose"):
            problem = f"a higher setting gives more, and setting {before[0]} gives {before[1]}"
            yield _question(where, bolus, problem, CONSERVER_SUPPLIER)
        else:
            # Half a setting is the least; some devices have a setting 0.
            yield from _unusual(where, bolus, bolus.to("dose") / max(float(setting), 0.5), "bolus")
        before = setting, bolus


# ── the equipment ───────────────────────────────────────────────────────────────────────────────


def _of_liquid(where: str, kind: str, item: Reservoir | Portable) -> Iterator[Fault]:
    field, content = min(item.contents_kg().items(), key=lambda pair: pair[1])
    amount = getattr(item, field)
    questions = [_unusual(f"{where}.{field}", amount, content / item.empty_mass.to("mass"), f"{kind} content")]
    if kind == "portable" and item.liquid_volume is not None:
        litres = item.liquid_volume.to("liquid volume")
        questions.insert(0, _unusual(f"{where}.liquid_volume", item.liquid_volume, litres, "portable volume"))
    yield from _first(*questions)
    share = 100 * item.boil_off.to("mass loss") / content
    yield from _unusual(f"{where}.boil_off", item.boil_off, share, f"{kind} boil-off")
    if item.working_pressure is not None:
        psi = item.working_pressure.to("pressure")
        yield from _unusual(f"{where}.working_pressure", item.working_pressure, psi, "working pressure")
    yield from _unusual(f"{where}.gauge.divisions", item.gauge.divisions, item.gauge.divisions, "divisions")


def _of_cylinder(where: str, item: Cylinder) -> Iterator[Fault]:
    name, litres = min(item.contents_l().items(), key=lambda pair: pair[1])
    yield from _unusual(f"{where}.{name}", getattr(item, name), litres, "gas")
    division, reserve = item.gauge_division.to("pressure"), item.reserve.to("pressure")
    yield from _unusual(
        f"{where}.gauge_division", item.gauge_division, item.full_pressure.to("pressure") / division, "marks"
    )
    if reserve < division:
        problem = f"below the first mark of its gauge, {item.gauge_division}, nobody can read it"
        yield _question(f"{where}.reserve", item.reserve, problem, SUPPLIER)
    else:
        yield from _unusual(f"{where}.reserve", item.reserve, reserve, "reserve")


# ── dates ───────────────────────────────────────────────────────────────────────────────────────


def _of_review(order: Prescription, issued: dt.date | None, day: dt.date | None) -> Iterator[Fault]:
    where, review = "prescription.review_date", order.review_date
    if day is not None and review < day:
        problem = f"the order had to be reviewed by this day, and today is {day}; a guide is not made from it"
        right = (
            "the new review date, once the prescriber has reviewed the order; if a guide is to be made all the same, "
            f'add "{EXPIRED}" to the list \'confirmed\' at the top of the case: confirmed = ["{EXPIRED}"]'
        )
        yield Fault(where, str(review), problem, right, PRESCRIBER, confirm=EXPIRED)
    if issued is not None and review - issued > FURTHEST_REVIEW:
        yield _question(
            where, review, f"an order is reviewed once a year at least, and the guide is of {issued}", PRESCRIBER
        )


def _of_issue(issued: dt.date, day: dt.date) -> Iterator[Fault]:
    if day - issued > OLDEST_ISSUE:
        problem = f"more than a year before today, {day}: the printed deliveries would be over"
        yield _question("issued", issued, problem, CLINICIAN)
    if issued - day > FURTHEST_ISSUE:
        yield _question("issued", issued, f"more than a month after today, {day}", CLINICIAN)
