"""The run: one bad case never stops the rest, two runs exclude each other, and no old guide is handed over."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from companion.batch import folders, run
from companion.batch.entries import Entry, entries
from companion.batch.folders import INDEX, NOTICES
from companion.batch.manifest import MANIFEST
from companion.batch.one import Job, Result, make_one
from companion.cli import main
from companion.guide.notice_words import notice_words
from companion.reckoning.plan import plan
from tests.batch.loads import batch_words, job_in, numbered_cases, sets_in, started, write_files, write_keys
from tests.caseload import snapshot, write_lines
from tests.cases import LEFT_OUT, a_case, case_dict


def test_one_bad_case_never_stops_the_rest(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cases = write_lines(
        tmp_path / "cases.jsonl",
        case_dict({"prescription.rest.flow": "20 L/min"}) | {"id": "too-fast"},
        case_dict() | {"id": "good"},
        "no case at all",
        case_dict({"portable[1].boil_off": LEFT_OUT}) | {"id": "incomplete"},
        case_dict({"patient.name": "\ud800"}) | {"id": "no-text"},
        case_dict({"patient.name": "བསྟན་འཛིན"}) | {"id": "no-font"},
    )
    words = batch_words(cases, tmp_path / "out", write_keys(tmp_path))
    assert main(words) == 2
    assert "1 made, 0 left as they were, 5 with faults." in capsys.readouterr().out
    told = [json.loads(line) for line in (tmp_path / "out" / "errors.jsonl").read_text(encoding="utf-8").splitlines()]
    assert [(found["line"], found["where"]) for found in told if found["line"] != 1] == [
        (3, "the line"),
        (4, "portable[1].boil_off"),
        (5, "patient.name"),
        (6, "patient.name"),
    ]
    assert {found["where"] for found in told if found["line"] == 1} >= {"reservoir[1].max_flow", "portable[1].max_flow"}
    report = (tmp_path / "out" / "errors.txt").read_text(encoding="utf-8")
    assert f"{cases}, line 4 (incomplete)" in report
    assert "U+0F56 TIBETAN LETTER BA" in report
    assert (tmp_path / "out" / "good" / MANIFEST).is_file()

    # Put right, the same command makes the rest, and the report is gone.
    write_lines(cases, case_dict() | {"id": "too-fast"}, case_dict() | {"id": "good"})
    assert main(words) == 0
    assert "1 made, 1 left as they were, 0 with faults." in capsys.readouterr().out
    assert not list((tmp_path / "out").glob("errors.*"))


def test_odd_files_cost_no_other(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cases = write_files(tmp_path / "cases", {"good": {}, os.fsdecode(b"m\xfcller"): {}, "bad\x1b[31m": None})
    os.mkfifo(cases / "pipe.toml")
    (cases / "gone.toml").symlink_to(tmp_path / "nowhere")
    assert main(batch_words(cases, tmp_path / "out", write_keys(tmp_path))) == 2
    assert "1 made, 0 left as they were, 4 with faults." in capsys.readouterr().out
    report = (tmp_path / "out" / "errors.txt").read_text(encoding="utf-8")
    assert "m\\udcfcller.toml" in report
    assert "bad\\u001b[31m.toml" in report
    assert len((tmp_path / "out" / "errors.jsonl").read_text(encoding="utf-8").splitlines()) == 4


def test_same_bytes_from_two_processes_as_from_one(tmp_path: Path) -> None:
    cases = numbered_cases(tmp_path / "cases.jsonl", 2)
    job = job_in(tmp_path)
    main(batch_words(cases, tmp_path / "two", job.key_file, 2))
    for entry in entries(cases):
        make_one(entry, job)
    assert snapshot(job.out) == {
        name: digest
        for name, digest in snapshot(tmp_path / "two").items()
        if not name.startswith((".batch/", NOTICES, *INDEX))  # of the run, not of a case
    }


def test_what_must_be_known_of_each_guide_stands_in_one_report(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    changes = {"clinic.policy": {"flow_tolerance_percent": 0}}
    cases = write_lines(tmp_path / "cases.jsonl", case_dict(changes) | {"id": "no-margin"})
    words = [*batch_words(cases, tmp_path / "out", write_keys(tmp_path)), "--format", "json"]
    for made in (1, 0):  # made, and then left as it was
        assert main(words) == 0
        answer = json.loads(capsys.readouterr().out)
        assert (answer["made"], answer["kept"], answer["faulty"]) == (made, 1 - made, 0)
        report = Path(answer["notices"]).read_text(encoding="utf-8")
        assert report.startswith("no-margin\n")
        assert all(notice_words(notice) in report for notice in plan(a_case(changes)).notices)


def test_an_order_past_its_review_date_is_a_fault_and_its_old_guide_is_taken_out_of_reach(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cases = write_lines(tmp_path / "cases.jsonl", case_dict() | {"id": "late"})
    words = batch_words(cases, tmp_path / "out", write_keys(tmp_path))
    assert main([*words, "--today", "2027-05-03"]) == 0  # to be reviewed by that day
    assert sets_in(tmp_path / "out") == {"late"}
    capsys.readouterr()
    assert main([*words, "--today", "2027-05-04", "--format", "json"]) == 2
    answer = json.loads(capsys.readouterr().out)
    assert answer["withdrawn"] == ["late"]
    assert "a guide is not made from it" in Path(answer["errors"]).read_text(encoding="utf-8")
    assert sets_in(tmp_path / "out") == set()


# ── cases that are gone or faulty now ───────────────────────────────────────────────────────────


def test_the_old_guide_of_a_case_that_is_gone_or_faulty_is_taken_out_of_reach(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, keys = tmp_path / "out", write_keys(tmp_path)
    cases = write_files(tmp_path / "cases", {"rosa": {}, "ward/amir": {"patient.name": "Amir"}, "lena": {}})
    words = batch_words(cases, out, keys)
    assert main(words) == 0
    assert sets_in(out) == {"rosa", "ward/amir", "lena"}
    before = snapshot(out / "rosa")
    (out / "rosa" / "note.txt").write_text("said yes", encoding="utf-8")
    capsys.readouterr()

    (cases / "rosa.toml").unlink()
    write_files(cases, {"ward/amir": {"prescription.rest.flow": "20 L/min"}})
    assert main(words) == 2
    told = capsys.readouterr().out
    assert "0 made, 1 left as they were, 1 with faults." in told
    assert "do not hand them over.\n    rosa\n    ward/amir\n" in told
    assert sets_in(out) == {"lena"}
    assert snapshot(out / "do-not-hand-over" / "rosa") == before
    assert (out / "rosa" / "note.txt").read_text(encoding="utf-8") == "said yes"

    # Back again, it has a guide again, and the old one is gone.
    write_files(cases, {"rosa": {"prescription.exertion.flow": "3 L/min"}, "ward/amir": {}})
    assert main(words) == 0
    assert sets_in(out) == {"rosa", "ward/amir", "lena"}
    assert not list((out / "do-not-hand-over").rglob("*.*"))
    assert (out / "rosa" / "note.txt").read_text(encoding="utf-8") == "said yes"


def test_a_guide_whose_making_was_stopped_stays(tmp_path: Path, job: Job) -> None:
    """A run that did not come to its end knows nothing about the cases that it did not see."""
    cases = write_lines(tmp_path / "cases.jsonl", case_dict() | {"id": "rosa"}, case_dict() | {"id": "amir"})

    def stop(_: Result) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run.run(cases, job, 1, stop)
    assert "rosa" in sets_in(job.out)
    assert "It did not come to every case" in (job.out / "errors.txt").read_text(encoding="utf-8")


def test_a_folder_of_other_cases_is_refused(tmp_path: Path, job: Job, capsys: pytest.CaptureFixture[str]) -> None:
    before = snapshot(job.out)
    cases = write_lines(tmp_path / "others.jsonl", case_dict() | {"id": "amir"})
    assert main(batch_words(cases, job.out, job.key_file)) == 2
    assert "holds the guides of other cases (1, such as rosa)" in capsys.readouterr().err
    assert {name: hash_ for name, hash_ in snapshot(job.out).items() if not name.startswith(".batch/")} == before


def test_a_strange_folder_is_told_and_stays(tmp_path: Path, job: Job, capsys: pytest.CaptureFixture[str]) -> None:
    (job.out / "site").mkdir()
    (job.out / "site" / MANIFEST).write_text('{"name": "my web app"}', encoding="utf-8")
    (job.out / "cut").mkdir()
    (job.out / "cut" / "guide.en.pdf").write_bytes(b"half")
    cases = write_lines(tmp_path / "cases.jsonl", case_dict() | {"id": "rosa"})
    before = snapshot(job.out)
    assert main(batch_words(cases, job.out, job.key_file)) == 2
    told = capsys.readouterr().err
    assert "cut: there is no manifest.json" in told
    assert "site: its manifest.json is not as this program writes it" in told
    assert before.items() <= snapshot(job.out).items()


# ── processes ───────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("case_id", "problem"),
    [("dies", "its process ended with 9"), ("hangs", "not made in 2 seconds"), ("fails", "Zero")],
)
def test_a_case_that_ends_or_hangs_its_process_costs_no_other(
    case_id: str, problem: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The worker's own function is replaced by one that fails on one case: only a fault of a library does so."""
    monkeypatch.setattr(run, "make_one", _make_or_fail)
    monkeypatch.setattr(run, "_LONGEST_CASE_S", 2)
    cases = write_lines(tmp_path / "cases.jsonl", *({"id": name} for name in ("a", case_id, "b", "c", "d", "e")))
    job = Job(tmp_path / "out", tmp_path / "k", ("en",), {})
    (job.out / ".batch").mkdir(parents=True)
    results = {found.entry.id: found for found in run._results(entries(cases), job, 2)}
    assert {name: found.state for name, found in results.items()} == dict.fromkeys("abcde", "made") | {
        case_id: "faulty"
    }
    assert problem in results[case_id].faults[0].problem


