"""The sheets beside the guide, the clinician's copy and its teach-back record."""

import datetime as dt
import io
import re
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any, get_args
from xml.etree import ElementTree

import page as validation
import pdfplumber
import pytest
from pydantic import BaseModel

from companion.case import Case
from companion.case.read import case_from_dict
from companion.cli import main
from companion.guide.deductions import CAUSES
from companion.guide.document import Sheet
from companion.guide.notice_words import NOTICES, notice_words
from companion.guide.sheet_names import SHEETS, is_sheet_file
from companion.guide.sheets import document
from companion.guide.tables import store_name
from companion.guide.teach_back import teach_back
from companion.language.catalogue import PSEUDO, available
from companion.language.locale import Locale
from companion.link.keys import Keys
from companion.make import make_set
from companion.reckoning.containers import level_name
from companion.reckoning.duration import Cause, Window
from companion.reckoning.notices import NoticeCode
from companion.reckoning.plan import Plan, plan
from companion.render.pdf import pdf
from tests.cases import LEFT_OUT, OWN_FIGURES, PULSE, a_case, case_dict
from tests.conftest import WriteCase
from tests.guides import CODE, HOMES, example, sheet_html
from tests.tools import key_file

XHTML = "{http://www.w3.org/1999/xhtml}"
FOR_THE_PATIENT = ("fridge", "wallet", "door", "log")
LETTER, A4 = "US", "GB"  # a region that prints on each paper
MM = 72 / 25.4

SHEET = pytest.mark.parametrize("sheet", [name for name in SHEETS if name != "guide"])
PATIENT_SHEET = pytest.mark.parametrize("sheet", FOR_THE_PATIENT)
HOME = pytest.mark.parametrize("name", HOMES)


def changed(changes: dict[str, Any]) -> Case:
    """Return the base case with some fields changed."""
    return a_case(changes)


@cache
def page_of(sheet: Sheet, name: str, tag: str = "en") -> str:
    """Return one sheet of an example."""
    case = example(name)
    return sheet_html(sheet, case, plan(case), Locale(tag, case.clinic.region), CODE)


@cache
def pdf_of(sheet: Sheet, name: str, tag: str = "en", region: str | None = None) -> bytes:
    """Return the PDF of one sheet of an example, on the paper of its own region or of another."""
    case = example(name)
    if region:
        case = case.model_copy(
            update={"clinic": case.clinic.model_copy(update={"region": region, "subdivision": None})}
        )
    return pdf(document(sheet, case, plan(case), Locale(tag, case.clinic.region), CODE), case.issued)


def body_of(page: str) -> ElementTree.Element:
    """Return the body of a page, which must be well-formed."""
    found = ElementTree.fromstring(page.partition("\n")[2]).find(f"{XHTML}body")
    assert found is not None
    return found


def words_of(element: ElementTree.Element) -> str:
    """Return what a reader sees of an element."""
    return " ".join("".join(element.itertext()).split())


def tables_of(page: str) -> Iterator[tuple[str, list[list[str]]]]:
    """Yield the caption and the rows of each table, the head row first."""
    for table in body_of(page).iter(f"{XHTML}table"):
        caption = table.find(f"{XHTML}caption")
        rows = [[words_of(cell) for cell in row] for row in table.iter(f"{XHTML}tr")]
        yield "" if caption is None else words_of(caption), rows


def rows_under(page: str, caption: str) -> list[list[str]]:
    """Return the rows of the table with a caption, without its head."""
    return next(rows for found, rows in tables_of(page) if found == caption)[1:]


# ── paper ───────────────────────────────────────────────────────────────────────────────────────


@PATIENT_SHEET
@HOME
@pytest.mark.parametrize("region", [LETTER, A4])
@pytest.mark.parametrize("tag", [*available(), PSEUDO])
def test_a_sheet_stays_one_page_and_large(sheet: str, name: str, region: str, tag: str) -> None:
    # PSEUDO is English made 40 % longer.
    with pdfplumber.open(io.BytesIO(pdf_of(sheet, name, tag, region))) as pdf:
        assert len(pdf.pages) == (2 if sheet == "log" else 1)
        for page in pdf.pages:
            assert min(char["size"] for char in page.chars) >= 15.99
            # Nothing runs off the paper.
            assert min(char["x0"] for char in page.chars) >= 0
            assert max(char["x1"] for char in page.chars) <= page.width
            assert max(char["bottom"] for char in page.chars) <= page.height


