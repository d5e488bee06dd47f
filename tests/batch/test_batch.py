"""A whole caseload: what is read, what is made, what is left, and what a bad case or a kill costs the others."""

import csv
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from companion.batch import run as batch
from companion.case.read import case_from_dict
from companion.case.rows import read_rows
from companion.cli import main
from companion.errors import CaseError, CompanionError
from tests.caseload import snapshot, write_lines
from tests.cases import LEFT_OUT, OWN_FIGURES, PULSE, a_case, case_dict


def flat(raw: dict[str, Any], before: str = "") -> Iterator[tuple[str, str]]:
    """Write a case as the cells of a table, by the paths of its fields."""
    for name, value in raw.items():
        path = f"{before}{name}"
        if isinstance(value, dict):
            yield from flat(value, f"{path}.")
        elif isinstance(value, list) and isinstance(value[0], dict):
            for place, item in enumerate(value, start=1):
                yield from flat(item, f"{path}.{place}.")
        else:
            yield path, " ".join(value) if isinstance(value, list) else str(value)


def write_table(path: Path, rows: list[dict[str, str]]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(dict.fromkeys(name for row in rows for name in row)))
        writer.writeheader()
        writer.writerows(rows)
    return path


def entry_of(changes: dict[str, Any] | None = None) -> batch.Entry:
    return batch.Entry("rosa", "cases.jsonl", 7, case_dict(changes))


@pytest.fixture(scope="module")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> batch.Job:
    """A job whose guide of the base case, ``rosa``, is made; not to be changed."""
    folder = tmp_path_factory.mktemp("batch")
    keys = folder / "link.keys"
    keys.write_text("ab" * 32 + "\n", encoding="ascii")
    job = batch.Job(folder / "out", keys, ("en",), batch.made_with(keys))
    batch.make_one(entry_of(), job)
    return job


@pytest.fixture
def job(made_once: batch.Job, tmp_path: Path) -> batch.Job:
    """The same, to be changed at will."""
    shutil.copytree(made_once.out, tmp_path / "out")
    return replace(made_once, out=tmp_path / "out")


def numbered_cases(path: Path, count: int) -> Path:
    return write_lines(path, *(case_dict({"patient.name": f"P{n}"}) | {"id": f"p{n}"} for n in range(count)))


# ── many cases in one file ──────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"clinic.delivery.weekdays": ["tuesday", "friday"], "patient.languages": ["es", "en"]},
        PULSE,
        # a setting with a point in it is one key of the bolus table
        PULSE | {"prescription.rest.pulse_setting": "2.5", "conserver": {"bolus": {"2.5": "30 mL", "2": "22.8 mL"}}},
        {"portable": [case_dict()["portable"][0], case_dict()["portable"][0]]},
        {"clinic.policy": OWN_FIGURES},
    ],
)
def test_a_row_and_a_line_give_the_same_case_as_a_file(tmp_path: Path, changes: dict[str, Any]) -> None:
    raw = case_dict(changes)
    expected = case_from_dict(raw, "a test")
    (row,) = read_rows(write_table(tmp_path / "cases.csv", [dict(flat(raw))]))
    (line,) = read_rows(write_lines(tmp_path / "cases.jsonl", raw))
    for found in (row, line):
        assert case_from_dict(found.raw, "a test").model_dump() == expected.model_dump()


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        pytest.param(b'{"issued": 1}\n\nno json\n[1]\n{"issued": 2}\n', {3, 4}, id="no JSON, no table; blank line"),
        pytest.param(b'\xef\xbb\xbf{"issued": 1}\n{"a": "\xff"}\n{}\n', {2}, id="a mark at the start; no text"),
        pytest.param(b"[" * 100_000 + b"\n{}\n", {1}, id="nested too deep"),
        pytest.param(b'{"a": "' + b"x" * 300_000 + b'"}\n{}\n', {1}, id="too long"),
    ],
)
def test_one_bad_line_costs_no_other(tmp_path: Path, text: bytes, lines: set[int]) -> None:
    path = tmp_path / "cases.jsonl"
    path.write_bytes(text)
    rows = list(read_rows(path))
    assert {row.line for row in rows if row.faults} == lines
    assert any(not row.faults for row in rows)


