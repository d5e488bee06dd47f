"""Every sheet that the program prints, looked over on paper: pages, type, margins, tags, room for what is written.

English is printed for every home, any other language once or twice, the homes and the sheets in turn, so that it costs
less than a second. ``pytest --hypothesis-profile=search tests/editing/test_on_paper.py`` prints every sheet of every
home in every language, alone and beside another, with long names too: whoever changes a language runs it.
"""

import io
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache, cached_property
from itertools import product
from typing import Any
from urllib.parse import urlsplit

import cv2
import page as validation
import pdfplumber
import pypdfium2
import pytest
from hypothesis import settings

from companion.case import Case
from companion.case.read import case_from_dict
from companion.editing.audit import audit
from companion.editing.read_printed import read_printed
from companion.guide.code import Code
from companion.guide.document import Sheet
from companion.guide.sheets import document
from companion.language.catalogue import PSEUDO, available
from companion.language.locale import Bilingual, Locale
from companion.language.said import plain
from companion.link.code import address, encode
from companion.reckoning.plan import Plan, plan
from companion.render.pdf import pdf
from tests.cases import UNEVEN, a_case, case_dict
from tests.guides import CODE, EXAMPLES, HOMES, KEYS
from tests.paper import Leaf, leaves
from tests.tools import ROOT
from tests.visit import get, public_app

FOR_THE_PATIENT: tuple[Sheet, ...] = ("fridge", "wallet", "door", "log")
SHEET_PAGES = 4
"""A sheet folded once has four pages."""
MM = 72 / 25.4
OTHER_PAPER = {"US": "GB", "GB": "US"}
"""For a region that prints on Letter one that prints on A4, and the other way round."""

# As long as a passport or an address book makes them; invented.
LONG_NAME = "Maximiliane-Friederike von der Hohenwarth y Fernández de Oropesa"
LONG_PLACE = "Behind the door of the small back bedroom"
LONG_NUMBER = "+44 (0)20 5550 0142"


@cache
def home(name: str, is_long: bool, is_other_paper: bool) -> tuple[Case, Plan]:
    """Return a home, or the same with long names and phone numbers, or where paper is cut otherwise."""
    if name == "uneven":
        raw = case_dict(UNEVEN)
    else:
        raw = tomllib.loads((ROOT / "examples" / f"{name}.toml").read_text(encoding="utf-8"))
    if is_long:
        raw["patient"]["name"] = raw["prescription"]["prescriber"] = raw["clinic"]["name"] = LONG_NAME
        raw["clinic"]["phone_day"] = raw["clinic"]["phone_night"] = LONG_NUMBER
        for kind in ("reservoir", "portable", "cylinder"):
            for number, container in enumerate(raw.get(kind, []), start=1):
                container["name"] = f"{LONG_PLACE} {number}"
    case = case_from_dict(raw, name)
    if is_other_paper:
        clinic = {"region": OTHER_PAPER.get(case.clinic.region, "US"), "subdivision": None}
        case = case.model_copy(update={"clinic": case.clinic.model_copy(update=clinic)})
    return case, plan(case)


@dataclass(frozen=True)
class Print:
    """One sheet to be printed."""

    sheet: Sheet
    name: str
    tag: str = "en"
    beside: str | None = None
    is_long: bool = False
    is_other_paper: bool = False

    def __str__(self) -> str:
        """Return its name among the tests."""
        parts = (self.sheet, self.name, self.tag, self.beside, "long" * self.is_long, "other" * self.is_other_paper)
        return "-".join(filter(None, parts))

    @cached_property
    def data(self) -> bytes:
        """The PDF, typeset for who asks first."""
        case, made = home(self.name, self.is_long, self.is_other_paper)
        region = case.clinic.region
        beside = self.beside
        locale = Bilingual(self.tag, region, Locale(beside, region)) if beside else Locale(self.tag, region)
        signed = encode(case, KEYS)
        base = case.clinic.link_base or "https://oxygen.example"
        code = Code(address(base, signed), base, signed, "")
        return pdf(document(self.sheet, case, made, locale, code), case.issued)

    @cached_property
    def leaves(self) -> tuple[Leaf, ...]:
        """What stands where on its pages."""
        return leaves(self.data)


