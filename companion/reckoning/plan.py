"""The plan: everything computed for one case, in one frozen value. Reads no file, knows no language."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

from companion.case.model import Activity, Case
from companion.facts import oxygen
from companion.reckoning.containers import LEVELS, GasStore, LiquidStore, Store, level_name, stores
from companion.reckoning.deliveries import ExpectedDelivery, expected_deliveries, longest_closed_run, longest_wait_days
from companion.reckoning.demand import demand
from companion.reckoning.duration import Margins, Window, window
from companion.reckoning.supply import (
    ReservoirSupply,
    Standing,
    WhatIf,
    backup_minutes,
    cylinders_to_bridge,
    reservoir_supply,
    share_of_fills,
    standing,
    what_if,
)

NoticeCode = Literal[
    "few hours",
    "no economiser",
    "reservoir too small",
    "no backup",
    "backup short",
    "portable useless",
    "fills short",
    "no emergency number",
    "no fire number",
    "closed days short",
    "delivery late",
]


@dataclass(frozen=True)
class Notice:
    """Something that the clinician must know before the guide is handed over."""

    code: NoticeCode
    """A key of the sentences in the clinician's copy."""
    values: tuple[tuple[str, Any], ...] = ()
    """What the sentence holds, by name."""


@dataclass(frozen=True)
class Plan:
    """What was computed from a case. Equal for equal prescription, equipment and policy."""

    stores: tuple[Store, ...]
    margins: Margins
    windows: tuple[Window, ...]
    standing: tuple[Standing, ...]
    supply: tuple[ReservoirSupply, ...]
    what_if: tuple[WhatIf, ...]
    """The supply of each reservoir after each change that the equipment allows."""
    deliveries: tuple[ExpectedDelivery, ...]
    """The next deliveries, from a reservoir that is full on the day of the guide."""
    backup_min: dict[Activity, int]
    """How long all full cylinders together last [min]; empty without cylinders."""
    backup_needed: dict[str, int]
    """By cylinder: how many full ones of its kind alone cover the wait for a delivery."""
    wait_days: int
    """Days from the call to a delivery at the latest, days without deliveries included."""
    bridge_days: int
    """The same with the clinic's safety days: what the oxygen at home must last when a delivery is asked for."""
    notices: tuple[Notice, ...]

    def windows_of(self, kind: str) -> list[Window]:
        """Return the windows of one kind of container."""
        return [found for found in self.windows if found.kind == kind]

    def window(self, container: str, level: Fraction, activity: Activity) -> Window:
        """Return one window."""
        return next(
            found
            for found in self.windows
            if (found.container, found.level, found.demand.activity) == (container, level, activity)
        )


def margins_of(case: Case) -> Margins:
    """Return the clinic's policy as plain numbers."""
    policy = case.clinic.policy
    return Margins(
        flow_tolerance=float(policy.flow_tolerance_percent) / 100,
        reading_error_divisions=float(policy.reading_error_divisions),
        portable_reserve_min=policy.portable_reserve.to("time"),
    )


def plan(case: Case) -> Plan:
    """Compute the plan of a case that was checked."""
    margins = margins_of(case)
    found = stores(case)
    reservoirs = [store for store in found if isinstance(store, LiquidStore) and store.kind == "reservoir"]
    portables = [store for store in found if isinstance(store, LiquidStore) and store.kind == "portable"]
    cylinders = [store for store in found if isinstance(store, GasStore)]
    windows = tuple(
        window(store, level, demand(activity, order, store, case.conserver), margins)
        for store in found
        for level in LEVELS
        for activity, order in case.prescription.orders().items()
    )
    wait_days = longest_wait_days(case)
    bridge_days = wait_days + case.clinic.policy.safety_days
    supply = tuple(reservoir_supply(case, store, portables, margins, bridge_days) for store in reservoirs)
    deliveries = expected_deliveries(case, min(line.days_to_empty for line in supply))
    backup = backup_minutes(case, cylinders, margins)
    return Plan(
        stores=found,
        margins=margins,
        windows=windows,
        standing=tuple(standing(case, store, margins) for store in portables),
        supply=supply,
        what_if=tuple(
            line for store in reservoirs for line in what_if(case, store, portables, margins, bridge_days, wait_days)
        ),
        deliveries=deliveries,
        backup_min=backup,
        backup_needed=cylinders_to_bridge(case, cylinders, margins, wait_days),
        wait_days=wait_days,
        bridge_days=bridge_days,
        notices=(*_notices(case, found, windows, supply, backup, wait_days), *_delivery_notices(case, deliveries)),
    )


