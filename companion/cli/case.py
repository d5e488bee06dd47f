"""What is known of a patient: the commands check, fhir and schema."""

import argparse
import sys
from pathlib import Path

from companion.cli.options import Commands, put
from companion.errors import harmless


def add_commands(commands: Commands) -> None:
    """Add them to the parser."""
    check = commands.add_parser("check", help="say all that is wrong or missing in a case file")
    check.add_argument("case", type=Path, metavar="CASE")
    check.set_defaults(run=_check)

    fhir = commands.add_parser("fhir", help="turn a FHIR R4 bundle into as much of a case file as it says")
    fhir.add_argument("bundle", type=Path, metavar="BUNDLE")
    fhir.add_argument("--out", type=Path, metavar="CASE", help="write the case file; default: print it")
    fhir.set_defaults(run=_fhir)

    schema = commands.add_parser("schema", help="print the JSON Schema of a case file")
    schema.set_defaults(run=_schema)


def _check(arguments: argparse.Namespace) -> int:
    from companion.case import read_case

    read_case(arguments.case)
    print(f"{harmless(str(arguments.case))}: nothing is wrong or missing.")
    return 0


def _fhir(arguments: argparse.Namespace) -> int:
    import tomli_w

    from companion.case.fhir import read_bundle

    raw, faults = read_bundle(arguments.bundle)
    put(arguments.out, tomli_w.dumps(raw).encode())
    if not faults:
        return 0
    print(f"{arguments.bundle}: what it does not say, or cannot be used ({len(faults)}):", file=sys.stderr)
    for fault in faults:
        print(fault, file=sys.stderr)
    return 2


def _schema(_: argparse.Namespace) -> int:
    import json

    from companion.case.model import json_schema

    print(json.dumps(json_schema(), indent=2))
    return 0
