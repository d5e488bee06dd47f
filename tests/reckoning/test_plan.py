"""The plan: its notices, and its JSON."""

import datetime as dt
import json
from typing import Any, get_args

import pytest

from companion.export.json import as_json
from companion.reckoning.notices import NoticeCode
from companion.reckoning.plan import plan
from tests.cases import LEFT_OUT, PERSONAL, PULSE, QUIET, a_case


def codes(changes: dict[str, Any]) -> list[str]:
    """Return the notices of a changed base."""
    return [notice.code for notice in plan(a_case(QUIET | changes)).notices]


def test_nothing_to_tell() -> None:
    assert codes({}) == []


LONG_WAIT: dict[str, Any] = {"lead_days": 5, "closed_days": 5}
EVERY_SECOND_MONDAY: dict[str, Any] = {
    "lead_days": 1,
    "closed_days": 2,
    "round": {"weekdays": ["monday"], "every_weeks": 2, "starts": dt.date(2026, 11, 2)},
}
COARSE = {"reading_error_divisions": 2, "safety_days": 0}
WIDE = {"reservoir[1].max_flow": "60 L/min", "portable[1].max_flow": "60 L/min", "cylinder[1].max_flow": "60 L/min"}
PULSES_AT_60 = PULSE | WIDE | {"prescription.rest.flow": "60 L/min"}

NOTICES: list[tuple[str, dict[str, Any]]] = [
    # ATS 2020: at least 15 h a day
    ("few hours", {"prescription.hours_off_oxygen": "9.5 h", "prescription.rest.hours_per_day": "3.5 h"}),
    ("no economiser", {"reservoir[1].economiser": LEFT_OUT}),
    ("no economiser", {"portable[1].economiser": False}),
    ("no call mark", {"clinic.delivery": LONG_WAIT}),
    ("no call mark on a round", {"clinic.delivery": LONG_WAIT | {"round": {"weekdays": ["thursday"]}}}),
    ("round too long", {"clinic.delivery": EVERY_SECOND_MONDAY}),
    ("larger reservoir", {"clinic.delivery": {"lead_days": 1, "closed_days": 3}, "clinic.policy": {"safety_days": 1}}),
    ("shorter wait", {"clinic.delivery": LONG_WAIT}),
    ("a round instead", {"clinic.delivery": LONG_WAIT}),
    ("no backup", {"cylinder": []}),
    ("no margin", {"clinic.policy": {"safety_days": 0}}),
    ("no margin", {"clinic.policy": {"safety_days": 1, "portable_reserve": "0 min"}}),
    ("backup short", {"cylinder[1].content": "623 L"}),
    ("portable useless", {"clinic.policy": {"portable_reserve": "4 h"}, "portable[1].liquid_volume": "0.5 L"}),
    (
        "cylinder useless",
        {"cylinder[1].gauge_division": "1000 psi", "cylinder[1].reserve": "1000 psi", "clinic.policy": COARSE},
    ),
    # 60 L/min empties a full portable of 1.2 L within its reserve of half an hour
    ("no steady time", PULSES_AT_60),
    ("fills short", {"prescription.rest.on_portable": "8 h"}),
    # 3 h at 3 L/min are 0.74 of a fill; what boils off in the other 13 h of a day of 16 h is another third of it
    ("pauses short", {"prescription.exertion.on_portable": "3 h", "prescription.exertion.flow": "3 L/min"}),
    # 8 h asleep on a portable that lasts 6, and two fills a day: enough in sum, not in one stretch
    ("night on portable", {"prescription.sleep.on_portable": "8 h", "portable[1].cold_fills_per_day": 3}),
    ("night on cylinder", {"cylinder[1].content": "623 L", "cylinder[1].count": 20}),
    ("no working pressure", {"reservoir[1].working_pressure": LEFT_OUT}),
    ("high flow", {"prescription.exertion.flow": "6.5 L/min", **WIDE}),
    ("high flow", {"clinic.policy": {"icing_flow": "1.5 L/min", "safety_days": 0}}),
    ("altitude", {"clinic.altitude": "5280 ft"}),
    ("fills short", {"prescription.rest.on_portable": "1 h", "portable[1].cold_fills_per_day": 0}),
    ("no emergency number", {"clinic.region": "PK"}),
    ("no emergency number", {"clinic.region": "PK", "clinic.policy": {"fire_number": "16"}}),
    ("no fire number", {"clinic.region": "PK", "clinic.policy": {"emergency_number": "1122"}}),
    ("closed days short", {"clinic.delivery": {"lead_days": 1, "closed_days": 0}}),
    ("delivery late", {"clinic.delivery": {"lead_days": 9, "closed_days": 4}}),
    # Thursday 26 November 2026 is Thanksgiving.
    (
        "round on a day off",
        {"clinic.delivery": {"lead_days": 1, "closed_days": 2, "round": {"weekdays": ["thursday"]}}},
    ),
    ("no subdivision", {"clinic.subdivision": LEFT_OUT}),
]


@pytest.mark.parametrize(("code", "changes"), NOTICES)
def test_notices(code: str, changes: dict[str, Any]) -> None:
    assert code in codes(changes)


