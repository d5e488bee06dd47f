"""The duration table for other programs and for a terminal."""

import csv
import io
import json

from companion.case.model import Case
from companion.containers import level_name
from companion.guide import tables
from companion.locale import Locale
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


def _plain(text: str) -> str:
    from markupsafe import Markup

    return Markup(text).striptags()
