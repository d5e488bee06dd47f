"""Words in a drawing as outlines.

The typesetter loses vowel signs of Devanagari in the words of an SVG, and PDF/UA refuses what is left; set as text of
its own, the same words come out right. So it sets each line by itself, and its outlines take the place of the line.
"""

import json
import re
from collections.abc import Callable
from html import unescape

_TEXT = re.compile(r'<text ([^>]*?)font-size="([\d.]+)" text-anchor="(\w+)"([^>]*)>(.*?)</text>', re.DOTALL)
_LINE = re.compile(r'<tspan x="([-\d.]+)" y="([-\d.]+)">(.*?)</tspan>', re.DOTALL)
_DEVANAGARI = re.compile("[\u0900-\u097f]")
_SET = """\
#set page(width: auto, height: auto, margin: 0pt, fill: none)
#set text(lang: "hi", font: ("Noto Sans", "Noto Sans Devanagari"), weight: "bold", size: {size}pt)
#set text(top-edge: "baseline", bottom-edge: "baseline")
#{words}
"""


def with_outlines(svg: str, set_words: Callable[[str], str]) -> str:
    """Return a drawing whose words in Devanagari are outlines; set_words makes SVG of a source for the typesetter."""

    def outlined(text: re.Match[str]) -> str:
        if not _DEVANAGARI.search(text[5]):
            return text[0]
        lines = []
        for x, y, words in _LINE.findall(text[5]):
            made = set_words(_SET.format(size=text[2], words=json.dumps(unescape(words), ensure_ascii=False)))
            box = re.search(r'viewBox="0 0 ([\d.]+)', made)
            assert box is not None, "the typesetter gives a size"
            width = float(box[1])
            left = float(x) - width * {"start": 0, "middle": 0.5, "end": 1}[text[3]]
            drawn = made[made.index(">") + 1 : made.rindex("</svg>")]
            inside = drawn.replace(' fill="#000000" fill-rule="nonzero"', "")
            lines.append(f'<g transform="translate({left} {y})">{inside}</g>')
        return f'<g xmlns:xlink="http://www.w3.org/1999/xlink" {text[4]}>{"".join(lines)}</g>'

    return _TEXT.sub(outlined, svg)
