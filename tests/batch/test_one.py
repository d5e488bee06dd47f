"""One case of a load: made once, made whole again, changed as a whole, and nothing touched that is not ours."""

import contextlib
import json
import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from companion.batch import folders, one
from companion.batch.manifest import MANIFEST
from companion.batch.one import Job, make_one
from companion.case.read import case_from_dict
from companion.errors import PrintError, SettingError
from companion.reckoning.figures import figures
from companion.reckoning.plan import plan
from tests.batch.loads import DIGITS, entry_of
from tests.caseload import snapshot
from tests.cases import PERSONAL, a_case


def pipe_in_place_of(path: Path) -> None:
    path.unlink()
    os.mkfifo(path)


def test_a_guide_is_made_once(job: Job) -> None:
    before = {path: path.stat().st_mtime_ns for path in job.out.rglob("*")}
    assert make_one(entry_of(), job).state == "kept"
    assert {path: path.stat().st_mtime_ns for path in job.out.rglob("*")} == before


def test_the_manifest_names_what_it_was_made_from_and_no_person(job: Job) -> None:
    text = (job.out / "rosa" / MANIFEST).read_text(encoding="utf-8")
    held = json.loads(text)
    files = snapshot(job.out / "rosa")
    del files[MANIFEST]
    assert held["files"] == files
    assert {name.split(".")[1] for name in files} == {"en"}
    assert held["made_with"] == job.made_with
    assert DIGITS[:32] not in text  # never the clinic's key
    assert not [name for name in PERSONAL if name in text]
    case = case_from_dict(held["case"], "the manifest")
    assert figures(case, plan(case)) == held["figures"] == figures(a_case(), plan(a_case()))


@pytest.mark.parametrize(
    "harm",
    [
        pytest.param(lambda folder: (folder / "guide.en.pdf").write_bytes(b"half"), id="half a file"),
        pytest.param(lambda folder: (folder / "guide.en.html").unlink(), id="a file gone"),
        pytest.param(lambda folder: (folder / MANIFEST).unlink(), id="killed before the manifest"),
        pytest.param(lambda folder: (folder / MANIFEST).write_bytes(b"{"), id="a manifest that is no JSON"),
        pytest.param(lambda folder: (folder / "guide.fr.pdf").write_bytes(b"old"), id="a sheet of an older set"),
        pytest.param(
            lambda folder: ((folder / "log.en.pdf").unlink(), (folder / "log.en.pdf").symlink_to("/dev/zero")),
            id="a link in the place of a sheet",
        ),
        pytest.param(
            lambda folder: pipe_in_place_of(folder / "log.en.pdf"),
            id="a pipe in the place of a sheet",
        ),
    ],
)
def test_a_harmed_guide_is_made_whole_again(job: Job, harm: Callable[[Path], object]) -> None:
    undisturbed = snapshot(job.out)
    harm(job.out / "rosa")
    make_one(entry_of(), job)
    assert snapshot(job.out) == undisturbed


def test_a_changed_case_is_made_anew_and_leaves_no_file_of_the_old_one(job: Job) -> None:
    assert make_one(entry_of({"patient.languages": ["es"]}), job).state == "made"
    assert {path.name.split(".")[1] for path in job.out.rglob("*.pdf")} == {"es"}


def test_a_newer_program_makes_it_anew(job: Job) -> None:
    newer = replace(job, made_with=job.made_with | {"templates": "others"})
    assert make_one(entry_of(), newer).state == "made"


def test_a_language_that_is_not_there_is_a_fault(job: Job) -> None:
    result = make_one(entry_of({"patient.languages": ["en", "tlh"]}), job)
    assert (result.state, [fault.where for fault in result.faults]) == ("faulty", ["patient.languages[2]"])
    assert not list(job.out.rglob("*.tlh.*"))


