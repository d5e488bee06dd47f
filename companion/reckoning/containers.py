"""What is in a container: when full, at a gauge reading, at the worst of that reading, after standing.

Contents are litres of gas at 70 °F and 1 atm for liquid and gas alike, so that the same question
("how many minutes?") has the same answer shape for every kind of container.
"""

import math
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from companion.case.equipment import Cylinder, Portable, Reservoir
from companion.case.model import Case
from companion.facts import oxygen
from companion.facts.units import BAR_PER_PSI, SPELLED
from companion.reckoning.margins import Margins

Kind = Literal["reservoir", "portable", "cylinder"]

MOST_ROWS = 8
"""Readings for which times are given, at most: more rows are harder to find one's way in. Common practice."""


def marks(divisions: int, most: int = MOST_ROWS) -> tuple[Fraction, ...]:
    """Return readings from full down, at most so many, each of them a mark that the gauge has.

    They lie evenly down to the lowest mark where the divisions allow it: fifths of a gauge with 10 or 20 divisions.
    """
    fewest = math.ceil(divisions / most)
    step = next((step for step in range(fewest, divisions) if divisions % step == 0), fewest)
    return tuple(Fraction(mark, divisions) for mark in range(divisions, 0, -step))


LEVELS = marks(4)
"""The shares of its full pressure for which the times of a cylinder are given."""


def level_name(level: Fraction) -> str:
    """Return a reading as it stands in the JSON and on the command line: "full", "3/4", "5/8"."""
    return "full" if level == 1 else str(level)


@dataclass(frozen=True)
class LiquidStore:
    """A reservoir or a portable."""

    id: str
    """Kind and place in the case, such as ``portable-1``; the same with and without personal names."""
    kind: Kind
    full_kg: float
    most_kg: float
    """The most oxygen that a fill leaves in it: liquid let down to the open air is denser [kg]."""
    vapour_share: float
    """The cold vapour that fills it when its liquid is gone, as a share of full."""
    flash_share: float
    """How much of its liquid turns to gas when it is let down to the open air."""
    boil_off_l_min: float
    """What evaporates while it stands unused, as gas [L/min]."""
    economiser: bool
    """Whether the gas that boils off is breathed first. Where nobody has said so: False, which errs short."""
    divisions: int
    """How many equal parts its gauge has."""
    gauge: str
    """The kind of its gauge, such as "hanging": read while it hangs from its strap."""
    conserver: bool
    name: str | None = field(compare=False)
    """What the clinic calls it; it changes no figure, so plans are equal without it."""

    @property
    def division(self) -> float:
        """One division of its gauge, as a share of full."""
        return 1 / self.divisions

    @property
    def levels(self) -> tuple[Fraction, ...]:
        """The readings for which its times are given, as shares of full."""
        return marks(self.divisions)

    @property
    def full_litres(self) -> float:
        """Gas in the full container [L]."""
        return self.full_kg * oxygen.GAS_LITRES_PER_KG

    def litres(self, level: Fraction) -> float:
        """Return the gas at a gauge reading that is exact [L]."""
        return self.full_litres * float(level)

    def vapour_litres(self, margins: Margins) -> float:
        """Return the gas that stays behind as cold vapour when the liquid is gone [L]."""
        return self.full_litres * self.vapour_share * margins.vapour

    def gauge_error(self, margins: Margins) -> float:
        """Return how far a reading may be wrong, as a share of full.

        The greater of misreading and accuracy, and not their sum: a table row is read at a mark, or at the next
        lower one, so that half a division is slack enough for a coarse gauge with its own error. On a fine scale
        that slack shrinks, and the gauge becomes no better by it.
        """
        return max(margins.reading_error_divisions * self.division, margins.gauge_accuracy)

    def litres_at_least(self, level: Fraction, margins: Margins) -> float:
        """Return the gas that can be drawn at the worst case of a gauge reading [L]."""
        read = self.full_litres * (float(level) - self.gauge_error(margins))
        return max(0.0, read - self.vapour_litres(margins))

    def boil_off_at_most(self, margins: Margins) -> float:
        """Return what evaporates at most while it stands unused [L/min]."""
        return self.boil_off_l_min * (1 + margins.boil_off_tolerance)

    def loss_l_min(self, flow_l_min: float, margins: Margins) -> float:
        """Return what leaves the container at most while a flow is on [L/min].

        With an economiser the boil-off is breathed, so the greater of the two counts; without, both do.
        """
        boil_off = self.boil_off_at_most(margins)
        return max(flow_l_min, boil_off) if self.economiser else flow_l_min + boil_off


