"""One guide in several languages, each section on the same page in all: who helps says "page 14", and it is page 14.

Each is laid out with every section on pages of its own, and a section begins on the page that the longest language
needs. Where that makes too many pages, sections share one whose end has room in every language.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

from companion.guide.document import Document, Section
from companion.render.pdf import Mark, marks

MOST_PAGES = 40
"""Ten folded sheets: common practice."""

_ROOM = 0.2
"""What must be free of a page, as a share of it, for another section to begin there. Common practice."""


def same_pages(documents: Sequence[Document]) -> list[Document]:
    """Return documents that differ in their language alone, with their sections on the same pages."""
    names = _names(documents[0])
    held = _Laid(documents, names, frozenset())
    for above, name in pairwise(names[names.index("contents") :]):
        if held.pages <= MOST_PAGES:
            break
        if held.has_room_below(above):
            closer = _Laid(documents, names, held.shared | {name})
            held = closer if closer.is_alike and closer.pages < held.pages else held
    return _with_headings(held.documents, names)


@dataclass(frozen=True)
class _Laid:
    """The documents with each section on pages of its own, but those that begin on the last page of another."""

    originals: Sequence[Document]
    names: Sequence[str]
    shared: frozenset[str]

    @cached_property
    def _marks(self) -> list[dict[tuple[str, str], Mark]]:
        begins = tuple((name, 0 if name in self.shared else 1) for name in self.names[1:])
        found = [marks(replace(document, begins=begins)) for document in self.originals]
        return [{(mark.name, mark.edge): mark for mark in language} for language in found]

    def _firsts(self, name: str) -> list[int]:
        """Return in each language the page on which a section begins."""
        return [language[name, "begin"].page for language in self._marks]

    def _lasts(self) -> Iterator[tuple[str, list[int]]]:
        """Yield each section that begins a page, and in each language how many pages it has with those it shares."""
        heads = [name for name in self.names if name not in self.shared]
        for name, after in pairwise(heads):
            yield name, [end - begin for begin, end in zip(self._firsts(name), self._firsts(after), strict=True)]
        last = [language[self.names[-1], "end"].page + 1 for language in self._marks]
        yield heads[-1], [end - begin for begin, end in zip(self._firsts(heads[-1]), last, strict=True)]

    @property
    def pages(self) -> int:
        """Return how many pages the longest has."""
        return sum(max(pages) for _, pages in self._lasts())

    @property
    def is_alike(self) -> bool:
        """Return whether what shares a page begins on the same one in each language."""
        head = self.names[0]
        for name in self.names:
            head = head if name in self.shared else name
            if len({own - first for own, first in zip(self._firsts(name), self._firsts(head), strict=True)}) > 1:
                return False
        return True

    def has_room_below(self, name: str) -> bool:
        """Return whether another section can begin on the last page of one."""
        ends = [language[name, "end"] for language in self._marks if (name, "end") in language]
        pages = {end.page - first for end, first in zip(ends, self._firsts(name), strict=False)}
        return len(pages) == 1 and all(end.y < (1 - _ROOM) * end.limit for end in ends)

    @property
    def documents(self) -> list[Document]:
        """Return the documents with the pages that each must begin before each section."""
        begins: list[list[tuple[str, int]]] = [[(name, 0) for name in sorted(self.shared)] for _ in self.originals]
        lasts = list(self._lasts())
        for (_, pages), (name, _) in pairwise(lasts):
            for language, own in zip(begins, pages, strict=True):
                language.append((name, 1 + max(pages) - own))
        return [replace(document, begins=tuple(own)) for document, own in zip(self.originals, begins, strict=True)]


def _names(document: Document) -> list[str]:
    """Return what can begin a page, in the order of the pages."""
    living, *others = [block for block in document.blocks if isinstance(block, Section)]
    within = [block for block in living.blocks if isinstance(block, Section)]
    return [section.name for section in (*within, *others) if section.name is not None]


def _with_headings(laid: list[Document], names: Sequence[str]) -> list[Document]:
    """Return the documents with the headings within sections on the same pages too, where a section has the room.

    The pages to live by are measured whole and stay as they are. A section that keeps its pages moves no other, so in
    each round the next heading of every section is tried at once: to lay out a guide takes long. What does not fit is
    tried once more with the empty pages behind its section.
    """
    firsts = [_firsts(document) for document in laid]
    waiting = _within(firsts[0], names)
    while tried := {section: name for section, inner in waiting.items() if (name := _next(inner, firsts))}:
        for gives in (False, True):
            if not tried:
                break  # to lay them out once more would take as long
            moved = _moved(laid, firsts, tried, names, gives=gives)
            then = [_firsts(document) for document in moved]
            kept = {section: name for section, name in tried.items() if _fits(section, name, then, names)}
            if 0 < len(kept) < len(tried):
                moved = _moved(laid, firsts, kept, names, gives=gives)
                then = [_firsts(document) for document in moved]
            if kept:
                laid, firsts = moved, then
            tried = {section: name for section, name in tried.items() if section not in kept}
    return laid


def _within(first: dict[str, int], names: Sequence[str]) -> dict[str, list[str]]:
    """Return the headings within each section that come after the contents, in the order of the pages."""
    within: dict[str, list[str]] = {}
    section = names[0]
    for name, page in first.items():
        if name in names:
            section = name
        elif page > first["contents"]:
            within.setdefault(section, []).append(name)
    return within


def _next(inner: list[str], firsts: Sequence[dict[str, int]]) -> str | None:
    """Take the next heading that all documents have and that stands on another page in one of them."""
    while inner:
        name = inner.pop(0)
        if all(name in first for first in firsts) and len({first[name] for first in firsts}) > 1:
            return name
    return None


def _moved(
    laid: list[Document], firsts: Sequence[dict[str, int]], tried: dict[str, str], names: Sequence[str], *, gives: bool
) -> list[Document]:
    """Return the documents with a heading of some sections on the page that the longest needs.

    With ``gives`` the pages come from those that are left empty before the next section.
    """
    moved = []
    for document, first in zip(laid, firsts, strict=True):
        begins = dict(document.begins or ())
        for section, name in tried.items():
            on = max(other[name] for other in firsts) - first[name]
            begins[name] = begins.get(name, 0) + on
            after = names[names.index(section) + 1 :][:1]
            if gives and after and begins.get(after[0], 0) > on:
                begins[after[0]] -= on
        moved.append(replace(document, begins=tuple(begins.items())))
    return moved


def _fits(section: str, name: str, firsts: Sequence[dict[str, int]], names: Sequence[str]) -> bool:
    """Return whether a heading stands on the same page of its section, and the next section is as far away, in all."""
    after = names[names.index(section) + 1 :][:1]
    return all(len({first[one] - first[section] for first in firsts}) == 1 for one in (name, *after))


def _firsts(document: Document) -> dict[str, int]:
    """Return the page on which each heading stands that others lead to."""
    return {mark.name: mark.page for mark in marks(document) if mark.edge == "begin"}
