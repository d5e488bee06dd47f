"""The clinician's copy: every input, every constant with its source, each deduction, and the warnings.

It is in English. Only the teach-back questions stand in the patient's language as well.
"""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from markupsafe import Markup
from pydantic import BaseModel

from companion.case.model import Case
from companion.export.json import basis
from companion.facts import oxygen
from companion.facts.region import REGIONS, SOURCES
from companion.guide.deductions import Grid, backup, container_words, nights, windows
from companion.guide.teach_back import Question, teach_back
from companion.guide.values import values
from companion.language.locale import SOURCE, Locale
from companion.reckoning.containers import GasStore, LiquidStore, level_name
from companion.reckoning.notices import Notice, NoticeCode
from companion.reckoning.plan import Plan

NOTICES: dict[NoticeCode, str] = {
    "few hours": "Oxygen is ordered for {hours} hours a day. Guidelines for long-term oxygen ask for at least "
    "15 hours (ATS 2020). Ask the prescriber whether this is meant.",
    "no economiser": "{container}: it has no economiser, or nobody has said that it has one. Flow and boil-off are "
    "counted together, so its times are the shorter ones. Ask the supplier.",
    "no call mark": "{container}: no reading below full is sure to last until a delivery comes. Full, it lasts {days} "
    "days at the worst; the longest wait with what is kept beyond it is {needed} days. The guide tells the patient to "
    "agree on each delivery with the one before. Each reservoir is judged as if it were the only one in use. A second "
    "one, kept full beside it, helps as well.",
    "no call mark on a round": "{container}: no reading below full is sure to last until an extra delivery comes. "
    "Full, it lasts {days} days at the worst; the longest wait is {needed} days. If the supplier misses a round, the "
    "patient depends on the back-up. Each reservoir is judged as if it were the only one in use.",
    "round too long": "{container}: full, it lasts {days} days at the worst; the supplier comes every {gap} days. With "
    "what is kept beyond a delivery, {most} days between two rounds are the most. Ask the supplier to come more often.",
    "larger reservoir": "{container}: a reservoir of at least {kg} kg of oxygen ({litres} L of liquid), with the same "
    "boil-off and gauge, would do.",
    "shorter wait": "A wait of at most {wait} from a call to its delivery, days off included, would do.",
    "a round instead": "Or a supplier who comes without a call, at most {between} apart.",
    "no backup": "There is no back-up cylinder. Liquid oxygen evaporates and is no store for an emergency. Agree with "
    "the supplier and the prescriber what the patient does if the reservoir fails.",
    "backup short": "All full cylinders together last {minutes} in the activity that uses most. A delivery "
    "can take {hours} hours. Ask the supplier for more or larger cylinders.",
    "portable useless": "{container}: even full it gives no time that can be promised in this activity: {activity}. "
    "Ask the supplier for another portable, or the prescriber.",
    "cylinder useless": "{container}: even full it gives no time that can be promised in this activity: {activity}. "
    "Ask the supplier for a larger cylinder.",
    "no steady time": "{container}: when its pulses fail, even full it gives no time that can be promised on the "
    "steady flow in this activity: {activity}. Ask the supplier for another container, and plan a second source for "
    "outings.",
    "fills short": "The hours ordered on a portable are more than its fills a day give for certain. Ask how often it "
    "can be filled, or plan for a second portable.",
    "pauses short": "If the hours on a portable are spread over {hours} hours, what boils off in the pauses is more "
    "than its fills a day give for certain. Ask how the hours are spread, and how often it can be filled.",
    "night on portable": "{container}: full, it lasts {minutes} asleep at the worst, and {asleep} of sleep are ordered "
    "on it. The guide tells the patient to change to the reservoir before going to sleep. Ask the prescriber, or the "
    "supplier for a larger portable.",
    "night on cylinder": "{container}: one full cylinder lasts {minutes} asleep at the worst, and {asleep} of sleep "
    "are ordered. In a night on the back-up somebody must change the cylinder, this often: {changes}. Agree with the "
    "patient who does that, or ask the supplier for larger cylinders.",
    "no working pressure": "{container}: its working pressure is not stated. The highest of any home container was "
    "counted, so its times are the shorter ones. Ask the supplier.",
    "high flow": "{flow} is ordered in this activity: {activity}. Above {limit} liquid equipment may ice up or not "
    "keep its pressure. Ask the supplier whether it gives this flow for hours.",
    "altitude": "The patient lives at {altitude} above the sea. Ask the prescriber whether the flow was set at that "
    "height. A container that is carried up loses a little on the way; no time was made longer.",
    "no emergency number": "No ambulance number is held for the region {region}, because the sources disagree. Set "
    "'emergency_number' in the clinic's policy; until then the guide names none.",
    "no fire number": "No number of the fire service is held for the region {region}, because the sources disagree. "
    "Set 'fire_number' in the clinic's policy; until then the guide names none.",
    "closed days short": "The calendar until the review date has {days} days in a row without deliveries; the case "
    "says {stated}. Ask the supplier, and put the larger figure into the case.",
    "delivery late": "The delivery expected on {date} comes after the clinic's spare days have begun. Ask the supplier "
    "for an earlier one.",
    "round on a day off": "The round of {date} falls on a public holiday, and is counted as not coming. Ask the "
    "supplier on which day they come instead, and tell the patient.",
    "no subdivision": "The case does not say in which part of {region} the patient lives, so the public holidays of "
    "every part count as days off. With 'subdivision' the waits may be shorter.",
    "no margin": "The clinic's policy sets to 0: {margins}. Nothing is taken off for that, so a time may be longer "
    "than what the patient gets. Set it again, unless somebody has decided otherwise.",
}
"""What each notice of a plan says to the clinician."""

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


