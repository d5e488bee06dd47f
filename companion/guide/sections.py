"""The sections of the guide: Markdown files in which every block is one message for the translator.

A file is read into blocks. Text blocks are translated whole, turned to XHTML and joined with the
directive lines between them; what comes out is a Jinja template in which ``{name}`` became a value.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Literal

import markdown

from companion import resources
from companion.language.locale import Bilingual, Locale

_COMMENT = re.compile(r"<!--\s*(about|note):\s*(.*?)\s*-->", re.DOTALL)
_DIRECTIVE = re.compile(r"\{%.*%\}|\{\{.*\}\}")
_PLACEHOLDER = re.compile(r"\{([a-z_]+)\}")
_MARK = re.compile(r"(#{2,3} |- |\d\. )(.*)")


@dataclass(frozen=True)
class Block:
    """One block of a section."""

    kind: Literal["directive", "heading", "item", "paragraph"]
    mark: str
    """What stands before the text in Markdown: ``"## "``, ``"- "``, ``"1. "`` or nothing."""
    text: str
    """The message, or the directive as it stands."""
    line: int
    note: str
    """What the translator should know, from the comment above."""


def blocks(name: str) -> Iterator[Block]:
    """Read a section file into blocks."""
    about = note = ""
    for number, line in enumerate(resources.read("templates", f"sections/{name}.md").splitlines(), start=1):
        text = line.strip()
        if not text:
            continue
        comment = _COMMENT.fullmatch(text)
        if comment:
            if comment[1] == "about":
                about = comment[2]
            else:
                note = comment[2]
            continue
        if _DIRECTIVE.fullmatch(text):
            yield Block("directive", "", text, number, "")
            continue
        marked = _MARK.fullmatch(text)
        if marked:
            kind: Literal["heading", "item"] = "heading" if marked[1].startswith("#") else "item"
            yield Block(kind, marked[1], marked[2], number, f"{about} {note}".strip())
        else:
            yield Block("paragraph", "", text, number, f"{about} {note}".strip())
        note = ""


@cache
def template_source(name: str, locale: Locale) -> str:
    """Return a section as a Jinja template in one language; values stand in it as ``{{ v.name }}``."""
    return "".join(_chunk_html(chunk, locale) if isinstance(chunk, list) else chunk + "\n" for chunk in _chunks(name))


def _chunks(name: str) -> Iterator[list[Block] | str]:
    """Gather the text blocks between two directives."""
    run: list[Block] = []
    for block in blocks(name):
        if block.kind == "directive":
            if run:
                yield run
            run = []
            yield block.text
        else:
            run.append(block)
    if run:
        yield run


def _chunk_html(run: list[Block], locale: Locale) -> str:
    lines = []
    before = None
    for block in run:
        if before is None or not (before.kind == block.kind == "item"):
            lines.append("")
        lines.append(block.mark + _line(block.text, locale))
        before = block
    return str(_markdown().reset().convert("\n".join(lines))) + "\n"


def _line(message: str, locale: Locale) -> str:
    """Return a message with its values in place, ``v`` for the language, ``w`` for a second one beside it."""
    first = _PLACEHOLDER.sub(r"{{ v.\1 }}", locale.text(message))
    if not isinstance(locale, Bilingual):
        return first
    second = _PLACEHOLDER.sub(r"{{ w.\1 }}", locale.other.text(message))
    return f'{first} <span class="other" lang="{locale.other.tag}" dir="{locale.other.direction}">{second}</span>'


@cache
def _markdown() -> markdown.Markdown:
    return markdown.Markdown(output_format="xhtml")
