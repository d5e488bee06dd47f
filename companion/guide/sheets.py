"""The sheets of a set: the guide, and what hangs, is carried, is written on or stays with the notes beside it."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from companion.case.model import Case
from companion.facts.region import REGIONS
from companion.guide import beside, tables
from companion.guide.clinician import clinician_copy
from companion.guide.code import Code
from companion.guide.compose import EMERGENCIES, Composer
from companion.guide.document import (
    Block,
    Box,
    Contents,
    Document,
    Heading,
    Link,
    Paragraph,
    Section,
    Sheet,
)
from companion.guide.sections import title
from companion.guide.values import Has
from companion.language.catalogue import SOURCE
from companion.language.locale import Locale
from companion.language.said import Run, Said, joined, typed
from companion.reckoning.plan import Plan

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

_OF_A_PORTABLE = {"tipped", "stuck", "too-soon"}
_OF_A_CYLINDER = {"change-to-cylinder"}


def document(sheet: Sheet, case: Case, plan: Plan, locale: Locale, code: Code | None) -> Document:
    """Return one sheet of a case.

    What goes beside the guide is in its first language alone, so that it stays one page. What strangers read is there
    once more in the second: an ambulance crew may know only that.

    Args:
        code: what the QR code holds; None for a page that has none, such as the one behind the code.
    """
    others = locale.languages[1:] if sheet in ("wallet", "door") else ()
    if sheet not in ("guide", "table"):
        locale = locale.languages[0]
    if sheet == "clinician":
        return _clinician(case, plan, locale, code)
    composer = Composer(case, plan, locale, code)
    running = _running(composer) if sheet in ("guide", "log", "table") else beside.draft_line(composer)
    if sheet == "fridge":
        running = []  # every line of that page is needed
    blocks = _BLOCKS[sheet](composer)
    for other in others:
        again = replace(composer, locale=other)
        blocks.append(Section(tuple(_BLOCKS[sheet](again)), manner="page"))
        running = running or beside.draft_line(again)
    return _document(sheet, blocks, running, composer, (*locale.languages, *others))


def _document(
    sheet: Sheet,
    blocks: Sequence[Block],
    running: Sequence[Said],
    composer: Composer,
    languages: Sequence[Locale],
) -> Document:
    locale, code = composer.locale, composer.code
    tags = [language.tag for language in (locale.languages if sheet == "clinician" else languages)]
    carried = (
        (
            ("companion-code", code.signed),
            ("companion-figures", code.figures),
            ("companion-sheet", " ".join((sheet, *tags))),
        )
        if code
        else ()
    )
    return Document(
        sheet=sheet,
        title=next(block.text for block in blocks if isinstance(block, Heading)),
        blocks=tuple(blocks),
        running=tuple(running),
        tag=locale.tag,
        direction=locale.direction,
        languages=len(locale.languages),
        paper="us-letter" if REGIONS[composer.case.clinic.region].letter_paper else "a4",
        fonts=tuple(dict.fromkeys(font for language in languages for font in language.fonts)),
        leading=max(language.leading for language in locale.languages),
        carried=carried,
    )


def _running(composer: Composer) -> list[Said]:
    """Return the foot of each page: every number that helps, in the same place; then the page."""
    say, numbers = composer.locale.languages[0].say, composer.values
    parts = [say("Clinic {number}", number=numbers.phone_day)]
    if numbers.emergency_number is not None:
        parts.insert(0, say("Ambulance {number}", number=numbers.emergency_number))
    line = joined(*parts, between=" · ")
    if numbers.phone_night is not None:
        line = joined(line, say("at other times {number}", number=numbers.phone_night), between=" · ")
    return [line, say("Page {page} of {pages}", page="#", pages="##"), *beside.draft_line(composer)]


# ── the guide ───────────────────────────────────────────────────────────────────────────────────


def _guide(composer: Composer) -> list[Block]:
    locale = composer.locale
    sections = [name for name, wanted in SECTIONS if wanted(composer.has)]
    blocks: list[Block] = [Heading(1, locale.say("Your oxygen at home"))]
    if composer.case.patient.name:
        blocks.append(Paragraph(locale.say("For {name}", name=typed(composer.case.patient.name)), "for"))
    blocks += [
        Section(composer.section("first-page"), manner="first"),
        _emergencies(composer),
        _contents(composer, sections),
        *_draft(composer),
    ]
    for name in sections:
        inside = composer.section(name)
        if name == "how-long" and composer.code:
            inside = (*inside, Section(composer.section("code"), manner="whole"))
        blocks.append(Section(inside, name, "whole"))
    return blocks


def _emergencies(composer: Composer) -> Contents:
    has, locale = composer.has, composer.locale
    missing = (set() if has.portable else _OF_A_PORTABLE) | (set() if has.cylinder else _OF_A_CYLINDER)
    links = [composer.link(name) for name in EMERGENCIES if name not in missing]
    return Contents(
        Heading(2, locale.say("In an emergency"), ("urgent",)),
        locale.say("Find what is wrong. Go to that page."),
        (*links, Link("your-flow", locale.say(title("your-flow")))),
    )


def _contents(composer: Composer, sections: Sequence[str]) -> Contents:
    links = []
    for name in sections:
        links.append(Link(name, composer.locale.say(title(name))))
        if name == "how-long" and composer.has.portable:
            links.append(composer.link("waiting"))
    return Contents(Heading(2, composer.locale.say("What is in this guide"), ("contents",)), None, tuple(links))


def _draft(composer: Composer) -> list[Box]:
    locale = composer.locale
    if locale.reviewed:
        return []
    words = locale.say(
        "No qualified translator has checked these words yet. If something is not clear, ask before you act."
    )
    blocks: list[Block] = [Paragraph(words)]
    if locale.tag != SOURCE:
        blocks.append(
            Paragraph(
                Locale(SOURCE, locale.region).alone(
                    Run(
                        "This is a draft translation. No qualified translator has reviewed it yet. "
                        "Staff: go through it with an interpreter before you hand it over."
                    )
                )
            )
        )
    return [replace(composer.box("warning", tuple(blocks)), word=locale.say("This is a draft"))]


def _table(composer: Composer) -> list[Block]:
    plan, locale, numbers = composer.plan, composer.locale, composer.values
    plan_for = joined(
        locale.say("Plan for the time in the table and for no more."),
        locale.say("Between two lines, use the lower line."),
    )
    times = [
        *tables.durations(plan, "portable", locale),
        *tables.steady(plan, locale),
        *tables.standing(plan, locale),
        *tables.durations(plan, "reservoir", locale),
        *tables.durations(plan, "cylinder", locale),
    ]
    return [
        Heading(1, locale.say("How long your oxygen lasts")),
        Paragraph(beside.made_on(composer)),
        Paragraph(plan_for),
        *(composer.answers(table) for table in times),
        Paragraph(numbers.call_rule),
        composer.phone_table(),
    ]


_BLOCKS: dict[str, Callable[[Composer], list[Block]]] = {
    "guide": _guide,
    "fridge": beside.fridge,
    "wallet": beside.wallet,
    "door": beside.door,
    "log": beside.log,
    "table": _table,
}


def _clinician(case: Case, plan: Plan, reader: Locale, code: Code | None) -> Document:
    english = Locale(SOURCE, reader.region)
    composer = Composer(case, plan, english, code)
    running = english.alone(
        Run(f"Clinician's copy, {case.issued}: not for the patient · Page # of ##"),
    )
    return _document("clinician", clinician_copy(case, plan, reader), [running], composer, [english, reader])