@dataclass(frozen=True)
class ClinicianCopy:
    """All that the clinician's copy prints, in the order in which it stands there."""

    patient_locale: Locale
    notices: tuple[str, ...]
    inputs: tuple[Grid, ...]
    windows: tuple[Grid, ...]
    standing: tuple[Grid, ...]
    supply: tuple[Grid, ...]
    backup: Grid | None
    nights: Grid | None
    constants: tuple[Grid, ...]
    teach_back: tuple[tuple[str, tuple[tuple[Question, Question | None], ...]], ...]
    """Title and questions of each chunk; the second of a pair is in English where the first is not."""
    show_me: tuple[str, ...]


def clinician_copy(case: Case, made: Plan, locale: Locale) -> ClinicianCopy:
    """Gather the clinician's copy of a case whose guide is in the language ``locale``."""
    english = Locale(SOURCE, locale.region)
    kinds = {"all"} | {store.kind for store in made.stores}
    return ClinicianCopy(
        patient_locale=locale,
        notices=tuple(notice_words(notice) for notice in made.notices),
        inputs=tuple(_inputs(case)),
        windows=tuple(windows(made, english)),
        standing=tuple(_standing(made, english)),
        supply=(_daily_use(made), _supply(made, english), _what_if(made)),
        backup=backup(made, english) if made.backup_min else None,
        nights=nights(made, english) if made.nights else None,
        constants=(_contents(made), _facts(case, made), _settings(case, made, english)),
        teach_back=_teach_back(case, made, locale, english),
        show_me=tuple(words for words, kind in SHOW_ME if kind in kinds),
    )


def notice_words(notice: Notice) -> str:
    """Return the sentences of one notice."""
    held = dict(notice.values)
    if "container" in held:
        held["container"] = container_words(held["container"])
    if "margins" in held:
        held["margins"] = ", ".join(margin.replace("_", " ") for margin in held["margins"])
    for name in ("wait", "between"):
        if name in held:
            held[name] = f"{held[name]} day{'' if held[name] == 1 else 's'}"
    for name in ("hours", "needed"):
        if name in held:
            held[name] = f"{held[name]:.4g}"
    for name in ("minutes", "asleep"):
        if name in held:
            hours, minutes = divmod(round(held[name]), 60)
            held[name] = f"{hours} h {minutes} min"
    return NOTICES[notice.code].format(**held)


# ── what was entered ────────────────────────────────────────────────────────────────────────────


def _inputs(case: Case) -> Iterator[Grid]:
    """Yield every field of a case, part by part, by walking the model, so that none is left out."""
    for name, field in Case.model_fields.items():
        value = getattr(case, name)
        title = name.capitalize()
        if isinstance(value, BaseModel):
            yield _part(title, _fields(value))
        elif isinstance(value, list) and value and isinstance(value[0], BaseModel):
            yield from (_part(f"{title} {place}", _fields(item)) for place, item in enumerate(value, start=1))
        else:
            origin = "entered" if value else "not given"
            yield _part(title, iter([(name, _spelled(value), origin, field.description or "")]))


def _part(title: str, rows: Iterator[tuple[str, ...]]) -> Grid:
    return Grid(title, ("Field", "Value", "From", "What it is"), tuple(rows), "2.2 2.4 0.95 4.5", "wwwn")


def _fields(model: BaseModel, within: str = "") -> Iterator[tuple[str, ...]]:
    for name, field in type(model).model_fields.items():
        value = getattr(model, name)
        label = f"{within}{name.replace('_', ' ')}"
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
    if isinstance(value, Decimal):
        return f"{value:f}"
    return str(value)


# ── what was computed ───────────────────────────────────────────────────────────────────────────


