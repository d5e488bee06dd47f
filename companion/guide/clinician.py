"""The clinician's copy: every input, every constant with its source, each deduction, and the warnings.

It is in English. Only the teach-back questions stand in the patient's language as well.
"""

import datetime as dt
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Literal

from pydantic import BaseModel

from companion.case.model import Case
from companion.case.prescription import Activity, ActivityOrder
from companion.export.json import basis
from companion.facts import oxygen
from companion.facts.region import REGIONS, SOURCES
from companion.guide.deductions import backup, nights, windows
from companion.guide.document import Block, Columns, Form, Grid, Heading, Items, Paragraph, Section
from companion.guide.grids import Words, container_words, grid, in_english, time_words
from companion.guide.notice_words import notice_words
from companion.guide.teach_back import teach_back
from companion.guide.values import values
from companion.language.catalogue import SOURCE
from companion.language.locale import Locale
from companion.language.said import Run, Said, Value, joined, runs_of, typed
from companion.reckoning.containers import GasStore, LiquidStore, level_name
from companion.reckoning.plan import Plan

SHOW_ME = (
    ("Reads the gauge of each container as it must be read", "all"),
    ("Sets the flow that was ordered, and turns it off after use", "all"),
    ("Finds the row and the column for what they do, and says the time", "all"),
    ("Fills the portable, if the supplier has taught it", "portable"),
    ("Closes the portable and keeps it upright", "portable"),
    ("Changes over to a cylinder and opens its valve slowly", "cylinder"),
    ("Finds the phone numbers and says what to tell", "all"),
)
"""What the patient or caregiver is asked to do, and the equipment that it needs."""


def clinician_copy(case: Case, made: Plan, locale: Locale) -> list[Block]:
    """Return the clinician's copy of a case whose guide is in the language ``locale``."""
    english = Locale(SOURCE, locale.region)
    beside: list[Block] = (
        [backup(made)] if made.backup_min else [Paragraph(in_english("There is no back-up cylinder."))]
    )
    if made.nights:
        beside.append(nights(made))
    return [
        *_head(case, locale),
        _section("Before you hand it over", *_notices(made)),
        _section("What was ordered", _ordered(case), _also_ordered(case, english)),
        _section(
            "What there is, and how long it lasts",
            _contents(case, made),
            _supply(made),
            _daily_use(made),
            _what_if(made),
            *_standing(made),
            Columns(tuple((block,) for block in beside)),
        ),
        _section(
            "What was taken off each time",
            "In minutes, by gauge reading: content divided by use, then each margin in the order of the columns. "
            "Vapour: cold gas that stays when the liquid is gone. Real gas: a cylinder holds less at low pressure than "
            "in proportion to it. Warm: a warm cylinder shows too much. Misread, gauge: the gauge may be misread, or "
            "wrong itself; the greater of the two counts. Stays in: what must stay in a cylinder. Boil-off, "
            "flow, pulse: there may be more. Breaths: they may come faster. Home: held back to get home. Round: "
            "down. For a reservoir the patient's copy gives the days of daily use above instead.",
            *windows(made),
        ),
        Section(tuple(_teach_back(case, made, locale, english)), manner="page"),
        Section(tuple(_annex(case, made, english)), manner="page"),
    ]


def _annex(case: Case, made: Plan, english: Locale) -> Iterator[Block]:
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


def _section(heading: str, *blocks: Block | str) -> Section:
    return Section(
        (
            Heading(2, in_english(heading)),
            *(Paragraph(in_english(block)) if isinstance(block, str) else block for block in blocks),
        )
    )


def _head(case: Case, locale: Locale) -> Iterator[Block]:
    english = Locale(SOURCE, locale.region)
    yield Heading(1, in_english("Clinician's copy: home liquid oxygen"))
    if case.patient.name:
        yield Paragraph(english.alone(Run("For "), typed(case.patient.name)), "for")
    unreviewed = "; no qualified translator has reviewed that translation yet, so go through it with an interpreter"
    yield Paragraph(
        english.alone(
            Run(f"Made on {case.issued} by "),
            typed(case.clinic.name),
            Run(f". The order is reviewed by {case.prescription.review_date}. The guide is in "),
            typed(locale.native_name),
            Run(
                f"{'' if locale.reviewed else unreviewed}. The patient's copy shows one safe figure for each reading; "
            ),
            Run("this copy shows where each comes from. Neither replaces the prescriber's order, the instructions of "),
            Run("the supplier and of the equipment, or local codes; where they differ, they hold."),
        )
    )


