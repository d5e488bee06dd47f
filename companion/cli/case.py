"""What is known of a patient: the commands check, fhir, schema and changes."""

import argparse
import datetime as dt
import sys
from pathlib import Path
from typing import Any

from companion.cli.options import (
    case_argument,
    day_option,
    for_programs_option,
    piped,
    put,
    quiet_option,
    told,
)
from companion.cli.parsing import Commands, command
from companion.errors import CaseError, harmless


def add_commands(commands: Commands) -> None:
    """Add them to the parser."""
    check = command(
        commands,
        "check",
        _check,
        "say all that is wrong or missing in case files, and what must be known before the guide is handed over",
        "check case.toml",
        "check cases/*.toml --quiet",
        "check - --format json < case.toml",
    )
    case_argument(check, many=True)
    for_programs_option(check)
    quiet_option(check)

    fhir = command(
        commands,
        "fhir",
        _fhir,
        "turn a FHIR R4 bundle into as much of a case file as it says",
        "fhir bundle.json --out case.toml",
        "fhir - < bundle.json",
    )
    fhir.add_argument("bundle", type=piped, metavar="BUNDLE", help="a Bundle as JSON; -: what comes down the pipe")
    fhir.add_argument("--out", type=Path, metavar="CASE", help="write the case file; default: print it")
    day_option(fhir)
    for_programs_option(fhir)
    quiet_option(fhir)

    command(
        commands,
        "schema",
        _schema,
        "print the JSON Schema of a case file, by which an editor completes and checks one",
        "schema > case.schema.json",
    )
    command(
        commands,
        "changes",
        _changes,
        "print what has changed since the last version, printed times first",
        "changes | less",
    )


def _check(arguments: argparse.Namespace) -> int:
    from companion.case import Case
    from companion.case.check import said_back
    from companion.case.read import case_from_dict
    from companion.case.toml_file import read_toml
    from companion.export.answer import as_json_line, before_handing_over, error_answer
    from companion.reckoning.plan import plan

    status = 0
    for path in arguments.case:
        try:
            raw = read_toml(path)
            case = case_from_dict(raw, str(path), arguments.today, path.parent)
        except CaseError as error:
            status = 2
            if arguments.format == "json":
                print(as_json_line(error_answer(error)), end="")
            else:
                print(error, file=sys.stderr)
            continue
        notices = before_handing_over(case, plan(case), arguments.today)
        if arguments.format == "json":
            print(as_json_line({"file": path, "faults": [], "notices": notices}), end="")
            continue
        if not arguments.quiet:
            print(f"{harmless(str(path))}: nothing is wrong or missing.")
            for field, typed, meant in said_back(Case, raw, case.clinic.region):
                print(f"  {field}: '{typed}' was read as {meant}")
        if lines := told(arguments, notices):
            print(f"{harmless(str(path))}: {lines}" if arguments.quiet else lines, end="")
    return status


def _fhir(arguments: argparse.Namespace) -> int:
    import tomli_w

    from companion.case.fhir import read_bundle
    from companion.export.answer import as_json_line, faults_json
    from companion.files import write_whole

    raw, faults = read_bundle(arguments.bundle, arguments.today)
    notices = [] if faults else _notices_of(raw, str(arguments.bundle), arguments.today)
    if arguments.format == "json":
        if arguments.out is not None:
            write_whole(arguments.out, tomli_w.dumps(raw).encode())
        print(as_json_line({"case": raw, "faults": faults_json(faults), "notices": notices}), end="")
        return 2 if faults else 0
    put(arguments.out, tomli_w.dumps(raw).encode(), quiet=arguments.quiet)
    print(told(arguments, notices), end="", file=sys.stderr)
    if not faults:
        return 0
    print(
        f"{harmless(str(arguments.bundle))}: what it does not say, or cannot be used ({len(faults)}):", file=sys.stderr
    )
    for fault in faults:
        print(fault, file=sys.stderr)
    return 2


def _notices_of(raw: dict[str, Any], source: str, today: dt.date) -> list[dict[str, Any]]:
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
