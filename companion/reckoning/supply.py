"""How long the supply at home lasts: the reservoir under a day's use, when to call, and the back-up."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import inf
from typing import Literal

from companion.case.model import Case
from companion.case.prescription import Activity, ActivityOrder
from companion.facts.units import Amount
from companion.reckoning.containers import GasStore, LiquidStore
from companion.reckoning.demand import demand
from companion.reckoning.duration import Margins, liquid_minutes_at_least, round_down, window


@dataclass(frozen=True)
class DailyUse:
    """What one reservoir gives in a day [L of gas], by where it goes."""

    direct_by_activity: dict[Activity, float]
    """Breathed from the reservoir, with the boil-off of those hours."""
    cold_fills: float
    warm_fills: float
    standing: float
    """Boiled off in the hours in which nobody breathes from it."""

    @property
    def direct(self) -> float:
        """Litres a day breathed from the reservoir in all activities."""
        return sum(self.direct_by_activity.values())

    @property
    def total(self) -> float:
        """Litres a day."""
        return self.direct + self.cold_fills + self.warm_fills + self.standing


@dataclass(frozen=True)
class ReservoirSupply:
    """How long one reservoir lasts if it is the only one in use."""

    container: str
    nominal: DailyUse
    worst: DailyUse
    """Every flow at the upper end of its tolerance."""
    days_nominal: float
    """From full to empty, no margins."""
    safe_min: dict[Fraction, int]
    """From each gauge reading to empty under the day's use, at the worst, rounded down [min]."""
    days_to_empty: int
    """Whole days from a reading of full to empty, at the worst reading and use."""
    call_mark: Fraction
    """Ask for a delivery when the gauge shows this or less."""
    days_to_mark: int
    """Whole days from a reading of full to the call mark, at the worst."""
    covers_delivery: bool
    """Whether a full reservoir outlasts the wait for a delivery with the safety days at all."""


Change = Literal["1 L/min more", "one outing a day more", "a delivery missed"]


@dataclass(frozen=True)
class WhatIf:
    """How long one reservoir lasts if something changes."""

    change: Change
    supply: ReservoirSupply


@dataclass(frozen=True)
class StandingRow:
    """What a full portable still gives after it stood unused."""

    container: str
    hours: int
    left_kg: float
    """Nominal: content less boil-off [kg]."""
    safe_min: dict[Activity, int]


@dataclass(frozen=True)
class Standing:
    """How a full portable empties itself."""

    container: str
    rows: tuple[StandingRow, ...]
    empty_after_hours: int
    """Whole hours after which nothing can be relied on, from the worst reading of full."""


STANDING_HOURS = (1, 4, 8, 12, 24)


def share_of_fills(case: Case, portables: list[LiquidStore], margins: Margins) -> float:
    """Return how much of a day's fills the hours on a portable need, for certain; over 1 the fills are too few."""
    share = 0.0
    for activity, order in case.prescription.orders().items():
        minutes = order.on_portable.to("time") if order.on_portable else 0.0
        if not minutes:
            continue
        given = sum(
            (item.cold_fills_per_day + item.warm_fills_per_day)
            * window(store, Fraction(1), demand(activity, order, store, case.conserver), margins).safe_min
            for store, item in zip(portables, case.portable, strict=True)
        )
        share += minutes / given if given else inf
    return share


def _breathed(
    case: Case, reservoir: LiquidStore, portables: list[LiquidStore], margins: Margins, *, tolerance: float
) -> list[tuple[Activity, float, float]]:
    """Return activity, loss [L/min] and minutes a day for which somebody breathes from the reservoir itself.

    Hours that nobody said are spent on a portable, and hours on a portable beyond its fills, count here.
    """
    covered = 1 / max(1.0, share_of_fills(case, portables, margins))
    found: list[tuple[Activity, float, float]] = []
    for activity, order in case.prescription.orders().items():
        elsewhere = (order.on_portable.to("time") if order.on_portable else 0.0) * covered
        flow = demand(activity, order, reservoir, case.conserver).flow_l_min * (1 + tolerance)
        found.append((activity, reservoir.loss_l_min(flow), order.hours_per_day.to("time") - elsewhere))
    return found


def daily_use(
    case: Case, reservoir: LiquidStore, portables: list[LiquidStore], margins: Margins, *, tolerance: float
) -> DailyUse:
    """Return what a reservoir gives in a day, with every flow a share ``tolerance`` above the order.

    Fills are counted as full ones, which errs towards calling early.
    """
    direct: dict[Activity, float] = {}
    minutes_on = 0.0
    for activity, loss, minutes in _breathed(case, reservoir, portables, margins, tolerance=tolerance):
        direct[activity] = minutes * loss
        minutes_on += minutes
    policy = case.clinic.policy
    filled = list(zip(portables, case.portable, strict=True))
    return DailyUse(
        direct_by_activity=direct,
        cold_fills=sum(
            item.cold_fills_per_day * store.full_litres * (1 + float(policy.cold_fill_loss_percent) / 100)
            for store, item in filled
        ),
        warm_fills=sum(
            item.warm_fills_per_day * store.full_litres * (1 + float(policy.warm_fill_loss_percent) / 100)
            for store, item in filled
        ),
        standing=(1440 - minutes_on) * reservoir.boil_off_l_min,
    )


