"""Writing a file whole or not at all."""

import os
import tempfile
from pathlib import Path

from companion.errors import SettingError


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that nobody ever sees half of it: to a temporary file beside it, then renamed.

    Raises:
        SettingError: the folder cannot be written to, or the disk is full.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            Path(name).chmod(0o644)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise SettingError(f"{path} cannot be written: {error.strerror}. Nothing was left behind.") from error
