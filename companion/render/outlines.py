"""Words in a drawing as outlines.

The typesetter loses vowel signs of Devanagari in the words of an SVG, and PDF/UA refuses what is left; and the white
rim of a letter cuts into the one before, which parts joined letters. Set as text of its own, the same words come out
right. So it sets each line by itself, and its outlines take the place of the line, all rims below all letters.
"""

import json
import re
from collections.abc import Callable
from html import unescape

_TEXT = re.compile(r'<text ([^>]*?)font-size="([\d.]+)" text-anchor="(\w+)"([^>]*)>(.*?)</text>', re.DOTALL)
_LINE = re.compile(r'<tspan x="([-\d.]+)" y="([-\d.]+)">(.*?)</tspan>', re.DOTALL)
_DEVANAGARI = re.compile("[\u0900-\u097f]")
_BLACK, _WHITE = 'fill="#000"', 'fill="#fff"'
_ARABIC = re.compile("[\u0600-\u06ff]")
_SET = """\
#set page(width: auto, height: auto, margin: 0pt, fill: none)
#set text(lang: "{lang}", font: {fonts}, weight: "bold", size: {size}pt)
#set text(top-edge: "baseline", bottom-edge: "baseline")
#{words}
"""


def with_outlines(svg: str, set_words: Callable[[str], str]) -> str:
    """Return a drawing with outlines for words in joined scripts; set_words makes SVG of a source."""

    def outlined(text: re.Match[str]) -> str:
        lang = "hi" if _DEVANAGARI.search(text[5]) else "ar" if _ARABIC.search(text[5]) else None
        if lang is None:
            return text[0]
        families = text[1].split('"')[1].removesuffix(", sans-serif").split(", ")
        fonts = "(" + "".join(f"{json.dumps(family)}, " for family in families) + ")"
        lines = []
        for x, y, words in _LINE.findall(text[5]):
            made = set_words(
                _SET.format(lang=lang, fonts=fonts, size=text[2], words=json.dumps(unescape(words), ensure_ascii=False))
            )
            box = re.search(r'viewBox="0 0 ([\d.]+)', made)
            assert box is not None, "the typesetter gives a size"
            width = float(box[1])
            left = float(x) - width * {"start": 0, "middle": 0.5, "end": 1}[text[3]]
            drawn = made[made.index(">") + 1 : made.rindex("</svg>")]
            inside = drawn.replace(' fill="#000000" fill-rule="nonzero"', "")
            lines.append(f'<g transform="translate({left} {y})">{inside}</g>')
        words = f'xmlns:xlink="http://www.w3.org/1999/xlink">{"".join(lines)}</g>'
        return f'<g {text[4].replace(_BLACK, _WHITE)} {words}<g {_BLACK} stroke="none" {words}'

    return _TEXT.sub(outlined, svg)
