"""Which sheets there are, by name; apart from how they are made, so that a list of them loads nothing."""

import re
from collections.abc import Sequence

from companion.errors import CompanionError, did_you_mean, harmless
from companion.guide.document import Sheet

SHEETS: tuple[Sheet, ...] = ("guide", "fridge", "wallet", "door", "log", "clinician")
"""Name of each sheet of a set, as it stands in file names and after ``--only``, in the order of making."""

ASKED: tuple[Sheet, ...] = ("short", "text")
"""Made only where somebody asks for them by name: the pages to live by, which the guide holds too, and the guide as
plain text, which comes with it."""

_FILE = re.compile(r"([a-z]+)\.[a-z]{2,3}(?:-[A-Za-z0-9]{2,8})*\.(html|pdf|txt)")


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
