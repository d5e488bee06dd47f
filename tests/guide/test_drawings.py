"""Every drawing in every setting: its form, and whether it shows what it is asked for."""

import re
from collections.abc import Iterable, Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from PIL import ImageFont

from companion import fonts, resources
from companion.case import Case
from companion.cli import main
from companion.editing.drawings import SETTINGS, caption, drawings
from companion.guide.document import Drawing, Parts
from companion.guide.pictures import picture
from companion.guide.sheets import document
from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.language.said import plain
from companion.reckoning.plan import plan
from tests.cases import BASE, LEFT_OUT, PULSE, a_case
from tests.guides import CODE

ENGLISH = Locale("en", "US")
UNCAPTIONED = {"cloud_puff_jet", "emergency_signs", "gauge", "sign"}
"""They stand in tables, beside words that say the same, or have such words in them."""

PARTS = {"reservoir", "portable", "cylinder"}
"""They name each part, so they are as large as a page is wide."""


def of(drawing: Drawing) -> str:
    """Return the name of its template."""
    return drawing.name.partition("-")[0]


@cache
def every() -> tuple[Drawing, ...]:
    """Draw all that there is, once: two hundred, too many for a row each."""
    return tuple(drawing for _, _, drawing in drawings(ENGLISH))


def drawn(name: str, **params: Any) -> Drawing:
    return picture(ENGLISH, name, **params)


