"""The clinic's desk: the same model and messages as a case file, and nothing kept."""

import datetime as dt
import io
import logging
import re
import tomllib
import zipfile
from pathlib import Path
from typing import Any

import httpx
import pdfplumber
import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st
from starlette.types import ASGIApp

from companion.case import read_case
from companion.case.read import case_from_dict
from companion.errors import CaseError, SettingError
from companion.link.keys import Keys
from companion.reckoning.plan import plan
from companion.render.html import script
from companion.web import form, kits
from companion.web.tongue import Tongue
from companion.web.visitors import Access, access
from tests.cases import PULSE, case_dict, valid_cases
from tests.conftest import as_toml
from tests.few import FEW
from tests.guides import EXAMPLES
from tests.tools import ROOT
from tests.visit import ACCESS, TODAY, XHTML, ask, assert_valid, by_id, desk_app, get, tree, words

ENTRIES = form.entries_of(case_dict())

FOLLOWING = ("prescription.rest.hours_per_day", "prescription.exertion.on_portable")
"""What follows from the other hours, and is not typed."""

HOSTILE = (
    "<script>alert(1)</script>",
    "{{ 7 * 7 }}{% raw %}",
    '#import "x.typ" $x^2$ *b* _i_ @ref',
    "'\"><img src=x onerror=alert(1)>",
    "]]>&amp;&lt;",
)
"""Text that HTML, Jinja or Typst would run if it were not shown as text. At most 80 characters each."""


@pytest.fixture
def app(tmp_path: Path) -> ASGIApp:
    return desk_app(tmp_path)


def post(app: ASGIApp, do: str, entries: form.Entries, path: str = "/") -> httpx.Response:
    return ask(app, "POST", path, data={**entries, "do": [do], "token": [ACCESS.token]})


def open_file(app: ASGIApp, data: bytes, entries: form.Entries | None = None) -> httpx.Response:
    sent = {**(entries or {}), "token": [ACCESS.token]}
    return ask(app, "POST", "/open", data=sent, files={"file": ("case.toml", data)})


def changed(changes: dict[str, Any]) -> dict[str, list[str]]:
    """Return what stands in the fields for the base case with some fields changed."""
    return form.entries_of(case_dict(changes))


def value_in(page: str, name: str) -> str | None:
    """Return what stands in a field of the page."""
    fields = [part for part in tree(page).iter() if part.get("name") == name]
    if fields and fields[0].get("type") == "radio":
        return next((one.get("value") for one in fields if one.get("checked")), "")
    field = fields[0]
    if field.tag == f"{XHTML}select":
        return next((one.get("value") for one in field if one.get("selected")), "")
    return field.get("value")


def sent_by(page: str) -> dict[str, list[str]]:
    """Return what a browser would send back of a page as it came."""
    sent: dict[str, list[str]] = {}
    for part in tree(page).iter():
        name = part.get("name")
        if name is None or part.tag == f"{XHTML}button" or part.get("type") == "file":
            continue
        if part.tag == f"{XHTML}select":
            sent.setdefault(name, []).append(next((str(one.get("value")) for one in part if one.get("selected")), ""))
        elif part.tag == f"{XHTML}input" and (part.get("type") not in ("checkbox", "radio") or part.get("checked")):
            sent.setdefault(name, []).append(str(part.get("value")))
    return sent


# ── one model ───────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_file_comes_back_from_the_form_as_it_was(name: str, app: ASGIApp) -> None:
    path = ROOT / "examples" / f"{name}.toml"
    opened = open_file(app, path.read_bytes())
    assert opened.status_code == 200
    entries = form.entries_of(tomllib.loads(path.read_text(encoding="utf-8")))
    asked = {part.get("name") for part in tree(opened.text).iter()}
    assert set(entries) <= asked
    assert value_in(opened.text, "issued") == TODAY.isoformat()  # a guide made again has the day's date
    shown = sent_by(opened.text)
    for entry, texts in entries.items():
        if entry not in ("issued", *FOLLOWING):
            assert [text for text in shown[entry] if text] == texts
    saved = post(app, "save", shown | {"issued": entries["issued"]})
    assert case_from_dict(tomllib.loads(saved.text), "saved") == read_case(path)


@FEW
@given(raw=valid_cases())
def test_every_valid_case_passes_through_the_form(raw: dict[str, Any]) -> None:
    assert case_from_dict(form.case_values(form.entries_of(raw)), "form") == case_from_dict(raw, "file")


