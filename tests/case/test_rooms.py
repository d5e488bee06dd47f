"""The clinic's folder: its own settings, its kits, and a case that takes the rest from them."""

import copy
import datetime as dt
import json
import re
from pathlib import Path
from typing import Any

import pytest
import tomli_w

from companion.batch.entries import entries
from companion.case import read_case
from companion.case.asking import answered, questions
from companion.case.read import case_from_dict
from companion.case.rooms import faults_of_kit, faults_of_settings, read_rooms, write_kit
from companion.case.toml_file import toml_values
from companion.cli import main
from companion.errors import CaseError
from tests.cases import BASE, case_dict
from tests.tools import ROOT

KIT: dict[str, Any] = {
    "name": "A reservoir, a portable, two cylinders",
    **{kind: BASE[kind] for kind in ("reservoir", "portable", "cylinder")},
}
USUAL = {"interface": "nasal cannula", "humidifier": False, "hours_off_oxygen": "0", "review_days": 90}
SETTINGS: dict[str, Any] = {"clinic": BASE["clinic"], "usual": USUAL, "prescribers": ["Dr Amara Osei"]}
PATIENT: dict[str, Any] = {
    "issued": dt.date(2026, 11, 30),
    "kit": "top-fill",
    "patient": {"name": "Rosa Lindqvist", "languages": ["es", "en"]},
    "prescription": {
        "rest": {"flow": "2"},
        "exertion": {"flow": "3 lpm", "hours_per_day": "3"},
        "sleep": {"flow": 2, "hours_per_day": 8},
    },
}
"""The eight values of a patient, with the day."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a clinic's folder with one kit."""
    (tmp_path / "kits").mkdir()
    put(tmp_path / "clinic.toml", SETTINGS)
    put(tmp_path / "kits/top-fill.toml", KIT)
    return tmp_path


def put(path: Path, values: dict[str, Any]) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(tomli_w.dumps(values), encoding="utf-8")
    return path


def changed(values: dict[str, Any], path: str, value: Any) -> dict[str, Any]:
    made = copy.deepcopy(values)
    *way, last = path.split(".")
    part = made
    for step in way:
        part = part.setdefault(step, {})
    part[last] = value
    return made


def faults(path: Path) -> list[tuple[str, str]]:
    with pytest.raises(CaseError) as told:
        read_case(path)
    return [(fault.where, fault.problem) for fault in told.value.faults]


# ── eight values are a case ─────────────────────────────────────────────────────────────────────


def test_eight_values_and_two_rooms_are_a_whole_case(folder: Path) -> None:
    whole = case_dict(
        {
            "issued": dt.date(2026, 11, 30),
            "from_kit": "top-fill",
            "patient.languages": ["es", "en"],
            "prescription": {
                **USUAL,
                "hours_off_oxygen": "0 h",
                "review_date": dt.date(2027, 2, 28),  # 90 days after the day of the guide
                "rest": {"flow": "2 L/min", "hours_per_day": "13 h"},  # what 3 and 8 hours leave of 24
                "exertion": {"flow": "3 L/min", "hours_per_day": "3 h", "on_portable": "3 h"},
                "sleep": {"flow": "2 L/min", "hours_per_day": "8 h"},
            },
        }
    )
    del whole["prescription"]["review_days"]
    assert read_case(put(folder / "rosa.toml", PATIENT)) == case_from_dict(whole, "the whole case")


OWN = [
    # what the case says itself stands above its rooms
    ("prescription.interface", "mask", lambda case: case.prescription.interface, "mask"),
    ("prescription.review_date", "2027-01-15", lambda case: case.prescription.review_date, dt.date(2027, 1, 15)),
    ("prescription.rest.hours_per_day", "13 h", lambda case: str(case.prescription.rest.hours_per_day), "13 h"),
    ("prescription.exertion.on_portable", "1", lambda case: str(case.prescription.exertion.on_portable), "1 h"),
    ("clinic.phone_day", "555-0199", lambda case: case.clinic.phone_day, "555-0199"),
    (
        "clinic.delivery",
        {"lead_days": 5},
        lambda case: (case.clinic.delivery.lead_days, case.clinic.delivery.closed_days),
        (5, 2),
    ),
    ("cylinder", [], lambda case: case.cylinder, []),
    ("reservoir", BASE["reservoir"] * 2, lambda case: len(case.reservoir), 2),
]


@pytest.mark.parametrize(("path", "value", "read", "found"), OWN, ids=[row[0] for row in OWN])
def test_what_the_case_says_itself_stands(path: str, value: Any, read: Any, found: Any, folder: Path) -> None:
    assert read(read_case(put(folder / "rosa.toml", changed(PATIENT, path, value)))) == found


