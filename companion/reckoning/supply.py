"""How long the supply at home lasts: the reservoir under a day's use, when to call, and the back-up."""

import math
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from companion.case.model import Case
from companion.case.prescription import Activity, ActivityOrder
from companion.facts.units import Amount
from companion.reckoning.containers import LiquidStore, level_name, marks
from companion.reckoning.demand import demand
from companion.reckoning.duration import liquid_minutes_at_least, round_down
from companion.reckoning.fills import fill_litres, share_with_pauses
from companion.reckoning.margins import NOMINAL, Margins


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
    """Use, boil-off and fills at the upper end of their tolerances."""
    at_home: DailyUse
    """The same on a day on which no portable is filled and every hour is breathed from the reservoir."""
    days_nominal: float
    """From full to empty, no margins."""
    safe_min: dict[Fraction, int]
    """From each reading of its table to empty under the day's use, at the worst, rounded down [min]."""
    days_from: dict[Fraction, float]
    """From each mark of its gauge to empty under the day's use, at the worst, not rounded [days]."""
    days_to_empty: int
    """Whole days from a reading of full to empty, at the worst reading and use."""
    days_between: int
    """Whole days after a delivery within which the next must come so that the spare days are still there."""
    call_mark: Fraction | None
    """Ask for a delivery on the day when the gauge has come down to this, or is lower; None where no mark below full
    bridges the wait."""
    days_to_call: int
    """Whole days from a reading of full for which a call can wait, if the longest wait follows."""
    covers_delivery: bool
    """Whether a full reservoir outlasts the wait for a delivery with the spare days at all."""
    day_share: float
    """What a day takes at the most, as a share of full."""

    @property
    def highest_call_mark(self) -> Fraction:
        """Return the highest reading of its table below full: no other mark would bridge a longer wait."""
        return max(level for level in self.safe_min if level < 1)

    @property
    def days_to_mark(self) -> int | None:
        """Return the days from a reading of full to the call, at the highest use; None without a call mark."""
        return None if self.call_mark is None else self.mornings_to(self.call_mark)

    def mornings_to(self, mark: Fraction) -> int:
        """Return after how many days from a reading of full the gauge, read each morning, has come down to a mark.

        At the highest use; whatever the error of the gauge is, it is the same at both readings.
        """
        return math.ceil(float(1 - mark) / self.day_share)

    @property
    def call_at(self) -> str:
        """Return the call mark as it stands in tables."""
        return "none" if self.call_mark is None else level_name(self.call_mark)


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


STANDING_HOURS = (4, 8, 12, 24)


def _breathed(
    case: Case, reservoir: LiquidStore, portables: list[LiquidStore], policy: Margins, margins: Margins
) -> list[tuple[Activity, float, float]]:
    """Return activity, loss [L/min] and minutes a day for which somebody breathes from the reservoir itself.

    Hours that nobody said are spent on a portable, and hours on a portable beyond its fills, count here. How far
    the fills go is judged by the clinic's ``policy``, use and boil-off are taken with ``margins``.
    """
    covered = 1 / max(1.0, share_with_pauses(case, portables, policy))
    breathed: list[tuple[Activity, float, float]] = []
    for activity, order in case.prescription.orders().items():
        elsewhere = (order.on_portable.to("time") if order.on_portable else 0.0) * covered
        flow = demand(activity, order, reservoir, case.conserver).at_most(margins)
        breathed.append((activity, reservoir.loss_l_min(flow, margins), order.hours_per_day.to("time") - elsewhere))
    return breathed


def _at_home(case: Case) -> Case:
    """Return the case without its portables, as it is on a day at home, or where none fits this reservoir.

    On pulses a fill covers more hours than the reservoir gives for the same litres; so such a day can take more.
    """
    orders: dict[str, ActivityOrder] = {
        activity: order.model_copy(update={"on_portable": None})
        for activity, order in case.prescription.orders().items()
    }
    return case.model_copy(update={"portable": [], "prescription": case.prescription.model_copy(update=orders)})


def daily_use(
    case: Case, reservoir: LiquidStore, portables: list[LiquidStore], policy: Margins, margins: Margins
) -> DailyUse:
    """Return what a reservoir gives in a day, use and boil-off as bad as ``margins``.

    Fills are counted as full ones, which errs towards calling early.
    """
    direct: dict[Activity, float] = {}
    minutes_on = 0.0
    for activity, loss, minutes in _breathed(case, reservoir, portables, policy, margins):
        direct[activity] = minutes * loss
        minutes_on += minutes
    cold_loss = float(case.clinic.policy.cold_fill_loss_percent)
    warm_loss = float(case.clinic.policy.warm_fill_loss_percent)
    filled = list(zip(portables, case.portable, strict=True))
    return DailyUse(
        direct_by_activity=direct,
        cold_fills=sum(
            item.cold_fills_per_day * fill_litres(store, reservoir, cold_loss, margins) for store, item in filled
        ),
        warm_fills=sum(
            item.warm_fills_per_day * fill_litres(store, reservoir, warm_loss, margins) for store, item in filled
        ),
        standing=(1440 - minutes_on) * reservoir.boil_off_at_most(margins),
    )


