"""Guides of the homes, made once for all tests that look at them."""

from dataclasses import dataclass
from functools import cache

from companion.case import Case, read_case
from companion.guide.make import to_pdf
from companion.guide.page import Code, guide_page, table_page
from companion.language.locale import Bilingual, Locale
from companion.link.code import Keys, address, encode
from companion.reckoning.plan import Plan, plan
from tests.cases import UNEVEN, a_case
from tests.tools import EXAMPLE_FILES, ROOT

EXAMPLES = tuple(path.stem for path in EXAMPLE_FILES)
HOMES = (*EXAMPLES, "uneven")
"""Every home for which a page must be right: the examples, and one in which no two figures are alike."""
KEYS = Keys((b"\x07" * 32,))


@dataclass(frozen=True)
class Made:
    """One guide, with what it was made from."""

    case: Case
    plan: Plan
    locale: Locale
    code: Code
    page: str
    pdf: bytes


@cache
def example(name: str) -> Case:
    """Return one of the homes."""
    return a_case(UNEVEN) if name == "uneven" else read_case(ROOT / "examples" / f"{name}.toml")


@cache
def guide(name: str, tag: str = "en", beside: str | None = None) -> Made:
    """Make the guide of a home in a language, with another beside it if asked."""
    return _made(name, tag, beside, "guide")


@cache
def table(name: str, tag: str = "en") -> Made:
    """Make the duration table of a home."""
    return _made(name, tag, None, "table")


def _made(name: str, tag: str, beside: str | None, kind: str) -> Made:
    case = example(name)
    made = plan(case)
    region = case.clinic.region
    locale = Bilingual(tag, region, Locale(beside, region)) if beside else Locale(tag, region)
    base = case.clinic.link_base or "https://oxygen.example"
    code = Code(address(base, encode(case, KEYS)), base)
    page = (guide_page if kind == "guide" else table_page)(case, made, locale, code)
    return Made(case, made, locale, code, page, to_pdf(page, case))
