"""A document as plain text in reading order: for a screen reader, a braille display, an e-mail, a terminal.

A paragraph is one line. A table is said row by row, each answer with the head of its column.
"""

from collections.abc import Callable, Iterable, Iterator
from functools import singledispatch

from companion.errors import SettingError
from companion.guide.document import (
    Answers,
    Beside,
    Block,
    Box,
    Card,
    Code,
    Columns,
    Document,
    Drawing,
    Form,
    Grid,
    Heading,
    Items,
    Lines,
    Pairs,
    Paragraph,
    Parts,
    Phones,
    Row,
    Section,
    See,
    Step,
)
from companion.language.said import Said


def text(document: Document) -> str:
    """Print a document as lines of plain text."""
    return "\n".join(_all(document.blocks)).strip() + "\n"


def _all(blocks: Iterable[Block]) -> Iterator[str]:
    for block in blocks:
        yield from _lines(block)


def _said(said: Said, line: Callable[[str], str] = str) -> Iterator[str]:
    """Yield a text, a line for each language."""
    for speech in said.speeches:
        yield line(str(speech))


@singledispatch
def _lines(block: object) -> Iterator[str]:
    raise SettingError(f"companion/render/text.py does not know the block '{type(block).__name__.lower()}'.")


@_lines.register
def _(block: Heading) -> Iterator[str]:
    yield from ("", *_said(block.text), "")


@_lines.register
def _(block: Paragraph) -> Iterator[str]:
    yield from (*_said(block.text), "")


@_lines.register
def _(block: Items) -> Iterator[str]:
    for number, item in enumerate(block.items, start=block.start):
        mark = f"{number}. " if block.numbered else "- "
        for speech in item.speeches:
            yield f"{mark}{speech}"
            mark = " " * len(mark)
    yield ""


@_lines.register
def _(block: Box) -> Iterator[str]:
    yield from (*_said(block.picture.alt), *_all(block.blocks))


@_lines.register
def _(block: Beside) -> Iterator[str]:
    yield from (*_all(block.blocks), *_lines(block.picture))


@_lines.register
def _(block: Step) -> Iterator[str]:
    numbered = _all(block.blocks)
    yield f"{block.number}. {next(numbered)}"
    yield from (*numbered, *_all([block.picture] if block.picture else []))


@_lines.register
def _(block: Drawing) -> Iterator[str]:
    yield from (*_said(block.alt, "({})".format), *(_said(block.caption) if block.caption else ()), "")


@_lines.register
def _(block: Answers) -> Iterator[str]:
    if block.caption is not None:
        yield from _said(block.caption, "{}:".format)
    for row in block.rows:
        for language, _ in enumerate(row.head.speeches):
            yield _row(block, row, language)
    yield ""


def _row(block: Answers, row: Row, language: int) -> str:
    answers = [
        f"{column.label(language)}: {_spoken(cell, language)}"
        for column, cell in zip(block.columns, row.cells, strict=True)
    ]
    return f"{_spoken(block.corner, language)} {_spoken(row.head, language)}: {'; '.join(answers)}"


def _spoken(said: Said, language: int) -> str:
    return str(said.speeches[min(language, len(said.speeches) - 1)])


def _pairs(rows: Iterable[tuple[Said, Said | None]]) -> Iterator[str]:
    for words, figure in rows:
        for language, speech in enumerate(words.speeches):
            yield f"{speech}:" if figure is None else f"{speech}: {_spoken(figure, language)}"
    yield ""


@_lines.register
def _(block: Phones) -> Iterator[str]:
    yield from (*_said(block.caption, "{}:".format), *_pairs(block.rows))


@_lines.register
def _(block: Pairs) -> Iterator[str]:
    yield from _pairs(block.rows)


@_lines.register
def _(block: Parts) -> Iterator[str]:
    yield from _lines(block.picture)
    yield from _lines(Items(block.names, numbered=True))


@_lines.register
def _(block: See) -> Iterator[str]:
    yield from _lines(Items(tuple(link.words for link in block.links)))


@_lines.register
def _(_: Lines) -> Iterator[str]:
    yield ""  # nobody writes on it


@_lines.register
def _(block: Code) -> Iterator[str]:
    yield from (*_said(block.label, "({})".format), *(_said(block.address) if block.address else ()), "")


@_lines.register
def _(block: Columns) -> Iterator[str]:
    for column in block.columns:
        yield from _all(column)


@_lines.register
def _(block: Card) -> Iterator[str]:
    for face in block.faces:
        yield from _all(face)


@_lines.register
def _(block: Form) -> Iterator[str]:
    yield from _said(block.caption, "{}:".format)
    for row in block.rows:
        cells = [str(cell) for cell in row] + [""] * (len(block.heads) - len(row))
        yield "; ".join(f"{head}: {cell}".strip() for head, cell in zip(block.heads, cells, strict=True))
    yield ""


@_lines.register
def _(block: Grid) -> Iterator[str]:
    if block.caption is not None:
        yield from _said(block.caption, "{}:".format)
    for row in block.rows:
        yield "; ".join(f"{column.head}: {cell}" for column, cell in zip(block.columns, row, strict=True))
    yield ""


@_lines.register
def _(block: Section) -> Iterator[str]:
    yield from _all(block.blocks)