@dataclass(frozen=True)
class Bridge:
    """What the oxygen at home must last, in days."""

    wait_days: int
    """From a call to its delivery at the longest."""
    kept_days: float
    """Kept beyond the day of a delivery that was called for."""
    spare_days: float
    """Kept beyond the day of a delivery that was expected."""

    @property
    def days(self) -> float:
        """Days that the oxygen must last when a delivery is asked for."""
        return self.wait_days + self.kept_days


def reservoir_supply(
    case: Case, reservoir: LiquidStore, portables: list[LiquidStore], margins: Margins, bridge: Bridge
) -> ReservoirSupply:
    """Compute how long a reservoir lasts and the gauge mark at which to ask for a delivery.

    Args:
        case: the case.
        reservoir: the reservoir, as if it were the only one in use.
        portables: those that are filled from it.
        margins: the clinic's policy.
        bridge: what the oxygen at home must last.
    """
    nominal = daily_use(case, reservoir, portables, margins, NOMINAL)
    days = [
        (daily_use(day, reservoir, filled, margins, margins), _breathed(day, reservoir, filled, margins, margins))
        for day, filled in ((case, portables), (_at_home(case), []))
    ]
    (worst, _), (at_home, _) = days
    standing_loss = reservoir.boil_off_at_most(margins)
    minutes = {
        mark: _hungriest_first(reservoir.litres_at_least(mark, margins), standing_loss, days)
        for mark in marks(reservoir.divisions, reservoir.divisions)
    }
    days_from = {mark: lasts / 1440 for mark, lasts in minutes.items()}
    full = days_from[Fraction(1)]
    return ReservoirSupply(
        container=reservoir.id,
        nominal=nominal,
        worst=worst,
        at_home=at_home,
        days_nominal=reservoir.full_litres / nominal.total,
        safe_min={level: round_down(minutes[level]) for level in reservoir.levels},
        days_from=days_from,
        days_to_empty=int(full),
        days_between=max(0, int(full - bridge.spare_days)),
        call_mark=_call_mark(reservoir.levels, days_from, bridge.days),
        days_to_call=max(0, int(full - bridge.days)),
        covers_delivery=full >= bridge.days,
        day_share=max(worst.total, at_home.total) / reservoir.full_litres,
    )


def _call_mark(levels: tuple[Fraction, ...], days_from: dict[Fraction, float], wait_days: float) -> Fraction | None:
    """Return the lowest mark below full that bridges the wait for a delivery; None where there is none.

    The gauge is read once a day. On the morning of the call it may have been below the mark for most of a day, so
    the mark itself must last a day longer than the wait.
    """
    return min((mark for mark in levels if mark < 1 and days_from[mark] >= wait_days + 1), default=None)


def _hungriest_first(
    litres: float, standing_loss: float, kinds: list[tuple[DailyUse, list[tuple[Activity, float, float]]]]
) -> float:
    """Return how long a content lasts [min] if each day is of the hungriest kind, and the last of any kind.

    Each day begins with its fills and its highest flows.
    """
    most = max(use.total for use, _ in kinds)
    days = litres // most
    left = litres - days * most
    return days * 1440 + min(_last_day(left, standing_loss, use, breathed) for use, breathed in kinds)


def _last_day(
    litres: float, standing_loss: float, use: DailyUse, breathed: list[tuple[Activity, float, float]]
) -> float:
    left = litres - use.cold_fills - use.warm_fills
    minutes = 0.0
    standing = 1440 - sum(time for _, _, time in breathed)
    for loss, time in sorted([*((loss, time) for _, loss, time in breathed), (standing_loss, standing)], reverse=True):
        lasts = min(time, max(0.0, left) / loss)
        minutes += lasts
        left -= lasts * loss
        if lasts < time:
            break
    return minutes


def what_if(
    case: Case, reservoir: LiquidStore, portables: list[LiquidStore], margins: Margins, bridge: Bridge
) -> tuple[WhatIf, ...]:
    """Compute the supply after each change that the equipment allows.

    1 L/min more in every activity with a continuous flow, where every container can give it; one outing a
    day more, which is one cold fill of the largest portable; a delivery missed, which is the wait for another.
    """
    changed: dict[Change, tuple[Case | None, Bridge]] = {
        "1 L/min more": (_with_more_flow(case), bridge),
        "one outing a day more": (_with_an_outing(case, portables), bridge),
        "a delivery missed": (
            case,
            replace(
                bridge,
                wait_days=2 * bridge.wait_days,
                spare_days=bridge.spare_days + bridge.wait_days,
            ),
        ),
    }
    return tuple(
        WhatIf(change, reservoir_supply(after, reservoir, portables, margins, asked))
        for change, (after, asked) in changed.items()
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
    full = portable.litres_at_least(Fraction(1), margins)
    rows = []
    for hours in STANDING_HOURS:
        worst = max(0.0, full - hours * 60 * portable.boil_off_at_most(margins))
        safe: dict[Activity, int] = {}
        for activity, order in case.prescription.orders().items():
            used = demand(activity, order, portable, case.conserver)
            safe[activity] = round_down(liquid_minutes_at_least(portable, worst, used, margins))
        left_kg = portable.full_kg * max(0.0, 1 - hours * 60 * portable.boil_off_l_min / portable.full_litres)
        rows.append(StandingRow(portable.id, hours, left_kg, safe))
    return Standing(portable.id, tuple(rows), int(full / portable.boil_off_at_most(margins) // 60))