@pytest.mark.parametrize("place", ["rosa.toml", "cases/2026/rosa.toml", "../elsewhere/rosa.toml"])
def test_the_folder_is_found_above_or_named(place: str, tmp_path: Path) -> None:
    folder = tmp_path / "our-clinic"
    put(folder / "clinic.toml", SETTINGS)
    put(folder / "kits/top-fill.toml", KIT)
    named = {"clinic": "../our-clinic"} if place.startswith("..") else {}
    assert read_case(put(folder / place, PATIENT | named)).clinic.name == BASE["clinic"]["name"]


REFUSED = [
    ({"kit": "no-such"}, ("kit", "there is no such kit")),
    ({"kit": "../kits/top-fill"}, ("kit", "there is no such kit")),
    ({"kit": 5}, ("kit", "there is no such kit")),
    ({"clinic": "../nowhere"}, ("clinic", "there is no clinic's folder")),
]


@pytest.mark.parametrize(("changes", "told"), REFUSED)
def test_a_room_that_is_not_there_is_told_alone(changes: dict[str, Any], told: tuple[str, str], folder: Path) -> None:
    assert faults(put(folder / "rosa.toml", PATIENT | changes)) == [told]


def test_a_kit_without_a_clinics_folder_is_told_alone(tmp_path: Path) -> None:
    told = ("kit", "there is no clinic's folder to take it from")
    assert faults(put(tmp_path / "rosa.toml", PATIENT)) == [told]


def test_what_no_room_has_is_asked_for_and_never_guessed(folder: Path) -> None:
    put(folder / "clinic.toml", {"clinic": SETTINGS["clinic"]})
    kit = copy.deepcopy(KIT)
    del kit["portable"][0]["boil_off"]
    put(folder / "kits/top-fill.toml", kit)
    assert set(faults(put(folder / "rosa.toml", PATIENT))) == {
        ("prescription.review_date", "it is missing"),
        ("prescription.interface", "it is missing"),
        ("prescription.humidifier", "it is missing"),
        ("prescription.hours_off_oxygen", "it is missing"),
        ("prescription.rest.hours_per_day", "it is missing"),
        ("portable[1].boil_off", "it is missing"),
    }


def test_a_case_that_names_no_kit_and_has_its_own_clinic_takes_nothing(folder: Path) -> None:
    path = put(folder / "rosa.toml", case_dict())
    assert read_case(path) == case_from_dict(case_dict(), "by itself")


def test_an_unlikely_fact_is_confirmed_once_in_the_kit(folder: Path) -> None:
    kit = changed(KIT, "confirmed", ["reservoir[1].boil_off"])
    kit["reservoir"][0]["boil_off"] = "5 lb/day"
    put(folder / "kits/top-fill.toml", kit)
    assert read_case(put(folder / "rosa.toml", PATIENT)).confirmed == ["reservoir[1].boil_off"]
    # A container of the case's own is asked about anew.
    own = PATIENT | {"reservoir": kit["reservoir"]}
    assert [where for where, _ in faults(put(folder / "rosa.toml", own))] == ["reservoir[1].boil_off"]


# ── every reader ────────────────────────────────────────────────────────────────────────────────


def test_a_caseload_reads_them_and_takes_no_room_for_a_case(folder: Path) -> None:
    put(folder / "rosa.toml", PATIENT)
    assert [entry.id for entry in entries(folder)] == ["rosa"]


@pytest.mark.parametrize("command", [["check"], ["table", "--format", "json"], ["supply"]], ids=lambda words: words[0])
def test_the_commands_read_them(command: list[str], folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    name, *more = command
    path = str(put(folder / "rosa.toml", PATIENT))
    assert main([name, path, "--today", "2026-11-30", *more]) == 0
    told = capsys.readouterr().out
    if name == "check":
        assert "prescription.exertion.flow: '3 lpm' was read as 3 L/min" in told
        assert "prescription.sleep.hours_per_day: '8' was read as 8 h" in told


def test_a_row_of_a_table_names_a_kit(folder: Path) -> None:
    line = json.dumps(PATIENT | {"issued": "2026-11-30"})
    (folder / "cases.jsonl").write_text(line + "\n", encoding="utf-8")
    (entry,) = entries(folder / "cases.jsonl")
    assert entry.raw is not None
    assert case_from_dict(entry.raw, entry.file, None, folder) == read_case(put(folder / "rosa.toml", PATIENT))


# ── the rooms themselves ────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        ("clinic.phone_day", "none", ["clinic.phone_day"]),
        ("usual.review_days", 900, ["usual.review_days"]),
        ("usual.flow", "2 L/min", ["usual.flow"]),  # a flow is never usual
        ("prescribers", "Dr Amara Osei", ["prescribers"]),
        ("clinics", {}, ["clinics"]),
    ],
)
def test_what_is_wrong_with_the_clinic(path: str, value: Any, told: list[str]) -> None:
    assert not faults_of_settings(SETTINGS)
    assert [fault.where for fault in faults_of_settings(changed(SETTINGS, path, value))] == told


