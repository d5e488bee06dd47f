"""The page behind the QR code: what was asked in the address, what the plan answers, and the page that says so.

The same page is served by ``companion.web.public`` and written as a file by ``companion.web.publish``.
"""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from markupsafe import Markup

from companion import resources
from companion.case.model import Case
from companion.case.prescription import ACTIVITIES
from companion.guide import tables, trip_tables
from companion.guide.compose import Composer
from companion.guide.naming import level_words, store_name
from companion.guide.outing_words import outing_words
from companion.guide.pictures import picture
from companion.guide.sections import title
from companion.guide.sheets import document
from companion.guide.tables import KINDS, Table
from companion.guide.values import values
from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.language.said import Run, Said
from companion.reckoning.choices import cylinder_rows
from companion.reckoning.containers import GasStore, LiquidStore, Store, level_name
from companion.reckoning.outing import DOINGS, Outing, Stretch, outing
from companion.reckoning.plan import Plan
from companion.render.html import blocks_html, html, web_page

STRETCHES = 6
"""Parts that an outing can have on the page."""

LONGEST_STRETCH_MIN = 24 * 60


# ── what was asked ──────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True)
class Asked:
    """What a caregiver picked, held against what the case has; equal for equal questions."""

    container: str | None = None
    """The container of the question, or None: nothing was asked."""
    level: str | None = None
    activity: str | None = None
    outing: bool = False
    """Whether the question is about an outing."""
    stretches: tuple[tuple[str, str], ...] = ()
    """Word and minutes of each part, as they were typed."""


def read_question(query: Mapping[str, str], made: Plan) -> Asked:
    """Return the question in an address; whatever the case does not have counts as not picked."""
    container = _among(query.get("container"), [store.id for store in made.stores])
    if container is None:
        return Asked()
    level = _among(query.get("level"), {level_name(level) for store in made.stores for level in store.levels})
    if query.get("outing") is None:
        return Asked(container, level, _among(query.get("activity"), ACTIVITIES))
    stretches = tuple(
        (query.get(f"activity{place}", "")[:9], query.get(f"minutes{place}", "").strip()[:9])
        for place in range(1, STRETCHES + 1)
    )
    return Asked(container, level, None, outing=True, stretches=stretches)


def _among(value: str | None, known: Collection[str]) -> str | None:
    return value if value in known else None


# ── what the plan answers ───────────────────────────────────────────────────────────────────────


@dataclass(frozen=True)
class Cell:
    """One answer: what is read, and the figure behind it [min]."""

    text: Said
    minutes: int
    activities: tuple[str, ...]
    """The activities of its column; none where one column holds for all."""


@dataclass(frozen=True)
class Level:
    """One gauge reading with its answers."""

    name: str
    words: Said
    drawn: Fraction | None
    """What the gauge beside it shows, as a share of full; None without a drawing."""
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Container:
    """One container: its table, and so the questions that can be asked of it."""

    id: str
    kind: str
    name: Said
    table: Table
    levels: tuple[Level, ...]


def containers(made: Plan, locale: Locale) -> list[Container]:
    """Return every container with its answers, portables first: they are what people go out with."""
    return [
        _container(store, table, made, locale)
        for kind in KINDS
        for store, table in zip(
            [store for store in made.stores if store.kind == kind], tables.durations(made, kind, locale), strict=True
        )
    ]


def _container(store: Store, table: Table, made: Plan, locale: Locale) -> Container:
    groups = [[str(demand.activity) for demand in group] for group in tables.grouped(store, made.windows)]
    columns = [()] if len(table.columns) == 1 else [tuple(group) for group in groups]
    daily = next((line.safe_min for line in made.supply if line.container == store.id), None)

    def minutes(level: Fraction, column: tuple[str, ...]) -> int:
        if daily is not None:
            return daily[level]
        return next(
            found.safe_min
            for found in made.windows
            if found.container == store.id
            and found.level == level
            and found.demand.activity == (column or groups[0])[0]
        )

    return Container(
        id=store.id,
        kind=store.kind,
        name=store_name(store, made.stores, locale),
        table=table,
        levels=tuple(
            Level(
                name=level_name(level),
                words=row.head,
                drawn=row.level,
                cells=tuple(
                    Cell(text, minutes(level, column), column) for text, column in zip(row.cells, columns, strict=True)
                ),
            )
            for level, row in zip(_levels(store), table.rows, strict=True)
        ),
    )


