"""Every message of the clinic's desk, gathered for ``locales/TAG/desk.po``: its own words and those of the case.

The messages of a case are written where they are raised, with their values in place. They are read from the source, so
that none of them is written twice; what a value becomes is a placeholder, named as it is in the code.
"""

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal, get_args, get_origin

from companion import resources
from companion.case.check import PROBLEMS
from companion.case.fields import Part, fields_of
from companion.case.model import Case
from companion.facts.units import COMPUTED_IN
from companion.guide.notice_words import NOTICES
from companion.language.catalogue import DESK, is_translated, message_of, read_catalogue
from companion.language.said import PLACEHOLDER
from companion.web.desk_words import LABELS, WORDS, label
from companion.web.form import UNASKED
from companion.web.tongue import tongues

_READ = (
    *("case/amounts.py", "case/check.py", "case/clinic.py", "case/delivery.py", "case/equipment.py"),
    *("case/prescription.py", "case/fit.py", "case/rooms.py", "case/slips.py", "facts/units.py"),
)
"""Where what is said of a value is written; what is said of other kinds of files stays in English."""

_SAID = {"ValueError": (0,), "Fault": (2, 3), "Within": (3,), "Usual": (0,)}
"""Which arguments of a call are words for a person."""

_NAMED = ("problem", "right")
"""Names of variables that hold such words."""


@dataclass(frozen=True)
class DeskState:
    """How the desk stands in one language."""

    messages: int
    missing: tuple[str, ...]
    stale: tuple[str, ...]
    """Translations of messages that are no longer in the program."""
    faults: tuple[str, ...]
    """Messages of which a translation has lost a value, or has one that they have not."""


def desk_state(tag: str) -> DeskState | None:
    """Return how the desk stands in a language; None where it is not translated."""
    if tag not in tongues():
        return None
    entries = [entry for entry in read_catalogue(tag, DESK) if entry.id]
    held = {message_of(entry): str(entry.string) for entry in entries if not entry.fuzzy and is_translated(entry)}
    wanted = desk_messages()
    values = PLACEHOLDER.findall
    return DeskState(
        messages=len(wanted),
        missing=tuple(message for message in wanted if message not in held),
        stale=tuple(sorted({message_of(entry) for entry in entries} - set(wanted))),
        faults=tuple(one for one in wanted if one in held and sorted(values(one)) != sorted(values(held[one]))),
    )


@cache
def desk_messages() -> tuple[str, ...]:
    """Return every message once, in the order of its source."""
    return tuple(dict.fromkeys(_gathered()))


def _gathered() -> Iterator[str]:
    yield from WORDS.values()
    yield from LABELS.values()
    yield from _of_fields(Case)
    yield from PROBLEMS.values()
    for place in _READ:
        yield from _in_source(resources.code() / place)
    yield from COMPUTED_IN
    yield from NOTICES.values()


def _of_fields(model: type[Part]) -> Iterator[str]:
    """Yield label, help, choices and whom to ask of each field, and of those within it."""
    for name, field in fields_of(model).items():
        if model is Case and name in UNASKED:
            continue
        yield label(name)
        yield field.right
        yield field.ask
        if get_origin(field.kind) is Literal:
            yield from get_args(field.kind)
        if field.part is not None and field.many:
            yield f"{label(name)}s"  # the title of their group
        if field.part is not None:
            yield from _of_fields(field.part)


def _in_source(file: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        for words in _words_in(node):
            yield from _texts(words)


def _words_in(node: ast.AST) -> Iterator[ast.expr]:
    match node:
        case ast.Call(func=ast.Name(id=called), args=given):
            yield from (given[place] for place in _SAID.get(called, ()) if place < len(given))
        case ast.Assign(targets=[ast.Name(id=name)], value=value) if name in _NAMED:
            yield value
        case ast.Yield(value=ast.expr() as value) | ast.Return(value=ast.expr() as value):
            yield value


def _texts(node: ast.expr) -> Iterator[str]:
    """Yield a text of the source, or each of two between which the code picks; what is no sentence is left out."""
    if isinstance(node, ast.IfExp):
        yield from (*_texts(node.body), *_texts(node.orelse))
    elif isinstance(node, ast.Constant) and isinstance(node.value, str) and " " in node.value:
        yield node.value
    elif isinstance(node, ast.JoinedStr):
        text, names = "", []
        for part in node.values:
            name = _name(part) if isinstance(part, ast.FormattedValue) else ""
            names.append(name)
            again = "_again" * (names.count(name) - 1)
            text += f"{{{name}{again}}}" if name else str(getattr(part, "value", ""))
        if re.search("[a-z] [a-z]", text):
            yield text


def _name(value: ast.FormattedValue) -> str:
    """Return the last word of what stands in braces, as a name for it."""
    return next((word for word in reversed(re.findall("[a-z][a-z_]+", ast.unparse(value.value)))), "value")