@HOME
@pytest.mark.parametrize("region", [LETTER, A4])
def test_the_fridge_sheet_keeps_18_points_in_english(name: str, region: str) -> None:
    with pdfplumber.open(io.BytesIO(pdf_of("fridge", name, "en", region))) as pdf:
        assert min(char["size"] for char in pdf.pages[0].chars) >= 17.99


@HOME
@pytest.mark.parametrize("region", [LETTER, A4])
@pytest.mark.parametrize("tag", ["en", "ar", PSEUDO])
def test_the_log_has_room_for_a_hand(name: str, region: str, tag: str) -> None:
    with pdfplumber.open(io.BytesIO(pdf_of("log", name, tag, region))) as pdf:
        for page in pdf.pages:
            rows = page.find_tables()[0].rows[1:]
            assert len(rows) == 7
            assert min(row.bbox[3] - row.bbox[1] for row in rows) >= 10 * MM
            assert max(row.bbox[3] for row in rows) < page.height - 10 * MM


@SHEET
@HOME
@pytest.mark.parametrize("tag", ["en", "ar", "hi", "zh-Hans"])
def test_each_sheet_is_tagged_for_a_screen_reader(sheet: str, name: str, tag: str) -> None:
    report = validation.validate_pdf_bytes(pdf_of(sheet, name, tag), profile="ua1")
    assert report.is_compliant, report.failures


# ── what the patient's sheets say ───────────────────────────────────────────────────────────────


@PATIENT_SHEET
@HOME
def test_the_patient_sees_no_deduction(sheet: str, name: str) -> None:
    words = words_of(body_of(page_of(sheet, name))).lower()
    assert words
    assert not [word for word in ("nominal", "worst", "tolerance", "boil-off", *CAUSES) if word in words.split()]


def test_the_fridge_sheet_gives_the_plan() -> None:
    words = words_of(body_of(page_of("fridge", "harbour-lane")))
    made = plan(example("harbour-lane"))
    locale = Locale("en", "US")
    (_, (head, *rows)) = next(tables_of(page_of("fridge", "harbour-lane")))
    assert head == ["Gauge shows at least", "Portable At all times2 L/min", "Reservoir In daily use"]
    assert [row[1:] for row in rows] == [
        [
            str(locale.duration(made.window("portable-1", level, "rest").safe_min)),
            str(locale.duration(made.supply[0].safe_min[level])),
        ]
        for level in (Fraction(1), Fraction(3, 4), Fraction(1, 2), Fraction(1, 4))
    ]
    for told in ("555-0142", "555-0143", "911", "reservoir gauge shows three quarters or less", "November 2, 2026"):
        assert told in words


def test_of_several_containers_the_fridge_sheet_gives_the_shortest() -> None:
    base = case_dict()
    small = base["portable"][0] | {"liquid_volume": "0.6 L", "oxygen_mass": LEFT_OUT}
    small = {key: value for key, value in small.items() if value is not LEFT_OUT}
    case = case_from_dict(case_dict({"portable": [base["portable"][0], small]}), "test")
    made = plan(case)
    (_, (head, *rows)) = next(tables_of(sheet_html("fridge", case, made, Locale("en", "US"), CODE)))
    shortest = min(made.window(portable, Fraction(1), "rest").safe_min for portable in ("portable-1", "portable-2"))
    assert head[1].startswith("Each portable")
    assert rows[0][1] == str(Locale("en", "US").duration(shortest))
    assert made.window("portable-1", Fraction(1), "rest").safe_min > shortest


def test_the_wallet_card_keeps_flow_and_setting_apart() -> None:
    words = words_of(body_of(page_of("wallet", "orchard-row")))
    for told in ("Walking 3 L/minpulses: number 3", "Asleep 2 L/min", "90 to 94 %", "555-0182", "911", "liquid oxygen"):
        assert told in words
    assert "number 2 L/min" not in words


def test_the_door_sign_says_what_it_shows() -> None:
    body = body_of(page_of("door", "mill-street"))
    for told in ("Oxygen in use", "No smoking", "No open flame", "at least 3 metres (10 feet)"):
        assert told in words_of(body)
    labels = [drawing.attrib["aria-label"] for drawing in body.iter("{http://www.w3.org/2000/svg}svg")]
    assert labels == ["Warning: danger of fire.", "No smoking.", "No open flame."]


