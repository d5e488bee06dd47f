"""The clinic's keys: what signs a code, and what a code must be signed with to be read.

A key file holds a key a line, newest first: the first signs, all are read, so an old key stays until the guides that
it signed are replaced.
"""

import hashlib
import os
import re
import secrets
import stat
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import platformdirs
from filelock import FileLock

from companion.errors import SettingError

_KEY = re.compile(r"[0-9a-fA-F]{64}")
_LONGEST_WAIT_S = 10

_ONLY_ITS_OWN = 0o027
"""Rights that nobody needs: others may not read it, and a group that serves the pages may only read it."""


@dataclass(frozen=True)
class Keys:
    """The keys of one file, newest first."""

    secrets: tuple[bytes, ...]

    def signing(self) -> bytes:
        """Return the key for new codes."""
        return self.secrets[0]

    def numbered(self, number: int) -> list[bytes]:
        """Return the keys that a code may mean; two keys in 256 share a number."""
        return [key for key in self.secrets if key_number(key) == number]

    def fingerprints(self) -> list[str]:
        """Return what two machines can compare without showing a key: 16 signs for each, newest first."""
        return [_fingerprint(key) for key in self.secrets]

    def unlike(self, other: Sequence[str]) -> list[str]:
        """Return what two machines do unlike each other, in sentences; nothing where they have the same keys.

        Args:
            other: the fingerprints of the other machine, the key that signs there first.
        """
        mine = self.fingerprints()
        told = []
        if mine[0] != other[0]:
            told.append(f"This machine signs with {mine[0]}, the other one with {other[0]}.")
        told += [f"The other machine does not read codes of {mark}." for mark in mine if mark not in other]
        told += [f"This machine does not read codes of {mark}." for mark in other if mark not in mine]
        return told


class KeyFile:
    """A key file as it is at the moment, for a program that runs for months: read again when it has changed."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._state: tuple[int, ...] = ()
        self._keys = Keys(())

    def keys(self) -> Keys:
        """Return the keys that the file holds now.

        Raises:
            SettingError: it cannot be read or used now; no key of before is used in its place.
        """
        try:
            entry = self._path.stat()
        except OSError as error:
            self._state = ()
            raise _unusable(self._path, error) from error
        state = (entry.st_ino, entry.st_size, entry.st_mtime_ns, entry.st_ctime_ns)
        if state != self._state:
            self._keys = load_keys(self._path)
            self._state = state
        return self._keys


def default_key_file() -> Path:
    """Return where the clinic's keys lie unless told otherwise: in the settings of whoever runs the program."""
    return platformdirs.user_config_path("companion", appauthor=False) / "link.keys"


def clinic_key_file(named: Path | None) -> Path:
    """Return the key file that was named, or the default one, which is made on first use.

    A file that was named is never made: a slip of the pen would sign with a key that nobody else has.

    Raises:
        SettingError: the default one cannot be made.
    """
    if named is not None:
        return named
    path = default_key_file()
    if not path.exists():
        _write(path, [], secrets.token_hex(32))
    return path


def load_keys(path: Path) -> Keys:
    """Read a key file: one key of 64 hexadecimal digits a line, newest first; a line with ``#`` is a note.

    Raises:
        SettingError: it is not there, is open to others, or holds something else.
    """
    try:
        rights = path.stat().st_mode
        lines = path.read_bytes().splitlines()
    except OSError as error:
        raise _unusable(path, error) from error
    if os.name == "posix" and rights & _ONLY_ITS_OWN:
        raise SettingError(
            f"The key file {path} can be read or changed by others on this machine (mode {rights & 0o777:o}). Whoever "
            f"has the key can sign guides. Close it with 'chmod 600 {path}'; if it was open for long, put a new key "
            "on top with 'companion keys --new'."
        )
    keys = []
    for number, line in enumerate(lines, start=1):
        words = line.decode("ascii", errors="replace").strip()
        if not words or words.startswith("#"):
            continue
        if not _KEY.fullmatch(words):
            raise SettingError(
                f"Line {number} of the key file {path} is no key: it has {len(words)} signs, a key has 64, each a "
                "digit or a letter from a to f. Restore the file from the clinic's back-up."
            )
        keys.append(bytes.fromhex(words))
    if not keys:
        raise SettingError(
            f"The key file {path} holds no key. Restore it from the clinic's back-up. If this clinic never had one, "
            "remove the file: a new one is made with 'companion keys --new'."
        )
    return Keys(tuple(keys))


