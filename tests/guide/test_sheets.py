"""The sheets beside the guide, the clinician's copy and its teach-back record."""

import datetime as dt
import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any, get_args
from xml.etree import ElementTree

import page as validation
import pytest
from pydantic import BaseModel

from companion.case import Case
from companion.case.read import case_from_dict
from companion.cli import main
from companion.guide.beside_tables import NIGHT_HOURS, portables, reservoirs
from companion.guide.code import Code
from companion.guide.deductions import CAUSES
from companion.guide.document import Sheet
from companion.guide.naming import store_name
from companion.guide.notice_words import NOTICES, notice_words
from companion.guide.sheet_names import SHEETS, is_sheet_file, told_apart
from companion.guide.sheets import document
from companion.guide.teach_back import teach_back
from companion.language.locale import Bilingual, Locale
from companion.link.keys import Keys
from companion.make import make_set
from companion.reckoning.choices import SHARED_ROWS
from companion.reckoning.containers import level_name, marks
from companion.reckoning.duration import Cause, Window
from companion.reckoning.notices import NoticeCode
from companion.reckoning.plan import Plan, plan
from companion.render.html import html
from companion.render.pdf import pdf
from tests.cases import LEFT_OUT, OWN_FIGURES, PULSE, a_case, case_dict
from tests.conftest import WriteCase
from tests.guides import CODE, HOMES, example, sheet_html
from tests.paper import leaves as leaves_of
from tests.tools import key_file

XHTML = "{http://www.w3.org/1999/xhtml}"
FOR_THE_PATIENT = ("fridge", "wallet", "door", "log")
LETTER, A4 = "US", "GB"  # a region that prints on each paper

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


# ── what the patient's sheets say ───────────────────────────────────────────────────────────────


@PATIENT_SHEET
@HOME
def test_the_patient_sees_no_deduction(sheet: str, name: str) -> None:
    words = words_of(body_of(page_of(sheet, name))).lower()
    assert words
    assert not [word for word in ("nominal", "worst", "tolerance", "boil-off", *CAUSES) if word in words.split()]


def fridge_tables(case: Case, tag: str = "en") -> list[list[list[str]]]:
    """Return the tables of the fridge sheet of a case, each without its head row."""
    page = sheet_html("fridge", case, plan(case), Locale(tag, case.clinic.region), CODE)
    return [rows[1:] for _, rows in tables_of(page)]


def test_the_fridge_sheet_gives_the_plan() -> None:
    made = plan(example("harbour-lane"))
    locale = Locale("en", "US")
    reservoir, portable, cylinder = (rows for _, rows in tables_of(page_of("fridge", "harbour-lane")))
    assert reservoir[0] == ["The reservoir shows", "In daily use", "Do this"]
    quarters = (Fraction(1), Fraction(3, 4), Fraction(1, 2), Fraction(1, 4))
    assert [row[1] for row in reservoir[1:]] == [
        *(str(locale.duration(made.supply[0].safe_min[level])) for level in quarters),
        "No sure time",
    ]
    assert portable[0] == ["The portable shows", "At all times 2 L/min"]
    waited = next(row for row in made.standing[0].rows if row.hours == NIGHT_HOURS)
    assert [row[1] for row in portable[1:]] == [
        *(str(locale.duration(made.window("portable-1", level, "rest").safe_min)) for level in quarters),
        str(locale.duration(waited.safe_min["rest"])),
    ]
    assert portable[1][0].endswith("full, just filled")
    assert portable[-1][0] == "filled 12 hours ago, unused"
    full = made.window("cylinder-1", Fraction(1), "rest").safe_min
    assert cylinder[1:] == [["Cylinder", str(locale.duration(full)), "200 psi or less"]]
    words = words_of(body_of(page_of("fridge", "harbour-lane")))
    for told in (
        "Rosa Lindqvist",
        "Between two marks, take the lower time, and do what the higher mark says.",
        "November 2, 2026",
        "May 3, 2027",
    ):
        assert told in words
    assert words.index("911") < words.index("555-0142") < words.index("555-0143")


