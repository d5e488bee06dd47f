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
from companion.cli import CLOSED_PIPE, main
from companion.export.json import as_json
from companion.guide.notice_words import notice_words
from companion.reckoning.plan import plan
from tests.cases import NO_MARGINS, PULSE, QUIET, UNEVEN, a_case
from tests.conftest import WriteCase
from tests.tools import EXAMPLE_FILES, key_file


def python(*words: str | Path, **changes: str) -> subprocess.CompletedProcess[str]:
    """Run Python with some words, and with some changes to its environment."""
    return subprocess.run(
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
def test_a_bad_case_makes_nothing(
    command: str, write_case: WriteCase, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write_case({"portable[1].boil_off": "26 kg/day", "prescription.rest.flow": "2 kg"})
    made = tmp_path / "made" / "table.txt" if command == "table" else tmp_path / "made"
    assert main([command, str(path), *(["--out", str(made)] if command != "check" else [])]) == 2
    told = capsys.readouterr()
    assert not told.out
    assert "2 things are wrong or missing" in told.err
    assert "portable[1].boil_off" in told.err
    assert "prescription.rest.flow" in told.err
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
    made = plan(a_case())
    # Of a reservoir the time of one activity alone is no safe one.
    assert [int(line["safe_min"] or line["safe_alone_min"]) for line in lines] == [
        *(found.safe_min for found in made.windows),
        *made.supply[0].safe_min.values(),
    ]
    assert {line["level"] for line in lines} == {"full", "3/4", "1/2", "1/4"}


def test_csv_marks_the_rows_that_the_guide_prints(
    write_case: WriteCase, capsysbinary: pytest.CaptureFixture[bytes]
) -> None:
    assert main(["table", str(write_case(UNEVEN)), "--format", "csv"]) == 0
    lines = list(csv.DictReader(io.StringIO(capsysbinary.readouterr().out.decode())))
    printed = {
        (line["container"], line["gauge_shows"], line["activity"]): line["safe_min"]
        for line in lines
        if line["printed"] == "yes"
    }
    # In the guide full reservoirs last 6 and 7 days with all that is used in a day, and no activity alone is printed.
    assert printed["reservoir-1", "full", "whole day"] == "8640"
    assert printed["reservoir-2", "full", "whole day"] == "10080"
    assert {activity for container, _, activity in printed if container.startswith("reservoir")} == {"whole day"}
    assert printed["portable-1", "full", "exertion"] == "190"
    assert printed["cylinder-2", "110 bar", "sleep"] == "245"
    assert {mark for container, mark, _ in printed if container == "reservoir-2"} == {
        "full", "7/8", "3/4", "5/8", "1/2", "3/8", "1/4", "1/8"
    }  # fmt: skip
    assert {mark for container, mark, _ in printed if container == "portable-2"} == {"full", "4/5", "3/5", "2/5", "1/5"}
    assert {mark for container, mark, _ in printed if container == "cylinder-2"} == {
        "137 bar", "110 bar", "70 bar", "40 bar"
    }  # fmt: skip


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
    keys = ["--keys", str(key_file(tmp_path / "keys"))]
    assert main(["table", str(write_case()), "--format", "pdf", *keys]) == 2
    told = capsys.readouterr()
    assert "--out" in told.err
    assert not told.out


def test_the_same_case_gives_the_same_table_in_another_process(
    write_case: WriteCase, capsysbinary: pytest.CaptureFixture[bytes]
) -> None:
    words = ["table", str(write_case()), "--format", "json", "--today", "2026-11-02"]
    assert main(words) == 0
    assert capsysbinary.readouterr().out.decode() == run(*words).stdout


@pytest.mark.parametrize("path", EXAMPLE_FILES, ids=lambda path: path.stem)
def test_table_of_an_example(path: Path, capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    assert main(["table", str(path), "--format", "json"]) == 0
    windows = json.loads(capsysbinary.readouterr().out)["windows"]
    made = plan(read_case(path))
    assert len(windows) == len(made.windows) + sum(len(line.safe_min) for line in made.supply)
    assert all(line["safe_min"] <= line["nominal_min"] for line in windows if line["safe_min"] is not None)


# ── schema, version, help ───────────────────────────────────────────────────────────────────────


def test_schema(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema"]) == 0
    assert json.loads(capsys.readouterr().out)["$schema"].endswith("2020-12/schema")


def test_changes_begin_with_this_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["changes"]) == 0
    headings = [line for line in capsys.readouterr().out.splitlines() if line.startswith("## ")]
    assert headings[0] == f"## {__version__}"


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


# ── what the clinician must know ────────────────────────────────────────────────────────────────

NO_TOLERANCE = {"clinic.policy": {"flow_tolerance_percent": 0}}
"""Brings up a notice that names this margin."""


def told_in_json(*words: str | Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, dict[str, Any]]:
    """Return the exit status of a command and what it answers to a program."""
    capsys.readouterr()
    status = main([*map(str, words), "--format", "json"])
    return status, json.loads(capsys.readouterr().out)


def test_check_and_guide_tell_what_the_desk_shows(
    write_case: WriteCase, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write_case(NO_TOLERANCE)
    notices = plan(a_case(NO_TOLERANCE)).notices
    guide = ["guide", str(path), "--only", "door", "--out", str(tmp_path / "out")]
    guide += ["--keys", str(key_file(tmp_path / "keys"))]
    for words in (["check", str(path)], guide):
        assert main(words) == 0
        out = capsys.readouterr().out
        assert all(notice_words(notice) in out for notice in notices)
        status, answer = told_in_json(*words, capsys=capsys)
        assert status == 0
        assert [told["code"] for told in answer["notices"]] == [notice.code for notice in notices]
    assert sorted(Path(name).name for name in answer["files"]) == ["door.en.html", "door.en.pdf"]
    assert all(Path(name).exists() for name in answer["files"])


def test_nothing_to_tell_is_told_in_one_line(write_case: WriteCase, capsys: pytest.CaptureFixture[str]) -> None:
    path = write_case(QUIET)
    assert main(["check", str(path)]) == 0
    assert capsys.readouterr().out == f"{path}: nothing is wrong or missing.\n"


def test_faults_for_a_program(write_case: WriteCase, capsys: pytest.CaptureFixture[str]) -> None:
    path = write_case({"prescription.sleep.flow": "0.2 L/min"})
    status, answer = told_in_json("check", path, capsys=capsys)
    assert status == 2
    (fault,) = answer["faults"]
    assert (fault["where"], fault["confirm"]) == ("prescription.sleep.flow", "prescription.sleep.flow")


def test_a_file_whose_name_is_no_text_is_told_to_a_program(write_case: WriteCase) -> None:
    path = write_case()
    odd = path.rename(path.with_name(os.fsdecode(b"m\xfcller.toml")))
    told = run("check", odd, "--format", "json", "--today", "2026-11-02")
    assert (told.returncode, json.loads(told.stdout)["file"]) == (0, str(odd))


def test_a_bundle_tells_what_is_missing(capsys: pytest.CaptureFixture[str]) -> None:
    status, answer = told_in_json("fhir", "examples/river-terrace.fhir.json", capsys=capsys)
    assert status == 2
    assert {fault["where"] for fault in answer["faults"]} >= {"issued", "clinic.delivery"}
    assert answer["case"]["prescription"]["rest"]["flow"] == "1.5 L/min"


# ── the day ─────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("command", "more"),
    [
        ("check", []),
        ("table", []),
        ("supply", []),
        ("outing", ["--stretch", "walk 20 min"]),
        ("guide", ["--out", "made", "--only", "door"]),
    ],
)
@pytest.mark.parametrize(("day", "status"), [("2027-01-18", 0), ("2027-01-19", 2)])  # reviewed by 18 January 2027
def test_an_order_past_its_review_date_makes_nothing(
    command: str, more: list[str], day: str, status: int, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    example = Path("examples/mill-street.toml").resolve()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    assert main([command, str(example), *more, "--today", day]) == status
    assert (tmp_path / "made").exists() == (command == "guide" and status == 0)


def test_an_older_case_is_told_its_age(write_case: WriteCase, capsys: pytest.CaptureFixture[str]) -> None:
    for day, told in (("2026-11-16", False), ("2026-11-17", True)):  # of 2 November: two weeks, and a day more
        assert main(["check", str(write_case()), "--today", day]) == 0
        assert ("15 days before today" in capsys.readouterr().out) == told


def test_a_day_that_is_none(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["check", "examples/harbour-lane.toml", "--today", "2 November"])
    assert "write it as 2026-11-02" in capsys.readouterr().err


# ── a reader that goes away ─────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    "words",
    [
        ("check", "examples/harbour-lane.toml"),  # prints its lines
        ("table", "examples/harbour-lane.toml", "--format", "json"),  # writes bytes
    ],
    ids=lambda words: words[0],
)
def test_a_closed_pipe_ends_quietly(words: tuple[str, ...]) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    with os.fdopen(writer, "wb") as closed:
        told = subprocess.run(
            [sys.executable, "-m", "companion", *words, "--today", "2026-11-02"],
            stdout=closed,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert told.returncode == CLOSED_PIPE
    assert "Traceback" not in told.stderr
    assert "BrokenPipe" not in told.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("recheck", "{}/\x1b[2J.jpg"),
        ("recheck", "{}/guide.pdf", "--keys", "{}/\x1b[2J"),
        ("fhir", "{}/bundle.json"),
        ("audit", "{}/\x1b[2J.pdf"),
        ("batch", "--changed-since", "\x1b[2J", "--out", "{}"),
    ],
)
def test_no_message_steers_the_terminal(
    words: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    key_file(tmp_path / "link.keys")
    bundle = {"resourceType": "Bundle", "type": "collection", "\x1b[2J": 1}
    (tmp_path / "bundle.json").write_text(json.dumps(bundle), encoding="utf-8")
    keys = ["--keys", str(tmp_path / "link.keys")] if words[0] == "recheck" and "--keys" not in words else []
    assert main([*(word.format(tmp_path) for word in words), *keys]) == 2
    told = "".join(capsys.readouterr())
    assert "\\u001b[2J" in told
    assert "\x1b" not in told