OTHERS = tuple(tag for tag in available() if tag != "en")
ENGLISH = [
    *(Print(sheet, name) for sheet in FOR_THE_PATIENT for name in HOMES),
    *(Print(sheet, HOMES[place % len(HOMES)], is_long=True) for place, sheet in enumerate(FOR_THE_PATIENT)),
    *(Print(sheet, HOMES[place % len(HOMES)], is_other_paper=True) for place, sheet in enumerate(FOR_THE_PATIENT, 1)),
]
EACH_LANGUAGE = [
    Print("fridge" if place % 2 else FOR_THE_PATIENT[1 + place // 2 % 3], HOMES[place % len(HOMES)], tag)
    for place, tag in enumerate(OTHERS)
]
IN_TWO = [
    Print(FOR_THE_PATIENT[place % 4], HOMES[(place + place // 4) % len(HOMES)], tag, beside, is_long=place % 2 == 1)
    for place, (tag, beside) in enumerate([*((tag, "en") for tag in OTHERS[::3]), ("en", "es")])
]
STRETCHED = [
    *(Print("fridge", name, PSEUDO) for name in EXAMPLES),
    *(Print(sheet, HOMES[place], PSEUDO) for place, sheet in enumerate(FOR_THE_PATIENT[1:], 1)),
]
"""In English made 40 % longer, sentence by sentence: longer than a language."""

CLINICIANS = [Print("clinician", name) for name in HOMES]

# Drafts of translations whose words are still too close to a line of the sheet.
CLOSE = {
    ("fridge", "orchard-row", "hi", False),
    ("fridge", "mill-street", "ar", True),
    ("wallet", "mill-street", "hi", True),
    # Its back is the end of the first of two languages, so it is no last page.
    ("fridge", "mill-street", "uk", False),
}

if settings.get_current_profile_name() == "search":
    IN_TWO = [
        Print(sheet, name, tag, beside, is_long)
        for sheet, name, (tag, beside), is_long in product(
            FOR_THE_PATIENT, HOMES, [*((tag, "en") for tag in OTHERS), ("en", "es")], (False, True)
        )
    ]
    EACH_LANGUAGE = [
        Print(sheet, name, tag, None, is_long, is_other_paper)
        for sheet, name, tag, (is_long, is_other_paper) in product(
            FOR_THE_PATIENT, HOMES, OTHERS, ((False, False), (True, False), (False, True))
        )
    ]
    ENGLISH = [
        Print(sheet, name, "en", None, is_long, is_other_paper)
        for sheet, name, (is_long, is_other_paper) in product(
            FOR_THE_PATIENT, HOMES, ((False, False), (True, False), (False, True))
        )
    ]


def rows(*prints: Iterable[Print]) -> pytest.MarkDecorator:
    """Return a row for each print."""
    return pytest.mark.parametrize("printed", [pytest.param(one, id=str(one)) for some in prints for one in some])


def of(sheet: Sheet, *prints: Iterable[Print]) -> list[Print]:
    """Return the prints of one sheet."""
    return [one for some in prints for one in some if one.sheet == sheet]


@rows(one for one in (*ENGLISH, *EACH_LANGUAGE, *IN_TWO) if (one.sheet, one.name, one.tag, one.is_long) not in CLOSE)
def test_it_is_fit_to_be_handed_over(printed: Print) -> None:
    assert audit(read_printed(printed.data)).faults == ()


@rows([*(Print("guide", name) for name in EXAMPLES), Print("guide", EXAMPLES[0], is_long=True)])
def test_the_guide_is_fit_to_be_handed_over(printed: Print) -> None:
    found = audit(read_printed(printed.data))
    assert found.faults == ()
    assert len(found.fills) <= 32
    assert len(found.fills) % SHEET_PAGES == 0
    assert found.mean_fill >= 0.85


# ── pages and type ──────────────────────────────────────────────────────────────────────────────

PAGES = {"fridge": 1, "wallet": 1, "door": 1, "log": 4}
LEAST_SIZE = {"fridge": 16, "wallet": 9, "door": 16, "log": 16}
"""The least type in points; a card of the size of a bank card is small."""

GO_ON = {
    *((name, tag) for name in ("orchard-row", "uneven") for tag in ("es", "fr", "hi")),
    *(("uneven", "fil"), ("uneven", "ru"), ("mill-street", "de")),
    *((name, PSEUDO) for name in HOMES),
}
"""The homes and languages whose fridge sheet may go on on its back: without a call mark each mark has its sentence."""


@rows((one for one in (*ENGLISH, *EACH_LANGUAGE) if not one.is_long), STRETCHED)
def test_a_sheet_keeps_its_pages_and_its_type(printed: Print) -> None:
    if printed.sheet == "fridge" and (printed.name, printed.tag) in GO_ON and len(printed.leaves) > 1:
        # How long it lasts and what to do stays in front, whole.
        with pdfplumber.open(io.BytesIO(printed.data)) as file:
            assert len(file.pages[0].find_tables()) >= 2
        check_pages("fridge", printed.leaves, 2)
    else:
        check_pages(printed.sheet, printed.leaves, PAGES[printed.sheet])


def check_pages(sheet: Sheet, pages: tuple[Leaf, ...], count: int) -> None:
    """Hold a sheet against its number of pages and its least type; nothing may run off the paper."""
    assert len(pages) == count
    for page in pages:
        assert min(letter.size for letter in page.letters) >= LEAST_SIZE[sheet] - 0.01
        assert min(letter.left for letter in page.letters) >= 0
        assert max(letter.right for letter in page.letters) <= page.width
        assert max(letter.bottom for letter in page.letters) <= page.height


@rows(of("fridge", ENGLISH))
def test_the_fridge_sheet_uses_its_page(printed: Print) -> None:
    (page,) = printed.leaves
    assert max(letter.bottom for letter in page.letters) >= page.height - 15 * MM


@rows(one for one in of("wallet", ENGLISH, EACH_LANGUAGE, STRETCHED) if not one.is_long)
def test_the_card_folds_to_the_size_of_a_bank_card(printed: Print) -> None:
    width, height = 86 * MM, 54 * MM  # ID-1 of ISO/IEC 7810: 85.60 × 53.98 mm
    with pdfplumber.open(io.BytesIO(printed.data)) as file:
        (page,) = file.pages
        (cut,) = [rect for rect in page.rects if abs(rect["width"] - 2 * width) < 1]
        assert abs(cut["height"] - 2 * height) < 1
        inside = [
            char
            for char in page.chars
            if cut["top"] < char["top"] < cut["bottom"] and cut["x0"] < char["x0"] < cut["x1"]
        ]
        assert len(inside) > 200
        for char in inside:
            for start, end, low, high, side in (
                ("x0", "x1", cut["x0"], cut["x1"], width),
                ("top", "bottom", cut["top"], cut["bottom"], height),
            ):
                # White at the cut and at the fold.
                face = low + side * int((char[start] - low) // side)
                assert face + 1.5 * MM <= char[start], char["text"]
                assert char[end] <= face + side - 1.5 * MM, char["text"]
                assert face <= high


@rows(of("log", ENGLISH, STRETCHED), [Print("log", HOMES[0], "ar")])
def test_the_log_has_room_for_a_hand(printed: Print) -> None:
    with pdfplumber.open(io.BytesIO(printed.data)) as file:
        for page in file.pages:
            table = page.find_tables()[0]
            head, *rows = table.rows
            assert len(rows) == 7
            assert min(row.bbox[3] - row.bbox[1] for row in rows) >= 10 * MM
            assert max(row.bbox[3] for row in rows) < page.height - 10 * MM
            assert min(cell[2] - cell[0] for cell in rows[0].cells if cell) >= 20 * MM
            # The heads do not touch the rules.
            heads = [char for char in page.chars if head.bbox[1] < char["top"] < head.bbox[3]]
            rules = {side for cell in head.cells if cell for side in (cell[0], cell[2])}
            assert min(min(abs(char["x0"] - rule), abs(char["x1"] - rule)) for char in heads for rule in rules) >= 1.5


@rows(of("door", ENGLISH, EACH_LANGUAGE, STRETCHED))
def test_the_words_of_the_two_signs_at_the_door_stand_apart(printed: Print) -> None:
    with pdfplumber.open(io.BytesIO(printed.data)) as file:
        (page,) = file.pages
        circles = [curve for curve in page.curves if curve["width"] > 100]
        top, bottom = max(curve["bottom"] for curve in circles), page.height
        below = [char for char in page.chars if top < char["top"] < top + 60 < bottom]
        sides = [[char for char in below if (char["x0"] < page.width / 2) == left] for left in (True, False)]
    assert len(circles) >= 2
    assert max(char["x1"] for char in sides[0]) + 5 * MM <= min(char["x0"] for char in sides[1])


@rows((one for one in ENGLISH if one.is_long), EACH_LANGUAGE, CLINICIANS)
def test_each_sheet_is_tagged_for_a_screen_reader(printed: Print) -> None:
    report = validation.validate_pdf_bytes(printed.data, profile="ua1")
    assert report.is_compliant, report.failures


# ── longer numbers than a case takes today ──────────────────────────────────────────────────────

LONGER_NAME = "Wolfeschlegelsteinhausen-Bergerdorff, Maria Annunziata"
LONGER_NUMBERS = {"phone_day": "+44 1632 960 983 ext. 4471", "phone_night": "+44 1632 960 984 ext. 4472"}


@pytest.mark.parametrize(
    ("sheet", "tag"),
    [*((sheet, "en") for sheet in FOR_THE_PATIENT), *((one.sheet, one.tag) for one in EACH_LANGUAGE[1::3])],
)
def test_a_long_name_and_long_numbers_have_room(sheet: Sheet, tag: str) -> None:
    case = a_case()
    case = case.model_copy(
        update={
            "patient": case.patient.model_copy(update={"name": LONGER_NAME}),
            "clinic": case.clinic.model_copy(update=LONGER_NUMBERS),
        }
    )
    data = pdf(document(sheet, case, plan(case), Locale(tag, "US"), CODE), case.issued)
    # So long a name and such numbers may take the back of the fridge sheet in a language longer than English.
    on_the_back = sheet == "fridge" and tag != "en" and len(leaves(data)) == 2
    check_pages(sheet, leaves(data), 2 if on_the_back else PAGES[sheet])
    with pdfplumber.open(io.BytesIO(data)) as file:
        lines = [line["text"] for page in file.pages for line in upright(page).extract_text_lines()]
    numbers = ["phone_day"] if sheet in ("door", "log") else ["phone_day", "phone_night"]
    for number in numbers:
        assert any(LONGER_NUMBERS[number] in line for line in lines), f"{number} is broken"


def upright(page: Any) -> Any:
    """Return a page without what stands on its head: the outside of the card."""
    return page.filter(lambda part: part.get("upright", True) and part.get("matrix", (1,))[0] >= 0)


# ── the clinician's copy ────────────────────────────────────────────────────────────────────────

PAGES_BEFORE_THE_ANNEX = 4
"""For each example. The uneven home has twice the containers."""


@rows(one for one in CLINICIANS if one.name in EXAMPLES)
def test_the_clinician_reads_four_pages_before_the_annex(printed: Print) -> None:
    pages = printed.leaves
    assert min(letter.size for page in pages for letter in page.letters) >= 8.99
    assert max(letter.right for page in pages for letter in page.letters) <= pages[0].width - 9 * MM
    annex = next(place for place, page in enumerate(pages) if page.text.startswith("Annex"))
    assert annex <= PAGES_BEFORE_THE_ANNEX
    assert len(pages) - annex <= 3


# On a full fridge sheet, as of the other homes, the code gives way to the words; the guide and the card have it.
WITH_CODES = [
    Print("fridge", "harbour-lane"),
    Print("fridge", "mill-street"),
    *(Print("wallet", name) for name in HOMES),
]
WITH_CODES = [one for one in ENGLISH if one in WITH_CODES]  # printed once for all tests


@pytest.mark.parametrize("printed", WITH_CODES, ids=str)
def test_the_code_on_fridge_sheet_and_card_opens_the_page_of_this_home(printed: Print) -> None:
    # Read by OpenCV, which shares no code with the library that draws, as large as a phone sees it.
    reader = cv2.QRCodeDetectorAruco()
    pictures = [page.render(scale=4, grayscale=True).to_numpy() for page in pypdfium2.PdfDocument(printed.data)]
    found = [text for picture in pictures for text in reader.detectAndDecodeMulti(picture)[1] if text]
    case, made = home(printed.name, is_long=False, is_other_paper=False)
    assert found == [address(case.clinic.link_base or "https://oxygen.example", encode(case, KEYS))]
    page = get(public_app(KEYS, case.issued), urlsplit(found[0]).path)
    assert page.status_code == 200
    full = next(window for window in made.windows_of("portable") if window.level == 1)
    assert plain(Locale("en", case.clinic.region).duration(full.safe_min)) in page.text
