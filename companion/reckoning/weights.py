"""What a portable weighs at each reading of its gauge, for a patient who cannot see the gauge."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from companion.case.model import Case
from companion.facts.units import KG_PER_LB
from companion.reckoning.containers import LiquidStore, Store
from companion.reckoning.margins import Margins

TENTHS = 10
"""A scale for the home shows tenths of a kilogram or of a pound, rounded to the nearest."""


@dataclass(frozen=True)
class Weighed:
    """One portable on a scale."""

    container: str
    metric: bool
    """Whether it is weighed in kilograms, not in pounds."""
    at_least: dict[Fraction, float]
    """What the scale shows, in that unit, when a reading of the gauge is reached for certain."""


def weights(case: Case, stores: tuple[Store, ...], margins: Margins) -> Iterator[Weighed]:
    """Yield the weights of each portable at the readings for which it has times.

    A weight is rounded up. And so much is in the portable even if the scale has rounded up too, as the time of that
    reading was computed with.
    """
    metric = case.clinic.settings().metric
    step_kg = (1.0 if metric else KG_PER_LB) / TENTHS
    portables = [store for store in stores if isinstance(store, LiquidStore) and store.kind == "portable"]
    for item, store in zip(case.portable, portables, strict=True):
        empty_kg, error = item.empty_mass.to("mass"), store.gauge_error(margins)
        at_least = {}
        for level in store.levels:
            counted_kg = store.full_kg * (float(level) - error)
            least_kg = empty_kg + max(store.full_kg * float(level), counted_kg + step_kg / 2)
            at_least[level] = math.ceil(round(least_kg / step_kg, 6)) / TENTHS
        yield Weighed(store.id, metric, at_least)