@pytest.mark.parametrize(
    "changes",
    [
        {"portable[1].boil_off": "26 L"},
        {"reservoir[1].empty_mass": "", "clinic.phone_day": "none"},
        {"prescription.rest.hours_per_day": "12 h"},
        {"portable[1].coupling": "side fill"},
        {**PULSE, "conserver": {"bolus": {"3": "22.8 mL"}}},
        {"prescription.target_saturation": {"low": 92, "high": 88}},
        {"issued": "tomorrow", "prescription.humidifier": "perhaps", "reservoir[1].gauge.divisions": "many"},
        {"clinic.policy": {"safety_days": 99, "flow_tolerance_percent": "ten"}},
        {"clinic.policy": {"airing_time": "30", "frostbite_water": {"low": "37 °C", "high": "50 °C"}}},
        {"clinic.policy": {"frostbite_water": {"low": "39 °C", "high": "39 °C"}}},
    ],
)
def test_each_message_of_a_case_file_stands_beside_its_field(changes: dict[str, Any], app: ASGIApp) -> None:
    entries = changed(changes)
    with pytest.raises(CaseError) as caught:
        case_from_dict(form.case_values(entries), "form")
    page = post(app, "check", entries)
    assert page.status_code == 422
    places = form.places(form.groups(entries, (), {}))
    for fault in caught.value.faults:
        place = places.get(fault.where, "conserver-bolus")
        beside = words(by_id(tree(page.text), f"{place}-wrong"))
        for part in (Tongue("en").plain(fault.problem), fault.read, Tongue("en").plain(fault.right), fault.ask):
            assert " ".join(part.split()) in beside


# ── slips of the pen ────────────────────────────────────────────────────────────────────────────

TOO_LITTLE = {"prescription.sleep.flow": "0.2 L/min"}  # for 2 L/min
PULSES = {**PULSE, "conserver": {"bolus": {"2": "2.6 mL"}}}  # for 26 mL


def ticks(page: str) -> dict[str, bool]:
    """Return each tick "This is meant" of a page, and whether it is set."""
    boxes = (part for part in tree(page).iter(f"{XHTML}input") if part.get("name") == "confirmed")
    return {str(box.get("value")): box.get("checked") is not None for box in boxes}


@pytest.mark.parametrize(
    ("changes", "entry"),
    [(TOO_LITTLE, "prescription.sleep.flow"), (PULSES, "conserver.bolus.2")],
    ids=["flow", "bolus"],
)
def test_an_unlikely_value_has_a_tick_beside_it(changes: dict[str, Any], entry: str, app: ASGIApp) -> None:
    entries = changed(changes)
    asked = post(app, "check", entries)
    assert (asked.status_code, ticks(asked.text)) == (422, {entry: False})
    ticked = post(app, "check", {**entries, "confirmed": [entry]})
    assert (ticked.status_code, ticks(ticked.text)) == (200, {entry: True})
    saved = tomllib.loads(post(app, "save", {**entries, "confirmed": [entry]}).text)
    assert saved["confirmed"] == [entry]
    opened = open_file(app, tomli_w.dumps(saved).encode())
    assert (opened.status_code, ticks(opened.text)) == (200, {entry: True})


def test_a_tick_goes_with_the_value_that_it_was_for(app: ASGIApp) -> None:
    page = post(app, "check", changed({}) | {"confirmed": ["prescription.sleep.flow"]})
    assert (page.status_code, ticks(page.text)) == (200, {})


def test_while_values_are_typed_the_tick_stays(app: ASGIApp) -> None:
    entries = changed(TOO_LITTLE) | {"confirmed": ["prescription.sleep.flow"]}
    answer = post(app, "", entries, "/preview").json()
    assert list(answer["faults"]) == ["prescription-sleep-flow"]
    assert 'checked="checked"' in answer["faults"]["prescription-sleep-flow"]
    assert "<table>" in answer["preview"]


def test_an_order_past_its_review_date_makes_no_guide_until_it_is_ticked(app: ASGIApp) -> None:
    entries = changed({"issued": dt.date(2026, 9, 1), "prescription.review_date": dt.date(2026, 11, 15)})
    refused = post(app, "make", entries)
    assert (refused.status_code, ticks(refused.text)) == (422, {"expired": False})
    assert post(app, "check", {**entries, "confirmed": ["expired"]}).status_code == 200


def test_the_empty_form_guesses_nothing_that_can_hurt(app: ASGIApp) -> None:
    page = get(app, "/")
    assert page.status_code == 200
    filled = [
        part.get("name")
        for part in tree(page.text).iter(f"{XHTML}input")
        if part.get("type") == "text" and part.get("value")
    ]
    assert filled == ["issued"]
    assert "selected=" not in page.text
    ticked = {part.get("name") for part in tree(page.text).iter(f"{XHTML}input") if part.get("checked")}
    assert ticked == {"sheets"}


def test_every_message_at_once_from_an_empty_form(app: ASGIApp) -> None:
    page = post(app, "check", {"issued": ["2026-11-25"]})
    assert words(by_id(tree(page.text), "summary")) == "Missing or wrong: 11"


