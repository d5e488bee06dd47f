"""The audit of finished PDFs: each fault is found in a page that was made to have it, and in nothing else."""

import re
from functools import cache
from pathlib import Path
from typing import Any, get_args

import pytest
import typst

from companion import fonts
from companion.cli import main
from companion.editing.audit import Audit, audit
from companion.editing.fault import Kind
from companion.editing.read_printed import AuditError, read_printed
from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.render.qr import qr_drawing

# ── pages that are made to be wrong ─────────────────────────────────────────────────────────────

CODE = qr_drawing("https://oxygen.example/t/ABCD", Locale("en", "US").alone()).svg
SQUARE = CODE.split("<path")[0].replace('fill="#fff"', 'fill="none" stroke="#000"') + "</svg>"
SPOILT = CODE.replace("</svg>", '<rect width="60" height="60" fill="#fff"/></svg>')

SHEET = """
#set document(title: "Made for a test", keywords: ("companion-sheet table en",))
#set page(paper: "us-letter", margin: (x: 20mm, top: 15mm, bottom: 25mm), footer: {
  line(length: 70%)
  v(-6pt)
  [Clinic 555-0142, page #context counter(page).display()]
})
#set text(font: ("Noto Sans", "IBM Plex Sans Arabic", "Noto Sans CJK SC"), size: 18pt, lang: "en")
#show heading: it => block(it.body)
#let drawn(alt, side: 150pt) = image("square.svg", width: side, alt: alt)
#let code(name) = image(name, alt: "A code for a phone")
#let sign = drawn("Danger", side: 40pt)
#let side-box(body) = block(width: 100%, inset: (left: 14pt, y: 6pt), stroke: (left: 6pt), body)
#let frame-box(body) = block(width: 100%, inset: 14pt, stroke: 4pt, body)
#let many(count) = for number in range(count) [Some words to read here. #parbreak()]
// What fills a page down to a few lines above its foot.
#let to-the-foot(left: 60pt) = v(630pt - left)
"""
TITLE = "= Made for a test\nIt must be found.\n"

GRID = "#grid(columns: (1fr, 160pt), row-gutter: 8pt, "

