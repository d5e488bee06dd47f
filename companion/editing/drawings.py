"""One sheet with every drawing in every setting that a guide asks for: the family at a glance."""

import re
from collections.abc import Iterator, Mapping
from fractions import Fraction
from html import escape
from itertools import permutations, product
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


_ANY_GAUGE = ("", "float", "hanging", "electronic")
_COUPLINGS = ("top fill", "side fill")
_VALVES = (None, "lever across", "lever along", "clockwise", "counter-clockwise")
_SIGNS = {
    "prohibition": ("smoking", "vapour", "candle", "flame", "fire", "oil", "general"),
    "warning": ("oxidizer", "cold", "fire", "general"),
    "instruction": ("gloves", "eyes", "upright", "read", "ventilate", "phone", "call", "general"),
    "safe": ("phone", "call", "ventilate", "general"),
}

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
    "flow_dial": _all(number=("2", "1.5 L/min", "number 2")),
    "emergency_signs": _all(interface=_INTERFACES),
    "reservoir": (
        *_all(callouts=("words", True, False)),
        *_all(
            callouts=("words",),
            coupling=_COUPLINGS,
            gauge=("electronic",),
            divisions=(8,),
            humidifier=(False,),
            water_bottle=(True, False),
        ),
        *_all(callouts=("words", True), coupling=("",), gauge=("",)),
    ),
    "portable": (
        *_all(callouts=("words", True, False), carrier=("bag", "trolley")),
        *_all(callouts=("words",), coupling=_COUPLINGS, gauge=_GAUGES, carrier=("bag", "trolley"), conserver=(True,)),
        *_all(callouts=("words", True), coupling=("",), gauge=("",)),
    ),
    "cylinder": _all(callouts=("words", True, False)),
    "fill_step": (
        *_all(step=(1,), interface=_INTERFACES),
        *_all(step=(3, 4, 7), coupling=_COUPLINGS),
        *_all(step=(4,), coupling=_COUPLINGS, gauge=("hanging", "electronic")),
        *_all(step=(2, 5, 6), coupling=_COUPLINGS, valve=_VALVES),
        *_all(step=(8,), gauge=_GAUGES, interface=_INTERFACES),
        *_all(step=(8,), gauge=("",), hanging=(True, False)),
        *_all(step=(4,), gauge=("",)),
    ),
    "cloud_puff_jet": _all(coupling=_COUPLINGS),
    "read_portable": _all(gauge=_GAUGES, divisions=(4, 8)),
    "change_source": tuple(
        {"from": old, "to": new, "number": "2 L/min"}
        for old, new in permutations(("reservoir", "portable", "cylinder"), 2)
    )
    + _all(gauge=("", "hanging", "electronic"), reservoir_gauge=("", "electronic")),
    "cylinder_open": _all(stop=("200 psi", "14 bar", ""), interface=_INTERFACES),
    "finger_meter": _all(low=("88 %", "90 %"), interface=_INTERFACES),
    "eye_rinse": _all(interface=_INTERFACES),
    "cold_water": ({}, *_all(range=("99 to 102 °F (37 to 39 °C)", "37 to 39 °C (99 to 102 °F)"))),
    "skin_stuck": ({},),
    "wet_clothes": _all(interface=_INTERFACES),
    "burning_tube": ({},),
    "spill_leave": _all(reservoir_gauge=_ANY_GAUGE),
    "upright": _all(carried=(True, False), gauge=_ANY_GAUGE, reservoir_gauge=("float",)),
    "tipped": _all(gauge=_ANY_GAUGE),
    "car_stop": ({},),
    "frozen_coupling": _all(coupling=_COUPLINGS, interface=_INTERFACES),
    "no_smoking": ({},),
    "flame_distance": (
        {},
        *_all(
            distance=("10 feet (3 m)", "3 metres (10 feet)"),
            interface=_INTERFACES,
            carrier=("bag", "trolley", ""),
        ),
        *_all(carrier=("trolley",), gauge=_ANY_GAUGE),
    ),
    "creams": ({},),
    "not_here": _all(carried=(True, False), gauge=_ANY_GAUGE),
    "tubing": _all(interface=_INTERFACES, number=("", "2 L/min", "2.5 L/min"), reservoir_gauge=("", "electronic")),
    "night_walk": _all(interface=_INTERFACES),
    "car": _all(interface=_INTERFACES, gauge=_ANY_GAUGE, number=("2 L/min", "")),
    "hot_car": _all(gauge=_ANY_GAUGE),
    "conserver": _all(interface=_INTERFACES),
    "water_bottle": ({},),
    "humidifier": ({},),
    "wipe_dry": _all(coupling=_COUPLINGS),
    "sign": tuple(
        {"kind": kind, "symbol": symbol, "size": 64} for kind, symbols in _SIGNS.items() for symbol in symbols
    ),
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
        f"<figure>{drawn.svg}<figcaption><code>{escape(_call(name, params))}</code> "
        f"{drawn.width:g} x {drawn.height:g} pt<br><b>{caption(drawn)}</b><br>{escape(str(drawn.alt))}"
        "</figcaption></figure>"
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
