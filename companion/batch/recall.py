"""Which guides that were made before carry figures that are no longer computed."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from packaging.version import Version

from companion import __version__
from companion.batch.folders import sets
from companion.batch.manifest import ManifestError, read_manifest
from companion.case.read import accepted_case
from companion.errors import CaseError, CompanionError
from companion.reckoning.figures import changes, figures
from companion.reckoning.plan import plan


@dataclass(frozen=True)
class Recall:
    """A guide that carries figures which are no longer computed, or of which nobody can say."""

    place: str
    """Its folder, below the output folder."""
    program: str | None
    """The version of the program that made it; None where its manifest does not say."""
    why: tuple[str, ...]


def recalls(out: Path, newest: str) -> Iterator[Recall]:
    """Yield the guides under a folder, made by version ``newest`` or an older one, whose figures are others today.

    A set whose manifest cannot be read is among them, because its figures may be others as well.

    Raises:
        CompanionError: that is no version, or there is no such folder.
    """
    until = _version(newest)
    if until is None:
        raise CompanionError(f"'{newest}' is no version; write it as '{__version__}'.")
    if not out.is_dir():
        raise CompanionError(f"There is no folder {out}.")
    for place in sets(out, withdrawn=True):
        try:
            manifest = read_manifest(out / place)
        except ManifestError as error:
            yield Recall(place, None, (f"look at it by hand: {error}",))
            continue
        program = manifest.made_with.get("program", "")
        made_by = _version(program)
        # Whatever names no version may be of any.
        if made_by is not None and made_by > until:
            continue
        try:
            case = accepted_case(manifest.case, place)
        except CaseError as error:
            why = [f"today's checks refuse it: {fault.where}: {fault.problem}" for fault in error.faults]
        else:
            why = changes(manifest.figures, figures(case, plan(case)))
        if why:
            yield Recall(place, program, tuple(why))


def _version(text: str) -> Version | None:
    try:
        return Version(text)
    except ValueError:  # no version, or one with a number of thousands of digits
        return None
