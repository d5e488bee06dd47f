"""The page behind the QR code: the plan's figures for the phone to look up, the tables, and what else a phone can do.

The same page is served by ``companion.web.public`` and written as a file by ``companion.web.publish``. What it is
asked, its script answers from those figures, so it answers without internet too.
"""

import json
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Any

from markupsafe import Markup

from companion.case.model import Case
from companion.case.prescription import Activity
from companion.export.ics import calendar_file
from companion.guide import tables, trip_tables
from companion.guide.compose import Composer
from companion.guide.naming import activity_words, demand_words, store_name
from companion.guide.phones import calls
from companion.guide.pictures import picture
from companion.guide.sections import title
from companion.guide.sheets import document
from companion.guide.tables import KINDS, Table
from companion.guide.values import values
from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.language.said import Run, Said, lines
from companion.reckoning.choices import cylinder_rows
from companion.reckoning.containers import GasStore, LiquidStore, Store, level_name
from companion.reckoning.demand import Demand
from companion.reckoning.plan import Plan
from companion.reckoning.since_filled import since_filled
from companion.reckoning.trips import trips
from companion.render.html import blocks_html, html, web_page

# ── what can be asked, and the figures ──────────────────────────────────────────────────────────

ANY = "any"
"""Stands for the activity where one column holds for all."""


@dataclass(frozen=True)
class Choice:
    """One answer to a question of the page."""

    name: str
    words: Said
    below: Said | None = None
    drawn: Fraction | None = None
    """What the gauge beside it shows, as a share of full; None without a drawing."""


@dataclass(frozen=True)
class Container:
    """One container: its table, the questions that can be asked of it, and the figures that answer them."""

    id: str
    kind: str
    name: Said
    table: Table
    levels: tuple[Choice, ...]
    activities: tuple[Choice, ...]
    """One where one column holds for all."""
    stays: tuple[Said, ...]
    """What may be done on a stay away from home, a time for each; none where it is not carried."""
    ways: tuple[Choice, ...]
    """How long one way may take."""
    figures: dict[str, Any]
    """``low``: what is said in the place of no time. ``times``: by reading and activity [min]. Of a portable also
    ``since``: by the quarter of an hour since it was filled, the reading as if and the times; ``trips``: by reading
    and by how long one way takes, how long each stay may be (None: too far), and the reading at which to start for
    home."""


def containers(case: Case, made: Plan, locale: Locale) -> list[Container]:
    """Return every container, portables first: they are what people go out with.

    As in the guide, no portable has a time for sleep where no sleep on one is ordered.
    """
    told = tables.awake(made)
    return [
        _container(store, table, case, told, locale)
        for kind in KINDS
        for store, table in zip(
            [store for store in told.stores if store.kind == kind], tables.durations(told, kind, locale), strict=True
        )
    ]


def _container(store: Store, table: Table, case: Case, made: Plan, locale: Locale) -> Container:
    # Activities that use the same share a column, which goes by the name of the first.
    groups = [group[0].activity for group in tables.grouped(store, made.windows)]
    columns: dict[str, Activity] = (
        dict(zip(groups, groups, strict=True)) if len(table.columns) > 1 else {ANY: groups[0]}
    )
    away = next((line for line in made.trips if line.container == store.id), None)
    of_a_portable = (
        {
            "since": [
                (level_name(row.as_if), {name: row.left_min[column] for name, column in columns.items()})
                for row in since_filled(case, store, made.margins)
            ],
            "trips": {level_name(level): _trips(store, level, case, made, locale) for level in store.levels},
        }
        if away is not None and isinstance(store, LiquidStore)
        else {}
    )
    return Container(
        id=store.id,
        kind=store.kind,
        name=store_name(store, made.stores, locale),
        table=table,
        # Below its levels a cylinder has its stop, of which no time is asked.
        levels=tuple(
            Choice(level_name(level), row.head, drawn=row.level)
            for level, row in zip(_levels(store), table.rows[: len(_levels(store))], strict=True)
        ),
        activities=_activities(columns, table, tables.grouped(store, made.windows)[0], locale),
        stays=trip_tables.stays(away, made, locale) if away else (),
        ways=tuple(Choice(str(trip.way_min), locale.duration(trip.way_min)) for trip in away.trips) if away else (),
        figures={
            "low": str(tables.answer(store.kind, 0, locale)),
            "times": {
                level_name(level): {name: _minutes(store, level, column, made) for name, column in columns.items()}
                for level in _levels(store)
            },
            **of_a_portable,
        },
    )


def _activities(columns: Iterable[str], table: Table, alike: list[Demand], locale: Locale) -> tuple[Choice, ...]:
    if ANY in columns:
        words = lines(*(activity_words(one.activity, locale) for one in alike))
        return (Choice(ANY, words, demand_words(alike[0], locale)),)
    return tuple(Choice(name, column.head, column.below) for name, column in zip(columns, table.columns, strict=True))


def _levels(store: Store) -> Sequence[Fraction]:
    """Return the levels of the rows of a container's table."""
    return [row.level for row in cylinder_rows(store)] if isinstance(store, GasStore) else store.levels


