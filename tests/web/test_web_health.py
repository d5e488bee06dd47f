"""Whether a service is well, and how much it answered: numbers, and nothing of what was asked."""

import datetime as dt
from pathlib import Path

import pytest
from starlette.types import ASGIApp

from companion.link.keys import KeyFile
from companion.web.health import PATH, STATUSES, Watched, count_line
from tests.tools import key_file
from tests.visit import ask, desk_app, public_app

NOW = dt.datetime(2026, 11, 2, 9, 15, tzinfo=dt.UTC)


def watched(app: ASGIApp, keys: Path, counted: list[int]) -> Watched:
    """Return a program that is watched over."""
    return Watched(app, KeyFile(keys).keys, counted)


@pytest.mark.parametrize("program", ["desk", "public"])
def test_it_is_well_while_its_keys_can_be_read(program: str, tmp_path: Path) -> None:
    keys, counted = key_file(tmp_path / "keys"), [0] * STATUSES
    app = watched(desk_app(tmp_path) if program == "desk" else public_app(), keys, counted)
    for method in ("GET", "HEAD"):
        well = ask(app, method, PATH)
        assert (well.status_code, well.headers["cache-control"]) == (200, "no-store")
    keys.chmod(0o644)
    ill = ask(app, "GET", PATH)
    assert ill.status_code == 503
    assert str(tmp_path) not in ill.text  # whoever asks from outside learns no path
    assert not any(counted)


def test_answers_are_counted_and_not_quoted(tmp_path: Path) -> None:
    counted = [0] * STATUSES
    app = watched(public_app(), key_file(tmp_path / "keys"), counted)
    for path in ("/t/Rosa", "/t/Rosa?name=Lindqvist", "/nowhere"):
        ask(app, "GET", path)
    ask(app, "POST", "/t/Rosa")
    assert count_line(counted, NOW) == "2026-11-02 09:15 UTC, answers by status: 404: 3, 405: 1"
    assert count_line(counted, NOW) == ""  # each answer is counted once
