"""Slips of the pen: each is asked back, passes once it is confirmed, and is not asked again by a code on paper."""

import datetime as dt
from typing import Any

import pytest
from hypothesis import given

from companion.case import Case
from companion.case.read import accepted_case, case_from_dict
from companion.case.slips import USUAL
from companion.errors import CaseError, Fault
from companion.link.code import decode, encode
from companion.link.keys import Keys
from companion.reckoning.plan import plan
from tests.cases import LEFT_OUT, PULSE, a_case, case_dict, valid_cases
from tests.few import FEW

TODAY = dt.date(2026, 11, 2)
KEYS = Keys((b"\x01" * 32,))
PULSES = PULSE | {"prescription.exertion.pulse_setting": "3", "prescription.exertion.breaths_per_minute": 26}
BAR = {"cylinder[1].full_pressure": "138 bar", "cylinder[1].gauge_division": "10 bar", "cylinder[1].reserve": "14 bar"}
FACTOR = {"cylinder[1].content": LEFT_OUT, "cylinder[1].full_pressure": "2000 psi"}


def boluses(two: str, three: str) -> dict[str, Any]:
    return PULSES | {"conserver": {"bolus": {"2": two, "3": three}}}


def portable(**fields: str) -> dict[str, Any]:
    contents = dict.fromkeys(("liquid_volume", "working_pressure"), LEFT_OUT)
    return {f"portable[1].{name}": value for name, value in (contents | fields).items()}


def questions(changes: dict[str, Any], confirmed: list[str] | None = None, day: dt.date = TODAY) -> list[Fault]:
    raw = case_dict(changes) | ({"confirmed": confirmed} if confirmed is not None else {})
    try:
        case_from_dict(raw, "the test", day)
    except CaseError as error:
        return error.faults
    return []


