"""The calendar of deliveries, its file for a phone, and what the supply looks like if something changes."""

import datetime as dt
import json
import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.case.model import Case
from companion.case.read import case_from_dict
from companion.cli import main
from companion.export.ics import calendar_file
from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.reckoning.deliveries import WEEKS, CallRule, expected_deliveries, longest_closed_run, longest_wait_days
from companion.reckoning.plan import plan
from tests.cases import meant
from tests.tools import ROOT

CASE_FILE = ROOT / "examples" / "harbour-lane.toml"


def case_of(issued: str, region: str, delivery: dict[str, Any], safety_days: int = 1) -> Case:
    raw = tomllib.loads(CASE_FILE.read_text(encoding="utf-8"))
    raw["issued"] = dt.date.fromisoformat(issued)
    raw["clinic"] |= {"region": region, "delivery": delivery, "policy": {"safety_days": safety_days}}
    raw["clinic"]["subdivision"] = {"US": "OH", "GB": "ENG"}.get(region)
    return case_from_dict(meant(raw), "a test")


CASE = case_of("2026-11-02", "US", {"lead_days": 1, "closed_days": 3})
SUPPLIER = {"lead_days": 1, "closed_days": 3}


def called(days_to_call: int, next_within_days: int) -> CallRule:
    """Return the rule of a home that calls at one half."""
    return CallRule(Fraction(1, 2), None, next_within_days, days_to_call)


@pytest.mark.parametrize(
    ("issued", "region", "delivery", "rule", "call_by", "expected", "in_time"),
    [
        # By hand, from the calendar of these weeks.
        pytest.param("2026-11-02", "US", SUPPLIER, called(7, 8), "2026-11-09", "2026-11-10", True, id="the next day"),
        pytest.param(
            "2026-11-02", "US", SUPPLIER, called(6, 8), "2026-11-06", "2026-11-09", True, id="not on a Sunday"
        ),
        pytest.param("2026-11-23", "US", SUPPLIER, called(3, 4), "2026-11-25", "2026-11-27", True, id="Thanksgiving"),
        pytest.param("2026-12-21", "GB", SUPPLIER, called(4, 8), "2026-12-24", "2026-12-29", True, id="UK Christmas"),
        pytest.param("2026-11-01", "EG", SUPPLIER, called(6, 7), "2026-11-05", "2026-11-08", True, id="Friday is off"),
        pytest.param(
            "2026-11-02",
            "US",
            SUPPLIER | {"lead_days": 3},
            called(8, 14),  # Wednesday 11 is Veterans Day: Thursday 12, Friday 13, Monday 16
            "2026-11-10",
            "2026-11-16",
            True,
            id="lead time in working days",
        ),
        pytest.param(
            "2026-11-02",
            "US",
            SUPPLIER | {"weekdays": ["tuesday"]},
            called(3, 8),
            "2026-11-05",
            "2026-11-10",
            True,
            id="one delivery day a week",
        ),
        pytest.param(
            "2026-11-04",
            "US",
            SUPPLIER | {"weekdays": ["tuesday"]},
            called(0, 3),
            "2026-11-04",
            "2026-11-10",
            False,
            id="no delivery day is in time",
        ),
        pytest.param(
            "2026-11-06",
            "US",
            SUPPLIER | {"lead_days": 0},
            called(3, 3),
            "2026-11-09",
            "2026-11-09",
            True,
            id="on the same day",
        ),
        pytest.param(
            "2026-11-06",
            "US",
            SUPPLIER | {"lead_days": 0},
            called(0, 1),
            "2026-11-06",
            "2026-11-09",
            False,
            id="not twice a day",
        ),
    ],
)
def test_first_delivery(
    issued: str, region: str, delivery: dict[str, Any], rule: CallRule, call_by: str, expected: str, in_time: bool
) -> None:
    first = expected_deliveries(case_of(issued, region, delivery), rule)[0]
    assert (str(first.call_by), str(first.expected), first.in_time) == (call_by, expected, in_time)


