"""The PDF as a thing to hold: large print, whole steps and tables, tags for screen readers, a code that scans."""

import datetime as dt
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from statistics import mode
from types import SimpleNamespace
from typing import Any

import cv2
import page as page_validation
import pdfplumber
import pypdfium2
import pytest
from fontTools.ttLib import TTCollection, TTFont

from companion import fonts
from companion.errors import PrintError
from companion.guide.document import Answers, Box, Lines, Section
from companion.language.catalogue import PSEUDO, available
from companion.link.code import decode
from companion.reckoning.plan import plan
from companion.render.pdf import marks, pdf
from tests.guides import HOMES, KEYS, Made, guide, table
from tests.paper import Leaf, Letter, leaves
from tests.render.test_nothing_lost import assert_printed

Row = tuple[str, str, str | None]
ENGLISH: list[Row] = [(name, "en", None) for name in HOMES]
EACH_LANGUAGE: list[Row] = [(HOMES[place % len(HOMES)], tag, None) for place, tag in enumerate(available()[1:])]
"""Each other language once, with the homes in turn: a guide is dear."""
IN_TWO: list[Row] = [("harbour-lane", "ar", "en")]
ALL: list[Row] = [*ENGLISH, *EACH_LANGUAGE, *IN_TWO, ("harbour-lane", PSEUDO, None)]

EDGE = 4 / 25.4 * 72
"""What a printer leaves white at each edge of the paper [pt]."""


@cache
def pages() -> list[Any]:
    """Return the pages of one English guide as pdfplumber reads them, with fonts and shapes, in five seconds."""
    return list(pdfplumber.open(io.BytesIO(guide("harbour-lane").pdf)).pages)


@cache
def leaves_of(name: str, tag: str, beside: str | None) -> tuple[Leaf, ...]:
    """Return the pages of a guide with the place of each sign."""
    return leaves(guide(name, tag, beside).pdf)


def lines_of(page: Any) -> list[list[Any]]:
    """Return the characters of each line of a page, top to bottom."""
    rows: dict[int, list[Any]] = {}
    for char in page.chars:
        rows.setdefault(round(char["bottom"] / 3), []).append(char)
    return [rows[key] for key in sorted(rows)]


@pytest.mark.parametrize(("name", "tag", "beside"), [*ENGLISH, *IN_TWO])
def test_tagged_for_screen_readers(name: str, tag: str, beside: str | None) -> None:
    # PDF/UA-1 (ISO 14289-1) by the package page-validation.
    report = page_validation.validate_pdf_bytes(guide(name, tag, beside).pdf, profile="ua1")
    assert report.is_compliant, [str(failure) for failure in report.failures]


@pytest.mark.parametrize("name", HOMES)
def test_second_opinion_on_tags(name: str, tmp_path: Path) -> None:
    # PDF/UA-1 by the package pdfua, which shares no code with the first.
    from pdfua.cli import main

    path = tmp_path / "guide.pdf"
    path.write_bytes(guide(name).pdf)
    assert main(["check", str(path), "--min-severity", "error"]) in (0, None)


@pytest.mark.parametrize(("name", "tag", "beside"), ALL)
def test_no_type_under_16_pt_and_body_of_18(name: str, tag: str, beside: str | None) -> None:
    # UKAAF: large print is 16 pt or more, ideally 18; ACB: 18 pt. Floor and body are the project's choice.
    sizes = [letter.size for leaf in leaves_of(name, tag, beside) for letter in leaf.letters]
    assert min(sizes) >= 16
    # In a bilingual edition the second language stands at 16 pt under the first.
    assert max(set(sizes) - ({16.0} if beside else set()), key=sizes.count) == 18


@pytest.mark.parametrize(
    ("name", "tag", "beside"),
    [*ALL, ("harbour-lane", "en", "es"), ("uneven", "hi", "en")],
)
def test_nothing_runs_off_the_paper(name: str, tag: str, beside: str | None) -> None:
    # Printers leave about 4 mm of the edge white; common practice, no source.
    printed = leaves_of(name, tag, beside)
    for number, page in enumerate(printed, start=1):
        assert min(letter.left for letter in page.letters) >= EDGE, number
        assert max(letter.right for letter in page.letters) <= page.width - EDGE, number
        assert min(letter.top for letter in page.letters) >= EDGE, number
        # The box of an Arabic letter goes lower than its ink, by less than a tenth of the type.
        assert max(letter.bottom - 0.1 * letter.size for letter in page.letters) <= page.height - EDGE, number
    # Nor over the foot: its lines stand alone, at the same heights on all pages.
    assert len({foot_lines(page) for page in printed}) == 1