SLIPS: dict[str, tuple[str, str, dict[str, Any]]] = {
    # what was slipped for what: the entry that confirms it, a piece of what is asked, the changes to the base
    "0.2 L/min for 2": ("prescription.rest.flow", "0.5 to 15 L/min", {"prescription.rest.flow": "0.2 L/min"}),
    "200 mL/min for 2 L/min": ("prescription.rest.flow", "0.5 to 15", {"prescription.rest.flow": "200 mL/min"}),
    "0.2 L/min for 2, asleep alone": ("prescription.sleep.flow", "0.5 to 15", {"prescription.sleep.flow": "0.2 L/min"}),
    "pulses asleep": (
        "prescription.sleep.pulse_setting",
        "shallow breaths",
        PULSES
        | boluses("26 mL", "38 mL")
        | {"prescription.sleep.pulse_setting": "2", "prescription.sleep.breaths_per_minute": 14},
    ),
    "a bolus of 2.6 mL for 26": ("conserver.bolus.2", "5 to 25 mL", boluses("2.6 mL", "38 mL")),
    "a bolus of 114 mL for 11.4": ("conserver.bolus.3", "5 to 25 mL", boluses("22.8 mL", "114 mL")),
    "the boluses of two settings exchanged": ("conserver.bolus.3", "a higher setting", boluses("38 mL", "26 mL")),
    "8 breaths for 26": (
        "prescription.exertion.breaths_per_minute",
        "12 to 40",
        boluses("26 mL", "38 mL") | {"prescription.exertion.breaths_per_minute": 8},
    ),
    "1.45 kg for 1.45 lb": (
        "portable[1].oxygen_mass",
        "beside its empty mass",
        portable(oxygen_mass="1.45 kg", empty_mass="4 lb", boil_off="18 g/h"),
    ),
    # 39 lb of oxygen in a tank of 51 lb: the scales show 90 lb
    "the mass of the full reservoir": (
        "reservoir[1].oxygen_mass",
        "beside its empty mass",
        {"reservoir[1].oxygen_mass": "90 lb"},
    ),
    "26 g a day for 26 g an hour": ("portable[1].boil_off", "25 to 150 %", {"portable[1].boil_off": "26 g/day"}),
    "2.6 g an hour for 26": ("portable[1].boil_off", "25 to 150 %", {"portable[1].boil_off": "2.6 g/h"}),
    "0.14 lb a day for 1.4": ("portable[1].boil_off", "25 to 150 %", {"portable[1].boil_off": "0.14 lb/day"}),
    "0.15 lb a day for 1.5": ("reservoir[1].boil_off", "0.5 to 5 %", {"reservoir[1].boil_off": "0.15 lb/day"}),
    "a portable of 1.5 L for 1.2": ("portable[1].liquid_volume", "0.25 to 1.3", {"portable[1].liquid_volume": "1.5 L"}),
    # factors of the trade: M 1.56, H 3.14 L/psi
    "the factor of an H for an M": (
        "cylinder[1].factor",
        "100 to 5500 L",
        FACTOR | {"cylinder[1].factor": "3.14 L/psi"},
    ),
    "ten times the content": ("cylinder[1].content", "100 to 5500 L", {"cylinder[1].content": "6230 L"}),
    "20 marks for 4": (
        "portable[1].gauge.divisions",
        "2 to 10",
        {"portable[1].gauge": {"kind": "float", "divisions": 20}},
    ),
    "10 psi between marks for 100": ("cylinder[1].gauge_division", "5 to 60", {"cylinder[1].gauge_division": "10 psi"}),
    "14 psi for 14 bar": ("cylinder[1].reserve", "below the first mark", {"cylinder[1].reserve": "14 psi"}),
    "20 psi for 200": ("cylinder[1].reserve", "below the first mark", {"cylinder[1].reserve": "20 psi"}),
    "2 bar for 14, a fine gauge": (
        "cylinder[1].reserve",
        "100 to 600 psi",
        BAR | {"cylinder[1].gauge_division": "5 bar", "cylinder[1].reserve": "6 bar"},
    ),
    "walking below rest": (
        "prescription.exertion.flow",
        "less than the 2 L/min at rest",
        {"prescription.exertion.flow": "1 L/min"},
    ),
    "walking on a lower setting": (
        "prescription.exertion.pulse_setting",
        "less than setting 2",
        PULSES | {"prescription.exertion.pulse_setting": "1", "conserver": {"bolus": {"1": "12 mL", "2": "24 mL"}}},
    ),
    "a mask at 1 L/min": (
        "prescription.sleep.flow",
        "2 to 15 L/min",
        {"prescription.interface": "mask", "prescription.sleep.flow": "1 L/min"},
    ),
    "a cannula at 12 L/min": (
        "prescription.exertion.flow",
        "up to 6 L/min",
        {
            "prescription.exertion.flow": "12 L/min",
            "reservoir[1].max_flow": "15 L/min",
            "portable[1].max_flow": "15 L/min",
        },
    ),
    "pulses into a mask": (
        "prescription.rest.pulse_setting",
        "at the nose",
        PULSE | {"prescription.interface": "mask"},
    ),
    "22 kPa for 22 psi": ("portable[1].working_pressure", "15 to 60 psi", {"portable[1].working_pressure": "22 kPa"}),
    "2.2 psi for 22": ("portable[1].working_pressure", "15 to 60 psi", {"portable[1].working_pressure": "2.2 psi"}),
    "no working pressure": ("portable[1].working_pressure", "15 to 60 psi", {"portable[1].working_pressure": "0 psi"}),
    # dates
    "a review in another century": (
        "prescription.review_date",
        "once a year",
        {"prescription.review_date": dt.date(2200, 5, 3)},
    ),
    "a review a year late": (
        "prescription.review_date",
        "once a year",
        {"prescription.review_date": dt.date(2027, 11, 4)},
    ),
    "a guide of years ago": (
        "issued",
        "more than a year",
        {"issued": dt.date(2025, 10, 31), "prescription.review_date": dt.date(2026, 11, 2)},
    ),
    "a guide of next year": (
        "issued",
        "more than a month after",
        {"issued": dt.date(2027, 1, 2)},
    ),
    "an order past its review date": (
        "expired",
        "a guide is not made from it",
        {"issued": dt.date(2026, 9, 1), "prescription.review_date": dt.date(2026, 11, 1)},
    ),
}