def _notices(made: Plan) -> Iterator[Block | str]:
    if made.notices:
        yield Items(tuple(in_english(notice_words(notice)) for notice in made.notices))
    else:
        yield "Nothing in this case needs a warning."


# ── what was ordered ────────────────────────────────────────────────────────────────────────────


def _ordered(case: Case) -> Grid:
    def row(activity: Activity, order: ActivityOrder) -> tuple[str, ...]:
        asked = (order.flow, order.pulse_setting, order.breaths_per_minute, order.hours_per_day, order.on_portable)
        return activity, *("" if value is None else str(value) for value in asked)

    return grid(
        None,
        ("Activity", "Flow", "Pulse setting", "Breaths a minute", "Hours a day", "Of these on a portable"),
        tuple(row(activity, order) for activity, order in case.prescription.orders().items()),
        "wwwwww",
    )


def _also_ordered(case: Case, english: Locale) -> Paragraph:
    order = case.prescription
    target = order.target_saturation
    return Paragraph(
        english.alone(
            Run("Prescriber: "),
            typed(order.prescriber or "not given"),
            Run(f". Target SpO₂: {f'{target.low} to {target.high} %' if target else 'none given'}. "),
            Run(f"Worn: {order.interface}. Humidifier: {_spelled(order.humidifier)}. "),
            Run(f"Hours off oxygen: {order.hours_off_oxygen} a day."),
        )
    )


# ── what was entered ────────────────────────────────────────────────────────────────────────────


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
            alone.append((name, _spelled(value), "entered" if value else "not given", field.description or ""))
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


_POLICY = "policy: "

_Part = tuple[str, list[tuple[str, ...]]]


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
        yield label, _spelled(value), origin, field.description or ""


def _spelled(value: object) -> str:
    if value is None or value == []:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return ", ".join(f"setting {setting}: {bolus}" for setting, bolus in value.items())
    if isinstance(value, list):
        return ", ".join(str(item) for item in value)
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, dt.time):
        return value.isoformat("minutes")
    if isinstance(value, Decimal):
        return f"{value:f}"
    return str(value)


# ── what was computed ───────────────────────────────────────────────────────────────────────────


def _standing(made: Plan) -> Iterator[Grid]:
    for line in made.standing:
        activities = tuple(line.rows[0].safe_min)
        yield grid(
            f"{container_words(line.container)}, full and unused: nothing can be relied on after "
            f"{line.empty_after_hours} hours",
            ("Waited", "Oxygen left, nominal", *(f"Safe, {activity}" for activity in activities)),
            tuple(
                (
                    f"{row.hours} h",
                    f"{row.left_kg:.3f} kg",
                    *(time_words(row.safe_min[activity]) for activity in activities),
                )
                for row in line.rows
            ),
            "w" * (2 + len(activities)),
        )


def _daily_use(made: Plan) -> Grid:
    return grid(
        "Daily use of each reservoir, in litres of gas",
        ("Reservoir", "Figure", "Breathed", "Cold fills", "Warm fills", "Boil-off", "Total"),
        tuple(
            (
                container_words(line.container),
                name,
                *(f"{part:.0f}" for part in (use.direct, use.cold_fills, use.warm_fills, use.standing, use.total)),
            )
            for line in made.supply
            for name, use in (
                ("nominal", line.nominal),
                ("worst", line.worst),
                *([("worst, at home all day", line.at_home)] if line.at_home.total > line.worst.total else ()),
            )
        ),
        "wwfffff",
    )


def _supply(made: Plan) -> Grid:
    return grid(
        f"How long each reservoir lasts alone; the wait for a delivery with what is kept is {made.bridge_days:g} days",
        ("Reservoir", "Days, nominal", "Days, worst", "Call at", "Days to it", "Safe, by gauge", "Bridges a delivery"),
        tuple(
            (
                container_words(line.container),
                f"{line.days_nominal:.1f}",
                str(line.days_to_empty),
                line.call_at,
                "none" if line.days_to_mark is None else str(line.days_to_mark),
                "; ".join(f"{level_name(level)}: {time_words(time)}" for level, time in line.safe_min.items()),
                "yes" if line.covers_delivery else "no",
            )
            for line in made.supply
        ),
        "wffwfww",
    )


