"""Cases: what is right is read, what is wrong is told all at once, with the field, the right value and whom to ask."""

import contextlib
import datetime as dt
import json
import re
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.case import read_case
from companion.case.check import said_back
from companion.case.model import Case, json_schema
from companion.case.read import case_from_dict
from companion.case.toml_file import LARGEST_FILE
from companion.errors import CaseError, Fault
from tests.cases import BASE, LEFT_OUT, PULSE, a_case, case_dict, valid_cases
from tests.conftest import WriteCase, as_toml
from tests.few import FEW
from tests.tools import EXAMPLE_FILES


def faults_of(changes: dict[str, Any]) -> list[Fault]:
    """Return what is wrong with a changed base; nothing where it is right."""
    try:
        case_from_dict(case_dict(changes), "the test")
    except CaseError as error:
        return error.faults
    return []


# ── one fault each ──────────────────────────────────────────────────────────────────────────────


def liquid(kind: str, **fields: str) -> dict[str, Any]:
    """Return changes that give a container these contents and no other."""
    contents = dict.fromkeys(("oxygen_mass", "liquid_volume", "working_pressure"), LEFT_OUT)
    return {f"{kind}[1].{name}": value for name, value in (contents | fields).items()}


SLIPS: dict[str, tuple[str, str, dict[str, Any]]] = {
    # mass
    "kg for lb": ("reservoir[1].oxygen_mass", "largest home", liquid("reservoir", oxygen_mass="73 kg")),
    "full mass for oxygen": ("reservoir[1]", "full container", liquid("reservoir", oxygen_mass="124 lb")),
    "kg for lb, empty in lb": ("reservoir[1]", "kg where lb", liquid("reservoir", oxygen_mass="60 kg")),
    "full mass of a portable": ("portable[1]", "full container", liquid("portable", oxygen_mass="9 lb")),
    "lb for kg, volume given too": (
        "reservoir[1]",
        "one of them is wrong",
        liquid("reservoir", oxygen_mass="33 lb", liquid_volume="31 L", working_pressure="20 psi"),
    ),
    "L for kg": ("reservoir[1].oxygen_mass", "no unit of mass", liquid("reservoir", oxygen_mass="31 L")),
    "empty mass": ("reservoir[1].empty_mass", "150 kg", {"reservoir[1].empty_mass": "5100 lb"}),
    "no empty mass": ("reservoir[1].empty_mass", "missing", {"reservoir[1].empty_mass": LEFT_OUT}),
    # volume
    "litres of gas for litres of liquid": (
        "reservoir[1].liquid_volume",
        "60 L",
        liquid("reservoir", liquid_volume="24950 L", working_pressure="20 psi"),
    ),
    "a reservoir over 60 L": (
        "reservoir[1].liquid_volume",
        "60 L",
        liquid("reservoir", liquid_volume="60.001 L", working_pressure="20 psi"),
    ),
    "a portable over 1.5 L": ("portable[1]", "1.5 L", {"portable[1].liquid_volume": "1.501 L"}),
    "gas of a portable": ("portable[1].liquid_volume", "60 L", {"portable[1].liquid_volume": "990 L"}),
    "no pressure": ("portable[1]", "needs 'working_pressure'", {"portable[1].working_pressure": LEFT_OUT}),
    "no content": ("reservoir[1]", "content is missing", {"reservoir[1].oxygen_mass": LEFT_OUT}),
    "bar for psi": ("portable[1].working_pressure", "70 psi", {"portable[1].working_pressure": "20 bar"}),
    # boil-off
    "no boil-off": ("reservoir[1].boil_off", "missing", {"reservoir[1].boil_off": LEFT_OUT}),
    "kg a day for g an hour": ("portable[1].boil_off", "3 kg/day", {"portable[1].boil_off": "26 kg/day"}),
    "boil-off of another container": (
        "portable[1]",
        "does not fit",
        {"portable[1].boil_off": "2.9 kg/day", "portable[1].liquid_volume": "0.5 L"},
    ),
    "boil-off too small": ("reservoir[1]", "does not fit", {"reservoir[1].boil_off": "1 g/h"}),
    "boil-off by no time": ("reservoir[1].boil_off", "no unit of mass loss", {"reservoir[1].boil_off": "1 lb"}),
    # cylinder
    "bar for psi, full": ("cylinder[1].full_pressure", "4,400 psi", {"cylinder[1].full_pressure": "2000 bar"}),
    "psi for bar, full": ("cylinder[1].full_pressure", "500 to", {"cylinder[1].full_pressure": "137 psi"}),
    "no full pressure": ("cylinder[1].full_pressure", "missing", {"cylinder[1].full_pressure": LEFT_OUT}),
    "bar for psi, reserve": ("cylinder[1].reserve", "1,500 psi", {"cylinder[1].reserve": "200 bar"}),
    "psi for bar, reserve": (
        "cylinder[1].reserve",
        "'full_pressure' is in bar",
        {"cylinder[1].full_pressure": "138 bar", "cylinder[1].gauge_division": "10 bar"},
    ),
    "psi for bar, marks": (
        "cylinder[1].gauge_division",
        "read in one unit",
        {"cylinder[1].full_pressure": "138 bar", "cylinder[1].reserve": "14 bar"},
    ),
    "to the last of it": ("cylinder[1].reserve", "at 0 the cylinder is empty", {"cylinder[1].reserve": "0 psi"}),
    "reserve of half": ("cylinder[1]", "half", {"cylinder[1].reserve": "1100 psi"}),
    "no reserve": ("cylinder[1].reserve", "missing", {"cylinder[1].reserve": LEFT_OUT}),
    "water volume for content": ("cylinder[1].content", "litres of liquid", {"cylinder[1].content": "4.7 L"}),
    "a content under 50 L": ("cylinder[1].content", "50 to", {"cylinder[1].content": "49 L"}),
    "factor by bar": (
        "cylinder[1].factor",
        "0.02 and 4",
        {"cylinder[1].content": LEFT_OUT, "cylinder[1].factor": "0.28 L/bar"},
    ),
    # 623 L at 2,200 psi is a US size E of 0.28 L/psi; 3.14 is the factor of an H
    "factor of another size": ("cylinder[1]", "one of them is wrong", {"cylinder[1].factor": "3.14 L/psi"}),
    "twice the water volume": ("cylinder[1]", "one of them is wrong", {"cylinder[1].water_volume": "9.36 L"}),
    "cylinder without content": ("cylinder[1]", "content is missing", {"cylinder[1].content": LEFT_OUT}),
    "a size by letter": ("cylinder[1].size", "no such field", {"cylinder[1].size": "E"}),
    "no cylinder": ("cylinder[1].count", "too small", {"cylinder[1].count": 0}),
    "part of a cylinder": ("cylinder[1].count", "whole number", {"cylinder[1].count": 1.5}),
    # flow
    "over limit": ("reservoir[1].max_flow", "7 L/min ordered for rest", {"prescription.rest.flow": "7 L/min"}),
    "no home flow": ("prescription.rest.flow", "60 L/min", {"prescription.rest.flow": "200 L/min"}),
    "no flow": ("prescription.rest.flow", "0.05", {"prescription.rest.flow": "0 L/min"}),
    "flow without a number": ("prescription.rest.flow", "followed by a unit", {"prescription.rest.flow": "L/min"}),
    "nothing ordered": ("prescription.rest", "neither a flow", {"prescription.rest.flow": LEFT_OUT}),
    # pulses
    "pulses from nothing": (
        "prescription.rest.pulse_setting",
        "no portable or cylinder has a conserver",
        {"prescription.rest.pulse_setting": "2", "prescription.rest.breaths_per_minute": 20},
    ),
    "pulses without data": ("conserver.bolus.2", "not a flow", PULSE | {"conserver": LEFT_OUT}),
    "other setting": ("conserver.bolus.2", "not a flow", PULSE | {"conserver": {"bolus": {"3": "30 mL"}}}),
    "pulses without breaths": (
        "prescription.rest",
        "breaths per minute",
        PULSE | {"prescription.rest.breaths_per_minute": LEFT_OUT},
    ),
    "too few breaths": (
        "prescription.rest.breaths_per_minute",
        "too small",
        PULSE | {"prescription.rest.breaths_per_minute": 7},
    ),
    "a setting with a unit": (
        "prescription.rest.pulse_setting",
        "not written",
        PULSE | {"prescription.rest.pulse_setting": "2 L/min"},
    ),
    "a setting as a number": (
        "prescription.rest.pulse_setting",
        "not text in quotes",
        PULSE | {"prescription.rest.pulse_setting": 2},
    ),
    "pulses alone, and no steady flow for when they fail": (
        "prescription.rest.flow",
        "a conserver can fail on the way",
        PULSE | {"prescription.rest.flow": LEFT_OUT},
    ),
    "pulses alone on a cylinder": (
        "prescription.exertion.flow",
        "only pulses are ordered for exertion",
        {
            "cylinder[1].conserver": True,
            "conserver": {"bolus": {"3": "38 mL"}},
            "prescription.exertion.flow": LEFT_OUT,
            "prescription.exertion.pulse_setting": "3",
            "prescription.exertion.breaths_per_minute": 26,
        },
    ),
    "bolus": ("conserver.bolus.2", "no unit of dose", PULSE | {"conserver": {"bolus": {"2": "2 L/min"}}}),
    "no bolus at all": ("conserver.bolus", "fewer", PULSE | {"conserver": {"bolus": {}}}),
    # the day
    "a day of 23 h": ("prescription", "make 23 h", {"prescription.rest.hours_per_day": "12 h"}),
    "a day of 25 h": ("prescription", "make 25 h", {"prescription.hours_off_oxygen": "1 h"}),
    "25 h": ("prescription.rest.hours_per_day", "24 hours", {"prescription.rest.hours_per_day": "25 h"}),
    "hours off": ("prescription.hours_off_oxygen", "missing", {"prescription.hours_off_oxygen": LEFT_OUT}),
    "portable hours": ("prescription.rest", "longer than", {"prescription.rest.on_portable": "14 h"}),
    "hours on a portable that is not there": (
        "prescription.rest.on_portable",
        "no portable",
        {"portable": LEFT_OUT, "prescription.rest.on_portable": "1 h"},
    ),
    # fit
    "couplings": ("portable[1].coupling", "never be forced", {"portable[1].coupling": "side fill"}),
    # dates
    "review": ("prescription.review_date", "not after", {"prescription.review_date": dt.date(2026, 11, 2)}),
    "no review date": ("prescription.review_date", "missing", {"prescription.review_date": LEFT_OUT}),
    "a date that no calendar has": ("issued", "not a date", {"issued": "11/31/2026"}),
    "a date without a year": ("issued", "not a date", {"issued": "11/30"}),
    "a date that two months begin with": ("issued", "not a date", {"issued": "1 Ma 2026"}),
    "a date in two orders": (
        "issued",
        "it may mean 11 February 2026 or 2 November 2026",
        {"clinic.region": "CA", "issued": "02/11/2026"},
    ),
    "a date of another century": ("issued", "too small", {"issued": dt.date(1926, 11, 2)}),
    "a date as a number": ("issued", "a number, not a date", {"issued": 20261102}),
    "a date as a number with a point": ("prescription.review_date", "a number", {"prescription.review_date": 2027.5}),
    "yes for a date": ("issued", "not a date", {"issued": True}),
    "a date and time": ("issued", "time of day", {"issued": dt.datetime(2026, 11, 2, 9, 30)}),
    # prescription
    "saturation upside down": (
        "prescription.target_saturation",
        "less than",
        {"prescription.target_saturation": {"low": 92, "high": 88}},
    ),
    "saturation over 100": (
        "prescription.target_saturation.high",
        "too large",
        {"prescription.target_saturation": {"low": 88, "high": 920}},
    ),
    "interface": ("prescription.interface", "not one of the words", {"prescription.interface": "tent"}),
    "humidifier": ("prescription.humidifier", "neither true nor false", {"prescription.humidifier": "perhaps"}),
    # types
    "no for a number of days": ("clinic.delivery.lead_days", "whole number", {"clinic.delivery.lead_days": False}),
    "no for the safety days": ("clinic.policy.safety_days", "whole number", {"clinic.policy": {"safety_days": False}}),
    "yes for a count": ("cylinder[1].count", "whole number", {"cylinder[1].count": True}),
    "a count as text": ("cylinder[1].count", "whole number", {"cylinder[1].count": "2"}),
    "nought for no": ("prescription.humidifier", "neither true nor false", {"prescription.humidifier": 0}),
    "no as text": ("prescription.humidifier", "neither true nor false", {"prescription.humidifier": "no"}),
    "yes as text": ("reservoir[1].economiser", "neither true nor false", {"reservoir[1].economiser": "true"}),
    "yes for a margin": (
        "clinic.policy.flow_tolerance_percent",
        "not a number",
        {"clinic.policy": {"flow_tolerance_percent": True}},
    ),
    # the file
    "unknown part": ("oxygen", "no such field", {"oxygen": "yes"}),
    "unknown field": ("reservoir[1].boiloff", "no such field", {"reservoir[1].boiloff": "1 lb/day"}),
    "single brackets": ("reservoir", "double brackets", {"reservoir": {"oxygen_mass": "73 lb"}}),
    "no reservoir": ("reservoir", "at least 1", {"reservoir": []}),
    "five reservoirs": ("reservoir", "at most 4", {"reservoir": BASE["reservoir"] * 5}),
    "five portables": ("portable", "at most 4", {"portable": BASE["portable"] * 5}),
    "reservoir left out": ("reservoir", "missing", {"reservoir": LEFT_OUT}),
    "a word for a reservoir": ("reservoir[1]", "not a table", {"reservoir": ["big"]}),
    "a word for a clinic": ("clinic", "not a table", {"clinic": "ours"}),
    "no such region": ("clinic", "'region' is 'XX'", {"clinic.region": "XX"}),
    "a phone number in words": ("clinic.phone_day", "not written", {"clinic.phone_day": "call us"}),
    "a sentence too long": ("clinic.paper.sentence", "too long", {"clinic.paper": {"sentence": "x" * 201}}),
    "a sentence of two lines": ("clinic.paper.sentence", "cannot be seen", {"clinic.paper": {"sentence": "a\nb"}}),
    "a sign of no font": ("clinic.paper.sentence", "cannot be printed", {"clinic.paper": {"sentence": "a\u16a0"}}),
    "no binding": ("clinic.paper.binding", "not one of the words", {"clinic.paper": {"binding": "spiral"}}),
    "no web address": ("clinic.link_base", "not written", {"clinic.link_base": "javascript:alert(1)"}),
    "a margin that lengthens": (
        "clinic.policy.flow_tolerance_percent",
        "too small",
        {"clinic.policy": {"flow_tolerance_percent": -10}},
    ),
    "a margin that is no number": (
        "clinic.policy.flow_tolerance_percent",
        "not a number",
        {"clinic.policy": {"flow_tolerance_percent": float("nan")}},
    ),
    "an endless margin": (
        "clinic.policy.reading_error_divisions",
        "not a number",
        {"clinic.policy": {"reading_error_divisions": float("inf")}},
    ),
    # first aid
    "water that scalds": (
        # DOE-HDBK-1015 gives 40 to 46 °C, laboratories at most 40 or 41 °C
        "clinic.policy.frostbite_water.high",
        "scalds",
        {"clinic.policy": {"frostbite_water": {"low": "40 °C", "high": "46 °C"}}},
    ),
    "water colder than any source": (
        # Wilderness Medical Society: 37 to 39 °C
        "clinic.policy.frostbite_water.low",
        "37 to 42 °C",
        {"clinic.policy": {"frostbite_water": {"low": "30 °C", "high": "39 °C"}}},
    ),
    "°C for °F": (
        "clinic.policy.frostbite_water.high",
        "107.6 °F",
        {"clinic.policy": {"frostbite_water": {"low": "37 °C", "high": "102 °C"}}},
    ),
    "water without a unit": (
        "clinic.policy.frostbite_water.low",
        "in no usual unit it fits: it may mean 36 °C or 36 °F",
        {"clinic.policy": {"frostbite_water": {"low": 36, "high": "39 °C"}}},
    ),
    "half of a range": (
        "clinic.policy.frostbite_water.low",
        "missing",
        {"clinic.policy": {"frostbite_water": {"high": "39 °C"}}},
    ),
    "water upside down": (
        "clinic.policy.frostbite_water",
        "above 'low'",
        {"clinic.policy": {"frostbite_water": {"low": "39 °C", "high": "37 °C"}}},
    ),
    "water to the degree": (
        "clinic.policy.frostbite_water",
        "1.5 °C",
        {"clinic.policy": {"frostbite_water": {"low": "38 °C", "high": "39.4 °C"}}},
    ),
    "airing shorter than any source": (
        # Alabama Department of Insurance: 10 minutes
        "clinic.policy.airing_time",
        "10 to 60 minutes",
        {"clinic.policy": {"airing_time": "9.9 min"}},
    ),
    "hours for minutes of airing": (
        "clinic.policy.airing_time",
        "10 to 60 minutes",
        {"clinic.policy": {"airing_time": "30 h"}},
    ),
    "a splash aired too short": (
        # training text that matches DOE-HDBK-1015 ch. 5: at least 1 hour
        "clinic.policy.splash_airing_time",
        "1 hour or more",
        {"clinic.policy": {"splash_airing_time": "59 min"}},
    ),
    "days for hours of airing": (
        "clinic.policy.splash_airing_time",
        "1 to 24 h",
        {"clinic.policy": {"splash_airing_time": "2 days"}},
    ),
    "a fire service in words": (
        "clinic.policy.fire_number",
        "not written",
        {"clinic.policy": {"fire_number": "the fire brigade"}},
    ),
    "a gauge without marks": (
        "portable[1].gauge.divisions",
        "too small",
        {"portable[1].gauge": {"kind": "hanging", "divisions": 0}},
    ),
    "a clinic without a name": ("clinic.name", "empty", {"clinic.name": ""}),
    "a name too long": ("clinic.name", "too long", {"clinic.name": "x" * 81}),
}
"""What a hand slips into: the field that is named, a part of what is said of it, the changes to the base."""


