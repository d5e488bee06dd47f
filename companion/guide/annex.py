"""The annex of the clinician's copy: every input with where it is from, every constant and setting with its source."""

from collections.abc import Iterator

from pydantic import BaseModel

from companion.case.model import Case
from companion.export.json import basis
from companion.facts import oxygen
from companion.facts.region import REGIONS, SOURCES
from companion.guide.document import Block, Columns, Grid, Heading, Paragraph
from companion.guide.grids import entered_words, grid, in_english
from companion.guide.values import values
from companion.language.locale import Locale
from companion.language.said import Value, runs_of
from companion.reckoning.plan import Plan

_POLICY = "policy: "

_Part = tuple[str, list[tuple[str, ...]]]


def annex(case: Case, made: Plan, english: Locale) -> Iterator[Block]:
    """Yield what was entered, the constants and the settings, for who checks them line by line."""
    yield Heading(2, in_english("Annex: every input, every constant"))
    yield Paragraph(
        in_english(
            'Check each line against the order and the data sheets. "Default" is a margin of the program that the '
            "clinic has not set itself."
        )
    )
    yield from _inputs(case)
    yield _facts(case, made)
    yield _settings(case, made, english)


def _inputs(case: Case) -> Iterator[Block]:
    """Yield every field of a case, part by part, by walking the model, so that none is left out."""
    parts: list[tuple[str, list[tuple[str, ...]]]] = []
    alone: list[tuple[str, ...]] = []
    for name, field in Case.model_fields.items():
        value = getattr(case, name)
        title = name.capitalize()
        if isinstance(value, BaseModel):
            parts.append((title, list(_fields(value))))
        elif isinstance(value, list) and value and isinstance(value[0], BaseModel):
            parts += [(f"{title} {place}", list(_fields(item))) for place, item in enumerate(value, start=1)]
        else:
            alone.append((name, entered_words(value), "entered" if value else "not given", field.description or ""))
    # The margins say what they rest on; what a field of an order or a data sheet means, its name says.
    every = [("Case", alone), *parts]
    policy = [row for _, rows in every for row in rows if row[0].startswith(_POLICY)]
    short = [(title, [row for row in rows if not row[0].startswith(_POLICY)]) for title, rows in every]
    yield Columns(tuple(tuple(_part(*part) for part in column) for column in _levelled(short)))
    yield grid(
        "Margins and settings of the clinic",
        ("Field", "Value", "From", "What it is, and what the default rests on"),
        tuple((name.removeprefix(_POLICY), *rest) for name, *rest in policy if "not given" not in rest),
        "wwwn",
    )
    yield grid(
        "Not given",
        ("Part", "Fields"),
        tuple((title, told) for title, rows in every if (told := "; ".join(_not_given(rows)))),
        "ww",
    )


def _part(title: str, rows: list[tuple[str, ...]]) -> Grid:
    given = tuple(
        (name, f"{value} (default)" if origin == "default" else value)
        for name, value, origin, _ in rows
        if origin != "not given"
    )
    return grid(title, ("Field", "Value"), given, "ww")


def _not_given(rows: list[tuple[str, ...]]) -> list[str]:
    return [name for name, _, origin, _ in rows if origin == "not given"]


def _levelled(parts: list[_Part]) -> list[list[_Part]]:
    """Return parts in two columns of about the same height, their order kept."""
    heights = [len(rows) + 2 for _, rows in parts]
    columns: list[list[_Part]] = [[], []]
    above = 0
    for part, height in zip(parts, heights, strict=True):
        columns[min(1, 2 * (above + height // 2) // sum(heights))].append(part)
        above += height
    return columns


def _fields(model: BaseModel, within: str = "") -> Iterator[tuple[str, ...]]:
    for name, field in type(model).model_fields.items():
        value = getattr(model, name)
        label = f"{within}{(field.alias or name).replace('_', ' ')}"
        if isinstance(value, BaseModel):
            yield from _fields(value, f"{label}: ")
            continue
        origin = "not given" if value is None else "entered" if name in model.model_fields_set else "default"
        yield label, entered_words(value), origin, field.description or ""


def _facts(case: Case, made: Plan) -> Grid:
    return grid(
        "Constants",
        ("Constant", "Value", "Source"),
        (
            *((fact.name, f"{fact.value} {fact.unit}".strip(), fact.source) for fact in oxygen.FACTS),
            ("Rounding of times", "down", f"{basis(made, case)['rounding']}: a time is never overstated"),
        ),
        "wwn",
    )


def _settings(case: Case, made: Plan, locale: Locale) -> Grid:
    region = REGIONS[case.clinic.region]
    policy = case.clinic.policy
    v = values(case, made, locale)
    none = "none: write in the local one"
    disagree = "the sources disagree"

    def source(own: object, published: str) -> str:
        return published if own is None else "set by the clinic"

    def number(own: str | None, held: str | None) -> str:
        return source(own, SOURCES["emergency_number"] if held else disagree)

    rows: tuple[tuple[str, Value | None, str], ...] = (
        ("Ambulance", v.emergency_number, number(policy.emergency_number, region.emergency_number)),
        ("Fire service", v.fire_number, number(policy.fire_number, region.fire_number)),
        ("Distance to flames", v.flame_distance, source(policy.flame_distance, region.distance_source)),
        ("Distance to heaters", v.heat_distance, source(policy.heat_distance, region.distance_source)),
        ("Airing of clothes and hair", v.airing_time, source(policy.airing_time, SOURCES["airing_min"])),
        (
            "Airing after a splash of liquid",
            v.splash_airing_time,
            source(policy.splash_airing_time, SOURCES["splash_airing_min"]),
        ),
        ("Water for frostbite", v.water_temperature, source(policy.frostbite_water, SOURCES["water_c"])),
        ("Water never above", v.water_max, source(policy.frostbite_water, SOURCES["water_max_c"])),
    )
    return grid(
        f"Settings of the region {case.clinic.region} in the words of the guide",
        ("Setting", "Value", "Source"),
        tuple((name, none if value is None else locale.alone(*runs_of(value)), told) for name, value, told in rows),
        "wwn",
    )
