"""What was wrong, for people and for programs; and what must be known of a guide before it is handed over."""

import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from companion.batch.folders import NOTICES, REPORTS
from companion.batch.one import Result
from companion.errors import harmless
from companion.export.answer import notice_lines
from companion.files import write_whole

_STOPPED = "The run was stopped. It did not come to every case, and there may be more faults.\n"
_STOPPED_NOTICES = "The run was stopped. Of a guide that is not named here, nothing is known.\n"


def write_report(out: Path, faulty: Sequence[Result], *, stopped: bool) -> None:
    """Write every fault with file, line and field. Where there is none, no report is left.

    Args:
        out: the output folder.
        faulty: the cases with faults, in any order.
        stopped: the run ended before its last case.
    """
    texts, lines = [_STOPPED] if stopped else [], []
    for result in sorted(faulty, key=_in_order):
        entry = result.entry
        place = entry.file if entry.line is None else f"{entry.file}, line {entry.line}"
        texts.append("\n".join([f"{harmless(place)} ({harmless(entry.id)})", *map(str, result.faults)]) + "\n")
        lines += [
            json.dumps({"id": entry.id, "file": entry.file, "line": entry.line, **asdict(fault)})
            for fault in result.faults
        ]
    for name, text in zip(REPORTS, ("".join(f"{line}\n" for line in lines), "\n".join(texts)), strict=True):
        if texts:
            # Part of a file name that is no text must not cost everybody the report.
            write_whole(out / name, text.encode("utf-8", "backslashreplace"))
        else:
            (out / name).unlink(missing_ok=True)


def write_notices(out: Path, noted: Sequence[Result], *, stopped: bool) -> None:
    """Write what the clinician must know of each guide. Where there is nothing, no report is left.

    Args:
        out: the output folder.
        noted: the cases with notices, in any order.
        stopped: the run ended before its last case.
    """
    texts = [_STOPPED_NOTICES] if stopped else []
    for result in sorted(noted, key=_in_order):
        lines = notice_lines(notice["words"] for notice in result.notices)
        texts.append(f"{harmless(result.entry.id)}\n{lines}")
    if texts:
        write_whole(out / NOTICES, "\n".join(texts).encode())
    else:
        (out / NOTICES).unlink(missing_ok=True)


def _in_order(result: Result) -> tuple[str, int]:
    return result.entry.file, result.entry.line or 0
