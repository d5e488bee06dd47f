"""What stands beside the sheets of a case: what they were made from, with what, and the hash of each.

Nothing in it says who the patient is. Whatever lies in an output folder may have been cut, changed or put there by
another program, so a manifest counts only after it was held against what this program writes.
"""

import hashlib
import hmac
import json
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, StringConstraints, ValidationError

from companion.case.fields import Part, fields_of
from companion.case.model import Case
from companion.errors import CompanionError
from companion.guide.sheet_names import is_sheet_file

MANIFEST = "manifest.json"
_LARGEST = 1 << 20
"""Bytes. A manifest is some 5 kB."""


class ManifestError(CompanionError):
    """A manifest that is not there, or is not as this program writes it."""


def _sheet_file(name: str) -> str:
    if not is_sheet_file(name):
        raise ValueError("this program writes no file of that name")
    return name


def _below(case_id: str) -> str:
    if "\0" in case_id or not all(part.strip(".") for part in case_id.split("/")):
        raise ValueError("it leads out of the folder")
    return case_id


class Manifest(BaseModel):
    """One set as it was made."""

    model_config = ConfigDict(frozen=True)

    id: Annotated[str, AfterValidator(_below)]
    made_with: dict[str, str]
    """Versions and hashes of all that the output depends on, apart from the case."""
    languages: list[str]
    case_mac: str = ""
    """Stands for the whole case, names too; without the clinic's key nobody can try names on it. The first manifests
    had none: their figures can still be asked about."""
    files: dict[
        Annotated[str, AfterValidator(_sheet_file)], Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
    ]
    """The SHA-256 of each file."""
    figures: dict[str, str]
    case: dict[str, Any]
    """The case without what is personal, to compute its figures anew."""


def is_ours(name: str) -> bool:
    """Return whether a run writes files of that name into the folder of a case."""
    return name == MANIFEST or is_sheet_file(name)


def read_manifest(folder: Path) -> Manifest:
    """Return the manifest of a folder.

    Raises:
        ManifestError: it is not there, cut, too large, or not as this program writes it.
    """
    path = folder / MANIFEST
    try:
        # A link or a pipe is none of ours, and could be read for ever.
        if path.is_symlink() or not path.is_file():
            raise ManifestError(f"there is no {MANIFEST}")
        if path.stat().st_size > _LARGEST:
            raise ManifestError(f"its {MANIFEST} is too large to be one of this program")
        data = path.read_bytes()
    except OSError as error:
        raise ManifestError(f"its {MANIFEST} cannot be read: {error.strerror}") from error
    try:
        return Manifest.model_validate_json(data)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(str(step) for step in first["loc"])
        raise ManifestError(
            f"its {MANIFEST} is not as this program writes it: {where or 'the file'}: {first['msg']}"
        ) from error


def as_bytes(manifest: Manifest) -> bytes:
    """Return a manifest as it is written."""
    return (json.dumps(manifest.model_dump(), indent=1, ensure_ascii=False) + "\n").encode()


def mac_of(case: Case, key: bytes) -> str:
    """Return what stands for a whole case."""
    return hmac.new(key, b"caseload" + case.model_dump_json().encode(), hashlib.sha256).hexdigest()


def without_persons(case: Case) -> dict[str, Any]:
    """Return the fields of a case that travel in its code: all but what could say who the patient is."""
    return case.model_dump(mode="json", exclude=_personal(Case))


def _personal(model: type[Part]) -> dict[str, Any]:
    """Return the personal fields of a model, nested as Pydantic takes them."""
    found: dict[str, Any] = {}
    for field in fields_of(model).values():
        if not field.in_link:
            found[field.attribute] = True
        elif field.part is not None and (below := _personal(field.part)):
            found[field.attribute] = {"__all__": below} if field.many else below
    return found