def test_the_reservoir_that_is_empty_first_decides() -> None:
    raw = tomllib.loads(CASE_FILE.read_text(encoding="utf-8"))
    larger = raw["reservoir"][0]
    smaller = larger | {"liquid_volume": "30 L"}

    def deliveries(*reservoirs: dict[str, Any]) -> object:
        return plan(case_from_dict(raw | {"reservoir": list(reservoirs)}, "a test")).deliveries

    assert deliveries(larger, smaller) == deliveries(smaller, larger) == deliveries(smaller)
    assert deliveries(larger) != deliveries(smaller)


def test_no_delivery_where_the_oxygen_lasts_longer() -> None:
    assert expected_deliveries(CASE, called(90, 92)) == ()


@given(
    issued=st.dates(dt.date(2020, 1, 1), dt.date(2099, 12, 31)),
    days_to_call=st.integers(0, 60),
    lead_days=st.integers(0, 30),
    weekdays=st.none() | st.sets(st.sampled_from(["monday", "wednesday", "sunday"]), min_size=1),
)
def test_every_delivery_is_on_an_open_day_and_after_its_call(
    issued: dt.date, days_to_call: int, lead_days: int, weekdays: set[str] | None
) -> None:
    delivery: dict[str, Any] = {"lead_days": lead_days, "closed_days": 2}
    if weekdays is not None:
        delivery["weekdays"] = sorted(weekdays)
    case = CASE.model_copy(update={"issued": issued, "clinic": case_of("2026-11-02", "US", delivery).clinic})
    wait = longest_wait_days(case)
    filled = issued
    for found in expected_deliveries(case, called(days_to_call, days_to_call + wait)):
        assert found.call_by is not None
        # The table never asks for a longer wait than the guide says. Nobody comes twice on the day of a filling.
        if found.call_by > filled:
            assert (found.expected - found.call_by).days <= wait
            assert found.in_time
        assert filled <= found.call_by <= filled + dt.timedelta(days=days_to_call)
        assert filled < found.expected <= issued + dt.timedelta(weeks=WEEKS)
        assert found.expected.strftime("%A").casefold() in (
            weekdays or {"monday", "tuesday", "wednesday", "thursday", "friday"}
        )
        assert (found.expected.month, found.expected.day) not in {(1, 1), (12, 25)}
        filled = found.expected


@pytest.mark.parametrize(
    ("issued", "region", "weekdays", "days"),
    [
        pytest.param("2026-09-14", "US", None, 3, id="a weekend and Columbus Day"),
        pytest.param("2026-12-21", "GB", None, 4, id="Christmas on a Friday, Boxing Day made up for on Monday"),
        pytest.param("2026-11-02", "US", ["tuesday"], 6, id="once a week"),
    ],
)
def test_longest_closed_run(issued: str, region: str, weekdays: list[str] | None, days: int) -> None:
    delivery = SUPPLIER if weekdays is None else SUPPLIER | {"weekdays": weekdays}
    assert longest_closed_run(case_of(issued, region, delivery)) == days


@pytest.mark.parametrize(
    ("closed_days", "weekdays", "notices"),
    [
        (3, None, set()),
        (2, None, {"closed days short"}),
        (6, ["tuesday"], set()),
    ],
)
def test_notice_where_the_calendar_has_more_closed_days_than_was_stated(
    closed_days: int, weekdays: list[str] | None, notices: set[str]
) -> None:
    delivery: dict[str, Any] = {"lead_days": 1, "closed_days": closed_days}
    if weekdays:
        delivery["weekdays"] = weekdays
    told = {notice.code for notice in plan(case_of("2026-11-02", "US", delivery)).notices}
    assert told & {"closed days short"} == notices


