"""The duration table for other programs and for a terminal."""

import csv
import io
import json

from companion.case.model import Case
from companion.containers import level_name
from companion.guide import tables
from companion.locale import Locale, isolated
from companion.outing import Outing
from companion.plan import Plan, as_json


def as_json_text(made: Plan, case: Case) -> str:
    """Return the plan as JSON; ``companion.plan.as_json`` describes the contract."""
    return json.dumps(as_json(made, case), indent=2, ensure_ascii=False) + "\n"


def as_csv(made: Plan) -> str:
    """Return the windows as CSV (RFC 4180), one a line, with a head line."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(("container", "kind", "level", "activity", "mode", "flow_l_min", "nominal_min", "safe_min"))
    for found in made.windows:
        asked = found.demand
        writer.writerow(
            (
                found.container,
                found.kind,
                level_name(found.level),
                asked.activity,
                asked.mode,
                round(asked.flow_l_min, 4),
                round(found.nominal_min, 2),
                found.safe_min,
            )
        )
    return out.getvalue()


def as_text(made: Plan, locale: Locale) -> str:
    """Return the patient's tables in plain lines for a terminal."""
    lines = []
    for table in [
        *(found for kind in ("portable", "reservoir", "cylinder") for found in tables.durations(made, kind, locale)),
        *tables.standing(made, locale),
    ]:
        heads = [table.corner, *(f"{column.head} {column.below}".strip() for column in table.columns)]
        body = [[row.head, *row.cells] for row in table.rows]
        grid = [[_plain(cell) for cell in line] for line in [heads, *body]]
        widths = [max(len(line[place]) for line in grid) for place in range(len(heads))]
        lines += [_plain(table.caption), ""]
        lines += ["  " + "   ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip() for line in grid]
        lines.append("")
    return "\n".join(lines)


def outing_text(found: Outing, locale: Locale) -> str:
    """Return what one portable does for an outing, in plain lines for a terminal."""
    if found.lasts:
        lines = [
            locale.say("The portable lasts for this outing."),
            # Translators: {time} is a length of time, such as "1 hour 20 minutes"
            locale.say("At the end it still lasts at least {time}.", time=locale.duration(found.left_min)),
        ]
    else:
        lines = [locale.say("The portable does not last for this outing.")]
    if found.turn_back_after_min:
        lines.append(
            locale.say(
                "If you come back the same way, turn round after {time} at the latest.",
                time=locale.duration(found.turn_back_after_min),
            )
        )
    else:
        lines.append(locale.say("Do not start. There is not enough to come back."))
    if found.fills_needed is None:
        lines.append(locale.say("No number of full portables is enough. Ask the supplier."))
    else:
        number = isolated(found.fills_needed)
        lines.append(locale.say("Full portables needed for the whole outing: {number}", number=number))
    return "\n".join(_plain(line) for line in lines)


def _plain(text: str) -> str:
    from markupsafe import Markup

    return Markup(text).striptags()
