"""The translations: every language whole, no placeholder lost, no figure changed, and an honest word on its review."""

import datetime as dt
import io
import re
import shutil
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from babel.messages.pofile import read_po, write_po

from companion import resources
from companion.cli import main
from companion.editing import catalogues as catalogue
from companion.errors import SettingError
from companion.guide import sections
from companion.language.catalogue import (
    SOURCE,
    available,
    forms_of,
    is_reviewed,
    is_translated,
    message_of,
    review_of,
)
from companion.language.catalogue import catalogue as translations
from companion.language.locale import Locale

TAGS = [tag for tag in available() if tag != SOURCE]
EACH = pytest.mark.parametrize("tag", TAGS)


def held(tag: str) -> dict[str, str]:
    """Return message and translation."""
    found = translations(tag)
    assert found is not None
    return {
        message_of(entry): " ".join(forms_of(entry))
        for entry in found
        if entry.id and is_translated(entry) and not entry.fuzzy
    }


def test_five_languages_beside_english() -> None:
    assert {"ar", "es", "fr", "hi", "zh-Hans"} <= set(TAGS)


@EACH
def test_nothing_has_lost_a_placeholder(tag: str) -> None:
    assert not catalogue.state(tag).faults


def test_what_is_missing_stale_or_broken_is_told(copied: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = entry("Frozen skin", "Piel congelada") + entry("Liquid in an eye", "**Ojo") + entry("Of old", "De antes")
    (copied / "es" / "messages.po").write_text(HEAD + told, encoding="utf-8")
    found = catalogue.state("es")
    assert (found.translated, found.stale, found.faults) == (2, ("Of old",), ("Liquid in an eye",))
    assert main(["locales", "es"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith(f"es: 2 of {found.messages} translated")
    assert sum(line.startswith("missing ") for line in lines) == found.messages - 2
    assert not [line for line in lines if line.startswith("missing ") and line.endswith(": Frozen skin")]
    assert "stale    Of old" in lines
    assert [line for line in lines if line.startswith("marks ") and line.endswith(": Liquid in an eye")]


@EACH
def test_figures_are_the_same(tag: str) -> None:
    """15 minutes stay 15 minutes: the figures of a message and of its translation are the same."""
    for message, translation in held(tag).items():
        told, wanted = (Counter(re.findall(r"\d+", text)) for text in (translation, message))
        # What English says in a word may stand in figures, and in one language "each" is "one of them".
        in_words = Counter(WORDS[word] for word in re.findall(r"\w+", message.lower()) if word in WORDS)
        assert not wanted - told, (message, translation)
        assert not told - wanted - in_words, (message, translation)


WORDS = {
    **{
        "a": "1",
        "any": "1",
        "each": "1",
        "one": "1",
        "off": "0",
        "other": "1",
        "two": "2",
        "both": "2",
        "three": "3",
        "four": "4",
    },
    **{"five": "5", "seven": "7", "eight": "8", "quarter": "4", "quarters": "4", "eighth": "8", "eighths": "8"},
}


@EACH
def test_figures_are_those_of_the_equipment(tag: str) -> None:
    # Arabic-Indic, extended Arabic-Indic and Devanagari digits, and fractions, which turn round in some scripts
    for translation in held(tag).values():
        assert not re.search("[\u0660-\u0669\u06f0-\u06f9\u0966-\u096f\u00bc-\u00be]", translation), translation


@EACH
def test_no_range_with_a_dash(tag: str) -> None:
    # UAX #9: "2-3" is seen as "3-2" after right-to-left letters.
    for translation in held(tag).values():
        assert not re.search(r"\d\s?[-–—]\s?\d", translation), translation


@pytest.mark.parametrize(
    ("tag", "count", "said"),
    [
        # CLDR 47, plural rules: Arabic has a form for 1, 2, 3 to 10, 11 to 99, 100; French counts 0 as one
        ("ar", 1, "one"),
        ("ar", 2, "two"),
        ("ar", 3, "3 few"),
        ("ar", 10, "10 few"),
        ("ar", 11, "11 many"),
        ("ar", 100, "100 other"),
        ("fr", 1, "1 one"),
        ("fr", 2, "2 other"),
        ("es", 2, "2 cats"),  # not translated: in English
        ("en", 1, "1 cat"),
        ("en", 5, "5 cats"),
    ],
)
def test_a_number_has_its_form(copied: Path, tag: str, count: int, said: str) -> None:
    forms = {"ar": ["none", "one", "two", "{count} few", "{count} other", "{count} many"]}
    forms["fr"] = ["{count} one", "{count} other"]
    for language, strings in forms.items():
        path = copied / language / "messages.po"
        lines = "".join(f'msgstr[{place}] "{words}"\n' for place, words in enumerate(strings))
        entry = f'\nmsgid "{{count}} cat"\nmsgid_plural "{{count}} cats"\n{lines}'
        path.write_text(path.read_text(encoding="utf-8") + entry, encoding="utf-8")
    assert str(Locale(tag, "US").plural(count, "{count} cat", "{count} cats")) == said


@EACH
def test_each_has_a_glossary_and_a_record_of_its_read_back(tag: str) -> None:
    folder = resources.folder("locales") / tag
    assert (folder / "glossary.md").read_text(encoding="utf-8").count("|") > 40
    assert "English" in (folder / "readback.md").read_text(encoding="utf-8")


@EACH
def test_containers_have_different_names(tag: str) -> None:
    locale = Locale(tag, "US")
    assert len({locale.text(name) for name in ("Reservoir", "Portable", "Cylinder")}) == 3


@EACH
def test_a_language_without_a_review_says_so(tag: str) -> None:
    assert is_reviewed(tag) == (review_of(tag) is not None and not catalogue.state(tag).changed_since_review)


def test_command_lists_every_language(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["locales"]) == 0
    told = capsys.readouterr().out
    assert all(tag in told for tag in TAGS)


def test_unknown_language(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["locales", "xx"]) == 2
    assert "There is no language 'xx'" in capsys.readouterr().err


# ── on a copy of the languages ──────────────────────────────────────────────────────────────────


@pytest.fixture
def copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Let the program work on a copy of the languages."""
    copy = tmp_path / "locales"
    shutil.copytree(resources.folder("locales"), copy)
    templates = resources.folder("templates")
    monkeypatch.setattr(resources, "folder", {"locales": copy, "templates": templates}.__getitem__)
    for remembered in (translations, review_of, is_reviewed, available):
        remembered.cache_clear()
    yield copy
    monkeypatch.undo()
    for remembered in (translations, review_of, is_reviewed, available):
        remembered.cache_clear()


def test_a_review_holds_until_a_message_changes(copied: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole = catalogue.template()
    for message in whole:
        message.string = message.id or ""
    out = io.BytesIO()
    write_po(out, whole, width=0, omit_header=True)
    (copied / "es" / "messages.po").write_bytes(HEAD.encode() + out.getvalue())
    assert main(["locales", "es", "--reviewed-by", "Inés Robledo", "--qualification", "sworn translator"]) == 0
    translations.cache_clear()
    review_of.cache_clear()
    is_reviewed.cache_clear()
    assert Locale("es", "US").reviewed
    assert "Inés Robledo (sworn translator)" in capsys.readouterr().out
    path = copied / "es" / "messages.po"
    path.write_text(path.read_text(encoding="utf-8").replace('msgstr "Frozen skin"', 'msgstr "Piel"'), encoding="utf-8")
    translations.cache_clear()
    is_reviewed.cache_clear()
    assert not Locale("es", "US").reviewed
    assert catalogue.state("es").changed_since_review == 1


@pytest.mark.usefixtures("copied")
def test_a_review_needs_a_qualification(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["locales", "es", "--reviewed-by", "Inés Robledo"]) == 2
    assert "qualification" in capsys.readouterr().err


def test_a_new_language_is_one_command(copied: Path) -> None:
    assert main(["locales", "nl", "--update"]) == 0
    assert (copied / "nl" / "locale.toml").is_file()
    found = catalogue.state("nl")
    assert found.translated == 0
    assert found.messages == catalogue.state("es").messages
    with pytest.raises(SettingError, match="cannot be recorded as reviewed"):
        catalogue.record_review("nl", "Nobody", "none", dt.date(2026, 11, 25))


def test_an_update_changes_nothing_that_is_in_step(copied: Path) -> None:
    path = copied / "es" / "messages.po"
    main(["locales", "es", "--update"])
    before = path.read_bytes()
    main(["locales", "es", "--update"])
    assert path.read_bytes() == before


def entry(message: str, translation: str, flags: str = "") -> str:
    """Return one entry of a catalogue."""
    return f'\n{flags}msgid "{message}"\nmsgstr "{translation}"\n'


@pytest.mark.parametrize(
    ("message", "translation"),
    [
        # each a fault of which a printer or a reader could make more than text
        ("Call {emergency_number} at once.", "Llame ya."),  # a lost value
        ("Call {emergency_number} at once.", "Llame al {emergency_numbr} ya."),  # a mistyped one
        ("Call {emergency_number} at once.", "Llame al {emergency_number ya."),  # one that is not closed
        ("Call {emergency_number} at once.", "Llame al {{ emergency_number }} ya."),
        ("Frozen skin", "{{ 40+9 }}"),
        ("Frozen skin", "{% if x %}"),
        ("Frozen skin", "<script>alert(1)</script>"),
        ("Frozen skin", "**Piel congelada"),  # a bold mark that is not in the English
    ],
)
def test_a_broken_translation_is_refused(copied: Path, message: str, translation: str) -> None:
    path = copied / "es" / "messages.po"
    path.write_text(HEAD + entry(message, translation), encoding="utf-8")
    assert catalogue.marks_differ(message, translation)
    if message == "Frozen skin":
        assert catalogue.state("es").faults == ("Frozen skin",)


HEAD = (
    'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=utf-8\\n"\n'
    '"Plural-Forms: nplurals=2; plural=(n != 1);\\n"\n'
)


def test_a_language_may_lag_and_the_page_says_so(copied: Path) -> None:
    (copied / "es" / "messages.po").write_text(HEAD + entry("Frozen skin", "Piel congelada"), encoding="utf-8")
    translations.cache_clear()
    is_reviewed.cache_clear()
    locale = Locale("es", "US")
    assert [locale.say(message).first.tag for message in ("Frozen skin", "Do not")] == ["es", "en"]
    assert str(locale.say("Do not")) == "Do not"
    assert not locale.reviewed


def test_a_comment_without_words_stops_nothing(copied: Path) -> None:
    path = copied / "es" / "messages.po"
    path.write_text(
        path.read_text(encoding="utf-8") + "\n#" + entry("You must call today.", "Llame hoy."), encoding="utf-8"
    )
    with pytest.MonkeyPatch.context() as patch:
        folders = {"locales": copied, "templates": resources.folder("templates")}
        patch.setattr(resources, "folder", folders.__getitem__)
        catalogue.update("es")
    translations.cache_clear()
    assert "You must call today." not in path.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("english", "expected"),
    [
        ("You must call, today.", ("Llame hoy.", False)),  # other signs alone: carried over
        ("You must call the clinic today.", ("Llame hoy.", True)),  # other words: kept, and not printed
    ],
)
def test_a_changed_message_keeps_its_translation(copied: Path, english: str, expected: tuple[str, bool]) -> None:
    path = copied / "es" / "messages.po"
    section = copied.parent / "templates"
    shutil.copytree(resources.folder("templates"), section)
    care = section / "sections" / "tubing-and-care.md"
    care.write_text(care.read_text(encoding="utf-8") + f"\n{english}\n", encoding="utf-8")
    path.write_text(path.read_text(encoding="utf-8") + entry("You must call today.", "Llame hoy."), encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(resources, "folder", {"locales": copied, "templates": section}.__getitem__)
        for remembered in (sections.section, sections._source, translations, catalogue.messages):
            remembered.cache_clear()
        catalogue.update("es")
        once = path.read_bytes()
        catalogue.update("es")
        assert path.read_bytes() == once
        after = {str(found.id): found for found in read_po(io.BytesIO(path.read_bytes())) if found.id}
    for remembered in (sections.section, sections._source, translations, catalogue.messages):
        remembered.cache_clear()
    assert (after[english].string, after[english].fuzzy) == expected
    assert ('#| msgid "You must call today."' in path.read_text(encoding="utf-8")) == expected[1]
