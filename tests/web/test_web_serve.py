"""The commands that start the web programs: where they listen, what they write, what they refuse."""

import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from companion.cli import main
from companion.link.code import load_keys
from tests.cases import UNLIKE_FLOWS, a_case, case_dict
from tests.conftest import as_toml
from tests.visit import address, free_port


@contextmanager
def served(*words: str, log: Path) -> Iterator[str]:
    """Run ``companion serve`` until the block ends; what it wrote is in ``log``."""
    port = free_port()
    with log.open("wb") as out:
        command = [sys.executable, "-m", "companion", "serve", "--port", str(port), *words]
        program = subprocess.Popen(command, stdout=out, stderr=out)  # noqa: S603
        base = f"http://127.0.0.1:{port}"
        for _ in range(400):
            try:
                httpx.get(base)
                break
            except httpx.TransportError:
                time.sleep(0.05)
        yield base
        program.terminate()
        program.wait(timeout=20)


def test_the_desk_makes_the_keys_and_logs_nothing_personal(tmp_path: Path) -> None:
    keys, log = tmp_path / "link.keys", tmp_path / "log"
    with served("--keys", str(keys), log=log) as base:
        assert keys.stat().st_mode & 0o777 == 0o600
        sent = as_toml(case_dict()).encode()
        assert "Rosa Lindqvist" in httpx.post(f"{base}/open", files={"file": sent}).text
        httpx.post(base, data={"patient.name": "Rosa Lindqvist", "do": "make"})
        httpx.post(base, content=b"\xff", headers={"content-type": "multipart/form-data"})
    written = log.read_text()
    assert "The desk is open at" in written
    assert "Rosa" not in written


def test_the_public_pages_log_no_code(tmp_path: Path) -> None:
    keys, log = tmp_path / "link.keys", tmp_path / "log"
    load_keys(keys, make=True)
    path = address(a_case(UNLIKE_FLOWS), "/en", load_keys(keys, make=False))
    with served("--public", "--keys", str(keys), log=log) as base:
        assert httpx.get(base + path).status_code == 200
        assert httpx.get(base + path[:-8]).status_code == 404
        assert httpx.post(base + path, data={"do": "make"}).status_code == 405
    assert path.split("/")[2][:12] not in log.read_text()


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "clinic.example"])  # noqa: S104  (it is refused)
def test_the_desk_listens_on_this_machine_alone(host: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["serve", "--host", host, "--keys", str(tmp_path / "link.keys")]) == 2
    assert "on this machine alone" in capsys.readouterr().err


def test_the_public_pages_need_the_clinics_keys(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # A key made here would read none of the clinic's codes.
    assert main(["serve", "--public", "--keys", str(tmp_path / "link.keys")]) == 2
    assert "cannot be used" in capsys.readouterr().err
    assert not (tmp_path / "link.keys").exists()