def _minutes(store: Store, level: Fraction, activity: Activity, made: Plan) -> int:
    """Return what the table of a container says; of a reservoir what holds for the use of a whole day."""
    daily = next((line.safe_min for line in made.supply if line.container == store.id), None)
    if daily is not None:
        return daily[level]
    return next(
        found.safe_min
        for found in made.windows
        if (found.container, found.level, found.demand.activity) == (store.id, level, activity)
    )


def _trips(store: LiquidStore, level: Fraction, case: Case, made: Plan, locale: Locale) -> dict[int, list[Any]]:
    found = trips(case, store, made.margins, level)
    return {
        trip.way_min: [
            *trip_tables.stay_minutes(trip, found),
            str(trip_tables.home_mark(trip, locale)),
        ]
        for trip in found.trips
    }


def figures_json(found: Sequence[Container], locale: Locale) -> Markup:
    """Return the figures of all containers, and each time among them in words, for the script."""
    of = {one.id: one.figures for one in found}
    words = {told: str(locale.duration(told)) for told in sorted(set(_told_minutes(of)))}
    words[0] = str(trip_tables.stay_words(0, locale))
    far = str(trip_tables.stay_words(None, locale))
    # What could end the element is spelled otherwise; the rest is plain JSON.
    text = json.dumps({"words": words, "far": far, "of": of}, ensure_ascii=False, separators=(",", ":"))
    return Markup(text.replace("&", "\\u0026").replace("<", "\\u003c"))


def _told_minutes(part: object) -> Iterator[int]:
    """Yield every figure below a part."""
    if isinstance(part, dict):
        for inner in part.values():
            yield from _told_minutes(inner)
    elif isinstance(part, list | tuple):
        for inner in part:
            yield from _told_minutes(inner)
    elif isinstance(part, int) and part:
        yield part


# ── the pages ───────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True)
class Place:
    """Where a page stands, for links that hold behind any host and folder."""

    code: str
    """The code as the address spells it."""
    up: str
    """The way from the page to the folder ``t/``."""

    @property
    def here(self) -> str:
        """The way from the page to the folder of its code, which is too long to stand in each link."""
        parts, climbs = self.code.split("/"), self.up.count("../")
        return "/".join(parts[climbs:]) or "/".join([".."] * (climbs - len(parts))) or "."


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


def table_page(case: Case, made: Plan, locale: Locale, place: Place, *, out_of_date: bool) -> str:
    """Return the page of a code.

    Args:
        out_of_date: whether the review date has passed.
    """
    found = containers(case, made, locale)
    told = tables.awake(made)
    composer = Composer(case, made, locale, None)
    return web_page(
        "web/table.html.jinja",
        locale,
        case=case,
        made=made,
        v=composer.values,
        steady=tables.steady(told, locale),
        standing=tables.standing(told, locale),
        trips=trip_tables.trips(made, locale),
        first_page=blocks_html(composer.section("first-page"), locale.tag),
        title_of=lambda name: locale.say(title(name)),
        calls=calls(case, locale),
        place=place,
        containers=found,
        figures=figures_json(found, locale),
        gauge_id=_gauge_id,
        clock=Run("00:00", direction="auto"),
        gauges=_gauges(locale, tuple(dict.fromkeys(drawn for one in found for drawn in _drawn(one.table)))),
        languages=languages(locale.region),
        out_of_date=out_of_date,
    )


def full_guide(case: Case, made: Plan, locale: Locale, place: Place, *, out_of_date: bool) -> str:
    """Return the whole guide of a code: without a name, and without a QR code, which has already been scanned.

    Args:
        out_of_date: whether the review date has passed.
    """
    return html(
        document("guide", case, made, locale, None),
        "web/guide.html.jinja",
        _=locale.say,
        v=values(case, made, locale),
        review_date=case.prescription.review_date,
        place=place,
        out_of_date=out_of_date,
    )


def deliveries(case: Case, made: Plan, locale: Locale) -> bytes:
    """Return the deliveries of a code as a file for the phone's calendar."""
    return calendar_file(case, made, locale)


def manifest(locale: Locale, place: Place) -> str:
    """Return what a phone needs to keep the page of one language on its home screen."""
    return json.dumps(
        {
            "name": str(locale.say("How long your oxygen lasts")),
            "lang": locale.tag,
            "dir": locale.direction,
            "display": "standalone",
            # The manifest lies where a host shows the page of its folder; other languages lie beside it.
            "start_url": "./",
            "scope": "../../",
            "icons": [{"src": f"{place.up}icon.svg", "sizes": "any", "type": "image/svg+xml"}],
        },
        ensure_ascii=False,
    )


_DECIMALS = re.compile(r"\d+\.\d+")
# Without its outermost group: what that says of the pen stands once, in the style of ``.gauge``.
_SVG = re.compile(r'<svg[^>]* viewBox="([^"]*)"[^>]*><g [^>]*>(.*)</g></svg>')


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
        # A tenth of a unit of the drawing cannot be seen, and the page has to stay small.
        svg = _DECIMALS.sub(
            lambda number: f"{round(float(number[0]), 1):g}",
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
