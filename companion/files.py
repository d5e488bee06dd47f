"""Reading a file or a pipe; writing files whole or not at all, for the eyes that the user's own umask lets see them."""

import os
import secrets
import shutil
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import IO

from companion.errors import SettingError

STDIN = Path("standard input")
"""Stands for what comes down the pipe. It alone does: a file of that name is another path."""


def opened(path: Path) -> IO[bytes]:
    """Open a file, or what comes down the pipe, to read its bytes."""
    return sys.stdin.buffer if path is STDIN else path.open("rb")


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that nobody ever sees half of it: to a temporary file beside it, then renamed.

    Raises:
        SettingError: the folder cannot be written to, or the disk is full.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
        try:
            write_through(part, data)
            part.replace(path)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise SettingError(f"{path} cannot be written: {error.strerror}. Nothing was left behind.") from error


def write_through(path: Path, data: bytes) -> None:
    """Write a new file down to the disk: what is renamed before that may be empty after a power cut."""
    with path.open("xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def write_set(folder: Path, files: Iterable[tuple[str, bytes]], is_ours: Callable[[str], bool]) -> list[str]:
    """Write the files of one set into a folder, in the place of a former set.

    All are written aside first. Only then do the former ones go and the new ones come, so that no sheets of two
    orders ever lie side by side. Other files in the folder stay.

    Args:
        folder: is made where there is none.
        files: name and content of each.
        is_ours: tells from its name whether a file is one of a set.

    Returns:
        The names of the former files that have no successor.

    Raises:
        SettingError: the folder cannot be written to, or the disk is full; the former set stands.
    """
    aside = folder / f".new-{secrets.token_hex(4)}"
    new = not folder.exists()
    name = ""
    try:
        try:
            aside.mkdir(parents=True)
            for name, data in files:
                write_through(aside / name, data)
            written = {path.name for path in aside.iterdir()}
            former = {path.name for path in folder.iterdir() if is_ours(path.name)}
            for name in sorted(former):
                (folder / name).unlink()
            for name in sorted(written):
                (aside / name).replace(folder / name)
        finally:
            shutil.rmtree(aside, ignore_errors=True)
            if new and folder.is_dir() and not any(folder.iterdir()):
                folder.rmdir()
    except OSError as error:
        raise SettingError(
            f"{folder / name} cannot be written: {error.strerror}. No half set was left behind."
        ) from error
    return sorted(former - written)
