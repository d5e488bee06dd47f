"""The guides of many patients: the command batch."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from companion.cli.options import Commands, day_option, for_programs_option, keys_option
from companion.errors import CompanionError, harmless

if TYPE_CHECKING:
    from companion.batch.run import Outcome


def add_commands(commands: Commands) -> None:
    """Add it to the parser."""
    batch = commands.add_parser("batch", help="make the guides of many cases; run it again to go on where it stopped")
    batch.add_argument("source", type=Path, nargs="?", metavar="FILE_OR_FOLDER", help="a folder, a .csv, a .jsonl")
    batch.add_argument("--out", type=Path, required=True, metavar="DIR")
    batch.add_argument("--processes", type=int, metavar="N", help="default: one for each core")
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
        "--changed-since",
        metavar="VERSION",
        help="make nothing; list the guides in DIR, made by this version or an older one, whose figures have changed",
    )
    batch.set_defaults(run=_batch)


def _batch(arguments: argparse.Namespace) -> int:
    import os

    from companion.batch.entries import entries
    from companion.batch.folders import NOTICES, REPORTS
    from companion.batch.one import Job, State
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
    job = Job(arguments.out, key_file, languages, made_with(load_keys(key_file)), arguments.today)
    count = sum(1 for _ in entries(arguments.source))
    processes = arguments.processes or os.cpu_count() or 1
    with shown(count) as tell:
        outcome = run(arguments.source, job, min(processes, count) or 1, tell)
    if arguments.format == "json":
        counted = {state: outcome.counted[state] for state in get_args(State)}
        folders = {"withdrawn": outcome.withdrawn, "to_look_at": outcome.to_look_at}
        reports = {"errors": arguments.out / REPORTS[0], "notices": arguments.out / NOTICES}
        written = {name: path for name, path in reports.items() if path.exists()}
        print(as_json_line(counted | folders | written), end="")
    else:
        _tell(outcome, arguments.out)
    return 2 if outcome.counted["faulty"] or outcome.to_look_at else 0


def _tell(outcome: "Outcome", out: Path) -> None:
    from companion.batch.folders import NOTICES, REPORTS, WITHDRAWN

    counted = outcome.counted
    print(f"{counted['made']} made, {counted['kept']} left as they were, {counted['faulty']} with faults.")
    if (out / NOTICES).exists():
        print(f"Before you hand them over, read {out / NOTICES}.")
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

    older = unknown = 0
    for guide in recalls(arguments.out, arguments.changed_since):
        if guide.program is None:
            unknown += 1
        else:
            older += 1
        print(harmless(f"{guide.place}, made by {guide.program or 'nobody knows which version'}"))
        for reason in guide.why:
            print(f"    {harmless(reason)}")
    print(f"{older} guides carry older figures.")
    if unknown:
        print(f"{unknown} more say nothing about their figures; look at them by hand.", file=sys.stderr)
    return 2 if unknown else 0