BROKEN: list[tuple[Kind, int, str, str]] = [
    ("outside the margins", 1, "Words", "#place(dx: 440pt)[Words that leave the paper]"),
    ("outside the margins", 1, "Words", "#place(dx: -52pt)[Words]"),
    ("outside the margins", 1, "Words", "#place(top, dy: -40pt)[Words]"),
    ("outside the margins", 1, "Car", '#place(dx: 400pt, drawn("Car"))'),
    ("outside the margins", 1, "a line", "#line(length: 560pt)"),
    ("over the foot", 1, "Words", "#place(bottom + right, dy: 27pt)[Words]"),
    ("over the foot", 1, "Car", '#place(bottom + right, dy: 23pt, drawn("Car"))'),
    ("text over text", 1, "Here There", "#place[Here]#place(dx: 4pt, dy: 3pt)[There]"),
    ("text over text", 1, "Aquí", "#place[Aquí se lee]#place(dy: 8pt)[Read here]"),
    ("text over a drawing", 1, "Words | Car", '#place(drawn("Car"))#place(dx: 40pt, dy: 40pt)[Words]'),
    ("drawing over a drawing", 1, "Car | Door", '#place(drawn("Car"))#place(dx: 60pt, dy: 60pt, drawn("Door"))'),
    (
        "text on a line",
        1,
        "45 minutes",
        "#place(dx: 40pt, line(angle: 90deg, length: 40pt))#place(dy: 8pt)[45 minutes]",
    ),
    ("text on a line", 1, "45 minutes", "#place(dy: 14pt, line(length: 90pt))#place(dy: 8pt)[45 minutes]"),
    ("text on a line", 1, "Wednesday", "#table(columns: (88pt, 40pt), table.header[A][B], [Wednesday], [])"),
    ("heading alone", 1, "The car", "#to-the-foot()\n== The car\n#pagebreak()\nNever lock it in a car."),
    ("heading alone", 1, "On trains", "#to-the-foot(left: 90pt)\n== Away\n=== On trains\n#pagebreak()\nAsk first."),
    ("box parted", 1, "Danger", "#to-the-foot(left: 90pt)#side-box[#grid(columns: 2, sign)[Danger] #many(8)]"),
    ("box parted", 1, "Danger", "#to-the-foot(left: 120pt)#frame-box[#grid(columns: 2, sign)[Danger] #many(8)]"),
    (
        "box parted",
        1,
        "Do not",
        "#to-the-foot(left: 90pt)#side-box[- Do not smoke\n- Do not cook\n- Do not go\n- Do not run]",
    ),
    # Taller than a page, but only its first line stands on the first.
    ("box parted", 1, "Danger", "#to-the-foot(left: 84pt)#side-box[#grid(columns: 2, sign)[Danger] #many(20)]"),
    (
        "step parted from its drawing",
        1,
        "Step 3",
        '#to-the-foot(left: 90pt)\n== Step 3\nOpen the valve.\n#drawn("A valve")',
    ),
    (
        "step parted from its drawing",
        1,
        "Open",
        '#to-the-foot(left: 90pt)\n+ Open the valve.\n  #block(drawn("A valve"))\n',
    ),
    (
        "step parted from its drawing",
        1,
        "Some words",
        "#to-the-foot(left: 230pt)" + GRID + 'many(12), drawn("A valve"))',
    ),
    (
        "step parted from its drawing",
        1,
        "Some words",
        "#to-the-foot(left: 370pt)#grid(columns: (160pt, 1fr), row-gutter: 8pt, "
        'drawn("A cap"), [Shut it.], drawn("A valve"), many(12))',
    ),
    (
        "caption parted from its table",
        1,
        "It lasts at least",
        "#to-the-foot()\n#strong[It lasts at least]\n#pagebreak()\n#table(columns: 2, table.header[A][B], [C], [D])",
    ),
    (
        "header row alone",
        1,
        "Gauge Time",
        "#to-the-foot(left: 105pt)#table(columns: 2, table.header[Gauge][Time], "
        "..([#block(height: 30pt)#block[full]],) * 2)",
    ),
    (
        "header row not repeated",
        2,
        "Gauge Time",
        "#to-the-foot(left: 100pt)#table(columns: 2, table.header(repeat: false)[Gauge][Time], ..([full], [5]) * 5)",
    ),
    (
        "row over two pages",
        1,
        "all",
        "#to-the-foot(left: 100pt)#table(columns: 2, table.header[Gauge][Time], "
        "[full], [all\\ of\\ the\\ time\\ there])",
    ),
    ("less than half full", 1, "%", "Some words.\n#pagebreak()\nMore."),
    ("number parted from its unit", 1, "15 | minutes", "Rinse it for 15\\ minutes."),
    ("number parted from its unit", 1, "2 | L/min", "Set it to 2\\ L/min."),
    ("number parted from its unit", 1, "1.5 | bar", "Stop at 1.5\\ bar."),
    ("number parted from its unit", 1, "88 | %", "At least 88\\ %."),
    ("number parted from its unit", 1, "10 | feet", "Stay 10\\ feet away."),
    ("number parted from its unit", 1, "3 | metres", "Stay 3\\ metres away."),
    ("number parted from its unit", 1, "15 | minutos", '#set text(lang: "es")\n#par[Durante 15\\ minutos.]'),
    ("number parted from its unit", 1, "3 | heures", '#set text(lang: "fr")\n#par[Pendant 3\\ heures.]'),
    ("number parted from its unit", 1, "15 | ", '#set text(lang: "ar", dir: rtl)\n#par[لمدة 15\\ دقيقة.]'),
    (
        "number parted from its unit",
        1,
        "15 | ",
        '#set text(lang: "hi", font: "Noto Sans Devanagari")\n#par[कम से कम 15\\ मिनट तक।]',
    ),
    ("number parted from its unit", 1, "15 | ", '#set text(lang: "zh")\n#par[冲洗15\\ 分钟以上。]'),
    ("code not readable", 1, "A code", '#code("spoilt.svg")'),
    ("type too small", 1, "15.0 pt: Words", "#parbreak()#text(size: 15pt)[Words]"),
    ("body too small", 1, "17.0 pt", "#set text(size: 17pt)\nWords that are too small for most of the text of a page."),
    ("number of pages", 2, "multiple of 4", '#set document(keywords: ("companion-sheet guide en",))\n---\n#many(20)'),
    ("number of pages", 2, "more than 1", "#many(20)"),
]


