"""What several tests need: a key file, and programs from outside, without which a test is skipped or fails under CI."""

import os
import shutil
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
EXAMPLE_FILES = tuple(sorted((ROOT / "examples").glob("*.toml")))


CHROMIUM_SWITCHES = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)
"""What keeps Chromium to the page that it is given."""


def key_file(path: Path, key: str = "ab" * 32) -> Path:
    """Write a key file as a clinic keeps it, and return its path."""
    path.write_text(f"{key}\n", encoding="ascii")
    path.chmod(0o600)
    return path


def program(name: str) -> str:
    """Return the path of a program."""
    return _present(shutil.which(name), name)


def npm_file(path: str) -> str:
    """Return the path of a file in ``node_modules``, where ``npm install --no-save`` put it."""
    place = ROOT / "node_modules" / path
    return _present(str(place) if place.exists() else None, path)


def _present(found: str | None, name: str) -> str:
    if found is None:
        if os.environ.get("CI"):
            pytest.fail(f"{name} is missing; .ci/run installs it")
        pytest.skip(f"{name} is not installed")
    return found
