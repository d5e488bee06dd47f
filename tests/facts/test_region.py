"""The numbers of each region, against the short numbers of libphonenumber and a table written by hand."""

import pytest
from phonenumbers import shortnumberinfo

from companion.facts.region import REGIONS

# Ambulance and fire service. From memory of the emergency-call table of the Android open-source project.
NUMBERS = {
    "BR": ("192", "193"),
    "CA": ("911", "911"),
    "CN": ("120", "119"),
    "DE": ("112", "112"),
    "EG": ("123", "180"),
    "ES": ("112", "112"),
    "FR": ("112", "112"),
    "GB": ("999", "999"),  # 112 as well; 999 is the one that people know
    "IE": ("112", "112"),
    "IN": ("112", "112"),
    "IT": ("112", "112"),
    "JP": ("119", "119"),  # 110 is the police
    "MX": ("911", "911"),
    "PL": ("112", "112"),
    "PT": ("112", "112"),
    "US": ("911", "911"),
}
DISAGREED = {"AU", "HT", "PK", "SA", "TR", "UA"}
"""Regions for which the two tables differ, so that none is told."""


def test_every_region_has_its_row() -> None:
    assert set(REGIONS) == {*NUMBERS, *DISAGREED}


@pytest.mark.parametrize("region", sorted(NUMBERS))
def test_whom_to_call(region: str) -> None:
    found = REGIONS[region]
    assert (found.emergency_number, found.fire_number) == NUMBERS[region]
    for number in NUMBERS[region]:
        assert shortnumberinfo.is_emergency_number(number, region), number


@pytest.mark.parametrize("region", sorted(DISAGREED))
def test_where_the_sources_disagree_no_number_is_told(region: str) -> None:
    assert (REGIONS[region].emergency_number, REGIONS[region].fire_number) == (None, None)