@pytest.mark.parametrize(("where", "problem", "changes"), SLIPS.values(), ids=SLIPS)
def test_refuses(where: str, problem: str, changes: dict[str, Any]) -> None:
    faults = faults_of(changes)
    found = [fault for fault in faults if fault.where == where]
    assert found, faults
    assert problem in found[0].problem
    assert all((fault.read, fault.right, fault.ask) for fault in faults)


def test_the_base_is_right() -> None:
    assert faults_of({}) == []
    assert faults_of(PULSE) == []


# ── slips that only the sum of the parts gives away ─────────────────────────────────────────────


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param(
            # 0.4 L of oxygen (0.44 kg) in a portable of 1.15 kg, and the scales' 1.6 kg typed for the oxygen
            liquid("portable", oxygen_mass="1.6 kg") | {"portable[1].empty_mass": "1.15 kg"},
            id="portable",
        ),
        pytest.param(
            # 20 L of oxygen (22 kg) in a reservoir of 23 kg, and the scales' 45 kg typed for the oxygen
            liquid("reservoir", oxygen_mass="45 kg") | {"reservoir[1].empty_mass": "23 kg"},
            id="small reservoir",
        ),
    ],
)
def test_a_full_mass_of_less_than_twice_the_empty_mass(changes: dict[str, Any]) -> None:
    assert faults_of(changes)