def _what_if(made: Plan) -> Grid:
    return grid(
        "If something changes",
        ("Reservoir", "Change", "Days, worst", "Call at", "Bridges a delivery"),
        tuple(
            (
                container_words(found.supply.container),
                found.change,
                str(found.supply.days_to_empty),
                found.supply.call_at,
                "yes" if found.supply.covers_delivery else "no",
            )
            for found in made.what_if
        ),
        "wwfww",
    )


# ── what the figures rest on ────────────────────────────────────────────────────────────────────


def _contents(case: Case, made: Plan) -> Grid:
    def row(store: LiquidStore | GasStore, name: str | None) -> tuple[Words, ...]:
        called = in_english(container_words(store.id))
        if name:
            called = joined(called, Locale(SOURCE, "US").alone(typed(name)), between=": ")
        if isinstance(store, LiquidStore):
            rule = "the greater of flow and boil-off" if store.economiser else "flow and boil-off together"
            return (
                called,
                f"{store.full_kg:.2f} kg = {store.full_litres:.0f} L; "
                f"{store.vapour_share:.1%} of it stays as vapour; filled, at most {store.most_kg:.2f} kg",
                f"{store.boil_off_l_min:.3f} L/min",
                rule,
                f"{store.division:.3f} of full",
                _filled(store, case),
            )
        return (
            called,
            f"{store.full_litres:.0f} L at {store.full_psi:.0f} psi; each of {store.count}",
            "none",
            f"the flow; {store.reserve_psi:.0f} psi stay in",
            f"{store.division_psi:.0f} psi",
            "",
        )

    return grid(
        "What each container holds and loses",
        ("Container", "Oxygen when full", "Boil-off", "Lost in a minute of use", "One division", "Filled"),
        tuple(row(store, store.name) for store in made.stores),
        "wwwwww",
    )


def _filled(store: LiquidStore, case: Case) -> str:
    """Say by which coupling a container is filled; of a portable, from which reservoirs."""
    place = int(store.id.rpartition("-")[2]) - 1
    if store.kind == "reservoir":
        return f"by the supplier; {case.reservoir[place].coupling}"
    coupling = case.portable[place].coupling
    from_there = [
        f"Reservoir {number}"
        for number, item in enumerate(case.reservoir, start=1)
        if item.coupling.casefold() == coupling.casefold()
    ]
    return f"from {' or '.join(from_there)}; {coupling}"


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


def _teach_back(case: Case, made: Plan, locale: Locale, english: Locale) -> Iterator[Block]:
    kinds = {"all"} | {store.kind for store in made.stores}
    yield Heading(2, in_english("Teach-back record"))
    yield Paragraph(
        in_english(
            "Tell two or three things, then ask about them, then go on. It tests the explanation, not the patient: say "
            "that you want to be sure you explained it well. Where an answer is missing, explain it in other words or "
            "show it, and ask again."
        )
    )
    record = ("Date and place", "Who was present", "Language, interpreter", "Follow-up call, in 2 to 3 days")
    yield Form(in_english("Who was there"), tuple(map(in_english, record)), ((),), "record")
    both = [locale] if locale.tag == SOURCE else [locale, english]
    yield Form(
        in_english("Questions"),
        tuple(map(in_english, ("Ask", "The guide's answer", "Said it", "Showed it", "Taught again"))),
        tuple(
            (_beside(*(q.ask for q in asked)), _beside(*(q.expect for q in asked)))
            for asked in zip(*(teach_back(case, made, language) for language in both), strict=True)
        ),
        "ask",
    )
    show = tuple(words for words, kind in SHOW_ME if kind in kinds)
    yield _form("show", "Show me", ("Asked to show", "Showed it", "Taught again"), show)
    who = ("Clinician", "Patient or caregiver", "Interpreter")
    yield _form("signatures", "Signatures", ("Who", "Name", "Signature", "Date"), who)


def _beside(*texts: Said) -> Said:
    """Return the same text in the patient's language and, under it, in English."""
    return Said(tuple(text.first for text in texts))


def _form(manner: Literal["show", "signatures"], caption: str, heads: Sequence[str], rows: Sequence[str]) -> Form:
    return Form(
        in_english(caption), tuple(map(in_english, heads)), tuple((in_english(words),) for words in rows), manner
    )