def foot_lines(page: Leaf) -> frozenset[int]:
    """Return the heights of the lines in the lowest 15 mm of a page, which belong to its foot."""
    lowest = page.height - 15 / 25.4 * 72
    return frozenset(round(letter.bottom) for letter in page.letters if letter.bottom > lowest)


def test_answers_stand_in_bold_at_18_pt() -> None:
    tables = [block for block in blocks_of(guide("harbour-lane").document.blocks) if isinstance(block, Answers)]
    cells = {str(cell) for table in tables for row in table.rows for cell in row.cells}
    answers = {cell for cell in cells if re.fullmatch(r"\d+\s(?:day|hour|minute)s?.*", cell)}
    body = [char for page in pages() for char in page.chars if round(char["size"]) == 18]
    # Both weights have one name in the file, behind the mark of their subset: running text has the one used most.
    regular = mode(char["fontname"] for char in body)
    text = "".join(char["text"] for char in body if char["fontname"] != regular)
    assert answers
    assert {answer for answer in answers if "".join(answer.split()) not in "".join(text.split())} == set()


def body_lines() -> Iterator[tuple[int, list[Any]]]:
    """Return page number and characters of each line of running text."""
    for number, page in enumerate(pages(), start=1):
        for line in lines_of(page):
            if all(round(char["size"]) == 18 for char in line):
                yield number, line


def test_leading_and_line_length() -> None:
    # Leading 1.5 is WCAG 1.4.12's; RNIB says 60 to 70 characters to a line.
    gaps = []
    for (number, line), (following, below) in pairwise(body_lines()):
        text = "".join(char["text"] for char in line)
        assert len(text.strip()) <= 66, text
        if number == following and line[0]["x0"] == below[0]["x0"]:
            gaps.append(round(below[0]["bottom"] - line[0]["bottom"], 1))
    assert max(set(gaps), key=gaps.count) == 27
    assert (
        min(gap for gap in gaps if gap > 3) >= 21
    )  # lines of an index, names of parts and cells of tables are set a little closer


def test_no_italics_no_hyphenation_no_capitals() -> None:
    for page in pages():
        assert not any("Italic" in char["fontname"] or "Oblique" in char["fontname"] for char in page.chars)
        text = page.extract_text()
        assert not re.search(r"[a-z]-\n[a-z]", text)
        assert not re.findall(r"\b[A-Z]{4,}\b", text)


# First words and last words of what is read in a hurry; of homes that are told otherwise, either.
@pytest.mark.parametrize("name", HOMES)
@pytest.mark.parametrize(
    ("first", "last"),
    [
        ("Something is wrong", "Everything else"),
        ("No oxygen comes", "If"),
        ("Change to a cylinder", "turn the flow to 0."),
        ("Reservoir is low", "If they cannot come by then, call | may not last until they come, call"),
        ("No delivery came", "call"),
        ("Leak or loud hiss", "Stay out until they say that it is safe."),
        ("Reservoir tipped over", "Follow the steps for a leak."),
        ("Portable is stuck", "If it is still stuck, leave it."),
        ("Portable empties early", "Do not go out with this portable again."),
        ("Cylinder fell or hisses", "From outside,"),
        ("Skin stuck to metal", "the steps for frozen skin."),
        ("Liquid in an eye", "Do not rub the eye."),
        ("Liquid on clothes", "for at least 1 hour."),
        ("Fire", "Say that there is"),
    ],
)
def test_what_is_read_in_a_hurry_stands_on_one_page(name: str, first: str, last: str) -> None:
    (page,) = (page for page in leaves_of(name, "en", None) if "".join(first.split()) in headings_of(page))
    lines = [" ".join(line.split()) for line in page.text.splitlines()]
    below = lines[len(lines) - lines[::-1].index(first) :]
    assert any(words in " ".join(below) for words in last.split(" | "))


def headings_of(page: Leaf) -> list[str]:
    """Return the lines that stand in the type of a title or a sub-title, without spaces."""
    titles = replace(page, letters=tuple(letter for letter in page.letters if round(letter.size) in (20, 24)))
    return seen_lines(titles)


@pytest.mark.parametrize("name", HOMES)
def test_the_emergency_page_names_the_page(name: str) -> None:
    printed = leaves_of(name, "en", None)
    lines = re.findall(r"([A-Z][a-z ]+?)(?: \.)+ (\d+)", printed[1].text)
    named = {line for line, _ in lines}
    assert len(named) == len(lines)
    assert named - HERE_AND_THERE == EVERYWHERE
    for line, number in lines:
        assert "".join(line.split()) in headings_of(printed[int(number) - 1])


