"""From a case file to a Case, or to everything that is wrong with it at once."""

import datetime as dt
from pathlib import Path
from typing import Any

from companion.case.check import checked_parts
from companion.case.fit import misfits
from companion.case.model import Case
from companion.case.rooms import completed, region_of
from companion.case.slips import idle, slips
from companion.case.toml_file import read_toml, refuse_endless
from companion.errors import CaseError, Fault


def read_case(path: Path, day: dt.date | None = None) -> Case:
    """Read a case file, with what it takes from the clinic's folder.

    Args:
        path: the file.
        day: the day on which the case is used; None: whether the order has run out by now is not asked.

    Raises:
        CaseError: with every fault found: file, field, what was read, what would be right, whom to ask.
    """
    return case_from_dict(read_toml(path), str(path), day, path.parent)


def case_from_dict(raw: dict[str, Any], source: str, day: dt.date | None = None, home: Path | None = None) -> Case:
    """Check a case given as plain values, as TOML, JSON or a form give them; ``day`` as for a file.

    Args:
        raw: the values.
        source: what an error calls them.
        day: as for a file.
        home: the folder beside or above which the clinic's own lies; None: the values are all there is.

    Raises:
        CaseError: with every fault found, and with every value that is unlikely and not confirmed.
    """
    refuse_endless(raw, source)
    raw, absent = completed(raw, home) if home else (raw, [])
    parts, faults = _parts(raw)
    faults = absent or faults  # without its kit, every container would be told as missing
    unlikely = slips(parts, day)
    confirmed = parts.get("confirmed") or []
    faults += [fault for fault in unlikely if fault.confirm not in confirmed] or (
        [] if faults else idle(confirmed, unlikely)
    )
    return _case(parts, faults, source)


def accepted_case(raw: dict[str, Any], source: str) -> Case:
    """Check a case that was accepted before, as a code or a manifest holds it: what is unlikely is not asked again.

    Raises:
        CaseError: with every fault found.
    """
    refuse_endless(raw, source)
    return _case(*_parts(raw), source)


def _case(parts: dict[str, Any], faults: list[Fault], source: str) -> Case:
    if faults:
        raise CaseError(source, faults)
    return Case.model_construct(**parts)


def _parts(raw: dict[str, Any]) -> tuple[dict[str, Any], list[Fault]]:
    """Return the parts that are right by themselves, and what is wrong with them and between them."""
    parts, faults = checked_parts(Case, raw, region_of(raw))
    # Parts that are right by themselves are held against each other even where another part is wrong,
    # so that one run tells all.
    return parts, faults + misfits(parts)