def test_valid_html(app: ASGIApp, tmp_path: Path) -> None:
    assert_valid(tmp_path, get(app, "/").text, post(app, "check", changed({"portable[1].boil_off": "1 L"})).text)


# ── containers ──────────────────────────────────────────────────────────────────────────────────


def test_a_container_is_added_and_taken_out_without_scripts(app: ASGIApp) -> None:
    two = changed({"portable": [{**case_dict()["portable"][0], "name": name} for name in ("Red bag", "Blue bag")]})
    assert value_in(post(app, "add:portable", two).text, "portable[3].boil_off") == ""
    page = post(app, "remove:portable[1]", two).text
    assert value_in(page, "portable[1].name") == "Blue bag"
    assert "portable[2].name" not in page


def test_the_gauge_is_picked_by_its_drawing(app: ASGIApp) -> None:
    kinds = ["float", "hanging", "pressure difference", "electronic"]
    asked = by_id(
        tree(post(app, "check", changed({"reservoir[1].gauge.kind": "electronic"})).text), "reservoir-1-gauge-kind"
    )
    offered = {str(one.get("value")): one.get("checked") for one in asked.iter(f"{XHTML}input")}
    assert offered == dict.fromkeys(kinds) | {"electronic": "checked"}
    drawings = [str(one.get("src")) for one in asked.iter(f"{XHTML}img")]
    assert len(set(drawings)) == 3  # a float and a difference of pressure both move a needle
    assert all(drawing.startswith("data:image/svg+xml;base64,") for drawing in drawings)


def test_no_more_containers_than_a_case_may_have(app: ASGIApp) -> None:
    four = changed({"cylinder": case_dict()["cylinder"] * 4})
    assert 'value="add:cylinder"' not in post(app, "check", four).text


def test_a_container_that_was_taken_out_is_put_back(app: ASGIApp) -> None:
    two = changed({"portable": [{**case_dict()["portable"][0], "name": name} for name in ("Red bag", "Blue bag")]})
    page = post(app, "remove:portable[1]", two).text
    left = form.without_container("portable[1]", two)
    assert value_in(page, "taken-out") == left["taken-out"][0]
    back = post(app, "putback", left).text
    assert value_in(back, "portable[1].name") == "Blue bag"
    assert value_in(back, "portable[2].name") == "Red bag"
    assert value_in(back, "portable[2].boil_off") == "26 g/h"


# ── three rooms ─────────────────────────────────────────────────────────────────────────────────

EIGHT = {
    "issued": ["2026-11-25"],
    "patient.name": ["Maria Ortega"],
    "patient.languages": ["es", "en"],
    "kit": ["top-fill"],
    "prescription.rest.flow": ["2"],
    "prescription.exertion.flow": ["3 lpm"],
    "prescription.sleep.flow": ["2"],
    "prescription.exertion.hours_per_day": ["3"],
    "prescription.sleep.hours_per_day": ["8"],
}
"""What is typed and picked for a patient; the desk has the day already."""


@pytest.fixture
def furnished(app: ASGIApp) -> ASGIApp:
    """Return a desk at which clinic and kit were kept from one whole case."""
    assert "Kept as the clinic" in post(app, "keepclinic", ENTRIES).text
    assert "Kept as the kit" in post(app, "keepkit", {**ENTRIES, "kitname": ["Top fill"]}).text
    return app


def test_eight_values_make_a_guide(furnished: ASGIApp, tmp_path: Path) -> None:
    told = post(furnished, "", EIGHT, "/preview").json()
    assert told["faults"] == {}
    assert "<table>" in told["preview"]
    for said in ("At rest 13 h", "on the portable 3 h", "by nasal cannula", "target saturation 88 to 92 %"):
        assert said in told["following"]
    assert told["read"]["prescription-exertion-flow"] == "Read as 3 L/min"
    assert told["taken"]["clinic-phone-day"] == "555-0142"
    made = post(furnished, "make", {**EIGHT, "sheets": ["fridge"]})
    assert zipfile.ZipFile(io.BytesIO(made.content)).namelist() == ["fridge.es.html", "fridge.es.pdf"]
    assert kits.uses(tmp_path, "top-fill") == 1


def test_what_the_clinics_folder_keeps_is_nobodys(furnished: ASGIApp, tmp_path: Path) -> None:
    post(furnished, "make", {**EIGHT, "sheets": ["door"]})
    files = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()}
    assert files == {"link.keys", "clinic.toml", "kits/top-fill.toml", "used.txt"}
    kept = "".join((tmp_path / name).read_text(encoding="utf-8") for name in files)
    assert "Lindqvist" not in kept
    assert "Ortega" not in kept
    assert "hours_per_day" not in kept


