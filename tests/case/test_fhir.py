"""FHIR bundles: what they say is read as it stands, what they do not say is asked for, nothing is guessed."""

import copy
import datetime as dt
import json
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from companion.case.fhir import FIELDS, UCUM, UNITS, read_bundle
from companion.case.fields import SUPPLIER
from companion.case.read import case_from_dict
from companion.cli import main
from companion.errors import CaseError, Fault
from companion.facts.units import SPELLED
from tests.case.conftest import Write
from tests.tools import ROOT

EXAMPLE = ROOT / "examples" / "river-terrace.fhir.json"
BUNDLE = json.loads(EXAMPLE.read_text(encoding="utf-8"))


def resource(bundle: Any, kind: str, place: int = 0) -> Any:
    return [entry["resource"] for entry in bundle["entry"] if entry["resource"]["resourceType"] == kind][place]


def parameter(bundle: Any, code: str) -> Any:
    parts = resource(bundle, "DeviceRequest")["parameter"]
    return next(part for part in parts if part["code"]["coding"][0]["code"] == code)


def where(faults: list[Fault]) -> set[str]:
    return {fault.where for fault in faults}


MISSING = {"issued", "portable[1].boil_off", "clinic.delivery"}
"""What the example does not say: no date of a guide, no boil-off in the record, no delivery terms in FHIR."""


def test_the_example_says_all_but_what_it_cannot() -> None:
    raw, faults = read_bundle(EXAMPLE)
    assert where(faults) == MISSING
    assert raw["prescription"]["exertion"] == {"flow": "3 L/min", "hours_per_day": "4 h", "on_portable": "2 h"}
    assert raw["prescription"]["review_date"] == dt.date(2027, 5, 10)
    assert raw["reservoir"][0]["boil_off"] == "1.3 lb/day"
    assert raw["patient"] == {"name": "Miriam Okonjo", "languages": ["es"]}
    raw["issued"] = dt.date(2026, 11, 9)
    raw["portable"][0]["boil_off"] = "20 g/h"
    raw["clinic"]["delivery"] = {"lead_days": 2, "closed_days": 2}
    assert case_from_dict(raw, "the example, completed").prescription.prescriber == "Dr Ines Falk"


def test_an_order_not_to_do_something_is_no_order(write: Write) -> None:
    bundle = copy.deepcopy(BUNDLE)
    request = resource(bundle, "ServiceRequest")
    request["doNotPerform"] = True
    before, _ = read_bundle(EXAMPLE)
    after, _ = read_bundle(write(bundle))
    assert before["prescription"]["review_date"] == dt.date(2027, 5, 10)
    assert after["prescription"].get("review_date") != dt.date(2027, 5, 10)


def test_every_unit_is_one_of_ours() -> None:
    assert set(UNITS.values()) <= {*SPELLED.values(), ""}


@pytest.mark.parametrize(
    ("value", "code", "read"),
    [
        (Decimal("0.5"), "L/min", "0.5 L/min"),
        (2, "l/min", "2 L/min"),
        (500, "mL/min", "500 mL/min"),
    ],
)
def test_flows_in_each_unit(write: Write, value: Any, code: str, read: str) -> None:
    bundle = copy.deepcopy(BUNDLE)
    parameter(bundle, "rest.flow")["valueQuantity"] = {"value": float(value), "system": UCUM, "code": code}
    raw, faults = read_bundle(write(bundle))
    assert where(faults) == MISSING
    number, unit = raw["prescription"]["rest"]["flow"].split()
    assert (Decimal(number), unit) == (value, read.split()[1])


@pytest.mark.parametrize(
    ("quantity", "problem"),
    [
        ({"value": 2, "unit": "L/min"}, "not given as a UCUM code"),  # the unit's text is for people
        ({"value": 2, "system": "urn:other", "code": "L/min"}, "not given as a UCUM code"),
        ({"value": 2, "system": UCUM, "code": "[gal_us]/min"}, "not read here"),
        ({"value": 2, "system": UCUM, "code": "L/min", "comparator": "<"}, "is no amount"),
    ],
)
def test_a_quantity_that_leaves_a_doubt_is_not_used(write: Write, quantity: dict[str, Any], problem: str) -> None:
    bundle = copy.deepcopy(BUNDLE)
    parameter(bundle, "rest.flow")["valueQuantity"] = quantity
    raw, faults = read_bundle(write(bundle))
    assert "flow" not in raw["prescription"]["rest"]
    assert problem in next(fault.problem for fault in faults if fault.where == "prescription.rest.flow")


def test_another_unit_of_the_wrong_kind_is_told_by_the_case(write: Write) -> None:
    bundle = copy.deepcopy(BUNDLE)
    parameter(bundle, "rest.flow")["valueQuantity"] = {"value": 2, "system": UCUM, "code": "kg"}
    _, faults = read_bundle(write(bundle))
    assert where(faults) == MISSING | {"prescription.rest.flow"}


