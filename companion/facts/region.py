"""What differs from country to country, apart from the language: units, distances, numbers to call, first aid.

The clinic may set its own in the place of most of it: ``Clinic.settings`` gives what holds for a case.

Sources, by short name:
    eccdata: emergency-call table of the Android open-source project (LineageOS copy, revision 1)
    libphonenumber: short-number metadata, `phonenumbers` 9.0.43
Neither is an official register. A number is held here only where both agree; elsewhere the guide prints
none until the clinic has set its own.
"""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Region:
    """One country's settings."""

    emergency_number: str | None
    """The ambulance number, or None where the sources conflict or need a local decision."""
    fire_number: str | None
    """The number of the fire service, on the same terms."""
    flame_distance_m: float
    heat_distance_m: float
    distance_source: str
    metric: bool
    """Whether metres, °C and kg stand first."""
    decimal: Literal[".", ","]
    """The sign before the tenths, as dials and data sheets there have it, in whatever language (CLDR 47)."""
    answering: str | None = None
    """The language in which most calls for an ambulance are answered; None where we hold it not."""
    letter_paper: bool = False
    """Whether guides are printed on US Letter; elsewhere on A4 (ISO 216)."""
    airing_min: int = 30
    """Airing of clothes and hair [min]."""
    splash_airing_min: int = 60
    """The same after a splash of liquid [min]."""
    water_c: tuple[float, float] = (37, 39)
    """Water for frostbite [°C]."""
    water_max_c: float = 40
    """Never warmer than this [°C]."""


SOURCES = {
    "emergency_number": "emergency-call table of the Android open-source project and libphonenumber agree; "
    "neither is an official register",
    "airing_min": "Kent NHS leaflet 2023, Northamptonshire FRS; 10 to 60 minutes are published",
    "splash_airing_min": "training text that matches DOE-HDBK-1015 ch. 5",
    "water_c": "Wilderness Medical Society 2011, 2020; some texts go to 46 °C",
    "water_max_c": "university laboratory guides (40 to 41 °C)",
}
"""Source of what a region holds, by field; the distances carry their own."""


_US = "as published: 5 to 15 ft by US and Canadian fire services; 10 ft chosen (City of Calgary, City of Medford)"
_UK = "as published: 3 m to a flame (Kent NHS leaflet 2023, Southampton City Council); 1.5 m to heaters (same)"
_EU = "common practice in Europe: 3 m to a flame, 1.5 m to heaters, no source seen"


def _region(
    ambulance: str | None,
    fire: str | None,
    source: str,
    decimal: Literal[".", ","],
    answering: str | None = None,
    *,
    metric: bool = True,
    letter: bool = False,
) -> Region:
    # 3 m and 1.5 m are 9.8 ft and 4.9 ft: where feet stand first, the round figures in feet are the larger.
    return Region(
        ambulance,
        fire,
        3.0 if metric else 3.048,
        1.5 if metric else 1.524,
        source,
        metric,
        decimal,
        answering,
        letter_paper=letter,
    )


REGIONS = {
    "AU": _region(None, None, _EU, ".", "en"),
    "BR": _region("192", "193", _EU, ",", "pt"),
    "CA": _region("911", "911", _US, ".", "en", letter=True),
    "CN": _region("120", "119", _EU, ".", "zh-Hans"),
    "DE": _region("112", "112", _EU, ",", "de"),
    "EG": _region("123", "180", _EU, ".", "ar"),
    "ES": _region("112", "112", _EU, ",", "es"),
    "FR": _region("112", "112", _EU, ",", "fr"),
    # Both sources hold 112 and 999; 999 is the one that people there know.
    "GB": _region("999", "999", _UK, ".", "en"),
    "HT": _region(None, None, _EU, ","),
    "IE": _region("112", "112", _EU, ".", "en"),
    "IN": _region("112", "112", _EU, ".", "hi"),
    "IT": _region("112", "112", _EU, ",", "it"),
    "JP": _region("119", "119", _EU, ".", "ja"),
    "MX": _region("911", "911", _EU, ".", "es", letter=True),
    "PK": _region(None, None, _EU, ".", "ur"),
    "PL": _region("112", "112", _EU, ",", "pl"),
    "PT": _region("112", "112", _EU, ",", "pt"),
    "SA": _region(None, None, _EU, ".", "ar"),
    "TR": _region(None, None, _EU, ","),
    "UA": _region(None, None, _EU, ",", "uk"),
    "US": _region("911", "911", _US, ".", "en", metric=False, letter=True),
}
"""Countries by ISO 3166-1 alpha-2 code."""


_NAMES = {
    # ISO 3166-1 alpha-3 and the names that stand on orders in English, in small letters without points.
    "AU": "aus, australia",
    "BR": "bra, brazil",
    "CA": "can, canada",
    "CN": "chn, china",
    "DE": "deu, germany",
    "EG": "egy, egypt",
    "ES": "esp, spain",
    "FR": "fra, france",
    "GB": "gbr, uk, united kingdom, great britain, britain",
    "HT": "hti, haiti",
    "IE": "irl, ireland",
    "IN": "ind, india",
    "IT": "ita, italy",
    "JP": "jpn, japan",
    "MX": "mex, mexico",
    "PK": "pak, pakistan",
    "PL": "pol, poland",
    "PT": "prt, portugal",
    "SA": "sau, saudi arabia",
    "TR": "tur, turkey, türkiye",
    "UA": "ukr, ukraine",
    "US": "usa, united states, united states of america, america",
}
_CODES = {name: code for code, names in _NAMES.items() for name in [code.casefold(), *names.split(", ")]}

MONTH_FIRST = {"US"}
"""Where 11/30 is a day in November. Of the regions, the United States alone (Unicode CLDR, short dates of its main
language, from memory)."""
DAY_FIRST = set(REGIONS) - MONTH_FIRST - {"CA", "CN", "JP"}
"""Where 30/11 is that day. Canada writes both; in China and Japan the year comes first: there both are asked about."""


def region_code(text: str) -> str:
    """Return the code of a region as people write it; what is none stays as it is, and the check says so."""
    name = " ".join(text.replace(".", "").split()).casefold().removeprefix("the ")
    return _CODES.get(name, text)
