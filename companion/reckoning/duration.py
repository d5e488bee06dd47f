"""How long a container lasts: the nominal time, each deduction, and the safe time. The only place that rounds."""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from companion.reckoning.containers import GasStore, LiquidStore, Store
from companion.reckoning.demand import Demand

Cause = Literal["gas curve", "gauge reading", "residual", "flow tolerance", "reserve", "rounding down"]


@dataclass(frozen=True)
class Margins:
    """The clinic's policy, as plain numbers."""

    flow_tolerance: float
    """How much more than the set flow may run, as a share: 0.1 for 10 %."""
    reading_error_divisions: float
    portable_reserve_min: float
    """Time held back on a portable so that the patient gets home [min]."""


@dataclass(frozen=True)
class Deduction:
    """Minutes taken off, and why."""

    cause: Cause
    minutes: float


@dataclass(frozen=True)
class Window:
    """How long one container lasts from one gauge reading in one activity."""

    container: str
    kind: str
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
        nominal, steps = _liquid_steps(store, level, demand.flow_l_min, margins)
    else:
        nominal, steps = _gas_steps(store, level, demand.flow_l_min, margins)
    return _deducted(store, level, demand, nominal, steps)


def liquid_minutes_at_least(store: LiquidStore, litres: float, flow_l_min: float, margins: Margins) -> float:
    """Return the time that a content known at its worst [L] lasts under the worst flow, less the reserve [min]."""
    worst = litres / store.loss_l_min(flow_l_min * (1 + margins.flow_tolerance))
    return max(0.0, worst - _reserve(store, margins))


def _reserve(store: Store, margins: Margins) -> float:
    return margins.portable_reserve_min if store.kind == "portable" else 0.0


Steps = Iterable[tuple[Cause, float]]


def _liquid_steps(store: LiquidStore, level: Fraction, flow: float, margins: Margins) -> tuple[float, Steps]:
    worst_content = store.litres_at_least(level, margins.reading_error_divisions)
    worst_loss = store.loss_l_min(flow * (1 + margins.flow_tolerance))
    return store.litres(level) / store.loss_l_min(flow), (
        ("gauge reading", worst_content / store.loss_l_min(flow)),
        ("flow tolerance", worst_content / worst_loss),
        ("reserve", worst_content / worst_loss - _reserve(store, margins)),
    )


def _gas_steps(store: GasStore, level: Fraction, flow: float, margins: Margins) -> tuple[float, Steps]:
    psi = store.full_psi * float(level)
    worst_psi = psi - margins.reading_error_divisions * store.division_psi
    usable = store.litres_between(worst_psi, store.reserve_psi)
    return store.litres(level) / flow, (
        ("gas curve", store.litres_at_least(psi) / flow),
        ("gauge reading", store.litres_at_least(worst_psi) / flow),
        ("residual", usable / flow),
        ("flow tolerance", usable / (flow * (1 + margins.flow_tolerance))),
    )


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