@cache
def compiler() -> typst.Compiler:
    """Return a compiler with the fonts of the program, loaded once."""
    loaded = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=fonts.folders())
    return typst.Compiler(font_paths=loaded)


def made(body: str) -> bytes:
    """Set some Typst source as a tagged PDF (PDF/UA-1). What stands over ``---`` is set before the title."""
    before, _, after = body.rpartition("---\n")
    files = {
        "main.typ": (SHEET + before + TITLE + after).encode(),
        "code.svg": CODE.encode(),
        "spoilt.svg": SPOILT.encode(),
        "square.svg": SQUARE.encode(),
    }
    printed: Any = compiler().compile(files, format="pdf", pdf_standards=["ua-1"])  # type: ignore[type-var]
    return bytes(printed)


def audited(body: str, most: int | None = None) -> Audit:
    """Audit some Typst source."""
    return audit(read_printed(made(body)), most)


@pytest.mark.parametrize(("kind", "page", "words", "body"), BROKEN)
def test_a_fault_is_found_and_nothing_else(kind: Kind, page: int, words: str, body: str) -> None:
    (fault,) = audited(body, most=1 if words == "more than 1" else None).faults
    assert (fault.page, fault.kind) == (page, kind)
    assert words in fault.words


@pytest.mark.parametrize("tag", [tag for tag in available() if tag != "en-XA"])
def test_each_unit_is_missed_in_each_language(tag: str) -> None:
    locale = Locale(tag, "US")
    spelled = {
        str(said)
        for count in (2, 3, 11, 21, 45)
        for said in (
            locale.duration(count),
            locale.hours(count),
            locale.days(count),
            locale.amount(count, "length-foot"),
        )
    }
    lines = [re.sub(r"^(\d+)\s*", r"\1\\ ", words) for words in spelled]
    families = ", ".join(f'"{family}"' for family in locale.fonts)
    place = ', region: "TW"' if tag == "zh-Hant" else ""
    settings = f'#set text(lang: "{tag.split("-", maxsplit=1)[0]}"{place}, font: ({families},))\n'
    faults = audited(f"{settings}#list({', '.join(f'[{line}]' for line in lines)})").faults
    assert len(faults) == len(spelled)
    assert {fault.kind for fault in faults} == {"number parted from its unit"}


def test_every_kind_of_fault_has_a_page_that_has_it() -> None:
    assert {row[0] for row in BROKEN} == set(get_args(Kind))


# ── pages that are as they should be ────────────────────────────────────────────────────────────

