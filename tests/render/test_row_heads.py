"""The first cell of each row of a table is the head of that row, for whoever has the page read aloud."""

import io

import page as page_validation
import pikepdf
import pytest

from companion.guide.document import Answers
from companion.render.row_heads import with_row_heads
from tests.guides import EXAMPLES, guide, table


def tables_in(pdf: bytes) -> list[list[list[tuple[str, str]]]]:
    """Return of each table its rows, and of each cell what it is and whose head, read by pikepdf."""

    def below(element: pikepdf.Object, kind: str) -> list[pikepdf.Object]:
        kids = element.get("/K")
        listed = [kids] if isinstance(kids, pikepdf.Dictionary) else list(kids or [])
        elements = [kid for kid in listed if isinstance(kid, pikepdf.Dictionary) and "/S" in kid]
        here = [kid for kid in elements if str(kid["/S"]) == kind]
        return here + [found for kid in elements if kid not in here for found in below(kid, kind)]

    def cell(element: pikepdf.Object) -> tuple[str, str]:
        scopes = [str(attributes.get("/Scope", "")) for attributes in element.get("/A", [])]
        return str(element["/S"]), "".join(scopes)

    document = pikepdf.open(io.BytesIO(pdf))
    root = document.Root.StructTreeRoot
    return [[[cell(kid) for kid in row["/K"]] for row in below(found, "/TR")] for found in below(root, "/Table")]


@pytest.mark.parametrize("name", EXAMPLES)
def test_each_row_has_its_head(name: str) -> None:
    made = table(name)
    tables = tables_in(made.pdf)
    answers = [block for block in made.document.blocks if isinstance(block, Answers)]
    assert [len(rows) for rows in tables] == [len(block.rows) + 1 for block in answers]
    for heads, *rows in tables:
        assert set(heads) == {("/TH", "/Column")}
        for first, *others in rows:
            assert first == ("/TH", "/Row")
            assert {kind for kind, _ in others} == {"/TD"}


def test_a_file_without_tables_is_left_as_it_is() -> None:
    pdf = b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\ntrailer\n<</Size 2>>\nstartxref\n9\n%%EOF"
    assert with_row_heads(pdf) == pdf


def test_the_updated_file_is_whole() -> None:
    pdf = guide("harbour-lane").pdf
    assert not pikepdf.open(io.BytesIO(pdf)).check_pdf_syntax()
    assert page_validation.validate_pdf_bytes(pdf, profile="ua1").is_compliant
