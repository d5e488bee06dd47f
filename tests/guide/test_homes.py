"""Every option of a home, alone and in pairs: the guide speaks of what is there, and of nothing else."""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from itertools import combinations
from typing import Any

import pytest

from companion.case import Case
from companion.errors import CaseError
from companion.guide.conditions import couplings
from companion.guide.document import (
    Drawing,
    Heading,
    Link,
    Section,
    See,
    texts_of,
)
from companion.guide.naming import demand_words
from companion.guide.sheets import document
from companion.language.locale import Locale
from companion.language.said import Said, plain
from companion.reckoning.plan import plan
from tests.cases import BASE, GAUGE, LEFT_OUT, UNEVEN, a_case
from tests.guides import CODE

ENGLISH = Locale("en", "US")
GAUGES = {"float", "hanging", "pressure difference", "electronic"}
CARRIERS = {"bag", "trolley"}
PARTED = {"delivery", "backup", "car-and-travel", "tubing-and-care"}
"""Sections of whose parts each is led to by a name of its own."""
SECOND_RESERVOIR = BASE["reservoir"][0] | {"name": "Kitchen"}
SECOND_PORTABLE = BASE["portable"][0] | {"name": "Red trolley"}
CONSERVER: dict[str, Any] = {
    "conserver": {"bolus": {"2": "26 mL", "3": "38 mL"}},
    "portable[1].conserver": True,
    **{
        f"prescription.{activity}.{name}": value
        for activity, setting in (("rest", "2"), ("exertion", "3"))
        for name, value in (("pulse_setting", setting), ("breaths_per_minute", 20))
    },
}


def both(**fields: Any) -> dict[str, Any]:
    """Return changes of the reservoir and the portable alike."""
    return {f"{kind}[1].{name}": value for kind in ("reservoir", "portable") for name, value in fields.items()}


