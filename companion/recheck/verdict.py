"""Whether a guide holds: what is read on it and in it, against the plan of its own code and the order of today."""

import datetime as dt
from collections import Counter
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any, Literal

from companion.case.model import Case
from companion.errors import CaseError, LinkError, harmless
from companion.guide import beside_tables, tables, trip_tables
from companion.guide.sheet_names import SHEETS
from companion.guide.sheets import document
from companion.language.catalogue import SOURCE, available
from companion.language.locale import Bilingual, Locale
from companion.link.carried import opened
from companion.link.code import decode, version_of
from companion.link.keys import Keys
from companion.link.layouts import values_of
from companion.recheck.apart import read_apart
from companion.recheck.paper import Paper, RecheckError, words_of_page, words_of_pdf
from companion.recheck.read_out import count_of, figures_read
from companion.reckoning.figures import Figures, changes, figures, stamp
from companion.reckoning.plan import Plan, plan
from companion.render.html import html
from companion.render.pdf import pdf

_SHEETS = (*SHEETS, "table")

MOST_FIGURES = 10_000
"""On one sheet. A guide in two languages has fewer than 1,000."""

ONLY_THE_CODE = "Only the code was read here, not the times beside it: compare those with the figures of today's guide."


@dataclass(frozen=True)
class Verdict:
    """How a guide stands today."""

    state: Literal["same", "stale", "not ours"]
    reasons: tuple[str, ...] = ()
    """What differs."""
    looked_at: str = ""
    """What was compared, in a sentence."""


def recheck(path: Path, keys: Keys, today: dt.date, order: Case | None = None) -> Verdict:
    """Compute a guide again from the code that it carries, and hold what stands on it against that.

    Args:
        path: the guide as HTML or PDF, or a picture in which its QR code can be seen.
        keys: the clinic's keys.
        today: the day for which the guide must still hold.
        order: what is ordered today, if the guide is to be held against that as well.

    Raises:
        RecheckError: the file cannot be read.
    """
    paper = read_apart(path)
    code = paper.hidden.get("code") or paper.code
    if not code:
        return Verdict("not ours", ("It carries no code of ours that can be read.",))
    try:
        case = decode(code, keys)
    except LinkError as error:
        if isinstance(error.__cause__, CaseError):
            faults = tuple(f"{fault.where}: {fault.problem}" for fault in error.__cause__.faults)
            return Verdict("stale", ("Today's checks refuse it.", *faults))
        return Verdict("not ours", (str(error),))
    planned = plan(case)
    reasons = _carried(paper, code, keys, figures(case, planned))
    looked_at = ONLY_THE_CODE
    if paper.text.strip():
        on_paper = figures_read(paper.text)
        if len(on_paper) > MOST_FIGURES:
            raise RecheckError(f"{path} holds more figures than any guide.")
        reasons += _printed(on_paper, paper, case, planned)
        looked_at = f"Read: its code, and {len(on_paper)} times, pressures and flows that stand on it."
    if today > case.prescription.review_date:
        reasons.append(f"The order was to be reviewed by {case.prescription.review_date}.")
    if order is not None:
        reasons += _ordered_anew(case, order)
    return Verdict("stale" if reasons else "same", tuple(map(harmless, reasons)), looked_at)


def _carried(paper: Paper, code: str, keys: Keys, now: Figures) -> list[str]:
    """Return what differs in the figures that a guide carries unseen."""
    if "figures" in paper.hidden:
        then, sealed = opened(code, paper.hidden["figures"], keys)
        # A guide with a code of version 1 was made before its figures were sealed.
        if not sealed and version_of(code) > 1:
            return ["The figures that its file carries were changed after it was made."]
        return changes(then, now)
    if "code" in paper.hidden:
        return ["Its file carries a code and no figures, as no guide of ours does."]
    if paper.stamp == stamp(now):
        return []
    return [
        "Its figures are not today's. From the code alone it cannot be seen which; today's are:",
        *(f"{name}: {value}" for name, value in now.items()),
    ]


# ── what stands on the paper ────────────────────────────────────────────────────────────────────


