"""The plan as JSON, for other programs: the contract that they may rely on."""

import datetime as dt
from typing import Any

from companion.case.model import Case
from companion.export.answer import before_handing_over
from companion.facts import oxygen
from companion.reckoning.choices import cylinder_rows
from companion.reckoning.containers import LiquidStore, Store, level_name
from companion.reckoning.duration import Window
from companion.reckoning.plan import Plan
from companion.reckoning.supply import ReservoirSupply
from companion.reckoning.trips import Trips

WHOLE_DAY = "whole day"
"""Stands in the place of an activity for a reservoir's time under all that is used in a day."""


def as_json(made: Plan, case: Case, today: dt.date | None = None) -> dict[str, Any]:
    """Return the plan as the JSON contract.

    Windows, nights, standing, trips, supply, deliveries, call, notices, basis.

    A window with ``printed`` is a row of the patient's guide. Of a reservoir that is the whole day's use alone: the
    time of one activity leaves out its fills and what it loses by standing, so it stands as ``safe_alone_min`` and no
    ``safe_min`` is given. No ``safe_min`` is longer than what the guide prints for that container and reading.

    Args:
        made: the plan.
        case: what it was made from.
        today: the day on which the notices are told; None: the day of the case.
    """
    return {
        "issued": case.issued.isoformat(),
        "review_date": case.prescription.review_date.isoformat(),
        "windows": [
            *(_window_json(window, made) for window in made.windows),
            *(row for line in made.supply for row in _whole_day_json(line)),
        ],
        "steady_windows": [_window_json(window, made) for window in made.steady_windows],
        "nights": [
            {
                "container": night.container,
                "lasts_min": night.lasts_min,
                "asleep_min": night.asleep_min,
                "changes": night.changes,
            }
            for night in made.nights
        ],
        "standing": [
            {
                "container": line.container,
                "empty_after_hours": line.empty_after_hours,
                "rows": [
                    {"hours": row.hours, "left_kg": round(row.left_kg, 3), "safe_min": row.safe_min}
                    for row in line.rows
                ],
            }
            for line in made.standing
        ],
        "trips": [_trips_json(line) for line in made.trips],
        "supply": [_supply_json(line) for line in made.supply],
        "what_if": [{"change": line.change, **_supply_json(line.supply)} for line in made.what_if],
        "deliveries": [
            {
                "call_by": line.call_by.isoformat() if line.call_by else None,
                "expected": line.expected.isoformat(),
                "in_time": line.in_time,
                "day_off": line.day_off,
            }
            for line in made.deliveries
        ],
        "call": {
            "mark": level_name(made.call.mark) if made.call.mark else None,
            "unless_within_days": made.call.unless_within_days,
            "next_within_days": made.call.next_within_days,
            "wait_days": made.wait_days,
            "wait_min": made.wait_min,
            "bridge_days": made.bridge_days,
        },
        "backup_min": made.backup_min,
        "backup_one_min": made.backup_one_min,
        "backup_changes": made.backup_changes,
        "backup_needed": made.backup_needed,
        "notices": before_handing_over(case, made, today or case.issued),
        "basis": basis(made, case),
    }


def _trips_json(line: Trips) -> dict[str, Any]:
    return {
        "container": line.container,
        "walk_min": line.walk_min,
        "rows": [
            {
                "way_min": trip.way_min,
                "resting_stay_min": trip.resting_stay_min,
                "stay_min": trip.stay_min,
                "home_mark": level_name(trip.home_mark) if trip.home_mark else None,
            }
            for trip in line.trips
        ],
    }


def _supply_json(line: ReservoirSupply) -> dict[str, Any]:
    return {
        "container": line.container,
        "daily_litres_nominal": round(line.nominal.total, 1),
        "daily_litres_worst": round(line.worst.total, 1),
        "daily_litres_at_home_worst": round(line.at_home.total, 1),
        "daily_parts_worst": {
            **{activity: round(litres, 1) for activity, litres in line.worst.direct_by_activity.items()},
            "cold_fills": round(line.worst.cold_fills, 1),
            "warm_fills": round(line.worst.warm_fills, 1),
            "standing": round(line.worst.standing, 1),
        },
        "days_nominal": round(line.days_nominal, 2),
        "safe_min": {level_name(level): minutes for level, minutes in line.safe_min.items()},
        "days_to_empty": line.days_to_empty,
        "days_between": line.days_between,
        "days_to_mark": line.days_to_mark,
        "call_mark": level_name(line.call_mark) if line.call_mark else None,
        "covers_delivery": line.covers_delivery,
    }


