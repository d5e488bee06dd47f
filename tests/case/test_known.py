"""What the clinic knows is entered once: read from every format, refused in sentences, and out of every figure."""

import copy
import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from companion.batch.manifest import without_persons
from companion.case import Case, read_case
from companion.case.fhir import FIELDS, read_bundle
from companion.case.read import case_from_dict
from companion.case.rows import read_rows
from companion.errors import CaseError
from companion.facts.units import Amount
from companion.link.code import encode
from companion.reckoning.figures import figures
from companion.reckoning.plan import plan
from companion.web import form
from tests.batch.loads import flat, write_table
from tests.case.conftest import Write
from tests.case.test_fhir import BUNDLE, resource, where
from tests.cases import KNOWN, LEFT_OUT, a_case, case_dict
from tests.conftest import WriteCase
from tests.guides import EXAMPLES, KEYS, example

ALL = case_dict(KNOWN)


def at(case: Case, path: str) -> Any:
    """Return what stands at a path of a case, such as ``portable.0.fill_time``."""
    found: Any = case
    for step in path.split("."):
        found = found[int(step)] if step.isdigit() else getattr(found, step)
    return found


# ── what is read ────────────────────────────────────────────────────────────────────────────────

READ: tuple[tuple[str, Any], ...] = (
    ("patient.next_of_kin.name", "Jonas Lindqvist"),
    ("patient.next_of_kin.phone", "555-0171"),
    ("patient.allergies", "Penicillin"),
    ("prescription.diagnosis", "COPD"),
    ("prescription.finger_meter.call_below", 88),
    ("prescription.finger_meter.emergency_below", 80),
    ("prescription.while_filling", "cylinder"),
    ("prescription.at_night", "exertion"),
    ("portable.0.fill_valve", "lever across"),
    ("clinic.office_hours.weekdays", ["monday", "thursday"]),
    ("clinic.office_hours.from_", dt.time(8, 0)),
    ("clinic.office_hours.to", dt.time(17, 30)),
    ("clinic.supplier.name", "Harbour Oxygen Supply"),
    ("clinic.supplier.phone_day", "555-0150"),
    ("clinic.supplier.phone_night", "555-0151"),
    ("clinic.supplier.office_hours.weekdays", ["tuesday", "friday"]),
    ("clinic.supplier.office_hours.to", dt.time(18, 0)),
)


@pytest.mark.parametrize(("path", "value"), READ, ids=[path for path, _ in READ])
def test_each_is_read_from_a_file(write_case: WriteCase, path: str, value: object) -> None:
    assert at(read_case(write_case(KNOWN)), path) == value


def test_how_long_a_fill_takes_is_an_amount() -> None:
    fill_time = a_case(KNOWN).portable[0].fill_time
    assert isinstance(fill_time, Amount)
    assert (str(fill_time), fill_time.to("time")) == ("90 s", 1.5)


@pytest.mark.parametrize("path", KNOWN)
def test_each_may_be_left_out(path: str) -> None:
    assert a_case({**KNOWN, path: LEFT_OUT}) != a_case(KNOWN)


@pytest.mark.parametrize("changes", [{}, *({path: value} for path, value in KNOWN.items()), KNOWN], ids=", ".join)
def test_a_row_and_the_form_give_the_same_case_as_a_file(tmp_path: Path, changes: dict[str, Any]) -> None:
    raw = case_dict(changes)
    (row,) = read_rows(write_table(tmp_path / "cases.csv", [dict(flat(raw))]))
    for found in (row.raw, form.case_values(form.entries_of(raw))):
        assert case_from_dict(found, "a test") == case_from_dict(raw, "a test")


def test_the_form_asks_for_each() -> None:
    asked = {part.name for part in form.parts(form.groups(form.entries_of(ALL), (), {}))}
    assert set(form.entries_of(ALL)) <= asked
    assert "clinic.office_hours.from" in asked


@pytest.mark.parametrize(
    "changes",
    [
        {"prescription.finger_meter": {"call_below": 88}},
        {"prescription.finger_meter": {"emergency_below": 88}},  # as low as the target begins
        {"prescription.finger_meter": {"call_below": 71, "emergency_below": 70}},
        {"prescription.while_filling": "reservoir", "cylinder": LEFT_OUT},
        {"prescription.while_filling": "pause"},
        {"prescription.while_filling": "other portable", "portable": [ALL["portable"][0]] * 2},
        {"prescription.at_night": "sleep"},
        {"portable[1].fill_time": "10 s"},
        {"portable[1].fill_time": "30 min"},
        {"clinic.office_hours": {"weekdays": ["sunday"], "from": "00:00", "to": "23:59"}},
        {"clinic.office_hours": {"weekdays": ["sunday"], "from": dt.time(8), "to": "08:01:00"}},  # as TOML has times
        {"clinic.supplier": {"name": "Harbour Oxygen Supply", "phone_day": "555-0150"}},
        {"clinic.phone_day": "(614) 555-0142"},
    ],
)
def test_accepts(changes: dict[str, Any]) -> None:
    assert case_from_dict(case_dict(changes), "the test")


