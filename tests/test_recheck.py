"""A guide held against today's figures: as page, as PDF, and as a photo of its code."""

import datetime as dt
import io
from pathlib import Path
from typing import Any

import pikepdf
import pypdfium2
import pytest
import qrcode
from PIL import Image, ImageFilter

from companion.cli import main
from companion.guide.make import make_set
from companion.language.locale import Locale
from companion.link import code as link
from companion.recheck import RecheckError, recheck
from companion.reckoning import figures
from companion.reckoning.plan import plan
from tests.cases import a_case

TODAY = dt.date(2026, 12, 1)
CASE = a_case({"clinic.link_base": "https://oxygen.harbour-lane.example"})
FIGURES = figures.figures(CASE, plan(CASE))


@pytest.fixture(scope="module")
def key_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("keys") / "link.keys"
    path.write_text("ab" * 32, encoding="ascii")
    return path


@pytest.fixture(scope="module")
def keys(key_file: Path) -> link.Keys:
    return link.load_keys(key_file, make=False)


@pytest.fixture(scope="module")
def guide(key_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the guide of the base case."""
    folder = tmp_path_factory.mktemp("guide")
    for name, data in make_set(CASE, plan(CASE), Locale("en", "US"), key_file, ["guide"]):
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


def test_today_s_guide_is_the_same(guide: Path, keys: link.Keys) -> None:
    assert recheck(guide / "guide.en.html", keys, TODAY).state == "same"
    assert recheck(guide / "guide.en.pdf", keys, TODAY).state == "same"


def test_a_photo_of_today_s_guide_is_the_same(guide: Path, keys: link.Keys, tmp_path: Path) -> None:
    photo_of(guide / "guide.en.pdf", "oxygen.harbour-lane.example").save(tmp_path / "photo.jpg")
    assert recheck(tmp_path / "photo.jpg", keys, TODAY).state == "same"


def test_a_pdf_that_has_lost_its_keywords_is_read_by_its_picture(guide: Path, keys: link.Keys, tmp_path: Path) -> None:
    with pikepdf.open(guide / "guide.en.pdf") as document:
        del document.docinfo["/Keywords"]
        document.save(tmp_path / "printed.pdf")
    assert recheck(tmp_path / "printed.pdf", keys, TODAY).state == "same"


def test_an_older_figure_is_named(guide: Path, keys: link.Keys, tmp_path: Path) -> None:
    today = FIGURES["portable-1 rest"]
    page = (guide / "guide.en.html").read_text(encoding="utf-8")
    old = page.replace(f"portable-1 rest={today}", "portable-1 rest=400 300 200 100")
    assert old != page
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


def test_a_figure_that_is_no_longer_printed_is_named(guide: Path, keys: link.Keys, tmp_path: Path) -> None:
    page = (guide / "guide.en.html").read_text(encoding="utf-8")
    (tmp_path / "old.html").write_text(page.replace("; airing=", "; oiling=1; airing="), encoding="utf-8")
    assert recheck(tmp_path / "old.html", keys, TODAY).reasons == ("oiling: 1 → nothing",)


@pytest.mark.parametrize("stamp", ["#AAAAA", ""])
def test_a_photo_with_another_stamp_or_none_shows_today_s_figures(keys: link.Keys, tmp_path: Path, stamp: str) -> None:
    address = link.address("https://oxygen.harbour-lane.example", link.encode(CASE, keys))
    with (tmp_path / "photo.png").open("wb") as file:
        qrcode.make(address + stamp).save(file)
    verdict = recheck(tmp_path / "photo.png", keys, TODAY)
    assert verdict.state == "stale"
    assert f"portable-1 rest: {FIGURES['portable-1 rest']}" in verdict.reasons


def test_a_guide_past_its_review_is_stale(guide: Path, keys: link.Keys) -> None:
    review = CASE.prescription.review_date
    assert recheck(guide / "guide.en.html", keys, review).state == "same"
    verdict = recheck(guide / "guide.en.html", keys, review + dt.timedelta(days=1))
    assert (verdict.state, verdict.reasons) == ("stale", (f"The order was to be reviewed by {review}.",))


def page_with(code: str) -> str:
    return (
        f'<!DOCTYPE html><html><head><meta name="companion-code" content="{code}"/>'
        f'<meta name="companion-figures" content="{figures.as_text(FIGURES)}"/></head></html>'
    )


def test_a_case_that_today_s_checks_refuse_is_stale(keys: link.Keys, tmp_path: Path) -> None:
    refused = CASE.model_copy(update={"issued": CASE.prescription.review_date})
    (tmp_path / "old.html").write_text(page_with(link.encode(refused, keys)), encoding="utf-8")
    verdict = recheck(tmp_path / "old.html", keys, TODAY)
    assert verdict.state == "stale"
    assert any("prescription.review_date" in reason for reason in verdict.reasons)


def test_what_was_not_signed_by_this_clinic_is_not_ours(guide: Path, keys: link.Keys, tmp_path: Path) -> None:
    code = link.encode(CASE, keys)
    (tmp_path / "changed.html").write_text(page_with(code[:-1] + ("A" if code[-1] != "A" else "B")), encoding="utf-8")
    assert recheck(tmp_path / "changed.html", keys, TODAY).state == "not ours"
    assert recheck(guide / "guide.en.html", link.Keys((b"\1" * 32,)), TODAY).state == "not ours"


@pytest.mark.parametrize(
    "page", ["<!DOCTYPE html><html><head><title>Another page</title></head></html>", "<html><head><meta name=x></head>"]
)
def test_another_page_is_not_ours(keys: link.Keys, tmp_path: Path, page: str) -> None:
    (tmp_path / "page.html").write_text(page, encoding="utf-8")
    assert recheck(tmp_path / "page.html", keys, TODAY).state == "not ours"


def test_a_picture_without_a_code_of_ours_is_not_ours(keys: link.Keys, tmp_path: Path) -> None:
    Image.new("L", (300, 300), 255).save(tmp_path / "white.png")
    qrcode.make("https://other.example/page").save(tmp_path / "other.png")
    for name in ("white.png", "other.png"):
        assert recheck(tmp_path / name, keys, TODAY).state == "not ours"


@pytest.mark.parametrize("data", [b"", b"words", b"%PDF-1.7 cut off", b"\x89PNG\r\n\x1a\n cut off"])
def test_refuses_a_file_that_it_cannot_read(keys: link.Keys, tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "file"
    path.write_bytes(data)
    with pytest.raises(RecheckError):
        recheck(path, keys, TODAY)


def test_command(guide: Path, key_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = (guide / "guide.en.html").read_text(encoding="utf-8")
    (tmp_path / "old.html").write_text(page.replace("airing=30", "airing=20"), encoding="utf-8")
    (tmp_path / "other.html").write_text("<html></html>", encoding="utf-8")
    for path, code in ((tmp_path / "old.html", 1), (tmp_path / "other.html", 2), (tmp_path / "none", 2)):
        assert main(["recheck", str(path), "--keys", str(key_file)]) == code
    assert "airing: 20 60 → 30 60" in capsys.readouterr().out
    assert main(["recheck", str(tmp_path / "old.html"), "--keys", str(tmp_path / "no.keys")]) == 2