@pytest.mark.parametrize(("entry", "asked", "changes"), SLIPS.values(), ids=SLIPS)
def test_a_slip_is_asked_back_and_passes_once_it_is_confirmed(entry: str, asked: str, changes: dict[str, Any]) -> None:
    found = questions(changes)
    question = next(fault for fault in found if fault.confirm == entry)
    assert asked in question.problem
    assert f'confirmed = ["{entry}"]' in question.right
    assert question.ask
    assert [fault.confirm for fault in questions(changes, [entry])] == [
        fault.confirm for fault in found if fault.confirm != entry
    ]


USUAL_HOMES: dict[str, dict[str, Any]] = {
    # at the edges of what is usual, or of what is asked
    "the base": {},
    "half a litre": {"prescription.sleep.flow": "0.5 L/min"},
    "an entrainment mask": {"prescription.interface": "mask"},
    "a small portable": {
        "portable[1].liquid_volume": "0.3 L",
        "portable[1].empty_mass": "2.5 lb",
        "portable[1].boil_off": "12 g/h",
    },
    "a second figure for a cylinder": {"cylinder[1].factor": "0.28 L/psi"},
    "pulses": boluses("22.8 mL", "34 mL"),
    "a gauge in bar": BAR,
    "a review on the last day": {"prescription.review_date": dt.date(2027, 11, 3)},
    "on the day of the review": {"issued": dt.date(2026, 9, 1), "prescription.review_date": TODAY},
    "a guide of a year ago": {"issued": dt.date(2025, 11, 1), "prescription.review_date": TODAY},
    "made a month ahead": {"issued": dt.date(2026, 12, 3)},
}


@pytest.mark.parametrize("changes", USUAL_HOMES.values(), ids=USUAL_HOMES)
def test_what_is_usual_is_not_asked_back(changes: dict[str, Any]) -> None:
    assert questions(changes) == []


def test_every_range_has_its_source() -> None:
    assert all(usual.source and usual.least < usual.most for usual in USUAL.values())


@pytest.mark.parametrize("entry", ["prescription.rest.flow", "prescription.rest", "everything"])
def test_an_entry_that_confirms_nothing_is_refused(entry: str) -> None:
    (fault,) = questions({}, [entry])
    assert (fault.where, fault.read) == ("confirmed", repr(entry))


def test_while_something_is_wrong_no_entry_is_called_idle() -> None:
    # Whether the flow is unlikely cannot be seen while the order has a fault.
    wrong = {"prescription.rest.flow": "0.2 L/min", "prescription.rest.hours_per_day": "20 h"}
    assert [fault.where for fault in questions(wrong, ["prescription.rest.flow"])] == ["prescription"]


def test_a_review_far_ahead_that_was_confirmed_is_asked_about_again_when_it_has_passed() -> None:
    far = {"issued": dt.date(2026, 1, 2), "prescription.review_date": dt.date(2028, 5, 3)}
    assert not questions(far, ["prescription.review_date"])
    late = questions(far, ["prescription.review_date", "issued"], day=dt.date(2028, 5, 4))
    assert [fault.confirm for fault in late] == ["expired"]


def test_whoever_gives_no_day_is_not_asked_about_it() -> None:
    past = case_dict({"issued": dt.date(2021, 1, 1), "prescription.review_date": dt.date(2021, 6, 1)})
    assert isinstance(case_from_dict(past, "the test"), Case)


def test_two_slips_of_one_value_are_one_question() -> None:
    found = questions({"prescription.interface": "mask", "prescription.rest.flow": "0.1 L/min"})
    assert [fault.where for fault in found].count("prescription.rest.flow") == 1


@FEW
@given(valid_cases())
def test_a_case_that_was_accepted_is_not_asked_again(raw: dict[str, Any]) -> None:
    bare = {name: value for name, value in raw.items() if name != "confirmed"}
    assert plan(accepted_case(bare, "the test")) == plan(case_from_dict(raw, "the test"))


@pytest.mark.parametrize("changes", [changes for _, _, changes in SLIPS.values()], ids=SLIPS)
def test_a_code_of_an_unlikely_case_opens(changes: dict[str, Any]) -> None:
    case = a_case(changes)
    back = decode(encode(case, KEYS), KEYS)
    assert back.confirmed == []
    assert plan(back) == plan(case)
