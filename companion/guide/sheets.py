"""Which sheets there are: the guide and what goes beside it, each with its template."""

import re
from collections.abc import Sequence

from companion.errors import CompanionError

SHEETS = {
    "guide": "guide.html.jinja",
    "fridge": "fridge.html.jinja",
    "wallet": "wallet.html.jinja",
    "door": "door.html.jinja",
    "log": "log.html.jinja",
    "clinician": "clinician.html.jinja",
}
"""Name of a sheet, as it stands in file names and after ``--only``, and its template, in the order of making."""

_FILE = re.compile(rf"({'|'.join(SHEETS)})\.[a-z]{{2,3}}(-[A-Za-z0-9]{{2,8}})*\.(html|pdf)")


def is_sheet_file(name: str) -> bool:
    """Return whether a file has the name of a sheet in some language, such as ``guide.en.pdf``."""
    return _FILE.fullmatch(name) is not None


def picked(names: str | None) -> Sequence[str]:
    """Return the sheets of a list such as ``"guide,fridge"``; all of them where nothing was picked.

    Raises:
        CompanionError: a name is no sheet's.
    """
    if names is None:
        return list(SHEETS)
    found = [name.strip() for name in names.split(",")]
    for name in found:
        if name not in SHEETS:
            raise CompanionError(f"There is no sheet '{name}'. There are: {', '.join(SHEETS)}.")
    return found