# ── the edges ───────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    "changes",
    [
        {"portable[1].liquid_volume": "1.5 L"},
        liquid("reservoir", liquid_volume="60 L", working_pressure="20 psi") | {"reservoir[1].empty_mass": "90 lb"},
        {"prescription.rest.flow": "6 L/min"},
        {"prescription.rest.flow": "0.05 L/min"},
        {"prescription.rest.flow": "50 mL/min"},
        {"prescription.review_date": dt.date(2026, 11, 3)},
        {"cylinder[1].reserve": "1 psi"},
        {"cylinder[1].factor": "0.28 L/psi", "cylinder[1].water_volume": "4.1 L"},
        {
            "cylinder[1].full_pressure": "303 bar",
            "cylinder[1].reserve": "14 bar",
            "cylinder[1].gauge_division": "5 bar",
        },
        {"prescription.rest.on_portable": "13 h"},
        {"portable[1].coupling": " Top Fill "},  # as it may be typed
        {"portable": LEFT_OUT, "cylinder": LEFT_OUT},
        {"issued": "2026-11-02"},  # a form gives dates as text
        {"clinic.policy": {"reading_error_divisions": "0.5", "flow_tolerance_percent": "12.5"}},
        # the bounds themselves, in both scales
        {"clinic.policy": {"frostbite_water": {"low": "37 °C", "high": "42 °C"}}},
        {"clinic.policy": {"frostbite_water": {"low": "98.6 °F", "high": "107.6 °F"}}},
        {"clinic.policy": {"frostbite_water": {"low": "99 °F", "high": "101.7 °F"}}},
        {"clinic.policy": {"airing_time": "10 min", "splash_airing_time": "60 min"}},
        {"clinic.policy": {"airing_time": "1 h", "splash_airing_time": "24 h"}},
    ],
)
def test_accepts(changes: dict[str, Any]) -> None:
    assert a_case(changes)


