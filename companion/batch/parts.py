"""A caseload divided among several runs, on one machine or many, that know nothing of each other.

Each part has its folder, its lock and its reports. To which part a case belongs, its id alone decides.
"""

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path

from companion.batch.folders import sets
from companion.batch.manifest import is_ours
from companion.errors import CompanionError, harmless

_FOLDER = re.compile(r"part-\d+-of-(\d+)")


@dataclass(frozen=True)
class Part:
    """One of several parts of a caseload."""

    number: int
    """From 1."""
    of: int

    def has(self, case_id: str) -> bool:
        """Tell whether a case belongs to this part; it does so whatever other cases come or go."""
        return (
            int.from_bytes(hashlib.sha256(case_id.encode("utf-8", "surrogatepass")).digest()[:8]) % self.of
            == self.number - 1
        )


WHOLE = Part(1, 1)


def part_folder(out: Path, part: Part) -> Path:
    """Return where one part of a caseload lies, below the folder of all its parts.

    Raises:
        CompanionError: guides lie there undivided or divided otherwise: one of a case could lie in two places.
    """
    for place in sorted(out.iterdir()) if out.is_dir() else ():
        found = _FOLDER.fullmatch(place.name)
        divided_so = found is not None and int(found[1]) == part.of
        if place.is_dir() and not divided_so and _holds_a_set(place):
            raise CompanionError(
                f"{harmless(str(out))} holds guides that are not divided into {part.of} parts: {harmless(place.name)}. "
                "Give another --out, or move those guides away first."
            )
    return out / f"part-{part.number}-of-{part.of}"


def _holds_a_set(place: Path) -> bool:
    return any(is_ours(entry.name) for entry in place.iterdir()) or any(True for _ in sets(place, withdrawn=True))
