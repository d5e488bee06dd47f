"""Which guides carry older figures: found among manifests that may be cut, changed or another program's."""

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from companion import __version__
from companion.batch.manifest import MANIFEST
from companion.batch.one import Job, make_one
from companion.batch.recall import recalls
from companion.cli import main
from tests.batch.loads import entry_of
from tests.caseload import snapshot

OLDER = "400 300 200 100"


def rewritten(folder: Path, change: Callable[[dict[str, Any]], object]) -> None:
    path = folder / MANIFEST
    held = json.loads(path.read_bytes())
    change(held)
    path.write_text(json.dumps(held), encoding="utf-8")


def with_older_figures(held: dict[str, Any]) -> None:
    held["figures"]["portable-1 rest"] = OLDER


def test_it_lists_the_guides_whose_figures_have_changed(job: Job, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copytree(job.out / "rosa", job.out / "amir")
    today = json.loads((job.out / "rosa" / MANIFEST).read_bytes())["figures"]["portable-1 rest"]
    rewritten(job.out / "rosa", with_older_figures)
    (found,) = recalls(job.out, __version__)
    assert (found.place, found.why) == ("rosa", (f"portable-1 rest: {OLDER} → {today}",))
    assert main(["batch", "--changed-since", __version__, "--out", str(job.out)]) == 0
    assert "1 guides carry older figures." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("program", "until", "found"),
    [
        ("0.1.0", "0.1.0", True),
        ("0.1.0", "0.0.9", False),
        ("0.9", "0.10", True),  # as numbers, not as text
        ("0.1.0rc1", "0.1.0", True),
        ("0.1.0", "0.1.0rc1", False),
        ("1.0.dev3+local", "1.0", True),
        ("no version at all", "0.0.1", True),  # it may be of any
        ("", "0.0.1", True),
        ("9" * 5000, "0.0.1", True),  # Python reads no number of so many digits
    ],
)
def test_it_asks_about_guides_of_that_version_and_older_ones(job: Job, program: str, until: str, found: bool) -> None:
    rewritten(job.out / "rosa", with_older_figures)
    rewritten(job.out / "rosa", lambda held: held["made_with"].update(program=program))
    assert [guide.place for guide in recalls(job.out, until)] == ["rosa"] * found


def test_a_guide_that_was_taken_out_of_reach_may_be_at_a_patient_s_home(job: Job) -> None:
    rewritten(job.out / "rosa", with_older_figures)
    (job.out / "do-not-hand-over").mkdir()
    (job.out / "rosa").rename(job.out / "do-not-hand-over" / "rosa")
    assert [guide.place for guide in recalls(job.out, __version__)] == ["do-not-hand-over/rosa"]


def test_it_tells_a_guide_that_today_would_be_refused(job: Job) -> None:
    rewritten(job.out / "rosa", lambda held: held["case"]["portable"][0].update(boil_off="9 kg/day"))
    (found,) = recalls(job.out, "1.0")
    assert "today's checks refuse it: portable[1].boil_off" in found.why[0]


@pytest.mark.parametrize("words", ["last week", "", "1.x", "٣.x"])
def test_it_refuses_what_is_no_version(words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["batch", "--changed-since", words, "--out", str(tmp_path)]) == 2
    assert f"'{words}' is no version" in capsys.readouterr().err


def test_it_refuses_a_folder_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["batch", "--changed-since", "1.0", "--out", str(tmp_path / "none")]) == 2
    assert "There is no folder" in capsys.readouterr().err


# ── manifests that are not as this program writes them ──────────────────────────────────────────

WHOLE_TEXTS: list[bytes] = [
    b"",
    b"{",
    b"null",
    b"true",
    b"5",
    b'"rosa"',
    b"[]",
    b"{}",
    b'{"name": "my web app", "icons": []}',
    b"\xff\xfe{\x00}\x00",
    b"\x00" * 100,
    b"[" * 100_000,
    b'{"a":' * 100_000,
    b"9" * 10_000,
    b'{"id": "rosa", "id": "amir"}',
    b"x" * (2 << 20),
]
"""What may stand in the place of a manifest: nothing, half, nesting, numbers, another program's, 2 MB."""