# ── everything at once ──────────────────────────────────────────────────────────────────────────

MANY: dict[str, Any] = {
    "prescription.rest.flow": "2.5 kg",
    "prescription.sleep.hours_per_day": "8 kg",
    "reservoir[1].oxygen_mass": "73 kg",
    "portable[1].liquid_volume": "990 L",
    "portable[1].boil_off": LEFT_OUT,
    "cylinder[1].full_pressure": "137 psi",
    "clinic.phone_day": "the desk",
    "clinic.policy": {"flow_tolerance_percent": 200},
    "issued": "tomorrow",
    "colour": "blue",
}


def test_all_faults_are_told_at_once() -> None:
    assert {fault.where for fault in faults_of(MANY)} == {
        "prescription.rest.flow",
        "prescription.sleep.hours_per_day",
        "reservoir[1].oxygen_mass",
        "portable[1].liquid_volume",
        "portable[1].boil_off",
        "cylinder[1].full_pressure",
        "clinic.phone_day",
        "clinic.policy.flow_tolerance_percent",
        "issued",
        "colour",
    }


def test_a_message_has_field_read_right_and_whom_to_ask() -> None:
    with pytest.raises(CaseError) as told:
        a_case({"portable[1].boil_off": "26 kg/day"})
    assert str(told.value) == (
        "the test: 1 thing is wrong or missing. Nothing was made.\n"
        "portable[1].boil_off: boil-off of a home container lies between 0.01 and 3 kg/day\n"
        "    read:  '26 kg/day'\n"
        "    right: what evaporates a day while it stands unused, such as '1.5 lb/day'\n"
        "    ask:   the equipment supplier (it stands on the container's data sheet)"
    )


