"""The clinic's keys: made once, seen when they change, refused with the remedy when something is wrong."""

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from companion.cli import main
from companion.errors import SettingError
from companion.link.keys import KeyFile, add_key, clinic_key_file, default_key_file, load_keys


def key_file(folder: Path, content: bytes, mode: int = 0o600) -> Path:
    """Write a key file with any content."""
    path = folder / "link.keys"
    path.write_bytes(content)
    path.chmod(mode)
    return path


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A user's settings in which nothing stands yet; the key file that belongs there."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    return tmp_path / "settings" / "companion" / "link.keys"


# ── making ──────────────────────────────────────────────────────────────────────────────────────


def test_the_default_file_is_made_once_and_only_its_owner_reads_it(settings: Path) -> None:
    assert clinic_key_file(None) == default_key_file() == settings
    first = load_keys(settings)
    assert stat.S_IMODE(settings.stat().st_mode) == 0o600
    assert len(first.signing()) == 32
    assert load_keys(clinic_key_file(None)) == first
    assert [path.name for path in settings.parent.iterdir()] == ["link.keys"]


def test_where_keys_lie(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    assert default_key_file() == tmp_path / ".config" / "companion" / "link.keys"


def test_first_use_by_several_at_once_makes_one_key(settings: Path) -> None:
    script = "from companion.link.keys import *; print(load_keys(clinic_key_file(None)).fingerprints())"
    command = [sys.executable, "-c", script]
    together = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(4)]
    told = {process.communicate()[0] for process in together}
    assert told == {f"{load_keys(settings).fingerprints()}\n"}


def test_a_file_that_was_named_is_never_made(settings: Path, tmp_path: Path) -> None:
    slip = tmp_path / "lnik.keys"
    with pytest.raises(SettingError, match=r"There is no key file .*spelling"):
        load_keys(clinic_key_file(slip))
    assert not slip.exists()
    assert not settings.exists()


FULL_DISK = Path("/dev/full")


@pytest.mark.skipif(not FULL_DISK.exists(), reason="needs /dev/full")
def test_a_full_disk_leaves_nothing(settings: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def on_full_disk(handle: int, mode: str, encoding: str) -> object:
        # What is written goes where nothing fits; the file itself is made as always.
        os.close(handle)
        return FULL_DISK.open(mode, encoding=encoding)

    monkeypatch.setattr(os, "fdopen", on_full_disk)
    with pytest.raises(SettingError, match="No space left"):
        clinic_key_file(None)
    assert not list(settings.parent.iterdir())
    monkeypatch.undo()
    monkeypatch.setenv("XDG_CONFIG_HOME", str(settings.parent.parent))
    assert load_keys(clinic_key_file(None))


def test_a_new_key_goes_on_top_and_the_old_one_stays(tmp_path: Path) -> None:
    path = tmp_path / "new" / "link.keys"
    first = add_key(path)
    path.write_text("# of 2026\n" + path.read_text(encoding="ascii"), encoding="ascii")
    second = add_key(path)
    assert len(second.secrets) == 2
    assert second.secrets[1] == first.signing()
    assert "# of 2026" in path.read_text(encoding="ascii")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert {name.name for name in path.parent.iterdir()} == {"link.keys", ".link.keys.lock"}


def test_new_keys_by_several_at_once_are_all_kept(tmp_path: Path) -> None:
    path = tmp_path / "link.keys"
    script = f"from companion.link.keys import *; print(add_key(Path({str(path)!r})).fingerprints()[0])"
    command = [sys.executable, "-c", script]
    together = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(4)]
    told = {process.communicate()[0].strip() for process in together}
    assert len(told) == 4
    assert told == set(load_keys(path).fingerprints())


def test_a_new_key_changes_nothing_of_who_may_read_the_file(tmp_path: Path) -> None:
    path = key_file(tmp_path, b"ab" * 32, 0o640)
    (tmp_path / "link").symlink_to(path)
    add_key(tmp_path / "link")
    assert (tmp_path / "link").is_symlink()
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert len(load_keys(path).secrets) == 2


def test_no_new_key_is_put_on_a_file_that_is_broken(tmp_path: Path) -> None:
    path = key_file(tmp_path, b"ab" * 31)
    with pytest.raises(SettingError):
        add_key(path)
    assert path.read_bytes() == b"ab" * 31


# ── reading ─────────────────────────────────────────────────────────────────────────────────────