def _levels(store: Store) -> Sequence[Fraction]:
    """Return the levels of the rows of a container's table."""
    return [row.level for row in cylinder_rows(store)] if isinstance(store, GasStore) else store.levels


def answer(asked: Asked, found: list[Container]) -> Cell | None:
    """Return the cell that was asked for, or None while something is still to be picked."""
    for container in found:
        for level in container.levels:
            for cell in level.cells:
                asked_for = not cell.activities or asked.activity in cell.activities
                if asked_for and (container.id, level.name) == (asked.container, asked.level):
                    return cell
    return None


@dataclass(frozen=True)
class Part:
    """One part of an outing in the form: what was typed, and what is wrong with it."""

    place: int
    activity: str
    minutes: str
    fault: Said | None


@dataclass(frozen=True)
class OutingForm:
    """The form of an outing, and its answer where every part can be read."""

    portables: tuple[tuple[str, Said], ...]
    levels: tuple[tuple[str, Said], ...]
    activities: tuple[tuple[str, Said], ...]
    parts: tuple[Part, ...]
    level_missing: bool
    answer: Outing | None
    words: tuple[Said, ...]
    """The answer: the verdict, then its reasons."""


def outing_form(asked: Asked, case: Case, made: Plan, locale: Locale) -> OutingForm:
    """Read the parts of an outing and ask the plan."""
    activities = _outing_activities(case, locale)
    offered = {word for word, _ in activities}
    parts = []
    stretches = []
    for place, (word, minutes) in enumerate(asked.stretches or (("", ""),) * STRETCHES, start=1):
        activity = word if word in offered else ""
        stretch, fault = _stretch(activity, minutes, locale) if activity or minutes else (None, None)
        parts.append(Part(place, activity, minutes, fault))
        if stretch is not None:
            stretches.append(stretch)
    if asked.outing and not stretches and not any(part.fault for part in parts):
        parts[0] = Part(1, "", "", locale.say("Fill in at least one part."))
    portables = [store for store in made.stores if isinstance(store, LiquidStore) and store.kind == "portable"]
    portable = next((store for store in portables if store.id == asked.container), None)
    levels = sorted({level for store in portables for level in store.levels}, reverse=True)
    level = next((level for level in levels if level_name(level) == asked.level), None)
    ready = asked.outing and portable is not None and level is not None and not any(part.fault for part in parts)
    found = outing(case, portable, level, stretches, made.margins) if ready and portable and level else None
    return OutingForm(
        portables=tuple((store.id, store_name(store, made.stores, locale)) for store in portables),
        levels=tuple((level_name(level), level_words(level, locale)) for level in levels),
        activities=activities,
        parts=tuple(parts),
        level_missing=asked.outing and level is None,
        answer=found,
        words=tuple(outing_words(found, locale)) if found else (),
    )


def _outing_activities(case: Case, locale: Locale) -> tuple[tuple[str, Said], ...]:
    words = (
        ("walk", locale.say("Walking")),
        ("travel", locale.say("Riding in a car, bus or train")),
        ("sit", locale.say("Sitting where you stay")),
        ("stroll", locale.say("Walking where you stay")),
        ("sleep", locale.say("Sleeping where you stay")),
    )
    return tuple((word, said) for word, said in words if DOINGS[word].activity in case.prescription.orders())


def _stretch(activity: str, minutes: str, locale: Locale) -> tuple[Stretch | None, Said | None]:
    if not activity:
        return None, locale.say("Pick what you will do.")
    if not re.fullmatch(r"\d{1,4}", minutes) or not 1 <= int(minutes) <= LONGEST_STRETCH_MIN:
        return None, locale.say(
            "Write the minutes as a whole number from {least} to {most}.", least=1, most=LONGEST_STRETCH_MIN
        )
    return Stretch(DOINGS[activity], int(minutes)), None


