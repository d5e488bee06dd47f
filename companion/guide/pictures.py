"""The drawings: SVG templates with their words in one language, each as a block of the document."""

import re
from functools import cache, lru_cache, partial
from html import unescape
from typing import Any
from unicodedata import bidirectional, category, east_asian_width

import jinja2

from companion import resources
from companion.errors import SettingError
from companion.guide.document import Drawing
from companion.guide.naming import level_words
from companion.language.locale import Locale
from companion.language.said import Said, Value

_ROOT = re.compile(
    r'<svg [^>]*\bwidth="([\d.]+)" height="([\d.]+)"[^>]* aria-label="([^"]*)"(?: data-caption="([^"]*)")?'
)

_FAMILIES = "Noto Sans, sans-serif"
"""The families that each template asks for."""


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(resources.folder("templates")),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["ems"] = _ems
    return environment


def _ems(text: str) -> float:
    """Return about how wide bold words are, in type sizes, as our faces have their letters."""
    return sum(map(_width, text))


def _width(sign: str) -> float:
    if category(sign) == "Mn":
        return 0
    if sign.isspace() or category(sign).startswith("P"):
        return 0.32
    if east_asian_width(sign) in "WF":
        return 1
    return 0.45 if bidirectional(sign) == "AL" else 0.61 if sign.isascii() else 0.69


def read_drawings() -> None:
    """Read the templates of all drawings, which takes a second, ahead of the first that is drawn."""
    for name in _environment().list_templates(filter_func=lambda name: name.startswith("drawings/")):
        _environment().get_template(name)


def picture(locale: Locale, name: str, **params: Any) -> Drawing:
    """Return one drawing; of two languages its words are in the reader's.

    Raises:
        SettingError: there is no such drawing.
    """
    return _picture(locale.languages[0], name, tuple(sorted(params.items())))


@lru_cache(maxsize=4096)
def _picture(locale: Locale, name: str, params: tuple[tuple[str, Any], ...]) -> Drawing:
    try:
        template = _environment().get_template(f"drawings/{name}.svg.jinja")
    except jinja2.TemplateNotFound as error:
        raise SettingError(f"There is no drawing '{name}' in templates/drawings.") from error
    spoken: dict[str, Said] = {}

    def word(message: str, **values: Value) -> str:
        said = locale.say(message, **values)
        spoken[str(said)] = said
        return str(said)

    rtl = locale.direction == "rtl"
    svg = template.render(_=word, level_words=partial(level_words, locale=locale), rtl=rtl, **dict(params)).strip()
    # In a drawing the typesetter looks for a missing sign in no second family: the one of the script itself is first.
    families = sorted(locale.fonts, key=lambda family: family in _FAMILIES)
    svg = svg.replace(_FAMILIES, ", ".join((*families, "sans-serif")))
    if rtl:
        # A line runs its own way, which a drawing that is laid out from left to right does not know; a degree does not.
        svg = re.sub(r"\d+\s°\w", "\u2066\\g<0>\u2069", svg)
        svg = re.sub(r"(<tspan [^>]*>)([^<]*)", "\\1\u2068\\2\u2069", svg)
    root = _ROOT.match(svg)
    assert root is not None, f"drawing {name}: no width, height and label at its root"
    # Label and caption are messages: as texts, it is known in which language they stand.
    alt = spoken[unescape(root[3])]
    caption = spoken[unescape(root[4])] if root[4] else None
    values = (str(value).lower() for _, value in params)
    return Drawing("-".join((name, *values)), svg, alt, float(root[1]), float(root[2]), caption)
