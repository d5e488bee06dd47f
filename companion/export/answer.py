"""What a command answers beside its files: faults, and what the clinician must know before handing over."""

import datetime as dt
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from companion.case.model import Case
from companion.errors import CaseError, CompanionError, Fault
from companion.guide.notice_words import notice_words
from companion.reckoning.plan import Plan

FRESH = dt.timedelta(days=14)
"""Common practice, no source: a guide is handed over within two weeks of its date."""


def before_handing_over(case: Case, planned: Plan, today: dt.date) -> list[dict[str, Any]]:
    """Return what the clinician must know before the guide is handed over.

    Each notice has its code, its rank, its words, and the values that stand in them.
    """
    told: list[dict[str, Any]] = [
        {"code": notice.code, "rank": notice.rank, "words": notice_words(notice), **dict(notice.values)}
        for notice in planned.notices
    ]
    if today - case.issued > FRESH:
        words = (
            f"The case is dated {case.issued}, {(today - case.issued).days} days before today. The deliveries are "
            "counted from that day. Put today's date into 'issued'."
        )
        told.append({"code": "dated before", "rank": 2, "words": words})
    return told


def notice_lines(words: Iterable[str]) -> str:
    """Return what must be known as lines for a terminal; nothing where there is nothing."""
    lines = [f"  - {sentences}" for sentences in words]
    return "\n".join(["Before you hand it over:", *lines]) + "\n" if lines else ""


def as_json_line(answer: Mapping[str, Any]) -> str:
    """Return an answer for a program that reads it, in ASCII: a file name may hold what is no text."""
    return json.dumps(answer, default=str) + "\n"


def error_answer(error: CompanionError) -> dict[str, Any]:
    """Return why nothing was made, for a program: what is wrong with a case, or with what was asked."""
    if isinstance(error, CaseError):
        return {"file": error.source, "faults": faults_json(error.faults), "notices": []}
    return {"error": str(error)}


def faults_json(faults: Iterable[Fault]) -> list[dict[str, Any]]:
    """Return faults for a program: the fields of ``Fault`` by their names."""
    return [asdict(fault) for fault in faults]