LOW = "Call now, by day or night. Do not fill the portable. Get a cylinder ready."
EMPTY = "Use what still comes. Then change to a cylinder."
TODAY = "Call today."
BELOW = "Call today, if you have not called."
NOTHING = "No call yet."
UNLESS = "Call today, unless the supplier comes within "
NO_NIGHT = LOW.replace(", by day or night", "")
NIGHT = {"clinic.phone_night": "555-0143"}
ROUND = {"lead_days": 1, "closed_days": 2, "round": {"weekdays": ["monday", "thursday"]}}
ACTS: dict[str, tuple[dict[str, Any], Fraction | None, list[str]]] = {
    "three quarters": (NIGHT, Fraction(3, 4), [NOTHING, TODAY, BELOW, LOW, EMPTY]),
    "one half": (NIGHT, Fraction(1, 2), [NOTHING, NOTHING, TODAY, LOW, EMPTY]),
    # A low reservoir always needs a call now.
    "one quarter": (NIGHT, Fraction(1, 4), [NOTHING, NOTHING, NOTHING, LOW, EMPTY]),
    # The marks last 4.88, 3.30 and 2 days; the supplier may come as late as 18 h, which is 0.75 of a day.
    "no mark": (NIGHT, None, [UNLESS + "4 days.", UNLESS + "2 days.", UNLESS + "1 day.", LOW, EMPTY]),
    # On Monday and Thursday they come 4 days apart at the most, and full lasts that.
    "a round": (
        NIGHT | {"clinic.delivery": ROUND},
        Fraction(3, 4),
        [NOTHING, UNLESS + "2 days.", UNLESS + "1 day.", LOW, EMPTY],
    ),
    "nobody answers at night": ({}, Fraction(3, 4), [NOTHING, TODAY, BELOW, NO_NIGHT, EMPTY]),
    "no portable": (
        {"portable": LEFT_OUT},
        Fraction(3, 4),
        [NOTHING, TODAY, BELOW, "Call now. Get a cylinder ready.", EMPTY],
    ),
    "no cylinder": (
        {"cylinder": []},
        Fraction(3, 4),
        [NOTHING, TODAY, BELOW, "Call now. Do not fill the portable.", "Use what still comes."],
    ),
}
"""By case and call mark: what the fridge sheet says at full, three quarters, one half, one quarter and empty."""


@pytest.mark.parametrize("name", ACTS)
def test_the_fridge_sheet_says_what_to_do_at_each_mark(name: str) -> None:
    changes, mark, acts = ACTS[name]
    case = changed(changes)
    table = reservoirs(case, calling(plan(case), mark), Locale("en", "US"))
    assert [str(row.cells[-1]) for row in table.rows] == acts


@pytest.mark.parametrize(
    ("mark", "acts"),
    [
        (
            Fraction(5, 8),
            {"full": NOTHING, "three quarters": NOTHING, "five eighths": TODAY, "one half": BELOW},
        ),
        (
            Fraction(3, 8),
            {"full": NOTHING, "three quarters": NOTHING, "one half": NOTHING, "three eighths": TODAY},
        ),
    ],
)
def test_the_mark_for_calling_has_a_row_of_its_own(mark: Fraction, acts: dict[str, str]) -> None:
    # The gauge of orchard-row has eighths, of which a table for the fridge shows every second. Its supplier is not
    # there at night.
    case = example("orchard-row")
    table = reservoirs(case, calling(plan(case), mark), Locale("en", "CA"))
    assert {str(row.head): str(row.cells[-1]) for row in table.rows} == acts | {
        "one quarter": NO_NIGHT,
        "empty": EMPTY,
    }


def calling(made: Plan, mark: Fraction | None) -> Plan:
    """Return a plan with another rule for calling."""
    return replace(made, call=replace(made.call, mark=mark))


