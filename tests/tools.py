"""Programs from outside that some tests need: found, or the test is skipped; under CI a missing one is a failure."""

import os
import shutil
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
EXAMPLE_FILES = tuple(sorted((ROOT / "examples").glob("*.toml")))


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