def test_a_case_is_saved_whole_and_opens_as_eight_values(furnished: ASGIApp, tmp_path: Path) -> None:
    saved = post(furnished, "save", EIGHT).content
    (tmp_path / "maria.toml").write_bytes(saved)
    case = read_case(tmp_path / "maria.toml")
    assert (case.from_kit, len(case.reservoir)) == ("top-fill", 1)
    page = open_file(furnished, saved).text
    assert value_in(page, "kit") == "top-fill"
    assert value_in(page, "prescription.rest.hours_per_day") == ""
    assert "reservoir[1].name" not in page


def test_a_case_keeps_its_equipment_when_its_kit_has_changed(furnished: ASGIApp) -> None:
    saved = post(furnished, "save", EIGHT).content
    opened = post(furnished, "openkit", EIGHT).text
    assert value_in(opened, "portable[1].boil_off") == "26 g/h"
    changes = {**ENTRIES, "kitname": ["Top fill"], "from_kit": ["top-fill"], "portable[1].boil_off": ["30 g/h"]}
    post(furnished, "keepkit", changes)
    page = open_file(furnished, saved).text
    assert "has changed since this case was saved" in words(by_id(tree(page), "note"))
    assert value_in(page, "portable[1].boil_off") == "26 g/h"


def moves_in(preview: str) -> list[tuple[str, str, str]]:
    """Return each line that a change moves: the heading above it, before, now."""
    found: list[tuple[str, str, str]] = []
    where = ""
    for part in tree(f"<div>{preview}</div>").iterfind(".//div[@class='moves']/*"):
        if part.tag == "h4":
            where = words(part)
        else:
            told = {one.tag: words(one).partition(": ")[2] for one in part}
            found.append((where, told.get("del", ""), told.get("ins", "")))
    return found


def test_a_change_is_shown_old_beside_new(furnished: ASGIApp) -> None:
    saved = post(furnished, "save", EIGHT)
    before = {"before": [str(value_in(open_file(furnished, saved.content).text, "before"))]}

    def shown(**typed: str) -> tuple[str, list[tuple[str, str, str]]]:
        entries = {**EIGHT, **before, **{name: [text] for name, text in typed.items()}}
        preview = str(post(furnished, "", entries, "/preview").json()["preview"])
        return preview, moves_in(preview)

    same, none = shown()
    assert "Nothing in them reads otherwise" in same
    assert none == []
    # Flow, marks and times, sentences, and what stands on the card alone.
    _, moved = shown(**{"prescription.exertion.flow": "4", "patient.allergies": "Penicillin"})
    where = {row[0] for row in moved}
    assert {"The portable: how long it lasts", "Your flow", "Card to carry"} <= where
    rule = next(row for row in moved if row[1].startswith("5."))
    assert ("3 L/min" in rule[1], "4 L/min" in rule[2]) == (True, True)
    assert any(row[1:] == ("Allergies:", "Allergies: Penicillin") for row in moved)
    was = plan(case_from_dict(tomllib.loads(saved.text), "saved")).windows_of("portable")
    hours, _ = divmod(next(one.safe_min for one in was if one.demand.activity == "exertion"), 60)
    assert any(f"Walking, 3 L/min: {hours} hours" in row[1] and "Walking, 4 L/min" in row[2] for row in moved)
    # A week later it gets the day's date.
    _, later = shown(issued="2026-12-02")
    assert any("November 25, 2026" in old and "December 2, 2026" in new for _, old, new in later)


def test_a_retired_kit_is_offered_to_nobody_anew(furnished: ASGIApp) -> None:
    post(furnished, "retirekit", EIGHT)
    assert "top-fill" not in get(furnished, "/").text
    assert post(furnished, "", EIGHT, "/preview").json()["faults"] == {}


def test_the_supplier_is_asked_and_the_answer_is_read_in(furnished: ASGIApp) -> None:
    half = {name: texts for name, texts in ENTRIES.items() if name != "portable[1].boil_off"}
    assert "facts still missing: 1" in post(furnished, "keepkit", {**half, "kitname": ["Half"]}).text
    form_sent = post(furnished, "askkit", {"kit": ["half"]})
    assert form_sent.text.count("# needed") == 1
    answer = form_sent.text.replace('boil_off = ""', 'boil_off = "26 g/h"')
    note = words(by_id(tree(open_file(furnished, answer.encode(), EIGHT).text), "note"))
    assert "read into the kit 'Half'. Facts still missing: 0." in note


@pytest.mark.parametrize(
    ("do", "entries", "told"),
    [
        ("keepkit", ENTRIES, "Give the kit a name"),
        ("keepkit", {**ENTRIES, "kitname": ["../../x"], "portable[1].boil_off": ["1 L"]}, "Portable 1: Boil-off a day"),
        ("keepclinic", {**ENTRIES, "clinic.phone_day": ["none"]}, "Clinic: Phone by day"),
        ("retirekit", ENTRIES, "Give the kit a name"),
    ],
)
def test_what_cannot_be_kept_is_told(do: str, entries: Any, told: str, app: ASGIApp, tmp_path: Path) -> None:
    assert told in words(by_id(tree(post(app, do, entries).text), "note"))
    assert [file.name for file in tmp_path.iterdir()] == ["link.keys"]