@pytest.mark.parametrize(
    ("issued", "region", "delivery", "days"),
    [
        # By hand, from the calendar of these weeks.
        pytest.param("2026-11-02", "US", {"lead_days": 1, "closed_days": 3}, 4, id="what was stated is more"),
        pytest.param("2026-11-02", "US", {"lead_days": 1, "closed_days": 0}, 4, id="Christmas Eve to Monday"),
        pytest.param("2026-09-14", "US", {"lead_days": 1, "closed_days": 0}, 4, id="Friday, Columbus Day, Tuesday"),
        pytest.param("2026-11-02", "US", {"lead_days": 1, "closed_days": 1, "weekdays": ["tuesday"]}, 7, id="weekly"),
        pytest.param(
            "2026-11-02",
            "US",
            {
                "lead_days": 1,
                "closed_days": 1,
                "weekdays": ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday"],
            },
            3,  # Saturday 16 January, then Martin Luther King Day, to Tuesday 19
            id="a supplier that delivers on Saturday works on Saturday",
        ),
    ],
)
def test_longest_wait(issued: str, region: str, delivery: dict[str, Any], days: int) -> None:
    case = case_of(issued, region, delivery)
    assert longest_wait_days(case) == days
    assert plan(case).bridge_days == days + 1


def test_a_call_that_nobody_hears_at_the_weekend_waits_longer() -> None:
    # One day's notice, and deliveries on Monday alone; no holiday in these weeks.
    heard = case_of("2026-03-02", "US", {"lead_days": 1, "closed_days": 0, "weekdays": ["monday"]})
    before_the_holidays = heard.prescription.model_copy(update={"review_date": dt.date(2026, 4, 27)})
    heard = heard.model_copy(update={"prescription": before_the_holidays})
    clinic = heard.clinic.model_copy(update={"phone_night": None})
    # From Monday to the next one; a call on Saturday is heard on Monday, too late for that day.
    assert longest_wait_days(heard) == 7
    assert longest_wait_days(heard.model_copy(update={"clinic": clinic})) == 9


# ── the file for a phone ────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("tag", available())
def test_calendar_file_is_read_back_whole(tag: str) -> None:
    made = plan(CASE)
    data = calendar_file(CASE, made, Locale(tag, "US"))
    events: list[Any] = icalendar.Calendar.from_ical(data).walk("VEVENT")
    days = [event.decoded("DTSTART") for event in events]
    assert days == [day for line in made.deliveries for day in (line.call_by, line.expected)]
    assert [event.decoded("DTEND") for event in events] == [day + dt.timedelta(days=1) for day in days]
    assert len({event["UID"] for event in events}) == len(events)
    for event in events:
        assert "555-0150" in str(event["DESCRIPTION"])  # the supplier's, not the clinic's
    alarms = [alarm["TRIGGER"].dt for event in events for alarm in event.walk("VALARM")]
    assert alarms == [dt.timedelta(hours=9)] * len(made.deliveries)


def test_calendar_file_keeps_to_the_rules_of_the_line() -> None:
    data = calendar_file(CASE, plan(CASE), Locale("hi", "IN"))
    assert b"\r\n" in data
    assert b"\n" not in data.replace(b"\r\n", b"")
    for line in data.split(b"\r\n"):
        assert len(line) <= 75
        line.decode()  # no character is cut
    assert b"Rosa" not in data


def test_calendar_file_escapes_commas() -> None:
    case = case_from_dict(tomllib.loads(CASE_FILE.read_text(encoding="utf-8")), "a test")
    data = calendar_file(case, plan(case), Locale("en", "US")).replace(b"\r\n ", b"")
    assert b"Call sooner\\, at once\\, when" in data


# ── what if ─────────────────────────────────────────────────────────────────────────────────────