OPTIONS: dict[str, dict[str, Any]] = {
    "no portable": {"portable": LEFT_OUT},
    "no cylinder": {"cylinder": LEFT_OUT},
    "two reservoirs": {"reservoir": [BASE["reservoir"][0], SECOND_RESERVOIR]},
    "two reservoirs, unlike couplings": {
        "reservoir": [BASE["reservoir"][0], SECOND_RESERVOIR | {"coupling": "side fill"}]
    },
    "two reservoirs, unlike gauges": {
        "reservoir": [BASE["reservoir"][0], SECOND_RESERVOIR | {"gauge": {"kind": "electronic", "divisions": 8}}]
    },
    "two portables": {"portable": [BASE["portable"][0], SECOND_PORTABLE]},
    "two portables, one with pulses": {
        **{path: value for path, value in CONSERVER.items() if not path.startswith("portable")},
        "portable": [BASE["portable"][0], SECOND_PORTABLE | {"conserver": True}],
    },
    "two kinds of cylinder": {
        "cylinder": [BASE["cylinder"][0], BASE["cylinder"][0] | {"name": "Under the stairs", "count": 1}]
    },
    "pulses": CONSERVER,
    "mask": {"prescription.interface": "mask"},
    "catheter": {"prescription.interface": "transtracheal catheter"},
    "humidifier": {"prescription.humidifier": True},
    "no drip bottle": {"reservoir[1].water_bottle": False},
    "trolley": {"portable[1].carrier": "trolley"},
    "hanging gauge": {"portable[1].gauge": {"kind": "hanging", "divisions": 4}},
    "lamps": both(gauge={"kind": "electronic", "divisions": 4}),
    "fifths": both(gauge=GAUGE | {"divisions": 5}),
    "side fill": both(coupling="side fill"),
    "another coupling": both(coupling="bayonet"),
    "a night phone": {"clinic.phone_night": "555-0143"},
    "a supplier": {"clinic.supplier": {"name": "Harbour Oxygen Supply", "phone_day": "555-0150"}},
    "a supplier at night": {
        "clinic.supplier": {"name": "Harbour Oxygen Supply", "phone_day": "555-0150", "phone_night": "555-0151"}
    },
    "a supplier with hours": {
        "clinic.supplier": {
            "name": "Harbour Oxygen Supply",
            "phone_day": "555-0150",
            "office_hours": {"weekdays": ["tuesday", "friday"], "from": "07:30", "to": "18:00"},
        }
    },
    "office hours": {"clinic.office_hours": {"weekdays": ["monday", "thursday"], "from": "08:00", "to": "17:30"}},
    "a round": {"clinic.delivery": {"lead_days": 1, "closed_days": 2, "round": {"weekdays": ["friday", "tuesday"]}}},
    "a call mark": {
        "reservoir[1].oxygen_mass": "66 kg",
        "reservoir[1].empty_mass": "50 kg",
        "clinic.policy": {"safety_days": 1},
    },
    "hours off oxygen": {"prescription.hours_off_oxygen": "2 h", "prescription.rest.hours_per_day": "11 h"},
    "no finger meter": {"prescription.target_saturation": LEFT_OUT},
    "a finger meter with its limits": {"prescription.finger_meter": {"call_below": 85, "emergency_below": 80}},
    "unlike flows": {"prescription.exertion.flow": "3 L/min", "prescription.sleep.flow": "1 L/min"},
    "walks at night as asleep": {"prescription.at_night": "sleep", "prescription.sleep.flow": "1 L/min"},
    "walks at night as by day": {"prescription.at_night": "exertion", "prescription.exertion.flow": "3 L/min"},
    "sleeps on the portable": {"prescription.sleep.on_portable": "8 h", "portable[1].cold_fills_per_day": 3},
    "only rests": {
        "prescription.exertion": LEFT_OUT,
        "prescription.sleep": LEFT_OUT,
        "prescription.rest.hours_per_day": "24 h",
    },
    **{f"while filling: {way}": {"prescription.while_filling": way} for way in ("reservoir", "cylinder", "pause")},
    "while filling: other portable": {
        "prescription.while_filling": "other portable",
        "portable": [BASE["portable"][0], SECOND_PORTABLE],
    },
    **{
        f"fill valve: {way}": {"portable[1].fill_valve": way}
        for way in ("lever across", "lever along", "clockwise", "counter-clockwise")
    },
    "the time of a fill": {"portable[1].fill_time": "90 s"},
    "next of kin": {"patient.next_of_kin": {"name": "Jonas Lindqvist", "phone": "555-0171"}},
    "no name": {"patient": LEFT_OUT},
    "no emergency number": {"clinic.region": "HT"},
    **{f"in {region}": {"clinic.region": region} for region in ("GB", "CA", "SA")},
}


def _within(path: str, whole: str) -> bool:
    return path == whole or path.startswith((f"{whole}.", f"{whole}["))


MOST_TOGETHER = 10
"""Options of one home: with more, one would hide what another two say together."""


def _together(names: Sequence[str]) -> dict[str, Any] | None:
    """Return the changes of some options together; None where one undoes another."""
    made: dict[str, Any] = {}
    for name in names:
        for path, value in OPTIONS[name].items():
            if any(_within(path, other) or _within(other, path) for other in made):
                return None
            made[path] = value
    return made


@cache
def home(names: tuple[str, ...]) -> Case | None:
    """Return a home with some options; None where it is refused with all of them, and so never printed."""
    changes = _together(names)
    try:
        return None if changes is None else a_case(changes)
    except CaseError:
        return None


def _every_pair() -> Iterator[tuple[str, ...]]:
    """Yield homes of a few options each, until every two that can be together have been."""
    left = {pair for pair in combinations(OPTIONS, 2) if home(pair) is not None}
    while left:
        names: tuple[str, ...] = min(left)
        for name in OPTIONS:
            more = (*names, name)
            new = any(pair in left for other in names for pair in ((other, name), (name, other)))
            if name not in names and new and len(names) < MOST_TOGETHER and home(more) is not None:
                names = more
        left -= {pair for one in names for other in names for pair in ((one, other),)}
        yield names


