"""The command. Each command parses its words, walks the road and writes what comes out; it computes nothing.

Heavy libraries are imported by the commands that need them, so that ``companion --help`` answers at once.
"""

import argparse
import sys
from collections.abc import Callable, Sequence

from companion import __version__
from companion.cli import case, caseload, guides, pages, times, words
from companion.errors import CompanionError


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; return 0 for done, 1 where the answer is no, 2 for bad input, 130 where it was stopped."""
    arguments = _parser().parse_args(argv)
    run: Callable[[argparse.Namespace], int] = arguments.run
    try:
        return run(arguments)
    except CompanionError as error:
        print(error, file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("Stopped. What is written is whole.", file=sys.stderr)
        return 130


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="companion",
        description="Makes a large-print home guide for one patient's liquid oxygen. "
        "It does not replace the prescriber, the supplier or local codes.",
    )
    parser.add_argument("--version", action="version", version=f"companion {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for group in (case, times, guides, caseload, pages, words):
        group.add_commands(commands)
    return parser