@pytest.mark.parametrize(
    ("on_portable", "heads"),
    [
        (None, ["At rest", "Walking"]),
        ("0 h", ["At rest", "Walking"]),
        ("8 h", ["At rest", "Walking", "Asleep"]),
    ],
)
def test_nobody_reads_from_the_fridge_that_they_may_sleep_on_a_portable(
    on_portable: str | None, heads: list[str]
) -> None:
    flows = {"prescription.exertion.flow": "3 L/min"}
    made = plan(changed(flows | ({"prescription.sleep.on_portable": on_portable} if on_portable else {})))
    assert [str(column.head) for column in portables(made, Locale("en", "US")).columns] == heads


@pytest.mark.parametrize(("base", "codes"), [("https://oxygen.example", 1), (None, 0)])
def test_the_fridge_sheet_has_the_code_that_leads_to_a_page(base: str | None, codes: int) -> None:
    case = example("harbour-lane")
    page = sheet_html("fridge", case, plan(case), Locale("en", "US"), Code("x", base, "x", "x"))
    assert page.count("A code for the camera of a phone.") == codes


def test_of_several_containers_the_fridge_sheet_gives_the_shortest() -> None:
    base = case_dict()
    small = base["portable"][0] | {"liquid_volume": "0.6 L", "oxygen_mass": LEFT_OUT}
    small = {key: value for key, value in small.items() if value is not LEFT_OUT}
    case = case_from_dict(case_dict({"portable": [base["portable"][0], small]}), "test")
    made = plan(case)
    portable = fridge_tables(case)[1]
    shortest = min(made.window(portable, Fraction(1), "rest").safe_min for portable in ("portable-1", "portable-2"))
    assert portable[0][1] == str(Locale("en", "US").duration(shortest))
    assert made.window("portable-1", Fraction(1), "rest").safe_min > shortest


def test_the_fridge_sheet_of_an_uneven_home_gives_the_weaker_of_each() -> None:
    reservoir, portable, cylinder = fridge_tables(example("uneven"))
    # Full: the first reservoir 6 days; one quarter: 12 h 30.
    assert [row[1] for row in reservoir] == ["6 days", "4 days", "2 days", "12 hours 30 minutes", "No sure time"]
    # Full: the first portable on the walk 3 h 10. One quarter: the second has fifths, and its lower mark counts.
    assert portable[0][1:] == ["8 hours 5 minutes", "3 hours 10 minutes"]
    assert portable[3][1:] == ["35 minutes", "Too low to use"]
    # When its pulses stop, the second lasts less than on them.
    steady = {line.demand.activity: line.safe_min for line in plan(example("uneven")).steady_windows
              if line.container == "cylinder-2" and line.level == 1}  # fmt: skip
    assert cylinder[1][1] == str(Locale("en", "US").duration(min(steady.values())))


def test_the_card_says_what_an_ambulance_crew_needs() -> None:
    words = words_of(body_of(page_of("wallet", "orchard-row")))
    for told in (
        "I use oxygen", "Mirela Ashdown", "Titrate oxygen to an SpO₂ of 90 to 94 %.",
        "Walking 3 L/minpulses: number 3", "Asleep 2 L/min", "liquid oxygen. Keep it upright",
        "Prescriber Dr Tobias Renner", "Next of kin", "Diagnosis", "Allergies", "555-0182", "September 14, 2026",
    ):  # fmt: skip
        assert told in words
    assert "number 2 L/min" not in words
    assert words.index("911") < words.index("555-0181") < words.index("555-0182")


def test_a_target_that_nobody_set_is_left_to_write_in() -> None:
    case = changed({"prescription.target_saturation": LEFT_OUT})
    body = body_of(sheet_html("wallet", case, plan(case), Locale("en", "US"), CODE))
    blanks = [
        words_of(item) for item in body.iter(f"{XHTML}li") if item.find(f"{XHTML}span[@class='blank']") is not None
    ]
    assert blanks == ["Target SpO₂", "Next of kin", "Diagnosis", "Allergies"]
    assert "Titrate" not in words_of(body)


