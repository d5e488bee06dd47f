"""The duration table for other programs and for a terminal."""

import csv
import dataclasses
import datetime as dt
import io
import json
from collections.abc import Mapping, Sequence
from typing import Any

from companion.case.model import Case
from companion.export.json import as_json
from companion.guide import tables, trip_tables
from companion.guide.outing_words import outing_words
from companion.guide.values import values
from companion.language.catalogue import SOURCE
from companion.language.locale import Locale
from companion.reckoning.outing import Outing
from companion.reckoning.plan import Plan
from companion.reckoning.supply import ReservoirSupply


def as_json_text(made: Plan, case: Case, today: dt.date) -> str:
    """Return the plan as JSON; ``companion.export.json.as_json`` describes the contract."""
    return json.dumps(as_json(made, case, today), indent=2, ensure_ascii=False) + "\n"


CSV_COLUMNS = (
    "container",
    "kind",
    "level",
    "gauge_shows",
    "activity",
    "mode",
    "flow_l_min",
    "nominal_min",
    "safe_min",
    "safe_alone_min",
    "printed",
)


def as_csv(made: Plan, case: Case) -> str:
    """Return the windows of the JSON as CSV (RFC 4180), one a line, with a head line; ``printed`` is yes or no."""
    out = io.StringIO()
    writer = csv.DictWriter(out, CSV_COLUMNS, extrasaction="ignore")
    writer.writeheader()
    held = as_json(made, case)
    writer.writerows(
        window | {"printed": "yes" if window["printed"] else "no"}
        for window in (*held["windows"], *held["steady_windows"])
    )
    return out.getvalue()


def as_text(made: Plan, locale: Locale) -> str:
    """Return the patient's tables in plain lines for a terminal."""
    lines = []
    for table in [
        *tables.all_durations(made, locale),
        *tables.steady(made, locale),
        *tables.standing(made, locale),
        *trip_tables.trips(made, locale),
    ]:
        heads = [str(table.corner), *(column.label() for column in table.columns)]
        body = [[str(row.head), *map(str, row.cells)] for row in table.rows]
        lines += [str(table.caption), ""]
        lines += _columns(*(tuple(line) for line in [heads, *body]))
        lines.append("")
    return "\n".join(lines)


def outing_text(found: Outing, locale: Locale) -> str:
    """Return what one portable does for an outing, in plain lines for a terminal."""
    return "\n".join(str(line) for line in outing_words(found, locale))


def outing_json_text(found: Outing, notices: Sequence[Mapping[str, Any]]) -> str:
    """Return the answer as JSON: each field of ``Outing``, with ``enough``, the answer in one word, and the notices."""
    return json.dumps({"enough": found.enough, **dataclasses.asdict(found), "notices": notices}, indent=2) + "\n"


def supply_text(made: Plan, case: Case) -> str:
    """Return the supply plan in plain lines for the clinic and the supplier."""
    lines = []
    for line in made.supply:
        lines += [
            f"{line.container}, alone in use",
            *_columns(
                ("litres of gas a day", "as ordered", "at the worst"),
                *(
                    (f"breathed, {activity}", _litres(litres), _litres(worst))
                    for (activity, litres), worst in zip(
                        line.nominal.direct_by_activity.items(),
                        line.worst.direct_by_activity.values(),
                        strict=True,
                    )
                ),
                ("cold fills", _litres(line.nominal.cold_fills), _litres(line.worst.cold_fills)),
                ("warm fills", _litres(line.nominal.warm_fills), _litres(line.worst.warm_fills)),
                ("standing loss", _litres(line.nominal.standing), _litres(line.worst.standing)),
                ("in all", _litres(line.nominal.total), _litres(line.worst.total)),
            ),
            f"  A day at home, with no portable filled, takes {_litres(line.at_home.total)} at the worst.",
            "",
            *_columns(
                ("from a reading of full, at the worst", "days to mark", "days to empty", "call at"),
                _supply_row("as ordered", line),
                *(
                    _supply_row(what.change, what.supply)
                    for what in made.what_if
                    if what.supply.container == line.container
                ),
            ),
            f"  A delivery, with closed days and what is kept beyond it, may take {made.bridge_days:g} days.",
            *(("  WARNING: no reading below full lasts that long.",) if line.call_mark is None else ()),
            "",
        ]
    rule = values(case, made, Locale(SOURCE, case.clinic.region)).call_rule
    lines += [f"The guide says: {rule}", ""]
    lines += [*_backup_lines(made), "", f"Deliveries, if the reservoir is full on {case.issued}"]
    lines += _columns(
        ("call by", "expected by", "", ""),
        *(
            (
                str(coming.call_by or "no call"),
                str(coming.expected),
                "" if coming.in_time else "WARNING: too late",
                "a public holiday: ask" if coming.day_off else "",
            )
            for coming in made.deliveries
        ),
    )
    run = [dict(notice.values) for notice in made.notices if notice.code == "closed days short"]
    lines += [
        f"WARNING: the calendar has {held['days']} days in a row without deliveries; 'closed_days' says "
        f"{held['stated']}."
        for held in run
    ]
    return "\n".join(lines) + "\n"


def _backup_lines(made: Plan) -> list[str]:
    wait_h = made.wait_min // 60
    if not made.backup_min:
        return ["Back-up: WARNING: there is none."]
    shortest = min(made.backup_min.values())
    lines = [f"Back-up: it lasts {shortest / 60:g} h; the delivery may take {wait_h} h."]
    if shortest < wait_h * 60:
        lines.append("WARNING: the back-up does not last until a delivery.")
        lines += [f"  {count} of {container} would." for container, count in made.backup_needed.items()]
    return lines


def _supply_row(name: str, line: ReservoirSupply) -> tuple[str, ...]:
    to_mark = "none" if line.days_to_mark is None else str(line.days_to_mark)
    return name, to_mark, str(line.days_to_empty), line.call_at


def _litres(litres: float) -> str:
    return f"{litres:.0f}"


def _columns(*grid: tuple[str, ...]) -> list[str]:
    widths = [max(len(line[place]) for line in grid) for place in range(len(grid[0]))]
    padded = ([cell.ljust(width) for cell, width in zip(line, widths, strict=True)] for line in grid)
    return ["  " + "   ".join(line).rstrip() for line in padded]


def supply_json_text(made: Plan, case: Case, today: dt.date) -> str:
    """Return the supply part of the plan as JSON, in the words of ``companion.export.json.as_json``."""
    wanted = ("issued", "supply", "what_if", "call", "deliveries", "backup_min", "backup_needed", "notices")
    held = as_json(made, case, today)
    return json.dumps({name: held[name] for name in wanted}, indent=2, ensure_ascii=False) + "\n"
