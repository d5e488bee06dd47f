"""Cases to start from: one that is right, changed by the same paths that the messages name.

``case_dict({"portable[1].boil_off": "30 g/h", "patient": LEFT_OUT})`` is the base with one field set and one gone.
"""

import copy
import datetime as dt
import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

from companion.case import Case
from companion.case.delivery import WEEKDAYS
from companion.case.prescription import ACTIVITIES
from companion.case.read import case_from_dict
from companion.errors import CaseError
from companion.reckoning.containers import GasStore, LiquidStore, stores

LEFT_OUT = object()
"""A value for ``case_dict``: the field is taken out."""

PERSONAL = ("Rosa Lindqvist", "Dr Amara Osei", "By the bed", "Blue bag", "Hall")
"""Every name in the base that must stay out of a code."""

GAUGE = {"kind": "float", "divisions": 4}

BASE: dict[str, Any] = {
    "issued": dt.date(2026, 11, 2),
    "patient": {"name": "Rosa Lindqvist"},
    "prescription": {
        "prescriber": "Dr Amara Osei",
        "review_date": dt.date(2027, 5, 3),
        "interface": "nasal cannula",
        "target_saturation": {"low": 88, "high": 92},
        "humidifier": False,
        "hours_off_oxygen": "0 h",
        "rest": {"flow": "2 L/min", "hours_per_day": "13 h"},
        "exertion": {"flow": "2 L/min", "hours_per_day": "3 h"},
        "sleep": {"flow": "2 L/min", "hours_per_day": "8 h"},
    },
    "reservoir": [
        {
            "name": "By the bed",
            "oxygen_mass": "73 lb",
            "working_pressure": "20 psi",
            "empty_mass": "51 lb",
            "boil_off": "1 lb/day",
            "economiser": True,
            "max_flow": "6 L/min",
            "gauge": GAUGE,
            "coupling": "top fill",
            "water_bottle": True,
        }
    ],
    "portable": [
        {
            "name": "Blue bag",
            "liquid_volume": "1.2 L",
            "working_pressure": "20 psi",
            "empty_mass": "5.5 lb",
            "boil_off": "26 g/h",
            "economiser": True,
            "max_flow": "6 L/min",
            "gauge": GAUGE,
            "coupling": "top fill",
            "carrier": "bag",
            "cold_fills_per_day": 1,
            "warm_fills_per_day": 0,
        }
    ],
    "cylinder": [
        {
            "name": "Hall",
            "count": 2,
            "full_pressure": "2200 psi",
            "content": "623 L",
            "reserve": "200 psi",
            "gauge_division": "100 psi",
            "max_flow": "15 L/min",
        }
    ],
    "clinic": {
        "name": "Harbour Lane Breathing Clinic",
        "phone_day": "555-0142",
        "region": "US",
        "subdivision": "OH",
        "delivery": {"lead_days": 2, "closed_days": 2},
    },
}

NO_MARGINS: dict[str, Any] = {
    "clinic.policy": {
        "flow_tolerance_percent": 0,
        "bolus_tolerance_percent": 0,
        "breathing_tolerance_percent": 0,
        "reading_error_divisions": 0,
        "gauge_accuracy_percent": 0,
        "cylinder_gauge_accuracy_percent": 0,
        "warm_cylinder_percent": 0,
        "vapour_percent": 0,
        "boil_off_tolerance_percent": 0,
        "portable_reserve": "0 min",
        "portable_spread": "0 h",
        "let_down_percent": 0,
    }
}
"""Changes that leave only the textbook's sum, and what is rounded down."""

OWN_FIGURES: dict[str, Any] = {
    "emergency_number": "000",
    "fire_number": "001",
    "flame_distance": "4 m",
    "heat_distance": "2 m",
    "airing_time": "45 min",
    "splash_airing_time": "2 h",
    "frostbite_water": {"low": "38 °C", "high": "105 °F"},
}
"""A policy that sets every figure of which a region holds one."""

KNOWN: dict[str, Any] = {
    "patient.next_of_kin": {"name": "Jonas Lindqvist", "phone": "555-0171"},
    "patient.allergies": "Penicillin",
    "prescription.diagnosis": "COPD",
    "prescription.finger_meter": {"call_below": 88, "emergency_below": 80},
    "prescription.while_filling": "cylinder",
    "prescription.at_night": "exertion",
    "portable[1].fill_valve": "lever across",
    "portable[1].fill_time": "90 s",
    "clinic.office_hours": {"weekdays": ["monday", "thursday"], "from": "08:00", "to": "17:30"},
    "clinic.supplier": {
        "name": "Harbour Oxygen Supply",
        "phone_day": "555-0150",
        "phone_night": "555-0151",
        "office_hours": {"weekdays": ["tuesday", "friday"], "from": "07:30", "to": "18:00"},
    },
}
"""Changes that enter each fact that is printed as it was entered and changes no figure. None travels in a code."""

