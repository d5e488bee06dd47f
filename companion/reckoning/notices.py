"""What the clinician must know before the guide is handed over: each notice with what it must say, no words."""

from dataclasses import dataclass
from typing import Any, Literal

from companion.case.model import Case
from companion.case.prescription import Activity
from companion.reckoning import choices
from companion.reckoning.containers import LiquidStore, Store
from companion.reckoning.deliveries import ExpectedDelivery, longest_closed_run
from companion.reckoning.duration import Margins, Window
from companion.reckoning.supply import ReservoirSupply, share_of_fills

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


def notices(
    case: Case,
    found: tuple[Store, ...],
    windows: tuple[Window, ...],
    supply: tuple[ReservoirSupply, ...],
    backup: dict[Activity, int],
    wait_days: int,
    margins: Margins,
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
    backup_min = choices.backup_min(backup)
    if backup_min is None:
        told.append(Notice("no backup"))
    elif backup_min < wait_days * 1440:
        told.append(Notice("backup short", (("minutes", backup_min), ("hours", wait_days * 24))))
    for found_window in windows:
        if found_window.level == 1 and found_window.kind == "portable" and found_window.safe_min == 0:
            told.append(
                Notice(
                    "portable useless",
                    (("container", found_window.container), ("activity", found_window.demand.activity)),
                )
            )
    portables = [store for store in found if isinstance(store, LiquidStore) and store.kind == "portable"]
    if share_of_fills(case, portables, margins) > 1:
        told.append(Notice("fills short"))
    settings = case.clinic.settings()
    if settings.emergency_number is None:
        told.append(Notice("no emergency number", (("region", case.clinic.region),)))
    if settings.fire_number is None:
        told.append(Notice("no fire number", (("region", case.clinic.region),)))
    return told


def delivery_notices(case: Case, deliveries: tuple[ExpectedDelivery, ...]) -> list[Notice]:
    """Warn where the calendar of the next weeks asks for more than the delivery that was stated."""
    told = []
    run, stated = longest_closed_run(case), case.clinic.delivery.closed_days
    if run > stated:
        told.append(Notice("closed days short", (("days", run), ("stated", stated))))
    late = [line for line in deliveries if not line.in_time]
    if late:
        told.append(Notice("delivery late", (("date", late[0].expected.isoformat()),)))
    return told