def test_every_notice_is_tested() -> None:
    assert {code for code, _ in NOTICES} == set(get_args(NoticeCode))


@pytest.mark.parametrize(
    "changes",
    [
        {"prescription.hours_off_oxygen": "9 h", "prescription.rest.hours_per_day": "4 h"},  # 15 h to the hour
        {"prescription.exertion.on_portable": "3 h"},  # one fill gives more than that, with the pauses of a day
        {"clinic.altitude": "1499 m"},
        {
            "clinic.region": "PK",
            "prescription.review_date": dt.date(2027, 1, 10),  # before the holidays of several days
            "clinic.policy": {"emergency_number": "1122", "fire_number": "16", "safety_days": 1},
        },
    ],
)
def test_no_notice(changes: dict[str, Any]) -> None:
    assert codes(changes) == []


@pytest.mark.parametrize(
    ("code", "changes"),
    [
        # a full portable is planned for 5 h 55 asleep
        ("night on portable", {"prescription.sleep.on_portable": "5 h", "portable[1].cold_fills_per_day": 3}),
        # nobody has said whether the patient sleeps on it: the guide says to ask, the clinician is not told
        ("night on portable", {"prescription.sleep.on_portable": LEFT_OUT}),
        ("night on portable", {"prescription.sleep.on_portable": "0 h"}),
        ("night on cylinder", {"prescription.sleep": LEFT_OUT, "prescription.rest.hours_per_day": "21 h"}),
        ("high flow", {"prescription.exertion.flow": "6 L/min"}),  # to the litre
        # spread over no more than the hours themselves, there are no pauses
        (
            "pauses short",
            {
                "prescription.exertion.on_portable": "3 h",
                "prescription.exertion.flow": "3 L/min",
                "clinic.policy": {"portable_spread": "3 h"},
            },
        ),
        ("no steady time", PULSE),
    ],
)
def test_enough(code: str, changes: dict[str, Any]) -> None:
    assert code not in codes(changes)


def test_a_backup_of_minutes_over_closed_days() -> None:
    # Delivered on the day of the call, but not for four days in a row: 40 minutes of gas bridge none of them.
    assert "backup short" in codes(
        {"clinic.delivery": {"lead_days": 0, "closed_days": 4}, "cylinder[1].content": "50 L"}
    )


# ── JSON ────────────────────────────────────────────────────────────────────────────────────────


def in_json(changes: dict[str, Any]) -> dict[str, Any]:
    """Return the plan of a changed base as another program reads it."""
    case = a_case(changes)
    read: dict[str, Any] = json.loads(json.dumps(as_json(plan(case), case)))
    return read


def test_json_holds_every_window() -> None:
    made = plan(a_case(PULSE))
    told = in_json(PULSE)["windows"]
    assert len(made.windows) == 3 * 4 * 3
    assert len(told) == len(made.windows) + 4  # and the reservoir under a whole day's use
    for line, found in zip(told, made.windows, strict=False):
        told_min = line["safe_alone_min"] if found.kind == "reservoir" else line["safe_min"]
        assert (line["container"], line["activity"], told_min) == (
            found.container,
            found.demand.activity,
            found.safe_min,
        )
        left = line["nominal_min"] - sum(line["deductions"].values())
        assert left == pytest.approx(told_min, abs=0.05)  # each is rounded to 0.01


def test_json_never_gives_a_setting_as_a_flow() -> None:
    line = next(line for line in in_json(PULSE)["windows"] if line["mode"] == "pulse")
    assert line["setting"] == "2"
    assert line["flow_l_min"] == 0.456  # 22.8 mL × 20 a minute


def test_json_says_what_it_rests_on() -> None:
    basis = in_json({})["basis"]
    assert basis["reference_state"].startswith("70 °F")
    assert basis["gas_litres_per_kg"] == 754.0
    assert basis["flow_tolerance_percent"] == 10
    assert basis["reading_error_divisions"] == 0.5
    assert basis["portable_reserve_min"] == 30
    assert "down" in basis["rounding"]
    assert [line["container"] for line in basis["containers"]] == ["reservoir-1", "portable-1", "cylinder-1"]


def test_json_holds_the_supply() -> None:
    line = in_json({})["supply"][0]
    assert list(line["safe_min"]) == ["full", "3/4", "1/2", "1/4"]
    assert line["days_to_empty"] <= line["days_nominal"]
    assert line["daily_litres_nominal"] < line["daily_litres_worst"]


def test_json_holds_no_name() -> None:
    told = json.dumps(in_json({}))
    assert not [name for name in PERSONAL if name in told]


def test_windows_by_name_and_kind() -> None:
    made = plan(a_case())
    for found in made.windows_of("portable"):
        assert made.window("portable-1", found.level, found.demand.activity) == found


def test_the_plan_is_the_same_whatever_things_are_called() -> None:
    nameless = {
        "patient": LEFT_OUT,
        "prescription.prescriber": LEFT_OUT,
        "reservoir[1].name": LEFT_OUT,
        "portable[1].name": "the other one",
        "cylinder[1].name": LEFT_OUT,
    }
    assert plan(a_case(nameless)) == plan(a_case())
