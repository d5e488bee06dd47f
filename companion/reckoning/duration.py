"""How long a container lasts: the nominal time, each deduction, and the safe time. The only place that rounds."""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from companion.reckoning.containers import GasStore, Kind, LiquidStore, Store
from companion.reckoning.demand import Demand
from companion.reckoning.margins import NOMINAL, Margins

Cause = Literal[
    "vapour",
    "gas curve",
    "warm cylinder",
    "gauge reading",
    "gauge accuracy",
    "residual",
    "boil-off",
    "flow tolerance",
    "bolus tolerance",
    "faster breathing",
    "reserve",
    "rounding down",
]
"""Why minutes are taken off, in the order in which they are."""


@dataclass(frozen=True)
class Deduction:
    """Minutes taken off, and why."""

    cause: Cause
    minutes: float


@dataclass(frozen=True)
class Window:
    """How long one container lasts from one gauge reading in one activity."""

    container: str
    kind: Kind
    level: Fraction
    demand: Demand
    nominal_min: float
    """Content ÷ use, by the textbook: no margin taken off."""
    deductions: tuple[Deduction, ...]
    safe_min: int
    """What may be promised: nominal less every deduction, rounded down, never below 0."""


def round_down(minutes: float) -> int:
    """Round a time down to what a person would say: 5 minutes, from 12 h half hours, from 2 days whole days.

    A time is never rounded up, so 2.9 days are 2 days.
    """
    if minutes < 12 * 60:
        step = 5
    elif minutes < 48 * 60:
        step = 30
    else:
        step = 1440
    return max(0, int(minutes // step) * step)


def window(store: Store, level: Fraction, demand: Demand, margins: Margins) -> Window:
    """Compute one window; see the deductions for the order in which margins are taken."""
    if isinstance(store, LiquidStore):
        nominal, steps = _liquid_steps(store, level, demand, margins)
    else:
        nominal, steps = _gas_steps(store, level, demand, margins)
    return _deducted(store, level, demand, nominal, steps)


def liquid_minutes_at_least(store: LiquidStore, litres: float, demand: Demand, margins: Margins) -> float:
    """Return the time that a content known at its worst [L] lasts under the worst use, less the reserve [min]."""
    worst = litres / store.loss_l_min(demand.at_most(margins), margins)
    return max(0.0, worst - _reserve(store, margins))


def _reserve(store: Store, margins: Margins) -> float:
    return margins.portable_reserve_min if store.kind == "portable" else 0.0


Steps = Iterable[tuple[Cause, float]]


def _liquid_steps(store: LiquidStore, level: Fraction, demand: Demand, margins: Margins) -> tuple[float, Steps]:
    flow = demand.flow_l_min
    loss = store.loss_l_min(flow, NOMINAL)
    content = store.litres(level)
    liquid = content - store.vapour_litres(margins)
    misread = store.full_litres * margins.reading_error_divisions * store.division
    worst = store.litres_at_least(level, margins)
    return content / loss, (
        ("vapour", liquid / loss),
        ("gauge reading", (liquid - misread) / loss),
        ("gauge accuracy", worst / loss),
        ("boil-off", worst / store.loss_l_min(flow, margins)),
        *((cause, worst / store.loss_l_min(most, margins)) for cause, most in _tolerances(demand, margins)),
        ("reserve", worst / store.loss_l_min(demand.at_most(margins), margins) - _reserve(store, margins)),
    )


def _gas_steps(store: GasStore, level: Fraction, demand: Demand, margins: Margins) -> tuple[float, Steps]:
    flow = demand.flow_l_min
    cool_psi = store.cool_psi(level, margins)
    misread_psi = margins.reading_error_divisions * store.division_psi
    worst_psi = store.psi_at_least(level, margins)
    usable = store.litres_between(worst_psi, store.reserve_psi)
    return store.litres(level) / flow, (
        ("gas curve", store.litres_at_least(store.full_psi * float(level)) / flow),
        ("warm cylinder", store.litres_at_least(cool_psi) / flow),
        ("gauge reading", store.litres_at_least(cool_psi - misread_psi) / flow),
        ("gauge accuracy", store.litres_at_least(worst_psi) / flow),
        ("residual", usable / flow),
        *((cause, usable / most) for cause, most in _tolerances(demand, margins)),
    )


def _tolerances(demand: Demand, margins: Margins) -> tuple[tuple[Cause, float], ...]:
    """Return the use after each tolerance [L/min]: one of a flow, two of pulses."""
    if demand.mode == "pulse":
        return (
            ("bolus tolerance", demand.flow_l_min * (1 + margins.bolus_tolerance)),
            ("faster breathing", demand.at_most(margins)),
        )
    return (("flow tolerance", demand.at_most(margins)),)


def _deducted(store: Store, level: Fraction, demand: Demand, nominal: float, steps: Steps) -> Window:
    """Turn the time after each step into the minutes that the step took off."""
    deductions = []
    before = nominal
    for cause, time_left in steps:
        after = max(0.0, time_left)
        deductions.append(Deduction(cause, before - after))
        before = after
    safe = round_down(before)
    deductions.append(Deduction("rounding down", before - safe))
    return Window(store.id, store.kind, level, demand, nominal, tuple(deductions), safe)
