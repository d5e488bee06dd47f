"""The guide: a few pages to live by, and behind them the pages in which one looks things up."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from companion.guide.compose import Composer
from companion.guide.conditions import Has
from companion.guide.document import Block, Box, Heading, Paragraph, Section
from companion.language.catalogue import SOURCE
from companion.language.locale import Locale
from companion.language.said import Run, typed

LIVING: tuple[tuple[str, Callable[[Has], bool]], ...] = (
    ("first-page", lambda _: True),
    ("wrong", lambda _: True),
    ("no-oxygen", lambda _: True),
    ("reservoir", lambda _: True),
    ("portable", lambda has: has.portable),
    ("going-out", lambda has: has.portable),
    ("filling", lambda has: has.portable),
)
"""The sections to live by, a page each, and when a case has them."""

URGENT = ("wrong", "no-oxygen")
"""The sections that a helper opens in a hurry: the edge of their paper is marked."""

CONTENTS = "contents"
"""The section that leads to everything else."""

REFERENCE: tuple[tuple[str, Callable[[Has], bool]], ...] = (
    ("equipment", lambda _: True),
    ("words", lambda _: True),
    ("your-flow", lambda _: True),
    ("weights", lambda has: has.weights),
    ("delivery", lambda _: True),
    ("backup", lambda _: True),
    ("leave", lambda _: True),
    ("upright", lambda _: True),
    ("trouble", lambda _: True),
    ("cold", lambda _: True),
    ("fire", lambda _: True),
    ("where-to-keep", lambda _: True),
    ("car-and-travel", lambda _: True),
    ("tubing-and-care", lambda _: True),
    ("asking", lambda _: True),
)
"""The sections behind them, in which one looks up, and when a case has them."""


def short(composer: Composer) -> list[Block]:
    """Return the pages to live by alone."""
    return [_living(composer, []), *_from_the_clinic(composer), *_draft(composer)]


def guide(composer: Composer) -> list[Block]:
    """Return the whole guide."""
    names = _present(REFERENCE, composer.has)
    return [
        _living(composer, [Section(composer.section(CONTENTS), CONTENTS)]),
        *_from_the_clinic(composer),
        *_draft(composer),
        *(Section(composer.section(name), name) for name in names),
    ]


def sections_of(has: Has, *, whole: bool) -> tuple[str, ...]:
    """Return the names of the sections of the whole guide, or of the pages to live by, that a case has."""
    living = _present(LIVING, has)
    return (*living, CONTENTS, *_present(REFERENCE, has)) if whole else living


def _present(sections: Sequence[tuple[str, Callable[[Has], bool]]], has: Has) -> tuple[str, ...]:
    return tuple(name for name, wanted in sections if wanted(has))


def _title(composer: Composer) -> list[Block]:
    locale = composer.locale
    made = {"issue_date": composer.values.issue_date, "review_date": composer.values.review_date}
    name = composer.case.patient.name
    made_for = (
        locale.say("For {name}. Made {issue_date}. Good until {review_date}.", name=typed(name), **made)
        if name
        else locale.say("Made {issue_date}. Good until {review_date}.", **made)
    )
    return [Heading(1, locale.say("Living with liquid oxygen at home")), Paragraph(made_for, "for")]


def _living(composer: Composer, after: list[Block]) -> Section:
    """Return the pages to live by, the title on the first of them, with what begins a page after them."""
    pages: list[Block] = []
    for name in _present(LIVING, composer.has):
        blocks = composer.section(name)
        begin = _title(composer) if not pages else []
        pages.append(Section((*begin, *blocks), name, "urgent" if name in URGENT else "plain"))
    return Section((*pages, *after), manner="living")


def _from_the_clinic(composer: Composer) -> list[Paragraph]:
    """Return the clinic's own sentence, behind its name: who reads it sees whose words they are."""
    clinic = composer.case.clinic
    if clinic.paper.sentence is None:
        return []
    name = replace(typed(f"{clinic.name}:"), bold=True)
    return [Paragraph(composer.locale.alone(name, Run(" "), typed(clinic.paper.sentence)))]


def _draft(composer: Composer) -> list[Box]:
    locale = composer.locale
    if locale.reviewed:
        return []
    blocks: list[Block] = [
        Paragraph(
            locale.say(
                "**This is a draft.** No qualified translator has checked these words yet. "
                "If something is not clear, ask before you act."
            )
        )
    ]
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
    return [composer.box("warning", tuple(blocks))]
