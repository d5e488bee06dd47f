"""The stamp holds what the output depends on, and nothing else: a set is made anew when it must be, and only then."""

import re
import shutil
import tomllib
from importlib.metadata import version
from pathlib import Path

import pytest

from companion import resources
from companion.batch import stamp
from companion.link.keys import Keys
from tests.test_imports import MODULES, PACKAGE, ours_below

KEYS = Keys((b"\x07" * 32,))

WITHOUT_EFFECT = {
    *("filelock", "packaging", "pebble", "rich"),  # work and tell
    *("platformdirs",),  # finds the key file
    *("annotated-types", "fonttools"),  # refuse a case or let it pass
    *("h11", "python-multipart", "starlette", "uvicorn", "uvloop"),  # the web
    *("tomli-w",),  # writes case files
    *("shtab",),  # completes words in a shell
}
"""Libraries of the program that change no sign on a sheet."""


def test_every_library_is_in_the_stamp_or_has_no_effect() -> None:
    project = tomllib.loads(Path("pyproject.toml").read_text(encoding="utf-8"))["project"]
    names = {re.split(r"[<>=;\[ ]", line)[0] for line in project["dependencies"]}
    assert names - WITHOUT_EFFECT == set(stamp.LIBRARIES)
    found = stamp.made_with(KEYS)
    assert {name: found[name] for name in stamp.LIBRARIES} == {name: version(name) for name in stamp.LIBRARIES}


def test_every_module_that_makes_a_sheet_is_in_the_stamp() -> None:
    left_out = {module for module, path in MODULES.items() if path.relative_to(PACKAGE).parts[0] in stamp.BESIDE}
    assert left_out
    assert not left_out & ours_below("companion.make")


@pytest.mark.parametrize(
    ("file", "part"),
    [
        ("templates/print.typ", "templates"),
        ("templates/sections/filling.md", "templates"),
        ("templates/drawings/_parts.svg.jinja", "templates"),
        ("locales/es/messages.po", "locales"),
        ("locales/es/locale.toml", "locales"),
        ("locales/english.toml", "locales"),
        ("locales/es/readback.md", None),
        ("locales/es/glossary.md", None),
        ("templates/web/desk.css", None),
    ],
)
def test_a_file_changes_its_part_of_the_stamp_if_a_sheet_is_made_from_it(
    file: str, part: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("templates", "locales"):
        shutil.copytree(resources.folder(name), tmp_path / "web" / name)
    monkeypatch.setattr(resources, "folder", lambda name: tmp_path / "web" / name)
    before = stamp.made_with(KEYS)
    with (tmp_path / "web" / file).open("a", encoding="utf-8") as changed:
        changed.write("\n")
    after = stamp.made_with(KEYS)
    assert {name for name in after if after[name] != before[name]} == ({part} if part else set())


def test_the_key_is_in_it_only_as_a_hash() -> None:
    found = stamp.made_with(KEYS)
    assert ("07" * 8) not in "".join(found.values())
    assert found["key"] != stamp.made_with(Keys((b"\x08" * 32,)))["key"]