# ── what is refused ─────────────────────────────────────────────────────────────────────────────

HOURS = {"weekdays": ["monday"], "from": "08:00", "to": "17:00"}

REFUSED: tuple[tuple[dict[str, Any], str, str, str, str], ...] = (
    # the changes; the field, what was read, the sentence, whom to ask
    (
        {"clinic.office_hours": HOURS | {"from": "8 am"}},
        "clinic.office_hours.from",
        "'8 am'",
        "not a time of the 24-hour clock: two digits, a colon, two digits",
        "clinic",
    ),
    (
        {"clinic.office_hours": HOURS | {"to": "24:00"}},
        "clinic.office_hours.to",
        "'24:00'",
        "not a time of the 24-hour clock: two digits, a colon, two digits",
        "clinic",
    ),
    (
        {"clinic.office_hours": HOURS | {"from": 8}},
        "clinic.office_hours.from",
        "8",
        "not a time of the 24-hour clock: two digits, a colon, two digits",
        "clinic",
    ),
    (
        {"clinic.office_hours": HOURS | {"from": "17:00"}},
        "clinic.office_hours",
        "fields: weekdays, from, to",
        "'from' is 17:00 and 'to' is 17:00; 'to' must be later on the same day",
        "clinic",
    ),
    (
        {"clinic.office_hours": HOURS | {"from": "20:00", "to": "06:00"}},
        "clinic.office_hours",
        "fields: weekdays, from, to",
        "'from' is 20:00 and 'to' is 06:00; 'to' must be later on the same day",
        "clinic",
    ),
    (
        {"clinic.office_hours": {"weekdays": ["monday"], "to": "17:00"}},
        "clinic.office_hours.from",
        "nothing",
        "it is missing",
        "clinic",
    ),
    (
        {"clinic.office_hours": HOURS | {"weekdays": []}},
        "clinic.office_hours.weekdays",
        "a list of 0",
        "fewer than there must be: at least 1",
        "clinic",
    ),
    (
        {"clinic.office_hours": HOURS | {"weekdays": ["Mo"]}},
        "clinic.office_hours.weekdays[1]",
        "'Mo'",
        "not one of the words that it may be",
        "clinic",
    ),
    (
        {"clinic.office_hours": HOURS | {"from_": "08:00"}},
        "clinic.office_hours.from_",
        "'08:00'",
        "there is no such field here. Did you mean 'from'?",
        "hands over",
    ),
    (
        {"clinic.supplier": {"name": "Harbour Oxygen Supply"}},
        "clinic.supplier.phone_day",
        "nothing",
        "it is missing",
        "clinic",
    ),
    (
        {"clinic.supplier": {"name": "Harbour Oxygen Supply", "phone_day": "ask"}},
        "clinic.supplier.phone_day",
        "'ask'",
        "not written as it must be",
        "clinic",
    ),
    (
        {"prescription.finger_meter": {}},
        "prescription.finger_meter",
        "fields: none",
        "no reading is given; give 'call_below', 'emergency_below' or both",
        "prescriber",
    ),
    (
        {"prescription.finger_meter": {"call_below": 85, "emergency_below": 85}},
        "prescription.finger_meter",
        "fields: call_below, emergency_below",
        "'emergency_below' is 85; it must be less than 'call_below', 85",
        "prescriber",
    ),
    (
        {"prescription.finger_meter": {"call_below": 88}, "prescription.target_saturation": LEFT_OUT},
        "prescription.target_saturation",
        "nothing",
        "'finger_meter' says when to call, and the guide must also say which readings are as they should be",
        "prescriber",
    ),
    (
        {"prescription.finger_meter": {"call_below": 89}},
        "prescription.finger_meter.call_below",
        "89",
        "'target_saturation' begins at 88, so readings that are wanted would count as too low",
        "prescriber",
    ),
    (
        {"prescription.finger_meter": {"emergency_below": 89}},
        "prescription.finger_meter.emergency_below",
        "89",
        "'target_saturation' begins at 88, so readings that are wanted would count as too low",
        "prescriber",
    ),
    (
        {"prescription.finger_meter": {"call_below": 69}},
        "prescription.finger_meter.call_below",
        "69",
        "too small: at least 70",
        "prescriber",
    ),
    (
        {"prescription.finger_meter": {"call_below": "88 %"}},
        "prescription.finger_meter.call_below",
        "'88 %'",
        "not a whole number",
        "prescriber",
    ),
    (
        {"prescription.while_filling": "cylinder", "cylinder": LEFT_OUT},
        "prescription.while_filling",
        "'cylinder'",
        "no cylinder is in the case",
        "prescriber",
    ),
    (
        {"prescription.while_filling": "other portable"},
        "prescription.while_filling",
        "'other portable'",
        "only one portable is in the case",
        "prescriber",
    ),
    (
        {"prescription.while_filling": "pause", "portable": LEFT_OUT},
        "prescription.while_filling",
        "'pause'",
        "no portable is in the case, so nothing is filled",
        "prescriber",
    ),
    (
        {"prescription.while_filling": "hold your breath"},
        "prescription.while_filling",
        "'hold your breath'",
        "not one of the words that it may be",
        "prescriber",
    ),
    (
        {"prescription.at_night": "sleep", "prescription.sleep": LEFT_OUT, "prescription.hours_off_oxygen": "8 h"},
        "prescription.at_night",
        "'sleep'",
        "nothing is ordered for sleep",
        "prescriber",
    ),
    (
        {"prescription.at_night": "rest"},
        "prescription.at_night",
        "'rest'",
        "not one of the words that it may be",
        "prescriber",
    ),
    (
        {"portable[1].fill_valve": "anticlockwise"},
        "portable[1].fill_valve",
        "'anticlockwise'",
        "not one of the words that it may be",
        "supplier",
    ),
    (
        {"portable[1].fill_time": "9.9 s"},
        "portable[1].fill_time",
        "'9.9 s'",
        "filling a portable takes 10 s to 30 min",
        "supplier",
    ),
    (
        {"portable[1].fill_time": "31 min"},
        "portable[1].fill_time",
        "'31 min'",
        "filling a portable takes 10 s to 30 min",
        "supplier",
    ),
    (
        {"portable[1].fill_time": 3},
        "portable[1].fill_time",
        "3",
        "a number needs its unit; write one of min, h, days, s",
        "supplier",
    ),
    (
        {"patient.next_of_kin": {"name": "Jonas Lindqvist"}},
        "patient.next_of_kin.phone",
        "nothing",
        "it is missing",
        "hands over",
    ),
    ({"patient.allergies": "  "}, "patient.allergies", "'  '", "it is empty or too short", "hands over"),
    ({"prescription.diagnosis": "x" * 81}, "prescription.diagnosis", "x" * 56, "it is too long", "prescriber"),
)