def _whole_day_json(line: ReservoirSupply) -> list[dict[str, Any]]:
    """Return what is printed of a reservoir: how long it lasts with all that is used in a day."""
    return [
        {
            "container": line.container,
            "kind": "reservoir",
            "level": level_name(level),
            "gauge_shows": level_name(level),
            "activity": WHOLE_DAY,
            "mode": "all uses",
            "setting": None,
            "flow_l_min": round(line.nominal.total / 1440, 4),
            "nominal_min": round(line.days_nominal * 1440 * float(level), 2),
            "deductions": {"in all": round(line.days_nominal * 1440 * float(level) - minutes, 2)},
            "safe_min": minutes,
            "safe_alone_min": None,
            "printed": True,
        }
        for level, minutes in line.safe_min.items()
    ]


def _gauge_shows(found: Window, made: Plan) -> str | None:
    """Return what the gauge shows in the row of a window; None where the table has no such row."""
    store = next(store for store in made.stores if store.id == found.container)
    if isinstance(store, LiquidStore):
        return level_name(found.level)
    readings = {row.level: f"{row.reading:f} {store.pressure_unit}" for row in cylinder_rows(store)}
    return readings.get(found.level)


def _window_json(found: Window, made: Plan) -> dict[str, Any]:
    gauge_shows = _gauge_shows(found, made)
    alone = found.kind == "reservoir"
    return {
        "container": found.container,
        "kind": found.kind,
        "level": level_name(found.level),
        "gauge_shows": gauge_shows,
        "activity": found.demand.activity,
        "mode": found.demand.mode,
        "setting": found.demand.setting,
        "flow_l_min": round(found.demand.flow_l_min, 9),
        "nominal_min": round(found.nominal_min, 2),
        "deductions": {deduction.cause: round(deduction.minutes, 2) for deduction in found.deductions},
        "safe_min": None if alone else found.safe_min,
        "safe_alone_min": found.safe_min if alone else None,
        "printed": gauge_shows is not None and not alone,
    }


def basis(made: Plan, case: Case) -> dict[str, Any]:
    """Return the constants, margins and policy behind the figures, each with its unit in its name."""
    policy = case.clinic.policy
    return {
        "reference_state": "70 °F (21.1 °C), 1 atm (101.325 kPa)",
        "gas_litres_per_kg": oxygen.GAS_LITRES_PER_KG,
        "flow_tolerance_percent": float(policy.flow_tolerance_percent),
        "bolus_tolerance_percent": float(policy.bolus_tolerance_percent),
        "breathing_tolerance_percent": float(policy.breathing_tolerance_percent),
        "reading_error_divisions": float(policy.reading_error_divisions),
        "gauge_accuracy_percent": float(policy.gauge_accuracy_percent),
        "cylinder_gauge_accuracy_percent": float(policy.cylinder_gauge_accuracy_percent),
        "warm_cylinder_percent": float(policy.warm_cylinder_percent),
        "vapour_percent": float(policy.vapour_percent),
        "boil_off_tolerance_percent": float(policy.boil_off_tolerance_percent),
        "portable_reserve_min": policy.portable_reserve.to("time"),
        "portable_spread_min": policy.portable_spread.to("time"),
        "cold_fill_loss_percent": float(policy.cold_fill_loss_percent),
        "warm_fill_loss_percent": float(policy.warm_fill_loss_percent),
        "let_down_percent": float(policy.let_down_percent),
        "icing_flow_l_min": policy.icing_flow.to("flow"),
        "safety_days": policy.safety_days,
        "lead_days": case.clinic.delivery.lead_days,
        "closed_days": case.clinic.delivery.closed_days,
        "latest_hour": case.clinic.delivery.latest_hour,
        "rounding": "down: to 5 minutes below 12 h, to 30 minutes below 48 h, to whole days above",
        "containers": [_store_json(store) for store in made.stores],
    }


def _store_json(store: Store) -> dict[str, Any]:
    if isinstance(store, LiquidStore):
        return {
            "container": store.id,
            "kind": store.kind,
            "oxygen_kg": round(store.full_kg, 3),
            "most_oxygen_kg": round(store.most_kg, 3),
            "vapour_share": round(store.vapour_share, 5),
            "flash_share": round(store.flash_share, 4),
            "gas_litres": round(store.full_litres, 1),
            "boil_off_l_min": round(store.boil_off_l_min, 4),
            "loss_rule": "the greater of flow and boil-off" if store.economiser else "flow and boil-off together",
            "gauge_division": round(store.division, 4),
        }
    return {
        "container": store.id,
        "kind": store.kind,
        "count": store.count,
        "gas_litres": round(store.full_litres, 1),
        "full_psi": round(store.full_psi, 1),
        "reserve_psi": round(store.reserve_psi, 1),
        "gauge_division_psi": round(store.division_psi, 1),
    }