# ── the clinician's copy ────────────────────────────────────────────────────────────────────────


def leaves(value: Any, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str]]:
    """Yield each field of a part with its value as it was typed."""
    if isinstance(value, BaseModel):
        for name in type(value).model_fields:
            yield from leaves(getattr(value, name), (*path, name.rstrip("_").replace("_", " ")))
    elif isinstance(value, bool):
        yield path, "yes" if value else "no"
    elif value is None:
        yield path, "none"
    elif isinstance(value, dict):
        yield path, ", ".join(f"setting {setting}: {bolus}" for setting, bolus in value.items())
    elif isinstance(value, list):
        yield path, ", ".join(value)
    elif isinstance(value, dt.time):
        yield path, f"{value:%H:%M}"
    else:
        yield path, str(value)


@HOME
def test_the_clinician_sees_every_field(name: str) -> None:
    case = example(name)
    page = page_of("clinician", name)
    parts = [
        *((part.capitalize(), getattr(case, part)) for part in ("patient", "prescription", "clinic")),
        *(
            (f"{kind.capitalize()} {place}", item)
            for kind in ("reservoir", "portable", "cylinder")
            for place, item in enumerate(getattr(case, kind), start=1)
        ),
        *([("Conserver", case.conserver)] if case.conserver else []),
    ]
    for title, part in parts:
        printed = {row[0]: row[1] for row in rows_under(page, title)}
        assert printed == {": ".join(path): value for path, value in leaves(part, ())}
    assert rows_under(page, "Issued")[0][1] == case.issued.isoformat()
    confirmed = ", ".join(case.confirmed) or "none"
    assert rows_under(page, "Confirmed")[0][1] == confirmed
    assert set(Case.model_fields) == {
        "issued", "confirmed", "patient", "prescription", "reservoir", "portable", "cylinder", "conserver", "clinic"
    }  # fmt: skip


def test_a_margin_that_the_clinic_left_out_is_marked() -> None:
    rows = {row[0]: row for row in rows_under(page_of("clinician", "harbour-lane"), "Clinic")}
    assert rows["policy: safety days"][1:3] == ["1", "entered"]
    assert rows["policy: portable reserve"][1:3] == ["30 min", "default"]
    assert rows["policy: flame distance"][1:3] == ["none", "not given"]


@HOME
def test_the_clinician_sees_every_deduction(name: str) -> None:
    made = plan(example(name))
    page = page_of("clinician", name)
    for windows, after in (
        (made.windows, ", in minutes"),
        (made.steady_windows, " on the steady flow, when its pulses fail, in minutes"),
    ):
        for container in {window.container for window in windows}:
            alike = [window for window in windows if window.container == container]
            check_deductions(page, container.replace("-", " ").capitalize() + after, alike)


def check_deductions(page: str, title: str, windows: list[Window]) -> None:
    """Hold one table against its windows: every cause that takes a tenth of a minute in any row has its column."""
    taken = {deduction.cause for window in windows for deduction in window.deductions if deduction.minutes >= 0.05}
    for window in windows:
        minutes = {deduction.cause: f"−{max(0, deduction.minutes):.1f}" for deduction in window.deductions}
        row = next(
            row
            for row in rows_under(page, title)
            if row[0] == level_name(window.level) and window.demand.activity in row[1].split(", ")
        )
        assert row[3:-1] == [
            f"{window.nominal_min:.1f}",
            *(minutes.get(cause, "") for cause in CAUSES if cause in taken),
            str(window.safe_min),
        ]


def test_the_clinician_sees_what_each_activity_uses() -> None:
    page = page_of("clinician", "uneven")
    used = {
        (title, activity): row[2]
        for title in ("Portable 1", "Portable 2")
        for row in rows_under(page, f"{title}, in minutes")
        for activity in row[1].split(", ")
    }
    assert used == {
        ("Portable 1", "rest"): "1.5 L/min",
        ("Portable 1", "exertion"): "3.5 L/min",
        ("Portable 1", "sleep"): "1.25 L/min",
        ("Portable 2", "rest"): "setting 2, 468 mL/min",  # 26 mL × 18
        ("Portable 2", "exertion"): "setting 3, 988 mL/min",  # 38 mL × 26
        ("Portable 2", "sleep"): "1.25 L/min",
    }