@cache
def tree(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def scales(node: ElementTree.Element, scale: float = 1) -> Iterator[tuple[ElementTree.Element, float]]:
    """Yield each element with the factor by which its groups draw it smaller or larger."""
    for factor in re.findall(r"scale\(-?([\d.]+)", node.get("transform", "")):
        scale *= float(factor)
    yield node, scale
    for child in node:
        yield from scales(child, scale)


def tag(node: ElementTree.Element) -> str:
    return node.tag.rpartition("}")[2]


def marks(drawing: Drawing) -> set[str]:
    """Return where the flow controls of a drawing point: 0 is off."""
    return {node.attrib["data-mark"] for node in tree(drawing.svg).iter() if "data-mark" in node.attrib}


def texts(drawing: Drawing) -> list[str]:
    """Return the words in a drawing, each with its lines joined."""
    return [" ".join(line.text or "" for line in node) for node in tree(drawing.svg).iter() if tag(node) == "text"]


@cache
def bold() -> ImageFont.FreeTypeFont:
    """Return the face of the words in a drawing, 100 high."""
    face = ImageFont.truetype(fonts.folders()[0] / "NotoSans[wght].ttf", 100)
    face.set_variation_by_axes([700])
    return face


def test_the_sheet_knows_every_drawing() -> None:
    files = resources.folder("templates").joinpath("drawings").glob("[!_]*.svg.jinja")
    assert set(SETTINGS) == {file.name.removesuffix(".svg.jinja") for file in files}


# ── form ────────────────────────────────────────────────────────────────────────────────────────


def test_its_size() -> None:
    for drawing in every():
        assert drawing.width <= 498, drawing.name
        assert drawing.height <= (260 if of(drawing) in PARTS else 164), drawing.name


def test_it_can_stand_in_one_page_with_any_other() -> None:
    for drawing in every():
        nodes = list(tree(drawing.svg).iter())
        assert not [node for node in nodes if {"id", "class", "style", "href"} & set(node.attrib)], drawing.name
        names = {tag(node) for node in nodes}
        assert names <= {"svg", "g", "path", "circle", "ellipse", "rect", "text", "tspan"}, drawing.name


def test_its_caption_and_its_alternative() -> None:
    for drawing in every():
        assert str(drawing.alt).endswith("."), drawing.name
        assert of(drawing) in UNCAPTIONED or 1 <= len(caption(drawing).split()) <= 8, drawing.name


def test_its_words_are_large_and_on_the_sheet() -> None:
    worded = [drawing for drawing in every() if "<text" in drawing.svg]
    assert worded
    for drawing in worded:
        check_words(drawing)


# Those that Noto Sans itself is set in; their words can be measured here.
LATIN_AND_CYRILLIC = [tag for tag in available() if Locale(tag, "US").fonts == ["Noto Sans"]]


@pytest.mark.parametrize("tag", LATIN_AND_CYRILLIC)
def test_no_label_is_cut_in_a_longer_language(tag: str) -> None:
    for _, _, drawing in drawings(Locale(tag, "US")):
        check_words(drawing)


def check_words(drawing: Drawing) -> None:
    for node, scale in scales(tree(drawing.svg)):
        if tag(node) != "text":
            continue
        size = float(node.attrib["font-size"])
        assert size >= 18, drawing.name
        assert scale == 1, drawing.name
        for line in node:
            width = bold().getlength(line.text or "") * size / 100
            x, y = float(line.attrib["x"]), float(line.attrib["y"])
            left = x - {"start": 0, "middle": width / 2, "end": width}[node.attrib["text-anchor"]]
            assert left >= -2, drawing.name
            assert left + width <= drawing.width + 2, drawing.name
            assert size * 0.7 <= y <= drawing.height, drawing.name


def test_it_is_black_white_and_one_grey() -> None:
    signs = {"#9B2423", "#F9A800", "#005387", "#237F52"}
    for drawing in every():
        shades = {node.get(key) for node in tree(drawing.svg).iter() for key in ("fill", "stroke")}
        assert shades - signs <= {None, "none", "#000", "#fff", "#ddd"}, drawing.name


# ── gauges ──────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("kind", ["float", "pressure difference"])
@pytest.mark.parametrize(
    ("level", "divisions", "degrees"),
    [
        (Fraction(0), 4, 0),
        (Fraction(1, 4), 4, 45),
        (Fraction(5, 8), 8, 112.5),
        (Fraction(2, 3), 3, 120),
        (Fraction(1), 4, 180),
    ],
)
def test_a_needle_stands_at_its_level(kind: str, level: Fraction, divisions: int, degrees: float) -> None:
    svg = drawn("gauge", kind=kind, level=level, divisions=divisions).svg
    assert [float(turn) for turn in re.findall(r"rotate\(([\d.]+)\)", svg)] == [pytest.approx(degrees)]


@pytest.mark.parametrize(
    ("level", "divisions"), [(Fraction(0), 4), (Fraction(1, 2), 4), (Fraction(5, 8), 8), (Fraction(1), 3)]
)
def test_as_many_lamps_are_lit_as_there_is_left(level: Fraction, divisions: int) -> None:
    svg = drawn("gauge", kind="electronic", level=level, divisions=divisions).svg
    lamps = [node.attrib["fill"] for node in tree(svg).iter() if node.get("height") == "32"]
    assert lamps == ["#000"] * int(level * divisions) + ["#fff"] * int((1 - level) * divisions)


@pytest.mark.parametrize(
    ("level", "height"), [(Fraction(0), 28), (Fraction(1, 4), 14), (Fraction(1, 2), 0), (Fraction(1), -28)]
)
def test_a_marker_slides_to_its_level(level: Fraction, height: float) -> None:
    svg = drawn("gauge", kind="hanging", level=level, divisions=4).svg
    [marker] = re.findall(r"M-9,([-\d.]+) l-16", svg)
    assert float(marker) == pytest.approx(height)


@pytest.mark.parametrize(("stop", "shown"), [("200 psi", True), ("", False)])
def test_the_cylinder_that_is_changed_has_come_to_its_mark(stop: str, shown: bool) -> None:
    """Readers took a needle far above the mark for the moment to change, or a number at it for what should be there."""
    svg = drawn("cylinder_open", stop=stop).svg
    needles = re.findall(r'rotate\(-99\)"[^>]*/>\s*<path transform="rotate\(([-\d.]+)\)"', svg)
    assert [float(turn) < -99 for turn in needles] == [True] * shown
    assert texts(drawn("cylinder_open", stop=stop)) == ["1", "2", "3"]


# ── flow controls ───────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("name", "params", "expected"),
    [
        # Somebody breathes from each container that is drawn.
        ("flame_distance", {}, {"3"}),
        ("flame_distance", {"carrier": "trolley"}, {"3"}),
        ("tubing", {}, {"3"}),
        ("night_walk", {"interface": "mask"}, {"3"}),
        ("car", {"interface": "nasal cannula", "gauge": "float"}, {"3"}),
        ("flow_dial", {"number": "2"}, {"3"}),
        # Off.
        *(("fill_step", {"step": step}, {"0"}) for step in range(1, 8)),
        # The old one is off, the new one is on.
        ("change_source", {"from": "reservoir", "to": "portable", "number": "2"}, {"0", "3"}),
    ],
)
def test_a_flow_control_points_to_what_is_true(name: str, params: dict[str, Any], expected: set[str]) -> None:
    assert marks(drawn(name, **params)) == expected