def test_a_bundle_is_opened_at_the_desk(app: ASGIApp) -> None:
    data = (ROOT / "examples/river-terrace.fhir.json").read_bytes()
    page = open_file(app, data)
    assert "Read from a FHIR bundle" in words(by_id(tree(page.text), "note"))
    assert value_in(page.text, "prescription.rest.flow")


def test_hours_that_follow_from_wrong_ones_are_not_told_as_missing(furnished: ASGIApp) -> None:
    wrong = {**EIGHT, "prescription.exertion.hours_per_day": ["30"]}
    assert list(post(furnished, "", wrong, "/preview").json()["faults"]) == ["prescription-exertion-hours-per-day"]


def test_the_faults_have_the_labels_of_the_page(app: ASGIApp) -> None:
    entries = changed({"reservoir[1].oxygen_mass": "", "reservoir[1].boil_off": "", "prescription.rest.flow": "two"})
    summary = words(tree(post(app, "check", entries).text))
    for said in ("Reservoir 1: Boil-off a day: it is missing", "Flow at rest: not a number", "“Liquid when full”"):
        assert said in summary
    assert "liquid_volume" not in summary


# ── files ───────────────────────────────────────────────────────────────────────────────────────


def test_the_download_holds_the_set_of_a_family(app: ASGIApp) -> None:
    both = changed({"patient.languages": ["en", "es"]})
    # Not the two guides, which are dear: tests/guide/test_family.py lays them out.
    reply = post(app, "make", {**both, "sheets": ["short", "fridge", "clinician"]})
    assert reply.headers["content-type"] == "application/zip"
    names = set(zipfile.ZipFile(io.BytesIO(reply.content)).namelist())
    # A copy for each; what hangs or is carried, for both together.
    assert {"clinician.en.pdf", "clinician.es.pdf", "fridge.en.pdf", "short.en.html"} <= names
    assert not {"fridge.es.pdf", "short.es.html"} & names
    again = {**both, "sheets": ["door"]}
    assert post(app, "make", again).content == post(app, "make", again).content


def test_downloads_of_two_patients_have_two_names_and_tell_neither_s(app: ASGIApp) -> None:
    def name(patient: str, do: str) -> str:
        entries = changed({"patient.name": patient}) | {"sheets": ["wallet"]}
        return post(app, do, entries).headers["content-disposition"]

    for do, shape in (
        ("make", r"attachment; filename\*=UTF-8''guide-[a-z2-7]{6}\.zip"),
        ("save", r".*'case-[a-z2-7]{6}\.toml"),
    ):
        one, other, again = name("Rosa", do), name("Amir", do), name("Rosa", do)
        assert re.fullmatch(shape, one)
        assert (one == again, one == other) == (True, False)


def test_a_clinic_that_allows_it_has_names_in_its_files(app: ASGIApp) -> None:
    entries = changed({"patient.name": "Zoë Brandt", "clinic.paper": {"named_files": True}})
    entries["sheets"] = ["wallet", "door"]
    made = post(app, "make", entries)
    assert re.search(r"''zo%C3%AB-brandt-[a-z2-7]{6}\.2026-11-02\.guide\.zip$", made.headers["content-disposition"])
    names = zipfile.ZipFile(io.BytesIO(made.content)).namelist()
    assert [re.sub(r"[a-z2-7]{6}\.2026", "LETTERS.2026", name) for name in names if name.endswith("pdf")] == [
        "zoë-brandt-LETTERS.2026-11-02.wallet.en.pdf",
        "LETTERS.2026-11-02.door.en.pdf",
    ]
    assert "zo%C3%AB-brandt" in post(app, "save", entries).headers["content-disposition"]


def test_a_wrong_case_makes_no_file(app: ASGIApp) -> None:
    reply = post(app, "make", changed({"portable[1].boil_off": "1 L"}))
    assert reply.status_code == 422
    assert "Portable 1: Boil-off a day" in words(tree(reply.text))


def test_half_a_case_can_be_saved_and_opened(app: ASGIApp) -> None:
    half = {"patient.name": ["Rosa Lindqvist"], "prescription.rest.flow": ["2 L/min"], "reservoir[1].name": [""]}
    saved = post(app, "save", half)
    assert tomllib.loads(saved.text)["prescription"]["rest"] == {"flow": "2 L/min"}
    opened = open_file(app, saved.content)
    assert value_in(opened.text, "prescription.rest.flow") == "2 L/min"


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"\xff\xfe", "it is not UTF-8 text"),
        (b"= 1", "text that is no TOML"),
        (b"a = " + b"[" * 100_000, "brackets nested too deep"),
        (b"a=" + b"9" * 5000, "more than 4,300 digits"),
        (b".".join([b"a"] * 20) + b" = 1", "there is no such field here"),
        (as_toml(case_dict()).encode() + b"\n[[robot]]\nname = 'x'\n", "there is no such field here"),
        (b'issued = "\\u0001"', "The file says \\u0001."),
        (b"", "it is missing"),
    ],
)
def test_a_file_that_is_no_case_is_told_as_such(data: bytes, told: str, app: ASGIApp) -> None:
    page = open_file(app, data)
    assert page.status_code == 422
    assert told in words(tree(page.text))


