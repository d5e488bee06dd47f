"""What is known of a patient: the commands check, fhir, schema and changes."""

import argparse
import datetime as dt
import sys
from pathlib import Path
from typing import Any

from companion.cli.options import Commands, case_argument, day_option, for_programs_option, put
from companion.errors import harmless


def add_commands(commands: Commands) -> None:
    """Add them to the parser."""
    check = commands.add_parser("check", help="say all that is wrong or missing in a case file")
    case_argument(check)
    for_programs_option(check)
    check.set_defaults(run=_check)

    fhir = commands.add_parser("fhir", help="turn a FHIR R4 bundle into as much of a case file as it says")
    fhir.add_argument("bundle", type=Path, metavar="BUNDLE")
    fhir.add_argument("--out", type=Path, metavar="CASE", help="write the case file; default: print it")
    day_option(fhir)
    for_programs_option(fhir)
    fhir.set_defaults(run=_fhir)

    schema = commands.add_parser("schema", help="print the JSON Schema of a case file")
    schema.set_defaults(run=_schema)

    changes = commands.add_parser("changes", help="print what has changed since the last version, printed times first")
    changes.set_defaults(run=_changes)


def _check(arguments: argparse.Namespace) -> int:
    from companion.case import Case, read_case
    from companion.case.check import said_back
    from companion.case.toml_file import read_toml
    from companion.export.answer import as_json_line, before_handing_over, notice_lines
    from companion.reckoning.plan import plan

    case = read_case(arguments.case, arguments.today)
    read = said_back(Case, read_toml(arguments.case), case.clinic.region)
    notices = before_handing_over(case, plan(case), arguments.today)
    if arguments.format == "json":
        print(as_json_line({"file": arguments.case, "faults": [], "notices": notices}), end="")
    else:
        print(f"{harmless(str(arguments.case))}: nothing is wrong or missing.")
        for path, typed, meant in read:
            print(f"  {path}: '{typed}' was read as {meant}")
        print(notice_lines(notice["words"] for notice in notices), end="")
    return 0


def _fhir(arguments: argparse.Namespace) -> int:
    import tomli_w

    from companion.case.fhir import read_bundle
    from companion.export.answer import as_json_line, faults_json, notice_lines
    from companion.files import write_whole

    raw, faults = read_bundle(arguments.bundle, arguments.today)
    notices = [] if faults else _notices_of(raw, str(arguments.bundle), arguments.today)
    if arguments.format == "json":
        if arguments.out is not None:
            write_whole(arguments.out, tomli_w.dumps(raw).encode())
        print(as_json_line({"case": raw, "faults": faults_json(faults), "notices": notices}), end="")
        return 2 if faults else 0
    put(arguments.out, tomli_w.dumps(raw).encode())
    print(notice_lines(notice["words"] for notice in notices), end="", file=sys.stderr)
    if not faults:
        return 0
    print(f"{arguments.bundle}: what it does not say, or cannot be used ({len(faults)}):", file=sys.stderr)
    for fault in faults:
        print(fault, file=sys.stderr)
    return 2


def _notices_of(raw: dict[str, Any], source: str, today: dt.date) -> list[dict[str, str]]:
    """Return what the clinician must know of a case that was read from another form."""
    from companion.case.read import case_from_dict
    from companion.export.answer import before_handing_over
    from companion.reckoning.plan import plan

    case = case_from_dict(raw, source, today)
    return before_handing_over(case, plan(case), today)


def _schema(_: argparse.Namespace) -> int:
    import json

    from companion.case.model import json_schema

    print(json.dumps(json_schema(), indent=2))
    return 0


def _changes(_: argparse.Namespace) -> int:
    from companion import resources

    print((resources.code() / "CHANGES.md").read_text(encoding="utf-8"), end="")
    return 0