UNLIKE_FLOWS: dict[str, Any] = {"prescription.exertion.flow": "3 L/min", "prescription.sleep.flow": "1.5 L/min"}
"""Changes that order another flow in each activity."""

PULSE: dict[str, Any] = {
    "prescription.rest.pulse_setting": "2",
    "prescription.rest.breaths_per_minute": 20,
    "portable[1].conserver": True,
    # Palwai 2010, table 2: the same setting 2 is 3.2, 22.8, 23.4 or 33.2 mL in four devices
    "conserver": {"bolus": {"2": "22.8 mL"}},
}
"""Changes that order pulses at rest."""


UNEVEN: dict[str, Any] = {
    "prescription.rest": {
        "flow": "1.5 L/min",
        "pulse_setting": "2",
        "breaths_per_minute": 18,
        "hours_per_day": "11 h",
        "on_portable": "1 h",
    },
    "prescription.exertion": {
        "flow": "3.5 L/min",
        "pulse_setting": "3",
        "breaths_per_minute": 26,
        "hours_per_day": "2 h",
        "on_portable": "2 h",
    },
    "prescription.sleep": {"flow": "1.25 L/min", "hours_per_day": "10 h"},
    "prescription.hours_off_oxygen": "1 h",
    "prescription.humidifier": True,
    "conserver": {"bolus": {"2": "26 mL", "3": "38 mL"}},
    "reservoir": [
        BASE["reservoir"][0] | {"oxygen_mass": "85 lb", "empty_mass": "60 lb"},
        {
            "name": "Kitchen",
            "liquid_volume": "43 L",
            "working_pressure": "1.5 bar",
            "empty_mass": "30 kg",
            "boil_off": "0.6 kg/day",
            "economiser": False,
            "max_flow": "10 L/min",
            "gauge": {"kind": "electronic", "divisions": 8},
            "coupling": "side fill",
            "water_bottle": False,
        },
    ],
    "portable": [
        BASE["portable"][0] | {"gauge": {"kind": "hanging", "divisions": 4}},
        {
            "name": "Red trolley",
            "liquid_volume": "0.8 L",
            "working_pressure": "1.4 bar",
            "empty_mass": "1.9 kg",
            "boil_off": "18 g/h",
            "economiser": True,
            "max_flow": "6 L/min",
            "gauge": {"kind": "float", "divisions": 5},
            "coupling": "side fill",
            "carrier": "trolley",
            "conserver": True,
            "cold_fills_per_day": 0,
            "warm_fills_per_day": 1,
        },
    ],
    "cylinder": [
        {
            "name": "Hall",
            "count": 3,
            "full_pressure": "2000 psi",
            "factor": "1.56 L/psi",
            "reserve": "200 psi",
            "gauge_division": "100 psi",
            "max_flow": "15 L/min",
        },
        {
            "name": "Under the stairs",
            "count": 2,
            "full_pressure": "137 bar",
            "water_volume": "4.7 L",
            "reserve": "20 bar",
            "gauge_division": "10 bar",
            "max_flow": "15 L/min",
            "conserver": True,
        },
    ],
    "clinic.phone_night": "555-0143",
    "clinic.region": "GB",
    "clinic.link_base": "https://oxygen.harbour-lane.example",
    "clinic.delivery": {"lead_days": 1, "closed_days": 1, "weekdays": list(WEEKDAYS)},
    "clinic.policy": {"safety_days": 1},
}
"""Changes that leave no two of a kind alike: flows, reservoirs, portables, cylinders, gauges, units, reserves. Where
the guide takes the shortest, the latest or the highest of several figures, this home tells which one it took."""

QUIET: dict[str, Any] = {
    "clinic.delivery": {"lead_days": 1, "closed_days": 1, "weekdays": list(WEEKDAYS)},
    "clinic.policy": {"safety_days": 1},
    "reservoir[1].oxygen_mass": "96 lb",
    "reservoir[1].empty_mass": "68 lb",
    "cylinder[1].content": "3455 L",
    "cylinder[1].count": 6,
}
"""Changes after which there is nothing to tell: short wait, large back-up."""


