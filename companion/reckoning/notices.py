"""What the clinician must know before the guide is handed over: each notice with what it must say, no words."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from companion.case.model import Case
from companion.case.prescription import Activity
from companion.reckoning.containers import LiquidStore, Store
from companion.reckoning.deliveries import ExpectedDelivery, longest_closed_run
from companion.reckoning.duration import Window
from companion.reckoning.fills import share_of_fills, share_with_pauses
from companion.reckoning.margins import Margins
from companion.reckoning.nights import Night
from companion.reckoning.supply import ReservoirSupply

NoticeCode = Literal[
    "few hours",
    "no economiser",
    "reservoir too small",
    "no backup",
    "backup short",
    "portable useless",
    "cylinder useless",
    "no steady time",
    "fills short",
    "pauses short",
    "night on portable",
    "night on cylinder",
    "no working pressure",
    "high flow",
    "altitude",
    "no emergency number",
    "no fire number",
    "closed days short",
    "delivery late",
]

HIGH_M = 1500.0
"""From here on air is called thin enough to matter to the lungs [m]; common practice, no source."""


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
    if not backup:
        told.append(Notice("no backup"))
    elif min(backup.values()) < wait_days * 1440:
        told.append(Notice("backup short", (("minutes", min(backup.values())), ("hours", wait_days * 24))))
    useless: dict[str, NoticeCode] = {"portable": "portable useless", "cylinder": "cylinder useless"}
    for window in windows:
        if window.level == 1 and window.kind in useless and window.safe_min == 0:
            told.append(Notice(useless[window.kind], _where(window)))
    portables = [store for store in found if isinstance(store, LiquidStore) and store.kind == "portable"]
    if share_of_fills(case, portables, margins) > 1:
        told.append(Notice("fills short"))
    elif share_with_pauses(case, portables, margins) > 1:
        told.append(Notice("pauses short", (("hours", margins.portable_spread_min / 60),)))
    settings = case.clinic.settings()
    if settings.emergency_number is None:
        told.append(Notice("no emergency number", (("region", case.clinic.region),)))
    if settings.fire_number is None:
        told.append(Notice("no fire number", (("region", case.clinic.region),)))
    return told


def night_notices(nights: Sequence[Night]) -> Iterator[Notice]:
    """Warn of each container that does not last the sleep that is ordered, if it gives any time at all."""
    for night in nights:
        if night.changes:
            values = (
                ("container", night.container),
                ("minutes", night.lasts_min),
                ("asleep", night.asleep_min),
                ("changes", night.changes),
            )
            yield Notice("night on portable" if night.kind == "portable" else "night on cylinder", values)


def steady_notices(steady_windows: Sequence[Window]) -> Iterator[Notice]:
    """Warn of each container that is of no use when its pulses fail."""
    for window in steady_windows:
        if window.level == 1 and window.safe_min == 0:
            yield Notice("no steady time", _where(window))


def equipment_notices(case: Case, stores: Sequence[Store]) -> Iterator[Notice]:
    """Warn of flows and places for which liquid equipment is seldom made, and of what its data leave open."""
    items = [*case.reservoir, *case.portable]
    for store, item in zip(stores, items, strict=False):
        if item.working_pressure is None:
            yield Notice("no working pressure", (("container", store.id),))
    limit = case.clinic.policy.icing_flow
    for activity, order in case.prescription.orders().items():
        if order.flow is not None and order.flow.to("flow") > limit.to("flow"):
            yield Notice("high flow", (("activity", activity), ("flow", str(order.flow)), ("limit", str(limit))))
    altitude = case.clinic.altitude
    if altitude is not None and altitude.to("distance") >= HIGH_M:
        yield Notice("altitude", (("altitude", str(altitude)),))


def _where(window: Window) -> tuple[tuple[str, Any], ...]:
    return (("container", window.container), ("activity", window.demand.activity))


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
