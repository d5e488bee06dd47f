"""The case: one patient's prescription and equipment, as it was ordered.

Every field says in its description what is right and in ``ask`` who knows it, because the messages of
``companion check`` and the JSON Schema are made from them. Nothing here computes a duration, and
nothing that can hurt has a default.
"""

import datetime as dt
from typing import Any

from companion.case.amounts import Day, Entry, Line
from companion.case.clinic import Clinic
from companion.case.equipment import Conserver, Cylinder, Portable, Reservoir
from companion.case.fields import CLINIC, CLINICIAN, PRESCRIBER, SUPPLIER, Part, asked
from companion.case.prescription import Patient, Prescription
from companion.facts.units import units_of


class Case(Part):
    """One patient's home: what was ordered, with what equipment, by which clinic."""

    issued: Day = asked(
        "the date of this guide, such as 2026-11-02",
        CLINICIAN,
        "2026-11-02",
        ge=dt.date(2020, 1, 1),  # the code of the link counts days from here
        le=dt.date(2099, 12, 31),  # holidays by the moon are not known for later
    )
    confirmed: list[Entry] = asked(
        "the fields whose unlikely value is meant, such as ['prescription.rest.flow'], and 'expired' for an order past "
        "its review date; each only after you were asked about it",
        CLINICIAN,
        ["prescription.rest.flow"],
        default=[],
        in_link=False,  # a code is made from what was accepted
        max_length=60,
    )
    from_kit: Line | None = asked(
        "the kit from which the equipment was taken; stands in a case that was completed",
        CLINICIAN,
        "top-fill-36",
        default=None,
        in_link=False,
    )
    patient: Patient = asked("may be left out", CLINICIAN, {}, default=Patient())
    prescription: Prescription = asked("what the prescriber ordered", PRESCRIBER, {})
    reservoir: list[Reservoir] = asked("one to four [[reservoir]]", SUPPLIER, [], min_length=1, max_length=4)
    portable: list[Portable] = asked("up to four [[portable]]", SUPPLIER, [], default=[], max_length=4)
    cylinder: list[Cylinder] = asked("up to four [[cylinder]]", SUPPLIER, [], default=[], max_length=4)
    conserver: Conserver | None = asked("the conserver, if a pulse setting is ordered", SUPPLIER, {}, default=None)
    clinic: Clinic = asked("who stands behind the guide", CLINIC, {})


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a case file, so that an editor completes and checks it."""
    schema = Case.model_json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    for part in [schema, *schema["$defs"].values()]:
        for field in part.get("properties", {}).values():
            kinds = [kind["x-kind"] for kind in [field, *field.get("anyOf", [])] if "x-kind" in kind]
            for kind in kinds:
                field["description"] += f" (units: {', '.join(units_of(kind))})"
    return schema
