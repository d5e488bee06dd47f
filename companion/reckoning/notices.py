"""What the clinician must know before the guide is handed over: each notice with what it must say, no words."""

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

from companion.case.equipment import Reservoir
from companion.case.model import Case
from companion.case.prescription import Activity
from companion.facts import oxygen
from companion.facts.days_off import subdivisions
from companion.reckoning.containers import LEVELS, LiquidStore, Store
from companion.reckoning.deliveries import ExpectedDelivery, longest_closed_run, longest_round_gap
from companion.reckoning.duration import Margins, Window
from companion.reckoning.supply import Bridge, ReservoirSupply, share_of_fills

NoticeCode = Literal[
    "few hours",
    "no economiser",
    "no call mark",
    "no call mark on a round",
    "round too long",
    "larger reservoir",
    "shorter wait",
    "a round instead",
    "no backup",
    "backup short",
    "portable useless",
    "fills short",
    "no emergency number",
    "no fire number",
    "closed days short",
    "delivery late",
    "round on a day off",
    "no subdivision",
]

Rank = Literal[1, 2]
"""1: somebody may run out of oxygen, and this comes first. 2: everything else."""


@dataclass(frozen=True)
class Notice:
    """Something that the clinician must know before the guide is handed over."""

    code: NoticeCode
    """A key of the sentences in the clinician's copy."""
    values: tuple[tuple[str, Any], ...] = ()
    """What the sentence holds, by name."""
    rank: Rank = 2


def in_order(*told: Notice) -> tuple[Notice, ...]:
    """Return the notices with the first rank first, else in the order in which they were made."""
    return tuple(sorted(told, key=lambda notice: notice.rank))


def notices(
    case: Case,
    found: tuple[Store, ...],
    windows: tuple[Window, ...],
    backup: dict[Activity, int],
    wait_min: int,
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
    if not backup:
        told.append(Notice("no backup"))
    elif min(backup.values()) < wait_min:
        told.append(Notice("backup short", (("minutes", min(backup.values())), ("hours", wait_min / 60))))
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


def tight_notices(case: Case, supply: tuple[ReservoirSupply, ...], margins: Margins, bridge: Bridge) -> list[Notice]:
    """Warn where no reading below full bridges the wait for a delivery, or a round comes too seldom; say what helps."""
    fixed = case.clinic.delivery.round
    gap = longest_round_gap(fixed) if fixed else 0
    told = []
    for item, line in zip(case.reservoir, supply, strict=True):
        held = (("container", line.container), ("days", line.days_to_empty))
        error = margins.reading_error_divisions / item.gauge.divisions
        needed = 0.0
        if line.call_mark is None:
            code: NoticeCode = "no call mark on a round" if fixed else "no call mark"
            told.append(Notice(code, (*held, ("needed", bridge.days)), rank=1))
            needed = max(_full_days(bridge.days, float(LEVELS[1]), error), _full_days(bridge.days + 1, 1, error))
        if gap > line.days_between:
            told.append(Notice("round too long", (*held, ("gap", gap), ("most", line.days_between)), rank=1))
            needed = max(needed, _full_days(gap + bridge.spare_days, 1, error))
        if needed:
            told += _larger_reservoir(item, line, needed)
    if any(line.call_mark is None for line in supply):
        told += _other_help(supply, bridge, on_a_round=fixed is not None)
    return told


def _full_days(days: float, level: float, error: float) -> float:
    """Return how many days of use a full reservoir must hold so that a reading lasts for some days.

    Args:
        days: that it must last; the last is counted whole, whatever is used first in it.
        level: the reading, as a share of full.
        error: of the reading, on the same scale.
    """
    return math.ceil(days) / (level - error) if error < level else math.inf


def _larger_reservoir(item: Reservoir, line: ReservoirSupply, days: float) -> list[Notice]:
    """Say what size would do, if it boils off as much and has the same gauge; nothing above the largest for a home."""
    bar = item.working_pressure.to("pressure") * 0.0689476 if item.working_pressure else None
    kg = days * line.worst.total / oxygen.GAS_LITRES_PER_KG
    # Where nobody has said the pressure, the least dense liquid needs the most room.
    litres = kg / oxygen.liquid_density_kg_per_l(oxygen.HIGHEST_WORKING_PRESSURE_BAR if bar is None else bar)
    if litres > oxygen.LARGEST_HOME_RESERVOIR_L:
        return []
    size = (("kg", math.ceil(kg * 10) / 10), ("litres", math.ceil(litres)))
    return [Notice("larger reservoir", (("container", line.container), *size), rank=1)]


def _other_help(supply: tuple[ReservoirSupply, ...], bridge: Bridge, *, on_a_round: bool) -> list[Notice]:
    """Say which wait every reservoir would bridge from its highest reading below full, and which round would do."""
    told = []
    wait = int(
        min(min(line.days_from[LEVELS[1]], line.days_from[Fraction(1)] - 1) for line in supply) - bridge.kept_days
    )
    if wait > 0:
        told.append(Notice("shorter wait", (("wait", wait),), rank=1))
    between = min(line.days_between for line in supply)
    if between > 0 and not on_a_round:
        told.append(Notice("a round instead", (("between", between),), rank=1))
    return told


def delivery_notices(case: Case, deliveries: tuple[ExpectedDelivery, ...]) -> list[Notice]:
    """Warn where the calendar of the next weeks asks for more than the delivery that was stated."""
    told = []
    run, stated = longest_closed_run(case), case.clinic.delivery.closed_days
    if run > stated:
        told.append(Notice("closed days short", (("days", run), ("stated", stated))))
    late = [line for line in deliveries if not line.in_time]
    if late:
        told.append(Notice("delivery late", (("date", late[0].expected.isoformat()),), rank=1))
    off = [line for line in deliveries if line.day_off]
    if off:
        told.append(Notice("round on a day off", (("date", off[0].expected.isoformat()),)))
    if case.clinic.subdivision is None and subdivisions(case.clinic.region):
        told.append(Notice("no subdivision", (("region", case.clinic.region),)))
    return told