@pytest.mark.parametrize(
    ("changes", "place", "read", "problem", "ask"), REFUSED, ids=[f"{row[1]}-{row[3]}" for row in REFUSED]
)
def test_refuses(changes: dict[str, Any], place: str, read: str, problem: str, ask: str) -> None:
    with pytest.raises(CaseError) as told:
        case_from_dict(case_dict(changes), "the test")
    (fault,) = told.value.faults
    assert (fault.where, fault.problem) == (place, problem)
    assert read in fault.read
    assert fault.right
    assert ask in fault.ask


# ── what none of it changes ─────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("path", KNOWN)
def test_none_changes_the_code_on_paper_or_a_figure(path: str) -> None:
    base, case = a_case(), a_case({path: KNOWN[path]})
    assert case != base
    # The supplier travels, so that a phone can call, and the minutes of a filling: neither is a patient.
    stays = path not in ("clinic.supplier", "portable[1].fill_time")
    assert (encode(case, KEYS) == encode(base, KEYS)) == stays
    assert (without_persons(case) == without_persons(base)) == stays
    assert plan(case) == plan(base)
    assert figures(case, plan(case)) == figures(base, plan(base))


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_examples_say_what_their_clinic_knows(name: str) -> None:
    case = example(name)
    assert all(
        (case.patient.next_of_kin, case.prescription.diagnosis, case.clinic.office_hours, case.portable[0].fill_time)
    )
    assert (case.prescription.finger_meter is None, case.clinic.phone_night is None) == ((name == "mill-street"),) * 2


# ── FHIR ────────────────────────────────────────────────────────────────────────────────────────


def coded(code: str) -> dict[str, Any]:
    return {"coding": [{"system": FIELDS, "code": code}]}


def percent(value: int) -> dict[str, Any]:
    return {"value": value, "system": "http://unitsofmeasure.org", "code": "%"}