def _printed(on_paper: list[str], paper: Paper, case: Case, planned: Plan) -> list[str]:
    """Return what a reader of a sheet meets on it and would not meet on today's."""
    name, *tags = paper.hidden.get("sheet", "").split(" ")
    first, *second = [Locale(tag, case.clinic.region) for tag in tags if tag in available()] or [
        Locale(SOURCE, case.clinic.region)
    ]
    locale = Bilingual(first.tag, first.region, second[0]) if second else first
    # A sheet that has lost what it carried unseen is the one that it is most like.
    names = [name] if name in _SHEETS else _SHEETS
    return min((_printed_as(name, locale, on_paper, paper, case, planned) for name in names), key=len)


def _printed_as(sheet: str, locale: Locale, on_paper: list[str], paper: Paper, case: Case, planned: Plan) -> list[str]:
    kind = next(kind for kind in _SHEETS if kind == sheet)
    page = document(kind, case, planned, locale, None)
    on_page = figures_read(words_of_page(html(page)))
    # What a PDF says is read out of a PDF of today: in some scripts its words come out in another order.
    today = figures_read(words_of_pdf(pdf(page, case.issued))) if paper.is_pdf else on_page
    reasons = [f"On it stands {figure}; today's has no such figure." for figure in _without(on_paper, today)]
    in_rows = True
    for table, rows in _tables(case, planned, locale):
        whole = [*chain(*rows)]
        in_rows &= count_of(whole, today) >= count_of(whole, on_page)
        if count_of(whole, on_paper) < count_of(whole, today):
            missing = [row for row in rows if count_of(row, on_paper) < count_of(row, today)]
            reasons += [f"{table}: today's row {' | '.join(row)} is not on it." for row in missing]
            reasons += [] if missing else [f"{table}: its rows stand in another order than today's."]
    if not in_rows and Counter(on_paper) != Counter(today):
        reasons.append("Not every figure stands on it as often as on today's.")
    return list(dict.fromkeys(reasons))


def _without(figures: list[str], known: list[str]) -> list[str]:
    return [figure for figure in dict.fromkeys(figures) if figure not in set(known)]


def _tables(case: Case, planned: Plan, locale: Locale) -> list[tuple[str, list[list[str]]]]:
    """Return each table that a sheet can have: its name in English, and the figures of its rows."""
    # Some sheets leave out the times asleep on a portable.
    names, here = (
        [
            table
            for shown in (planned, tables.awake(planned))
            for table in (
                *tables.all_durations(shown, spelled),
                *tables.steady(shown, spelled),
                *tables.standing(shown, spelled),
                *trip_tables.trips(shown, spelled),
            )
        ]
        for spelled in (Locale(SOURCE, case.clinic.region), locale)
    )
    return [
        *((str(name.caption), _rows(table)) for name, table in zip(names, here, strict=True)),
        *(("Fridge sheet", _rows(table)) for table in beside_tables.all_of(case, planned, locale)),
    ]


def _rows(table: tables.Table) -> list[list[str]]:
    rows = (
        figures_read(" ".join(str(speech) for text in (row.head, *row.cells) for speech in text.speeches))
        for row in table.rows
    )
    return [row for row in rows if row]


# ── what is ordered today ───────────────────────────────────────────────────────────────────────


def _ordered_anew(case: Case, order: Case) -> list[str]:
    """Return which fields of today's order are not those of the code; the day of making is none of the order."""
    then, now = _flat(values_of(case)), _flat(values_of(order))
    return [
        f"{path} in today's case: {then.get(path, 'nothing')} → {now.get(path, 'nothing')}"
        for path in dict.fromkeys([*then, *now])
        if then.get(path) != now.get(path) and path != "issued"
    ]


def _flat(value: Any, here: str = "") -> dict[str, str]:
    """Return values by their path, as messages spell it: ``portable[1].boil_off``."""
    if isinstance(value, dict):
        inner = {f"{here}.{name}" if here else name: part for name, part in value.items()}
    elif isinstance(value, list):
        inner = {f"{here}[{place}]": part for place, part in enumerate(value, start=1)}
    else:
        return {here: str(value)}
    return {path: text for step, part in inner.items() for path, text in _flat(part, step).items()}
