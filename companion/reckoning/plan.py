"""The plan: everything computed for one case, in one frozen value. Reads no file, knows no language."""

from dataclasses import dataclass
from fractions import Fraction

from companion.case.model import Case
from companion.case.prescription import Activity
from companion.reckoning import choices
from companion.reckoning.containers import GasStore, LiquidStore, Store, stores
from companion.reckoning.deliveries import (
    CallRule,
    ExpectedDelivery,
    call_rule,
    expected_deliveries,
    latest_hour_days,
    longest_wait_days,
    spare_days,
)
from companion.reckoning.demand import Demand, demand, gives_pulses, steady_demand
from companion.reckoning.duration import Window, window
from companion.reckoning.margins import Margins, margins_of
from companion.reckoning.nights import Night, cylinder_changes, nights
from companion.reckoning.notices import (
    Notice,
    delivery_notices,
    equipment_notices,
    in_order,
    margin_notices,
    night_notices,
    notices,
    steady_notices,
    tight_notices,
)
from companion.reckoning.supply import (
    Bridge,
    ReservoirSupply,
    Standing,
    WhatIf,
    reservoir_supply,
    standing,
    what_if,
)
from companion.reckoning.trips import Trips, trips
from companion.reckoning.weights import Weighed, weights


@dataclass(frozen=True)
class Plan:
    """What was computed from a case. Equal for equal prescription, equipment and policy."""

    stores: tuple[Store, ...]
    margins: Margins
    windows: tuple[Window, ...]
    steady_windows: tuple[Window, ...]
    """On the ordered steady flow, of each container and activity with pulses: how long it lasts when they fail."""
    nights: tuple[Night, ...]
    """One unbroken sleep on one full portable, on one full cylinder; empty where no sleep is ordered."""
    standing: tuple[Standing, ...]
    trips: tuple[Trips, ...]
    """By portable, from a gauge that shows full."""
    supply: tuple[ReservoirSupply, ...]
    what_if: tuple[WhatIf, ...]
    """The supply of each reservoir after each change that the equipment allows."""
    call: CallRule
    """When the patient asks for oxygen."""
    deliveries: tuple[ExpectedDelivery, ...]
    """The next deliveries, from a reservoir that is full on the day of the guide."""
    backup_min: dict[Activity, int]
    """How long all full cylinders together last, even if pulses fail [min]; empty without cylinders."""
    backup_one_min: int
    """How long one full cylinder lasts where most is used, of several kinds the shortest, even if pulses fail [min]; 0
    without one."""
    backup_changes: int
    """How often somebody must change the cylinder until all are used."""
    backup_needed: dict[str, int]
    """By cylinder: how many full ones of its kind alone cover the wait for a delivery."""
    wait_days: int
    """Days from the call to a delivery at the latest, days without deliveries included."""
    wait_min: int
    """The same from the first minute of the day of the call to the latest hour of a delivery."""
    bridge_days: float
    """What the oxygen at home must last when a delivery is asked for: the wait with what is kept beyond it."""
    weights: tuple[Weighed, ...]
    """By portable, what it weighs at each reading."""
    notices: tuple[Notice, ...]
    """The first rank first."""

    @property
    def cylinder_count(self) -> int:
        """The number of cylinders in the home."""
        return sum(store.count for store in self.stores if isinstance(store, GasStore))

    def windows_of(self, kind: str) -> list[Window]:
        """Return the windows of one kind of container."""
        return [found for found in self.windows if found.kind == kind]

    def nights_of(self, kind: str) -> list[Night]:
        """Return the nights on one kind of container."""
        return [night for night in self.nights if night.kind == kind]

    @property
    def at_home(self) -> dict[Activity, Demand]:
        """What the reservoir is set to, by activity."""
        return {found.demand.activity: found.demand for found in self.windows_of("reservoir")}

    def liquid_store(self, container: str) -> LiquidStore:
        """Return a reservoir or a portable."""
        return next(store for store in self.stores if isinstance(store, LiquidStore) and store.id == container)

    def window(self, container: str, level: Fraction, activity: Activity) -> Window:
        """Return one window."""
        return next(
            found
            for found in self.windows
            if (found.container, found.level, found.demand.activity) == (container, level, activity)
        )


def _bridge(case: Case, wait_days: int) -> Bridge:
    """Return what the oxygen must last; a round has kept its spare days already when more is called for before it."""
    spare = spare_days(case)
    kept = spare if case.clinic.delivery.round is None else latest_hour_days(case)
    return Bridge(wait_days, kept, spare)


def plan(case: Case) -> Plan:
    """Compute the plan of a case that was checked."""
    margins = margins_of(case)
    found = stores(case)
    reservoirs = [store for store in found if isinstance(store, LiquidStore) and store.kind == "reservoir"]
    portables = [store for store in found if isinstance(store, LiquidStore) and store.kind == "portable"]
    cylinders = [store for store in found if isinstance(store, GasStore)]
    windows = tuple(
        window(store, level, demand(activity, order, store, case.conserver), margins)
        for store in found
        for level in store.levels
        for activity, order in case.prescription.orders().items()
    )
    steady_windows = tuple(
        window(store, level, steady_demand(activity, order), margins)
        for store in found
        for level in store.levels
        for activity, order in case.prescription.orders().items()
        if gives_pulses(order, store)
    )
    asleep = tuple(nights(case, windows))
    wait_days = longest_wait_days(case)
    wait_min = wait_days * 1440 + case.clinic.delivery.latest_hour * 60
    bridge = _bridge(case, wait_days)
    supply = tuple(reservoir_supply(case, store, portables, margins, bridge) for store in reservoirs)
    rule = call_rule(case, supply)
    deliveries = expected_deliveries(case, rule)
    lasting = (*windows, *steady_windows)
    backup = choices.backup_minutes(cylinders, lasting)
    return Plan(
        stores=found,
        margins=margins,
        windows=windows,
        steady_windows=steady_windows,
        nights=asleep,
        standing=tuple(standing(case, store, margins) for store in portables),
        trips=tuple(trips(case, store, margins) for store in portables),
        supply=supply,
        what_if=tuple(line for store in reservoirs for line in what_if(case, store, portables, margins, bridge)),
        call=rule,
        deliveries=deliveries,
        backup_min=backup,
        backup_one_min=choices.one_cylinder_min(lasting),
        backup_changes=cylinder_changes(case),
        backup_needed=choices.cylinders_to_bridge(lasting, wait_min),
        wait_days=wait_days,
        wait_min=wait_min,
        bridge_days=bridge.days,
        weights=tuple(weights(case, found, margins)),
        notices=in_order(
            *tight_notices(case, supply, bridge),
            *notices(case, found, windows, backup, wait_min, margins),
            *night_notices(asleep),
            *steady_notices(steady_windows),
            *equipment_notices(case, found),
            *delivery_notices(case, deliveries),
            *margin_notices(case),
        ),
    )
