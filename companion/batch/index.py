"""A table of a whole caseload: what became of each case, and where its guide lies; as CSV and as a page. No names."""

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from companion.batch.folders import INDEX
from companion.batch.one import Result
from companion.errors import harmless
from companion.files import write_whole
from companion.language.catalogue import SOURCE
from companion.language.locale import Locale
from companion.render.html import web_page

_COLUMNS = ("id", "state", "languages", "review_date", "may_run_out", "notices", "faults", "file", "line", "guide")

_STARTS_A_FORMULA = ("=", "+", "-", "@")


def index_row(result: Result) -> dict[str, Any]:
    """Return the line of one case: counts, and nothing of what they count."""
    entry = result.entry
    urgent = sum(notice["rank"] == 1 for notice in result.notices)
    return {
        "id": harmless(entry.id),
        "state": result.state,
        "languages": " ".join(result.languages),
        "review_date": result.review_date or "",
        "may_run_out": urgent,
        "notices": len(result.notices) - urgent,
        "faults": len(result.faults),
        "file": harmless(entry.file),
        "line": entry.line or "",
        "guide": f"{harmless(entry.id)}/guide.{result.languages[0]}.html" if result.state != "faulty" else "",
    }


def write_index(out: Path, rows: Sequence[Mapping[str, Any]], *, stopped: bool) -> None:
    """Write the table of a run.

    Args:
        out: the output folder.
        rows: a line for each case, in any order.
        stopped: the run ended before its last case, so some are not in the table.
    """
    ordered = sorted(rows, key=lambda row: (row["file"], row["line"] or 0))
    text = io.StringIO()
    writer = csv.DictWriter(text, _COLUMNS)
    writer.writeheader()
    writer.writerows({name: _as_text(value) for name, value in row.items()} for row in ordered)
    page = web_page("web/index.html.jinja", Locale(SOURCE, "US"), rows=ordered, stopped=stopped)
    for name, data in zip(INDEX, (text.getvalue(), page), strict=True):
        write_whole(out / name, data.encode("utf-8", "backslashreplace"))


def _as_text(value: object) -> str:
    """Return a cell that no spreadsheet takes for a formula: the name of a file may begin like one."""
    text = str(value)
    return f"'{text}" if text.startswith(_STARTS_A_FORMULA) else text