def test_the_preview_is_the_plan(app: ASGIApp) -> None:
    reply = post(app, "", ENTRIES, "/preview").json()
    assert reply["faults"] == {}
    case = case_from_dict(case_dict(), "base")
    hours, minutes = divmod(plan(case).windows_of("portable")[0].safe_min, 60)
    assert f"{hours} hours" in reply["preview"]
    assert f"{minutes} minutes" in reply["preview"] or not minutes
    wrong = post(app, "", changed({"portable[1].boil_off": "1 L"}), "/preview").json()
    assert list(wrong["faults"]) == ["portable-1-boil-off"]
    assert "Still missing or wrong: 1" in wrong["preview"]


# ── what must not happen ────────────────────────────────────────────────────────────────────────

TEXT_FIELDS = ("patient.name", "prescription.prescriber", "reservoir[1].name", "portable[1].name", "clinic.name")


@pytest.mark.parametrize("hostile", HOSTILE)
def test_hostile_text_is_shown_as_text(hostile: str, app: ASGIApp) -> None:
    entries = changed(
        {
            **dict.fromkeys(TEXT_FIELDS, hostile),
            **dict.fromkeys(("reservoir[1].coupling", "portable[1].coupling"), hostile[:24]),
        }
    )
    page = post(app, "check", entries)
    assert value_in(page.text, "patient.name") == hostile
    packed = zipfile.ZipFile(io.BytesIO(post(app, "make", entries | {"sheets": ["guide"]}).content))
    guide = tree(packed.read("guide.en.html").decode())
    assert hostile in "".join(guide.itertext())
    # What reads aloud is the only script.
    assert [run.text for run in guide.iter(f"{XHTML}script")] == [script("html/aloud.js")]
    with pdfplumber.open(io.BytesIO(packed.read("guide.en.pdf"))) as pdf:
        first = "".join(page.extract_text() for page in pdf.pages[:2])
    assert "".join(hostile.split()) in "".join(first.split())


@pytest.mark.parametrize("hidden", ["Ro\u202esa", "Ro\x00sa", "Ro\u200bsa", "Ro\u2066sa"])
@pytest.mark.parametrize("field", TEXT_FIELDS)
def test_hidden_characters_are_refused(field: str, hidden: str, app: ASGIApp) -> None:
    page = post(app, "check", changed({field: hidden}))
    assert page.status_code == 422
    assert "a control or direction character" in page.text


@pytest.mark.parametrize("name", [*ENTRIES, "unknown"])
def test_a_field_of_ten_megabytes_is_refused(name: str, app: ASGIApp) -> None:
    reply = ask(app, "POST", "/", data={**ENTRIES, name: ["x" * 10_000_000]})
    assert reply.status_code == 413


def test_other_encodings_are_read_or_refused(app: ASGIApp) -> None:
    for charset in ("UTF-8", "latin-1", "utf-16", "shift_jis", "no-such-charset"):
        reply = ask(
            app,
            "POST",
            "/",
            content=f"token={ACCESS.token}&patient.name=%FF%FEé".encode("latin-1"),
            headers={"content-type": f"application/x-www-form-urlencoded; charset={charset}"},
        )
        assert reply.status_code == (422 if charset == "UTF-8" else 400)
    reply = ask(
        app, "POST", "/open", content=b"--x\r\nrubbish", headers={"content-type": "multipart/form-data; boundary=x"}
    )
    assert reply.status_code in (400, 403)


@pytest.mark.parametrize(
    "charset", ["punycode", "undefined", "idna", "utf-7", "unicode_escape", "hex", "rot13", "utf-16", "x" * 500]
)
@pytest.mark.parametrize("path", ["/", "/open", "/preview"])
def test_a_character_set_that_no_browser_sends_is_refused(path: str, charset: str, app: ASGIApp) -> None:
    part = b'--x\r\nContent-Disposition: form-data; name="patient.name"\r\n\r\n\xff\\u00xx+AAA-\r\n'
    token = f'--x\r\nContent-Disposition: form-data; name="token"\r\n\r\n{ACCESS.token}\r\n--x--\r\n'.encode()
    kind = f"multipart/form-data; boundary=x; charset={charset}"
    reply = ask(app, "POST", path, content=part + token, headers={"content-type": kind})
    assert reply.status_code == 400


