"""Nothing is dropped on the way: every word of a document stands in its HTML, its PDF and its plain text."""

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from html import unescape

import pypdfium2
import pytest

from companion.errors import SettingError
from companion.guide.document import Beside, Card, Columns, Document, Parts, Phones, Section, Step, texts_of
from companion.guide.sheet_names import SHEETS
from companion.guide.sheets import document
from companion.language.catalogue import available
from companion.language.locale import Bilingual, Locale
from companion.language.said import Said, plain
from companion.render.html import html
from companion.render.pdf import pdf
from companion.render.text import text
from tests.guides import CODE, HOMES, example, planned

OTHERS = available()[1:]
KINDS = [*SHEETS, "table"]
SPOKEN = [
    *((name, sheet, "en") for name in HOMES for sheet in KINDS),
    *(("uneven", sheet, "ar+en") for sheet in KINDS),
    *(("uneven", "guide", tag) for tag in OTHERS),
    *(("uneven", KINDS[place % len(KINDS)], f"{tag}+en") for place, tag in enumerate(OTHERS)),
]
"""Each sheet of each home, and in two languages; in each other language the guide, and above English one sheet in turn:
a block is lost whatever it says."""


def made(sheet: str, name: str, tags: str) -> Document:
    """Return a sheet of an example in one language, or in two as in "ar+en"."""
    case = example(name)
    tag, _, beside = tags.partition("+")
    region = case.clinic.region
    locale = Bilingual(tag, region, Locale(beside, region)) if beside else Locale(tag, region)
    (kind,) = (kind for kind in KINDS if kind == sheet)
    return document(kind, case, planned(name), locale, CODE)


def words_of(text: str) -> Counter[str]:
    """Return how often each word stands in a text; letters and figures alone, because some signs are drawn."""
    return Counter(re.findall(r"\w+", unicodedata.normalize("NFKC", text)))


def said(document: Document, *, pictures: bool = True) -> str:
    """Return everything that a document says in its body, each text in one language after the other."""
    texts = texts_of(document.blocks, pictures=pictures)
    return " ".join(plain(text, place) for text in texts for place in range(len(text.speeches)))


@pytest.mark.parametrize(("name", "sheet", "tags"), SPOKEN)
def test_every_word_stands_in_the_html(name: str, sheet: str, tags: str) -> None:
    document = made(sheet, name, tags)
    page = html(document)
    shown = re.sub(r"(?s)<head>.*?</head>|<path[^>]*>| data-head=\"[^\"]*\"", " ", page)
    shown = re.sub(r'(?s)<svg [^>]*aria-label="([^"]*)"[^>]*>', r" \1 ", shown)
    shown = unescape(re.sub(r"<(?!/?(?:bdi|strong))[^>]*>", " ", shown))
    shown = re.sub(r"<[^>]*>", "", shown)
    missing = words_of(said(document)) - words_of(shown)
    assert not missing


@pytest.mark.parametrize("sheet", KINDS)
@pytest.mark.parametrize("name", HOMES)
def test_every_word_stands_in_the_text(name: str, sheet: str) -> None:
    document = made(sheet, name, "en")
    assert not words_of(said(document, pictures=False)) - words_of(text(document))


def letters_of(text: str) -> Counter[str]:
    """Return how often each letter and figure stands in a text."""
    return Counter(sign for sign in unicodedata.normalize("NFKC", text) if sign.isalnum())


# The guide's own letters are held against its PDF beside what else is asked of that.
@pytest.mark.parametrize(
    ("sheet", "tags"),
    [(sheet, tags) for place, sheet in enumerate(KINDS[1:]) for tags in ("en", ("ar", "zh-Hans")[place % 2])],
)
def test_every_letter_of_the_sheets_stands_in_the_pdf(sheet: str, tags: str) -> None:
    # Letters, because a line of Chinese breaks within words, and a PDF gives back Arabic in the order of its forms.
    document = made(sheet, "mill-street", tags)
    pages = pypdfium2.PdfDocument(pdf(document, example("mill-street").issued))
    assert_printed(document, " ".join(page.get_textpage().get_text_range() for page in pages), words=tags == "en")


def assert_printed(document: Document, printed: str, *, words: bool) -> None:
    """Hold the letters that a document says against those that its PDF gives back; of English alone the words too."""
    unprinted = " ".join(plain(text, place) for text in left_out(document) for place in range(document.languages))
    wanted = said(document, pictures=False)
    assert not letters_of(wanted) - letters_of(unprinted) - letters_of(printed)
    if words:
        assert not words_of(wanted) - words_of(unprinted) - words_of(printed)


def left_out(document: Document) -> Iterator[Said]:
    """Yield what the paper leaves to the words around it, and what reaches a screen reader alone."""
    for block in blocks_of(document.blocks):
        # A page that is opened in a hurry stays whole in a long language, if need be without its drawings.
        if isinstance(block, Section) and block.manner == "urgent" and document.tag != "en":
            yield from (
                inner.picture.caption
                for inner in blocks_of(block.blocks)
                if isinstance(inner, Beside) and inner.picture and inner.picture.caption
            )
        # The list of phones has no title: each row says whose number it is.
        if isinstance(block, Phones):
            yield block.caption
        # A step says what its drawing shows, and a heading names the parts.
        if isinstance(block, Step | Parts) and block.picture and block.picture.caption:
            yield block.picture.caption


def blocks_of(blocks: Iterable[object]) -> Iterator[object]:
    """Yield blocks and what stands in them, at any depth."""
    for block in blocks:
        yield block
        if isinstance(block, Columns | Card):
            parts = block.columns if isinstance(block, Columns) else block.faces
            yield from (inner for part in parts for inner in blocks_of(part))
        yield from blocks_of(getattr(block, "blocks", ()))


def test_an_unknown_block_is_an_error_in_each_printer() -> None:
    @dataclass(frozen=True)
    class Riddle:
        text: str = "?"

    page = made("door", "harbour-lane", "en")
    strange = replace(page, blocks=(*page.blocks, Riddle()))  # type: ignore[arg-type]
    with pytest.raises(SettingError, match="'riddle'"):
        html(strange)
    with pytest.raises(SettingError, match="'riddle'"):
        text(strange)
    with pytest.raises(SettingError, match="Riddle"):
        pdf(strange, example("harbour-lane").issued)