def _make_or_fail(entry: Entry, _: Job) -> Result:
    if entry.id == "dies":
        os._exit(9)
    if entry.id == "hangs":
        time.sleep(60)
    if entry.id == "fails":
        1 / 0  # noqa: B018
    return Result(entry, "made")


def test_a_second_run_into_the_same_folder_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cases = numbered_cases(tmp_path / "cases.jsonl", 1)
    words = batch_words(cases, tmp_path / "out", write_keys(tmp_path))
    with folders.alone(tmp_path / "out"):
        assert main(words) == 2
    assert f"Another run is writing into {tmp_path / 'out'}." in capsys.readouterr().err
    assert not sets_in(tmp_path / "out")
    assert main(words) == 0


def test_a_run_waits_for_the_workers_of_a_killed_one(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with folders.alone(out):
        pass
    script = "import sys, time; from pathlib import Path; from companion.batch import folders; "
    script += "lock = folders.at_work(Path(sys.argv[1])); print('begun', flush=True); time.sleep(2)"
    with subprocess.Popen([sys.executable, "-c", script, str(out)], stdout=subprocess.PIPE, text=True) as worker:
        assert worker.stdout is not None
        assert worker.stdout.readline() == "begun\n"
        with folders.alone(out):
            assert worker.poll() is not None or not list((out / ".batch").glob("worker-*"))
    assert not list((out / ".batch").glob("worker-*"))


def test_what_is_no_run_s_among_the_rests_of_one_is_told_and_stays(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "out" / ".batch" / "new" / "mine").mkdir(parents=True)
    note = tmp_path / "out" / ".batch" / "new" / "mine" / "note.txt"
    note.touch()
    cases = numbered_cases(tmp_path / "cases.jsonl", 1)
    assert main(batch_words(cases, tmp_path / "out", write_keys(tmp_path))) == 2
    assert "Look at it by hand." in capsys.readouterr().err
    assert note.exists()


def wait_for(found: Path, pattern: str) -> None:
    deadline = time.monotonic() + 300  # a machine may be busy
    while not list(found.rglob(pattern)):
        assert time.monotonic() < deadline
        time.sleep(0.01)


@pytest.mark.parametrize("times", [1, 2])
def test_stopped_from_the_keyboard_it_ends_with_a_sentence_and_a_report(tmp_path: Path, times: int) -> None:
    cases = numbered_cases(tmp_path / "cases.jsonl", 40)
    with started(batch_words(cases, tmp_path / "out", write_keys(tmp_path), 2)) as running:
        wait_for(tmp_path, "out/*/guide.en.pdf")
        for _ in range(times):
            running.send_signal(signal.SIGINT)
            time.sleep(0.02)
        _, told = running.communicate(timeout=120)
    assert (running.returncode, "Stopped." in told, "Traceback" in told) == (130, True, False), told
    assert 1 <= len(sets_in(tmp_path / "out")) < 40
    if times == 1:
        for report in ("errors.txt", NOTICES):
            assert "The run was stopped." in (tmp_path / "out" / report).read_text(encoding="utf-8")


def test_killed_at_any_moment_a_second_run_ends_as_an_undisturbed_one(tmp_path: Path) -> None:
    """A short form of ``tests/benchmarks/kill.py``, which does the same a hundred times."""
    cases, keys = numbered_cases(tmp_path / "cases.jsonl", 2), write_keys(tmp_path)

    def command(out: str) -> list[str]:
        return [sys.executable, "-m", "companion", *batch_words(cases, tmp_path / out, keys, 2)]

    subprocess.run(command("undisturbed"), check=True, capture_output=True)
    running = subprocess.Popen(command("killed"), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    wait_for(tmp_path, "killed/.batch/new/*/guide.*.pdf")
    running.send_signal(signal.SIGKILL)
    running.wait()
    assert snapshot(tmp_path / "killed") != snapshot(tmp_path / "undisturbed")
    subprocess.run(command("killed"), check=True, capture_output=True)
    assert snapshot(tmp_path / "killed") == snapshot(tmp_path / "undisturbed")
