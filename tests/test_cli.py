"""The commands check, table and schema."""

import csv
import io
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from companion import __version__
from companion.case import read_case
from companion.cli import main
from companion.export.json import as_json
from companion.reckoning.plan import plan
from tests.cases import NO_MARGINS, PULSE, a_case
from tests.conftest import WriteCase
from tests.tools import EXAMPLE_FILES


def python(*words: str | Path, **changes: str) -> subprocess.CompletedProcess[str]:
    """Run Python with some words, and with some changes to its environment."""
    return subprocess.run(  # noqa: S603 — our own program
        [sys.executable, *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, **changes},
    )


def run(*words: str | Path, **changes: str) -> subprocess.CompletedProcess[str]:
    """Run the command as a person does."""
    return python("-m", "companion", *words, **changes)


# ── check ───────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("path", EXAMPLE_FILES, ids=lambda path: path.stem)
def test_check_of_an_example(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(path)]) == 0
    assert "nothing is wrong or missing" in capsys.readouterr().out


@pytest.mark.parametrize("command", ["check", "table", "guide"])
def test_a_bad_case_makes_nothing(command: str, write_case: WriteCase, tmp_path: Path) -> None:
    path = write_case({"portable[1].boil_off": "26 kg/day", "prescription.rest.flow": 2})
    told = run(command, path, *(("--out", tmp_path / "made") if command != "check" else ()))
    assert told.returncode == 2
    assert not told.stdout
    assert "2 things are wrong or missing" in told.stderr
    assert "portable[1].boil_off" in told.stderr
    assert "prescription.rest.flow" in told.stderr
    assert "Traceback" not in told.stderr
    assert not (tmp_path / "made").exists()


@pytest.mark.parametrize(
    "content",
    [b"", b"\xff\xfe\x00", b"= ?", b"x" * 300_000, b"a = " + b"[" * 50_000],
    ids=["empty", "not UTF-8", "not TOML", "huge", "nested"],
)
def test_a_bad_file_ends_with_a_message(content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "case.toml"
    path.write_bytes(content)
    assert main(["check", str(path)]) == 2
    told = capsys.readouterr()
    assert not told.out
    assert str(path) in told.err


def test_no_file_ends_with_a_message(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(tmp_path / "none.toml")]) == 2
    assert "cannot be read" in capsys.readouterr().err


def test_a_file_without_end_is_refused() -> None:
    # A device gives bytes for ever: whoever reads it all first fills a gigabyte, and ends in a traceback.
    limit = "import resource as r, sys; r.setrlimit(r.RLIMIT_AS, (1 << 30, 1 << 30)); from companion.cli import main; "
    told = python("-c", limit + "sys.exit(main(['check', '/dev/zero']))")
    assert told.returncode == 2, told.stderr[-300:]
    assert "too large" in told.stderr


# ── table ───────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("changes", [{}, PULSE, {"portable": [], "cylinder": []}])
def test_table_as_json(
    changes: dict[str, Any], write_case: WriteCase, capsysbinary: pytest.CaptureFixture[bytes]
) -> None:
    assert main(["table", str(write_case(changes)), "--format", "json"]) == 0
    case = a_case(changes)
    assert json.loads(capsysbinary.readouterr().out) == json.loads(json.dumps(as_json(plan(case), case)))


def test_table_as_csv(write_case: WriteCase, capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    assert main(["table", str(write_case()), "--format", "csv"]) == 0
    lines = list(csv.DictReader(io.StringIO(capsysbinary.readouterr().out.decode())))
    windows = plan(a_case()).windows
    assert [int(line["safe_min"]) for line in lines] == [found.safe_min for found in windows]
    assert {line["level"] for line in lines} == {"full", "3/4", "1/2", "1/4"}


def test_table_in_a_terminal(write_case: WriteCase, capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    assert main(["table", str(write_case(NO_MARGINS))]) == 0
    told = capsysbinary.readouterr().out.decode()
    # 1.2 L at 20 psi (2.39 bar absolute) at 2 L/min: 494.8 minutes, with no margin but rounding down
    assert "8 hours 10 minutes" in told
    assert "Rosa" not in told


def test_table_to_a_file(write_case: WriteCase, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "new" / "table.json"
    assert main(["table", str(write_case()), "--format", "json", "--out", str(out)]) == 0
    assert json.loads(out.read_text(encoding="utf-8"))["windows"]
    assert str(out) in capsys.readouterr().out
    assert list(out.parent.iterdir()) == [out]  # nothing half-written beside it


def test_a_pdf_to_a_terminal_is_refused(
    write_case: WriteCase, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keys = ["--keys", str(tmp_path / "keys")]
    assert main(["table", str(write_case()), "--format", "pdf", *keys]) == 2
    told = capsys.readouterr()
    assert "--out" in told.err
    assert not told.out


def test_the_same_case_gives_the_same_table(write_case: WriteCase) -> None:
    path = write_case()
    one, other = (run("table", path, "--format", "json").stdout for _ in range(2))
    assert one == other


@pytest.mark.parametrize("path", EXAMPLE_FILES, ids=lambda path: path.stem)
def test_table_of_an_example(path: Path, capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    assert main(["table", str(path), "--format", "json"]) == 0
    windows = json.loads(capsysbinary.readouterr().out)["windows"]
    assert len(windows) == len(plan(read_case(path)).windows)
    assert all(line["safe_min"] <= line["nominal_min"] for line in windows)


# ── schema, version, help ───────────────────────────────────────────────────────────────────────


def test_schema(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema"]) == 0
    assert json.loads(capsys.readouterr().out)["$schema"].endswith("2020-12/schema")


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["--version"])
    assert capsys.readouterr().out == f"companion {__version__}\n"


def test_no_words_is_no_command(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main([])
    assert "usage" in capsys.readouterr().err


def test_help_is_light() -> None:
    # The heavy libraries stay unloaded, so that help answers at once.
    script = (
        "import sys\n"
        "from companion.cli import main\n"
        "try:\n    main(['--help'])\n"
        "except SystemExit:\n    pass\n"
        "heavy = {'pint', 'pydantic', 'jinja2', 'typst', 'babel'} & set(sys.modules)\n"
        "sys.exit(f'loaded {heavy}' if heavy else 0)\n"
    )
    told = python("-c", script)
    assert told.returncode == 0, told.stderr
    assert "check" in told.stdout


def test_text_that_a_terminal_cannot_show(write_case: WriteCase) -> None:
    told = run("check", write_case({"portable[1].coupling": "Füllung"}), PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert told.returncode == 2
    assert "Traceback" not in told.stderr