@HOME
def test_the_log_has_a_column_for_what_the_home_has(name: str) -> None:
    case = example(name)
    weeks = [rows[0] for _, rows in tables_of(page_of("log", name))]
    assert len(weeks) == 4
    assert ("Finger meter" in weeks[0]) == (case.prescription.target_saturation is not None)
    assert {"Date", "Delivery", "Portable filled at", "Cylinder used", "Flow changed, by whom"} <= set(weeks[0])
    assert "You may copy it." in words_of(body_of(page_of("log", name)))


def test_the_log_of_a_home_without_portable_and_cylinder_asks_for_neither() -> None:
    case = changed({"portable": LEFT_OUT, "cylinder": []})
    page = sheet_html("log", case, plan(case), Locale("en", "US"), CODE)
    assert "ortable" not in page
    assert "ylinder" not in page


def test_the_door_sign_says_what_it_shows() -> None:
    body = body_of(page_of("door", "mill-street"))
    for told in ("Oxygen in use", "No smoking", "No open flame", "at least 3 metres (10 feet)", "555-0167"):
        assert told in words_of(body)
    labels = [drawing.attrib["aria-label"] for drawing in body.iter("{http://www.w3.org/2000/svg}svg")]
    assert labels == ["Warning: oxygen makes fire burn fiercely.", "No smoking.", "No open flame."]


@pytest.mark.parametrize("sheet", ["wallet", "door"])
@pytest.mark.parametrize(("tag", "beside"), [("es", "en"), ("ar", "en"), ("en", "ar")])
def test_what_strangers_read_is_there_in_both_languages(sheet: Sheet, tag: str, beside: str) -> None:
    case = example("harbour-lane")
    first, second = (Locale(name, "US") for name in (tag, beside))
    page = document(sheet, case, plan(case), Bilingual(tag, "US", second), CODE)
    for language in (first, second):
        alone = document(sheet, case, plan(case), language, CODE)
        assert words_of(body_of(html(alone))) in words_of(body_of(html(page)))
    assert dict(page.carried)["companion-sheet"] == f"{sheet} {tag} {beside}"
    printed = pdf(page, case.issued)
    assert len(leaves_of(printed)) == 2
    report = validation.validate_pdf_bytes(printed, profile="ua1")
    assert report.is_compliant, report.failures


# ── the clinician's copy ────────────────────────────────────────────────────────────────────────


NOT_GIVEN = ""


def leaves(value: Any, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str]]:
    """Yield each field of a part with its value as it was typed."""
    if isinstance(value, BaseModel):
        for name in type(value).model_fields:
            yield from leaves(getattr(value, name), (*path, name.rstrip("_").replace("_", " ")))
    elif isinstance(value, bool):
        yield path, "yes" if value else "no"
    elif value is None:
        yield path, NOT_GIVEN
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
    policy = {f"policy: {row[0]}": row[1] for row in rows_under(page, "Margins and settings of the clinic")}
    missing = {row[0]: row[1].split("; ") for row in rows_under(page, "Not given")}
    for title, part in parts:
        printed = {row[0]: row[1].removesuffix(" (default)") for row in rows_under(page, title)}
        printed |= policy if title == "Clinic" else {}
        wanted = {": ".join(path): value for path, value in leaves(part, ())}
        assert printed == {name: value for name, value in wanted.items() if value != NOT_GIVEN}
        assert missing.get(title, []) == [name for name, value in wanted.items() if value == NOT_GIVEN]
    assert ["issued", case.issued.isoformat()] in rows_under(page, "Case")
    assert {"confirmed", "from_kit"} <= set(missing["Case"])
    assert set(Case.model_fields) == {
        "issued", "confirmed", "from_kit", "patient", "prescription", "reservoir", "portable", "cylinder", "conserver",
        "clinic",
    }  # fmt: skip


