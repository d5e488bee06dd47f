"""How long the oxygen lasts: the commands table, outing and supply."""

import argparse
import sys

from companion.cli.options import (
    case_argument,
    for_programs_option,
    format_option,
    keys_option,
    kind_of,
    language_option,
    loaded_keys,
    locale,
    out_option,
    put,
    quiet_option,
    told,
)
from companion.cli.parsing import Commands, command
from companion.errors import CompanionError

_TABLE = ("text", "json", "csv", "html", "pdf")
_SUPPLY = ("text", "json", "ics")


def add_commands(commands: Commands) -> None:
    """Add them to the parser."""
    table = command(
        commands,
        "table",
        _table,
        "show how long each container lasts",
        "table case.toml",
        "table case.toml --out table.csv",
        "table case.toml --language es --out table.pdf",
        "table - --format json < case.toml",
    )
    case_argument(table)
    format_option(table, *_TABLE)
    out_option(table)
    language_option(table)
    keys_option(table)
    quiet_option(table)

    outing = command(
        commands,
        "outing",
        _outing,
        "say whether a portable lasts for an outing: yes (exit 0), no (1) or bad input (2)",
        "outing case.toml --stretch 'walk 40 min' --stretch 'sit 1h30'",
        "outing case.toml --level 3/4 --stretch 'travel 1:15' --stretch 'stroll 20 min' --format json",
    )
    case_argument(outing)
    outing.add_argument(
        "--stretch",
        action="append",
        required=True,
        metavar="WORDS",
        help="one part of the outing, in their order: 'walk 40 min' or 'travel 1h30' on the way, "
        "'sit 2 h', 'stroll 20 min' or 'sleep 1 h' where you stay",
    )
    outing.add_argument("--portable", type=int, default=1, metavar="NUMBER", help="which portable; default: 1")
    outing.add_argument(
        "--level",
        default="full",
        metavar="MARK",
        help="a mark of its gauge, such as 3/4 or 5/8; default: full",
    )
    for_programs_option(outing)
    language_option(outing)
    quiet_option(outing)

    supply = command(
        commands,
        "supply",
        _supply,
        "show the supply plan: days to empty, deliveries, back-up, what if",
        "supply case.toml",
        "supply case.toml --language es --out deliveries.ics",
    )
    case_argument(supply)
    format_option(supply, *_SUPPLY)
    out_option(supply)
    language_option(supply)
    quiet_option(supply)


# What is known of a guide stands beside these answers, on the other stream: the answer itself may go into a file.


def _table(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.export import text as export
    from companion.export.answer import before_handing_over
    from companion.reckoning.plan import plan

    kind = kind_of(arguments, *_TABLE)
    if kind == "pdf" and arguments.out is None:
        raise CompanionError("A PDF needs a file: add --out FILE.pdf.")
    case = read_case(arguments.case, arguments.today)
    made = plan(case)
    spoken = locale(arguments.language, case.clinic.region)
    if kind == "json":
        data = export.as_json_text(made, case, arguments.today).encode()
    elif kind == "csv":
        data = export.as_csv(made, case).encode()
    elif kind == "text":
        data = export.as_text(made, spoken).encode()
    else:
        from companion.guide.sheets import document
        from companion.make import code_of
        from companion.render.html import html
        from companion.render.pdf import pdf

        sheet = document("table", case, made, spoken, code_of(case, made, spoken, loaded_keys(arguments)))
        data = html(sheet).encode() if kind == "html" else pdf(sheet, case.issued)
    put(arguments.out, data, quiet=arguments.quiet)
    if kind != "json":
        print(told(arguments, before_handing_over(case, made, arguments.today)), end="", file=sys.stderr)
    return 0


def _outing(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.export import text as export
    from companion.export.answer import before_handing_over
    from companion.reckoning.outing import outing, portable_numbered, read_level, read_stretch
    from companion.reckoning.plan import plan

    stretches = [read_stretch(words) for words in arguments.stretch]
    case = read_case(arguments.case, arguments.today)
    made = plan(case)
    portable = portable_numbered(made.stores, arguments.portable)
    found = outing(case, portable, read_level(arguments.level, portable), stretches, made.margins)
    notices = before_handing_over(case, made, arguments.today)
    if arguments.format == "json":
        print(export.outing_json_text(found, notices), end="")
    else:
        print(export.outing_text(found, locale(arguments.language, case.clinic.region)), flush=True)
        print(told(arguments, notices), end="", file=sys.stderr)
    return 0 if found.enough else 1


def _supply(arguments: argparse.Namespace) -> int:
    from companion.case import read_case
    from companion.export import text as export
    from companion.export.answer import before_handing_over
    from companion.reckoning.plan import plan

    kind = kind_of(arguments, *_SUPPLY)
    case = read_case(arguments.case, arguments.today)
    made = plan(case)
    if kind == "json":
        return put(arguments.out, export.supply_json_text(made, case, arguments.today).encode(), quiet=arguments.quiet)
    if kind == "text":
        data = export.supply_text(made, case).encode()
    else:
        from companion.export.ics import calendar_file

        data = calendar_file(case, made, locale(arguments.language, case.clinic.region))
    put(arguments.out, data, quiet=arguments.quiet)
    print(told(arguments, before_handing_over(case, made, arguments.today)), end="", file=sys.stderr)
    return 0
