"""The figures in a text as a reader meets them: lengths of time, pressures and flows, in any of our languages.

Neither markup nor language of a page or a PDF is asked: a length of time is found by the words that our languages
have for days, hours and minutes.
"""

import re
import unicodedata
from collections.abc import Iterator, Sequence
from functools import cache

from companion.language.catalogue import available
from companion.language.locale import Locale

_WHOLE = r"(?<!\d)\d{1,9}"
"""No figure of ours has more digits, and a page of digits alone must not be searched from each of them to its end."""
_ARABIC_LETTER = "[\u0600-\u06ff]"
_MEASURED = re.compile(
    # Not the number of a container before a pressure that is turned round: "سلنڈر 2 bar 14".
    rf"(?!(?<={_ARABIC_LETTER} )\d{{1,9}}\s*(?:psi|bar|kPa|MPa)\s*\d)"
    rf"(?P<before>{_WHOLE}(?:[.,]\d{{1,9}})?)\s*(?P<unit>m?L/min|psi|bar|kPa|MPa)"
    # In the text of a PDF, a line from right to left has its Latin words turned round.
    r"|(?P<turned>min/m?L|psi|bar|kPa|MPa)\s*(?P<after>\d{1,9}(?:[.,]\d{1,9})?)"
)
_LEADERS = re.compile(r"(?:\.\s?){4,}\d*")
"""The dots of a table of contents and the page behind them, which is no number of days of the next line."""
_TURNED = {"min/L": "L/min", "min/mL": "mL/min"}


def figures_read(text: str) -> list[str]:
    """Return each figure in the order in which it stands: ``4 h 10 min``, ``7 d``, ``1500 psi``, ``2 L/min``."""
    text = normal(text)
    return [figure for _, figure in sorted([*_times(text), *_measured(text)])]


def normal(text: str) -> str:
    """Return a text with plain letters, without what cannot be seen, and with spaces beside figures alone.

    A line of Chinese ends inside a word, and a PDF does not say that it goes on.
    """
    plain = unicodedata.normalize("NFKC", text)
    plain = _LEADERS.sub(" ", plain)
    seen = " ".join("".join(sign for sign in plain if unicodedata.category(sign) != "Cf").split())
    return re.sub(r"(?<=\D) (?=\D)", "", seen)


def count_of(wanted: Sequence[str], figures: Sequence[str]) -> int:
    """Return how often some figures stand one after another, never counting one twice."""
    return "".join(map(_bracketed, figures)).count("".join(map(_bracketed, wanted)))


def _bracketed(figure: str) -> str:
    return f"[{figure}]"


def _times(text: str) -> Iterator[tuple[int, str]]:
    words, joints, pattern = _spelling()
    matches = list(pattern.finditer(text))
    place = 0
    while place < len(matches):
        match = matches[place]
        figure = f"{int(match[1])} {words[match[2]]}"
        after = matches[place + 1] if place + 1 < len(matches) else None
        if after and (words[match[2]], words[after[2]]) == ("h", "min"):
            between = text[match.end() : after.start()]
            if between.strip() in joints:
                figure += f" {int(after[1])} min"
                place += 1
        yield match.start(), figure
        place += 1


def _measured(text: str) -> Iterator[tuple[int, str]]:
    for match in _MEASURED.finditer(text):
        number = (match["before"] or match["after"]).replace(",", ".")
        yield match.start(), f"{number} {match['unit'] or _TURNED.get(match['turned'], match['turned'])}"


@cache
def _spelling() -> tuple[dict[str, str], frozenset[str], re.Pattern[str]]:
    """Return our languages' words for units of time, what joins hours and minutes, and a pattern of one number."""
    words: dict[str, str] = {}
    joints = set()
    for tag in available():
        locale = Locale(tag, "US")
        for count in range(1, 121):
            for unit, spelled in (("d", locale.days(count)), ("h", locale.hours(count))):
                words[_word(str(spelled), count)] = unit
        for count in range(1, 60):
            words[_word(str(locale.duration(count)), count)] = "min"
        # 47 and 3 stand for any figures; what is left between the two words joins them.
        both = normal(str(locale.duration(3 * 60 + 47)))
        hours = normal(str(locale.hours(3)))
        joints.add(both[both.index(hours) + len(hours) : both.index("47")].strip())
    longest_first = sorted(words, key=lambda word: (-len(word), word))
    return words, frozenset(joints), re.compile(rf"({_WHOLE})\s*({'|'.join(map(re.escape, longest_first))})")


def _word(spelled: str, count: int) -> str:
    return normal(spelled).removeprefix(str(count)).strip()