def test_a_margin_that_the_clinic_left_out_is_marked() -> None:
    page = page_of("clinician", "harbour-lane")
    rows = {row[0]: row for row in rows_under(page, "Margins and settings of the clinic")}
    assert rows["safety days"][1:3] == ["1", "entered"]
    assert rows["portable reserve"][1:3] == ["30 min", "default"]
    assert "time held back" in rows["portable reserve"][3]
    assert ["latest hour", "18 (default)"] in [
        [row[0].removeprefix("delivery: "), row[1]] for row in rows_under(page, "Clinic")
    ]
    assert "policy: flame distance" in dict(rows_under(page, "Not given"))["Clinic"]


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
    if windows[0].kind == "reservoir":
        # What the patient reads of a reservoir is its days of daily use: of these a few readings do.
        divisions = max(window.level.denominator for window in windows)
        windows = [window for window in windows if window.level in marks(divisions, SHARED_ROWS)]
    taken = {deduction.cause for window in windows for deduction in window.deductions if deduction.minutes >= 0.05}
    for window in windows:
        minutes = {deduction.cause: f"−{max(0, deduction.minutes):.1f}" for deduction in window.deductions}
        row = next(
            row
            for row in rows_under(page, title)
            if row[0] == level_name(window.level) and (row[1] == "all" or window.demand.activity in row[1].split(", "))
        )
        assert row[3:-1] == [
            f"{window.nominal_min:.1f}",
            *(minutes.get(cause, "") for cause in CAUSES if cause in taken),
            str(window.safe_min),
        ]
        assert row[-1] == f"{window.safe_min // 60}:{window.safe_min % 60:02d}"


def test_of_two_reservoirs_the_clinician_sees_which_fills_the_portable() -> None:
    case = changed(
        {
            "reservoir": [
                case_dict()["reservoir"][0] | {"coupling": "side fill"},
                case_dict()["reservoir"][0] | {"coupling": "Top fill", "name": "Hall"},
            ]
        }
    )
    page = sheet_html("clinician", case, plan(case), Locale("en", "US"), CODE)
    filled = {row[0]: row[-1] for row in rows_under(page, "What each container holds and loses")}
    assert filled["Reservoir 1: By the bed"] == "by the supplier; side fill"
    assert filled["Portable 1: Blue bag"] == "from Reservoir 2; top fill"


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
        ("Portable 2", "rest"): "no. 2, 468 mL/min",  # 26 mL × 18
        ("Portable 2", "exertion"): "no. 3, 988 mL/min",  # 38 mL × 26
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


# With one safety day, something smaller than the largest reservoir for a home, and a wait that there is, would do.
TIGHT = {"clinic.delivery": {"lead_days": 1, "closed_days": 3}, "clinic.policy": {"safety_days": 1}}

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
    "larger reservoir": (TIGHT, "60.1 kg of oxygen (55 L of liquid)"),
    "shorter wait": (TIGHT, "at most 1 day from"),
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
    assert [row for row in rows if row.endswith(("Change it", "Too low: change it"))] == [
        "200 psiChange it",
        "4 MPaToo low: change it",
    ]
    heads = [words_of(row[0]) for row in page.iter(f"{XHTML}tr")]
    readings = [head.removesuffix(" MPa") for head in heads if head.endswith(" MPa")]
    # full, the next whole MPa above 10.35, 6.9 and 3.45; the last is above the stop at 3.4 and gives no sure time
    assert readings == ["13.8", "11", "7", "4"]


# ── teach-back ──────────────────────────────────────────────────────────────────────────────────


def asked(case: Case, made: Plan, tag: str = "en") -> dict[str, str]:
    """Return the questions of a case with their answers."""
    locale = Locale(tag, case.clinic.region)
    return {str(question.ask): str(question.expect) for question in teach_back(case, made, locale)}