@dataclass(frozen=True)
class GasStore:
    """One gas cylinder of ``count`` alike."""

    id: str
    kind: Kind
    count: int
    full_litres: float
    full_psi: float
    full_reading: Decimal
    """The full pressure in the unit of its gauge."""
    stop_reading: Decimal
    """What the gauge shows when it is time to change to the next cylinder, in the same unit."""
    division_reading: Decimal
    """From one mark of its gauge to the next, in the same unit."""
    pressure_unit: str
    reserve_psi: float
    division_psi: float
    conserver: bool
    name: str | None = field(compare=False)
    """What the clinic calls it; it changes no figure, so plans are equal without it."""

    @property
    def levels(self) -> tuple[Fraction, ...]:
        """The shares of the full pressure for which its times are given."""
        return LEVELS

    def litres(self, level: Fraction) -> float:
        """Return the gas at a reading by the trade's rule: in proportion to the pressure [L]."""
        return self.full_litres * float(level)

    def psi_at_least(self, level: Fraction, margins: Margins) -> float:
        """Return the pressure at 70 °F at the worst case of a gauge reading [psi]."""
        return self.cool_psi(level, margins) - self.gauge_error_psi(margins)

    def cool_psi(self, level: Fraction, margins: Margins) -> float:
        """Return the pressure at 70 °F of a cylinder that is read warm [psi]."""
        return self.full_psi * float(level) / (1 + margins.warm_cylinder)

    def gauge_error_psi(self, margins: Margins) -> float:
        """Return how far a reading may be wrong: the greater of misreading and accuracy, as of a liquid gauge [psi]."""
        misread = margins.reading_error_divisions * self.division_psi
        return max(misread, margins.cylinder_gauge_accuracy * self.full_psi)

    def litres_at_least(self, psi: float) -> float:
        """Return the gas down to 0 gauge at a pressure, by the rule or as a real gas, whichever is less [L]."""
        return self.litres_between(psi, 0.0)

    def litres_between(self, psi: float, residual_psi: float) -> float:
        """Return the gas from a pressure down to the one that must stay in, the lesser of rule and real gas [L]."""
        if psi <= residual_psi:
            return 0.0
        rule = (psi - residual_psi) / self.full_psi
        real = oxygen.cylinder_share(psi, self.full_psi) - oxygen.cylinder_share(residual_psi, self.full_psi)
        # Straight lines between the rows of the gas table are off by at most 0.06 %, and by nothing when full.
        slack = 0.0012 * (1 - psi / self.full_psi) + 0.0006 * residual_psi / self.full_psi
        return self.full_litres * max(0.0, min(rule, real - slack))


Store = LiquidStore | GasStore


def stores(case: Case) -> tuple[Store, ...]:
    """Return the containers of a case: reservoirs, then portables, then cylinders."""
    return (
        *(_liquid("reservoir", place, item) for place, item in enumerate(case.reservoir, start=1)),
        *(_liquid("portable", place, item) for place, item in enumerate(case.portable, start=1)),
        *(_gas(place, item) for place, item in enumerate(case.cylinder, start=1)),
    )


def _liquid(kind: Kind, place: int, item: Reservoir | Portable) -> LiquidStore:
    bar = working_pressure_bar(item)
    masses = item.contents_kg().values()
    full_kg = min(masses)
    litres = max(masses) / oxygen.liquid_density_kg_per_l(bar)
    return LiquidStore(
        id=f"{kind}-{place}",
        kind=kind,
        full_kg=full_kg,
        most_kg=litres * oxygen.liquid_density_at_most_kg_per_l(0),
        vapour_share=litres * oxygen.vapour_density_kg_per_l(bar) / full_kg,
        flash_share=oxygen.flash_share(bar),
        boil_off_l_min=item.boil_off.to("mass loss") * oxygen.GAS_LITRES_PER_KG / 1440,
        economiser=bool(item.economiser),
        divisions=item.gauge.divisions,
        gauge=item.gauge.kind,
        conserver=isinstance(item, Portable) and item.conserver,
        name=item.name,
    )


def working_pressure_bar(item: Reservoir | Portable) -> float:
    """Return the working pressure [bar gauge]; where nobody has said it, the highest, which errs short."""
    if item.working_pressure is None:
        return oxygen.HIGHEST_WORKING_PRESSURE_BAR
    return item.working_pressure.to("pressure") * BAR_PER_PSI


def _gas(place: int, item: Cylinder) -> GasStore:
    return GasStore(
        id=f"cylinder-{place}",
        kind="cylinder",
        count=item.count,
        full_litres=min(item.contents_l().values()),
        full_psi=item.full_pressure.to("pressure"),
        full_reading=item.full_pressure.number,
        stop_reading=item.reserve.number,
        division_reading=item.gauge_division.number,
        pressure_unit=SPELLED[item.full_pressure.unit],
        reserve_psi=item.reserve.to("pressure"),
        division_psi=item.gauge_division.to("pressure"),
        conserver=item.conserver,
        name=item.name,
    )