def test_a_file_that_cannot_be_read_leaves_what_was_typed(app: ASGIApp) -> None:
    page = open_file(app, b"= 1", ENTRIES)
    assert "text that is no TOML" in words(tree(page.text))
    assert value_in(page.text, "patient.name") == "Rosa Lindqvist"


def test_no_file_is_no_empty_case(app: ASGIApp) -> None:
    sent = {**ENTRIES, "token": [ACCESS.token]}
    page = ask(app, "POST", "/open", data=sent, files={"file": ("", b"")})
    assert "Choose a file first" in words(by_id(tree(page.text), "note"))
    assert value_in(page.text, "patient.name") == "Rosa Lindqvist"


@pytest.mark.parametrize("file", ["clinic.toml", "kits/top-fill.toml"])
@pytest.mark.parametrize(
    "damaged",
    [b"= 1", b"\xff", b"a = " + b"[" * 5000, b"clinic = 3\nusual = 4\nreservoir = 5\nname = 6\nprescribers = 7"],
)
def test_a_damaged_room_is_told_and_all_else_works(file: str, damaged: bytes, app: ASGIApp, tmp_path: Path) -> None:
    (tmp_path / "kits").mkdir()
    (tmp_path / file).write_bytes(damaged)
    page = get(app, "/")
    assert page.status_code == 200
    note = words(by_id(tree(page.text), "note"))
    assert note.startswith("The clinic's folder cannot be used")
    assert post(app, "make", {**ENTRIES, "sheets": ["door"]}).headers["content-type"] == "application/zip"
    assert post(app, "", {**ENTRIES, "kit": ["top-fill"]}, "/preview").status_code == 200
    assert (tmp_path / file).read_bytes() == damaged


# ── who may ask ─────────────────────────────────────────────────────────────────────────────────

BEHIND = Access("k" * 26, ACCESS.token, "https://desk.clinic.example")


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example:8020", "10.0.0.7"])
def test_only_this_machine_is_answered(host: str, app: ASGIApp) -> None:
    assert get(app, "/", {"host": host}).status_code == 403


@pytest.mark.parametrize(
    ("site", "status"), [("cross-site", 403), ("same-site", 403), ("same-origin", 200), ("none", 200)]
)
def test_another_sites_page_cannot_send_a_case(site: str, status: int, app: ASGIApp) -> None:
    reply = ask(
        app, "POST", "/", data={**ENTRIES, "do": "save", "token": ACCESS.token}, headers={"sec-fetch-site": site}
    )
    assert reply.status_code == status


@pytest.mark.parametrize(
    ("origin", "status"),
    [
        (None, 200),
        ("http://127.0.0.1:8020", 200),
        ("http://127.0.0.1:8021", 403),
        ("https://127.0.0.1:8020", 403),
        ("https://desk.clinic.example", 403),
        ("http://evil.example", 403),
        ("null", 403),
        ("", 403),
    ],
)
def test_without_fetch_metadata_the_origin_decides(origin: str | None, status: int, app: ASGIApp) -> None:
    headers = {"origin": origin} if origin is not None else {}
    reply = ask(app, "POST", "/", data={**ENTRIES, "do": "save", "token": ACCESS.token}, headers=headers)
    assert reply.status_code == status


@pytest.mark.parametrize(
    ("host", "origin", "status"),
    [
        ("desk.clinic.example", "https://desk.clinic.example", 200),
        ("127.0.0.1:8020", "https://desk.clinic.example", 200),
        ("127.0.0.1:8020", "http://127.0.0.1:8020", 200),
        ("127.0.0.1:8020", "http://desk.clinic.example", 403),
        ("desk.clinic.example", "http://evil.example", 403),
        ("127.0.0.1:8020", "http://evil.example", 403),
        ("desk.clinic.example", "https://desk.clinic.example.evil.example", 403),
        ("evil.example", "https://desk.clinic.example", 403),
    ],
)
def test_behind_a_sign_in_its_own_origin_alone(host: str, origin: str, status: int, tmp_path: Path) -> None:
    app = desk_app(tmp_path, BEHIND)
    sent = {**ENTRIES, "do": "keepclinic", "token": ACCESS.token}
    reply = ask(app, "POST", f"/{BEHIND.address}/", data=sent, headers={"host": host, "origin": origin})
    assert reply.status_code == status
    assert (tmp_path / "clinic.toml").exists() == (status == 200)


@pytest.mark.parametrize("token", [[], ["x"], [""], [ACCESS.token + "x"], ["x", ACCESS.token, "é"]])
@pytest.mark.parametrize("path", ["/", "/preview", "/open", "/picture"])
def test_a_form_without_the_token_is_refused(path: str, token: list[str], app: ASGIApp) -> None:
    assert ask(app, "POST", path, data={**ENTRIES, "do": "make", "token": token}).status_code == 403


