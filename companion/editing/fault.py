"""What can be wrong with a page, and by how much two edges may differ that are meant to be the same."""

from dataclasses import dataclass
from typing import Literal

Kind = Literal[
    "outside the margins",
    "over the foot",
    "text over text",
    "text over a drawing",
    "drawing over a drawing",
    "text on a line",
    "heading alone",
    "box parted",
    "step parted from its drawing",
    "caption parted from its table",
    "header row alone",
    "header row not repeated",
    "row over two pages",
    "less than half full",
    "number parted from its unit",
    "code not readable",
    "type too small",
    "body too small",
    "number of pages",
]

SAME = 2.0
"""Points by which edges may differ that are meant to be the same."""

THIN = 6.0
"""Points: a stroke that is no thicker is a line."""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong on a page."""

    page: int
    kind: Kind
    words: str
    """The words in question."""

    def __str__(self) -> str:
        return f"page {self.page}: {self.kind}: {self.words}"
