"""Every name that is accepted can be printed: what ``check`` says of a sign is what the typesetter does with it."""

import json
import unicodedata
from dataclasses import replace
from functools import cache

import babel
import pytest
import typst
from hypothesis import given, settings
from hypothesis import strategies as st

from companion import fonts
from companion.case.amounts import _HIDDEN
from companion.errors import CaseError, PrintError
from companion.guide.document import Heading, Paragraph, Section
from companion.guide.sheets import document
from companion.language import catalogue
from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.language.said import Run
from companion.reckoning.plan import plan
from companion.render.pdf import pdf
from tests.cases import a_case


@cache
def compiler() -> typst.Compiler:
    loaded = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=fonts.folders())
    return typst.Compiler(font_paths=loaded)


def prints(words: list[str], tag: str = "en") -> bool:
    """Return whether the typesetter sets all of these words in a language's fonts."""
    families = ", ".join(f'"{family}"' for family in Locale(tag, "US").fonts)
    page = f'#set document(title: "x")\n#set text(font: ({families},))\n#for word in json("words") [#par(word) *#word*]'
    files = {"main.typ": page.encode(), "words": json.dumps(words).encode()}
    try:
        compiler().compile(files, format="pdf", pdf_standards=["ua-1"])  # type: ignore[type-var]
    except typst.TypstError:
        return False
    return True


@pytest.mark.parametrize(
    "name",
    [
        *("Rosa Lindqvist", "Łukasz Żółć", "Nguyễn Thị Ánh", "Ẹ̀bùn Adéṣínà", "Αθηνά", "Ольга", "Ґалаґан", "Hawaiʻi"),
        *("علی‌رضا", "محمّد", "אֲבִיגַיִל", "राम प्रसाद", "ক্ষেত্র", "ਗੁਰਪ੍ਰੀਤ", "தமிழ்", "ശ്രീ", "සිංහල", "ศิริพร", "ລາວ", "ខ្មែរ"),
        *("မြန်မာ", "አበበ", "Անահիտ", "ნინო", "王小明", "山田さん", "김철수", "Amalia 🙂", "5 × 2 ½ …"),
        unicodedata.normalize("NFD", "Zoë Brontë"),
    ],
)
def test_names_that_are_accepted_and_print_in_every_language(name: str) -> None:
    case = a_case({"patient.name": name})
    for tag in available():
        assert prints([str(case.patient.name)], tag), tag


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("བསྟན་འཛིན", "'བ' (U+0F56 TIBETAN LETTER BA)"),
        ("ᏣᎳᎩ", "U+13E3 CHEROKEE LETTER TSA"),
        ("ᐃᓄᒃ", "U+1403"),
        ("ᠮᠣᠩᠭᠣᠯ", "U+182E"),
        ("ߒߞߏ", "U+07D2"),
        ("𞤀𞤣𞤤𞤢𞤥", "U+1E900"),
        ("ꆈꌠꉙ", "U+A188"),
        ("𓂀", "U+13080"),
        ("Rosa \ue000", "U+E000"),
        ("Rosa \U0010fffd", "U+10FFFD"),
        ("Rosa \u0378", "U+0378"),  # unassigned
        ("\u2800", "U+2800 BRAILLE PATTERN BLANK"),
        ("\u3164", "cannot be seen (U+3164 HANGUL FILLER)"),
        *(
            (f"Ro{sign}sa", f"cannot be seen (U+{ord(sign):04X}")
            for sign in "\uffa0\u034f\u180e\U0001d173\u17b4\ufe0f\U000e0100"
        ),
        ("\u200d", "nothing that can be seen"),
        ("\u0301", "nothing that can be seen"),
        ("−\u0c3f", "U+2212 MINUS SIGN, U+0C3F TELUGU VOWEL SIGN I"),  # a mark on a sign of another font
    ],
)
def test_names_that_cannot_be_printed_are_refused_with_the_sign_and_the_field(name: str, told: str) -> None:
    for field in ("patient.name", "clinic.name", "reservoir[1].name", "portable[1].name", "prescription.prescriber"):
        with pytest.raises(CaseError) as caught:
            a_case({field: name})
        (fault,) = caught.value.faults
        assert (fault.where, told in fault.problem) == (field, True), fault.problem


@settings(max_examples=10)
@given(st.lists(st.characters(min_codepoint=0x21, exclude_categories=("Cs", "M")), min_size=150, max_size=150))
def test_a_sign_is_accepted_if_and_only_if_it_prints(signs: list[str]) -> None:
    shown = [sign for sign in signs if not _HIDDEN.search(sign)]
    assert prints([sign for sign in shown if not fonts.without_a_font(sign)])
    refused = [sign for sign in shown if fonts.without_a_font(sign)]
    assert not refused or not prints(refused[:1])


@cache
def names_of_the_world() -> tuple[str, ...]:
    """Return 20,000 names of languages and countries in 34 scripts and languages, as CLDR has them."""
    found = set()
    for path in LANGUAGES.split():
        known = babel.Locale.parse(path)
        found |= {*known.languages.values(), *known.territories.values()}
    return tuple(sorted(unicodedata.normalize("NFC", name) for name in found if not _HIDDEN.search(name)))


LANGUAGES = "am ar bn cs de el fa gu he hi hy ja ka km kn ko lo ml mr my ne or pa ps ru si ta te th tr ur vi yo zh"


@pytest.mark.parametrize("tag", available())
def test_names_that_nobody_here_has_picked_print(tag: str) -> None:
    accepted = [name for name in names_of_the_world() if not fonts.without_a_font(name)]
    assert len(accepted) > 0.98 * len(names_of_the_world()) > 15_000
    assert prints(accepted[:: 4 if tag == "en" else 40], tag)


def test_plain_letters_need_no_font_file(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fonts, "folders", lambda: pytest.fail("fonts were read"))
    assert fonts.without_a_font("Rosa Lindqvist (555) 0142") == ""


@pytest.mark.parametrize("tag", available())
def test_every_language_has_noto_sans_for_foreign_names(tag: str) -> None:
    assert "Noto Sans" in catalogue.settings(tag)["fonts"]


def test_what_the_typesetter_refuses_is_told_with_the_section() -> None:
    case = a_case()
    guide = document("guide", case, plan(case), Locale("en", "US"), None)
    fire = next(block for block in guide.blocks if isinstance(block, Section) and block.name == "fire")
    strange = replace(fire, blocks=(*fire.blocks, Paragraph(Locale("en", "US").alone(Run("བ")))))
    blocks = tuple(strange if block is fire else block for block in guide.blocks)
    with pytest.raises(PrintError) as caught:
        pdf(replace(guide, blocks=blocks), case.issued)
    heading = fire.blocks[0]
    assert isinstance(heading, Heading)
    assert caught.value.section == str(heading.text)
    assert "could not be displayed" in str(caught.value)
    assert "Traceback" not in str(caught.value)
