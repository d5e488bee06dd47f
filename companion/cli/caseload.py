"""The guides of many patients: the command batch."""

import argparse
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from companion.cli.options import day_option, for_programs_option, keys_option
from companion.cli.parsing import Commands, command
from companion.errors import CompanionError, harmless

if TYPE_CHECKING:
    from companion.batch.parts import Part
    from companion.batch.run import Outcome


def add_commands(commands: Commands) -> None:
    """Add it to the parser."""
    batch = command(
        commands,
        "batch",
        _batch,
        "make the guides of many cases; run it again to go on where it stopped",
        "batch cases --out guides",
        "batch caseload.csv --out guides --language es --processes 4",
        "batch caseload.jsonl --out guides --part 3/8    # on the third of eight machines",
        "batch --out guides --changed-since 0.1.0",
    )
    batch.add_argument(
        "source", type=Path, nargs="?", metavar="FILE_OR_FOLDER", help="a folder of case files, a .csv, a .jsonl"
    )
    batch.add_argument("--out", type=Path, required=True, metavar="DIR", help="one folder for each caseload")
    batch.add_argument("--processes", type=int, metavar="N", help="default: one for each core")
    batch.add_argument(
        "--part",
        type=_part,
        metavar="K/N",
        help="make the K-th of N parts of the caseload, in a folder of its own below DIR, beside runs of the others",
    )
    batch.add_argument(
        "--language",
        action="append",
        metavar="TAG",
        help="for cases that name no language of their own; may be given several times; default: en",
    )
    day_option(batch)
    for_programs_option(batch)
    keys_option(batch)
    batch.add_argument(
        "--quiet", action="store_true", help="no bar and no counts; faults, and what must be looked at, are still told"
    )
    batch.add_argument(
        "--changed-since",
        metavar="VERSION",
        help="make nothing; list the guides in DIR, made by this version or an older one, whose figures have changed",
    )


def _part(text: str) -> "Part":
    from companion.batch.parts import Part

    found = re.fullmatch(r"([1-9]\d{0,4})/([1-9]\d{0,4})", text, re.ASCII)
    if found is None or int(found[1]) > int(found[2]):
        raise argparse.ArgumentTypeError(f"'{harmless(text)}' is no part; write the third of eight as 3/8")
    return Part(int(found[1]), int(found[2]))


def _batch(arguments: argparse.Namespace) -> int:
    import os

    from companion.batch.entries import entries
    from companion.batch.folders import INDEX, NOTICES, REPORTS
    from companion.batch.one import Job, State
    from companion.batch.parts import WHOLE, part_folder
    from companion.batch.progress import shown
    from companion.batch.run import run
    from companion.batch.stamp import made_with
    from companion.export.answer import as_json_line
    from companion.language.catalogue import settings
    from companion.link.keys import clinic_key_file, load_keys

    if arguments.changed_since is not None:
        return _recall(arguments)
    if arguments.source is None:
        raise CompanionError("Say which cases: a folder of case files, a .csv or a .jsonl file.")
    languages = tuple(arguments.language or ["en"])
    for tag in languages:
        settings(tag)
    key_file = clinic_key_file(arguments.keys)
    part = arguments.part or WHOLE
    out = part_folder(arguments.out, part) if arguments.part else arguments.out
    job = Job(out, key_file, languages, made_with(load_keys(key_file)), arguments.today, part)
    count = sum(1 for _ in entries(arguments.source, part))
    processes = arguments.processes or os.cpu_count() or 1
    with shown(count, quiet=arguments.quiet) as tell:
        outcome = run(arguments.source, job, min(processes, count) or 1, tell)
    if arguments.format == "json":
        counted = {state: outcome.counted[state] for state in get_args(State)}
        folders = {"withdrawn": outcome.withdrawn, "to_look_at": outcome.to_look_at}
        reports = {"index": out / INDEX[0], "errors": out / REPORTS[0], "notices": out / NOTICES}
        written = {name: path for name, path in reports.items() if path.exists()}
        print(as_json_line(counted | folders | written), end="")
    else:
        _tell(outcome, out, quiet=arguments.quiet)
    return 2 if outcome.counted["faulty"] or outcome.to_look_at else 0


def _tell(outcome: "Outcome", out: Path, *, quiet: bool) -> None:
    from companion.batch.folders import INDEX, NOTICES, REPORTS, WITHDRAWN

    counted = outcome.counted
    if not quiet:
        print(f"{counted['made']} made, {counted['kept']} left as they were, {counted['faulty']} with faults.")
        print(f"All of them in one table: {out / INDEX[1]} and {out / INDEX[0]}")
        if (out / NOTICES).exists():
            print(f"Before you hand them over, read {out / NOTICES}.")
    if outcome.urgent:
        print(f"Oxygen may run out in {outcome.urgent} of these homes; {out / NOTICES} says why.", file=sys.stderr)
    if outcome.withdrawn:
        print(f"Old guides whose case is gone or faulty, now in {out / WITHDRAWN}: do not hand them over.")
        for case_id in outcome.withdrawn:
            print(f"    {case_id}")
    if outcome.to_look_at:
        print(f"Folders in {out} that belong to no case; look at them by hand:", file=sys.stderr)
        for line in outcome.to_look_at:
            print(f"    {line}", file=sys.stderr)
    if counted["faulty"]:
        print(f"The faults: {out / REPORTS[1]}", file=sys.stderr)


def _recall(arguments: argparse.Namespace) -> int:
    from companion.batch.recall import recalls
    from companion.export.answer import as_json_line

    older = unknown = 0
    for guide in recalls(arguments.out, arguments.changed_since):
        if guide.program is None:
            unknown += 1
        else:
            older += 1
        if arguments.format == "json":
            print(as_json_line({"guide": guide.place, "program": guide.program, "why": guide.why}), end="")
            continue
        print(harmless(f"{guide.place}, made by {guide.program or 'nobody knows which version'}"))
        for reason in guide.why:
            print(f"    {harmless(reason)}")
    if arguments.format != "json":
        print(f"{older} guides carry older figures.")
    if unknown:
        print(f"{unknown} more say nothing about their figures; look at them by hand.", file=sys.stderr)
    return 2 if unknown else 0