@HOME
def test_the_expected_answers_are_the_plan_s(name: str) -> None:
    case = example(name)
    made = plan(case)
    locale = Locale("en", case.clinic.region)
    found = asked(case, made)
    assert 5 <= len(found) <= 7
    walking = made.window("portable-1", Fraction(1, 2), "exertion").safe_min
    waited = next(row for row in made.standing[0].rows if row.hours == 4).safe_min["exertion"]
    called = str(store_name(made.liquid_store("portable-1"), made.stores, locale))
    level = f"{called}: the gauge shows one half. You are walking. How long do you plan for?"
    stood = f"{called}: you filled it 4 hours ago and did not use it. You walk now. How long do you plan for?"
    assert found[level] == str(locale.duration(walking))
    assert found[stood] == str(locale.duration(waited))
    # The same row and column of the guide say the same.
    guide = list(tables_of(sheet_html("guide", case, made, locale, CODE)))
    for answer, corner, mark in ((found[level], "Portable shows", "one half"), (found[stood], "It waited", "4 hours")):
        # Of several portables the first is asked about.
        (head, *rows) = next(rows for _, rows in guide if rows[0][0] == corner)
        column = next(place for place, words in enumerate(head) if words.startswith(("Walking", "Lasts at least")))
        assert answer == next(row[column] for row in rows if row[0] == mark)


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
    assert "Too low to use" in asked(case, made).values()


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
    assert lines[0] == "Living with liquid oxygen at home"
    assert "Supplier: Harbour Oxygen Supply, Monday to Friday, 7:30\u202fAM to 6:00\u202fPM: 555-0150" in lines
    assert "Clinic at other times: 555-0143" in lines


def test_the_review_date_is_on_what_is_kept() -> None:
    for sheet in ("fridge", "wallet"):
        assert "May 3, 2027" in words_of(body_of(page_of(sheet, "harbour-lane")))
    assert example("harbour-lane").prescription.review_date == dt.date(2027, 5, 3)


NAMED = {"clinic.paper": {"named_files": True}}


@pytest.mark.parametrize(
    ("name", "changes", "told"),
    [
        ("guide.en.pdf", {"clinic.paper": {}}, "guide.en.pdf"),  # a clinic that has not said so
        ("guide.en.pdf", {}, "rosa-lindqvist-LETTERS.2026-11-02.guide.en.pdf"),
        ("guide.zh-Hans.txt", {}, "rosa-lindqvist-LETTERS.2026-11-02.guide.zh-Hans.txt"),
        ("guide.ar.pdf", {"patient.name": "ليلى .. / منصور"}, "ليلى-منصور-LETTERS.2026-11-02.guide.ar.pdf"),
        ("guide.hi.pdf", {"patient.name": "सुनीता देवी"}, "सुनीता-देवी-LETTERS.2026-11-02.guide.hi.pdf"),
        ("guide.en.pdf", {"patient.name": "..\\x:y|CON"}, "x-y-con-LETTERS.2026-11-02.guide.en.pdf"),
        ("guide.hi.pdf", {"patient.name": "सु" * 40}, f"{'सु' * 20}-LETTERS.2026-11-02.guide.hi.pdf"),
        ("guide.en.pdf", {"patient.name": LEFT_OUT}, "LETTERS.2026-11-02.guide.en.pdf"),
        ("door.en.html", {}, "LETTERS.2026-11-02.door.en.html"),  # no name stands on it
        ("log.en.pdf", {}, "LETTERS.2026-11-02.log.en.pdf"),
    ],
)
def test_the_name_of_a_file_tells_patients_apart(name: str, changes: dict[str, Any], told: str) -> None:
    found = told_apart(name, a_case({**NAMED, "issued": dt.date(2026, 11, 2), **changes}))
    assert re.fullmatch(re.escape(told).replace("LETTERS", "[a-z2-7]{6}"), found)
    assert is_sheet_file(found)
    assert len(found.encode()) < 256


def test_namesakes_have_two_names_of_files() -> None:
    one, other = (a_case({**NAMED, "prescription.rest.flow": flow}) for flow in ("2 L/min", "3 L/min"))
    assert told_apart("guide.en.pdf", one) != told_apart("guide.en.pdf", other)


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_file_tells_no_name_that_its_sheet_does_not(sheet: Sheet) -> None:
    case = a_case({**NAMED, "patient.name": "Rosa Lindqvist"})
    page = html(document(sheet, case, plan(case), Locale("en", "US"), CODE))
    assert ("Rosa Lindqvist" in page) == ("rosa-lindqvist" in told_apart(f"{sheet}.en.pdf", case))