@HOME
def test_the_clinician_sees_the_daily_use_as_ordered_and_at_the_worst(name: str) -> None:
    rows = rows_under(page_of("clinician", name), "Daily use of each reservoir, in litres of gas")
    uses = [(figure, use) for line in plan(example(name)).supply for figure, use in
            (("nominal", line.nominal), ("worst", line.worst))]  # fmt: skip
    assert [row[1:] for row in rows] == [
        [figure, *(f"{part:.0f}" for part in (use.direct, use.cold_fills, use.warm_fills, use.standing, use.total))]
        for figure, use in uses
    ]


def test_the_fridge_sheet_of_an_uneven_home_gives_the_weaker_of_each() -> None:
    (_, (head, *rows)) = next(tables_of(page_of("fridge", "uneven")))
    assert [cell.split(" ")[0] for cell in head] == ["Gauge", "Each", "Each", "Each", "Each"]
    # Full: the first portable on the walk 3 h 10 and the second asleep 6 h 35; the first reservoir 6 days.
    assert rows[0] == ["full", "8 hours 5 minutes", "3 hours 10 minutes", "6 hours 35 minutes", "6 days"]
    # One quarter: the second portable has fifths, and its lower mark counts.
    assert rows[3] == ["one quarter", "35 minutes", "Too low: fill it", "10 minutes", "12 hours 30 minutes"]


def test_every_cause_has_its_column() -> None:
    assert set(CAUSES) == set(get_args(Cause))


@HOME
def test_the_clinician_sees_supply_constants_and_sources(name: str) -> None:
    made = plan(example(name))
    words = words_of(body_of(page_of("clinician", name)))
    for line in made.supply:
        assert f"{line.worst.total:.0f}" in words
        assert f"{line.nominal.total:.0f}" in words
    for told in ("CoolProp 8.0.0", "754.0 L/kg", "International Fire Code 2009", "Wilderness Medical Society"):
        assert told in words
    assert "prescriber's order, the instructions of the supplier and of the equipment, or local codes" in words


SET_ROWS = {
    "emergency_number": {"Ambulance"},
    "fire_number": {"Fire service"},
    "flame_distance": {"Distance to flames"},
    "heat_distance": {"Distance to heaters"},
    "airing_time": {"Airing of clothes and hair"},
    "splash_airing_time": {"Airing after a splash of liquid"},
    "frostbite_water": {"Water for frostbite", "Water never above"},
}
"""The rows of the clinician's copy that a field of the policy speaks for."""


@pytest.mark.parametrize("region", ["US", "PK"])  # the sources disagree on Pakistan's numbers
@pytest.mark.parametrize("fields", [[], *([field] for field in SET_ROWS), list(SET_ROWS)], ids=", ".join)
def test_a_figure_that_the_clinic_sets_says_so(fields: list[str], region: str) -> None:
    case = changed({"clinic.region": region, "clinic.policy": {field: OWN_FIGURES[field] for field in fields}})
    page = sheet_html("clinician", case, plan(case), Locale("en", region), CODE)
    rows = rows_under(page, f"Settings of the region {region} in the words of the guide")
    assert {row[0] for row in rows if row[2] == "set by the clinic"} == {
        name for field in fields for name in SET_ROWS[field]
    }
    unknown = {row[0] for row in rows if row[2] == "the sources disagree"}
    assert unknown == ({"Ambulance", "Fire service"} if region == "PK" else set()) - {
        name for field in fields for name in SET_ROWS[field]
    }
    assert {row[0] for row in rows} == set().union(*SET_ROWS.values())


