"""From a plan to the page that is read: one well-formed XHTML document in one language."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache, partial
from typing import Any

import jinja2
from markupsafe import Markup

from companion import resources
from companion.case.model import Case
from companion.facts.region import REGIONS
from companion.guide import tables
from companion.guide.clinician import clinician_copy
from companion.guide.sections import blocks, template_source
from companion.guide.sheets import SHEETS
from companion.guide.values import Has, has, level_words, values
from companion.language.locale import SOURCE, Locale, isolated, plain
from companion.reckoning.choices import SHARED_ROWS
from companion.reckoning.containers import marks
from companion.reckoning.plan import Plan
from companion.render.qr import qr_svg

SECTIONS: tuple[tuple[str, Callable[[Has], bool]], ...] = (
    ("equipment", lambda _: True),
    ("your-flow", lambda _: True),
    ("reading-the-level", lambda _: True),
    ("how-long", lambda _: True),
    ("going-out", lambda has: has.portable),
    ("filling", lambda has: has.portable),
    ("refill-and-delivery", lambda _: True),
    ("calendar", lambda _: True),
    ("cold", lambda _: True),
    ("fire", lambda _: True),
    ("upright", lambda _: True),
    ("where-to-keep", lambda _: True),
    ("car-and-travel", lambda _: True),
    ("tubing", lambda _: True),
    ("care", lambda _: True),
    ("unexpected", lambda _: True),
    ("backup", lambda _: True),
    ("asking", lambda _: True),
    ("words", lambda _: True),
)
"""The sections after the first page, in order, and when a case has them."""


LONGEST_TEXT = 900
"""Bytes in a code that holds the table itself: 997 fit in version 25 of ISO/IEC 18004 at level M, 375 pt wide."""


@dataclass(frozen=True)
class Code:
    """What the QR code of a guide holds."""

    content: str
    """An address, or without a server the short table as plain text."""
    base: str | None
    """The clinic's address as it is printed in words, or None."""
    signed: str = ""
    """The signed code of the case alone, which is set into the head of the page."""
    figures: str = ""
    """The sealed figures, which are set beside it."""


def guide_page(case: Case, made: Plan, locale: Locale, code: Code) -> str:
    """Return the home guide."""
    return _render("guide.html.jinja", case, made, locale, code)


def sheet_page(name: str, case: Case, made: Plan, locale: Locale, code: Code) -> str:
    """Return one sheet of the set: the guide, or a page to hang up, carry, write on or keep with the notes.

    What hangs beside the guide is in its first language alone, so that it stays one page.
    """
    if name == "guide":
        return guide_page(case, made, locale, code)
    reader = locale.languages[0]
    if name != "clinician":
        return _render(SHEETS[name], case, made, reader, code)
    english = Locale(SOURCE, locale.region)
    fonts = list(dict.fromkeys([*english.fonts, *reader.fonts]))
    return _render(SHEETS[name], case, made, english, code, copy=clinician_copy(case, made, reader), fonts=fonts)


def table_page(case: Case, made: Plan, locale: Locale, code: Code) -> str:
    """Return the duration table alone, to print or to look up on a phone."""
    return _render("table.html.jinja", case, made, locale, code)


def web_page(template: str, case: Case, made: Plan, locale: Locale, **more: Any) -> str:
    """Return a page of the web programs, which knows what a guide's page knows and what the program adds."""
    return _render(template, case, made, locale, Code("", None), **more)


def table_text(made: Plan, locale: Locale) -> str:
    """Return the short table as plain text, for a QR code that works without a server."""
    whole = ""
    # Portable first, then reservoirs, each table with a few marks or not at all: each line more makes the code finer.
    for table in [*tables.durations(made, "portable", locale), *tables.durations(made, "reservoir", locale)]:
        lines = [_plain(table.caption)]
        for row in (row for row in table.rows if row.level in marks(table.divisions, SHARED_ROWS)):
            answers = [_plain(cell) for cell in row.cells]
            if len(answers) > 1:
                heads = (_plain(column.head) for column in table.columns)
                answers = [f"{head} {answer}" for head, answer in zip(heads, answers, strict=True)]
            lines.append(f"{_plain(row.head)}: {'; '.join(answers)}")
        longer = "\n".join(filter(None, [whole, *lines]))
        if len(longer.encode()) <= LONGEST_TEXT:
            whole = longer
    return whole