def _standing(made: Plan, locale: Locale) -> Iterator[Grid]:
    for line in made.standing:
        activities = tuple(line.rows[0].safe_min)
        yield Grid(
            f"{container_words(line.container)}: nothing can be relied on after {line.empty_after_hours} hours",
            ("Waited", "Oxygen left, nominal", *(f"Safe, {activity}" for activity in activities)),
            tuple(
                (
                    locale.hours(row.hours),
                    f"{row.left_kg:.3f} kg",
                    *(locale.duration(row.safe_min[activity]) for activity in activities),
                )
                for row in line.rows
            ),
            " ".join("1" for _ in range(2 + len(activities))),
            "w" * (2 + len(activities)),
        )


def _daily_use(made: Plan) -> Grid:
    return Grid(
        "Daily use of each reservoir, in litres of gas",
        ("Reservoir", "Figure", "Breathed from it", "Cold fills", "Warm fills", "Boiled off", "Total"),
        tuple(
            (
                container_words(line.container),
                name,
                *(f"{part:.0f}" for part in (use.direct, use.cold_fills, use.warm_fills, use.standing, use.total)),
            )
            for line in made.supply
            for name, use in (("nominal", line.nominal), ("worst", line.worst))
        ),
        "1.3 1 1.2 1 1 1 1",
        "wwfffff",
    )


def _supply(made: Plan, locale: Locale) -> Grid:
    return Grid(
        f"How long each lasts alone; the wait for a delivery with what is kept is {made.bridge_days:g} days",
        ("Reservoir", "Days, nominal", "Days, worst", "Call at", "Days to it", "Safe, by gauge", "Bridges a delivery"),
        tuple(
            (
                container_words(line.container),
                f"{line.days_nominal:.1f}",
                str(line.days_to_empty),
                line.call_at,
                "none" if line.days_to_mark is None else str(line.days_to_mark),
                Markup("; ").join(
                    Markup("{}: {}").format(level_name(level), locale.duration(minutes))
                    for level, minutes in line.safe_min.items()
                ),
                "yes" if line.covers_delivery else "no",
            )
            for line in made.supply
        ),
        "1.2 0.9 0.9 0.7 1 3.2 1.1",
        "wffwfww",
    )


def _what_if(made: Plan) -> Grid:
    return Grid(
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
        "1.2 2 1 1 1.2",
        "wwfww",
    )


# ── what the figures rest on ────────────────────────────────────────────────────────────────────


def _contents(made: Plan) -> Grid:
    def row(store: LiquidStore | GasStore) -> tuple[str, ...]:
        if isinstance(store, LiquidStore):
            rule = "the greater of flow and boil-off" if store.economiser else "flow and boil-off together"
            return (
                container_words(store.id),
                f"{store.full_kg:.2f} kg = {store.full_litres:.0f} L; "
                f"{store.vapour_share:.1%} of it stays as vapour; filled, at most {store.most_kg:.2f} kg",
                f"{store.boil_off_l_min:.3f} L/min",
                rule,
                f"{store.division:.3f} of full",
            )
        return (
            f"{container_words(store.id)} (each of {store.count})",
            f"{store.full_litres:.0f} L at {store.full_psi:.0f} psi",
            "none",
            f"the flow; {store.reserve_psi:.0f} psi stay in",
            f"{store.division_psi:.0f} psi",
        )

    return Grid(
        "What each container holds and loses",
        ("Container", "Oxygen when full", "Boil-off", "Lost in a minute of use", "One division"),
        tuple(row(store) for store in made.stores),
        "1.5 2 1.1 2.2 1.2",
        "wwwww",
    )


def _facts(case: Case, made: Plan) -> Grid:
    return Grid(
        "Constants",
        ("Constant", "Value", "Source"),
        (
            *((fact.name, f"{fact.value} {fact.unit}".strip(), fact.source) for fact in oxygen.FACTS),
            ("Rounding of times", basis(made, case)["rounding"], "choice: a time is never overstated"),
        ),
        "2.4 2.4 3.6",
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

    rows: tuple[tuple[str, str | Markup | None, str], ...] = (
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
    return Grid(
        f"Settings of the region {case.clinic.region} in the words of the guide",
        ("Setting", "Value", "Source"),
        tuple((name, value or none, told) for name, value, told in rows),
        "2.4 2.4 3.6",
        "wwn",
    )


def _teach_back(
    case: Case, made: Plan, locale: Locale, english: Locale
) -> tuple[tuple[str, tuple[tuple[Question, Question | None], ...]], ...]:
    asked = teach_back(case, made, locale)
    if locale.tag == SOURCE:
        return tuple((chunk.title, tuple((question, None) for question in chunk.questions)) for chunk in asked)
    return tuple(
        (chunk.title, tuple(zip(chunk.questions, same.questions, strict=True)))
        for chunk, same in zip(asked, teach_back(case, made, english), strict=True)
    )
