"""A guide held against today's figures: as page, as PDF, and as a photo of its code."""

import datetime as dt
import io
import re
from functools import cache
from pathlib import Path
from typing import Any

import pikepdf
import pypdfium2
import pytest
import qrcode
from PIL import Image, ImageFilter

from companion.case import Case
from companion.cli import main
from companion.guide.document import Sheet
from companion.guide.sheet_names import SHEETS
from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.link.code import address, decode, encode
from companion.link.keys import Keys, load_keys
from companion.make import make_set
from companion.recheck.verdict import ONLY_THE_CODE, recheck
from companion.reckoning import figures
from companion.reckoning.plan import plan
from tests.cases import BASE, PULSE, a_case
from tests.conftest import WriteCase
from tests.link.printed import CODES, keys_of
from tests.tools import key_file as key_file_at

TODAY = dt.date(2026, 12, 1)
CASE = a_case({"clinic.link_base": "https://oxygen.harbour-lane.example"})
FIGURES = figures.figures(CASE, plan(CASE))


@pytest.fixture(scope="module")
def key_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return key_file_at(tmp_path_factory.mktemp("keys") / "link.keys")


@pytest.fixture(scope="module")
def keys(key_file: Path) -> Keys:
    return load_keys(key_file)


@pytest.fixture(scope="module")
def guide(keys: Keys, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the guide of the base case."""
    folder = tmp_path_factory.mktemp("guide")
    for name, data in make_set(CASE, plan(CASE), Locale("en", "US"), keys, ["guide"]):
        (folder / name).write_bytes(data)
    return folder


def photo_of(pdf: Path, text: str) -> Image.Image:
    """Return the page on which some words stand, as a poor camera sees it: askew, soft, in few dots."""
    with pypdfium2.PdfDocument(pdf) as document:
        page = next(page for page in document if text in page.get_textpage().get_text_range())
        picture = page.render(scale=100 / 72).to_pil().convert("L")
    soft = picture.rotate(4, expand=True, fillcolor=255).filter(ImageFilter.GaussianBlur(0.8))
    jpeg = io.BytesIO()
    soft.save(jpeg, "JPEG", quality=40)
    return Image.open(jpeg)


def test_today_s_guide_is_the_same(guide: Path, keys: Keys) -> None:
    assert recheck(guide / "guide.en.html", keys, TODAY).state == "same"
    assert recheck(guide / "guide.en.pdf", keys, TODAY).state == "same"


def test_a_photo_of_today_s_guide_is_the_same(guide: Path, keys: Keys, tmp_path: Path) -> None:
    photo_of(guide / "guide.en.pdf", "oxygen.harbour-lane.example").save(tmp_path / "photo.jpg")
    verdict = recheck(tmp_path / "photo.jpg", keys, TODAY)
    assert (verdict.state, verdict.looked_at) == ("same", ONLY_THE_CODE)


def test_a_pdf_that_has_lost_its_keywords_is_read_by_its_picture(guide: Path, keys: Keys, tmp_path: Path) -> None:
    with pikepdf.open(guide / "guide.en.pdf") as document:
        del document.docinfo["/Keywords"]
        document.save(tmp_path / "printed.pdf")
    assert recheck(tmp_path / "printed.pdf", keys, TODAY).state == "same"


def sealed_page(case: Case, keys: Keys, old: str, new: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """Return the guide of a case as a program made and sealed it that had another figure."""
    honest = figures.as_text
    monkeypatch.setattr("companion.link.carried.as_text", lambda now: honest(now).replace(old, new))
    page = dict(make_set(case, plan(case), Locale("en", "US"), keys, ["guide"]))["guide.en.html"].decode()
    monkeypatch.undo()
    return page


def test_an_older_figure_is_named(keys: Keys, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    today = FIGURES["portable-1 rest"]
    old = sealed_page(CASE, keys, f"portable-1 rest={today}", "portable-1 rest=400 300 200 100", monkeypatch)
    (tmp_path / "old.html").write_text(old, encoding="utf-8")
    verdict = recheck(tmp_path / "old.html", keys, TODAY)
    assert (verdict.state, verdict.reasons) == ("stale", (f"portable-1 rest: 400 300 200 100 → {today}",))


@pytest.mark.parametrize(
    ("policy", "told"),
    [
        ({"flame_distance": "15 ft"}, ["flame distance: 3.048 m → 4.572 m"]),
        ({"heat_distance": "2 m"}, ["heat distance: 1.524 m → 2 m"]),
        ({"emergency_number": "112"}, ["emergency number: 911 → 112"]),
        ({"fire_number": "112"}, ["fire number: 911 → 112"]),
        ({"airing_time": "20 min"}, ["airing: 30 60 → 20 60"]),
        ({"splash_airing_time": "1.5 h"}, ["airing: 30 60 → 30 90"]),
        ({"frostbite_water": {"low": "100.4 °F", "high": "41 °C"}}, ["water: 37 39 40 → 38 41 41"]),
        # what the clinic writes out as the region holds it is no other figure
        ({"flame_distance": "10 ft", "airing_time": "0.5 h", "fire_number": "911"}, []),
    ],
)
def test_a_figure_that_the_clinic_sets_anew_is_named(policy: dict[str, Any], told: list[str]) -> None:
    own = a_case({"clinic.policy": policy})
    assert figures.changes(FIGURES, figures.figures(own, plan(own))) == told


def test_a_back_up_that_lasts_less_long_is_named() -> None:
    own = a_case({"cylinder[1].count": 1})
    # Two cylinders of 3 h 50 each, and one.
    assert figures.changes(FIGURES, figures.figures(own, plan(own))) == [
        "back-up rest: 460 → 230",
        "back-up exertion: 460 → 230",
        "back-up sleep: 460 → 230",
        "back-up changes: 1 → 0",
    ]


def test_a_figure_that_is_no_longer_printed_is_named(
    keys: Keys, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = sealed_page(CASE, keys, "; airing=", "; oiling=1; airing=", monkeypatch)
    (tmp_path / "old.html").write_text(old, encoding="utf-8")
    assert recheck(tmp_path / "old.html", keys, TODAY).reasons == ("oiling: 1 → nothing",)


@pytest.mark.parametrize("stamp", ["#AAAAA", ""])
def test_a_photo_with_another_stamp_or_none_shows_today_s_figures(keys: Keys, tmp_path: Path, stamp: str) -> None:
    printed = address("https://oxygen.harbour-lane.example", encode(CASE, keys))
    with (tmp_path / "photo.png").open("wb") as file:
        qrcode.make(printed + stamp).save(file)
    verdict = recheck(tmp_path / "photo.png", keys, TODAY)
    assert verdict.state == "stale"
    assert f"portable-1 rest: {FIGURES['portable-1 rest']}" in verdict.reasons


def test_a_guide_past_its_review_is_stale(guide: Path, keys: Keys) -> None:
    review = CASE.prescription.review_date
    assert recheck(guide / "guide.en.html", keys, review).state == "same"
    verdict = recheck(guide / "guide.en.html", keys, review + dt.timedelta(days=1))
    assert (verdict.state, verdict.reasons) == ("stale", (f"The order was to be reviewed by {review}.",))


def page_with(code: str, carries: str = "") -> str:
    return (
        f'<!DOCTYPE html><html><head><meta name="companion-code" content="{code}"/>'
        f'<meta name="companion-figures" content="{carries}"/></head></html>'
    )


def test_a_case_that_today_s_checks_refuse_is_stale(keys: Keys, tmp_path: Path) -> None:
    refused = CASE.model_copy(update={"issued": CASE.prescription.review_date})
    (tmp_path / "old.html").write_text(page_with(encode(refused, keys)), encoding="utf-8")
    verdict = recheck(tmp_path / "old.html", keys, TODAY)
    assert verdict.state == "stale"
    assert any("prescription.review_date" in reason for reason in verdict.reasons)


def test_what_was_not_signed_by_this_clinic_is_not_ours(guide: Path, keys: Keys, tmp_path: Path) -> None:
    code = encode(CASE, keys)
    (tmp_path / "changed.html").write_text(page_with(code[:-1] + ("A" if code[-1] != "A" else "B")), encoding="utf-8")
    assert recheck(tmp_path / "changed.html", keys, TODAY).state == "not ours"
    assert recheck(guide / "guide.en.html", Keys((b"\1" * 32,)), TODAY).state == "not ours"


@pytest.mark.parametrize(
    "page", ["<!DOCTYPE html><html><head><title>Another page</title></head></html>", "<html><head><meta name=x></head>"]
)
def test_another_page_is_not_ours(keys: Keys, tmp_path: Path, page: str) -> None:
    (tmp_path / "page.html").write_text(page, encoding="utf-8")
    assert recheck(tmp_path / "page.html", keys, TODAY).state == "not ours"


def test_a_picture_without_a_code_of_ours_is_not_ours(keys: Keys, tmp_path: Path) -> None:
    Image.new("L", (300, 300), 255).save(tmp_path / "white.png")
    qrcode.make("https://other.example/page").save(tmp_path / "other.png")
    for name in ("white.png", "other.png"):
        assert recheck(tmp_path / name, keys, TODAY).state == "not ours"


# ── what stands on the paper ────────────────────────────────────────────────────────────────────

UNEVEN = a_case(
    {
        **{path: value for path, value in PULSE.items() if "portable" not in path},
        "clinic.link_base": "https://oxygen.harbour-lane.example",
        "prescription.exertion.flow": "4 L/min",
        "prescription.sleep.flow": "1.5 L/min",
        "reservoir": [BASE["reservoir"][0], BASE["reservoir"][0] | {"oxygen_mass": "40 lb", "empty_mass": "30 lb"}],
        "portable": [
            BASE["portable"][0] | {"conserver": True},
            BASE["portable"][0] | {"liquid_volume": "0.6 L", "empty_mass": "3.5 lb"},
        ],
        "cylinder": [
            BASE["cylinder"][0],
            BASE["cylinder"][0] | {"full_pressure": "137 bar", "reserve": "14 bar", "gauge_division": "10 bar"},
        ],
    }
)
"""Three activities, two of each container, pulses, psi and bar: no two tables are alike."""


@cache
def uneven_page(sheet: Sheet, keys: Keys) -> str:
    """Return a sheet of that home as HTML, made once."""
    return dict(make_set(UNEVEN, plan(UNEVEN), Locale("en", "US"), keys, [sheet]))[f"{sheet}.en.html"].decode()


# Not Arabic and not two languages at once: there the names of containers, which no code carries, still make a fresh
# guide look stale, which errs to the safe side.
SPELLINGS = [Locale(tag, "US") for tag in available() if tag != "ar"]


@pytest.mark.parametrize("locale", SPELLINGS, ids=lambda locale: "+".join(one.tag for one in locale.languages))
def test_what_was_made_today_is_the_same_in_each_language(locale: Locale, keys: Keys, tmp_path: Path) -> None:
    for name, data in make_set(UNEVEN, plan(UNEVEN), locale, keys, ["guide"]):
        if name.endswith(".txt"):
            continue  # plain text carries no seal
        (tmp_path / name).write_bytes(data)
        verdict = recheck(tmp_path / name, keys, TODAY)
        assert (verdict.state, verdict.reasons) == ("same", ()), name
        assert verdict.looked_at.startswith("Read: its code, and"), name


@pytest.mark.parametrize("sheet", [*SHEETS])
def test_each_sheet_of_today_is_the_same(sheet: Sheet, keys: Keys, tmp_path: Path) -> None:
    for name, data in make_set(UNEVEN, plan(UNEVEN), Locale("en", "US"), keys, [sheet]):
        if name.endswith(".txt"):
            continue  # plain text carries no seal
        (tmp_path / name).write_bytes(data)
        assert recheck(tmp_path / name, keys, TODAY).reasons == (), name


def test_the_table_alone_is_the_same(key_file: Path, keys: Keys, write_case: WriteCase, tmp_path: Path) -> None:
    case = write_case({"clinic.link_base": CASE.clinic.link_base})
    for kind in ("html", "pdf"):
        out = tmp_path / f"table.{kind}"
        assert main(["table", str(case), "--format", kind, "--out", str(out), "--keys", str(key_file)]) == 0
        assert recheck(out, keys, TODAY).reasons == ()


@pytest.mark.parametrize("sheet", ["guide", "fridge", "clinician"])
def test_a_sheet_that_does_not_say_which_it_is_is_the_one_that_it_is_most_like(
    sheet: Sheet, keys: Keys, tmp_path: Path
) -> None:
    page = uneven_page(sheet, keys)
    nameless = page.replace("companion-sheet", "another")
    assert nameless != page
    (tmp_path / "page.html").write_text(nameless, encoding="utf-8")
    assert recheck(tmp_path / "page.html", keys, TODAY).reasons == ()
    (tmp_path / "page.html").write_text(re.sub(r"(\d+)( |\u00a0)hours", r"9\1\2hours", nameless), encoding="utf-8")
    assert recheck(tmp_path / "page.html", keys, TODAY).state == "stale"


@pytest.mark.parametrize("place", range(12))
def test_a_time_that_was_written_anew_is_found(place: int, keys: Keys, tmp_path: Path) -> None:
    page = uneven_page("guide", keys)
    cells = list(re.finditer(r"<td[^>]*>[^/]*?(\d+)\D*?(?:hours|minutes|days)", page))
    assert len(cells) > 30
    cell = cells[place * len(cells) // 12]
    longer = str(int(cell[1]) + 1)
    (tmp_path / "page.html").write_text(page[: cell.start(1)] + longer + page[cell.end(1) :], encoding="utf-8")
    verdict = recheck(tmp_path / "page.html", keys, TODAY)
    assert verdict.state == "stale", page[cell.start() : cell.end() + 20]


def test_four_hours_made_nine_in_a_page(guide: Path, keys: Keys, tmp_path: Path) -> None:
    page = (guide / "guide.en.html").read_text(encoding="utf-8")
    changed = re.sub(r"\b4( |\u00a0)hours", r"9\1hours", page)
    assert changed != page
    (tmp_path / "page.html").write_text(changed, encoding="utf-8")
    verdict = recheck(tmp_path / "page.html", keys, TODAY)
    assert verdict.state == "stale"
    assert any("9 h" in reason for reason in verdict.reasons)


def test_four_hours_made_nine_in_a_pdf(guide: Path, keys: Keys, tmp_path: Path) -> None:
    # The same file of keywords above the pages of another plan: what was really printed is another time.
    longer = a_case({"clinic.link_base": CASE.clinic.link_base, "prescription.rest.flow": "1 L/min"})
    pages = dict(make_set(longer, plan(longer), Locale("en", "US"), keys, ["guide"]))["guide.en.pdf"]
    with pikepdf.open(guide / "guide.en.pdf") as mine, pikepdf.open(io.BytesIO(pages)) as other:
        other.docinfo["/Keywords"] = mine.docinfo["/Keywords"]
        other.save(tmp_path / "forged.pdf")
    verdict = recheck(tmp_path / "forged.pdf", keys, TODAY)
    assert verdict.state == "stale"
    assert any("is not on it" in reason for reason in verdict.reasons)


def test_two_rows_that_changed_places_are_found(keys: Keys, tmp_path: Path) -> None:
    page = dict(make_set(CASE, plan(CASE), Locale("en", "US"), keys, ["guide"]))["guide.en.html"].decode()
    table = next(part for part in re.findall(r"<tbody>.*?</tbody>", page, re.DOTALL) if "hours" in part)
    times = re.findall(r"<td.*?</td>", table, re.DOTALL)
    swapped = table.replace(times[0], "%").replace(times[1], times[0]).replace("%", times[1])
    assert swapped != table
    (tmp_path / "page.html").write_text(page.replace(table, swapped), encoding="utf-8")
    assert recheck(tmp_path / "page.html", keys, TODAY).state == "stale"


@pytest.mark.parametrize("caption", ["filled and not used: it still lasts", "just filled: how long you may stay"])
def test_a_time_that_stands_elsewhere_too_is_found(caption: str, keys: Keys, tmp_path: Path) -> None:
    page = uneven_page("guide", keys)
    table = next(part for part in re.findall(r"<table.*?</table>", page, re.DOTALL) if caption in part)
    times = re.findall(r"<td.*?</td>", table, re.DOTALL)
    longest, last = times[0], [time for time in times if re.search(r"\d", time)][-1]
    assert longest != last
    (tmp_path / "page.html").write_text(page.replace(table, longest.join(table.rsplit(last, 1))), encoding="utf-8")
    assert recheck(tmp_path / "page.html", keys, TODAY).state == "stale"


def test_hidden_figures_that_were_changed_are_found(guide: Path, keys: Keys, tmp_path: Path) -> None:
    page = (guide / "guide.en.html").read_text(encoding="utf-8")
    for old, new in (("airing=30", "airing=20"), ("seal=", "seal=A"), ("; seal=", "; seel=")):
        assert old in page
        (tmp_path / "page.html").write_text(page.replace(old, new), encoding="utf-8")
        verdict = recheck(tmp_path / "page.html", keys, TODAY)
        assert (verdict.state, verdict.reasons) == (
            "stale",
            ("The figures that its file carries were changed after it was made.",),
        )


def test_a_guide_from_before_the_seal_is_read(keys: Keys, tmp_path: Path) -> None:
    code = (CODES / "1" / "harbour-lane.txt").read_text(encoding="ascii").strip()
    old = Keys((*keys.secrets, *keys_of(CODES / "1" / "harbour-lane.txt").secrets))
    case = decode(code, old)
    now = figures.as_text(figures.figures(case, plan(case)))
    (tmp_path / "old.html").write_text(page_with(code, now), encoding="utf-8")
    assert recheck(tmp_path / "old.html", old, TODAY).state == "same"
    (tmp_path / "old.html").write_text(page_with(code, now.replace("airing=30", "airing=20")), encoding="utf-8")
    assert recheck(tmp_path / "old.html", old, TODAY).reasons == ("airing: 20 60 → 30 60",)


def test_nothing_that_a_terminal_obeys_is_told(tmp_path: Path) -> None:
    code = (CODES / "1" / "harbour-lane.txt").read_text(encoding="ascii").strip()
    old = Keys(keys_of(CODES / "1" / "harbour-lane.txt").secrets)
    (tmp_path / "old.html").write_text(page_with(code, "\x1b[31mred=\x9b1"), encoding="utf-8")
    reasons = recheck(tmp_path / "old.html", old, TODAY).reasons
    assert all(reason.isprintable() for reason in reasons)


# ── the order of today ──────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({}, ()),
        ({"issued": dt.date(2026, 11, 30)}, ()),  # a case that is opened again gets the day's date
        ({"patient.name": "Ines Falk", "reservoir[1].name": "Kitchen"}, ()),
        (
            {"prescription.rest.flow": "3 L/min"},
            ("prescription.rest.flow in today's case: 2 L/min → 3 L/min",),
        ),
        (
            {"portable[1].boil_off": "30 g/h"},
            ("portable[1].boil_off in today's case: 26 g/h → 30 g/h",),
        ),
        (
            {"cylinder": []},
            tuple(
                f"cylinder[1].{field} in today's case: {value} → nothing"
                for field, value in {
                    "count": 2,
                    "full_pressure": "2200 psi",
                    "content": "623 L",
                    "reserve": "200 psi",
                    "gauge_division": "100 psi",
                    "max_flow": "15 L/min",
                    "conserver": False,
                }.items()
            ),
        ),
    ],
)
def test_against_the_order_of_today(guide: Path, keys: Keys, changes: dict[str, Any], told: tuple[str, ...]) -> None:
    order = a_case({"clinic.link_base": "https://oxygen.harbour-lane.example"} | changes)
    for name in ("guide.en.html", "guide.en.pdf"):
        verdict = recheck(guide / name, keys, TODAY, order)
        assert (verdict.state, verdict.reasons) == ("stale" if told else "same", told)


# ── the command ─────────────────────────────────────────────────────────────────────────────────


def test_command(guide: Path, key_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = (guide / "guide.en.html").read_text(encoding="utf-8")
    (tmp_path / "old.html").write_text(page.replace("airing=30", "airing=20"), encoding="utf-8")
    (tmp_path / "other.html").write_text("<html></html>", encoding="utf-8")
    for path, code in ((tmp_path / "old.html", 1), (tmp_path / "other.html", 2), (tmp_path / "none", 2)):
        assert main(["recheck", str(path), "--keys", str(key_file)]) == code
    assert "were changed after it was made" in capsys.readouterr().out
    assert main(["recheck", str(tmp_path / "old.html"), "--keys", str(tmp_path / "no.keys")]) == 2


def test_command_with_the_case(
    guide: Path, key_file: Path, write_case: WriteCase, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["recheck", str(guide / "guide.en.html"), "--keys", str(key_file), "--case"]
    assert main([*words, str(write_case())]) == 0
    assert main([*words, str(write_case({"prescription.sleep.flow": "2.5 L/min"}))]) == 1
    told = capsys.readouterr().out
    assert "prescription.sleep.flow in today's case: 2 L/min → 2.5 L/min" in told
    assert "Read: its code, and" in told
