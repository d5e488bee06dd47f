"""The clinician's copy: the warnings, the order, what was computed, each deduction, every input, every constant.

Its head, the warnings and the order stand here; the rest comes from the modules beside it.
It is in English. Only the teach-back questions stand in the patient's language as well.
"""

from collections.abc import Iterator

from companion.case.model import Case
from companion.case.prescription import Activity, ActivityOrder
from companion.guide.annex import annex
from companion.guide.computed import contents, daily_use, standing, supply, what_if
from companion.guide.deductions import backup, nights, windows
from companion.guide.document import Block, Columns, Grid, Heading, Items, Paragraph, Section
from companion.guide.grids import entered_words, grid, in_english
from companion.guide.notice_words import notice_words
from companion.guide.teach_back_record import teach_back_record
from companion.language.catalogue import SOURCE
from companion.language.locale import Locale
from companion.language.said import Run, typed
from companion.reckoning.plan import Plan


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
            contents(case, made),
            supply(made),
            daily_use(made),
            what_if(made),
            *standing(made),
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
        Section(tuple(teach_back_record(case, made, locale, english)), manner="page"),
        Section(tuple(annex(case, made, english)), manner="page"),
    ]


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
            Run(f"Worn: {order.interface}. Humidifier: {entered_words(order.humidifier)}. "),
            Run(f"Hours off oxygen: {order.hours_off_oxygen} a day."),
        )
    )