@pytest.mark.parametrize(("field", "value"), [("status", "revoked"), ("status", "draft"), ("intent", "plan")])
def test_an_order_that_does_not_stand_is_no_order(write: Write, field: str, value: str) -> None:
    bundle = copy.deepcopy(BUNDLE)
    resource(bundle, "DeviceRequest")[field] = value
    raw, faults = read_bundle(write(bundle))
    assert "rest" not in raw["prescription"]
    assert "prescription.interface" in where(faults)


def test_two_orders_that_differ_are_never_chosen_between(write: Write) -> None:
    bundle = copy.deepcopy(BUNDLE)
    second = copy.deepcopy(bundle["entry"][4])
    second["fullUrl"] = "urn:uuid:3d0c5b19-5a7e-4c1b-9f2d-8b6a4e1c2d39"
    bundle["entry"].append(second)
    assert where(read_bundle(write(bundle))[1]) == MISSING  # the same order twice is no difference
    for part in second["resource"]["parameter"]:
        if part["code"]["coding"][0]["code"] == "rest.flow":
            part["valueQuantity"]["value"] = 4
    raw, faults = read_bundle(write(bundle))
    assert "flow" not in raw["prescription"]["rest"]
    assert "1.5 L/min and 4 L/min" in [fault.read for fault in faults if fault.where == "prescription.rest.flow"]


def test_a_device_out_of_use_is_left_out(write: Write) -> None:
    bundle = copy.deepcopy(BUNDLE)
    resource(bundle, "Device", 2)["status"] = "inactive"
    raw, _ = read_bundle(write(bundle))
    assert "cylinder" not in raw


def test_several_patients_or_clinics_are_told(write: Write) -> None:
    bundle = copy.deepcopy(BUNDLE)
    other = {"resourceType": "Organization", "name": "Mill Street Clinic"}
    bundle["entry"] += [{"resource": {"resourceType": "Patient"}}, {"resource": other}]
    del resource(bundle, "DeviceRequest")["performer"]
    raw, faults = read_bundle(write(bundle))
    assert "patient" not in raw
    assert {"patient", "clinic.name"} <= where(faults)


def test_a_conserver_with_its_bolus_data(write: Write) -> None:
    bundle = copy.deepcopy(BUNDLE)
    bolus = [
        {
            "type": {"coding": [{"system": FIELDS, "code": f"bolus.{setting}"}]},
            "valueQuantity": [{"value": millilitres, "system": UCUM, "code": "mL"}],
        }
        for setting, millilitres in (("2", 22.8), ("2.5", 28))
    ]
    kind = {"coding": [{"system": "urn:x-companion:equipment", "code": "conserver"}]}
    bundle["entry"].append({"resource": {"resourceType": "Device", "type": kind, "property": bolus}})
    raw, faults = read_bundle(write(bundle))
    assert raw["conserver"] == {"bolus": {"2": "22.8 mL", "2.5": "28 mL"}}
    assert where(faults) == MISSING


def test_a_fault_of_a_device_is_told_with_its_place(write: Write) -> None:
    bundle = copy.deepcopy(BUNDLE)
    part = resource(bundle, "Device", 1)["property"][0]
    part["valueQuantity"][0]["code"] = "[gal_us]"
    _, faults = read_bundle(write(bundle))
    (fault,) = (fault for fault in faults if fault.where == "portable[1].liquid_volume")
    assert fault.ask == SUPPLIER


def test_an_empty_bundle_is_missing_everything(write: Write) -> None:
    raw, faults = read_bundle(write({"resourceType": "Bundle", "type": "collection"}))
    assert raw == {}
    assert where(faults) == {"issued", "prescription", "reservoir", "clinic"}


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(b"", id="nothing"),
        pytest.param(b"\xff\xfe", id="no UTF-8"),
        pytest.param(b"[]", id="a list"),
        pytest.param(b'{"resourceType": "Patient"}', id="no bundle"),
        pytest.param(b'{"resourceType": "Bundle", "type": "collection", "colour": 1}', id="an element unknown to FHIR"),
        pytest.param(b"[" * 200_000, id="nested too deep"),
        pytest.param(b" " * (5 * 1024 * 1024), id="too large"),
    ],
)
def test_refuses_what_is_no_bundle(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "bundle.json"
    path.write_bytes(text)
    with pytest.raises(CaseError) as caught:
        read_bundle(path)
    assert all(fault.problem and fault.right for fault in caught.value.faults)


def test_command_writes_what_is_known_and_tells_what_is_missing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "case.toml"
    assert main(["fhir", str(EXAMPLE), "--out", str(out)]) == 2
    assert tomllib.loads(out.read_text(encoding="utf-8"))["clinic"]["region"] == "US"
    told = capsys.readouterr().err
    assert all(field in told for field in MISSING)
    assert main(["fhir", str(tmp_path / "none.json")]) == 2
