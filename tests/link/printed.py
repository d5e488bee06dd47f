"""Writes the codes of the newest version anew: ``python -m tests.link.printed``, only while no guide carries it.

Each home of version 1 is printed again, so that all versions hold the same homes. Once a version is released, its
codes are on paper: a test that fails then shows a fault of the layout, and these files stay as they are.
"""

import json
from pathlib import Path
from typing import Any

from companion.link.code import decode, encode
from companion.link.keys import Keys
from companion.link.layouts import NEWEST, values_of

CODES = Path(__file__).parent / "codes"


def keys_of(path: Path) -> Keys:
    """Return the key that signed a printed code."""
    return Keys((bytes.fromhex(json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["key"]),))


def plain(value: Any) -> Any:
    """Return values as JSON holds them: amounts, numbers and dates as text."""
    if isinstance(value, dict):
        return {name: plain(inner) for name, inner in value.items()}
    if isinstance(value, list):
        return [plain(inner) for inner in value]
    return value if isinstance(value, bool | int) or value is None else str(value)


def main() -> None:
    """Write a code and what it holds for each home."""
    folder = CODES / str(NEWEST)
    folder.mkdir(exist_ok=True)
    for old in sorted((CODES / "1").glob("*.txt")):
        keys = keys_of(old)
        case = decode(old.read_text(encoding="ascii").strip(), keys)
        holds = {"key": keys.signing().hex(), "values": plain(values_of(case))}
        (folder / old.name).write_text(encode(case, keys) + "\n", encoding="ascii")
        text = json.dumps(holds, indent=1, ensure_ascii=False) + "\n"
        (folder / old.with_suffix(".json").name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
