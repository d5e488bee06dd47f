"""What travels in a code: every field of the model is written or stays at home, and old codes are read for ever."""

import json
from decimal import Decimal
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel

from companion.case import Case
from companion.case.read import case_from_dict
from companion.facts.units import COMPUTED_IN, SPELLED, Amount, units_of
from companion.language.locale import Locale
from companion.link import layouts, wire
from companion.link.code import decode, encode
from companion.link.keys import Keys
from companion.link.layouts import LAYOUTS, MEANT_BEFORE, NEWEST, paths, with_meaning
from companion.make import code_of
from companion.reckoning.plan import plan
from tests.cases import a_case, valid_cases
from tests.few import FEW
from tests.guides import example
from tests.link.printed import CODES, keys_of, plain
from tests.link.test_code import KEYS, raw_bytes

PRINTED = sorted(CODES.glob("*/*.txt"))

STAYS = {
    # what could say who the patient is, and what stands before the code already
    "from_kit",
    "patient.name",
    "patient.languages",
    "patient.customs",
    "patient.weighs_portable",
    "prescription.prescriber",
    "reservoir.name",
    "portable.name",
    "cylinder.name",
    "clinic.link_base",
    "clinic.supplier.office_hours.from_",
    "clinic.supplier.office_hours.to",
    "clinic.supplier.office_hours.weekdays",
    "patient.next_of_kin.name",
    "patient.next_of_kin.phone",
    "patient.allergies",
    "prescription.diagnosis",
    # what is printed as it was entered, and changes no figure
    "prescription.finger_meter.call_below",
    "prescription.finger_meter.emergency_below",
    "prescription.while_filling",
    "prescription.at_night",
    "portable.fill_valve",
    "clinic.office_hours.weekdays",
    "clinic.office_hours.from_",
    "clinic.office_hours.to",
    # how the sheets are made
    "clinic.paper.sentence",
    "clinic.paper.binding",
    "clinic.paper.named_files",
    # a code is made from what was accepted, and is not asked again
    "confirmed",
}


def model_paths(model: type[BaseModel], here: str = "") -> dict[str, bool]:
    """Return every field that holds no fields itself, by its path, and whether it is described as one that travels."""
    found: dict[str, bool] = {}
    for name, field in model.model_fields.items():
        path = f"{here}.{name}" if here else name
        inner = [kind for kind in kinds_in(field.annotation) if isinstance(kind, type) and issubclass(kind, BaseModel)]
        extra: Any = field.json_schema_extra
        found |= model_paths(inner[0], path) if inner else {path: extra["x-in-link"]}
    return found


def kinds_in(annotation: Any) -> list[Any]:
    """Return a type and every type inside it."""
    return [annotation, *(kind for part in get_args(annotation) for kind in kinds_in(part))]


# ── no field is forgotten ───────────────────────────────────────────────────────────────────────


def test_every_field_travels_or_stays() -> None:
    model = set(model_paths(Case))
    written = set(paths(LAYOUTS[NEWEST]))
    assert model - written - STAYS == set(), (
        "say in companion.link.layouts how it is written, or in STAYS that it stays"
    )
    assert written - model == set(), "the model has no such field any more; begin the next version"
    assert not written & STAYS


def test_what_a_field_says_of_itself_is_so() -> None:
    assert {path for path, travels in model_paths(Case).items() if not travels} == STAYS


@pytest.mark.parametrize("version", [version for version in LAYOUTS if version != NEWEST])
def test_every_later_field_has_its_meaning_in_an_older_code(version: int) -> None:
    later = set(paths(LAYOUTS[NEWEST])) - set(paths(LAYOUTS[version]))
    assert set(MEANT_BEFORE[version]) == later


def test_which_free_text_travels() -> None:
    # Whoever adds a field that a person fills with words decides here whether it may be on a public page.
    kinds = paths(LAYOUTS[NEWEST])
    free = {path for path, kind in kinds.items() if isinstance(kind, wire.Text | wire.Named)}
    assert free == {
        "prescription.rest.pulse_setting",
        "prescription.exertion.pulse_setting",
        "prescription.sleep.pulse_setting",
        "reservoir.coupling",
        "portable.coupling",
        "conserver.bolus",
        "clinic.name",
        "clinic.phone_day",
        "clinic.phone_night",
        "clinic.region",
        "clinic.subdivision",  # the part of the country, for its holidays
        "clinic.supplier.name",
        "clinic.supplier.phone_day",
        "clinic.supplier.phone_night",
        "clinic.policy.emergency_number",
        "clinic.policy.fire_number",
    }


# ── codes that are printed ──────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("path", PRINTED, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_a_printed_code_reads_as_it_was_written(path: Path) -> None:
    code = path.read_text(encoding="ascii").strip()
    meant = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    body = raw_bytes(code)[:-10]
    reader = wire.Reader(body[2:])
    values = LAYOUTS[body[0]].read(iter(()), reader)
    reader.end()
    assert plain(values) == meant["values"], "if this version was never released: python -m tests.link.printed"


