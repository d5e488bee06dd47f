"""How long the oxygen lasts: the commands table, outing and supply."""

import argparse
from pathlib import Path

from companion.cli.options import Commands, case_argument, keys_option, language_option, loaded_keys, put
from companion.errors import CompanionError


def add_commands(commands: Commands) -> None:
    """Add them to the parser."""
    table = commands.add_parser("table", help="show how long each container lasts")
    case_argument(table)
    table.add_argument("--format", choices=("text", "json", "csv", "html", "pdf"), default="text")
    table.add_argument("--out", type=Path, metavar="FILE", help="write to a file (needed for pdf)")
    language_option(table)
    keys_option(table)
    table.set_defaults(run=_table)

    outing = commands.add_parser(
        "outing", help="say whether a portable lasts for an outing: yes (exit 0), no (1) or bad input (2)"
    )
    case_argument(outing)
    outing.add_argument(
        "--stretch",
        action="append",
        required=True,
        metavar="WORDS",
        help="one part of the outing, in their order: 'walk 40 min' or 'travel 1 h' on the way, "
        "'sit 2 h', 'stroll 20 min' or 'sleep 1 h' where you stay",
    )
    outing.add_argument("--portable", type=int, default=1, metavar="NUMBER", help="which portable; default: 1")
    outing.add_argument(
        "--level",
        default="full",
        metavar="MARK",
        help="a mark of its gauge, such as 3/4 or 5/8; default: full",
    )
    outing.add_argument("--format", choices=("text", "json"), default="text")
    language_option(outing)
    outing.set_defaults(run=_outing)

    supply = commands.add_parser("supply", help="show the supply plan: days to empty, deliveries, back-up, what if")
    case_argument(supply)
    supply.add_argument("--format", choices=("text", "json", "ics"), default="text", help="ics: for a phone's calendar")
    supply.add_argument("--out", type=Path, metavar="FILE")
    language_option(supply)
    supply.set_defaults(run=_supply)


def _table(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.export import text as export
    from companion.language.locale import Locale
    from companion.reckoning.plan import plan

    case = read_case(arguments.case, arguments.today)
    made = plan(case)
    if arguments.format == "json":
        return put(arguments.out, export.as_json_text(made, case).encode())
    if arguments.format == "csv":
        return put(arguments.out, export.as_csv(made, case).encode())
    locale = Locale(arguments.language, case.clinic.region)
    if arguments.format == "text":
        return put(arguments.out, export.as_text(made, locale).encode())
    from companion.guide.sheets import document
    from companion.make import code_of
    from companion.render.html import html
    from companion.render.pdf import pdf

    sheet = document("table", case, made, locale, code_of(case, made, locale, loaded_keys(arguments)))
    if arguments.format == "html":
        return put(arguments.out, html(sheet).encode())
    if arguments.out is None:
        raise CompanionError("A PDF needs a file: add --out FILE.pdf.")
    return put(arguments.out, pdf(sheet, case.issued))


def _outing(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.export import text as export
    from companion.language.locale import Locale
    from companion.reckoning.outing import outing, portable_numbered, read_level, read_stretch
    from companion.reckoning.plan import plan

    case = read_case(arguments.case, arguments.today)
    made = plan(case)
    portable = portable_numbered(made.stores, arguments.portable)
    found = outing(
        case,
        portable,
        read_level(arguments.level, portable),
        [read_stretch(words) for words in arguments.stretch],
        made.margins,
    )
    if arguments.format == "json":
        print(export.outing_json_text(found), end="")
    else:
        print(export.outing_text(found, Locale(arguments.language, case.clinic.region)))
    return 0 if found.enough else 1


def _supply(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.export import text as export
    from companion.language.locale import Locale
    from companion.reckoning.plan import plan

    case = read_case(arguments.case, arguments.today)
    made = plan(case)
    if arguments.format == "json":
        return put(arguments.out, export.supply_json_text(made, case).encode())
    if arguments.format == "text":
        return put(arguments.out, export.supply_text(made, case).encode())
    from companion.export.ics import calendar_file

    return put(arguments.out, calendar_file(case, made, Locale(arguments.language, case.clinic.region)))