def test_what_is_wrong_with_a_kit() -> None:
    assert not faults_of_kit(KIT)
    kit = copy.deepcopy(KIT)
    kit["portable"][0] |= {"coupling": "side fill", "boil_off": "9 kg/day"}
    kit["reservoir"][0]["boil_off"] = "5 lb/day"
    del kit["cylinder"][0]["content"]
    assert {fault.where for fault in faults_of_kit(kit)} == {
        "portable[1].boil_off",
        "cylinder[1]",
        "reservoir[1].boil_off",  # unlikely
    }


def test_the_form_asks_the_supplier_for_what_is_missing_and_its_answer_is_read(folder: Path) -> None:
    kit = copy.deepcopy(KIT)
    lost = {("portable", "boil_off"): "26 g/h", ("cylinder", "full_pressure"): "2,200 PSI"}
    for kind, name in lost:
        del kit[kind][0][name]
    kit["reservoir"][0]["gauge"] = {"kind": "float"}
    put(folder / "kits/top-fill.toml", kit)
    form = questions(read_rooms(folder), "top-fill")
    needed = [line for line in form.splitlines() if line.startswith("# needed")]
    assert len(needed) == 3
    assert "empty_mass" not in form  # what is known is not asked again
    assert "warm_fills_per_day" not in form  # the supplier does not know it
    sent = form
    for field, answer in (("boil_off", "26 g/h"), ("full_pressure", "2,200 PSI"), ("gauge.divisions", "4")):
        sent = sent.replace(f'\n{field} = ""', f'\n{field} = "{answer}"')
    raw = toml_values(sent.encode(), "an answer")
    name, completed, changes = answered(raw, Path("answer (1).toml"), read_rooms(folder))
    assert (name, changes) == ("top-fill", [])
    assert not faults_of_kit(completed)
    assert write_kit(folder, name, completed) == []


def test_a_kit_that_a_supplier_writes_is_read_by_the_name_of_its_file(folder: Path) -> None:
    name, kit, _ = answered(KIT, Path("side-fill.toml"), read_rooms(folder))
    assert (name, kit) == ("side-fill", KIT)


def test_what_an_answer_changes_is_told(folder: Path) -> None:
    told = {"kit": "top-fill", "portable": [{"boil_off": "30 g/h"}]}
    _, kit, changes = answered(told, Path("x.toml"), read_rooms(folder))
    assert changes == ["portable[1].boil_off was 26 g/h, and is 30 g/h now"]
    assert kit["portable"][0]["coupling"] == "top fill"


@pytest.mark.parametrize("name", ["../x", "a/b", "", "x" * 61, 5, "."])
def test_the_name_of_a_kit_is_no_path(name: Any, folder: Path) -> None:
    with pytest.raises(CaseError, match="no name of a kit"):
        answered({"kit": name}, Path("x.toml"), read_rooms(folder))


def test_an_answer_with_a_wrong_fact_changes_nothing(folder: Path) -> None:
    before = (folder / "kits/top-fill.toml").read_bytes()
    path = put(folder / "answer.toml", {"kit": "top-fill", "portable": [{"boil_off": "26 L"}]})
    assert main(["clinic", str(folder), "--take", str(path)]) == 2
    assert (folder / "kits/top-fill.toml").read_bytes() == before


def test_the_command_shows_each_room_and_what_is_missing_in_it(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["clinic", str(folder)]) == 0
    assert capsys.readouterr().out.count("nothing is wrong or missing") == 2
    put(folder / "kits/half.toml", {"name": "Half", "reservoir": [{"coupling": "top fill"}]})
    assert main(["clinic", str(folder)]) == 2
    assert "reservoir[1].boil_off: it is missing" in capsys.readouterr().out
    assert main(["clinic", str(folder), "--ask", "half"]) == 0
    assert "[[reservoir]]" in capsys.readouterr().out


def test_the_example_of_a_clinics_folder_is_right(capsys: pytest.CaptureFixture[str]) -> None:
    folder = ROOT / "examples/quarry-hill"
    assert main(["clinic", str(folder)]) == 0
    shown = capsys.readouterr().out
    rooms = re.findall(r"^  (\S+)  .*: nothing is wrong or missing$", shown, re.MULTILINE)
    assert rooms == ["clinic.toml", "kits/side-fill-31.toml", "kits/top-fill-45.toml"]
    case = read_case(folder / "ana-belmonte.toml", dt.date(2026, 11, 2))
    assert (case.from_kit, case.clinic.name) == ("top-fill-45", "Quarry Hill Lung Clinic")
    own = toml_values((folder / "ana-belmonte.toml").read_bytes(), "the example")
    order = own.pop("prescription")
    # Eight values, with the day: name, languages and kit; three flows, hours out and asleep.
    assert set(own) | set(own.pop("patient")) == {"issued", "kit", "patient", "name", "languages"}
    assert [len(order[activity]) for activity in ("rest", "exertion", "sleep")] == [1, 2, 2]