def test_another_name_is_another_case(job: Job) -> None:
    assert make_one(entry_of({"patient.name": "Amir Haddad"}), job).state == "made"
    assert "Amir Haddad" in (job.out / "rosa" / "wallet.en.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("changes", [{}, {"prescription.exertion.flow": "3 L/min"}], ids=["kept", "changed"])
def test_what_else_lies_in_the_folder_stays(job: Job, changes: dict[str, object]) -> None:
    folder = job.out / "rosa"
    (folder / "notes").mkdir()
    (folder / "notes" / "guide.en.pdf").write_text("a copy", encoding="utf-8")
    (folder / "phone call.txt").write_text("said yes", encoding="utf-8")
    make_one(entry_of(changes), job)
    assert (folder / "phone call.txt").read_text(encoding="utf-8") == "said yes"
    assert (folder / "notes" / "guide.en.pdf").read_text(encoding="utf-8") == "a copy"


def test_a_run_that_was_killed_while_it_changed_a_set_loses_nothing_of_somebody_else(
    job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every moment of the change is the last one of a killed run: the renames are counted and cut off."""
    rename = Path.replace
    for killed_at in range(1, 5):
        note = job.out / "rosa" / "note.txt"
        note.write_text("said yes", encoding="utf-8")
        left = iter(range(killed_at))

        def renamed(path: Path, to: Path, left: Iterator[int] = left) -> Path:
            if next(left, None) is None:
                raise KeyboardInterrupt
            return rename(path, to)

        with monkeypatch.context() as patch:
            patch.setattr(Path, "replace", renamed)
            with contextlib.suppress(KeyboardInterrupt):
                make_one(entry_of({"prescription.exertion.flow": f"{killed_at + 1.5} L/min"}), job)
        with folders.alone(job.out):
            assert make_one(entry_of({"prescription.exertion.flow": "6 L/min"}), job).state == "made"
        assert note.read_text(encoding="utf-8") == "said yes"
        assert not list((job.out / ".batch" / "new").iterdir())


@pytest.mark.parametrize(
    ("put", "problem"),
    [
        (lambda place: place.symlink_to("/tmp"), "a link stands"),  # noqa: S108
        (lambda place: place.write_text("mine", encoding="utf-8"), "a file stands"),
        (
            lambda place: (place / "guide.en.pdf").mkdir(parents=True),
            "a folder stands in the place of one of its files",
        ),
        (
            lambda place: (place.mkdir(), (place / MANIFEST).write_text('{"name": "my web app"}', encoding="utf-8")),
            "the manifest.json of another program",
        ),
    ],
)
def test_what_stands_in_its_place_is_told_and_not_touched(
    job: Job, put: Callable[[Path], object], problem: str
) -> None:
    put(job.out / "amir")
    before = snapshot(job.out)
    result = make_one(entry_of(case_id="amir"), job)
    assert (result.state, [problem in fault.problem for fault in result.faults]) == ("faulty", [True])
    assert snapshot(job.out) == before


def test_a_link_above_its_place_is_not_followed(job: Job, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (job.out / "ward").symlink_to(tmp_path / "elsewhere")
    assert make_one(entry_of(case_id="ward/amir"), job).state == "faulty"
    assert not list((tmp_path / "elsewhere").iterdir())


@pytest.mark.parametrize("link", [".batch", ".batch/new", "do-not-hand-over", "elsewhere"])
def test_a_link_that_somebody_put_into_the_output_leads_no_run_out_of_it(job: Job, tmp_path: Path, link: str) -> None:
    other = tmp_path / "other"
    for folder in (other / "rosa", other / "new" / "rosa"):
        shutil.copytree(job.out / "rosa", folder)
    (other / "notes.txt").write_text("mine", encoding="utf-8")
    rest = job.out / ".batch" / "new" / "of a killed run"
    if not link.startswith(".batch"):
        shutil.copytree(job.out / "rosa", rest)
        (rest / "notes.txt").write_text("theirs", encoding="utf-8")
        held = json.loads((rest / MANIFEST).read_bytes())
        (rest / MANIFEST).write_text(json.dumps(held | {"id": "elsewhere"}), encoding="utf-8")
    else:
        shutil.rmtree(job.out / link)
    (job.out / link).symlink_to(other)
    before = snapshot(other)
    if link == "do-not-hand-over":
        with pytest.raises(OSError, match="a link stands"):
            folders.withdraw(job.out, "rosa")
        with pytest.raises(OSError, match="a link stands"):
            folders.change(job.out, "rosa", folders.new_folder(job.out))
    else:
        with pytest.raises(SettingError, match="a link stands"), folders.alone(job.out):
            pass
    assert snapshot(other) == before


def test_a_manifest_that_names_files_of_others_costs_them_nothing(job: Job, tmp_path: Path) -> None:
    precious = tmp_path / "precious.txt"
    precious.write_text("mine", encoding="utf-8")
    path = job.out / "rosa" / MANIFEST
    held = json.loads(path.read_bytes())
    held["files"] |= {"../../precious.txt": "0" * 64, str(precious): "0" * 64}
    path.write_text(json.dumps(held), encoding="utf-8")
    assert make_one(entry_of(), job).state == "made"
    assert precious.read_text(encoding="utf-8") == "mine"


def test_a_part_that_cannot_be_typeset_is_a_fault_and_leaves_the_old_set(
    job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The typesetter is made to refuse, because what it refuses is refused before."""

    def refuse(*_: object) -> None:
        raise PrintError("Filling", "it does not fit")

    before = snapshot(job.out / "rosa")
    monkeypatch.setattr(one, "make_family_set", refuse)
    result = make_one(entry_of({"prescription.exertion.flow": "3 L/min"}), job)
    assert (result.state, [fault.where for fault in result.faults]) == ("faulty", ["Filling"])
    assert snapshot(job.out / "rosa") == before


@pytest.mark.parametrize(("mask", "mode"), [(0o077, 0o600), (0o022, 0o644), (0o027, 0o640)])
def test_a_set_is_as_readable_as_its_owner_wants(job: Job, mask: int, mode: int) -> None:
    before = os.umask(mask)
    try:
        make_one(entry_of(case_id="amir"), job)
    finally:
        os.umask(before)
    assert {path.stat().st_mode & 0o777 for path in (job.out / "amir").iterdir()} == {mode}
    assert (job.out / "amir").stat().st_mode & 0o777 == 0o777 & ~mask
