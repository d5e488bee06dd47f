"""Guides of the homes, made once for all tests that look at them."""

from dataclasses import dataclass
from functools import cache, cached_property

from companion.case import Case, read_case
from companion.guide.code import Code
from companion.guide.document import Document, Sheet
from companion.guide.sheets import document
from companion.language.catalogue import available
from companion.language.locale import Bilingual, Locale
from companion.link.code import address, encode
from companion.link.keys import Keys
from companion.reckoning.plan import Plan, plan
from companion.render.html import html
from companion.render.pdf import pdf
from tests.cases import UNEVEN, a_case
from tests.tools import EXAMPLE_FILES, ROOT

EXAMPLES = tuple(path.stem for path in EXAMPLE_FILES)
HOMES = (*EXAMPLES, "uneven")
"""Every home for which a page must be right: the examples, and one in which no two figures are alike."""
EACH = [
    *((name, "en") for name in HOMES),
    *((HOMES[place % len(HOMES)], tag) for place, tag in enumerate(available()[1:])),
]
"""Every home in English, and every other language once, with the homes in turn: what is wrong with a page is wrong with
a home or with a language, and a language must not cost what all homes do."""
KEYS = Keys((b"\x07" * 32,))

CODE = Code("x", None, "x", "x")
"""Where a test does not look at the code."""


@dataclass(frozen=True)
class Made:
    """One guide, with what it was made from."""

    case: Case
    plan: Plan
    locale: Locale
    code: Code
    document: Document

    @cached_property
    def page(self) -> str:
        """The HTML."""
        return html(self.document)

    @cached_property
    def pdf(self) -> bytes:
        """The PDF; typeset for who asks for it, because it takes a hundred times as long as the page."""
        return pdf(self.document, self.case.issued)


@cache
def example(name: str) -> Case:
    """Return one of the homes."""
    return a_case(UNEVEN) if name == "uneven" else read_case(ROOT / "examples" / f"{name}.toml")


@cache
def planned(name: str) -> Plan:
    """Return the plan of one of the homes."""
    return plan(example(name))


@cache
def guide(name: str, tag: str = "en", beside: str | None = None) -> Made:
    """Make the guide of a home in a language, with another beside it if asked."""
    return _made(name, tag, beside, "guide")


@cache
def table(name: str, tag: str = "en") -> Made:
    """Make the duration table of a home."""
    return _made(name, tag, None, "table")


def _made(name: str, tag: str, beside: str | None, kind: Sheet) -> Made:
    case = example(name)
    made = planned(name)
    region = case.clinic.region
    locale = Bilingual(tag, region, Locale(beside, region)) if beside else Locale(tag, region)
    base = case.clinic.link_base or "https://oxygen.example"
    signed = encode(case, KEYS)
    code = Code(address(base, signed), base, signed, "")
    return Made(case, made, locale, code, document(kind, case, made, locale, code))


def sheet_html(sheet: Sheet, case: Case, made: Plan, locale: Locale, code: Code | None) -> str:
    """Return one sheet as HTML."""
    return html(document(sheet, case, made, locale, code))
