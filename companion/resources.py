"""Where ``locales/`` and ``templates/`` lie: inside the installed package, or beside it in a checkout.

The only module that knows. Everything else asks here.
"""

from functools import cache
from pathlib import Path

from companion.errors import SettingError

_PACKAGE = Path(__file__).parent


@cache
def folder(name: str) -> Path:
    """Return the folder of that name (``"locales"`` or ``"templates"``).

    Raises:
        SettingError: neither the installed package nor the checkout has it.
    """
    places = [_PACKAGE / name, _PACKAGE.parent / name]
    for place in places:
        if place.is_dir():
            return place
    raise SettingError(
        f"The folder '{name}' is missing. Looked for {places[0]} and {places[1]}. "
        "Install the package again, or run it from a complete checkout."
    )


def code() -> Path:
    """Return the folder of the program itself."""
    return _PACKAGE


def read(name: str, path: str) -> str:
    """Return the text of one file in one of the folders."""
    return (folder(name) / path).read_text(encoding="utf-8")
