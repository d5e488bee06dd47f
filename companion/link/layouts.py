"""What a code holds, version by version: every field by its path, in the order in which it is written.

A layout that was ever printed is never changed. Version 1 is only read. A field that the model gains is added to the
newest layout that was not yet released, or begins the next one, and says in ``MEANT_BEFORE`` what it was before.
"""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from companion.facts.units import Amount
from companion.link.wire import (
    Count,
    Day,
    Flag,
    Kind,
    Many,
    Maybe,
    Named,
    Number,
    OneOf,
    Quantity,
    Reader,
    Record,
    ShortNumber,
    Text,
    Usual,
)

_INTERFACES = ("nasal cannula", "mask", "transtracheal catheter")
_GAUGES = ("float", "hanging", "pressure difference", "electronic")
_CARRIERS = ("bag", "trolley")
_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

# ── the same in both versions; what a later version holds otherwise gets a piece of its own ──────

_ORDER = Record(
    {
        "flow": Maybe(Quantity("flow")),
        "pulse_setting": Maybe(Text()),
        "breaths_per_minute": Maybe(Count()),
        "hours_per_day": Quantity("time"),
        "on_portable": Maybe(Quantity("time")),
    }
)
_LIQUID: Mapping[str, Kind] = {
    "liquid_volume": Maybe(Quantity("liquid volume")),
    "working_pressure": Maybe(Quantity("pressure")),
    "empty_mass": Quantity("mass"),
    "boil_off": Quantity("mass loss"),
    "economiser": Maybe(Flag()),
    "max_flow": Quantity("flow"),
    "gauge": Record({"kind": OneOf(_GAUGES), "divisions": Count()}),
    "coupling": Text(),
    "oxygen_mass": Maybe(Quantity("mass")),
}
_CYLINDER = Record(
    {
        "count": Count(),
        "full_pressure": Quantity("pressure"),
        "content": Maybe(Quantity("gas volume")),
        "water_volume": Maybe(Quantity("gas volume")),
        "factor": Maybe(Quantity("trade factor")),
        "reserve": Quantity("pressure"),
        "gauge_division": Quantity("pressure"),
        "max_flow": Quantity("flow"),
        "conserver": Flag(),
    }
)
_OWN_FIGURES: Mapping[str, Kind] = {
    "flame_distance": Maybe(Quantity("distance")),
    "heat_distance": Maybe(Quantity("distance")),
    "emergency_number": Maybe(Text()),
    "fire_number": Maybe(Text()),
    "airing_time": Maybe(Quantity("time")),
    "splash_airing_time": Maybe(Quantity("time")),
    "frostbite_water": Maybe(Record({"low": Quantity("temperature"), "high": Quantity("temperature")})),
}

# ── version 1 ───────────────────────────────────────────────────────────────────────────────────

_VERSION_1 = Record(
    {
        "issued": Day(),
        "patient": Record({}),
        "prescription": Record(
            {
                "review_date": Day(),
                "interface": OneOf(_INTERFACES),
                "target_saturation": Maybe(Record({"low": Count(), "high": Count()})),
                "humidifier": Flag(),
                "hours_off_oxygen": Quantity("time"),
                "rest": Maybe(_ORDER),
                "exertion": Maybe(_ORDER),
                "sleep": Maybe(_ORDER),
            }
        ),
        "reservoir": Many(Record({**_LIQUID, "water_bottle": Flag()})),
        "portable": Many(
            Record(
                {
                    **_LIQUID,
                    "carrier": OneOf(_CARRIERS),
                    "conserver": Flag(),
                    "cold_fills_per_day": Count(),
                    "warm_fills_per_day": Count(),
                }
            )
        ),
        "cylinder": Many(_CYLINDER),
        "conserver": Maybe(Record({"bolus": Named(Quantity("dose"))})),
        "clinic": Record(
            {
                "name": Text(),
                "phone_day": Text(),
                "phone_night": Maybe(Text()),
                "region": Text(),
                "delivery": Record(
                    {"lead_days": Count(), "closed_days": Count(), "weekdays": Maybe(Many(OneOf(_WEEKDAYS)))}
                ),
                "policy": Record(
                    {
                        "flow_tolerance_percent": ShortNumber(),
                        "reading_error_divisions": ShortNumber(),
                        "portable_reserve": Quantity("time"),
                        "cold_fill_loss_percent": ShortNumber(),
                        "warm_fill_loss_percent": ShortNumber(),
                        "safety_days": Count(),
                        **_OWN_FIGURES,
                    }
                ),
            }
        ),
    }
)

# ── version 2: numbers to the last digit, the usual margins in one bit each ─────────────────────