def parts_of(block: object) -> Iterator[object]:
    """Yield every block below a block, and itself."""
    if isinstance(block, tuple):
        for part in block:
            yield from parts_of(part)
    elif is_dataclass(block):
        yield block
        if not isinstance(block, (Drawing, Said)):
            for item in fields(block):
                yield from parts_of(getattr(block, item.name))


# ── what may be said ────────────────────────────────────────────────────────────────────────────


def _pulses(case: Case) -> bool:
    ordered = any(order.pulse_setting for order in case.prescription.orders().values())
    return ordered and (any(item.conserver for item in case.portable) or any(item.conserver for item in case.cylinder))


def _night(case: Case) -> bool:
    return (case.clinic.supplier or case.clinic).phone_night is not None or case.clinic.phone_night is not None


SPOKEN_OF: dict[str, Callable[[Case], bool]] = {
    # Words, and of which home they may be said
    r"(?<!You have no )portable": lambda case: bool(case.portable),
    r"(?<!You have no )back-up|(?<!no back-up )cylinder": lambda case: bool(case.cylinder),
    r"\bpulses?\b|steady flow|\bnumber \d|“number”": _pulses,
    r"[Yy]our finger meter|\d %": lambda case: bool(
        case.prescription.target_saturation or case.prescription.finger_meter
    ),
    r"humidifier": lambda case: case.prescription.humidifier,
    r"drip bottle": lambda case: any(item.water_bottle for item in case.reservoir),
    r"\bmask": lambda case: case.prescription.interface == "mask",
    r"in your nose": lambda case: case.prescription.interface == "nasal cannula",
    r"catheter": lambda case: "catheter" in case.prescription.interface,
    r"trolley(?<!Red trolley)": lambda case: any(item.carrier == "trolley" for item in case.portable),
    r"strap\b": lambda case: bool(case.portable),
    r"other reservoir": lambda case: len(case.reservoir) > 1,
    r"[Aa]nother container|other oxygen now": lambda case: bool(case.portable or case.cylinder or case.reservoir[1:]),
    r"clinic now, by day or night": lambda case: case.clinic.phone_night is not None,
    r"by day or night|[Aa]t night and on weekends, call": _night,
    r"the other one": lambda case: len(case.portable) > 1,
    r"without a call": lambda case: case.clinic.delivery.round is not None,
    r"No call yet": lambda case: case.clinic.delivery.round is not None or plan(case).call.mark is not None,
    r"when you walk|Walking": lambda case: case.prescription.exertion is not None,
    r"when you sleep|Asleep|while you sleep": lambda case: case.prescription.sleep is not None,
}


@dataclass(frozen=True)
class Read:
    """One guide as somebody reads it who knows the home."""

    case: Case
    parts: tuple[object, ...]
    """Every block, those below others as well."""
    said: str
    """Every text, one below the other, what is told of drawings apart."""


def read(case: Case, *, code: bool = True) -> Read:
    """Make the guide of a home, and read it."""
    blocks = document("guide", case, plan(case), Locale("en", case.clinic.region), CODE if code else None).blocks
    return Read(case, tuple(parts_of(blocks)), "\n".join(plain(text) for text in texts_of(blocks, pictures=False)))


def faults_of(case: Case) -> Iterator[str]:
    """Yield what is wrong with the guide of a home."""
    found = read(case)
    for rule in RULES:
        yield from rule(found)


@pytest.mark.parametrize("option", OPTIONS)
def test_the_guide_fits_the_home(option: str) -> None:
    case = home((option,))
    assert case is not None, "each option alone is a home"
    assert not list(faults_of(case))


def test_the_guide_fits_every_two_options() -> None:
    # In one test, because which homes there are is found by reading two thousand of them.
    homes = {" + ".join(options): home(options) for options in _every_pair()}
    assert len(homes) > len(OPTIONS)
    assert not {name: faults for name, case in homes.items() if case and (faults := list(faults_of(case)))}


