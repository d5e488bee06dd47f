"""Cases without end, no two of them alike in flows, equipment or name."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.cases import case_dict


def raw_cases(count: int) -> Iterator[dict[str, Any]]:
    """Yield so many cases, the same ones every time."""
    for number in range(count):
        # In order, since less on exertion than at rest would be asked back.
        rest, sleep, exertion = (
            f"{1 + share * 0.25:g} L/min" for share in sorted(number * step % 19 for step in (1, 3, 7))
        )
        yield case_dict(
            {
                "patient.name": f"Patient {number}",
                "prescription.rest.flow": rest,
                "prescription.exertion.flow": exertion,
                "prescription.sleep.flow": sleep,
                "portable[1].boil_off": f"{20 + number % 23} g/h",
                "cylinder[1].count": 1 + number % 4,
                "clinic.link_base": "https://oxygen.harbour-lane.example",
            }
        ) | {"id": f"case-{number:05d}"}


def write_cases(path: Path, count: int) -> Path:
    """Write so many cases as JSON Lines."""
    lines = (json.dumps(raw, default=str) for raw in raw_cases(count))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