_VERSION_2 = Record(
    {
        "issued": Day(),
        "prescription": Record(
            {
                "review_date": Day(),
                "interface": Usual(OneOf(_INTERFACES), "nasal cannula"),
                "target_saturation": Maybe(Record({"low": Count(), "high": Count()})),
                "humidifier": Flag(),
                "hours_off_oxygen": Usual(Quantity("time"), Amount(Decimal(0), "hour")),
                "rest": Maybe(_ORDER),
                "exertion": Maybe(_ORDER),
                "sleep": Maybe(_ORDER),
            }
        ),
        "reservoir": Many(Record({**_LIQUID, "water_bottle": Flag()})),
        "portable": Many(
            Record(
                {
                    **_LIQUID,
                    "carrier": Usual(OneOf(_CARRIERS), "bag"),
                    "conserver": Flag(),
                    "cold_fills_per_day": Count(),
                    "warm_fills_per_day": Usual(Count(), 0),
                    "fill_time": Maybe(Quantity("time")),
                }
            )
        ),
        "cylinder": Many(_CYLINDER),
        "conserver": Maybe(Record({"bolus": Named(Quantity("dose"))})),
        "clinic": Record(
            {
                "name": Text(),
                "phone_day": Text(),
                "phone_night": Maybe(Text()),
                "region": Text(),
                "subdivision": Maybe(Text()),
                # A phone calls with one tap: it needs the number that answers for deliveries, and whose it is.
                "supplier": Maybe(Record({"name": Text(), "phone_day": Text(), "phone_night": Maybe(Text())})),
                "altitude": Maybe(Quantity("distance")),
                "delivery": Record(
                    {
                        "lead_days": Count(),
                        "closed_days": Count(),
                        "weekdays": Maybe(Many(OneOf(_WEEKDAYS))),
                        "latest_hour": Usual(Count(), 18),
                        "round": Maybe(
                            Record(
                                {
                                    "weekdays": Many(OneOf(_WEEKDAYS)),
                                    "every_weeks": Usual(Count(), 1),
                                    "starts": Maybe(Day()),
                                }
                            )
                        ),
                    }
                ),
                "policy": Record(
                    {
                        "flow_tolerance_percent": Usual(Number(), Decimal(10)),
                        "bolus_tolerance_percent": Usual(Number(), Decimal(10)),
                        "breathing_tolerance_percent": Usual(Number(), Decimal(10)),
                        "gauge_accuracy_percent": Usual(Number(), Decimal(5)),
                        "cylinder_gauge_accuracy_percent": Usual(Number(), Decimal("3.5")),
                        "warm_cylinder_percent": Usual(Number(), Decimal(5)),
                        "vapour_percent": Usual(Number(), Decimal(100)),
                        "boil_off_tolerance_percent": Usual(Number(), Decimal(15)),
                        "portable_spread": Usual(Quantity("time"), Amount(Decimal(16), "hour")),
                        "let_down_percent": Usual(Number(), Decimal(100)),
                        "icing_flow": Usual(Quantity("flow"), Amount(Decimal(6), "liter / minute")),
                        "reading_error_divisions": Usual(Number(), Decimal("0.5")),
                        "portable_reserve": Usual(Quantity("time"), Amount(Decimal(30), "minute")),
                        "cold_fill_loss_percent": Usual(Number(), Decimal(10)),
                        "warm_fill_loss_percent": Usual(Number(), Decimal(25)),
                        "safety_days": Usual(Count(), 2),
                        **_OWN_FIGURES,
                    }
                ),
            }
        ),
    }
)

# ── all of them ─────────────────────────────────────────────────────────────────────────────────

LAYOUTS: Mapping[int, Record] = {1: _VERSION_1, 2: _VERSION_2}
"""The layout of each version that is read."""

NEWEST = 2
"""The version that is written."""

MEANT_BEFORE: Mapping[int, Mapping[str, Any]] = {
    1: {
        "clinic.policy.bolus_tolerance_percent": Decimal(0),
        "clinic.policy.breathing_tolerance_percent": Decimal(0),
        "clinic.policy.gauge_accuracy_percent": Decimal(0),
        "clinic.policy.cylinder_gauge_accuracy_percent": Decimal(0),
        "clinic.policy.warm_cylinder_percent": Decimal(0),
        "clinic.policy.vapour_percent": Decimal(0),
        "clinic.policy.boil_off_tolerance_percent": Decimal(0),
        "clinic.policy.portable_spread": Amount(Decimal(0), "hour"),
        "clinic.policy.let_down_percent": Decimal(0),
        "clinic.policy.icing_flow": Amount(Decimal(6), "liter / minute"),
        "portable.fill_time": None,
        "clinic.altitude": None,
        "clinic.subdivision": None,
        "clinic.supplier.name": None,
        "clinic.supplier.phone_day": None,
        "clinic.supplier.phone_night": None,
        "clinic.delivery.latest_hour": 1,  # a delivery counted at the start of its day
        "clinic.delivery.round.weekdays": None,
        "clinic.delivery.round.every_weeks": None,
        "clinic.delivery.round.starts": None,
    }
}
"""By older version: each field that it does not hold, by its path, and what a guide of that version went by.

``None`` is a field that is left out. A path through a list (``portable.gauge.kind``) stands for each of its items.
"""


def paths(kind: Kind, here: str = "") -> Mapping[str, Kind]:
    """Return every field of a layout that holds no fields itself, by its path without places in lists."""
    while isinstance(kind, Many | Usual):
        kind = kind.kind
    if not isinstance(kind, Record):
        return {here: kind}
    below = [paths(inner, f"{here}.{name}" if here else name) for name, inner in kind.fields.items()]
    return {path: inner for part in below for path, inner in part.items()}


def with_meaning(values: dict[str, Any], version: int) -> dict[str, Any]:
    """Return what a code of a version holds, with the fields that came later as they were meant then."""
    for path, meaning in MEANT_BEFORE.get(version, {}).items():
        *way, last = path.split(".")
        parts: list[dict[str, Any]] = [values]
        for step in way:
            # A part that this case does not have, such as an activity without an order, gains no field either.
            inner = [part[step] for part in parts if step in part]
            parts = [item for entry in inner for item in (entry if isinstance(entry, list) else [entry])]
        for part in parts:
            part[last] = meaning
    return values


def values_of(case: object) -> dict[str, Any]:
    """Return what the newest layout writes of a case, as plain values."""
    layout = LAYOUTS[NEWEST]
    return layout.read(iter(()), Reader(layout.write(case)[1]))
