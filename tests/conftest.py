"""What the tests share: how hard hypothesis searches, and a case file to run a command on."""

import datetime as dt
import json
from pathlib import Path
from typing import Any, Protocol

import pytest
from hypothesis import HealthCheck, settings

from companion.cli import options
from tests.cases import case_dict

# The suite is the same every time; ``pytest --hypothesis-profile=search`` looks further.
settings.register_profile(
    "suite", derandomize=True, deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("search", deadline=None, max_examples=5000, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("suite")


TODAY = dt.date(2026, 11, 2)
"""The day of every command: that of the base case, so that no test ages with the clock."""


@pytest.fixture(autouse=True)
def _day_of_the_tests(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(options, "today", lambda: TODAY)


class WriteCase(Protocol):
    """Writes a case file and returns its path."""

    def __call__(self, changes: dict[str, Any] | None = None) -> Path:
        """Write the base case with the fields at some paths changed."""


@pytest.fixture
def write_case(tmp_path: Path) -> WriteCase:
    """Return a writer of case files in a folder of the test's own."""

    def write(changes: dict[str, Any] | None = None) -> Path:
        path = tmp_path / "case.toml"
        path.write_text(as_toml(case_dict(changes)), encoding="utf-8")
        return path

    return write


def as_toml(raw: dict[str, Any]) -> str:
    """Return plain values as TOML, in inline tables."""
    return "".join(f"{name} = {_inline(value)}\n" for name, value in raw.items())


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(name)} = {_inline(part)}" for name, part in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_inline, value)) + "]"
    return value.isoformat() if isinstance(value, dt.date) else json.dumps(value)
