"""When to ask for oxygen: the same sentences on every sheet, in the file for a phone and at the teach-back."""

import datetime as dt
from typing import Any

import icalendar
import pytest

from companion.case.model import Case
from companion.export.ics import calendar_file
from companion.export.text import supply_text
from companion.guide.document import Sheet
from companion.guide.teach_back import teach_back
from companion.language.locale import Locale
from companion.reckoning.plan import plan
from tests.cases import a_case
from tests.guide.test_sheets import body_of, words_of
from tests.guides import CODE, sheet_html

LOCALE = Locale("en", "US")
LARGE: dict[str, Any] = {"reservoir[1].oxygen_mass": "66 kg", "reservoir[1].empty_mass": "50 kg"}


def delivery(lead_days: int, closed_days: int, **fixed: Any) -> dict[str, Any]:
    return {
        "clinic.delivery": {"lead_days": lead_days, "closed_days": closed_days, **({"round": fixed} if fixed else {})}
    }


RULES: dict[str, tuple[dict[str, Any], str, str | None]] = {
    # What is entered; the rule for a call; the sentence about the round
    "a mark": (
        LARGE | delivery(1, 2) | {"clinic.policy": {"safety_days": 1}},
        "Call on the day when the reservoir gauge has come down to three quarters, or is lower.",
        None,
    ),
    "no mark": (
        delivery(1, 3),
        "At each delivery, ask for the next one. The supplier must come again within 2 days.",
        None,
    ),
    "too small": (
        delivery(1, 3) | {"clinic.policy": {"safety_days": 5}},
        "The reservoir is too small for your flow. Ask the clinic now how you get enough oxygen.",
        None,
    ),
    "a round": (
        LARGE | delivery(1, 2, weekdays=["friday", "tuesday"]),
        "Call when the reservoir gauge has come down to three quarters, unless the supplier comes within 3 days. "
        "When it shows still less, always follow the table of the reservoir.",
        "The supplier comes every Tuesday and Friday without a call.",
    ),
    "every second week": (
        LARGE | delivery(1, 2, weekdays=["monday"], every_weeks=2, starts=dt.date(2026, 11, 2)),
        "Call when the reservoir gauge has come down to three quarters, unless the supplier comes within 3 days. "
        "When it shows still less, always follow the table of the reservoir.",
        "The supplier comes on Monday, every 2 weeks, without a call.",
    ),
    "a round and no mark": (
        delivery(9, 2, weekdays=["thursday"]),
        "Each morning, see in the table of the reservoir whether you must call. If nobody comes on the day of the "
        "supplier, call the same day.",
        "The supplier comes every Thursday without a call.",
    ),
}

EVERY_RULE = pytest.mark.parametrize("name", RULES)


def home(name: str) -> tuple[Case, str, str | None]:
    changes, rule, fixed = RULES[name]
    return a_case(changes), rule, fixed


@EVERY_RULE
@pytest.mark.parametrize("sheet", ["guide", "fridge", "log"])
def test_every_sheet_says_the_rule_in_the_same_words(name: str, sheet: Sheet) -> None:
    case, rule, fixed = home(name)
    words = words_of(body_of(sheet_html(sheet, case, plan(case), LOCALE, CODE)))
    if sheet == "fridge" and plan(case).call.mark is not None:
        assert "three quarters" in words  # the table says it, mark by mark
        assert rule not in words
    else:
        assert rule in words
    if fixed and sheet != "log":
        assert fixed in words
    assert "full or less" not in words
    assert ("without a call" in words) == (fixed is not None and sheet != "log")


@EVERY_RULE
def test_table_file_command_and_teach_back_say_the_rule(name: str) -> None:
    case, rule, _ = home(name)
    made = plan(case)
    assert rule in words_of(body_of(sheet_html("table", case, made, LOCALE, CODE)))
    assert f"The guide says: {rule}" in supply_text(made, case)
    answers = [str(question.expect) for question in teach_back(case, made, LOCALE)]
    assert rule in answers
    events: list[Any] = icalendar.Calendar.from_ical(calendar_file(case, made, LOCALE)).walk("VEVENT")
    told = [str(event["DESCRIPTION"]) for event in events]
    if name == "a mark":
        rule = "Call sooner, at once, when the reservoir gauge shows three quarters or less."
    assert told
    assert all(rule in text for text in told)


def calendar_of(page: str) -> list[list[str]]:
    """Return the rows of the calendar, its head first."""
    section = next(found for found in body_of(page).iter() if found.get("id") == "delivery")
    (table,) = (found for found in section.iter() if found.tag.endswith("table"))
    return [[words_of(cell) for cell in row] for row in table.iter() if row.tag.endswith("tr")]


@pytest.mark.parametrize(
    ("name", "head"),
    [
        ("a mark", ["Call by this day", "Expected by this day"]),
        ("no mark", ["Ask on this day", "The supplier must come by this day"]),
        ("a round", ["The supplier comes", "What you do"]),
    ],
)
def test_the_calendar_is_headed_by_what_it_asks_for(name: str, head: list[str]) -> None:
    case, _, _ = home(name)
    page = sheet_html("guide", case, plan(case), LOCALE, CODE)
    rows = calendar_of(page)
    assert rows[0] == head


def test_a_round_on_a_holiday_is_asked_about() -> None:
    case = a_case(LARGE | delivery(1, 2, weekdays=["thursday"]))
    page = sheet_html("guide", case, plan(case), LOCALE, CODE)
    rows = calendar_of(page)
    told = {row[0].partition(", ")[2]: row[1] for row in rows[1:]}
    assert told["November 19"] == "If nobody comes, call on the same day."
    assert told["November 26"] == "This is a public holiday. Ask the supplier now on which day they come."
    assert told["December 3"] == "This may be too late. Ask the supplier now for an extra delivery."


def test_nobody_is_alarmed_to_call_where_the_supplier_comes_unasked() -> None:
    case, _, _ = home("a round")
    events: list[Any] = icalendar.Calendar.from_ical(calendar_file(case, plan(case), LOCALE)).walk("VEVENT")
    assert {str(event["SUMMARY"]) for event in events} == {"Oxygen: a delivery is expected today"}
    assert not [alarm for event in events for alarm in event.walk("VALARM")]
