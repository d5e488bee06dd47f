"""The parser of the command: each command shows how it is used, and a slip is answered with what was probably meant."""

import argparse
import textwrap
from collections.abc import Callable, Sequence
from typing import Any, TypeAlias

from companion.errors import did_you_mean, harmless

Commands: TypeAlias = "argparse._SubParsersAction[Parser]"  # noqa: SLF001 - it has no other name
"""What a command is added to."""


class Parser(argparse.ArgumentParser):
    """Knows its own words, so that it can say which of them was meant."""

    def __init__(self, **settings: Any) -> None:
        self.words: list[argparse.Action] = []
        self.commands: Commands | None = None
        # A shortened option would change its meaning in a script when another one comes that begins alike.
        super().__init__(**settings, formatter_class=argparse.RawDescriptionHelpFormatter, allow_abbrev=False)

    def add_argument(self, *names: Any, **settings: Any) -> argparse.Action:
        """Add a word, and remember it."""
        word = super().add_argument(*names, **settings)
        self.words.append(word)
        return word

    def add_commands(self) -> Commands:
        """Let the next word be a command."""
        self.commands = self.add_subparsers(required=True, metavar="COMMAND")
        return self.commands

    def refuse_slips(self, words: Sequence[str]) -> None:
        """End with what was probably meant where a command or an option does not exist.

        The library itself would first ask for what seems to be missing, or list all there is.
        """
        if self.commands is not None:
            if words and not words[0].startswith("-"):
                command = self.commands.choices.get(words[0])
                if command is None:
                    meant = did_you_mean(words[0], self.commands.choices)
                    self.error(f"there is no command '{harmless(words[0])}'.{meant} All of them: {self.prog} --help")
                command.refuse_slips(words[1:])
            return
        known = [name for word in self.words for name in word.option_strings]
        for word in words:
            name = word.partition("=")[0]
            if name == "--":
                return
            if name.startswith("--") and name not in known:
                meant = did_you_mean(name, known)
                self.error(f"there is no option '{harmless(name)}'.{meant} All of them: {self.prog} --help")


def command(
    commands: Commands, name: str, run: Callable[[argparse.Namespace], int], what: str, *examples: str
) -> Parser:
    """Add a command: what it does, in words that can begin a sentence, and how it is typed."""
    lines = "\n".join(f"  companion {example}" for example in examples)
    parser = commands.add_parser(
        name,
        help=what,
        description=textwrap.fill(f"{what[0].upper()}{what[1:]}.", 100),
        epilog=f"for example:\n{lines}",
    )
    parser.set_defaults(run=run)
    return parser


def one_of(words: Sequence[str]) -> Callable[[str], str]:
    """Return a reader that takes one of some words, for ``type`` beside ``choices``."""

    def read(text: str) -> str:
        if text not in words:
            raise argparse.ArgumentTypeError(
                f"'{harmless(text)}' is none of: {', '.join(words)}.{did_you_mean(text, words)}"
            )
        return text

    return read