# What brings each notice up, and a piece of what it then says. Each row changes the base case in one respect.
NOTICE_CASES: dict[NoticeCode, tuple[dict[str, Any], str]] = {
    "few hours": (
        {"prescription.rest.hours_per_day": "1 h", "prescription.hours_off_oxygen": "12 h"},
        "12 hours a day",
    ),
    "no economiser": ({"portable[1].economiser": False}, "Portable 1"),
    "no call mark": ({"clinic.delivery.closed_days": 14}, "Reservoir 1: no reading below full"),
    "no call mark on a round": (
        {"clinic.delivery.lead_days": 9, "clinic.delivery.round": {"weekdays": ["thursday"]}},
        "misses a round",
    ),
    "round too long": ({"clinic.delivery.round": {"weekdays": ["thursday"]}}, "the supplier comes every 7 days"),
    "larger reservoir": ({"clinic.delivery": {"lead_days": 1, "closed_days": 3}}, "60.1 kg of oxygen (55 L of liquid)"),
    "shorter wait": ({"clinic.delivery.closed_days": 14}, "at most 1 day from"),
    "a round instead": ({"clinic.delivery.closed_days": 14}, "at most 2 days apart"),
    "no backup": ({"cylinder": []}, "no back-up cylinder"),
    "backup short": ({"clinic.delivery.lead_days": 10}, "450 hours"),  # ten working days over Christmas and New Year
    "portable useless": (
        {"clinic.policy": {"portable_reserve": "240 min"}, "portable[1].liquid_volume": "0.4 L"},
        "rest",
    ),
    "fills short": ({"prescription.exertion.on_portable": "3 h", "portable[1].cold_fills_per_day": 0}, "fills a day"),
    "no emergency number": ({"clinic.region": "AU"}, "AU"),
    "no fire number": ({"clinic.region": "AU"}, "'fire_number'"),
    "cylinder useless": (
        {
            "cylinder[1].gauge_division": "1000 psi",
            "cylinder[1].reserve": "1000 psi",
            "clinic.policy": {"reading_error_divisions": 2},
        },
        "Cylinder 1: even full",
    ),
    "no steady time": (
        PULSE
        | {
            "prescription.rest.flow": "60 L/min",
            "reservoir[1].max_flow": "60 L/min",
            "portable[1].max_flow": "60 L/min",
            "cylinder[1].max_flow": "60 L/min",
        },
        "on the steady flow in this activity: rest",
    ),
    "pauses short": (
        {"prescription.exertion.on_portable": "3 h", "prescription.exertion.flow": "3 L/min"},
        "spread over 16 hours",
    ),
    "night on portable": (
        {"prescription.sleep.on_portable": "8 h", "portable[1].cold_fills_per_day": 3},
        "lasts 5 h 55 min asleep at the worst, and 8 h 0 min of sleep are ordered on it",
    ),
    "night on cylinder": ({}, "lasts 3 h 50 min asleep at the worst, and 8 h 0 min of sleep are ordered. In a night"),
    "no working pressure": ({"reservoir[1].working_pressure": LEFT_OUT}, "Reservoir 1: its working pressure"),
    "high flow": (
        {"clinic.policy": {"icing_flow": "1.5 L/min"}},
        "2 L/min is ordered in this activity: rest. Above 1.5",
    ),
    "altitude": ({"clinic.altitude": "1600 m"}, "at 1600 m above the sea"),
    "closed days short": ({"clinic.delivery.closed_days": 0}, "says 0"),
    "no margin": ({"clinic.policy": {"flow_tolerance_percent": 0}}, "flow tolerance percent"),
    "delivery late": ({"clinic.delivery.weekdays": ["monday"]}, "2026-"),
    "round on a day off": ({"clinic.delivery.round": {"weekdays": ["thursday"]}}, "2026-11-26"),  # Thanksgiving
    "no subdivision": ({"clinic.subdivision": None}, "which part of US"),
}


def test_every_notice_has_its_sentences() -> None:
    assert set(NOTICES) == set(get_args(NoticeCode)) == set(NOTICE_CASES)


@pytest.mark.parametrize("code", NOTICE_CASES)
def test_a_notice_is_told(code: NoticeCode) -> None:
    changes, piece = NOTICE_CASES[code]
    case = changed(changes)
    made = plan(case)
    sentences = [notice_words(notice) for notice in made.notices if notice.code == code]
    assert sentences
    assert piece in sentences[0]
    page = sheet_html("clinician", case, made, Locale("en", case.clinic.region), CODE)
    assert sentences[0] in words_of(body_of(page))


# ── what was ordered, as it was ordered ─────────────────────────────────────────────────────────

CYLINDER = {name: value for name, value in case_dict()["cylinder"][0].items() if name != "name"}

