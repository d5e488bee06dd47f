"""Weekends and public holidays of a country and its parts, from the library ``holidays``."""

import datetime as dt
from functools import cache

import holidays


@cache
def subdivisions(region: str) -> tuple[str, ...]:
    """Return the parts of a country with holidays of their own: ISO 3166-2 without the country's letters."""
    return tuple(holidays.list_supported_countries()[region])


@cache
def public_holidays(region: str, subdivision: str | None, year: int) -> frozenset[dt.date]:
    """Return the public holidays of a part of a country in one year; without a part, those of every part."""
    parts = (subdivision,) if subdivision else (None, *subdivisions(region))
    return frozenset(
        day for part in parts for day in holidays.country_holidays(region, subdiv=part, years=year) if day.year == year
    )


@cache
def weekend(region: str) -> frozenset[int]:
    """Return the days of the weekend, counted from Monday as 0."""
    return frozenset(holidays.country_holidays(region).weekend)
