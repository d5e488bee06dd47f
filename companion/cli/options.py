"""Words that several commands understand, and where they write."""

import argparse
import datetime as dt
import sys
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from companion.link.keys import Keys

Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"  # noqa: SLF001 - it has no other name
"""What a command is added to."""


def today() -> dt.date:
    """Read the clock, for every command that was not told the day."""
    return dt.date.today()


def case_argument(parser: argparse.ArgumentParser) -> None:
    """Let a command read a case file, on a day."""
    parser.add_argument("case", type=Path, metavar="CASE", help="a case file, as in the examples folder")
    day_option(parser)


def day_option(parser: argparse.ArgumentParser) -> None:
    """Let a command be told the day."""
    parser.add_argument(
        "--today",
        type=_date,
        default=today(),
        metavar="DATE",
        help="the day on which the guide is made, such as 2026-11-02; default: the clock's",
    )


def _date(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is no date; write it as 2026-11-02") from None


def for_programs_option(parser: argparse.ArgumentParser) -> None:
    """Let a command answer a program."""
    parser.add_argument("--format", choices=("text", "json"), default="text", help="json: for a program that reads it")


def language_option(parser: argparse.ArgumentParser) -> None:
    """Let a command speak another language."""
    parser.add_argument("--language", default="en", metavar="TAG", help="default: en; see 'companion locales'")


def keys_option(parser: argparse.ArgumentParser) -> None:
    """Let a command use another key file."""
    parser.add_argument(
        "--keys",
        type=Path,
        metavar="FILE",
        help="the clinic's key file; default: companion/link.keys in your settings, which is made on first use",
    )


def loaded_keys(arguments: argparse.Namespace) -> "Keys":
    """Return the keys that were named, or the clinic's own."""
    from companion.link.keys import clinic_key_file, load_keys

    return load_keys(clinic_key_file(arguments.keys))


def put(out: Path | None, data: bytes) -> int:
    """Write to a file, or show what would stand in it."""
    from companion.files import write_whole

    if out is None:
        sys.stdout.buffer.write(data)
    else:
        write_whole(out, data)
        print(f"Wrote {out}")
    return 0
