"""The teach-back record of the clinician's copy: who was there, the questions with their answers, what was shown."""

from collections.abc import Iterator, Sequence
from typing import Literal

from companion.case.model import Case
from companion.guide.document import Block, Form, Heading, Paragraph
from companion.guide.grids import in_english
from companion.guide.teach_back import teach_back
from companion.language.catalogue import SOURCE
from companion.language.locale import Locale
from companion.language.said import Said
from companion.reckoning.plan import Plan

SHOW_ME = (
    ("Reads the gauge of each container as it must be read", "all"),
    ("Sets the flow that was ordered, and turns it off after use", "all"),
    ("Finds the row and the column for what they do, and says the time", "all"),
    ("Fills the portable, if the supplier has taught it", "portable"),
    ("Closes the portable and keeps it upright", "portable"),
    ("Changes over to a cylinder and opens its valve slowly", "cylinder"),
    ("Finds the phone numbers and says what to tell", "all"),
)
"""What the patient or caregiver is asked to do, and the equipment that it needs."""


def teach_back_record(case: Case, made: Plan, locale: Locale, english: Locale) -> Iterator[Block]:
    """Yield the record, its questions in the patient's language and in English."""
    kinds = {"all"} | {store.kind for store in made.stores}
    yield Heading(2, in_english("Teach-back record"))
    yield Paragraph(
        in_english(
            "Tell two or three things, then ask about them, then go on. It tests the explanation, not the patient: say "
            "that you want to be sure you explained it well. Where an answer is missing, explain it in other words or "
            "show it, and ask again."
        )
    )
    record = ("Date and place", "Who was present", "Language, interpreter", "Follow-up call, in 2 to 3 days")
    yield Form(in_english("Who was there"), tuple(map(in_english, record)), ((),), "record")
    both = [locale] if locale.tag == SOURCE else [locale, english]
    yield Form(
        in_english("Questions"),
        tuple(map(in_english, ("Ask", "The guide's answer", "Said it", "Showed it", "Taught again"))),
        tuple(
            (_beside(*(q.ask for q in asked)), _beside(*(q.expect for q in asked)))
            for asked in zip(*(teach_back(case, made, language) for language in both), strict=True)
        ),
        "ask",
    )
    show = tuple(words for words, kind in SHOW_ME if kind in kinds)
    yield _form("show", "Show me", ("Asked to show", "Showed it", "Taught again"), show)
    who = ("Clinician", "Patient or caregiver", "Interpreter")
    yield _form("signatures", "Signatures", ("Who", "Name", "Signature", "Date"), who)


def _beside(*texts: Said) -> Said:
    """Return the same text in the patient's language and, under it, in English."""
    return Said(tuple(text.first for text in texts))


def _form(manner: Literal["show", "signatures"], caption: str, heads: Sequence[str], rows: Sequence[str]) -> Form:
    return Form(
        in_english(caption), tuple(map(in_english, heads)), tuple((in_english(words),) for words in rows), manner
    )