def _notices(
    case: Case,
    found: tuple[Store, ...],
    windows: tuple[Window, ...],
    supply: tuple[ReservoirSupply, ...],
    backup: dict[Activity, int],
    wait_days: int,
) -> list[Notice]:
    told = []
    orders = case.prescription.orders()
    hours_on = sum(order.hours_per_day.to("time") for order in orders.values()) / 60
    if hours_on < 15:
        # ATS 2020 guideline: at least 15 h a day for long-term oxygen.
        told.append(Notice("few hours", (("hours", hours_on),)))
    for store in found:
        if isinstance(store, LiquidStore) and not store.economiser:
            told.append(Notice("no economiser", (("container", store.id),)))
    for line in supply:
        if not line.covers_delivery:
            told.append(Notice("reservoir too small", (("container", line.container), ("days", line.days_to_empty))))
    if not backup:
        told.append(Notice("no backup"))
    elif min(backup.values()) < wait_days * 1440:
        told.append(Notice("backup short", (("minutes", min(backup.values())), ("hours", wait_days * 24))))
    for found_window in windows:
        if found_window.level == 1 and found_window.kind == "portable" and found_window.safe_min == 0:
            told.append(
                Notice(
                    "portable useless",
                    (("container", found_window.container), ("activity", found_window.demand.activity)),
                )
            )
    portables = [store for store in found if isinstance(store, LiquidStore) and store.kind == "portable"]
    if share_of_fills(case, portables, margins_of(case)) > 1:
        told.append(Notice("fills short"))
    settings = case.clinic.settings()
    if settings.emergency_number is None:
        told.append(Notice("no emergency number", (("region", case.clinic.region),)))
    if settings.fire_number is None:
        told.append(Notice("no fire number", (("region", case.clinic.region),)))
    return told


def _delivery_notices(case: Case, deliveries: tuple[ExpectedDelivery, ...]) -> list[Notice]:
    """Warn where the calendar of the next weeks asks for more than the delivery that was stated."""
    told = []
    run, stated = longest_closed_run(case), case.clinic.delivery.closed_days
    if run > stated:
        told.append(Notice("closed days short", (("days", run), ("stated", stated))))
    late = [line for line in deliveries if not line.in_time]
    if late:
        told.append(Notice("delivery late", (("date", late[0].expected.isoformat()),)))
    return told


def as_json(made: Plan, case: Case) -> dict[str, Any]:
    """Return the plan as the JSON contract: windows, standing, supply, deliveries, notices, basis."""
    return {
        "issued": case.issued.isoformat(),
        "review_date": case.prescription.review_date.isoformat(),
        "windows": [_window_json(found) for found in made.windows],
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
        "supply": [_supply_json(line) for line in made.supply],
        "what_if": [{"change": line.change, **_supply_json(line.supply)} for line in made.what_if],
        "deliveries": [
            {
                "call_by": line.call_by.isoformat(),
                "expected": line.expected.isoformat(),
                "in_time": line.in_time,
            }
            for line in made.deliveries
        ],
        "backup_min": made.backup_min,
        "backup_needed": made.backup_needed,
        "notices": [{"code": notice.code, **dict(notice.values)} for notice in made.notices],
        "basis": basis(made, case),
    }


def _supply_json(line: ReservoirSupply) -> dict[str, Any]:
    return {
        "container": line.container,
        "daily_litres_nominal": round(line.nominal.total, 1),
        "daily_litres_worst": round(line.worst.total, 1),
        "daily_parts_worst": {
            **{activity: round(litres, 1) for activity, litres in line.worst.direct_by_activity.items()},
            "cold_fills": round(line.worst.cold_fills, 1),
            "warm_fills": round(line.worst.warm_fills, 1),
            "standing": round(line.worst.standing, 1),
        },
        "days_nominal": round(line.days_nominal, 2),
        "safe_min": {level_name(level): minutes for level, minutes in line.safe_min.items()},
        "days_to_empty": line.days_to_empty,
        "days_to_mark": line.days_to_mark,
        "call_mark": level_name(line.call_mark),
        "covers_delivery": line.covers_delivery,
    }


def _window_json(found: Window) -> dict[str, Any]:
    return {
        "container": found.container,
        "kind": found.kind,
        "level": level_name(found.level),
        "activity": found.demand.activity,
        "mode": found.demand.mode,
        "setting": found.demand.setting,
        "flow_l_min": round(found.demand.flow_l_min, 4),
        "nominal_min": round(found.nominal_min, 2),
        "deductions": {deduction.cause: round(deduction.minutes, 2) for deduction in found.deductions},
        "safe_min": found.safe_min,
    }


def basis(made: Plan, case: Case) -> dict[str, Any]:
    """Return the constants, margins and policy behind the figures, each with its unit in its name."""
    policy = case.clinic.policy
    return {
        "reference_state": "70 °F (21.1 °C), 1 atm (101.325 kPa)",
        "gas_litres_per_kg": oxygen.GAS_LITRES_PER_KG,
        "flow_tolerance_percent": float(policy.flow_tolerance_percent),
        "reading_error_divisions": float(policy.reading_error_divisions),
        "portable_reserve_min": policy.portable_reserve.to("time"),
        "cold_fill_loss_percent": float(policy.cold_fill_loss_percent),
        "warm_fill_loss_percent": float(policy.warm_fill_loss_percent),
        "safety_days": policy.safety_days,
        "lead_days": case.clinic.delivery.lead_days,
        "closed_days": case.clinic.delivery.closed_days,
        "rounding": "down: to 5 minutes below 12 h, to 30 minutes below 48 h, to whole days above",
        "containers": [_store_json(store) for store in made.stores],
    }


def _store_json(store: Store) -> dict[str, Any]:
    if isinstance(store, LiquidStore):
        return {
            "container": store.id,
            "kind": store.kind,
            "oxygen_kg": round(store.full_kg, 3),
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
