"""Which sheets there are, by name; apart from how they are made, so that a list of them loads nothing."""

import base64
import hashlib
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING
from unicodedata import category, normalize

from companion.errors import CompanionError, did_you_mean, harmless
from companion.guide.document import Sheet

if TYPE_CHECKING:
    from companion.case.model import Case

SHEETS: tuple[Sheet, ...] = ("guide", "fridge", "wallet", "door", "log", "clinician")
"""Name of each sheet of a set, as it stands in file names and after ``--only``, in the order of making."""

ASKED: tuple[Sheet, ...] = ("short", "text")
"""Made only where somebody asks for them by name: the pages to live by, which the guide holds too, and the guide as
plain text, which comes with it."""

_NAMELESS = ("door", "log")
"""The sheets on which no name stands."""

_LONGEST_NAME = 40  # signs: of three bytes each, they leave room for the rest where a name has at most 255 bytes

_FILE = re.compile(
    r"(?:[^./]+\.[0-9]{4}-[0-9]{2}-[0-9]{2}\.)?([a-z]+)\.[a-z]{2,3}(?:-[A-Za-z0-9]{2,8})*\.(html|pdf|txt)"
)


def is_sheet_file(name: str) -> bool:
    """Return whether a file has the name of a sheet in some language, such as ``guide.en.pdf``."""
    found = _FILE.fullmatch(name)
    return found is not None and (found[1] == "guide" if found[2] == "txt" else found[1] in (*SHEETS, *ASKED))


def picked(names: str | None) -> Sequence[Sheet]:
    """Return the sheets of a list such as ``"guide,fridge"``; all of them where nothing was picked.

    Raises:
        CompanionError: a name is no sheet's.
    """
    if names is None:
        return SHEETS
    wanted = [name.strip() for name in names.split(",")]
    for name in wanted:
        if name not in (*SHEETS, *ASKED):
            every = (*SHEETS, *ASKED)
            meant = did_you_mean(name, every)
            raise CompanionError(f"There is no sheet '{harmless(name)}'.{meant} There are: {', '.join(every)}.")
    return [sheet for name in wanted for sheet in (*SHEETS, *ASKED) if sheet == name]


def told_apart(name: str, case: "Case") -> str:
    """Return the name of a sheet's file, such as ``guide.en.pdf``, as this clinic wants it.

    Where it allows that, the name tells whose guide it is and of which day. Letters that stand for the whole case part
    two people of one name, and two orders of one day. A file never tells more than its sheet: one on which no name
    stands has the letters alone.
    """
    if not case.clinic.paper.named_files:
        return name
    nameless = name.partition(".")[0] in _NAMELESS
    return f"{_letters(case) if nameless else whose(case)}.{case.issued}.{name}"


def whose(case: "Case") -> str:
    """Return the name of a patient as it may stand in that of a file, with the letters of the case."""
    spelled = normalize("NFC", case.patient.name or "").casefold()
    kept = "".join(sign if category(sign)[0] in "LMN" else " " for sign in spelled)
    return "-".join([*kept[:_LONGEST_NAME].split(), _letters(case)])


def letters_for(data: bytes) -> str:
    """Return six letters that stand for some data, and tell nothing of it."""
    return base64.b32encode(hashlib.sha256(data).digest())[:6].decode().lower()


def _letters(case: "Case") -> str:
    return letters_for(case.model_dump_json().encode())