# ── the pages ───────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True)
class Place:
    """Where a page stands, for links that hold behind any host and folder."""

    code: str
    """The code as the address spells it."""
    up: str
    """The way from the page to the folder ``t/``."""


@dataclass(frozen=True)
class Language:
    """One entry of the language picker."""

    tag: str
    name: str
    direction: str


@cache
def languages(region: str) -> tuple[Language, ...]:
    """Return every language that the page can be had in."""
    found = [Locale(tag, region) for tag in available()]
    return tuple(Language(locale.tag, locale.native_name, locale.direction) for locale in found)


def table_page(
    case: Case, made: Plan, locale: Locale, place: Place, asked: Asked, *, out_of_date: bool, served: bool
) -> str:
    """Return the page of a code.

    Args:
        out_of_date: whether the review date has passed.
        served: whether a server answers; else the page is a file, which can be asked by script alone.
    """
    found = containers(made, locale)
    composer = Composer(case, made, locale, None)
    return web_page(
        "web/table.html.jinja",
        locale,
        case=case,
        v=composer.values,
        steady=tables.steady(made, locale),
        standing=tables.standing(made, locale),
        trips=trip_tables.trips(made, locale),
        first_page=blocks_html(composer.section("first-page"), locale.tag),
        title_of=lambda name: locale.say(title(name)),
        place=place,
        asked=asked,
        containers=found,
        gauge_id=_gauge_id,
        answer=answer(asked, found) if not asked.outing else None,
        outing=outing_form(asked, case, made, locale) if case.portable and served else None,
        style=_style(),
        clock=Run("00:00", direction="auto"),
        gauges=_gauges(locale, tuple(dict.fromkeys(drawn for one in found for drawn in _drawn(one.table)))),
        languages=languages(locale.region),
        out_of_date=out_of_date,
        served=served,
    )


def full_guide(case: Case, made: Plan, locale: Locale, up: str, *, out_of_date: bool) -> str:
    """Return the whole guide of a code: without a name, and without a QR code, which has already been scanned.

    Args:
        up: the way from the page to the folder ``t/``.
        out_of_date: whether the review date has passed.
    """
    return html(
        document("guide", case, made, locale, None),
        "web/guide.html.jinja",
        _=locale.say,
        v=values(case, made, locale),
        review_date=case.prescription.review_date,
        up=up,
        out_of_date=out_of_date,
    )


_DECIMALS = re.compile(r"\d+\.\d+")
# Without its outermost group: what that says of the pen stands once, in the style of ``.gauge``.
_SVG = re.compile(r'<svg[^>]* viewBox="([^"]*)"[^>]*><g [^>]*>(.*)</g></svg>')


@cache
def _style() -> Markup:
    """Return the style of the page without its spaces: a phone may pay for every kilobyte."""
    return Markup(re.sub(r"(?<=[{};:,])\s+|\s+(?=[{}])", "", resources.read("templates", "web/table.css")))


Drawn = tuple[str, int, Fraction]
"""A gauge that shows something: its kind, its divisions, the share of full."""


def _drawn(table: Table) -> list[Drawn]:
    return [(table.gauge, table.divisions, row.level) for row in table.rows if row.level is not None]


def _gauge_id(name: str, divisions: int, level: Fraction) -> str:
    return f"{name.replace(' ', '-')}-{divisions}-{level * divisions}"


@cache
def _gauges(locale: Locale, gauges: tuple[Drawn, ...]) -> Markup:
    """Return each drawing of a gauge once, as symbols that the page uses wherever a reading stands."""
    symbols = []
    for name, divisions, level in gauges:
        # A hundredth of a unit of the drawing cannot be seen, and the page has to stay small.
        svg = _DECIMALS.sub(
            lambda number: f"{round(float(number[0]), 2):g}",
            picture(locale, "gauge", kind=name, level=level, divisions=divisions).svg,
        ).replace("\n", "")
        parts = _SVG.fullmatch(svg)
        assert parts is not None, name
        symbols.append(
            Markup('<symbol id="{}" viewBox="{}">{}</symbol>').format(
                _gauge_id(name, divisions, level), parts[1], Markup(parts[2])
            )
        )
    return Markup("").join(symbols)
