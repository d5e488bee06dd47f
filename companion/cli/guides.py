"""One patient's guide, made and held against today: the commands guide and recheck."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from companion.cli import options
from companion.cli.options import Commands, case_argument, for_programs_option, keys_option, loaded_keys
from companion.errors import harmless
from companion.guide.sheet_names import SHEETS, is_sheet_file, picked

if TYPE_CHECKING:
    from companion.case import Case
    from companion.language.locale import Locale


def add_commands(commands: Commands) -> None:
    """Add them to the parser."""
    guide = commands.add_parser(
        "guide", help="make the home guide and its sheets, as HTML and PDF, the guide as plain text too"
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
    guide.set_defaults(run=_guide)

    recheck = commands.add_parser(
        "recheck", help="hold a guide against today's figures: same (exit 0), stale (1) or not ours (2)"
    )
    recheck.add_argument("guide", type=Path, metavar="GUIDE", help="its HTML, its PDF, or a photo of its QR code")
    for_programs_option(recheck)
    recheck.add_argument("--case", type=Path, metavar="CASE", help="hold it against today's order as well")
    keys_option(recheck)
    recheck.set_defaults(run=_recheck)


def _guide(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.export.answer import as_json_line, before_handing_over, notice_lines
    from companion.files import write_set
    from companion.make import make_family_set
    from companion.reckoning.plan import plan

    sheets = picked(arguments.only)
    case = read_case(arguments.case, arguments.today)
    made = plan(case)
    tags = [arguments.language] if arguments.language else case.patient.languages or ["en"]
    locales = [_locale(tag, arguments, case) for tag in tags]
    keys = loaded_keys(arguments)
    folder = arguments.out or Path(arguments.case.stem)
    if case.clinic.link_base is None:
        print(
            "No 'link_base' is set for the clinic, so the code on the guide holds the short table itself.",
            file=sys.stderr,
        )
    files = dict(make_family_set(case, made, locales, keys, sheets))
    gone = write_set(folder, files.items(), is_sheet_file)
    notices = before_handing_over(case, made, arguments.today)
    if arguments.format == "json":
        written = {"files": [folder / name for name in files], "removed": [folder / name for name in gone]}
        print(as_json_line({"file": arguments.case, **written, "notices": notices}), end="")
        return 0
    for name in files:
        print(f"Wrote {folder / name}")
    for name in gone:
        print(f"Removed {folder / name}, of an older set")
    print(notice_lines(notice["words"] for notice in notices), end="")
    return 0


def _locale(tag: str, arguments: argparse.Namespace, case: "Case") -> "Locale":
    """Return a language, with a second one beside it where that was asked for."""
    from companion.language.catalogue import settings
    from companion.language.locale import Bilingual, Locale

    settings(tag)
    if arguments.beside is None:
        return Locale(tag, case.clinic.region)
    settings(arguments.beside)
    return Bilingual(tag, case.clinic.region, Locale(arguments.beside, case.clinic.region))


def _recheck(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.export.answer import as_json_line
    from companion.link.keys import default_key_file, load_keys
    from companion.recheck.verdict import recheck

    keys = load_keys(arguments.keys or default_key_file())
    order = read_case(arguments.case) if arguments.case else None
    verdict = recheck(arguments.guide, keys, options.today(), order)
    if arguments.format == "json":
        answer = {"file": arguments.guide, "state": verdict.state, "reasons": verdict.reasons}
        print(as_json_line(answer | {"looked_at": verdict.looked_at}), end="")
    else:
        print("\n    ".join([harmless(f"{arguments.guide}: {verdict.state}"), *verdict.reasons]))
        if verdict.looked_at:
            print(verdict.looked_at)
    return {"same": 0, "stale": 1, "not ours": 2}[verdict.state]