@pytest.fixture
def told() -> Any:
    """Return the example with each of these facts where FHIR puts it, or under its name where FHIR has no place."""
    bundle = copy.deepcopy(BUNDLE)
    relation = {"coding": [{"system": "http://terminology.hl7.org/CodeSystem/v2-0131", "code": "N"}]}
    resource(bundle, "Patient")["contact"] = [
        {"name": {"text": "A neighbour"}, "telecom": [{"system": "phone", "value": "555-0170"}]},
        {
            "relationship": [relation],
            "name": {"given": ["Jonas"], "family": "Okonjo"},
            "telecom": [{"system": "email", "value": "j@example"}, {"system": "phone", "value": "555-0171"}],
        },
    ]
    resource(bundle, "ServiceRequest")["reasonCode"] = [{"coding": [{"display": "COPD"}]}]
    resource(bundle, "DeviceRequest")["parameter"] += [
        {"code": coded("finger_meter.call_below"), "valueQuantity": percent(88)},
        {"code": coded("finger_meter.emergency_below"), "valueQuantity": percent(80)},
        {"code": coded("while_filling"), "valueCodeableConcept": {"text": "cylinder"}},
        {"code": coded("at_night"), "valueCodeableConcept": {"text": "sleep"}},
    ]
    portable = resource(bundle, "Device", 1)
    second = {"value": 90, "system": "http://unitsofmeasure.org", "code": "s"}
    portable["property"] += [
        {"type": coded("fill_valve"), "valueCode": [{"text": "clockwise"}]},
        {"type": coded("fill_time"), "valueQuantity": [second]},
    ]
    portable["owner"] = {"reference": "urn:uuid:3d0c5b20-5a7e-4c1b-9f2d-8b6a4e1c2d40"}
    hours = {"daysOfWeek": ["tue", "mon"], "availableStartTime": "08:00:00", "availableEndTime": "17:30:00"}
    patient = {"reference": BUNDLE["entry"][0]["fullUrl"]}
    supplier = {
        "resourceType": "Organization",
        "name": "Terrace Oxygen Supply",
        "telecom": [{"system": "phone", "value": "555-0150"}],
    }
    bundle["entry"] += [
        {"fullUrl": portable["owner"]["reference"], "resource": supplier},
        {"resource": {"resourceType": "HealthcareService", "availableTime": [hours]}},
        *({"resource": allergy(patient, *words)} for words in (("Penicillin", "active"), ("Latex", "resolved"))),
    ]
    return bundle


def allergy(patient: dict[str, str], name: str, status: str) -> dict[str, Any]:
    return {
        "resourceType": "AllergyIntolerance",
        "patient": patient,
        "code": {"text": name},
        "clinicalStatus": {"coding": [{"code": status}]},
    }


def test_fhir_says_each_in_its_place(told: Any, write: Write) -> None:
    before, missing = read_bundle(write(BUNDLE))
    raw, faults = read_bundle(write(told))
    assert where(faults) == where(missing)
    assert raw["patient"] == before["patient"] | {
        "next_of_kin": {"name": "Jonas Okonjo", "phone": "555-0171"},
        "allergies": "Penicillin",
    }
    assert raw["prescription"] == before["prescription"] | {
        "diagnosis": "COPD",
        "finger_meter": {"call_below": 88, "emergency_below": 80},
        "while_filling": "cylinder",
        "at_night": "sleep",
    }
    assert raw["portable"] == [before["portable"][0] | {"fill_valve": "clockwise", "fill_time": "90 s"}]
    assert raw["clinic"] == before["clinic"] | {
        "supplier": {"name": "Terrace Oxygen Supply", "phone_day": "555-0150"},
        "office_hours": {"weekdays": ["monday", "tuesday"], "from": "08:00", "to": "17:30"},
    }


def test_who_owns_the_devices_is_not_taken_for_the_clinic(told: Any, write: Write) -> None:
    del resource(told, "DeviceRequest")["performer"]
    assert read_bundle(write(told))[0]["clinic"]["name"] == "River Terrace Lung Clinic"


def test_hours_that_differ_by_day_are_never_chosen_between(told: Any, write: Write) -> None:
    saturday = {"daysOfWeek": ["sat"], "availableStartTime": "09:00:00", "availableEndTime": "12:00:00"}
    resource(told, "HealthcareService")["availableTime"].append(saturday)
    raw, faults = read_bundle(write(told))
    assert raw["clinic"]["office_hours"] == {}
    assert [fault.read for fault in faults if fault.where == "clinic.office_hours.from"] == ["08:00 and 09:00"]


def test_an_owner_that_is_the_clinic_is_no_other_house(told: Any, write: Write) -> None:
    resource(told, "Device", 1)["owner"] = resource(told, "DeviceRequest")["performer"]
    assert "supplier" not in read_bundle(write(told))[0]["clinic"]
