"""Public holidays of the parts of a country, against lists written apart."""

import datetime as dt

import pytest

from companion.facts.days_off import public_holidays, subdivisions, weekend
from companion.facts.region import REGIONS


def days(year: int, *dates: str) -> set[dt.date]:
    return {dt.date.fromisoformat(f"{year}-{date}") for date in dates}


@pytest.mark.parametrize(
    ("region", "subdivision", "year", "expected"),
    [
        # gov.uk bank holidays, England and Wales (from memory), with the days on a weekend that they stand in for
        (
            "GB",
            "ENG",
            2026,
            days(2026, "01-01", "04-03", "04-06", "05-04", "05-25", "08-31", "12-25", "12-26", "12-28"),
        ),
        (
            "GB",
            "WLS",
            2027,
            days(2027, "01-01", "03-26", "03-29", "05-03", "05-31", "08-30", "12-25", "12-26", "12-27", "12-28"),
        ),
        # 5 U.S.C. 6103(a), the days of 2026; Ohio adds none (Ohio Revised Code 1.14, from memory)
        (
            "US",
            "OH",
            2026,
            days(2026, "01-01", "01-19", "02-16", "05-25", "06-19", "09-07", "10-12", "11-11", "11-26", "12-25")
            | days(2026, "07-03", "07-04"),  # the Fourth on a Saturday is kept on Friday too
        ),
    ],
)
def test_holidays_of_a_part(region: str, subdivision: str, year: int, expected: set[dt.date]) -> None:
    assert public_holidays(region, subdivision, year) == expected


@pytest.mark.parametrize(
    ("region", "subdivision", "day"),
    [
        ("GB", "ENG", "2026-04-06"),  # Easter Monday, gov.uk (from memory)
        ("GB", "ENG", "2026-08-31"),  # the August bank holiday, gov.uk (from memory)
        ("GB", "SCT", "2026-01-02"),  # gov.uk (from memory)
        ("CA", "ON", "2026-10-12"),  # Thanksgiving, Employment Standards Act 2000 of Ontario (from memory)
        ("CA", "ON", "2026-02-16"),  # Family Day, the same
        ("DE", "BY", "2026-01-06"),  # Epiphany in Bavaria (from memory)
        ("AU", "VIC", "2026-11-03"),  # Melbourne Cup Day (from memory)
    ],
)
def test_a_holiday_of_a_part_is_not_the_whole_countrys(region: str, subdivision: str, day: str) -> None:
    date = dt.date.fromisoformat(day)
    assert date in public_holidays(region, subdivision, date.year)
    assert date in public_holidays(region, None, date.year)
    others = [part for part in subdivisions(region) if date not in public_holidays(region, part, date.year)]
    assert others


@pytest.mark.parametrize("region", sorted(REGIONS))
def test_without_a_part_the_days_off_of_every_part_count(region: str) -> None:
    for year in (2026, 2027):
        everywhere = public_holidays(region, None, year)
        assert all(day.year == year for day in everywhere)
        for part in subdivisions(region):
            assert public_holidays(region, part, year) <= everywhere


def test_weekends() -> None:
    assert weekend("US") == {5, 6}
    assert weekend("EG") == {4, 5}  # Friday and Saturday