def test_what_if_by_hand() -> None:
    # In one stretch, the hours on the portable are on it at 1 L/min more as well.
    raw = tomllib.loads(CASE_FILE.read_text(encoding="utf-8"))
    raw["clinic"] |= {"delivery": SUPPLIER, "policy": {"safety_days": 1, "portable_spread": "3 h"}}
    made = plan(case_from_dict(raw, "a test"))
    after = {line.change: line.supply for line in made.what_if}
    base = made.supply[0].worst.total
    # 21 h from the reservoir at 1 L/min more and 10 % tolerance
    assert after["1 L/min more"].worst.total == pytest.approx(base + 21 * 60 * 1.1)
    # A portable of 1.2 L full of liquid let down to 1 atm (1.1412 kg/L), of which 8.0 % turn to gas on the way from
    # 22 psi (CoolProp 8.0.0), and 10 % lost in a cold fill
    fill = 1.2 * 1.1412 / (1 - 0.080) * 754 * 1.1
    assert after["one outing a day more"].worst.total == pytest.approx(base + fill, abs=3)
    assert after["a delivery missed"].worst.total == base
    # 1 + 3 + 1 days become 1 + 3, once more 1 + 3, and 1. Full it lasts 7 days, and from three quarters not the 1 + 3 +
    # 1 days and one more for a gauge that is read once a day.
    assert made.supply[0].covers_delivery
    assert made.supply[0].call_mark is None
    assert not after["a delivery missed"].covers_delivery


def test_what_if_leaves_out_what_the_equipment_cannot_do() -> None:
    raw = tomllib.loads(CASE_FILE.read_text(encoding="utf-8"))
    raw["reservoir"][0]["max_flow"] = "2.9 L/min"
    raw["portable"] = []
    del raw["prescription"]["exertion"]["on_portable"]
    del raw["prescription"]["while_filling"]
    changes = [line.change for line in plan(case_from_dict(raw, "a test")).what_if]
    assert changes == ["a delivery missed"]


def test_cylinders_needed_for_the_lead_time() -> None:
    made = plan(CASE)
    one = made.window("cylinder-1", Fraction(1), "rest").safe_min
    # 1 + 3 days to six in the evening, 114 h; one cylinder lasts 19 h
    assert (one, made.backup_needed) == (1140, {"cylinder-1": 7})


# ── the command ─────────────────────────────────────────────────────────────────────────────────


def test_supply_command_as_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = CASE_FILE.read_text(encoding="utf-8").replace("count = 3", "count = 6")
    (tmp_path / "case.toml").write_text(text, encoding="utf-8")
    assert main(["supply", str(tmp_path / "case.toml")]) == 0
    told = capsys.readouterr().out
    assert "Back-up: it lasts 96 h; the delivery may take 90 h." in told
    assert (
        "The guide says: Call on the day when the reservoir gauge has come down to three quarters, or is lower." in told
    )
    assert "one outing a day more" in told
    assert "WARNING" not in told


def test_supply_command_warns_of_a_short_back_up(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = CASE_FILE.read_text(encoding="utf-8").replace("count = 3", "count = 1")
    (tmp_path / "case.toml").write_text(text, encoding="utf-8")
    assert main(["supply", str(tmp_path / "case.toml")]) == 0
    told = capsys.readouterr().out
    assert "Back-up: it lasts 19 h; the delivery may take 90 h.\nWARNING" in told
    assert "6 of cylinder-1 would." in told


def test_supply_command_as_json_and_calendar(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["supply", str(CASE_FILE), "--format", "json"]) == 0
    held = json.loads(capsys.readouterr().out)
    assert held["deliveries"][0] == {
        "call_by": "2026-11-05",
        "expected": "2026-11-06",
        "in_time": True,
        "day_off": False,
    }
    assert held["call"] == {
        "mark": "3/4",
        "unless_within_days": None,
        "next_within_days": 6,
        "wait_days": 3,
        "wait_min": 3 * 1440 + 18 * 60,
        "bridge_days": 4,
    }
    out = tmp_path / "deliveries.ics"
    assert main(["supply", str(CASE_FILE), "--format", "ics", "--out", str(out)]) == 0
    assert len(icalendar.Calendar.from_ical(out.read_bytes()).walk("VEVENT")) == 2 * len(held["deliveries"])
