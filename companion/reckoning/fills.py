"""The fills of the portables: what one takes out of the reservoir, and whether a day's fills are enough."""

from fractions import Fraction
from math import inf

from companion.case.equipment import Portable
from companion.case.model import Case
from companion.facts import oxygen
from companion.reckoning.containers import LiquidStore
from companion.reckoning.demand import demand
from companion.reckoning.duration import window
from companion.reckoning.margins import Margins


def fill_litres(portable: LiquidStore, reservoir: LiquidStore, loss_percent: float, margins: Margins) -> float:
    """Return the gas that a fill takes at most out of the reservoir [L].

    The portable's rating; what the liquid is denser when it is let down to the open air, and what of it turns to
    gas on the way, as far as the margins count them; and on top what is lost in cooling the portable.
    """
    rated = portable.full_litres
    let_down = portable.most_kg * oxygen.GAS_LITRES_PER_KG / (1 - reservoir.flash_share)
    return (rated + margins.let_down * (let_down - rated)) * (1 + loss_percent / 100)


def share_of_fills(case: Case, portables: list[LiquidStore], margins: Margins) -> float:
    """Return how much of a day's fills the hours on a portable need, for certain; over 1 the fills are too few.

    The hours count as one stretch for each fill; ``share_with_pauses`` adds what boils off between them.
    """
    share = 0.0
    for activity, order in case.prescription.orders().items():
        minutes = order.on_portable.to("time") if order.on_portable else 0.0
        if not minutes:
            continue
        given = sum(
            _fills_a_day(item)
            * window(store, Fraction(1), demand(activity, order, store, case.conserver), margins).safe_min
            for store, item in zip(portables, case.portable, strict=True)
        )
        share += minutes / given if given else inf
    return share


def share_with_pauses(case: Case, portables: list[LiquidStore], margins: Margins) -> float:
    """Return the same where the hours on a portable are spread over the day, with the pauses in between.

    One portable is in use at a time, and boils off as the worst of those that are filled.
    """
    out = {
        activity: order
        for activity, order in case.prescription.orders().items()
        if order.on_portable and order.on_portable.to("time")
    }
    share = share_of_fills(case, portables, margins)
    if not out or share == inf:
        return share
    minutes_out = sum(order.on_portable.to("time") for order in out.values() if order.on_portable)
    filled = [(store, _fills_a_day(item)) for store, item in zip(portables, case.portable, strict=True)]

    def held(store: LiquidStore) -> float:
        # What the way home takes is no oxygen for the pauses.
        most = max(
            store.loss_l_min(demand(activity, order, store, case.conserver).at_most(margins), margins)
            for activity, order in out.items()
        )
        return max(0.0, store.litres_at_least(Fraction(1), margins) - margins.portable_reserve_min * most)

    boil_off = max(store.boil_off_at_most(margins) for store, fills in filled if fills)
    lost = max(0.0, margins.portable_spread_min - minutes_out) * boil_off
    for_pauses = sum(fills * held(store) for store, fills in filled)
    return share + lost / for_pauses if for_pauses else inf


def _fills_a_day(item: Portable) -> int:
    return item.cold_fills_per_day + item.warm_fills_per_day
