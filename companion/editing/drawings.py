"""One sheet with every drawing in every setting that a guide can ask for, so that a person sees the family at a glance."""

import re
from collections.abc import Iterator, Mapping
from fractions import Fraction
from html import escape
from itertools import product
from typing import Any, get_args

from companion.case.equipment import Gauge
from companion.guide.document import Drawing
from companion.guide.pictures import picture
from companion.language.locale import Locale

_GAUGES = get_args(Gauge.model_fields["kind"].annotation)
_INTERFACES = ("nasal cannula", "mask", "transtracheal catheter")
_CAPTION = re.compile(r'<svg [^>]*\bdata-caption="([^"]*)"')


def _all(**choices: tuple[Any, ...]) -> tuple[dict[str, Any], ...]:
    return tuple(dict(zip(choices, chosen, strict=True)) for chosen in product(*choices.values()))


_BREATHES = _all(interface=_INTERFACES)

SETTINGS: Mapping[str, tuple[dict[str, Any], ...]] = {
    "gauge": (
        *_all(
            kind=_GAUGES,
            level=(Fraction(1), Fraction(3, 4), Fraction(1, 2), Fraction(1, 4), Fraction(0)),
            divisions=(4,),
        ),
        *_all(kind=_GAUGES, level=(Fraction(5, 8),), divisions=(8,)),
        *_all(kind=_GAUGES, level=(Fraction(2, 3),), divisions=(3,)),
    ),
    "gauge_between": _all(kind=_GAUGES, divisions=(4, 8)),
}
"""For each drawing what it is asked for with; a value that a case gives is one that a case could give."""


def caption(drawing: Drawing) -> str:
    """Return the short line that stands under a drawing; empty where it has none."""
    found = _CAPTION.match(drawing.svg)
    return found[1] if found else ""


def drawings(locale: Locale) -> Iterator[tuple[str, dict[str, Any], Drawing]]:
    """Yield every drawing in each of its settings."""
    for name, settings in SETTINGS.items():
        for params in settings:
            yield name, params, picture(locale, name, **params)


def sheet(locale: Locale) -> str:
    """Return one page with every drawing, its size, its caption and its alternative text."""
    figures = "\n".join(
        f"<figure>{drawn.svg}<figcaption><code>{escape(_call(name, params))}</code> {drawn.width:g} x {drawn.height:g} pt"
        f"<br><b>{caption(drawn)}</b><br>{escape(str(drawn.alt))}</figcaption></figure>"
        for name, params, drawn in drawings(locale)
    )
    return _PAGE.format(tag=locale.tag, figures=figures)


def _call(name: str, params: Mapping[str, Any]) -> str:
    return f"{name}({', '.join(f'{key}={value}' for key, value in params.items())})"


_PAGE = """<!doctype html>
<html lang="{tag}"><meta charset="utf-8"><title>Drawings</title>
<style>
body {{ font: 12px/1.35 "Noto Sans", sans-serif; display: flex; flex-wrap: wrap; gap: 20px; align-items: start }}
figure {{ margin: 0; max-width: 500px; min-width: 155px; width: min-content }}
</style>
{figures}
</html>
"""