CLEAN = {
    "a heading that goes on over the page": "#to-the-foot(left: 110pt)\n== The car\nNever lock it in.\n#many(14)",
    "a heading under a heading": "#to-the-foot(left: 150pt)\n== Away\n=== On trains\nAsk.\n#pagebreak()\nAsk again.",
    "two boxes, each on its page": (
        "#to-the-foot(left: 110pt)#side-box[#grid(columns: 2, sign)[Danger] Stop.]"
        "#side-box[#grid(columns: 2, sign)[Do not] Run.]"
    ),
    "a box that is taller than a page": "#to-the-foot(left: 250pt)#side-box[#grid(columns: 2, sign)[Danger] #many(30)]",
    "steps with a drawing beside each": "#to-the-foot(left: 190pt)" + GRID + '..([Open it.], drawn("A valve")) * 4)',
    "steps of a list with their drawings": (
        '#to-the-foot(left: 220pt)\n+ Open.\n  #drawn("A valve")\n+ Shut.\n  #drawn("A cap")'
    ),
    "a table with its header row on each page": (
        "#to-the-foot(left: 110pt)Pick one.\n#table(columns: 2, table.header[Gauge][Time], ..([full], [5 hours]) * 12)"
    ),
    "a sentence before a table": "#to-the-foot(left: 90pt)Pick one.\n#table(columns: 2, table.header[A][B], [C], [D])",
    "a caption with its table": "*It lasts at least*\n#table(columns: 2, table.header[Gauge][Time], [full], [5 hours])",
    "gray rows over two pages": (
        "#to-the-foot(left: 110pt)#table(columns: (220pt, 220pt), stroke: none, inset: 8pt, "
        "fill: luma(230), ..([full], [5]) * 6)"
    ),
    "ruled rows over two pages": (
        "#to-the-foot(left: 110pt)#grid(columns: 2, inset: 6pt, stroke: 1.5pt, ..([Clinic], [555-0142]) * 6)"
    ),
    "headings with nothing under them": "== Away\n== At home",
    "a step, and a sign on the next page": (
        "#to-the-foot(left: 80pt)\n== Step 3\nOpen it.\n#pagebreak()\n#side-box[#grid(columns: 2, sign)[Danger] Stop.]"
    ),
    "a code": '#code("code.svg")',
    "a mark at the edge of the paper": "#place(dx: -56pt, rect(width: 20pt, height: 90pt, fill: black))Call.",
    "a number at the end of a line": "There are 15\\ steps. Call 911\\ in an emergency. Take 2\\ at once.",
    "a phone number at the end of a line": "Call 555-0142\\ minutes before you go.",
    "a length of time over two lines": "It takes 2 hours\\ 15 minutes.",
    "two languages": 'Hay que llamar.#linebreak()#box(width: 100%, text(lang: "es", size: 16pt, par[Call now.]))',
    "a second language that says more": (
        '#box(width: 100%, text(lang: "es", size: 16pt, par[Hay que llamar antes de salir de casa con el portátil.]))'
    ),
    "two languages, one leftwards": '#par(text(lang: "ar", dir: rtl)[اتصل الآن 15 دقيقة])\nCall now. 15 minutes.',
    "a foot in two lines": "#set page(margin: (bottom: 35mm), footer: [Call 555-0142\\ or 555-0143])\n---\nCall.",
    "no foot": "#set page(footer: none)\n---\n#many(30)",
}


@pytest.mark.parametrize("body", CLEAN.values(), ids=list(CLEAN))
def test_nothing_is_found_where_nothing_is_wrong(body: str) -> None:
    assert audited(body).faults == ()


def test_the_fill_of_a_page_is_how_far_down_it_is_used() -> None:
    # Letter paper is 792 pt high. The room for text is from the first ink, at 46 pt, to
    # 4 mm over the line above the foot, 730 pt: 684 pt. A line that begins 480 pt down ends 493 pt down: 72 %.
    found = audited("#v(300pt)Half.#pagebreak()#v(480pt)More.#pagebreak()#v(100pt)End.")
    assert [round(fill, 1) for fill in found.fills] == [0.6, 0.7, 0.2]
    assert found.mean_fill == sum(found.fills) / 3


# ── the command ─────────────────────────────────────────────────────────────────────────────────


def test_command_says_that_a_sheet_is_clean(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "clean.pdf"
    path.write_bytes(made("#many(12)"))
    assert main(["audit", str(path)]) == 0
    assert capsys.readouterr().out == f"{path}: pages: 1, 62% full on the mean; no faults\n"


def test_command_lists_faults_and_fills(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    clean, broken = tmp_path / "clean.pdf", tmp_path / "broken.pdf"
    clean.write_bytes(made("#many(12)"))
    broken.write_bytes(made("\nRinse it for 15\\ minutes."))
    assert main(["audit", "--fill", str(broken), str(clean)]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == f"{broken}: page 1: number parted from its unit: Rinse it for 15 | minutes."
    assert f"{clean}: page 1: 62% full" in lines


def test_command_counts_pages(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "long.pdf"
    path.write_bytes(made("#many(20)"))
    assert main(["audit", "--most", "2", str(path)]) == 0
    assert main(["audit", "--most", "1", str(path)]) == 1
    assert "2 are more than 1" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (None, "cannot be read: No such file or directory."),
        (b"A text.", "this is no PDF that can be read."),
        # The smallest PDF with a page: it has no tags.
        (
            b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj 2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj "
            b"3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 99 99]>>endobj trailer<</Root 1 0 R>>",
            "this PDF has no tags",
        ),
    ],
)
def test_command_refuses_what_is_no_sheet(
    content: bytes | None, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "sheet.pdf"
    if content is not None:
        path.write_bytes(content)
    assert main(["audit", str(path)]) == 2
    assert told in capsys.readouterr().err


def test_an_empty_file_is_no_sheet() -> None:
    with pytest.raises(AuditError):
        read_printed(b"")
