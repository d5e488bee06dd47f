"""What a shell completes when Tab is pressed: the command completion."""

import argparse
from pathlib import Path

from companion.cli.options import case_file, piped
from companion.cli.parsing import Commands, Parser, command, one_of

_SHELLS = ("bash", "zsh", "fish")


def add_commands(commands: Commands) -> None:
    """Add it to the parser."""
    completion = command(
        commands,
        "completion",
        _completion,
        "print what makes a shell complete commands, options, languages, sheets and files",
        "completion bash > ~/.local/share/bash-completion/completions/companion",
        "completion zsh > ~/.zfunc/_companion    # a folder of your fpath",
        "completion fish > ~/.config/fish/completions/companion.fish",
    )
    completion.add_argument("shell", type=one_of(_SHELLS), choices=_SHELLS, metavar="SHELL", help="bash, zsh or fish")


def _completion(arguments: argparse.Namespace) -> int:
    import shtab

    from companion.cli import parser

    every = parser()
    _say_what_fits(every)
    print(shtab.complete(every, arguments.shell))
    return 0


def _say_what_fits(parser: Parser) -> None:
    """Tell the shells what a word may be, where the parser itself takes any text."""
    import shtab

    from companion.guide.sheet_names import ASKED, SHEETS
    from companion.language.catalogue import available

    known = {"TAG": available(), "SHEETS": (*SHEETS, *ASKED)}
    for word in parser.words:
        if word.metavar in known:
            word.choices = known[str(word.metavar)]
        elif word.type in (Path, piped, case_file):
            is_folder = word.metavar in ("FOLDER", "DIR")
            word.complete = shtab.DIRECTORY if is_folder else shtab.FILE  # type: ignore[attr-defined]
    if parser.commands is not None:
        for below in parser.commands.choices.values():
            _say_what_fits(below)
