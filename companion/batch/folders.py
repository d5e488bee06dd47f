"""Where the sets of a caseload lie: written aside, changed for the old one as a whole, or taken out of reach.

    out/ID/                     the set of one case
    out/do-not-hand-over/ID/    an old set whose case is gone or faulty
    out/.batch/                 what a run is writing, and the lock that keeps a second run out
    out/part-3-of-8/            all of this for a part of the caseload, where it was divided

Only files with a name that this program writes are ever removed or moved away. What else lies in a case's folder, such
as somebody's notes, stays there. Who may write into the folder must not lead a run out of it, so no link is followed.
"""

import errno
import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from companion.batch.manifest import MANIFEST, ManifestError, is_ours, read_manifest
from companion.errors import SettingError

WITHDRAWN = "do-not-hand-over"
REPORTS = ("errors.jsonl", "errors.txt")
NOTICES = "notices.txt"
INDEX = ("index.csv", "index.html")
_WORK = ".batch"
_LONGEST_END_S = 60


def is_taken(case_id: str) -> bool:
    """Return whether an id would lie where a run keeps something else."""
    parts = case_id.casefold().split("/")
    return parts[0] in {WITHDRAWN, *REPORTS, *INDEX, NOTICES} or any(is_ours(part) for part in parts)


@contextmanager
def alone(out: Path) -> Iterator[None]:
    """Keep every other run out of an output folder, and begin with what a killed one has left lying about.

    Raises:
        SettingError: another run is at work there, or the folder cannot be written to.
    """
    try:
        _below(out, f"{_WORK}/new").mkdir(parents=True, exist_ok=True)
        lock = FileLock(out / _WORK / "lock", timeout=0)
        lock.acquire()
    except Timeout as error:
        raise SettingError(
            f"Another run is writing into {out}. Wait until it has ended, or give another --out."
        ) from error
    except OSError as error:
        raise SettingError(f"{error.filename or out} cannot be written: {error.strerror}.") from error
    with lock:
        try:
            _wait_for_workers(out)
            _tidy(out)
        except (OSError, ManifestError) as error:
            raise SettingError(
                f"What an ended run has left in {out / _WORK} cannot be tidied: {error}. Look at it by hand."
            ) from error
        yield
        _wait_for_workers(out)


def _below(out: Path, inner: str) -> Path:
    """Return a place below the output folder.

    Raises:
        OSError: the way there leads over a link, and might end in any folder of whoever runs this.
    """
    place = out
    for part in inner.split("/"):
        place /= part
        if place.is_symlink():
            raise OSError(errno.ELOOP, "a link stands in the place of a folder", str(place))
    return place


def at_work(out: Path) -> FileLock:
    """Return a lock that says that a worker is at it; held until its process ends, however that happens."""
    lock = FileLock(out / _WORK / f"worker-{os.getpid()}", timeout=0)
    lock.acquire()
    return lock


def _wait_for_workers(out: Path) -> None:
    """Wait until every worker of an ended run is gone: on a busy machine one outlives its killed parent by seconds."""
    for path in (out / _WORK).glob("worker-*"):
        with FileLock(path, timeout=_LONGEST_END_S):
            pass
        path.unlink(missing_ok=True)


def _tidy(out: Path) -> None:
    """Remove what a killed run was writing, and bring home what it had taken along."""
    for folder in (out / _WORK / "new").glob("*"):
        for entry in _strangers(folder):
            home = _below(out, read_manifest(folder).id)
            home.mkdir(parents=True, exist_ok=True)
            entry.replace(home / entry.name)
        shutil.rmtree(folder)


def obstacle(out: Path, case_id: str) -> str | None:
    """Return what stands in the place of a case's folder and must not be touched, in words; None if nothing does."""
    place = out
    for part in case_id.split("/"):
        place /= part
        if place.is_symlink():
            return "a link stands in the place of its folder"
        if place.exists() and not place.is_dir():
            return "a file stands in the place of its folder"
    if not place.is_dir():
        return None
    if any(is_ours(entry.name) for entry in _strangers(place)):
        return "a folder stands in the place of one of its files"
    if [entry.name for entry in _ours(place)] == [MANIFEST]:
        try:
            read_manifest(place)
        except ManifestError:
            return f"the {MANIFEST} of another program lies in its folder"
    return None


def new_folder(out: Path) -> Path:
    """Make a folder in which a set can be written before anybody sees it."""
    folder = _below(out, f"{_WORK}/new/{secrets.token_hex(8)}")
    folder.mkdir(parents=True)
    return folder


def change(out: Path, case_id: str, new: Path) -> None:
    """Put a whole new set in the place of the old one.

    A run that is killed meanwhile leaves the old set, the new one or none, and never a mixture.
    """
    place, withdrawn = _below(out, case_id), _below(out, f"{WITHDRAWN}/{case_id}")
    place.parent.mkdir(parents=True, exist_ok=True)
    if place.exists():
        # What else lies there goes along; should the run end here, the next one finds by the manifest where it belongs.
        for entry in _strangers(place):
            entry.replace(new / entry.name)
        old = _below(out, f"{_WORK}/new/{secrets.token_hex(8)}")
        place.replace(old)
        new.replace(place)
        shutil.rmtree(old)
    else:
        new.replace(place)
    # A set that was taken out of reach has its successor.
    _remove_ours(withdrawn)


def withdraw(out: Path, case_id: str) -> None:
    """Take a set out of reach, so that nobody who looks for it in its place hands it over."""
    place, aside = _below(out, case_id), _below(out, f"{WITHDRAWN}/{case_id}")
    _remove_ours(aside)
    aside.mkdir(parents=True, exist_ok=True)
    # The manifest goes last: as long as it stands, a run that takes this up again finds the set.
    for entry in sorted(_ours(place), key=lambda entry: entry.name == MANIFEST):
        entry.replace(aside / entry.name)
    if not any(place.iterdir()):
        place.rmdir()


def sets(out: Path, *, withdrawn: bool) -> Iterator[str]:
    """Yield the id of each set below a folder, by the names of its files; those out of reach only if asked."""
    for place, folders, files in os.walk(out):
        folder = Path(place)
        if folder == out:
            hidden = {_WORK} if withdrawn else {_WORK, WITHDRAWN}
            folders[:] = [name for name in folders if name not in hidden]
        elif any(map(is_ours, files)):
            yield folder.relative_to(out).as_posix()
        folders.sort()


def has_just(folder: Path, names: set[str]) -> bool:
    """Return whether a folder has these files of ours and no other one."""
    return {entry.name for entry in _ours(folder)} == names


def _ours(folder: Path) -> list[Path]:
    return [entry for entry in _entries(folder) if is_ours(entry.name) and not _is_folder(entry)]


def _strangers(folder: Path) -> list[Path]:
    return [entry for entry in _entries(folder) if not is_ours(entry.name) or _is_folder(entry)]


def _entries(folder: Path) -> list[Path]:
    return sorted(folder.iterdir()) if _is_folder(folder) else []


def _is_folder(entry: Path) -> bool:
    return entry.is_dir() and not entry.is_symlink()


def _remove_ours(folder: Path) -> None:
    for entry in _ours(folder):
        entry.unlink()
    if _is_folder(folder) and not any(folder.iterdir()):
        folder.rmdir()