def add_key(path: Path) -> Keys:
    """Put a new key on top of a key file, and make the file where there is none. What stands in it stays.

    Raises:
        SettingError: the file cannot be used as it is, or cannot be written.
    """
    path = path.resolve()  # a link to the file stays one
    # Of two at once, each would write what it had read, and one key would be lost that may have signed already.
    with _alone(path):
        before: list[str] = []
        if path.exists():
            load_keys(path)
            before = path.read_text(encoding="ascii", errors="replace").splitlines()
        _write(path, before, secrets.token_hex(32))
        return load_keys(path)


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        lock = FileLock(path.with_name(f".{path.name}.lock"), timeout=_LONGEST_WAIT_S)
        lock.acquire()
    except OSError as error:
        raise SettingError(f"The key file {path} cannot be changed: {error.strerror or error}.") from error
    with lock:
        yield


def back_up(path: Path, copy: Path) -> None:
    """Copy a key file, its notes too, open to its owner alone, and read the copy.

    Raises:
        SettingError: something else has that name, or it cannot be written.
    """
    keys = load_keys(path)
    if copy.exists():
        if copy.is_file() and load_keys(copy) == keys:
            return
        raise SettingError(
            f"There is something else at {copy}, and it may be the back-up of another key. Give another name."
        )
    _write(copy, [], path.read_text(encoding="ascii", errors="replace").rstrip("\n"))
    if load_keys(copy) != keys:
        raise SettingError(f"{copy} does not read as {path} does. Remove it, and try another disk.")


def other_fingerprints(words: Sequence[str]) -> list[str]:
    """Return the fingerprints of another machine, from its key file or as it shows them, with or without spaces.

    Raises:
        SettingError: they are neither.
    """
    path = Path(words[0])
    if len(words) == 1 and path.is_file():
        return load_keys(path).fingerprints()
    digits = "".join("".join(words).split()).casefold()
    if not re.fullmatch(r"([0-9a-f]{16})+", digits):
        raise SettingError(
            "That is no fingerprint and no key file. A fingerprint is four groups of four digits or letters from a to "
            "f, as 'companion keys' shows it on the other machine, such as 'a1b2 c3d4 e5f6 0718'."
        )
    marks = [digits[start : start + 16] for start in range(0, len(digits), 16)]
    return [" ".join(mark[start : start + 4] for start in range(0, 16, 4)) for mark in marks]


def _write(path: Path, before: list[str], key: str) -> None:
    """Write a key file whole or not at all: a new one open to its owner alone, a former one to whom it was."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".link.keys.")
        try:
            with os.fdopen(handle, "w", encoding="ascii") as file:
                file.write("\n".join([key, *before]) + "\n")
                if before:
                    # A server of the public pages may read it by its group alone, and must still.
                    former = path.stat()
                    os.chown(name, former.st_uid, former.st_gid)
                    Path(name).chmod(stat.S_IMODE(former.st_mode))
                file.flush()
                os.fsync(file.fileno())
            if before:
                Path(name).replace(path)
            else:
                _put_unless_there(Path(name), path)
        finally:
            Path(name).unlink(missing_ok=True)
    except OSError as error:
        raise SettingError(
            f"The key file {path} cannot be written: {error.strerror}. Nothing was left behind."
        ) from error


def _put_unless_there(written: Path, path: Path) -> None:
    """Give a file its name, unless another program was quicker: its key may already have signed."""
    try:
        path.hardlink_to(written)
    except FileExistsError:
        return


def _unusable(path: Path, error: OSError) -> SettingError:
    if isinstance(error, FileNotFoundError):
        return SettingError(
            f"There is no key file {path}. Look at the spelling, or copy the clinic's key file to this place. A new "
            f"key would not read the codes that the old one signed; if the clinic has none yet, make it with "
            f"'companion keys --new --keys {path}'."
        )
    return SettingError(f"The key file {path} cannot be read: {error.strerror}.")


def key_number(key: bytes) -> int:
    """Return the byte by which a code names its key."""
    return hashlib.sha256(b"number" + key).digest()[0]


def _fingerprint(key: bytes) -> str:
    digits = hashlib.sha256(b"fingerprint" + key).hexdigest()[:16]
    return " ".join(digits[start : start + 4] for start in range(0, 16, 4))
