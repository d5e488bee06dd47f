"""The desk in other languages: each message is found by its words or its pattern, and what is typed stays as it is."""

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from starlette.types import ASGIApp

from companion.case.read import case_from_dict
from companion.cli import main
from companion.editing.desk_messages import desk_messages, desk_state
from companion.guide.notice_words import notice_words
from companion.language.catalogue import DESK, message_of, read_catalogue
from companion.reckoning.plan import plan
from companion.web import form
from companion.web.tongue import Tongue, tongues
from tests.case.test_case import SLIPS, faults_of
from tests.cases import UNEVEN, case_dict
from tests.visit import ACCESS, ask, by_id, desk_app, tree, words

OTHERS = [tag for tag in tongues() if tag != "en"]
EACH = pytest.mark.parametrize("tag", OTHERS)


def test_the_desk_is_had_in_spanish_and_french() -> None:
    assert tongues() == ("en", "es", "fr")


@EACH
def test_every_message_is_translated_with_each_of_its_values(tag: str) -> None:
    found = desk_state(tag)
    assert found is not None
    assert (found.missing, found.stale, found.faults) == ((), (), ())


@EACH
def test_no_translation_has_a_figure_of_its_own(tag: str) -> None:
    for entry in (entry for entry in read_catalogue(tag, DESK) if entry.id):
        told = re.findall(r"\d+", message_of(entry))
        assert not [figure for figure in re.findall(r"\d+", str(entry.string)) if figure not in told], message_of(entry)


SAID = [
    ("en", "Boil-off a day", "Boil-off a day"),
    ("es", "Boil-off a day", "Evaporación al día"),
    ("es", "Portable 2: Boil-off a day", "Portátil 2: Evaporación al día"),
    ("es", "Read as 3 L/min", "Se leyó como 3 L/min"),
    ("es", "too small: at least 0", "demasiado pequeño: al menos 0"),
    # a message within a message
    (
        "es",
        "possible, but unlikely: the flow ordered for an adult is usually 0.5 to 15 L/min; here it is 0.2",
        "posible, pero poco probable: el flujo recetado a un adulto suele estar de 0.5 a 15 L/min; aquí es 0.2",
    ),
    (
        "fr",
        "'L' is no unit of mass loss here; write one of kg/day, lb/day",
        "«\xa0L\xa0» n’est pas une unité qui convient ici (évaporation)\u202f; "
        "écrivez l’une de celles-ci\xa0: kg/day, lb/day",
    ),
    ("fr", "by nasal cannula", "par canule nasale"),
    # what nobody has translated, and what is no message
    ("es", "The key file cannot be read.", "The key file cannot be read."),
    ("es", "Rosa Lindqvist", "Rosa Lindqvist"),
    ("es", "", ""),
]


@pytest.mark.parametrize(("tag", "english", "told"), SAID)
def test_a_message_is_found_by_its_words_or_its_pattern(tag: str, english: str, told: str) -> None:
    assert Tongue(tag).say(english) == told


@pytest.mark.parametrize("name", SLIPS)
def test_each_fault_of_a_case_is_told_in_spanish(name: str) -> None:
    _, _, changes = SLIPS[name]
    for fault in faults_of(changes):
        for part in (fault.problem, fault.right, fault.ask):
            assert Tongue("es").say(part) != part


@EACH
def test_each_notice_is_told_in_each_language(tag: str) -> None:
    for raw in (case_dict(), case_dict(UNEVEN)):
        notices = [notice_words(notice) for notice in plan(case_from_dict(raw, "a test")).notices]
        assert notices
        for told in notices:
            assert Tongue(tag).say(told).split()[1:4] != told.split()[1:4]


@pytest.fixture
def app(tmp_path: Path) -> ASGIApp:
    return desk_app(tmp_path)


def post(app: ASGIApp, do: str, entries: form.Entries, languages: str) -> Any:
    sent = {**entries, "do": [do], "token": [ACCESS.token]}
    return ask(app, "POST", "/", data=sent, headers={"accept-language": languages})


@pytest.mark.parametrize(
    ("languages", "tag", "label"),
    [
        ("es-MX,es;q=0.9,en;q=0.8", "es", "Flujo en reposo"),
        ("fr-CA", "fr", "Débit au repos"),
        ("ar,en;q=0.5", "en", "Flow at rest"),  # the desk is not had in Arabic
        ("", "en", "Flow at rest"),
    ],
)
def test_the_browser_says_in_which_language(languages: str, tag: str, label: str, app: ASGIApp) -> None:
    page = tree(post(app, "check", {"prescription.rest.flow": ["two"]}, languages).text)
    assert page.get("lang") == tag
    assert label in words(by_id(page, "case"))
    assert label in words(page).split("?")[0]


def test_what_is_typed_and_picked_is_the_same_in_every_language(app: ASGIApp) -> None:
    entries = form.entries_of(case_dict({"patient.name": "At rest", "prescription.prescriber": "Missing"}))
    english, spanish = (tomllib.loads(post(app, "save", entries, tag).text) for tag in ("en", "es"))
    assert english == spanish


def test_the_command_tells_how_the_desk_stands(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["locales"]) == 0
    rows = {line.split()[0]: line for line in capsys.readouterr().out.splitlines()}
    assert f"{len(desk_messages())}/{len(desk_messages())}" in rows["fr"]
    assert "English" in rows["ar"]
