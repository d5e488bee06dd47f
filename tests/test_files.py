"""Files come whole or not at all, and are as readable as their owner wants."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from companion.errors import SettingError
from companion.files import write_set, write_whole


def is_ours(name: str) -> bool:
    return name.endswith(".sheet")


@pytest.mark.parametrize(("mask", "mode"), [(0o077, 0o600), (0o022, 0o644), (0o007, 0o660)])
def test_the_umask_decides_who_may_read(mask: int, mode: int, tmp_path: Path) -> None:
    before = os.umask(mask)
    try:
        write_whole(tmp_path / "new" / "one", b"1")
        write_set(tmp_path / "set", [("a.sheet", b"1")], is_ours)
    finally:
        os.umask(before)
    for path in (tmp_path / "new" / "one", tmp_path / "set" / "a.sheet"):
        assert path.stat().st_mode & 0o777 == mode
        assert path.parent.stat().st_mode & 0o777 == 0o777 & ~mask


def test_a_file_is_on_the_disk_before_it_has_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A power cut cannot be had here, so the order of the calls is held."""
    calls: list[str] = []
    fsync, replace = os.fsync, Path.replace

    def synced(handle: int) -> None:
        calls.append("fsync")
        fsync(handle)

    def renamed(path: Path, to: Path) -> Path:
        calls.append("rename")
        return replace(path, to)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(Path, "replace", renamed)
    write_whole(tmp_path / "one", b"1")
    write_set(tmp_path, [("a.sheet", b"1"), ("b.sheet", b"2")], is_ours)
    assert calls == ["fsync", "rename", "fsync", "fsync", "rename", "rename"]


def test_a_set_takes_the_place_of_the_former_one_and_of_nothing_else(tmp_path: Path) -> None:
    for name in ("a.sheet", "old.sheet", "notes.txt"):
        (tmp_path / name).write_bytes(b"old")
    assert write_set(tmp_path, [("a.sheet", b"new"), ("b.sheet", b"new")], is_ours) == ["old.sheet"]
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {
        "a.sheet": b"new",
        "b.sheet": b"new",
        "notes.txt": b"old",
    }


@pytest.mark.parametrize("there", [True, False])
def test_a_set_that_fails_leaves_the_former_one(tmp_path: Path, there: bool) -> None:
    folder = tmp_path / "set"
    if there:
        folder.mkdir()
        (folder / "a.sheet").write_bytes(b"old")

    def files() -> Iterator[tuple[str, bytes]]:
        yield "a.sheet", b"new"
        raise OSError(28, "No space left on device")

    with pytest.raises(SettingError, match="No space left on device"):
        write_set(folder, files(), is_ours)
    assert [path.name for path in tmp_path.rglob("*")] == (["set", "a.sheet"] if there else [])
    assert not there or (folder / "a.sheet").read_bytes() == b"old"


def test_a_folder_that_cannot_be_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(SettingError, match="cannot be written"):
        write_set(tmp_path / "file" / "below", [("a.sheet", b"1")], is_ours)