@pytest.mark.parametrize(
    "changes",
    [
        liquid("reservoir", oxygen_mass="0 kg"),
        liquid("portable", liquid_volume="0 L", working_pressure="20 psi"),
    ],
)
def test_too_little_is_not_called_too_much(changes: dict[str, Any]) -> None:
    (fault,) = faults_of(changes)
    assert "more oxygen than" not in fault.problem
    assert "at most" not in fault.problem or "0.05" in fault.problem


def test_what_was_read_is_shown_as_it_was_typed() -> None:
    (fault,) = faults_of({"issued": dt.date(1926, 11, 2)})
    assert fault.read == "1926-11-02"


def test_parts_that_are_right_are_held_against_each_other_while_others_are_wrong() -> None:
    changes = {"portable[1].coupling": "side fill", "prescription.rest.flow": "7 L/min", "clinic.name": ""}
    assert {fault.where for fault in faults_of(changes) if not fault.confirm} == {
        "portable[1].coupling",
        "reservoir[1].max_flow",
        "portable[1].max_flow",
        "clinic.name",
    }


def test_the_second_of_two_portables_is_named() -> None:
    second = case_dict()["portable"][0] | {"liquid_volume": "3 L"}
    changes = {"portable": [case_dict()["portable"][0], second]}
    assert [fault.where for fault in faults_of(changes)] == ["portable[2]"]