SMALL_FLOWS = {
    "prescription.rest.flow": "0.125 L/min",
    "prescription.exertion.flow": "0.375 L/min",
    "prescription.sleep.flow": "75 mL/min",
}


@pytest.mark.parametrize("sheet", ["guide", "wallet", "clinician"])
def test_a_small_flow_is_never_cut(sheet: Sheet) -> None:
    case = changed(SMALL_FLOWS)
    page = words_of(body_of(sheet_html(sheet, case, plan(case), Locale("en", "US"), CODE)))
    assert set(re.findall(r"[0-9.]+ mL/min", page)) == {"75 mL/min"}
    assert {"0.125 L/min", "0.375 L/min"} <= set(re.findall(r"[0-9.]+ L/min", page))


TWO_KINDS = {
    "cylinder": [
        {**CYLINDER, "name": "To carry"},
        {
            **CYLINDER,
            "name": "In the hall",
            "full_pressure": "13.8 MPa",
            "reserve": "3.4 MPa",
            "gauge_division": "1 MPa",
        },
    ]
}


def test_each_kind_of_cylinder_has_its_own_stop_reading() -> None:
    case = changed(TWO_KINDS)
    page = body_of(sheet_html("guide", case, plan(case), Locale("en", "US"), CODE))
    rows = [words_of(row) for row in page.iter(f"{XHTML}tr")]
    assert "Cylinder 1To carry200 psi or less" in rows
    assert "Cylinder 2In the hall3.4 MPa or less" in rows
    assert "when the gauge shows 200 psi" not in words_of(page)
    heads = [words_of(row[0]) for row in page.iter(f"{XHTML}tr")]
    readings = [head.removesuffix(" MPa") for head in heads if head.endswith(" MPa")]
    assert readings == ["13.8", "11", "7", "4"]  # full, and the next whole MPa above 10.35, 6.9 and 3.45


def test_kinds_that_stop_alike_need_one_sentence() -> None:
    case = changed({"cylinder": [CYLINDER, {**CYLINDER, "content": "3455 L"}]})
    page = words_of(body_of(sheet_html("guide", case, plan(case), Locale("en", "US"), CODE)))
    assert "Change to the next cylinder when the gauge shows 200 psi or less." in page


# ── teach-back ──────────────────────────────────────────────────────────────────────────────────


def asked(case: Case, made: Plan, tag: str = "en") -> dict[str, str]:
    """Return the questions of a case with their answers."""
    locale = Locale(tag, case.clinic.region)
    return {
        str(question.ask): str(question.expect)
        for chunk in teach_back(case, made, locale)
        for question in chunk.questions
    }


@HOME
def test_the_expected_answers_are_the_plan_s(name: str) -> None:
    case = example(name)
    made = plan(case)
    locale = Locale("en", case.clinic.region)
    found = asked(case, made)
    assert 5 <= len(found) <= 7
    walking = made.window("portable-1", Fraction(1, 2), "exertion").safe_min
    waited = next(row for row in made.standing[0].rows if row.hours == 4).safe_min["exertion"]
    called = str(store_name(made.liquid_store("portable-1"), made, locale))
    level = f"{called}: the gauge shows one half. You are walking. How long do you plan for?"
    stood = f"{called}: you filled it 4 hours ago and did not use it. You walk now. How long do you plan for?"
    assert found[level] == str(locale.duration(walking))
    assert found[stood] == str(locale.duration(waited))
    # The same row and column of the guide say the same.
    guide = sheet_html("guide", case, made, locale, CODE)
    (head, *rows) = next(rows for caption, rows in tables_of(guide) if caption == f"{called}: it lasts at least")
    column = next(place for place, words in enumerate(head) if words.startswith(("Walking", "At all times")))
    assert found[level] == next(row[column] for row in rows if row[0].endswith("one half"))


@HOME
def test_the_record_prints_every_question_with_room_for_the_result(name: str) -> None:
    case = example(name)
    page = page_of("clinician", name)
    printed = {row[0]: row for _, rows in tables_of(page) for row in rows if len(row) == 5}
    for ask, expect in asked(case, plan(case)).items():
        assert printed[ask] == [ask, expect, "", "", ""]