@pytest.mark.parametrize(
    ("name", "key", "value"),
    [
        ("flow_dial", "number", "1.5 L/min"),
        ("car", "number", "2 L/min"),
        ("tubing", "number", "2 L/min"),
        ("flame_distance", "distance", "10 feet (3 m)"),
        ("cold_water", "range", "99 to 102 °F"),
        ("finger_meter", "low", "88"),
    ],
)
def test_what_the_case_says_stands_in_the_drawing(name: str, key: str, value: str) -> None:
    assert value in texts(drawn(name, **{key: value}))


@pytest.mark.parametrize(
    ("valve", "closed", "opened"),
    [("lever across", "0", "-90"), ("lever along", "-90", "0")],
)
@pytest.mark.parametrize("step", [2, 5, 6])
def test_a_lever_lies_where_the_step_leaves_it(valve: str, closed: str, opened: str, step: int) -> None:
    """Across the line of flow is drawn level, along it upright."""
    svg = drawn("fill_step", step=step, valve=valve).svg
    lying = re.findall(r'rotate\((\S+)\)" d="[^"]+" fill="#ddd"', svg)
    assert lying == [opened if step == 5 else closed]


@pytest.mark.parametrize(
    ("valve", "step", "sweep"),
    [
        ("clockwise", 2, "1"),
        ("clockwise", 5, "0"),
        ("clockwise", 6, "1"),
        ("counter-clockwise", 2, "0"),
        ("counter-clockwise", 5, "1"),
        ("counter-clockwise", 6, "0"),
        (None, 2, None),
        (None, 5, None),
        (None, 6, None),
    ],
)
def test_a_wheel_is_turned_the_way_that_the_step_needs(valve: str | None, step: int, sweep: str | None) -> None:
    """An arc of SVG runs with the clock where its sweep is 1; no arc says no way."""
    arcs = set(re.findall(r"A23\.5,23\.5 0 0 (\d)", drawn("fill_step", step=step, valve=valve).svg))
    assert arcs == ({sweep} if sweep else set())


@pytest.mark.parametrize("valve", ["lever across", "lever along", "clockwise", "counter-clockwise"])
def test_no_way_to_turn_is_told_where_it_is_not_known(valve: str) -> None:
    for step in (5, 6):
        assert drawn("fill_step", step=step, valve=None).svg != drawn("fill_step", step=step, valve=valve).svg


def test_the_page_of_all_drawings(tmp_path: Path) -> None:
    out = tmp_path / "drawings.html"
    assert main(["drawings", "--out", str(out)]) == 0
    assert out.read_text("utf-8").count("<figure>") == len(every())


def test_a_line_of_arabic_keeps_its_brackets() -> None:
    """Each line is isolated, and what is measured in it: a drawing is laid out from left to right."""
    shown = picture(Locale("ar", "GB"), "cold_water", range="من 37 إلى 39 °C (من 99 إلى 102 °F)")
    lines = [line.text for line in tree(shown.svg).iter() if tag(line) == "tspan"]
    assert lines == [
        "\u2068من 37 إلى \u206639 °C\u2069\u2069",
        "\u2068(من 99 إلى \u2066102 °F\u2069)\u2069",
    ]


@pytest.mark.parametrize(("language", "expected"), [("en", [83, 249, 415]), ("ar", [415, 249, 83])])
def test_scenes_stand_in_the_order_of_reading(language: str, expected: list[float]) -> None:
    shown = tree(picture(Locale(language, "US"), "cloud_puff_jet").svg).iter()
    assert [float(node[0].attrib["x"]) for node in shown if tag(node) == "text"] == expected


# ── what is drawn of a home ─────────────────────────────────────────────────────────────────────