@pytest.mark.parametrize(
    ("text", "where"),
    [
        pytest.param(b"issued,clinic.name\n2026-11-02,a,b\n2026-11-02,a\n", "the line", id="more cells than columns"),
        pytest.param(b"issued,clinic.name\n2026-11-02,\xff\n2026-11-02,a\n", "clinic.name", id="no UTF-8"),
        pytest.param(
            b"issued,clinic.name\n2026-11-02," + b"x" * 200_000 + b"\n2026-11-02,a\n", "the line", id="too long"
        ),
    ],
)
def test_one_bad_row_costs_no_other(tmp_path: Path, text: bytes, where: str) -> None:
    path = tmp_path / "cases.csv"
    path.write_bytes(text)
    bad, good = read_rows(path)
    assert ([fault.where for fault in bad.faults], good.faults) == ([where], ())
    assert good.raw == {"issued": "2026-11-02", "clinic": {"name": "a"}}


@pytest.mark.parametrize("text", [b"", b"\n", b"issued,issued\n2026-11-02,2026-11-02\n"])
def test_refuses_a_table_whose_first_line_names_no_columns(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "cases.csv"
    path.write_bytes(text)
    with pytest.raises(CaseError):
        list(read_rows(path))


def test_an_unknown_column_is_told_by_its_path(tmp_path: Path) -> None:
    cells = dict(flat(case_dict())) | {"reservoir.1.colour": "grey"}
    (row,) = read_rows(write_table(tmp_path / "cases.csv", [cells]))
    with pytest.raises(CaseError) as caught:
        case_from_dict(row.raw, "a test")
    assert [fault.where for fault in caught.value.faults] == ["reservoir[1].colour"]


def test_entries_of_a_folder_are_its_case_files_in_order(tmp_path: Path) -> None:
    for name in ("b.toml", "a/c.toml", ".hidden.toml", "notes.txt"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    assert [entry.id for entry in batch.entries(tmp_path)] == ["a/c", "b"]


@pytest.mark.parametrize("name", ["../x", ".x", "a/b", "", "x" * 65])
def test_an_id_that_is_no_folder_name_is_a_fault(tmp_path: Path, name: str) -> None:
    (entry,) = batch.entries(write_lines(tmp_path / "cases.jsonl", {"id": name}))
    assert [fault.where for fault in entry.faults] == ["id"]


def test_a_second_case_of_one_id_is_a_fault(tmp_path: Path) -> None:
    one, other = batch.entries(write_lines(tmp_path / "cases.jsonl", {"id": "A1"}, {"id": "a1"}))
    assert (one.faults, [fault.problem for fault in other.faults]) == ((), ["line 1 has the same id"])


@pytest.mark.parametrize("name", ["nothing-there", "cases.txt", "empty"])
def test_refuses_what_is_no_caseload(tmp_path: Path, name: str) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "cases.txt").touch()
    with pytest.raises(CompanionError):
        list(batch.entries(tmp_path / name))


# ── one case ────────────────────────────────────────────────────────────────────────────────────


def test_a_guide_is_made_once(job: batch.Job) -> None:
    before = {path: path.stat().st_mtime_ns for path in job.out.rglob("*")}
    assert batch.make_one(entry_of(), job).state == "kept"
    assert {path: path.stat().st_mtime_ns for path in job.out.rglob("*")} == before


def test_the_manifest_names_what_it_was_made_from_and_the_hash_of_each_file(job: batch.Job) -> None:
    held = json.loads((job.out / "rosa" / batch.MANIFEST).read_bytes())
    files = snapshot(job.out / "rosa")
    del files[batch.MANIFEST]
    assert held["files"] == files
    assert {name.split(".")[1] for name in files} == {"en"}
    assert held["made_with"] == job.made_with
    assert "ab" * 16 not in json.dumps(held)  # never the clinic's key
    assert case_from_dict(held["case"], "the manifest") == a_case()


@pytest.mark.parametrize(
    "harm",
    [
        pytest.param(lambda folder: (folder / "guide.en.pdf").write_bytes(b"half"), id="half a file"),
        pytest.param(lambda folder: (folder / "guide.en.html").unlink(), id="a file gone"),
        pytest.param(lambda folder: (folder / batch.MANIFEST).unlink(), id="killed before the manifest"),
        pytest.param(lambda folder: (folder / batch.MANIFEST).write_bytes(b"{"), id="a manifest that is no JSON"),
        pytest.param(lambda folder: (folder / ".guide.en.pdf.x7").write_bytes(b"half"), id="killed while writing"),
        pytest.param(lambda folder: (folder / ".manifest.json.x7").write_bytes(b"{"), id="killed at the manifest"),
    ],
)
def test_a_harmed_guide_is_made_whole_again(job: batch.Job, harm: Any) -> None:
    undisturbed = snapshot(job.out)
    harm(job.out / "rosa")
    batch.make_one(entry_of(), job)
    assert snapshot(job.out) == undisturbed


def test_a_changed_case_is_made_anew_and_leaves_no_file_of_the_old_one(job: batch.Job) -> None:
    assert batch.make_one(entry_of({"patient.languages": ["es"]}), job).state == "made"
    assert {path.name.split(".")[1] for path in job.out.rglob("*.pdf")} == {"es"}


def test_a_newer_program_makes_it_anew(job: batch.Job) -> None:
    newer = replace(job, made_with=job.made_with | {"templates": "others"})
    assert batch.make_one(entry_of(), newer).state == "made"


def test_a_language_that_is_not_there_is_a_fault(job: batch.Job) -> None:
    result = batch.make_one(entry_of({"patient.languages": ["en", "tlh"]}), job)
    assert (result.state, [fault.where for fault in result.faults]) == ("faulty", ["patient.languages[2]"])
    assert not list(job.out.rglob("*.tlh.*"))


# ── the run ─────────────────────────────────────────────────────────────────────────────────────


def test_one_bad_case_never_stops_the_rest(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cases = write_lines(
        tmp_path / "cases.jsonl",
        case_dict({"prescription.rest.flow": "20 L/min"}) | {"id": "too-fast"},
        case_dict() | {"id": "good"},
        "no case at all",
        case_dict({"portable[1].boil_off": LEFT_OUT}) | {"id": "incomplete"},
    )
    words = ["batch", str(cases), "--out", str(tmp_path / "out"), "--keys", str(tmp_path / "k"), "--processes", "2"]
    assert main(words) == 2
    assert "1 made, 0 left as they were, 3 with faults." in capsys.readouterr().out
    told = [json.loads(line) for line in (tmp_path / "out" / "errors.jsonl").read_text(encoding="utf-8").splitlines()]
    assert [(found["line"], found["where"]) for found in told if found["line"] != 1] == [
        (3, "the line"),
        (4, "portable[1].boil_off"),
    ]
    assert {found["where"] for found in told if found["line"] == 1} >= {"reservoir[1].max_flow", "portable[1].max_flow"}
    report = (tmp_path / "out" / "errors.txt").read_text(encoding="utf-8")
    assert f"{cases}, line 4 (incomplete)" in report
    assert (tmp_path / "out" / "good" / batch.MANIFEST).is_file()

    # Put right, the same command makes the rest, and the report is gone.
    write_lines(cases, case_dict() | {"id": "too-fast"}, case_dict() | {"id": "good"})
    assert main(words) == 0
    assert "1 made, 1 left as they were, 0 with faults." in capsys.readouterr().out
    assert not list((tmp_path / "out").glob("errors.*"))


def test_same_bytes_from_two_processes_as_from_one(tmp_path: Path) -> None:
    cases = numbered_cases(tmp_path / "cases.jsonl", 2)
    keys = tmp_path / "k"
    keys.write_text("cd" * 32, encoding="ascii")
    main(["batch", str(cases), "--out", str(tmp_path / "out"), "--keys", str(keys), "--processes", "2"])
    one = batch.Job(tmp_path / "here", keys, ("en",), batch.made_with(keys))
    for entry in batch.entries(cases):
        batch.make_one(entry, one)
    assert snapshot(tmp_path / "out") == snapshot(tmp_path / "here")


def test_a_case_that_ends_its_process_costs_no_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The worker's own function is replaced by one that dies on one case: only a fault of the interpreter does so."""
    monkeypatch.setattr(batch, "make_one", _make_or_die)
    cases = write_lines(tmp_path / "cases.jsonl", *({"id": name} for name in ("a", "dies", "b", "c", "d", "e")))
    job = batch.Job(tmp_path / "out", tmp_path / "k", ("en",), {})
    states = {found.entry.id: found.state for found in batch._results(batch.entries(cases), job, 2)}
    assert states == dict.fromkeys("abcde", "made") | {"dies": "faulty"}


def _make_or_die(entry: batch.Entry, _: batch.Job) -> batch.Result:
    if entry.id == "dies":
        os._exit(9)
    return batch.Result(entry, "made")


def test_killed_at_any_moment_a_second_run_ends_as_an_undisturbed_one(tmp_path: Path) -> None:
    """A short form of ``tests/benchmarks/kill.py``, which does the same fifty times."""
    cases = numbered_cases(tmp_path / "cases.jsonl", 2)
    (tmp_path / "k").write_text("cd" * 32, encoding="ascii")

    def command(out: str) -> list[str]:
        words = ["batch", str(cases), "--out", str(tmp_path / out), "--keys", str(tmp_path / "k"), "--processes", "2"]
        return [sys.executable, "-m", "companion", *words]

    subprocess.run(command("undisturbed"), check=True, capture_output=True)  # noqa: S603
    running = subprocess.Popen(command("killed"), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # noqa: S603
    deadline = time.monotonic() + 60
    while not list((tmp_path / "killed").rglob("guide.*.pdf")) and time.monotonic() < deadline:
        time.sleep(0.01)
    running.send_signal(signal.SIGKILL)
    running.wait()
    assert snapshot(tmp_path / "killed") != snapshot(tmp_path / "undisturbed")
    subprocess.run(command("killed"), check=True, capture_output=True)  # noqa: S603
    assert snapshot(tmp_path / "killed") == snapshot(tmp_path / "undisturbed")


# ── recall ──────────────────────────────────────────────────────────────────────────────────────


def test_recall_lists_the_guides_whose_figures_have_changed(job: batch.Job, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copytree(job.out / "rosa", job.out / "amir")
    path = job.out / "rosa" / batch.MANIFEST
    held = json.loads(path.read_bytes())
    today = held["figures"]["portable-1 rest"]
    held["figures"]["portable-1 rest"] = "400 300 200 100"
    path.write_text(json.dumps(held), encoding="utf-8")
    (found,) = batch.changed_since(job.out, "0.1.0")
    assert (found.id, found.changed) == ("rosa", (f"portable-1 rest: 400 300 200 100 → {today}",))
    assert main(["batch", "--changed-since", "0.1.0", "--out", str(job.out)]) == 0
    assert "1 guides carry older figures." in capsys.readouterr().out
    # Guides of a newer program are not asked about.
    assert list(batch.changed_since(job.out, "0.0.9")) == []


def test_recall_tells_a_guide_that_today_would_be_refused(job: batch.Job) -> None:
    path = job.out / "rosa" / batch.MANIFEST
    held = json.loads(path.read_bytes())
    held["case"]["portable"][0]["boil_off"] = "9 kg/day"
    path.write_text(json.dumps(held), encoding="utf-8")
    (found,) = batch.changed_since(job.out, "1.0")
    assert "today's checks refuse it: portable[1].boil_off" in found.changed[0]


def test_refuses_what_is_no_version(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["batch", "--changed-since", "last week", "--out", str(tmp_path)]) == 2
    assert "'last week' is no version" in capsys.readouterr().err