def test_each_form_brings_the_token(app: ASGIApp) -> None:
    forms = list(tree(get(app, "/").text).iter(f"{XHTML}form"))
    assert forms
    for one in forms:
        fields = {field.get("name"): field.get("value") for field in one.iter(f"{XHTML}input")}
        assert fields["token"] == ACCESS.token


@pytest.mark.parametrize(
    ("path", "status"),
    [
        (f"/{BEHIND.address}/", 200),
        (f"/{BEHIND.address}/desk.js", 200),
        (f"/{BEHIND.address}", 307),
        ("/", 403),
        ("/desk.js", 403),
        ("/open", 403),
        (f"/{BEHIND.address[:-1]}/", 403),
        (f"//{BEHIND.address}/", 403),
        (f"/{BEHIND.address}/{BEHIND.address}/", 404),
        ("/é/", 403),
    ],
)
def test_only_its_whole_address_opens_the_desk(path: str, status: int, tmp_path: Path) -> None:
    assert get(desk_app(tmp_path, BEHIND), path).status_code == status


def test_the_secrets_come_from_the_key_alone() -> None:
    one, again, other = (access(Keys((key * 32,)), None) for key in (b"a", b"a", b"b"))
    assert one == again
    assert len({one.address, one.token, other.address, other.token}) == 4
    assert len(one.address) == 26  # 128 bits
    assert b"a".hex() * 32 not in repr(one)


@pytest.mark.parametrize(
    "origin",
    ["http://desk.clinic.example", "desk.clinic.example", "https://desk.clinic.example/", "https://", "https://A"],
)
def test_an_origin_is_a_name_behind_tls(origin: str) -> None:
    with pytest.raises(SettingError, match=r"https://desk\.clinic\.example"):
        access(Keys((b"a" * 32,)), origin)


def test_headers(app: ASGIApp) -> None:
    for reply in (
        get(app, "/"),
        post(app, "check", {}),
        post(app, "save", ENTRIES),
        post(app, "", ENTRIES, "/preview"),
    ):
        assert reply.headers["cache-control"] == "no-store"
        assert "set-cookie" not in reply.headers
        assert "frame-ancestors 'none'" in reply.headers["content-security-policy"]
        # A part of an answer is never sent.
        assert reply.headers["accept-ranges"] == "none"
    # So that a browser says of our own form that it is ours, and to nobody else where it was.
    assert get(app, "/").headers["referrer-policy"] == "same-origin"


ODD = st.text(max_size=60) | st.sampled_from([*HOSTILE, "9" * 5000, "1e999999", "NaN", "-1", "2027-02-30", "\u202e"])
HANDED_ON = ("kit", "from_kit", "kitname", "before", "taken-out", "shown.sheet", "shown.language", "sheets")
DEEDS = st.sampled_from(
    [
        "check",
        "save",
        "add:portable",
        "add:x",
        "remove:portable[1]",
        "remove:portable[9]",
        "putback",
        "openkit",
        "keepkit",
        "retirekit",
        "askkit",
        "keepclinic",
        "",
    ]
)


@given(
    do=DEEDS | ODD,
    entries=st.dictionaries(
        st.sampled_from([*ENTRIES, *HANDED_ON, "portable[3].name", "conserver.bolus[1].setting"]) | ODD, ODD, max_size=8
    ),
    whole=st.booleans(),
    path=st.sampled_from(["/", "/preview", "/open", "/picture", "/desk.js", "/x"]),
)
def test_no_request_breaks_it_or_is_logged(
    do: str, entries: dict[str, str], whole: bool, path: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    app = desk_app(tmp_path_factory.mktemp("fuzz"))
    lines: list[str] = []
    catcher = logging.Handler()
    catcher.emit = lambda record: lines.append(record.getMessage())  # type: ignore[method-assign]
    logging.getLogger().addHandler(catcher)
    try:
        sent = {name: list(texts) for name, texts in ENTRIES.items()} if whole else {}
        reply = ask(
            app,
            "POST",
            path,
            data={**sent, **{name: [text] for name, text in entries.items()}, "do": [do], "token": [ACCESS.token]},
        )
    finally:
        logging.getLogger().removeHandler(catcher)
    assert reply.status_code in (200, 400, 404, 405, 422)
    assert "<script>alert" not in reply.text or reply.headers["content-type"] == "application/toml"
    assert not [line for line in lines if not line.startswith("HTTP Request: ")]  # the client's own line


def test_the_desk_keeps_nothing_of_a_case(app: ASGIApp, tmp_path: Path) -> None:
    for do in ("check", "save", "make"):
        post(app, do, {**ENTRIES, "clinic.link_base": ["https://oxygen.example"], "sheets": ["guide"]})
    assert [file.name for file in tmp_path.iterdir()] == ["link.keys"]
