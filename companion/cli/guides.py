"""One patient's guide, made and held against today: the commands guide and recheck."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from companion.cli import options
from companion.cli.options import (
    case_argument,
    case_file,
    for_programs_option,
    keys_option,
    loaded_keys,
    quiet_option,
    told,
)
from companion.cli.parsing import Commands, command
from companion.errors import CompanionError, harmless
from companion.files import STDIN
from companion.guide.sheet_names import SHEETS, is_sheet_file, picked, told_apart

if TYPE_CHECKING:
    from companion.case import Case
    from companion.language.locale import Locale


def add_commands(commands: Commands) -> None:
    """Add them to the parser."""
    guide = command(
        commands,
        "guide",
        _guide,
        "make the home guide and its sheets, as HTML and PDF, the guide as plain text too",
        "guide case.toml",
        "guide case.toml --language ar --with en --out for-the-family",
        "guide case.toml --only fridge,wallet",
        "guide - --out made < case.toml",
    )
    case_argument(guide)
    guide.add_argument("--out", type=Path, metavar="FOLDER", help="default: a folder named after the case, here")
    guide.add_argument(
        "--only",
        metavar="SHEETS",
        help=f"default: {','.join(SHEETS)}; short: the pages to live by alone; text: the guide as plain text alone",
    )
    guide.add_argument(
        "--language",
        metavar="TAG",
        help="default: the languages that the case names, else en; of several, each guide has the same pages",
    )
    guide.add_argument(
        "--with",
        dest="beside",
        metavar="TAG",
        help="set a second language under each line, to point at with a patient",
    )
    for_programs_option(guide)
    keys_option(guide)
    quiet_option(guide)

    recheck = command(
        commands,
        "recheck",
        _recheck,
        "hold guides against today's figures: same (exit 0), stale (1) or not ours (2)",
        "recheck harbour-lane/guide.en.pdf",
        "recheck photo-of-the-code.jpg --case case.toml",
        "recheck */guide.*.pdf --quiet",
    )
    recheck.add_argument(
        "guide", type=Path, nargs="+", metavar="GUIDE", help="its HTML, its PDF, or a photo of its QR code"
    )
    for_programs_option(recheck)
    recheck.add_argument("--case", type=case_file, metavar="CASE", help="hold it against today's order as well")
    keys_option(recheck)
    recheck.add_argument("--quiet", action="store_true", help="name only those that are not the same")


def _guide(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.export.answer import as_json_line, before_handing_over
    from companion.files import write_set
    from companion.make import make_family_set
    from companion.reckoning.plan import plan

    sheets = picked(arguments.only)
    folder = _folder(arguments.out, arguments.case)
    case = read_case(arguments.case, arguments.today)
    made = plan(case)
    tags = [arguments.language] if arguments.language else case.patient.languages or ["en"]
    locales = [_locale(tag, arguments, case) for tag in tags]
    keys = loaded_keys(arguments)
    if case.clinic.link_base is None and not arguments.quiet:
        print(
            "No 'link_base' is set for the clinic, so the code on the guide holds the short table itself.",
            file=sys.stderr,
        )
    files = {told_apart(name, case): data for name, data in make_family_set(case, made, locales, keys, sheets)}
    gone = write_set(folder, files.items(), is_sheet_file)
    notices = before_handing_over(case, made, arguments.today)
    if arguments.format == "json":
        written = {"files": [folder / name for name in files], "removed": [folder / name for name in gone]}
        print(as_json_line({"file": arguments.case, **written, "notices": notices}), end="")
        return 0
    if not arguments.quiet:
        for name in files:
            print(f"Wrote {folder / name}")
        for name in gone:
            print(f"Removed {folder / name}, of an older set")
    print(told(arguments, notices), end="")
    return 0


def _folder(named: Path | None, case: Path) -> Path:
    """Return where a set is written: as it was told, else beside whoever asks, in the name of the case."""
    if named is None:
        if case is STDIN:
            raise CompanionError("A case that comes down the pipe gives its folder no name: add --out FOLDER.")
        return Path(case.stem)
    if named.suffix.casefold() in (".html", ".pdf", ".txt"):
        raise CompanionError(
            f"A set is many files, and {harmless(str(named))} has the name of one: name a folder. One sheet alone: "
            "--only fridge; the table alone: 'companion table CASE --out table.pdf'."
        )
    return named


def _locale(tag: str, arguments: argparse.Namespace, case: "Case") -> "Locale":
    """Return a language, with a second one beside it where that was asked for."""
    from companion.language.locale import Bilingual

    first = options.locale(tag, case.clinic.region)
    if arguments.beside is None:
        return first
    return Bilingual(tag, case.clinic.region, options.locale(arguments.beside, case.clinic.region))


def _recheck(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.export.answer import as_json_line, error_answer
    from companion.link.keys import default_key_file, load_keys
    from companion.recheck.verdict import recheck

    keys = load_keys(arguments.keys or default_key_file())
    order = read_case(arguments.case) if arguments.case else None
    worst = 0
    for guide in arguments.guide:
        try:
            verdict = recheck(guide, keys, options.today(), order)
        except CompanionError as error:  # it costs no other guide its verdict
            worst = 2
            if arguments.format == "json":
                print(as_json_line({"file": guide, **error_answer(error)}), end="")
            else:
                print(harmless(str(error)), file=sys.stderr)
            continue
        worst = max(worst, {"same": 0, "stale": 1, "not ours": 2}[verdict.state])
        if arguments.format == "json":
            answer = {"file": guide, "state": verdict.state, "reasons": verdict.reasons}
            print(as_json_line(answer | {"looked_at": verdict.looked_at}), end="")
        elif not (arguments.quiet and verdict.state == "same"):
            print("\n    ".join([f"{harmless(str(guide))}: {verdict.state}", *verdict.reasons]))
            if verdict.looked_at and not arguments.quiet:
                print(verdict.looked_at)
    return worst