def _speaks_of_what_is_there(read: Read) -> Iterator[str]:
    for words, may in SPOKEN_OF.items():
        found = None if may(read.case) else re.search(words, read.said)
        if found:
            yield f"it is not there: {read.said[: found.end()].splitlines()[-1]}"


def _every_name_is_printed(read: Read) -> Iterator[str]:
    for containers in (read.case.reservoir, read.case.portable, read.case.cylinder):
        if len(containers) > 1:
            yield from (f"{item.name} is not named" for item in containers if (item.name or "") not in read.said)
    found = re.search(r"(?:Reservoir|Portable|Cylinder) \d\b", read.said)
    if found:
        yield f"a number in place of a name: {found[0]}"


def _every_link_leads_to_its_heading(read: Read) -> Iterator[str]:
    names = [(anchor, plain(part.text)) for part in read.parts if isinstance(part, Heading) for anchor in part.anchors]
    for section in read.parts:
        if isinstance(section, Section) and section.name:
            first = next(part for part in parts_of(section) if isinstance(part, Heading) and part.level == 2)
            names.append((section.name, plain(first.text)))
    headings = dict(names)
    if len(headings) != len(names):
        yield "two headings have one name"
    for link in (part for part in read.parts if isinstance(part, Link)):
        if headings.get(link.anchor) != plain(link.words):
            yield f"'{plain(link.words)}' leads to '{headings.get(link.anchor)}'"
    led_to = {link.anchor for part in read.parts if isinstance(part, See) for link in part.links}
    sections = {part.name for part in read.parts if isinstance(part, Section) and part.name}
    sections -= {"first-page", "wrong", "contents"}
    if missing := sections - led_to - PARTED:
        yield f"no line leads to {sorted(missing)}"


def _drawings_are_those_of_the_home(read: Read) -> Iterator[str]:
    case, families = read.case, {"top fill", "side fill"}
    flows = {plain(demand_words(window.demand, ENGLISH)).lower() for window in plan(case).windows}
    for drawing in (part for part in read.parts if isinstance(part, Drawing)):
        values = drawing.name.split("-")
        for interface in ("nasal cannula", "mask", "transtracheal catheter"):
            if interface in values and interface != case.prescription.interface:
                yield f"{drawing.name}: the patient breathes through a {case.prescription.interface}"
        shown = families & set(values)
        if shown and values[0] not in ("reservoir", "portable") and shown != couplings(case):
            yield f"{drawing.name}: the couplings are {couplings(case)}"
        for known, here in (
            (GAUGES, {item.gauge.kind for item in (*case.reservoir, *case.portable)}),
            (CARRIERS, {item.carrier for item in case.portable} or CARRIERS),
            ({value for value in values if value.endswith("l/min")}, flows),
        ):
            if not known & set(values) <= here:
                yield f"{drawing.name}: the home has {here}"
    if len(couplings(case)) > 1 or not couplings(case) <= families:
        drawn = {part.name for part in read.parts if isinstance(part, Drawing)}
        yield from (f"{name} is drawn" for name in drawn if name.startswith("fill_step"))


def _nothing_is_left_open(read: Read) -> Iterator[str]:
    for part in read.parts:
        if isinstance(part, Said) and (not plain(part).strip() or LEFT_OPEN.search(plain(part))):
            yield f"not whole: '{plain(part)}'"


LEFT_OPEN = re.compile(r"[{}]|\*\*|\bNone\b(?! of)|  |\.\.")
"""A placeholder, a mark, a value that is not there, a word that is missing between two others."""

RULES = (
    _speaks_of_what_is_there,
    _every_name_is_printed,
    _every_link_leads_to_its_heading,
    _drawings_are_those_of_the_home,
    _nothing_is_left_open,
)


def test_a_guide_without_a_code_speaks_of_none() -> None:
    case = a_case()
    assert "camera" in read(case).said
    assert "camera" not in read(case, code=False).said


def test_the_uneven_home_keeps_every_rule() -> None:
    assert not list(faults_of(a_case(UNEVEN)))