@pytest.mark.parametrize("path", PRINTED, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_a_printed_code_opens(path: Path) -> None:
    case = decode(path.read_text(encoding="ascii").strip(), Keys((b"\xff" * 32, *keys_of(path).secrets)))
    assert plan(case).windows
    # Printed anew, it is a code of the newest version with the same plan.
    again = decode(encode(case, KEYS), KEYS)
    assert plan(again) == plan(case)


def test_there_is_a_printed_code_of_every_version() -> None:
    for path in PRINTED:
        assert raw_bytes(path.read_text(encoding="ascii").strip())[0] == int(path.parent.name)
    assert {int(path.parent.name) for path in PRINTED} == set(LAYOUTS)


def test_a_later_field_gets_the_meaning_that_it_had(monkeypatch: pytest.MonkeyPatch) -> None:
    later = {"clinic.policy.margin": Decimal(0), "portable.gauge.error": 1, "prescription.sleep.test": None}
    monkeypatch.setattr(layouts, "MEANT_BEFORE", {1: later})
    values: dict[str, Any] = {
        "clinic": {"policy": {}},
        "prescription": {"rest": {}},
        "portable": [{"gauge": {}}, {"gauge": {}}],
    }
    assert with_meaning(values, 1) == {
        "clinic": {"policy": {"margin": Decimal(0)}},
        "prescription": {"rest": {}},
        "portable": [{"gauge": {"error": 1}}, {"gauge": {"error": 1}}],
    }


# ── to the last digit ───────────────────────────────────────────────────────────────────────────

SPELLINGS = ["0.5", "0", "0.00000000", "0.50", ".5", "1e0", "5E-1", "+0.5", "-0", "0.50000000000000000000000000", "2."]


@pytest.mark.parametrize("spelling", [*SPELLINGS, "10.00000000", "1E+1", "10", "0.1E2", "1" + 28 * "0"])
def test_a_number_comes_back_as_it_was_typed(spelling: str) -> None:
    typed = Decimal(spelling)
    back = wire.Number().read(iter(()), wire.Reader(wire.Number().write(typed)[1]))
    assert back.as_tuple() == typed.as_tuple()


@given(st.decimals(allow_nan=False, allow_infinity=False))
def test_every_number_comes_back_as_it_was_typed(typed: Decimal) -> None:
    back = wire.Number().read(iter(()), wire.Reader(wire.Number().write(typed)[1]))
    assert back.as_tuple() == typed.as_tuple()


@given(st.decimals(0, 999999, places=6), st.sampled_from(sorted(SPELLED)))
def test_an_amount_comes_back_as_it_was_typed(number: Decimal, unit: str) -> None:
    kind = next(kind for kind in COMPUTED_IN if SPELLED[unit] in units_of(kind))
    typed = Amount(number, unit)
    back = wire.Quantity(kind).read(iter(()), wire.Reader(wire.Quantity(kind).write(typed)[1]))
    assert str(back) == str(typed)


def as_typed(part: Any) -> Any:
    """Return a case as its own model holds it, without what stays."""
    return json.loads(part.model_dump_json(exclude_none=True))


@FEW
@given(valid_cases(), st.sampled_from(SPELLINGS), st.sampled_from(["10.00000000", "1E+1", "0.00", "7.50", "99.9"]))
def test_what_is_decoded_equals_what_was_encoded(raw: dict[str, Any], divisions: str, percent: str) -> None:
    policy = {"reading_error_divisions": divisions, "flow_tolerance_percent": percent}
    raw["clinic"]["policy"] |= policy
    case = case_from_dict(raw, "the test")
    back = decode(encode(case, KEYS), KEYS)
    assert as_typed(back.clinic.policy) == as_typed(case.clinic.policy)
    assert as_typed(back.prescription) == as_typed(
        case.prescription.model_copy(update=dict.fromkeys(("prescriber", "diagnosis")))
    )
    for name in ("reservoir", "portable", "cylinder"):
        before = [item.model_copy(update={"name": None}) for item in getattr(case, name)]
        assert [as_typed(item) for item in getattr(back, name)] == [as_typed(item) for item in before]
    assert plan(back) == plan(case)


@pytest.mark.parametrize(
    "policy",
    [
        {"reading_error_divisions": "0.00000000"},  # a database's NUMERIC(12, 8)
        {"flow_tolerance_percent": "10.00000000"},
        {"cold_fill_loss_percent": "12.50000000", "warm_fill_loss_percent": "1E+1"},
    ],
)
def test_the_page_behind_a_code_shows_what_the_paper_shows(policy: dict[str, str]) -> None:
    case = a_case({"clinic.policy": policy, "clinic.link_base": "https://oxygen.example.org"})
    code = code_of(case, plan(case), Locale("en", "US"), KEYS)
    assert plan(decode(code.signed, KEYS)) == plan(case)


def test_every_word_and_unit_of_the_model_can_be_written() -> None:
    assert set(wire._UNITS) >= set(SPELLED)
    for path, kind in paths(LAYOUTS[NEWEST]).items():
        if isinstance(kind, wire.OneOf):
            field: Any = Case
            for step in path.split("."):
                inner = [
                    part
                    for part in kinds_in(field)
                    if isinstance(part, type) and issubclass(part, BaseModel) and step in part.model_fields
                ]
                field = inner[0].model_fields[step].annotation
            words = {word for part in kinds_in(field) for word in get_args(part) if isinstance(word, str)}
            assert words == set(kind.words), path


@pytest.mark.parametrize("name", ["harbour-lane", "mill-street", "orchard-row"])
def test_the_code_of_an_example_is_no_longer_than_it_was(name: str) -> None:
    # With the usual margins, which take one bit each, and without a supplier, whom version 1 did not know.
    first = (CODES / "1" / f"{name}.txt").read_text(encoding="ascii").strip()
    case = example(name)
    alone = case.model_copy(update={"clinic": case.clinic.model_copy(update={"supplier": None})})
    assert len(encode(alone, KEYS)) <= len(first)


def test_the_supplier_travels_so_that_a_phone_can_call() -> None:
    case = example("harbour-lane")
    assert case.clinic.supplier is not None
    called = case.clinic.supplier.model_copy(update={"office_hours": None})
    assert decode(encode(case, KEYS), KEYS).clinic.supplier == called
    assert decode(encode(example("mill-street"), KEYS), KEYS).clinic.supplier is None