WRONG_VALUES: dict[str, list[Any]] = {
    "files": [
        *(None, 5, [], "x", {"guide.en.html": None}, {"guide.en.html": 5}, {"guide.en.html": "no hash"}),
        *(
            {name: "0" * 64}
            for name in ("../../precious.txt", "/etc/passwd", "", ".", "x\x00y", "guide.en.exe", "a/guide.en.pdf")
        ),
    ],
    "made_with": [None, 5, [], "0.1.0", {"program": None}, {"program": {"a": "b"}}],
    "figures": [None, 5, [], {"portable-1 rest": 5}, {"portable-1 rest": None}],
    "case": [None, 5, [], "x"],
    "id": [None, 5, [], "../../x", "..", "/", "", "a//b", "x\x00y", "a/../../b"],
    "languages": [None, 5, "en", [5]],
    "case_mac": [None, 5, []],
}
"""Values for one field of a manifest that is right but for it."""

HOSTILE: list[bytes | tuple[str, Any]] = [
    *WHOLE_TEXTS,
    *((field, value) for field, values in WRONG_VALUES.items() for value in values),
]


def put(folder: Path, hostile: bytes | tuple[str, Any]) -> None:
    if isinstance(hostile, bytes):
        (folder / MANIFEST).write_bytes(hostile)
    else:
        rewritten(folder, lambda held: held.update([hostile]))


def test_there_are_more_than_fifty() -> None:
    assert len(HOSTILE) >= 50


@pytest.fixture(scope="module")
def beside_hostile(made_once: Job, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an output folder with one guide of older figures and a set for each hostile manifest."""
    out = tmp_path_factory.mktemp("hostile") / "out"
    shutil.copytree(made_once.out / "rosa", out / "zoe")
    rewritten(out / "zoe", with_older_figures)
    for number, hostile in enumerate(HOSTILE):
        shutil.copytree(made_once.out / "rosa", out / f"h{number:02}")
        put(out / f"h{number:02}", hostile)
    return out


def test_each_is_told_and_none_stops_the_list(beside_hostile: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = snapshot(beside_hostile)
    found = {guide.place: guide for guide in recalls(beside_hostile, "9.9.9")}
    assert set(found) == {"zoe", *(f"h{number:02}" for number in range(len(HOSTILE)))}
    assert all(guide.program is None for place, guide in found.items() if place != "zoe")
    assert main(["batch", "--changed-since", "9.9.9", "--out", str(beside_hostile)]) == 2
    told = capsys.readouterr()
    assert "1 guides carry older figures." in told.out
    assert f"{len(HOSTILE)} more say nothing about their figures" in told.err
    assert snapshot(beside_hostile) == before


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [
        ("case", {}, "today's checks refuse it: issued"),
        ("case", {"issued": "x" * 100_000}, "today's checks refuse it: issued"),
        ("case", {"\x1b[31m": 5}, "today's checks refuse it"),
        ("figures", {}, "nothing → "),
    ],
)
def test_a_manifest_that_is_well_formed_but_says_nothing_true_is_listed(
    field: str, value: Any, why: str, job: Job, capsys: pytest.CaptureFixture[str]
) -> None:
    rewritten(job.out / "rosa", lambda held: held.update({field: value}))
    (found,) = recalls(job.out, "9.9.9")
    assert why in found.why[0]
    assert main(["batch", "--changed-since", "9.9.9", "--out", str(job.out)]) == 0
    assert "\x1b" not in capsys.readouterr().out


def test_what_is_no_file_is_not_read(job: Job) -> None:
    os.mkfifo(job.out / "rosa" / "pipe")
    (job.out / "rosa" / MANIFEST).unlink()
    (job.out / "rosa" / MANIFEST).symlink_to("/dev/zero")
    shutil.copytree(job.out / "rosa", job.out / "amir", symlinks=True, ignore=shutil.ignore_patterns("pipe"))
    (job.out / "amir" / MANIFEST).unlink()
    os.mkfifo(job.out / "amir" / MANIFEST)
    assert [(guide.place, guide.why) for guide in recalls(job.out, "1.0")] == [
        (place, ("look at it by hand: there is no manifest.json",)) for place in ("amir", "rosa")
    ]


@pytest.mark.parametrize("hostile", [b"", b"{", HOSTILE[16], ("files", [])], ids=["empty", "cut", "null", "a list"])
def test_the_next_run_makes_the_set_whole_again(job: Job, hostile: bytes | tuple[str, Any]) -> None:
    undisturbed = snapshot(job.out)
    put(job.out / "rosa", hostile)
    assert make_one(entry_of(), job).state == "made"
    assert snapshot(job.out) == undisturbed