def reservoir_supply(
    case: Case, reservoir: LiquidStore, portables: list[LiquidStore], margins: Margins, bridge_days: int
) -> ReservoirSupply:
    """Compute how long a reservoir lasts and the gauge mark at which to ask for a delivery.

    Args:
        case: the case.
        reservoir: the reservoir, as if it were the only one in use.
        portables: those that are filled from it.
        margins: the clinic's policy.
        bridge_days: days that the oxygen at home must last when a delivery is asked for.
    """
    nominal = daily_use(case, reservoir, portables, margins, tolerance=0.0)
    worst = daily_use(case, reservoir, portables, margins, tolerance=margins.flow_tolerance)
    breathed = _breathed(case, reservoir, portables, margins, tolerance=margins.flow_tolerance)
    error = margins.reading_error_divisions
    needed = bridge_days * worst.total
    enough = [level for level in reservoir.levels if reservoir.litres_at_least(level, error) >= needed]
    mark = min(enough, default=Fraction(1))
    full = reservoir.litres_at_least(Fraction(1), error)
    return ReservoirSupply(
        container=reservoir.id,
        nominal=nominal,
        worst=worst,
        days_nominal=reservoir.full_litres / nominal.total,
        safe_min={
            level: round_down(_hungriest_first(reservoir.litres_at_least(level, error), reservoir, worst, breathed))
            for level in reservoir.levels
        },
        days_to_empty=int(full // worst.total),
        call_mark=mark,
        days_to_mark=max(0, int((full - reservoir.litres(mark)) // worst.total)),
        covers_delivery=bool(enough),
    )


def _hungriest_first(
    litres: float, reservoir: LiquidStore, worst: DailyUse, breathed: list[tuple[Activity, float, float]]
) -> float:
    """Return how long a content lasts if each day begins with its fills and its highest flows [min]."""
    days = litres // worst.total
    left = litres - days * worst.total - worst.cold_fills - worst.warm_fills
    minutes = days * 1440
    standing = 1440 - sum(time for _, _, time in breathed)
    for loss, time in sorted(
        [*((loss, time) for _, loss, time in breathed), (reservoir.boil_off_l_min, standing)], reverse=True
    ):
        lasts = min(time, max(0.0, left) / loss)
        minutes += lasts
        left -= lasts * loss
        if lasts < time:
            break
    return minutes


def what_if(
    case: Case, reservoir: LiquidStore, portables: list[LiquidStore], margins: Margins, bridge_days: int, wait_days: int
) -> tuple[WhatIf, ...]:
    """Compute the supply after each change that the equipment allows.

    1 L/min more in every activity with a continuous flow, where every container can give it; one outing a
    day more, which is one cold fill of the largest portable; a delivery missed, which is the wait for another.
    """
    changed: dict[Change, tuple[Case | None, int]] = {
        "1 L/min more": (_with_more_flow(case), bridge_days),
        "one outing a day more": (_with_an_outing(case, portables), bridge_days),
        "a delivery missed": (case, bridge_days + wait_days),
    }
    return tuple(
        WhatIf(change, reservoir_supply(after, reservoir, portables, margins, days))
        for change, (after, days) in changed.items()
        if after is not None
    )


def _with_more_flow(case: Case) -> Case | None:
    limits: list[Amount] = [
        *(item.max_flow for item in case.reservoir),
        *(item.max_flow for item in case.portable),
        *(item.max_flow for item in case.cylinder),
    ]
    limit = min(amount.to("flow") for amount in limits)
    orders: dict[str, ActivityOrder] = {}
    for activity, order in case.prescription.orders().items():
        if order.flow is not None:
            flow = order.flow.to("flow") + 1
            if flow > limit:
                return None
            orders[activity] = order.model_copy(update={"flow": Amount(Decimal(str(flow)), "liter / minute")})
    return case.model_copy(update={"prescription": case.prescription.model_copy(update=orders)})


def _with_an_outing(case: Case, portables: list[LiquidStore]) -> Case | None:
    if not portables:
        return None
    largest = max(range(len(portables)), key=lambda place: portables[place].full_kg)
    item = case.portable[largest]
    filled = item.model_copy(update={"cold_fills_per_day": item.cold_fills_per_day + 1})
    return case.model_copy(update={"portable": [*case.portable[:largest], filled, *case.portable[largest + 1 :]]})


def standing(case: Case, portable: LiquidStore, margins: Margins) -> Standing:
    """Compute what a full, unused portable still gives after 1 to 24 hours."""
    full = portable.litres_at_least(Fraction(1), margins.reading_error_divisions)
    rows = []
    for hours in STANDING_HOURS:
        lost = hours * 60 * portable.boil_off_l_min
        safe: dict[Activity, int] = {}
        for activity, order in case.prescription.orders().items():
            flow = demand(activity, order, portable, case.conserver).flow_l_min
            safe[activity] = round_down(liquid_minutes_at_least(portable, max(0.0, full - lost), flow, margins))
        left_kg = portable.full_kg * max(0.0, 1 - lost / portable.full_litres)
        rows.append(StandingRow(portable.id, hours, left_kg, safe))
    return Standing(portable.id, tuple(rows), int(full / portable.boil_off_l_min // 60))


def backup_minutes(case: Case, cylinders: list[GasStore], margins: Margins) -> dict[Activity, int]:
    """Return how long all full cylinders last one after another, by activity; empty without cylinders."""
    if not cylinders:
        return {}
    return {
        activity: round_down(
            sum(
                store.count
                * window(store, Fraction(1), demand(activity, order, store, case.conserver), margins).safe_min
                for store in cylinders
            )
        )
        for activity, order in case.prescription.orders().items()
    }
