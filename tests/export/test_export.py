"""What other programs and a terminal are given: the plan's figures under the right names."""

import icalendar
import pytest

from companion.export.ics import calendar_file
from companion.export.json import as_json
from companion.export.text import outing_text
from companion.language.locale import Locale
from companion.reckoning.choices import cylinder_rows
from companion.reckoning.containers import GasStore, level_name
from companion.reckoning.outing import DOINGS, Stretch, outing
from companion.reckoning.plan import plan
from tests.guides import HOMES, example

ENGLISH = Locale("en", "US")


@pytest.mark.parametrize("name", HOMES)
def test_each_day_of_the_calendar_is_for_what_it_says(name: str) -> None:
    case = example(name)
    made = plan(case)
    events = icalendar.Calendar.from_ical(calendar_file(case, made, ENGLISH)).walk("VEVENT")
    told = [(event.decoded("DTSTART"), str(event["SUMMARY"])) for event in events]
    assert told == [
        row
        for line in made.deliveries
        for row in (
            (line.call_by, "Oxygen: call for a delivery today"),
            (line.expected, "Oxygen: a delivery is expected today"),
        )
    ]
    # Only the day on which something must be done rings.
    assert [bool(event.walk("VALARM")) for event in events] == [True, False] * len(made.deliveries)


@pytest.mark.parametrize(("minutes", "lasts"), [(180, True), (200, False)])
def test_an_outing_is_told_as_it_is(minutes: int, lasts: bool) -> None:
    # A full first portable lasts 3 h 10 on a walk.
    case = example("uneven")
    made = plan(case)
    found = outing(
        case, made.liquid_store("portable-1"), made.windows[0].level, [Stretch(DOINGS["walk"], minutes)], made.margins
    )
    told = outing_text(found, ENGLISH)
    assert found.lasts is lasts
    assert ("does not last" in told) is not lasts


@pytest.mark.parametrize("name", HOMES)
def test_json_marks_the_rows_that_the_guide_prints(name: str) -> None:
    case = example(name)
    made = plan(case)
    windows = as_json(made, case)["windows"]
    printed = [
        (line["container"], line["level"], line["activity"], line["safe_min"]) for line in windows if line["printed"]
    ]
    rows = {
        store.id: [row.level for row in cylinder_rows(store)] if isinstance(store, GasStore) else store.levels
        for store in made.stores
    }
    assert printed == [
        *(
            (window.container, level_name(window.level), window.demand.activity, window.safe_min)
            for window in made.windows
            if window.kind != "reservoir" and window.level in rows[window.container]
        ),
        *(
            (line.container, level_name(level), "whole day", minutes)
            for line in made.supply
            for level, minutes in line.safe_min.items()
        ),
    ]


@pytest.mark.parametrize("name", HOMES)
def test_nothing_that_is_printed_of_a_reservoir_is_more_than_one_activity_alone(name: str) -> None:
    # 8 days beside the guide's 6 was read as a promise.
    case = example(name)
    windows = as_json(plan(case), case)["windows"]
    for line in windows:
        if line["activity"] == "whole day":
            left = line["nominal_min"] - sum(line["deductions"].values())
            assert left == pytest.approx(line["safe_min"], abs=0.05)
            beside = [
                other
                for other in windows
                if (other["container"], other["level"]) == (line["container"], line["level"])
                and other["activity"] != "whole day"
            ]
            assert {other["safe_min"] for other in beside} == {None}
            assert line["safe_min"] <= max(other["safe_alone_min"] for other in beside)