EVERYWHERE = {
    "No oxygen comes",
    "Oxygen is running out",
    "Reservoir is low",
    "No delivery came",
    "Change to a cylinder",
    "Portable empties early",
    "Portable is stuck",
    "Gauge seems wrong",
    "Cylinder fell or hisses",
    "Fire",
    "Leak or loud hiss",
    "Reservoir tipped over",
    "Portable tipped over",
    "Frozen skin",
    "Skin stuck to metal",
    "Liquid in an eye",
    "Liquid on clothes",
    "Everything else",
}
HERE_AND_THERE = {"Low finger meter", "Pulses stop", "Power outage", "Power cut"}
"""What depends on the equipment, and on the English of the place."""


@pytest.mark.parametrize(("name", "tag", "beside"), ALL)
def test_each_section_begins_a_page(name: str, tag: str, beside: str | None) -> None:
    for number, page in enumerate(leaves_of(name, tag, beside), start=1):
        titles = [letter for letter in page.letters if letter.size == 26 and letter.text.isalpha()]
        assert all(letter.top < 140 for letter in titles) or number == 1


@pytest.mark.parametrize("step", range(1, 9))
def test_a_step_stands_with_its_drawing(step: int) -> None:
    """At the side of each step, between its number and the next, stands a drawing."""
    page, number = next((page, char) for page in pages() for char in steps_of(page) if char["text"] == str(step))
    end = min(char["top"] for char in [*steps_of(page), {"top": page.height - 80}] if char["top"] > number["top"])
    drawn = [shape for shape in page.curves if shape["x0"] > page.width * 0.6]
    assert any(number["top"] - 8 <= shape["top"] and shape["bottom"] <= end for shape in drawn)


def steps_of(page: Any) -> list[Any]:
    """Return the numbers of the steps on a page, which alone are figures in the type of a title."""
    return [char for char in page.chars if round(char["size"], 1) == 24 and char["text"].isdigit()]


@pytest.mark.parametrize(("name", "tag", "beside"), [row for row in ALL if row[2] is None and row[1] != PSEUDO])
def test_the_first_page_holds_the_five_things_and_the_phones(name: str, tag: str, beside: str | None) -> None:
    text = leaves_of(name, tag, beside)[0].text
    clinic = guide(name).case.clinic
    brings = clinic.supplier or clinic
    assert text.count(brings.phone_day) == 2  # in the table, and at the foot
    assert clinic.phone_day in text
    assert {clinic.phone_night, brings.phone_night} - {None} <= set(re.findall(r"555-\d{4}", text))
    if tag == "en":
        assert "5. Keep the flow that was ordered." in text
        assert "Your equipment" not in text


def test_text_comes_out_in_reading_order() -> None:
    # The signs of a page come in the order in which its content is told to a screen reader.
    numbers = [char["text"] for page in pages() for char in steps_of(page)]
    assert numbers == list("12345678")


@pytest.mark.parametrize("name", HOMES)
@pytest.mark.parametrize("dpi", [150, 72])
def test_the_code_scans_from_paper(name: str, dpi: int) -> None:
    # ISO/IEC 18004 read by OpenCV, which shares no code with the library that draws.
    made = guide(name)
    found = scanned(made, dpi)
    assert found == [made.code.content]
    assert plan(decode(found[0].split("/t/")[1].replace("/", ""), KEYS)) == made.plan


def scanned(made: Made, dpi: int) -> list[str]:
    """Return what a reader finds on the page that tells the address of the code, drawn in gray."""
    reader = cv2.QRCodeDetectorAruco()
    found: list[str] = []
    for sheet in pypdfium2.PdfDocument(made.pdf):
        if ".example" not in sheet.get_textpage().get_text_range():
            continue
        picture = sheet.render(scale=dpi / 72, grayscale=True).to_numpy()
        # Enlarged as a phone does it: this reader wants more than three dots to a module.
        _, texts, _, _ = reader.detectAndDecodeMulti(cv2.resize(picture, None, fx=2, fy=2))
        found += [text for text in texts if text]
    return found


def test_same_case_same_bytes() -> None:
    made = guide("harbour-lane")
    assert pdf(made.document, made.case.issued) == made.pdf


def test_a_document_that_cannot_be_typeset_says_which() -> None:
    made = table("harbour-lane")
    broken = replace(made.document, paper="papyrus")  # type: ignore[arg-type]
    with pytest.raises(PrintError, match="The part 'the first page' cannot be set in type"):
        pdf(broken, made.case.issued)
    with pytest.raises(PrintError, match="The part 'the first page' cannot be set in type"):
        marks(broken)