def test_a_bolus_that_cannot_be_read_is_told_once() -> None:
    faults = faults_of(PULSE | {"conserver": {"bolus": {"2": "mL"}}})
    assert [fault.problem for fault in faults] == ["not a number followed by a unit"]


# ── text ────────────────────────────────────────────────────────────────────────────────────────

HIDDEN = [
    *("\x00", "\x1b", "\x7f", "\u200b", "\u2028", "\u202a", "\u202e", "\u2066", "\u2069", "\ufeff", "\ufffe"),
    *(character for character in ("\n", "\t", "\x85", "\xad", "\u061c", "\u200e", "\u200f", "\U000e0041")),
]


@pytest.mark.parametrize("character", HIDDEN, ids=lambda character: f"U+{ord(character):04X}")
@pytest.mark.parametrize("where", ["patient.name", "clinic.name"])
def test_characters_that_cannot_be_seen_are_refused(where: str, character: str) -> None:
    # Line ends, controls, and marks that turn the direction of a line (UAX #9) or hide in it
    faults = faults_of({where: f"Harbour{character}Lane"})
    assert [fault.where for fault in faults] == [where]
    assert "cannot be seen" in faults[0].problem


@pytest.mark.parametrize(
    "changes",
    [
        {"portable[1]": case_dict()["portable"][0] | {"\x1b[2J": 1}},
        {"clinic.policy": {"\u202egnissim": 1}},
    ],
)
def test_a_message_cannot_steer_a_terminal(changes: dict[str, Any]) -> None:
    told = "".join(map(str, faults_of(changes)))
    assert "\x1b" not in told
    assert "\u202e" not in told


@pytest.mark.parametrize(
    "name",
    ["Rosa Lindqvist", "Ngọc Ánh", "ロサ", "رُوزا", "रोज़ा", "می‌خواهم", "O'Brien-Łęcki", "<b>&\"'{{ x }}", "👩‍🦰"],
)
def test_names_of_people_are_accepted(name: str) -> None:
    assert a_case({"patient.name": name}).patient.name == name


@pytest.mark.parametrize("where", ["clinic.name", "reservoir[1].coupling", "patient.name"])
def test_spaces_are_no_name(where: str) -> None:
    assert where in {fault.where for fault in faults_of({where: "   "})}


# ── files ───────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("path", EXAMPLE_FILES, ids=lambda path: path.stem)
def test_examples_are_right(path: Path) -> None:
    assert isinstance(read_case(path), Case)


def test_there_are_examples() -> None:
    assert EXAMPLE_FILES


def test_a_file_gives_what_plain_values_give(write_case: WriteCase) -> None:
    assert read_case(write_case()) == a_case()


