"""The sheets of a set: the guide, and what hangs, is carried, is written on or stays with the notes beside it."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from companion.case.model import Case
from companion.facts.region import REGIONS
from companion.guide import beside, guide, tables
from companion.guide.clinician import clinician_copy
from companion.guide.code import Code
from companion.guide.compose import Composer
from companion.guide.conditions import has
from companion.guide.document import Block, Document, Heading, Paragraph, Screen, Section, Sheet
from companion.guide.sections import title
from companion.language.catalogue import SOURCE
from companion.language.locale import Locale
from companion.language.said import Run, Said, isolated, joined
from companion.reckoning.plan import Plan


def document(sheet: Sheet, case: Case, plan: Plan, locale: Locale, code: Code | None) -> Document:
    """Return one sheet of a case.

    What hangs or is carried is there once more, on a page of its own, in the second of two languages: who helps, or an
    ambulance crew, may know only that.

    Args:
        code: what the QR code holds; None for a page that has none, such as the one behind the code.
    """
    others = locale.languages[1:] if sheet in ("wallet", "door", "fridge") else ()
    if others or sheet == "clinician":
        locale = locale.languages[0]
    if sheet == "clinician":
        return _clinician(case, plan, locale, code)
    if sheet == "text":
        # Who has it read aloud, or under the fingers, sees no gauge.
        case = case.model_copy(update={"patient": case.patient.model_copy(update={"weighs_portable": True})})
    whole = sheet in ("guide", "text")
    sections = guide.sections_of(has(case, plan), whole=whole)
    composer = Composer(case, plan, locale, code, sections)
    running = _running(composer) if sheet in ("guide", "short", "log", "table") else beside.draft_line(composer)
    blocks = _BLOCKS[sheet](composer)
    for other in others:
        again = replace(composer, locale=other)
        blocks.append(Section(tuple(_BLOCKS[sheet](again)), manner="page"))
        running = running or beside.draft_line(again)
    if sheet == "fridge":
        running = []  # every line of that page is needed
    return _document(sheet, blocks, running, composer, (*locale.languages, *others))


def _document(
    sheet: Sheet,
    blocks: Sequence[Block],
    running: Sequence[Said],
    composer: Composer,
    languages: Sequence[Locale],
) -> Document:
    locale, code = composer.locale, composer.code
    first = locale.languages[0]
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
        title=_title(blocks),
        blocks=tuple(blocks),
        running=tuple(running),
        tag=locale.tag,
        direction=locale.direction,
        languages=len(locale.languages),
        paper="us-letter" if REGIONS[composer.case.clinic.region].letter_paper else "a4",
        fonts=tuple(dict.fromkeys(font for language in languages for font in language.fonts)),
        letter_width=locale.letter_width,
        paragraph_gap=min(language.paragraph_gap for language in locale.languages),
        leading=max(language.leading for language in locale.languages),
        carried=carried,
        binding=composer.case.clinic.paper.binding if sheet in ("guide", "short") else "none",
        screen=Screen(first.say(title(guide.CONTENTS)), first.say("Read aloud"), first.say("Stop reading"))
        if sheet == "guide"
        else None,
    )


def _title(blocks: Sequence[Block]) -> Said:
    first = blocks[0]
    return (
        first.text if isinstance(first, Heading) else _title(first.blocks if isinstance(first, Section) else blocks[1:])
    )


def _running(composer: Composer) -> list[Said]:
    """Return the foot of each page, in each of its languages."""
    return [
        *(_foot(composer, language, numbered=not place) for place, language in enumerate(composer.locale.languages)),
        *beside.draft_line(composer),
    ]


def _foot(composer: Composer, language: Locale, *, numbered: bool) -> Said:
    """Return every number that helps, in the same place; then the page, which is said once."""
    say, numbers = language.say, composer.values
    clinic = composer.case.clinic
    parts = []
    if numbers.emergency_number is not None:
        parts.append(say("Ambulance {number}", number=numbers.emergency_number))
    if clinic.supplier is not None:
        parts.append(say("Supplier {number}", number=isolated(clinic.supplier.phone_day)))
    if clinic.supplier is None or clinic.supplier.phone_night is None:
        parts.append(say("Clinic {number}", number=numbers.phone_day))
    # At night whoever runs out of oxygen looks at the foot of the page that they have open.
    night = (clinic.supplier or clinic).phone_night
    if night is not None:
        parts.append(say("night {number}", number=isolated(night)))
    if numbered:
        parts.append(say("{page} of {pages}", page="#", pages="##"))
    return joined(*parts, between=" · ")


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
    "guide": guide.guide,
    "short": guide.short,
    "text": guide.guide,
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