def test_a_fault_within_the_typesetter_is_told_in_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    """The typesetter is made to fail: no input is known that does it, and its fault is no Exception of Python's."""

    class PanicException(BaseException):
        pass

    def panics(*_: object, **__: object) -> None:
        raise PanicException("index out of bounds")

    monkeypatch.setattr("companion.render.pdf._compiler", lambda: SimpleNamespace(compile=panics))
    made = table("harbour-lane")
    with pytest.raises(PrintError, match="index out of bounds"):
        pdf(made.document, made.case.issued)


def test_nothing_is_lost_in_monochrome() -> None:
    """Signs differ by outline, not by colour alone."""
    boxes = [block for name in HOMES for block in blocks_of(guide(name).document.blocks) if isinstance(block, Box)]
    words = r' (?:aria-label|fill|stroke)="[^"]*"'
    outlines = {box.sign: re.sub(words, "", box.picture.svg) for box in boxes}
    assert {"prohibition", "warning", "safe"} <= outlines.keys()
    assert len(set(outlines.values())) == len(outlines)


@pytest.mark.parametrize(("name", "tag", "beside"), ALL)
def test_every_letter_of_the_guide_stands_in_the_pdf(name: str, tag: str, beside: str | None) -> None:
    made = guide(name, tag, beside)
    printed = " ".join(page.text for page in leaves_of(name, tag, beside))
    assert_printed(made.document, printed, words=(tag, beside) == ("en", None))


def blocks_of(blocks: Iterable[object]) -> Iterator[object]:
    """Yield blocks and the blocks in them, at any depth."""
    for block in blocks:
        yield block
        yield from blocks_of(getattr(block, "blocks", ()))


@cache
def signs_of(family: str) -> frozenset[int]:
    """Return the signs that the fonts of a family hold."""
    found: set[int] = set()
    for folder in fonts.folders():
        for path in folder.rglob("*.[to]t[fc]"):
            with TTCollection(path, lazy=True) if path.suffix == ".ttc" else TTFont(path, lazy=True) as held:
                for face in held.fonts if isinstance(held, TTCollection) else [held]:
                    if face["name"].getBestFamilyName() == family:
                        found |= set(face.getBestCmap())
    return frozenset(found)


@pytest.mark.parametrize("tag", available())
def test_every_sign_has_a_glyph(tag: str) -> None:
    made = guide("harbour-lane", tag)
    covered = frozenset[int]().union(*map(signs_of, made.locale.fonts))
    shown = re.sub(r"<style>.*?</style>|<[^>]+>", "", made.page, flags=re.DOTALL)
    missing = {
        sign
        for sign in shown
        if ord(sign) > 32 and ord(sign) not in covered and sign not in "\u200e\u200f\u2060\u2066\u2069"
    }
    assert not missing


def test_the_second_language_keeps_its_order_in_a_right_to_left_page() -> None:
    # "10 minutes 4 hours" would be read as another time: on each line the figures go with their words.
    lines = [line for page in leaves_of("harbour-lane", "ar", "en") for line in seen_lines(page)]
    times = [line for line in lines if "minutes" in line and re.search(r"hours?\d|minutes\d", line)]
    assert times
    for line in times:
        assert re.search(r"\d+hours?\d+minutes", line), line


def seen_lines(page: Leaf) -> list[str]:
    """Return the signs of each line of a page from left to right, without spaces."""
    rows: dict[int, list[Letter]] = {}
    for letter in page.letters:
        rows.setdefault(round(letter.bottom), []).append(letter)
    return ["".join(letter.text for letter in sorted(row, key=lambda one: one.left)) for row in rows.values()]


@pytest.mark.parametrize(
    ("binding", "tag", "moved_mm"),
    [
        # from the middle of the paper away from the binding, on pages 1 and 2
        ("none", "en", (0, 0)),
        ("one side", "en", (5, 5)),
        ("both sides", "en", (5, -5)),
        ("one side", "ar", (-5, -5)),
        ("both sides", "ar", (-5, 5)),
    ],
)
def test_the_margin_at_the_binding_is_wider(binding: Any, tag: str, moved_mm: tuple[float, float]) -> None:
    whole = guide("harbour-lane", tag).document
    lines = Section((Lines(),), manner="page")
    with pdfplumber.open(
        io.BytesIO(pdf(replace(whole, binding=binding, blocks=(lines, lines)), dt.date(2026, 11, 2)))
    ) as printed:
        pages = [page for page in printed.pages if page.lines]
        for page, moved in zip(pages, moved_mm, strict=True):
            middle = (min(line["x0"] for line in page.lines) + max(line["x1"] for line in page.lines)) / 2
            assert (middle - page.width / 2) / 72 * 25.4 == pytest.approx(moved, abs=0.2)