@pytest.mark.parametrize(
    ("content", "told"),
    [
        pytest.param(b"", "4 things are wrong or missing", id="empty"),
        pytest.param(b"x" * (LARGEST_FILE + 1), "too large", id="huge"),
        pytest.param("issued = 2026-11-02 # für Rosa".encode("latin-1"), "not UTF-8", id="Latin-1"),
        pytest.param("issued = 2026-11-02".encode("utf-16"), "not UTF-8", id="UTF-16"),
        pytest.param(b"\x89PNG\r\n\x1a\n", "not UTF-8", id="a picture"),
        pytest.param(b"PK\x03\x04\x00\x00", "no TOML", id="a zip"),
        pytest.param(b'{"issued": "2026-11-02"}', "no TOML", id="JSON"),
        pytest.param(b"issued = 02.11.2026", "no TOML", id="no date of TOML"),
        pytest.param(b"issued = 2026-02-30", "no TOML", id="a day that is not there"),
        pytest.param(b"issued = 2026-11-02\nissued = 2026-11-03", "stands there twice", id="a field twice"),
        pytest.param(b"[clinic]\n[clinic]", "stands there twice", id="a table twice"),
        pytest.param(b"a = " + b"[" * 100_000, "no case file", id="nested too deep"),
        pytest.param(b"issued = " + b"1" * 5000, "more than 4,300 digits", id="a number without end"),
    ],
)
def test_files_that_are_no_case(tmp_path: Path, content: bytes, told: str) -> None:
    path = tmp_path / "case.toml"
    path.write_bytes(content)
    with pytest.raises(CaseError, match=re.escape(told)) as error:
        read_case(path)
    assert str(path) in str(error.value)


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    path.write_bytes(as_toml(case_dict()).encode("utf-8-sig"))
    assert read_case(path) == a_case()


def test_lines_may_end_as_on_windows(write_case: WriteCase) -> None:
    path = write_case()
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert read_case(path) == a_case()


def test_no_file_and_a_folder(tmp_path: Path) -> None:
    for path in (tmp_path / "none.toml", tmp_path):
        with pytest.raises(CaseError, match="cannot be read"):
            read_case(path)


plain = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=20), st.dates()),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=10), inner, max_size=3)),
    max_leaves=6,
)


@given(st.data())
def test_any_value_anywhere_is_read_or_refused(data: st.DataObject) -> None:
    raw = case_dict(PULSE)
    part: Any = raw
    while True:
        steps = list(part) if isinstance(part, dict) else list(range(len(part)))
        step = data.draw(st.sampled_from(steps))
        if not isinstance(part[step], (dict, list)) or data.draw(st.booleans()):
            break
        part = part[step]
    part[step] = data.draw(plain)
    with contextlib.suppress(CaseError):
        case_from_dict(raw, "the test")


# ── JSON Schema ─────────────────────────────────────────────────────────────────────────────────

SCHEMA = jsonschema.Draft202012Validator(json_schema(), format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER)


def as_json(raw: Any) -> Any:
    """Return a case as JSON holds it: dates as text."""
    return json.loads(json.dumps(raw, default=dt.date.isoformat))


def test_the_schema_is_one() -> None:
    jsonschema.Draft202012Validator.check_schema(json_schema())


@pytest.mark.parametrize("path", EXAMPLE_FILES, ids=lambda path: path.stem)
def test_the_schema_accepts_the_examples(path: Path) -> None:
    SCHEMA.validate(as_json(tomllib.loads(path.read_text(encoding="utf-8"))))


@FEW
@given(valid_cases())
def test_the_schema_accepts_what_the_model_accepts(raw: dict[str, Any]) -> None:
    SCHEMA.validate(as_json(raw))


@pytest.mark.parametrize(
    "changes",
    [
        {"prescription.rest.flow": "L/min"},
        {"prescription.rest.flow": True},
        {"reservoir[1].boil_off": "1.6"},
        {"reservoir": []},
        {"reservoir": LEFT_OUT},
        {"reservoir[1].boil_off": LEFT_OUT},
        {"reservoir[1].colour": "blue"},
        {"issued": "tomorrow"},
        {"portable[1].gauge": {"kind": "hanging", "divisions": 1}},
        {"clinic.link_base": "javascript:alert(1)"},
    ],
)
def test_the_schema_refuses(changes: dict[str, Any]) -> None:
    assert not SCHEMA.is_valid(as_json(case_dict(changes)))


def test_the_schema_tells_units_and_whom_to_ask() -> None:
    boil_off = json_schema()["$defs"]["Portable"]["properties"]["boil_off"]
    assert "lb/day" in boil_off["description"]
    assert "supplier" in boil_off["x-ask"]


