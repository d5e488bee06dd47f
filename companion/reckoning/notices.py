"""What the clinician must know before the guide is handed over: each notice with what it must say, no words."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

from companion.case.equipment import Reservoir
from companion.case.model import Case
from companion.case.prescription import Activity
from companion.facts import oxygen
from companion.facts.days_off import subdivisions
from companion.facts.units import Amount
from companion.reckoning import choices
from companion.reckoning.containers import LiquidStore, Store, working_pressure_bar
from companion.reckoning.deliveries import ExpectedDelivery, longest_closed_run, longest_round_gap
from companion.reckoning.duration import Window
from companion.reckoning.fills import share_of_fills, share_with_pauses
from companion.reckoning.margins import Margins
from companion.reckoning.nights import Night
from companion.reckoning.supply import Bridge, ReservoirSupply

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
    "round on a day off",
    "no subdivision",
    "no margin",
]

Rank = Literal[1, 2]
"""1: somebody may run out of oxygen, and this comes first. 2: everything else."""

HIGH_M = 1500.0
"""From here on air is called thin enough to matter to the lungs [m]; common practice, no source."""


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
    """Return what the order, the containers and the clinic's settings give to tell."""
    told = []
    orders = case.prescription.orders()
    hours_on = sum(order.hours_per_day.to("time") for order in orders.values()) / 60
    if hours_on < 15:
        # ATS 2020 guideline: at least 15 h a day for long-term oxygen.
        told.append(Notice("few hours", (("hours", hours_on),)))
    for store in found:
        if isinstance(store, LiquidStore) and not store.economiser:
            told.append(Notice("no economiser", (("container", store.id),)))
    backup_min = choices.backup_min(backup)
    if backup_min is None:
        told.append(Notice("no backup"))
    elif backup_min < wait_min:
        told.append(Notice("backup short", (("minutes", backup_min), ("hours", wait_min / 60))))
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


def tight_notices(case: Case, supply: tuple[ReservoirSupply, ...], bridge: Bridge) -> list[Notice]:
    """Warn where no mark below full bridges the wait for a delivery, or a round comes too seldom; say what helps."""
    fixed = case.clinic.delivery.round
    gap = longest_round_gap(fixed) if fixed else 0
    told = []
    for item, line in zip(case.reservoir, supply, strict=True):
        held = (("container", line.container), ("days", line.days_to_empty))
        times = 0.0
        if line.call_mark is None:
            code: NoticeCode = "no call mark on a round" if fixed else "no call mark"
            told.append(Notice(code, (*held, ("needed", bridge.days)), rank=1))
            times = _times(line, line.highest_call_mark, bridge.days + 1)
        if gap > line.days_between:
            told.append(Notice("round too long", (*held, ("gap", gap), ("most", line.days_between)), rank=1))
            times = max(times, _times(line, Fraction(1), gap + bridge.spare_days))
        if times:
            told += _larger_reservoir(item, line, times)
    if any(line.call_mark is None for line in supply):
        told += _other_help(supply, bridge, on_a_round=fixed is not None)
    return told


def _times(line: ReservoirSupply, level: Fraction, days: float) -> float:
    """Return how many times as much a reservoir must hold so that a reading lasts for some days.

    The last day is counted whole, whatever is used first in it.
    """
    lasts = line.days_from[level]
    return math.ceil(days) / lasts if lasts else math.inf


def _larger_reservoir(item: Reservoir, line: ReservoirSupply, times: float) -> list[Notice]:
    """Say what size would do, if it boils off as much and has the same gauge; nothing above the largest for a home."""
    kg = line.days_nominal * line.nominal.total / oxygen.GAS_LITRES_PER_KG * times
    litres = kg / oxygen.liquid_density_kg_per_l(working_pressure_bar(item))
    if litres > oxygen.LARGEST_HOME_RESERVOIR_L:
        return []
    size = (("kg", math.ceil(kg * 10) / 10), ("litres", math.ceil(litres)))
    return [Notice("larger reservoir", (("container", line.container), *size), rank=1)]


def _other_help(supply: tuple[ReservoirSupply, ...], bridge: Bridge, *, on_a_round: bool) -> list[Notice]:
    """Say which wait every reservoir would bridge from its highest reading below full, and which round would do."""
    told = []
    longest = min(line.days_from[line.highest_call_mark] for line in supply)
    # The gauge is read once a day, so a day may be gone when the call is made.
    wait = int(longest - 1 - bridge.kept_days)
    if wait > 0:
        told.append(Notice("shorter wait", (("wait", wait),), rank=1))
    between = min(line.days_between for line in supply)
    if between > 0 and not on_a_round:
        told.append(Notice("a round instead", (("between", between),), rank=1))
    return told


def margin_notices(case: Case) -> list[Notice]:
    """Warn of each margin that the clinic's policy has taken away: without one a safe time is the textbook's sum."""
    policy = case.clinic.policy
    gone = tuple(
        name
        for name, field in type(policy).model_fields.items()
        if not _is_zero(field.default) and _is_zero(getattr(policy, name))
    )
    return [Notice("no margin", (("margins", gone),))] if gone else []


def _is_zero(value: object) -> bool:
    number = value.number if isinstance(value, Amount) else value
    return number is not None and number == 0


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
        told.append(Notice("delivery late", (("date", late[0].expected.isoformat()),), rank=1))
    off = [line for line in deliveries if line.day_off]
    if off:
        told.append(Notice("round on a day off", (("date", off[0].expected.isoformat()),)))
    if case.clinic.subdivision is None and subdivisions(case.clinic.region):
        told.append(Notice("no subdivision", (("region", case.clinic.region),)))
    return told
