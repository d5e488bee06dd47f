"""The command as a person types it: slips, pipes, several files, kinds of files, what is said beside an answer."""

import io
import json
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from companion.case import read_case
from companion.cli import main, parser
from companion.export.answer import before_handing_over
from companion.link.keys import load_keys
from companion.reckoning.plan import plan
from tests.cases import QUIET, a_case
from tests.conftest import TODAY, WriteCase
from tests.tools import EXAMPLE_FILES, key_file

EXAMPLE = str(EXAMPLE_FILES[0])
COMMANDS = list(parser().commands.choices)  # type: ignore[union-attr]


def refused(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """Return what is said to words that the command refuses, whoever refuses them."""
    try:
        status = main(words)
    except SystemExit as end:
        status = int(str(end.code))
    assert status == 2
    told = capsys.readouterr()
    assert not told.out
    return told.err


# ── slips ───────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (["chek", "case.toml"], "check"),
        (["GUIDE", "case.toml"], "guide"),
        (["check", "case.toml", "--formt", "json"], "--format"),
        (["check", "case.toml", "--format", "jsn"], "json"),
        (["outing", "case.toml", "--strech", "walk 5 min"], "--stretch"),  # before what is missing is asked for
        (["guide", EXAMPLE, "--only", "guide,frige"], "fridge"),
        (["guide", EXAMPLE, "--language", "ess"], "es"),
        (["table", EXAMPLE, "--language", "zh-Hanss"], "zh-Hans"),
        (["outing", EXAMPLE, "--stretch", "wlak 5 min"], "walk"),
        (["completion", "bsh"], "bash"),
    ],
    ids=lambda words: " ".join(words[:1] + words[-1:]) if isinstance(words, list) else "",
)
def test_a_slip_is_answered_with_what_was_meant(
    words: list[str], meant: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert f"Did you mean '{meant}'?" in refused(words, capsys)


def test_a_shortened_option_is_none(capsys: pytest.CaptureFixture[str]) -> None:
    assert "there is no option '--lang'" in refused(["table", EXAMPLE, "--lang", "es"], capsys)


def test_what_is_like_nothing_gets_no_guess(capsys: pytest.CaptureFixture[str]) -> None:
    assert "Did you mean" not in refused(["qqqq"], capsys)


def test_a_field_is_answered_with_what_was_meant(write_case: WriteCase, capsys: pytest.CaptureFixture[str]) -> None:
    told = refused(["check", str(write_case({"portable[1].boiloff": "1 lb/day"}))], capsys)
    assert "portable[1].boiloff: there is no such field here. Did you mean 'boil_off'?" in told


# ── help ────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("command", COMMANDS)
def test_each_help_shows_examples_that_can_be_typed(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main([command, "--help"])
    examples = re.findall(r"^  (companion .+)$", capsys.readouterr().out, re.MULTILINE)
    assert examples
    for example in examples:
        typed = shlex.split(re.split(r" [<>|] ", example)[0], comments=True)[1:]
        parser().refuse_slips(typed)
        assert parser().parse_args(typed).run


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_is_a_script_that_the_shell_can_read(
    shell: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["completion", shell]) == 0
    script = tmp_path / "script"
    script.write_text(capsys.readouterr().out, encoding="utf-8")
    words = script.read_text(encoding="utf-8")
    assert all(
        word in words for word in [*COMMANDS, "--stretch" if shell != "fish" else "stretch", "zh-Hans", "wallet"]
    )
    if shutil.which(shell):
        told = subprocess.run([shell, "-n", str(script)], capture_output=True, text=True, check=False)
        assert (told.returncode, told.stderr) == (0, "")


# ── what is read ────────────────────────────────────────────────────────────────────────────────


class Pipe:
    """What comes down a pipe."""

    def __init__(self, data: bytes) -> None:
        self.buffer = io.BytesIO(data)


@pytest.mark.parametrize(
    "words",
    [
        ["check", "-"],
        ["table", "-", "--format", "csv"],
        ["outing", "-", "--stretch", "walk 5 min"],
        ["supply", "-", "--format", "json"],
        ["guide", "-", "--only", "door", "--out", "made"],
    ],
    ids=lambda words: words[0],
)
def test_a_case_comes_down_a_pipe(
    words: list[str],
    write_case: WriteCase,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    keys = ["--keys", str(key_file(tmp_path / "keys"))] if words[0] == "guide" else []
    data = write_case().read_bytes()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "stdin", Pipe(data))
    assert main([*words, *keys]) == 0
    assert capsys.readouterr().out
    monkeypatch.setattr(sys, "stdin", Pipe(b"= no case"))
    assert main([*words, *keys]) == 2
    told = capsys.readouterr()
    assert "standard input" in told.out + told.err


def test_a_piped_case_has_no_name_for_a_folder(capsys: pytest.CaptureFixture[str]) -> None:
    assert "add --out FOLDER" in refused(["guide", "-"], capsys)


@pytest.mark.parametrize(
    ("name", "other"),
    [("cases.csv", "batch"), ("cases.jsonl", "batch"), ("bundle.json", "fhir"), ("guide.en.PDF", "recheck")],
)
def test_what_is_no_case_file_is_told_where_it_goes(name: str, other: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert f"'companion {other}'" in refused(["check", name], capsys)


def test_several_files_are_all_checked(
    write_case: WriteCase, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    good = write_case().rename(tmp_path / "good.toml")
    bad = write_case({"prescription.rest.flow": "two"}).rename(tmp_path / "bad.toml")
    assert main(["check", str(bad), str(good), "--format", "json"]) == 2
    answers = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [(answer["file"], len(answer["faults"])) for answer in answers] == [(str(bad), 1), (str(good), 0)]


def test_several_guides_are_all_held_against_today(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    keys = key_file(tmp_path / "keys")
    out, gone = tmp_path / "out", tmp_path / "gone.pdf"
    assert main(["guide", EXAMPLE, "--only", "door", "--out", str(out), "--keys", str(keys)]) == 0
    capsys.readouterr()
    words = ["recheck", str(gone), str(out / "door.en.html"), "--keys", str(keys), "--format", "json"]
    assert main(words) == 2
    gone_told, told = (json.loads(line) for line in capsys.readouterr().out.splitlines())
    assert (gone_told["file"], "cannot be read" in gone_told["error"]) == (str(gone), True)
    assert (told["file"], told["state"]) == (str(out / "door.en.html"), "same")


@pytest.mark.parametrize(
    ("typed", "minutes"),
    [
        ("walk 90 min", 90),
        ("walk 1.5 h", 90),
        ("walk 1h30", 90),
        ("walk 1 h 30", 90),
        ("walk 1 h 30 min", 90),
        ("walk 1hr 30mins", 90),
        ("walk 1 hour 30 minutes", 90),
        ("walk 1:30", 90),
        ("walk 1:05", 65),
        ("walk 1h5", 65),
        ("walk 20.5 min", 21),  # a part of a minute counts as a whole one
        ("walk 90", None),  # hours or minutes?
        ("walk 1h90", None),
        ("walk 1:5", None),  # five minutes, or fifty with a digit lost?
        ("walk 1:300", None),
        ("walk ١h٣٠", None),
        ("walk 0h00", None),
        ("walk 25:00", None),
    ],
)
def test_how_long_a_stretch_takes(typed: str, minutes: int | None) -> None:
    from companion.reckoning.outing import OutingError, read_stretch

    if minutes is None:
        with pytest.raises(OutingError):
            read_stretch(typed)
    else:
        assert read_stretch(typed).minutes == minutes


# ── what is written ─────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("command", "name", "begins"),
    [
        ("table", "t.json", b"{"),
        ("table", "t.csv", b"container,"),
        ("table", "t.txt", b"Portable"),
        ("table", "T.HTML", b"<!DOCTYPE html>"),
        ("supply", "s.ics", b"BEGIN:VCALENDAR"),
        ("supply", "s.json", b"{"),
    ],
)
def test_the_name_of_a_file_says_its_kind(command: str, name: str, begins: bytes, tmp_path: Path) -> None:
    out = tmp_path / name
    keys = ["--keys", str(key_file(tmp_path / "keys"))] if command == "table" else []
    assert main([command, EXAMPLE, "--out", str(out), *keys]) == 0
    assert out.read_bytes().startswith(begins)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["table", "--out", "table"], ".csv"),
        (["table", "--out", "table.ics"], ".csv"),  # the calendar is that of the supply
        (["supply", "--out", "supply.pdf"], ".ics"),
        (["table", "--out", "t.pdf", "--format", "csv"], "Leave one of them out"),
        (["guide", "--out", "guide.pdf"], "name a folder"),
    ],
)
def test_a_name_that_says_something_else_is_refused(
    words: list[str], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert told in refused([words[0], EXAMPLE, *words[1:]], capsys)
    assert not list(tmp_path.iterdir())


# ── what is said beside it ──────────────────────────────────────────────────────────────────────

ROADS = {
    "check": [],
    "table": [],
    "outing": ["--stretch", "walk 5 min"],
    "supply": [],
    "guide": ["--only", "door"],
}


def road(command: str, path: Path, tmp_path: Path) -> list[str]:
    """Return the words of a command for a case."""
    more = ["--keys", str(key_file(tmp_path / "keys")), "--out", str(tmp_path / "out")] if command == "guide" else []
    return [command, str(path), *ROADS[command], *more]


URGENT = {"clinic.delivery.closed_days": 14}
"""A wait so long that no call is early enough."""


@pytest.mark.parametrize("command", ROADS)
def test_every_road_tells_the_same_notices(
    command: str, write_case: WriteCase, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write_case(URGENT)
    words = [*road(command, path, tmp_path), "--today", "2026-11-30"]
    case = read_case(path)
    right = before_handing_over(case, plan(case), TODAY.replace(day=30))
    assert {notice["code"] for notice in right} >= {"dated before", "no call mark"}
    assert main(words) == 0
    told = capsys.readouterr()
    assert all(notice["words"] in told.out + told.err for notice in right)
    assert main([*words, "--format", "json"]) == 0
    told = capsys.readouterr()
    assert json.loads(told.out)["notices"] == json.loads(json.dumps(right))


@pytest.mark.parametrize("command", ROADS)
def test_quiet_leaves_out_all_but_that_oxygen_may_run_out(
    command: str, write_case: WriteCase, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write_case(URGENT)
    assert main([*road(command, path, tmp_path), "--quiet"]) == 0
    told = capsys.readouterr()
    for notice in before_handing_over(a_case(URGENT), plan(a_case(URGENT)), TODAY):
        assert (notice["words"] in told.out + told.err) == (notice["rank"] == 1)
    assert "Wrote" not in told.out + told.err


def test_quiet_where_all_is_right_says_nothing(write_case: WriteCase, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(write_case(QUIET)), "--quiet"]) == 0
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize(
    "words",
    [
        ["table", EXAMPLE, "--language", "ess"],
        ["guide", EXAMPLE, "--only", "frige"],
        ["keys", "--keys", "nowhere"],
        ["outing", EXAMPLE, "--stretch", "fly 2 h"],
    ],
    ids=lambda words: words[0],
)
def test_a_program_is_told_why_nothing_was_made(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*words, "--format", "json"]) == 2
    assert json.loads(capsys.readouterr().out)["error"]


# ── keys ────────────────────────────────────────────────────────────────────────────────────────


def keys_in_json(*words: str | Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, dict[str, Any]]:
    """Return the exit status of ``companion keys`` and what it answers."""
    status = main(["keys", "--format", "json", *map(str, words)])
    return status, json.loads(capsys.readouterr().out)


def test_two_machines_are_compared(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mine, other = key_file(tmp_path / "mine"), key_file(tmp_path / "other", "cd" * 32)
    (mark,) = load_keys(mine).fingerprints()
    for same in ([mark], mark.split(), [mark.replace(" ", "").upper()], [str(mine)]):
        assert keys_in_json("--keys", mine, "--compare", *same, capsys=capsys)[0] == 0
    status, answer = keys_in_json("--keys", mine, "--compare", other, capsys=capsys)
    assert (status, len(answer["problems"])) == (1, 3)  # another one signs, and neither reads the other's
    assert "no fingerprint" in refused(["keys", "--keys", str(mine), "--compare", "a1b2"], capsys)


def test_the_order_of_keys_is_compared(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one = key_file(tmp_path / "one", f"{'ab' * 32}\n{'cd' * 32}")
    two = key_file(tmp_path / "two", f"{'cd' * 32}\n{'ab' * 32}")
    status, answer = keys_in_json("--keys", one, "--compare", two, capsys=capsys)
    assert (status, len(answer["problems"])) == (1, 1)


def test_a_back_up_reads_as_the_keys_do_and_takes_no_others_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mine = key_file(tmp_path / "mine", f"# of the clinic\n{'ab' * 32}\n{'cd' * 32}")
    copy = tmp_path / "safe" / "link.keys"
    for _ in range(2):  # a second time there is nothing to do
        assert keys_in_json("--keys", mine, "--backup", copy, capsys=capsys)[0] == 0
        assert copy.read_text(encoding="ascii") == mine.read_text(encoding="ascii")
        assert copy.stat().st_mode & 0o777 == 0o600
    other = key_file(tmp_path / "other", "cd" * 32)
    assert "something else" in refused(["keys", "--keys", str(mine), "--backup", str(other)], capsys)
    assert load_keys(other).secrets == (bytes.fromhex("cd" * 32),)
