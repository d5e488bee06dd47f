"""What the output of the program depends on, apart from the case. When any of it changes, a set is made anew."""

import hashlib
from collections.abc import Iterable
from importlib.metadata import version
from pathlib import Path

from companion import __version__, resources
from companion.link.keys import Keys

LIBRARIES = (
    "babel",
    "brotli",
    "fontpkg-ibm-plex-sans-arabic",
    "holidays",
    "jinja2",
    "manimgx-fonts",
    "manimgx-fonts-cjk",
    "markdown",
    "markupsafe",
    "pint",
    "pydantic",
    "pydantic-core",
    "typst",
    "zxing-cpp",
)
"""Each can change a sign on a page. Typst draws other bytes for the same page in another version."""

BESIDE = ("batch", "editing", "web", "cli", "recheck", "__main__.py")
"""Parts of the program from which no sheet is made."""

_WORDS = ("messages.po", "locale.toml", "review.toml", "english.toml")
"""What is read of the languages; the records of their translators lie beside it."""


def made_with(keys: Keys) -> dict[str, str]:
    """Return versions and hashes of all that the output depends on; the key only as a hash."""
    code, templates, locales = resources.code(), resources.folder("templates"), resources.folder("locales")
    return {
        "program": __version__,
        "code": _hash_of(code, (path for path in code.rglob("*.py") if path.relative_to(code).parts[0] not in BESIDE)),
        "templates": _hash_of(
            templates, (path for path in templates.rglob("*") if templates / "web" not in path.parents)
        ),
        "locales": _hash_of(locales, (path for path in locales.rglob("*") if path.name in _WORDS)),
        "key": hashlib.sha256(b"batch" + keys.signing()).hexdigest()[:16],
        **{name: version(name) for name in LIBRARIES},
    }


def _hash_of(folder: Path, files: Iterable[Path]) -> str:
    total = hashlib.sha256()
    for path in sorted(files):
        if path.is_file():
            total.update(f"{path.relative_to(folder).as_posix()}\0".encode())
            total.update(hashlib.sha256(path.read_bytes()).digest())
    return total.hexdigest()[:16]
