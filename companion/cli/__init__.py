"""The command. Each command parses its words, walks the road and writes what comes out; it computes nothing.

Heavy libraries are imported by the commands that need them, so that ``companion --help`` answers at once.
"""

import argparse
import os
import sys
from collections.abc import Callable, Sequence

from companion import __version__
from companion.cli import case, caseload, clinic, completion, guides, pages, times, words
from companion.cli.parsing import Parser
from companion.errors import CompanionError, harmless


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Returns:
        0 for done, 1 where the answer is no, 2 for bad input, 130 where it was stopped, 141 where nobody reads on.
    """
    typed = sys.argv[1:] if argv is None else argv
    command = parser()
    command.refuse_slips(typed)
    arguments = command.parse_args(typed)
    run: Callable[[argparse.Namespace], int] = arguments.run
    try:
        status = _answered(run, arguments)
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever reads has seen enough, such as `head`. The interpreter flushes once more on its way out.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return CLOSED_PIPE
    except KeyboardInterrupt:
        print("Stopped. What is written is whole.", file=sys.stderr)
        return 130
    return status


CLOSED_PIPE = 141
"""What a shell shows for a program whose reader has gone: 128 and the number of the signal SIGPIPE."""


def _answered(run: Callable[[argparse.Namespace], int], arguments: argparse.Namespace) -> int:
    try:
        return run(arguments)
    except CompanionError as error:
        if getattr(arguments, "format", None) == "json":
            from companion.export.answer import as_json_line, error_answer

            print(as_json_line(error_answer(error)), end="")
        else:
            # A file may come from anywhere, and so may its name and what is quoted of it.
            print("\n".join(map(harmless, str(error).split("\n"))), file=sys.stderr)
        return 2


def parser() -> Parser:
    """Return the parser of all commands."""
    every = Parser(
        prog="companion",
        description="Makes a large-print home guide for one patient's liquid oxygen. "
        "It does not replace the prescriber, the supplier or local codes.",
        epilog="what one of them takes, with examples: companion COMMAND --help",
    )
    every.add_argument("--version", action="version", version=f"companion {__version__}")
    commands = every.add_commands()
    for group in (case, clinic, times, guides, caseload, pages, words, completion):
        group.add_commands(commands)
    return every
