"""One case of a load: made anew, or left as it is where it is whole and still right."""

import datetime as dt
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from companion.batch import folders
from companion.batch.entries import Entry
from companion.batch.manifest import MANIFEST, Manifest, ManifestError, as_bytes, mac_of, read_manifest, without_persons
from companion.batch.parts import WHOLE, Part
from companion.case import Case, read_case
from companion.case.fields import CLINICIAN
from companion.case.read import case_from_dict
from companion.errors import CaseError, Fault, PrintError, SettingError
from companion.export.answer import before_handing_over
from companion.files import write_through
from companion.language.catalogue import available
from companion.language.locale import Locale
from companion.link.keys import Keys, load_keys
from companion.make import make_family_set
from companion.reckoning.figures import figures
from companion.reckoning.plan import Plan, plan


@dataclass(frozen=True)
class Job:
    """What is the same for all cases of a run."""

    out: Path
    key_file: Path
    languages: tuple[str, ...]
    """For cases that name none."""
    made_with: dict[str, str]
    """Versions and hashes of all that the output depends on, apart from the case."""
    day: dt.date | None = None
    """The day of the run, on which no order may be past its review date; None: that is not asked."""
    part: Part = WHOLE
    """Which of the cases are made."""


State = Literal["made", "kept", "faulty"]


@dataclass(frozen=True)
class Result:
    """What became of one case."""

    entry: Entry
    state: State
    faults: tuple[Fault, ...] = ()
    notices: tuple[dict[str, Any], ...] = ()
    """What the clinician must know before the guide is handed over, as ``before_handing_over`` tells it."""
    languages: tuple[str, ...] = ()
    review_date: dt.date | None = None


def make_one(entry: Entry, job: Job) -> Result:
    """Make the guide of one case in its languages, or leave it where it is whole and still right.

    Raises:
        SettingError: something is wrong that no case can help: a full disk, a key file that is gone.
    """
    try:
        if entry.raw is None:
            case = read_case(Path(entry.file), job.day)
        else:
            case = case_from_dict(entry.raw, entry.file, job.day, Path(entry.file).parent)
    except CaseError as error:
        return Result(entry, "faulty", tuple(error.faults))
    languages = tuple(case.patient.languages or job.languages)
    if faults := _without_such_languages(languages) or _kept_out(entry, job):
        return Result(entry, "faulty", faults)
    planned = plan(case)
    told = before_handing_over(case, planned, job.day or case.issued)

    def result(state: State) -> Result:
        return Result(entry, state, (), tuple(told), languages, case.prescription.review_date)

    keys = load_keys(job.key_file)
    mac = mac_of(case, keys.signing())
    if _stands(job.out / entry.id, job.made_with, languages, mac):
        return result("kept")
    try:
        new = _write(case, planned, entry.id, job, keys, languages, mac)
    except PrintError as error:
        right = "other words or letters in what was entered there"
        return Result(entry, "faulty", (Fault(error.section, entry.id, error.problem, right, CLINICIAN),))
    try:
        folders.change(job.out, entry.id, new)
    except OSError as error:
        problem = f"its folder cannot be changed: {error.strerror}"
        return Result(entry, "faulty", (_place_fault(entry, job, problem),))
    return result("made")


def _without_such_languages(languages: tuple[str, ...]) -> tuple[Fault, ...]:
    right = f"one of: {', '.join(available())}"
    return tuple(
        Fault(f"patient.languages[{place}]", tag, "there is no such language", right, CLINICIAN)
        for place, tag in enumerate(languages, start=1)
        if tag not in available()
    )


def _kept_out(entry: Entry, job: Job) -> tuple[Fault, ...]:
    problem = folders.obstacle(job.out, entry.id)
    return (_place_fault(entry, job, problem),) if problem else ()


def _place_fault(entry: Entry, job: Job, problem: str) -> Fault:
    right = "a folder of its own; move away what stands there, or give the case another id"
    return Fault("the output", str(job.out / entry.id), problem, right, CLINICIAN)


def _stands(folder: Path, made_with: dict[str, str], languages: tuple[str, ...], mac: str) -> bool:
    """Return whether a set was made from this case with this program, and is whole, with nothing of an older one."""
    try:
        held = read_manifest(folder)
        return (
            (held.made_with, held.languages, held.case_mac) == (made_with, list(languages), mac)
            and folders.has_just(folder, {*held.files, MANIFEST})
            and all(_hash_of(folder / name) == digest for name, digest in held.files.items())
        )
    except (ManifestError, OSError):
        return False


def _hash_of(path: Path) -> str | None:
    # A link or a pipe in the place of a sheet could be read for ever, and a file there may be of any size.
    if path.is_symlink() or not path.is_file():
        return None
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _write(case: Case, planned: Plan, case_id: str, job: Job, keys: Keys, languages: tuple[str, ...], mac: str) -> Path:
    """Write a whole set where nobody sees it yet, its manifest last, and return the folder."""
    hashes: dict[str, str] = {}
    try:
        folder = folders.new_folder(job.out)
        locales = [Locale(tag, case.clinic.region) for tag in languages]
        for name, data in make_family_set(case, planned, locales, keys):
            write_through(folder / name, data)
            hashes[name] = hashlib.sha256(data).hexdigest()
        manifest = Manifest(
            id=case_id,
            made_with=job.made_with,
            languages=list(languages),
            case_mac=mac,
            files=hashes,
            figures=figures(case, planned),
            case=without_persons(case),
        )
        write_through(folder / MANIFEST, as_bytes(manifest))
    except OSError as error:
        raise SettingError(
            f"{job.out} cannot be written: {error.strerror}. What was made stands, and no set is half."
        ) from error
    return folder
