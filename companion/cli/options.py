"""Words that several commands understand, and where they write."""

import argparse
import datetime as dt
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from companion.cli.parsing import Parser, one_of
from companion.errors import CompanionError, harmless
from companion.files import STDIN

if TYPE_CHECKING:
    from companion.language.locale import Locale
    from companion.link.keys import Keys

# ── what is read ────────────────────────────────────────────────────────────────────────────────


def today() -> dt.date:
    """Read the clock, for every command that was not told the day."""
    return dt.date.today()


_OTHER_FILES = {
    ".csv": "may hold many cases: 'companion batch' makes their guides",
    ".jsonl": "may hold many cases: 'companion batch' makes their guides",
    ".json": "is no case file: 'companion fhir' makes one of a FHIR bundle",
    ".html": "is no case file: 'companion recheck' holds a finished guide against today's figures",
    ".pdf": "is no case file: 'companion recheck' holds a finished guide against today's figures",
}


def piped(text: str) -> Path:
    """Return the path of a file to read; ``-`` is what comes down the pipe."""
    return STDIN if text == "-" else Path(text)


def case_file(text: str) -> Path:
    """Return the path of a case file.

    Raises:
        ArgumentTypeError: its name says that it is something else.
    """
    path = piped(text)
    if (other := _OTHER_FILES.get(path.suffix.casefold())) is not None:
        raise argparse.ArgumentTypeError(f"{harmless(text)} {other}")
    return path


def case_argument(parser: Parser, *, many: bool = False) -> None:
    """Let a command read a case file, or many, on a day."""
    if many:
        parser.add_argument("case", type=case_file, nargs="+", metavar="CASE", help=_CASE_FILE)
    else:
        parser.add_argument("case", type=case_file, metavar="CASE", help=_CASE_FILE)
    day_option(parser)


_CASE_FILE = "a case file, as in the examples folder; -: what comes down the pipe"


def day_option(parser: Parser) -> None:
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
        raise argparse.ArgumentTypeError(f"'{harmless(text)}' is no date; write it as 2026-11-02") from None


def language_option(parser: Parser) -> None:
    """Let a command speak another language."""
    parser.add_argument("--language", default="en", metavar="TAG", help="default: en; see 'companion locales'")


def locale(tag: str, region: str) -> "Locale":
    """Return a language, with the formats of a region.

    Raises:
        SettingError: there is no such language.
    """
    from companion.language.catalogue import settings
    from companion.language.locale import Locale

    settings(tag)
    return Locale(tag, region)


def keys_option(parser: Parser) -> None:
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


# ── what is written ─────────────────────────────────────────────────────────────────────────────


def format_option(parser: Parser, *kinds: str) -> None:
    """Let a command answer in several forms, the first where nothing says another."""
    words = (*kinds,)
    told = f"default: {words[0]}; json: for a program that reads it"
    parser.add_argument("--format", type=one_of(words), choices=words, help=told)


def for_programs_option(parser: Parser) -> None:
    """Let a command answer a program."""
    format_option(parser, "text", "json")


def out_option(parser: Parser) -> None:
    """Let a command write a file of a kind that its name can say."""
    parser.add_argument("--out", type=Path, metavar="FILE", help="write to a file; its name says its kind: table.csv")


_KINDS = {".txt": "text", ".json": "json", ".csv": "csv", ".html": "html", ".pdf": "pdf", ".ics": "ics"}


def kind_of(arguments: argparse.Namespace, *kinds: str) -> str:
    """Return in which of some forms a command answers: as it was told, or as the name of its file says.

    Raises:
        CompanionError: the two say unlike things, or the name says nothing.
    """
    told: str | None = arguments.format
    out: Path | None = arguments.out
    if out is None:
        return told or kinds[0]
    named = _KINDS.get(out.suffix.casefold())
    shown = harmless(str(out))
    if told is not None:
        if named not in (None, told):
            raise CompanionError(f"--format {told} does not go with the name {shown}. Leave one of them out.")
        return told
    if named not in kinds:
        ends = ", ".join(end for end, kind in _KINDS.items() if kind in kinds)
        raise CompanionError(f"The name {shown} does not say what to write. End it in one of {ends}, or add --format.")
    return named


def put(out: Path | None, data: bytes, *, quiet: bool = False) -> int:
    """Write to a file, or show what would stand in it."""
    from companion.files import write_whole

    if out is None:
        sys.stdout.buffer.write(data)
    else:
        write_whole(out, data)
        if not quiet:
            print(f"Wrote {out}")
    return 0


# ── what is told beside it ──────────────────────────────────────────────────────────────────────


def quiet_option(parser: Parser) -> None:
    """Let a command keep to what was asked for."""
    parser.add_argument(
        "--quiet",
        action="store_true",
        help="say no more than was asked for; faults, and that oxygen may run out, are said all the same",
    )


def told(arguments: argparse.Namespace, notices: Sequence[Mapping[str, Any]]) -> str:
    """Return as lines what must be known before handing over; where it shall be quiet, the first rank alone."""
    from companion.export.answer import notice_lines

    return notice_lines(notice["words"] for notice in notices if not arguments.quiet or notice["rank"] == 1)