def test_a_key_file_may_hold_notes_and_older_keys(tmp_path: Path) -> None:
    path = key_file(tmp_path, f"# since 2026\n{'ab' * 32}\n\n  {'CD' * 32}  \r\n".encode())
    assert load_keys(path).secrets == (b"\xab" * 32, b"\xcd" * 32)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "holds no key"),
        (b"# only a note\n", "holds no key"),
        (b"ab\n", "Line 1 .* has 2 signs"),
        (b"zz" * 32, "Line 1"),
        (b"ab " * 32, "Line 1"),
        (b"ab" * 31, "has 62 signs"),
        (b"\xff\xfe", "Line 1"),
        (b"\x00" * 4096, "Line 1"),
        (b"ab" * 32 + b"\n\n" + b"cd" * 16, "Line 3 .* has 32 signs"),
    ],
)
def test_a_bad_key_file_is_refused_and_left_alone(tmp_path: Path, content: bytes, told: str) -> None:
    path = key_file(tmp_path, content)
    with pytest.raises(SettingError, match=told) as refused:
        load_keys(path)
    assert "back-up" in str(refused.value)
    assert str(path) in str(refused.value)
    assert path.read_bytes() == content


def test_no_digit_of_a_key_is_shown(tmp_path: Path) -> None:
    path = key_file(tmp_path, b"0123456789abcdef" * 4 + b"\n" + b"fedcba98" * 7)
    with pytest.raises(SettingError) as refused:
        load_keys(path)
    assert "fedcba98" not in str(refused.value)


@pytest.mark.parametrize(("mode", "right"), [(0o600, True), (0o400, True), (0o640, True), (0o644, False)])
def test_a_key_file_that_others_can_read_is_refused(tmp_path: Path, mode: int, right: bool) -> None:
    path = key_file(tmp_path, b"ab" * 32, mode)
    if right:
        assert load_keys(path).secrets == (b"\xab" * 32,)
        return
    with pytest.raises(SettingError, match=r"chmod 600.*keys --new"):
        load_keys(path)


@pytest.mark.parametrize("mode", [0o660, 0o620, 0o602, 0o666, 0o777, 0o604])
def test_a_key_file_that_others_can_change_is_refused(tmp_path: Path, mode: int) -> None:
    with pytest.raises(SettingError, match=f"mode {mode:o}"):
        load_keys(key_file(tmp_path, b"ab" * 32, mode))


def test_a_folder_is_no_key_file(tmp_path: Path) -> None:
    with pytest.raises(SettingError, match="Is a directory"):
        load_keys(tmp_path)


# ── seen when it changes ────────────────────────────────────────────────────────────────────────


def test_a_running_program_sees_each_change(tmp_path: Path) -> None:
    path = tmp_path / "link.keys"
    old = add_key(path)
    file = KeyFile(path)
    assert file.keys() == old
    both = add_key(path)
    assert file.keys() == both
    path.write_text(both.signing().hex(), encoding="ascii")
    assert file.keys().secrets == (both.signing(),)
    for broken in ("", "ab" * 31):
        path.write_text(broken, encoding="ascii")
        for _ in range(2):  # each time, not the first alone
            with pytest.raises(SettingError):
                file.keys()
    path.unlink()
    with pytest.raises(SettingError, match="There is no key file"):
        file.keys()
    again = add_key(path)
    assert file.keys() == again
    path.chmod(0o644)
    with pytest.raises(SettingError, match="chmod"):
        file.keys()


# ── the command ─────────────────────────────────────────────────────────────────────────────────


def test_two_machines_can_be_compared(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path, copied = tmp_path / "desk.keys", tmp_path / "server.keys"
    assert main(["keys", "--keys", str(path)]) == 2
    assert "companion keys --new" in capsys.readouterr().err
    assert main(["keys", "--new", "--keys", str(path)]) == 0
    assert main(["keys", "--new", "--keys", str(path)]) == 0
    copied.write_bytes(path.read_bytes())
    copied.chmod(0o600)
    capsys.readouterr()
    for file in (path, copied):
        assert main(["keys", "--keys", str(file)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[1:3] == lines[4:6]
    assert lines[1].endswith("signs")
    assert lines[2].endswith("is still read")
    for key in load_keys(path).secrets:
        assert key.hex()[:8] not in "".join(lines)


def test_a_slip_of_the_pen_signs_nothing(settings: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["guide", "examples/harbour-lane.toml", "--out", str(tmp_path / "out"), "--keys", str(tmp_path / "slip")]
    assert main(words) == 2
    assert "There is no key file" in capsys.readouterr().err
    assert not (tmp_path / "slip").exists()
    assert not (tmp_path / "out").exists()
    assert not settings.exists()