def case_dict(changes: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Return a case as a file gives it, with the fields at some paths changed or left out."""
    made = copy.deepcopy(BASE)
    if "clinic.region" in (changes or {}):
        del made["clinic"]["subdivision"]  # a part of another country
    for path, value in (changes or {}).items():
        *way, last = (int(step) - 1 if step.isdigit() else step for step in re.findall(r"\w+", path))
        part: Any = made
        for step in way:
            part = part[step]
        if value is LEFT_OUT:
            part.pop(last, None)
        else:
            part[last] = copy.deepcopy(value)
    return made


def meant(raw: dict[str, Any]) -> dict[str, Any]:
    """Return a case as a file gives it with each of its unlikely values confirmed, and nothing else."""
    return _confirmed(raw)[0]


def a_case(changes: Mapping[str, Any] | None = None) -> Case:
    """Return the checked case of ``case_dict``, its unlikely values confirmed."""
    values, case = _confirmed(case_dict(changes))
    return case or case_from_dict(values, "the test")


def _confirmed(raw: dict[str, Any]) -> tuple[dict[str, Any], Case | None]:
    """Return what ``meant`` does, with the case where it was read already."""
    asked = {name: value for name, value in raw.items() if name != "confirmed"}
    try:
        return asked, case_from_dict(asked, "the test")
    except CaseError as error:
        return asked | {"confirmed": sorted({fault.confirm for fault in error.faults if fault.confirm})}, None


def only_cylinder(**fields: str) -> GasStore:
    """Return the store of a case whose one cylinder has these fields."""
    changes = {"cylinder[1].content": LEFT_OUT, "cylinder[1].name": LEFT_OUT}
    store = stores(a_case(changes | {f"cylinder[1].{name}": value for name, value in fields.items()}))[-1]
    assert isinstance(store, GasStore)
    return store


def reservoir(**fields: object) -> LiquidStore:
    """Return the store of a case whose reservoir has these fields."""
    store = stores(a_case({f"reservoir[1].{name}": value for name, value in fields.items()}))[0]
    assert isinstance(store, LiquidStore)
    return store


# ── every valid case ────────────────────────────────────────────────────────────────────────────


def _written(value: float, unit: str) -> str:
    return f"{Decimal(value).quantize(Decimal('0.0001')).normalize():f} {unit}"


def _amounts(least: float, most: float, unit: str) -> st.SearchStrategy[str]:
    return st.integers(int(least * 1000), int(most * 1000)).map(lambda n: _written(n / 1000, unit))


@st.composite
def _liquid(draw: st.DrawFn, most_kg: float, most_l: float, lightest: float) -> dict[str, Any]:
    """Draw a liquid container by mass or by volume, of any size, empty mass and boil-off that the model takes.

    ``lightest`` is its least empty mass, as a multiple of the oxygen.
    """
    if draw(st.booleans()):
        kg = draw(st.integers(60, int(most_kg * 1000))) / 1000
        content = {"oxygen_mass": _written(kg, "kg")}
        if draw(st.booleans()):
            content["working_pressure"] = draw(_amounts(0, 70, "psi"))
    else:
        litres = draw(st.integers(60, int(most_l * 1000))) / 1000
        kg = litres * 1.07  # within 7 % of every density between 0 and 70 psi
        pressure = draw(st.one_of(_amounts(0, 70, "psi"), _amounts(0, 4.8, "bar")))
        content = {"liquid_volume": _written(litres, "L"), "working_pressure": pressure}
    boil_off_least, boil_off_most = max(0.011, 0.003 * kg), min(2.99, 2.2 * kg)
    return content | {
        "empty_mass": _written(min(150.0, max(0.3, kg * draw(st.sampled_from((lightest, 1.5, 3.0))))), "kg"),
        "boil_off": draw(_amounts(boil_off_least * 1000, boil_off_most * 1000, "g/day")),
        "economiser": draw(st.sampled_from((True, False))),
        "max_flow": "60 L/min",
        "gauge": {"kind": "float", "divisions": draw(st.integers(2, 20))},
        "coupling": "top fill",
    }


@st.composite
def _portables(draw: st.DrawFn) -> dict[str, Any]:
    return draw(_liquid(1.6, 1.5, lightest=1.1)) | {
        "carrier": draw(st.sampled_from(("bag", "trolley"))),
        "conserver": draw(st.booleans()),
        "cold_fills_per_day": draw(st.integers(0, 12)),
        "warm_fills_per_day": draw(st.integers(0, 12)),
    }


@st.composite
def _cylinders(draw: st.DrawFn) -> dict[str, Any]:
    full = draw(st.integers(500, 4400))
    content = draw(
        st.one_of(
            _amounts(50, 12000, "L").map(lambda text: {"content": text}),
            _amounts(0.4, 60, "L").map(lambda text: {"water_volume": text}),
            _amounts(0.02, 4, "L/psi").map(lambda text: {"factor": text}),
        )
    )
    return content | {
        "count": draw(st.integers(1, 20)),
        "full_pressure": f"{full} psi",
        "reserve": f"{draw(st.integers(1, min(1500, (full - 1) // 2)))} psi",
        "gauge_division": f"{draw(st.integers(1, 1000))} psi",
        "max_flow": "60 L/min",
        "conserver": draw(st.booleans()),
    }


@st.composite
def _orders(draw: st.DrawFn, pulses: bool) -> dict[str, Any]:
    found: dict[str, Any] = {}
    left = 1440
    for activity in draw(st.lists(st.sampled_from(ACTIVITIES), min_size=1, unique=True)):
        minutes = draw(st.integers(0, left))
        left -= minutes
        found[activity] = {
            "flow": draw(st.one_of(_amounts(0.05, 15, "L/min"), _amounts(15, 60, "L/min"))),
            "hours_per_day": f"{minutes} min",
        }
        if draw(st.booleans()):
            found[activity]["on_portable"] = f"{draw(st.integers(0, minutes))} min"
        if pulses and draw(st.booleans()):
            found[activity] |= {"pulse_setting": "3", "breaths_per_minute": draw(st.integers(8, 60))}
    return found | {"hours_off_oxygen": f"{left} min"}


_PERCENT = (
    "bolus_tolerance_percent",
    "breathing_tolerance_percent",
    "gauge_accuracy_percent",
    "cylinder_gauge_accuracy_percent",
    "vapour_percent",
    "boil_off_tolerance_percent",
    "let_down_percent",
)
_WEEKDAYS = st.lists(st.sampled_from(WEEKDAYS), min_size=1, max_size=7, unique=True)


@st.composite
def _rounds(draw: st.DrawFn) -> dict[str, Any]:
    starts = draw(st.dates(dt.date(2026, 1, 1), dt.date(2027, 12, 31)))
    others = draw(_WEEKDAYS)
    return {
        "weekdays": list(dict.fromkeys([WEEKDAYS[starts.weekday()], *others])),
        "every_weeks": draw(st.integers(1, 8)),
        "starts": starts,
    }


_KNOWN_OF_EVERY_HOME = tuple(path for path in KNOWN if path.startswith(("patient", "clinic", "prescription.diag")))


@st.composite
def valid_cases(draw: st.DrawFn) -> dict[str, Any]:
    """Draw a valid case from the whole range of equipment, orders and policies that the model takes."""
    portables = draw(st.lists(_portables(), max_size=2))
    cylinders = draw(st.lists(_cylinders(), max_size=2))
    pulses = any(item["conserver"] for item in portables + cylinders)
    orders = draw(_orders(pulses))
    if not portables:
        for order in orders.values():
            if isinstance(order, dict):
                order.pop("on_portable", None)
    return meant(
        case_dict(
            {
                "prescription": {
                    key: value
                    for key, value in BASE["prescription"].items()
                    if key not in (*ACTIVITIES, "hours_off_oxygen")
                }
                | orders,
                "reservoir": [
                    item | {"water_bottle": True}
                    for item in draw(st.lists(_liquid(68, 60, lightest=0.6), min_size=1, max_size=2))
                ],
                "portable": portables,
                "cylinder": cylinders,
                "conserver": {"bolus": {"3": draw(_amounts(1, 200, "mL"))}},
                "clinic.delivery": {
                    "lead_days": draw(st.integers(0, 30)),
                    "closed_days": draw(st.integers(0, 14)),
                }
                | draw(
                    st.fixed_dictionaries(
                        {},
                        optional={"weekdays": _WEEKDAYS, "latest_hour": st.integers(1, 24), "round": _rounds()},
                    )
                ),
                "clinic.policy": {
                    "flow_tolerance_percent": draw(st.integers(0, 1000)) / 10,
                    "reading_error_divisions": draw(st.integers(0, 20)) / 10,
                    "portable_spread": f"{draw(st.integers(0, 1440))} min",
                    "warm_cylinder_percent": draw(st.integers(0, 200)) / 10,
                    **{name: draw(st.integers(0, 1000)) / 10 for name in _PERCENT},
                    "portable_reserve": f"{draw(st.integers(0, 240))} min",
                    "cold_fill_loss_percent": draw(st.integers(0, 100)),
                    "warm_fill_loss_percent": draw(st.integers(0, 100)),
                    "safety_days": draw(st.integers(0, 14)),
                }
                | {name: OWN_FIGURES[name] for name in draw(st.sets(st.sampled_from(sorted(OWN_FIGURES))))},
            }
            | {path: KNOWN[path] for path in draw(st.sets(st.sampled_from(_KNOWN_OF_EVERY_HOME)))}
        )
    )
