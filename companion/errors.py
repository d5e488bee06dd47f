"""What is said to a person when something that they gave cannot be used."""

from collections.abc import Iterable
from dataclasses import dataclass


def harmless(text: str) -> str:
    """Spell out characters that a terminal would obey, or that are no text."""
    return "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in text)


_LONGEST_SLIP = 60
"""Characters. What is longer is no slip of a word of ours, and comparing it takes its time."""


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return a question with the nearest of some words, to stand behind a sentence; nothing where none is near."""
    from difflib import get_close_matches

    spelled = {name.casefold(): name for name in known}
    near = get_close_matches(word[:_LONGEST_SLIP].casefold(), spelled, n=1)
    return f" Did you mean '{spelled[near[0]]}'?" if near else ""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong in what was entered, told so that it can be put right."""

    where: str
    """The field, as it stands in the case file, for example ``portable[1].boil_off``."""
    read: str
    """What was read there, or "nothing"."""
    problem: str
    """What is wrong with it."""
    right: str
    """What would be right, with an example."""
    ask: str
    """Who knows the right value."""
    confirm: str | None = None
    """Where the value is possible and unlikely: the entry of the case's list ``confirmed`` that lets it pass."""
    absent: bool = False
    """Whether nothing is wrong yet: something is not there."""

    def __str__(self) -> str:
        read = harmless(self.read)
        return f"{self.where}: {self.problem}\n    read:  {read}\n    right: {self.right}\n    ask:   {self.ask}"


class CompanionError(ValueError):
    """Base of every error that ends a command with exit code 2 and a message, never a traceback."""


class CaseError(CompanionError):
    """A case that cannot be used. Carries every fault found, not only the first."""

    def __init__(self, source: str, faults: list[Fault]) -> None:
        self.source = source
        self.faults = faults
        things = "1 thing is" if len(faults) == 1 else f"{len(faults)} things are"
        told = "\n".join(str(fault) for fault in faults)
        super().__init__(f"{harmless(source)}: {things} wrong or missing. Nothing was made.\n{told}")


class LinkError(CompanionError):
    """A link code that is not ours, was changed, or is of a kind that we no longer read."""


class SettingError(CompanionError):
    """A file or setting of the clinic's own (key, font, locale, output folder) that cannot be used."""


class PrintError(CompanionError):
    """A page that the typesetter refuses."""

    def __init__(self, section: str, problem: str) -> None:
        self.section = section
        self.problem = problem
        super().__init__(f"The part '{section}' cannot be set in type: {problem}.")
