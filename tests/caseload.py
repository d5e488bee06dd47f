"""Files of a caseload: written for a run, and taken stock of after it."""

import hashlib
import json
from pathlib import Path


def write_lines(path: Path, *lines: object) -> Path:
    """Write JSON Lines, and return their path."""
    path.write_text("".join(json.dumps(line, default=str) + "\n" for line in lines), encoding="utf-8")
    return path


def snapshot(folder: Path) -> dict[str, str]:
    """Return every file below a folder, hidden ones too, with its hash."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
