"""Row heads in a tagged PDF: the first cell of each row of a table becomes a header cell with the scope of its row.

Typst tags the heads of columns alone, and its binding does not reach its function for the heads of rows. A library
that reads and writes the whole file again (pikepdf) takes three times as long as Typst takes for the guide. So the few
objects that change are written once more at the end of the file, an incremental update after ISO 32000-1, 7.5.6.
"""

import re

_OBJECT = re.compile(rb"\n(\d+) 0 obj\n(<</Type/StructElem/S/(TBody|TR|TD)/.*?)\nendobj", re.DOTALL)
_KIDS = re.compile(rb"/K\[((?:\d+ 0 R ?)+)\]")
_HEADERS = re.compile(rb"/Headers\[[^\]]*\]")
_TRAILER = re.compile(rb"trailer\n<<(.*?)>>\nstartxref\n(\d+)\n%%EOF\s*$", re.DOTALL)


def with_row_heads(pdf: bytes) -> bytes:
    """Return a PDF of Typst's with the first cell of each row of its tables as the head of that row.

    With a head for each column and each row, what a cell belongs to is known by scope (ISO 14289-1, 7.5), so the
    lists of column heads that Typst gives each cell are left out: a reader would take them for all there are.
    """
    elements = {int(found[1]): (found[3], found[2]) for found in _OBJECT.finditer(pdf)}
    bodies = [content for kind, content in elements.values() if kind == b"TBody"]
    changed: dict[int, bytes] = {}
    for row in (row for body in bodies for row in _kids(body)):
        for place, cell in enumerate(_kids(elements[row][1])):
            content = _HEADERS.sub(b"", elements[cell][1])
            if place == 0:
                content = content.replace(b"/S/TD/", b"/S/TH/").replace(b"/O/Table", b"/O/Table/Scope/Row", 1)
            changed[cell] = content
    return _updated(pdf, changed) if changed else pdf


def _kids(element: bytes) -> list[int]:
    kids = _KIDS.search(element)
    return [int(number) for number in re.findall(rb"(\d+) 0 R", kids[1])] if kids else []


def _updated(pdf: bytes, objects: dict[int, bytes]) -> bytes:
    """Append changed objects with a table of where they stand."""
    trailer = _TRAILER.search(pdf)
    assert trailer is not None, "Typst writes a plain trailer"
    written = bytearray(pdf.rstrip() + b"\n")
    places = {}
    for number in sorted(objects):
        places[number] = len(written)
        written += b"%d 0 obj\n%s\nendobj\n" % (number, objects[number])
    start = len(written)
    written += b"xref\n"
    for number, place in places.items():
        written += b"%d 1\n%010d 00000 n\r\n" % (number, place)
    written += b"trailer\n<<%s/Prev %s>>\nstartxref\n%d\n%%%%EOF\n" % (trailer[1], trailer[2], start)
    return bytes(written)
