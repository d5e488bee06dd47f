"""What goes wrong outside: a full disk, files that cannot be read, a font or a locale that is not there."""

import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from companion.batch.entries import entries
from companion.batch.manifest import MANIFEST
from companion.batch.one import Job, make_one
from companion.cli import main
from companion.render import pdf
from tests.caseload import snapshot, write_lines
from tests.cases import case_dict
from tests.conftest import TODAY, WriteCase
from tests.tools import key_file, program

LIMIT = 15_000
"""Bytes: the page of the sign for the door is some 11 kB, its PDF 20 kB, and no sheet has a smaller one."""


@pytest.fixture
def keys(tmp_path: Path) -> Path:
    return key_file(tmp_path / "link.keys")


def companion(*words: object, checkout: Path | None = None, largest_file: int | None = None) -> tuple[int, str]:
    """Run the command in a process of its own, on the tests' day; return its exit code and what it told on stderr.

    Args:
        words: what stands after ``companion``.
        checkout: where the program lies, if not here.
        largest_file: bytes after which the system refuses to write, as a full disk does.
    """

    def limit() -> None:
        if largest_file is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (largest_file, largest_file))

    done = subprocess.run(
        [sys.executable, "-m", "companion", *map(str, words), "--today", TODAY.isoformat()],
        cwd=checkout,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        preexec_fn=limit,
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stderr


def test_a_full_disk_is_told_and_leaves_no_half_file(write_case: WriteCase, keys: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    code, told = companion("guide", write_case(), "--only", "door", "--out", out, "--keys", keys, largest_file=LIMIT)
    assert code == 2
    assert "door.en.pdf cannot be written: File too large." in told
    assert "Traceback" not in told
    assert not out.exists()


def test_a_caseload_goes_on_after_a_full_disk(keys: Path, tmp_path: Path) -> None:
    cases = write_lines(tmp_path / "cases.jsonl", case_dict() | {"id": "a"}, case_dict() | {"id": "b"})
    words = ("batch", cases, "--out", tmp_path / "out", "--keys", keys, "--processes", 1)
    code, told = companion(*words, largest_file=LIMIT)
    assert code == 2
    assert "cannot be written: File too large." in told
    assert "Traceback" not in told
    assert companion(*words)[0] == 0
    assert not list((tmp_path / "out" / ".batch" / "new").iterdir())
    assert len(list((tmp_path / "out").rglob(MANIFEST))) == 2


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Callable[[str], Path]]:
    """Return what mounts a disk of a size such as ``"400k"``; it needs root, and a system that lets root mount."""
    place = tmp_path / "small"
    place.mkdir()

    def mount(size: str) -> Path:
        # A second call makes the disk larger or smaller and keeps what is on it.
        options = f"{'remount,' if place.is_mount() else ''}size={size}"
        done = subprocess.run(
            [program("mount"), "-t", "tmpfs", "-o", options, "tmpfs", place], capture_output=True, check=False
        )
        if done.returncode:
            pytest.skip(f"no disk can be mounted here: {done.stderr.decode().strip()}")
        return place

    yield mount
    if place.is_mount():
        subprocess.run([program("umount"), place], check=True)


def test_a_disk_that_is_full_is_told_and_leaves_no_half_file(
    write_case: WriteCase, keys: Path, small_disk: Callable[[str], Path]
) -> None:
    out = small_disk("20k")
    code, told = companion("guide", write_case(), "--only", "door", "--out", out, "--keys", keys)
    assert code == 2
    assert "door.en.pdf cannot be written: No space left on device." in told
    assert "Traceback" not in told
    assert not list(out.iterdir())


def test_a_caseload_that_filled_the_disk_is_resumed_with_more_room(
    keys: Path, tmp_path: Path, small_disk: Callable[[str], Path]
) -> None:
    cases = write_lines(tmp_path / "cases.jsonl", *(case_dict() | {"id": name} for name in "ab"))
    out = small_disk("2m")  # a set is some 1.4 MB
    words = ("batch", cases, "--out", out, "--keys", keys, "--processes", 1)
    code, told = companion(*words)
    assert code == 2
    assert "No space left on device." in told
    assert "Traceback" not in told
    small_disk("30m")
    before = snapshot(out / "a")
    assert set(before) > {MANIFEST}
    assert not (out / "b").exists()
    assert companion(*words)[0] == 0
    assert snapshot(out / "a") == before
    # Both are the same home, so what was made after the disk was full is held against what was made before.
    del before[MANIFEST]
    assert before.items() < snapshot(out / "b").items()
    assert not list((out / ".batch" / "new").iterdir())


@pytest.mark.parametrize("command", ["guide", "batch"])
def test_an_output_folder_that_cannot_be_is_told(
    command: str, write_case: WriteCase, keys: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "out").write_text("a file stands here", encoding="utf-8")
    words = [command, str(write_case()), "--out", str(tmp_path / "out" / "below"), "--keys", str(keys)]
    assert main(words) == 2
    assert "cannot be written" in capsys.readouterr().err
    assert (tmp_path / "out").read_text(encoding="utf-8") == "a file stands here"


def test_a_case_file_that_cannot_be_read_costs_no_other(keys: Path, tmp_path: Path) -> None:
    (tmp_path / "cases" / "folder.toml").mkdir(parents=True)
    (tmp_path / "cases" / "gone.toml").symlink_to(tmp_path / "nowhere")
    job = Job(tmp_path / "out", keys, ("en",), {})
    results = [make_one(entry, job) for entry in entries(tmp_path / "cases")]
    problems = [result.faults[0].problem for result in results]
    assert problems == ["it cannot be read: Is a directory", "it cannot be read: No such file or directory"]


def test_a_failed_set_leaves_the_old_one_as_it_was(write_case: WriteCase, keys: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    words = ("guide", write_case(), "--only", "wallet,door", "--out", out, "--keys", keys)
    assert companion(*words)[0] == 0
    before = snapshot(out)
    write_case({"prescription.rest.flow": "4 L/min", "prescription.exertion.flow": "4 L/min"})
    assert companion(*words, largest_file=LIMIT)[0] == 2
    assert snapshot(out) == before


def test_a_font_that_is_not_installed_is_named(
    write_case: WriteCase,
    keys: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setitem(sys.modules, "manimgx_fonts", None)  # what Python does for a package that is not there
    for kept in (pdf._compiler, pdf._fonts):
        kept.cache_clear()
    try:
        words = ["guide", str(write_case()), "--only", "door", "--out", str(tmp_path / "out"), "--keys", str(keys)]
        assert main(words) == 2
    finally:
        for kept in (pdf._compiler, pdf._fonts):
            kept.cache_clear()
    assert "The font package 'manimgx-fonts' is missing" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("gone", "told"),
    [
        ("locales/es/messages.po", "The translations of 'es' cannot be read"),
        ("locales/es", "There is no language 'es'"),
        ("locales", "The folder 'locales' is missing"),
        ("templates", "The folder 'templates' is missing"),
    ],
)
def test_a_part_of_the_program_that_is_not_there_is_named(
    gone: str, told: str, write_case: WriteCase, keys: Path, tmp_path: Path
) -> None:
    checkout = tmp_path / "checkout"
    for name in ("companion", "locales", "templates"):
        shutil.copytree(name, checkout / name)  # with what Python has compiled
    if (checkout / gone).is_dir():
        shutil.rmtree(checkout / gone)
    else:
        (checkout / gone).unlink()
    words = ("guide", write_case(), "--only", "door", "--language", "es", "--out", tmp_path / "out", "--keys", keys)
    code, error = companion(*words, checkout=checkout)
    assert (code, told in error, "Traceback" in error) == (2, True, False), error


def test_a_batch_that_was_stopped_leaves_what_it_made(keys: Path, tmp_path: Path) -> None:
    """A key file that cannot be used is no fault of a case: the run ends at once, and nothing is lost."""
    cases = write_lines(tmp_path / "cases.jsonl", case_dict() | {"id": "a"})
    words = ("batch", cases, "--out", tmp_path / "out", "--processes", 1, "--keys")
    assert companion(*words, keys)[0] == 0
    before = snapshot(tmp_path / "out")
    key_file(tmp_path / "no.keys", "no key")
    code, told = companion(*words, tmp_path / "no.keys")
    assert (code, "Traceback" in told) == (2, False)
    assert snapshot(tmp_path / "out") == before