HANGING = {"portable[1].gauge": {"kind": "hanging", "divisions": 4}}


def blocks_of(blocks: Iterable[object]) -> Iterator[object]:
    """Yield blocks and what stands in them, at any depth."""
    for block in blocks:
        yield block
        yield from blocks_of(getattr(block, "blocks", ()))


def parts_of(case: Case) -> Iterator[Parts]:
    blocks = blocks_of(document("guide", case, plan(case), ENGLISH, CODE).blocks)
    return (block for block in blocks if isinstance(block, Parts))


def of_home(changes: dict[str, Any], name: str) -> Drawing:
    """Return a drawing as the guide of a home has it."""
    case = a_case(changes)
    blocks = blocks_of(document("guide", case, plan(case), ENGLISH, CODE).blocks)
    pictures = (getattr(block, "picture", None) for block in blocks)
    return next(drawing for drawing in pictures if isinstance(drawing, Drawing) and of(drawing) == name)


PORTABLE = BASE["portable"][0]
UNLIKE = {
    **PULSE,
    "portable": [
        PORTABLE | {"name": "Red", "conserver": True},
        PORTABLE | {"name": "Blue", "gauge": {"kind": "electronic", "divisions": 8}},
    ],
}


@pytest.mark.parametrize("name", ["car", "change_source"])
@pytest.mark.parametrize(
    ("changes", "number"),
    [
        # On pulses the portable shows a number, whatever the reservoir shows.
        (PULSE, "number 2"),
        ({}, "2 L/min"),
        # One on pulses and one on a flow: neither number is true of the other.
        (UNLIKE, None),
    ],
)
def test_a_portable_shows_its_own_number(changes: dict[str, Any], number: str | None, name: str) -> None:
    shown = [text for text in texts(of_home(changes, name)) if re.search(r"number|L/min", text)]
    assert shown == ([number] if number else [])


@pytest.mark.parametrize(
    ("changes", "kind"), [({}, "float"), (HANGING, "hanging"), (UNLIKE, ""), ({"portable": LEFT_OUT}, "")]
)
def test_a_container_is_drawn_with_the_gauge_of_all(changes: dict[str, Any], kind: str) -> None:
    carried = changes.get("portable") != LEFT_OUT
    assert of_home(changes, "upright") == drawn("upright", carried=carried, gauge=kind, reservoir_gauge="float")


def test_where_there_is_no_portable_none_is_drawn() -> None:
    home = {"portable": LEFT_OUT}
    assert of_home(home, "not_here") == drawn("not_here", carried=False, gauge="", reservoir_gauge="float")
    assert not marks(of_home(home, "flame_distance"))


@pytest.mark.parametrize(("coupling", "named"), [("top fill", True), ("side fill", True), ("twist joint", False)])
@pytest.mark.parametrize("kind", ["reservoir", "portable"])
def test_a_coupling_that_is_not_drawn_has_no_number(kind: str, coupling: str, named: bool) -> None:
    case = a_case({"reservoir[1].coupling": coupling, "portable[1].coupling": coupling})
    shown = next(part for part in parts_of(case) if of(part.picture) == kind)
    names = [plain(name) for name in shown.names]
    assert ("Fill coupling" in names) == named
    assert len(names) == len(texts(shown.picture))


@pytest.mark.parametrize(
    ("step", "valve", "shown"),
    [
        # How a lever lies says little to who does not know it: what the valve does then stands beside it.
        *((2, valve, ["shut"]) for valve in ("lever across", "lever along", "clockwise")),
        *((5, valve, ["open"]) for valve in ("lever across", "lever along", "clockwise")),
        *((6, valve, ["shut"]) for valve in ("lever across", "lever along", "clockwise")),
        # Nothing is known of the way in which the valve turns: only what it does, before and after.
        (2, None, ["shut", "open"]),
        (5, None, ["shut", "open"]),
        (6, None, ["open", "shut"]),
    ],
)
def test_the_passage_of_the_valve_is_as_the_step_leaves_it(step: int, valve: str | None, shown: list[str]) -> None:
    nodes = tree(drawn("fill_step", step=step, valve=valve).svg).iter()
    assert [node.attrib["data-passage"] for node in nodes if "data-passage" in node.attrib] == shown