def _plain(text: Markup) -> str:
    return text.striptags()


@cache
def environment() -> jinja2.Environment:
    """Return the one Jinja environment: everything is escaped, a name that is not there is an error."""
    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader(resources.folder("templates")),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["plain"] = plain
    made.filters["bidi"] = lambda text: Markup("<bdi>{}</bdi>").format(text)
    return made


@cache
def _section_template(name: str, locale: Locale) -> jinja2.Template:
    return environment().from_string(template_source(name, locale))


@lru_cache(maxsize=4096)
def _drawing(name: str, locale: Locale, params: tuple[tuple[str, Any], ...]) -> Markup:
    template = environment().get_template(f"drawings/{name}.svg.jinja")
    words = partial(level_words, locale=locale)
    return Markup(template.render(_=locale.say, level_words=words, **dict(params)).strip())


def drawing(locale: Locale, name: str, **params: Any) -> Markup:
    """Return one drawing as an ``<svg>`` element."""
    return _drawing(name, locale, tuple(sorted(params.items())))


@cache
def section_title(name: str) -> str:
    """Return the heading of a section, as a message, for the table of contents."""
    return next(block.text for block in blocks(name) if block.kind == "heading")


def _carried(sheet: str, locale: Locale, code: Code) -> dict[str, str]:
    """Return what a page carries in its head, so that it can be checked again later."""
    if not code.signed:
        return {}
    tags = " ".join(language.tag for language in locale.languages)
    return {
        "companion-code": code.signed,
        "companion-figures": code.figures,
        "companion-sheet": f"{sheet} {tags}",
    }


def _render(template: str, case: Case, made: Plan, locale: Locale, code: Code, **more: Any) -> str:
    holds = has(case, made)
    first = values(case, made, locale.languages[0])
    context: dict[str, Any] = {
        "_": locale.say,
        "locale": locale,
        "leading": max(language.leading for language in locale.languages),
        "fonts": list(dict.fromkeys(font for language in locale.languages for font in language.fonts)),
        "case": case,
        "v": first,
        "w": values(case, made, locale.languages[-1]) if len(locale.languages) > 1 else first,
        "has": holds,
        "paper": "us-letter" if REGIONS[case.clinic.region].letter_paper else "a4",
        "drawing": partial(drawing, locale.languages[0]),
        "durations": partial(tables.durations, made, locale=locale),
        "trips": partial(tables.trips, made, locale),
        "standing": partial(tables.standing, made, locale),
        "steady": partial(tables.steady, made, locale),
        "flows": partial(tables.flows, made, locale),
        "stop_readings": partial(tables.stop_readings, case, made, locale),
        "deliveries": partial(tables.deliveries, made, locale),
        "gauge_rows": partial(tables.gauge_rows, made, locale),
        "code": code,
        "carried": _carried(template.partition(".")[0], locale, code),
        "qr": lambda: qr_svg(code.content, locale.text("A code for the camera of a phone.")),
        "address": lambda: Markup('<p class="address">{}</p>').format(isolated(code.base)),
        "sections": [name for name, wanted in SECTIONS if wanted(holds)],
        "title_of": lambda name: locale.say(section_title(name)),
        "side_by_side": partial(tables.side_by_side, made, locale),
        "ordered": partial(tables.ordered, case, locale),
        **more,
    }
    shared = environment().get_template("_blocks.html.jinja").make_module(context)
    made_there = ("box", "step", "parts", "answers", "table", "anchor", "urgent", "places", "see", "lines")
    context |= {name: getattr(shared, name) for name in (*made_there, "day_label", "night_label")}
    context["section"] = lambda name: Markup(_section_template(name, locale).render(context))
    return environment().get_template(template).render(context)