def test_every_field_says_what_is_right_and_whom_to_ask() -> None:
    schema = json_schema()
    for part in [schema, *schema["$defs"].values()]:
        for name, field in part.get("properties", {}).items():
            assert field["description"], name
            assert field["x-ask"], name
            assert field["examples"], name


# ── written as people write ─────────────────────────────────────────────────────────────────────

WRITTEN = [
    # field, what is typed, what it means
    ("prescription.rest.flow", "2", "2 L/min"),
    ("prescription.rest.flow", 2, "2 L/min"),
    ("prescription.rest.flow", "2 lpm", "2 L/min"),
    ("prescription.rest.flow", "2 L", "2 L/min"),  # "on 2 liters"
    ("prescription.rest.flow", "2 liters", "2 L/min"),
    ("prescription.rest.hours_per_day", "13", "13 h"),
    ("prescription.hours_off_oxygen", "0", "0 h"),
    ("reservoir[1].working_pressure", "20", "20 psi"),  # 20 bar is no home container
    ("reservoir[1].boil_off", "1 lb per day", "1 lb/day"),
    ("cylinder[1].full_pressure", "2,200 psi", "2200 psi"),
    ("cylinder[1].full_pressure", "2200", "2200 psi"),  # 2,200 bar is no cylinder
    ("cylinder[1].content", "22 cu ft", "22 ft³"),
    ("clinic.region", "USA", "US"),
    ("clinic.region", "United States", "US"),
    ("clinic.region", "us", "US"),
    ("issued", "11/2/2026", "2026-11-02"),
    ("issued", "11/2/26", "2026-11-02"),
    ("issued", "2 Nov 2026", "2026-11-02"),
    ("issued", "November 2, 2026", "2026-11-02"),
    ("issued", "2.11.2026", "2026-11-02"),  # with points, the day comes first everywhere
]


@pytest.mark.parametrize(("path", "typed", "meant_as"), WRITTEN, ids=[f"{row[0]} {row[1]}" for row in WRITTEN])
def test_it_is_written_as_people_write(path: str, typed: object, meant_as: str) -> None:
    raw = case_dict({path: typed})
    assert case_from_dict(raw, "as written") == case_from_dict(case_dict({path: meant_as}), "as we write it")
    assert (path, str(typed), meant_as) in list(said_back(Case, raw, "US"))


@pytest.mark.parametrize(
    ("region", "day"), [("US", dt.date(2027, 2, 3)), ("GB", dt.date(2027, 3, 2)), ("DE", dt.date(2027, 3, 2))]
)
def test_a_date_has_the_order_of_its_region(region: str, day: dt.date) -> None:
    case = a_case({"clinic.region": region, "prescription.review_date": "02/03/2027"})
    assert case.prescription.review_date == day


ASKED_BACK = [
    # what a number alone may mean in this field, and it is not read
    ("reservoir[1].empty_mass", "51", "a number needs its unit"),  # lb or kg
    ("reservoir[1].boil_off", "1", "a number needs its unit"),  # lb, kg, g; a day, an hour
    ("reservoir[1].working_pressure", "1.5", "it may mean 1.5 psi or 1.5 bar"),
    ("cylinder[1].content", "623", "a number needs its unit"),  # the water volume is a number of litres as well
    ("cylinder[1].reserve", "14", "it may mean 14 psi or 14 bar"),
    ("clinic.altitude", "1,500 m", "it may mean 1500 m or 1.500 m"),
    ("prescription.rest.hours_per_day", "13:00", "no unit of time"),
    ("prescription.rest.hours_per_day", "12-13", "a range; write the one number"),
]


@pytest.mark.parametrize(("path", "typed", "told"), ASKED_BACK, ids=[row[0] for row in ASKED_BACK])
def test_what_may_mean_two_things_is_asked(path: str, typed: str, told: str) -> None:
    assert [told in fault.problem for fault in faults_of({path: typed})] == [True]


def test_what_a_container_lacks_as_a_whole_is_told_with_what_is_wrong_in_it() -> None:
    faults = faults_of(
        {
            "reservoir[1].oxygen_mass": LEFT_OUT,
            "reservoir[1].boil_off": LEFT_OUT,
            "cylinder[1].content": LEFT_OUT,
            "cylinder[1].reserve": LEFT_OUT,
            "prescription.rest": {"pulse_setting": "2"},
        }
    )
    assert {(fault.where, fault.absent) for fault in faults} == {
        ("reservoir[1].boil_off", True),
        ("reservoir[1]", True),
        ("cylinder[1].reserve", True),
        ("cylinder[1]", True),
        ("prescription.rest.hours_per_day", True),
        ("prescription.rest", True),
    }
