"""Families: several languages, fires by custom, a gauge that cannot be seen, a call in the local language."""

import math
from fractions import Fraction

import pytest

from companion.case.model import Case
from companion.facts.units import KG_PER_LB
from companion.guide.document import Document, Sheet, texts_of
from companion.guide.guide import CONTENTS, LIVING, REFERENCE
from companion.guide.sheets import document
from companion.language.locale import Bilingual, Locale
from companion.reckoning.plan import plan
from companion.render.pdf import marks
from companion.render.same_pages import MOST_PAGES, same_pages
from companion.render.text import text
from tests.cases import a_case
from tests.guides import example, planned

ENGLISH = Locale("en", "US")


def words(sheet: Sheet, case: Case, locale: Locale) -> str:
    """Return all that a sheet says."""
    return " ".join(str(said) for said in texts_of(document(sheet, case, plan(case), locale, None)))


# ── fires by custom ─────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("changes", "tag", "said"),
    [
        ({}, "en", set()),
        ({"patient.customs": ["incense", "cooking-gas"]}, "en", {"incense", "gas cylinder"}),
        ({"patient.languages": ["hi", "en"]}, "en", {"incense", "oil lamps", "gas cylinder"}),
        ({"patient.languages": ["ar", "en"]}, "en", {"incense", "charcoal", "water pipe", "gas cylinder"}),
        ({"patient.languages": ["ar", "en"], "patient.customs": ["charcoal"]}, "en", {"charcoal"}),
    ],
)
def test_what_burns_in_a_home_is_said_where_it_is_customary(
    changes: dict[str, object], tag: str, said: set[str]
) -> None:
    told = words("guide", a_case(changes), Locale(tag, "US"))
    known = {"incense", "oil lamps", "charcoal", "water pipe", "gas cylinder"}
    assert {name for name in known if name in told} == said


# ── on the phone ────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("tag", "region", "answering", "begins", "has_sound"),
    [
        ("es", "US", "en", "I need help. I use oxygen. I speak Spanish.", True),
        ("ar", "FR", "fr", "J’ai besoin d’aide. Je suis sous oxygène. Je parle arabe.", True),
        ("zh-Hans", "US", "en", "I need help. I use oxygen. I speak Chinese.", True),
        ("hi", "FR", "fr", "J’ai besoin d’aide. Je suis sous oxygène. Je parle hindi.", False),
    ],
)
def test_what_to_say_is_in_the_language_of_the_place(
    tag: str, region: str, answering: str, begins: str, has_sound: bool
) -> None:
    found = Locale(tag, region).on_the_phone(answering)
    assert found is not None
    said, sound = found
    assert said.first.tag == answering
    assert str(said).startswith(begins)
    assert (sound is not None) == has_sound


def test_nobody_is_told_how_to_speak_the_own_language() -> None:
    assert ENGLISH.on_the_phone("en") is None
    assert ENGLISH.on_the_phone(None) is None


# ── by weight ───────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("name", ["harbour-lane", "mill-street", "orchard-row", "uneven"])
def test_a_weight_never_overstates_what_is_in_the_portable(name: str) -> None:
    case, made = example(name), planned(name)
    for item, line in zip(case.portable, made.weights, strict=True):
        store = made.liquid_store(line.container)
        unit_kg = 1.0 if line.metric else KG_PER_LB
        for level, shown in line.at_least.items():
            assert math.isclose(shown * 10, round(shown * 10))  # a scale shows tenths
            held_kg = shown * unit_kg - item.empty_mass.to("mass")
            assert held_kg >= store.full_kg * float(level) - 1e-9
            # even if the scale has rounded up
            counted_kg = store.full_kg * (float(level) - store.gauge_error(made.margins))
            assert held_kg - unit_kg / 20 >= counted_kg - 1e-9


def test_a_weight_by_hand() -> None:
    # 1 kg of oxygen in 2.5 kg: 3.5 kg are 7.716 lb, 3.25 kg are 7.165 lb
    case = a_case(
        {
            "portable[1].liquid_volume": None,
            "portable[1].working_pressure": None,
            "portable[1].oxygen_mass": "1 kg",
            "portable[1].empty_mass": "2.5 kg",
        }
    )
    (line,) = plan(case).weights
    assert (line.at_least[Fraction(1)], line.at_least[Fraction(3, 4)]) == (7.8, 7.2)


def test_the_text_has_the_weights_and_the_guide_where_the_clinician_says_so() -> None:
    case = example("harbour-lane")
    weighed = case.model_copy(update={"patient": case.patient.model_copy(update={"weighs_portable": True})})
    head = "Portable weighs at least"
    assert head in words("text", case, ENGLISH)
    assert head not in words("guide", case, ENGLISH)
    assert head in words("guide", weighed, ENGLISH)


def test_the_text_has_nothing_that_a_voice_reads_as_noise() -> None:
    told = text(document("text", example("harbour-lane"), planned("harbour-lane"), ENGLISH, None))
    assert not [sign for sign in "→_|*#" if sign in told]
    assert "Portable shows full: Lasts at least, at 2 L/min: 5 hours 55 minutes\n" in told


# ── two languages ───────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("sheet", "both"),
    [
        ("fridge", ("Su oxígeno dura al menos", "Your oxygen lasts at least")),
        ("door", ("Oxígeno en uso", "Oxygen in use")),
        ("log", ("Registro diario", "Daily log")),
        ("log", ("Ambulancia 911", "Ambulance 911")),
    ],
)
def test_what_hangs_or_is_carried_has_both_languages(sheet: Sheet, both: tuple[str, str]) -> None:
    made = document(sheet, example("harbour-lane"), planned("harbour-lane"), Bilingual("es", "US", ENGLISH), None)
    told = " ".join(str(speech) for said in texts_of(made) for speech in said.speeches)
    assert [one for one in both if one not in told] == []


def test_sections_begin_on_the_same_pages_in_both_languages() -> None:
    made: list[Document] = [
        document("guide", example("harbour-lane"), planned("harbour-lane"), Locale(tag, "US"), None)
        for tag in ("es", "en")
    ]
    sections = {name for name, _ in (*LIVING, *REFERENCE)} | {CONTENTS}
    firsts = [{mark.name: mark.page for mark in marks(page) if mark.edge == "begin"} for page in same_pages(made)]
    begins = [{name: page for name, page in first.items() if name in sections} for first in firsts]
    assert begins[0] == begins[1]
    # A heading within a section is moved to the same page too where its section has the room.
    inner = [name for name in firsts[1] if name not in sections and firsts[0][name] != firsts[1][name]]
    assert len(inner) <= 2, inner
    assert max(max(first.values()) for first in firsts) <= MOST_PAGES