def test_questions_follow_the_equipment() -> None:
    bare = changed({"portable": LEFT_OUT, "cylinder": LEFT_OUT})
    found = asked(bare, plan(bare))
    assert 5 <= len(found) <= 7
    told = " ".join([*found, *found.values()]).lower()
    assert "portable" not in told
    assert "cylinder" not in told
    assert str(Locale("en", "US").duration(plan(bare).supply[0].safe_min[Fraction(1, 2)])) in found.values()


def test_where_no_time_can_be_promised_the_answer_is_the_act() -> None:
    case = changed({"clinic.policy": {"portable_reserve": "240 min"}})
    made = plan(case)
    assert made.window("portable-1", Fraction(1, 2), "exertion").safe_min == 0
    assert "Too low: fill it" in asked(case, made).values()


def test_the_questions_stand_in_the_patient_s_language_above_the_english() -> None:
    case = example("harbour-lane")
    cells = [
        [paragraph for paragraph in cell if paragraph.tag == f"{XHTML}p"]
        for cell in body_of(page_of("clinician", "harbour-lane", "ar")).iter(f"{XHTML}td")
    ]
    pairs = [cell for cell in cells if len(cell) == 2]
    told = {words_of(first): words_of(second) for first, second in pairs}
    assert all(first.attrib["lang"] == "ar" and first.attrib["dir"] == "rtl" for first, _ in pairs)
    arabic, english = asked(case, plan(case), "ar"), asked(case, plan(case))
    for (ask, expect), (english_ask, english_expect) in zip(arabic.items(), english.items(), strict=True):
        assert told[ask] == english_ask
        assert told[expect] == english_expect


# ── the set ─────────────────────────────────────────────────────────────────────────────────────


def test_only_picks(write_case: WriteCase, tmp_path: Path) -> None:
    out = tmp_path / "out"
    keys = key_file(tmp_path / "keys")
    assert main(["guide", str(write_case()), "--only", "door, log", "--out", str(out), "--keys", str(keys)]) == 0
    assert sorted(path.name for path in out.iterdir()) == ["door.en.html", "door.en.pdf", "log.en.html", "log.en.pdf"]


def test_sheets_of_an_older_set_do_not_stay_beside_new_ones(
    write_case: WriteCase, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, keys = tmp_path / "out", key_file(tmp_path / "keys")
    words = ["guide", str(write_case()), "--out", str(out), "--keys", str(keys), "--only"]
    assert main([*words, "door,log"]) == 0
    (out / "notes.txt").touch()
    capsys.readouterr()
    write_case({"clinic.name": "Another clinic"})
    assert main([*words, "log"]) == 0
    assert sorted(path.name for path in out.iterdir()) == ["log.en.html", "log.en.pdf", "notes.txt"]
    assert f"Removed {out / 'door.en.pdf'}, of an older set" in capsys.readouterr().out


def test_a_sheet_that_is_none_is_named(
    write_case: WriteCase, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    assert main(["guide", str(write_case()), "--only", "fridge,poster", "--out", str(out)]) == 2
    assert "'poster'" in capsys.readouterr().err
    assert not out.exists()


def test_the_whole_set_is_made_unless_picked() -> None:
    case = example("harbour-lane")
    names = [name for name, _ in make_set(case, plan(case), Locale("en", "US"), Keys((b"k" * 32,)))]
    printed = [f"{sheet}.en.{kind}" for sheet in SHEETS for kind in ("html", "pdf")]
    assert sorted(names) == sorted([*printed, "guide.en.txt"])
    assert all(is_sheet_file(name) for name in names)
    assert not any(map(is_sheet_file, ("log.en.txt", "notes.txt", "guide.txt", "poster.en.pdf")))


def test_the_guide_as_text_says_the_words_of_the_guide() -> None:
    case = example("harbour-lane")
    made = dict(make_set(case, plan(case), Locale("en", "US"), Keys((b"k" * 32,)), ["guide"]))
    lines = made["guide.en.txt"].decode().splitlines()
    assert lines[0] == "Your oxygen at home"
    assert "Clinic and supplier: office hours: 555-0142" in lines


def test_the_review_date_is_on_what_is_kept() -> None:
    for sheet in ("fridge", "wallet"):
        assert "May 3, 2027" in words_of(body_of(page_of(sheet, "harbour-lane")))
    assert example("harbour-lane").prescription.review_date == dt.date(2027, 5, 3)
