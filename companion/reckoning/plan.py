"""The plan: everything computed for one case, in one frozen value. Reads no file, knows no language."""

from dataclasses import dataclass
from fractions import Fraction

from companion.case.model import Case
from companion.case.prescription import Activity
from companion.reckoning.containers import LEVELS, GasStore, LiquidStore, Store, stores
from companion.reckoning.deliveries import ExpectedDelivery, expected_deliveries, longest_wait_days
from companion.reckoning.demand import demand, gives_pulses, steady_demand
from companion.reckoning.duration import Window, window
from companion.reckoning.margins import Margins, margins_of
from companion.reckoning.nights import Night, cylinder_changes, nights
from companion.reckoning.notices import (
    Notice,
    delivery_notices,
    equipment_notices,
    night_notices,
    notices,
    steady_notices,
)
from companion.reckoning.supply import (
    ReservoirSupply,
    Standing,
    WhatIf,
    backup_minutes,
    cylinders_to_bridge,
    reservoir_supply,
    standing,
    what_if,
)
from companion.reckoning.trips import Trips, trips


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
    deliveries: tuple[ExpectedDelivery, ...]
    """The next deliveries, from a reservoir that is full on the day of the guide."""
    backup_min: dict[Activity, int]
    """How long all full cylinders together last [min]; empty without cylinders."""
    backup_one_min: int
    """How long one full cylinder lasts where most is used, of several kinds the shortest [min]; 0 without one."""
    backup_changes: int
    """How often somebody must change the cylinder until all are used."""
    backup_needed: dict[str, int]
    """By cylinder: how many full ones of its kind alone cover the wait for a delivery."""
    wait_days: int
    """Days from the call to a delivery at the latest, days without deliveries included."""
    bridge_days: int
    """The same with the clinic's safety days: what the oxygen at home must last when a delivery is asked for."""
    notices: tuple[Notice, ...]

    def windows_of(self, kind: str) -> list[Window]:
        """Return the windows of one kind of container."""
        return [found for found in self.windows if found.kind == kind]

    def window(self, container: str, level: Fraction, activity: Activity) -> Window:
        """Return one window."""
        return next(
            found
            for found in self.windows
            if (found.container, found.level, found.demand.activity) == (container, level, activity)
        )


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
        for level in LEVELS
        for activity, order in case.prescription.orders().items()
    )
    steady_windows = tuple(
        window(store, level, steady_demand(activity, order), margins)
        for store in found
        for level in LEVELS
        for activity, order in case.prescription.orders().items()
        if gives_pulses(order, store)
    )
    asleep = tuple(nights(case, windows))
    wait_days = longest_wait_days(case)
    bridge_days = wait_days + case.clinic.policy.safety_days
    supply = tuple(reservoir_supply(case, store, portables, margins, bridge_days) for store in reservoirs)
    deliveries = expected_deliveries(case, min(line.days_to_empty for line in supply))
    backup = backup_minutes(case, cylinders, margins)
    return Plan(
        stores=found,
        margins=margins,
        windows=windows,
        steady_windows=steady_windows,
        nights=asleep,
        standing=tuple(standing(case, store, margins) for store in portables),
        trips=tuple(trips(case, store, margins) for store in portables),
        supply=supply,
        what_if=tuple(
            line for store in reservoirs for line in what_if(case, store, portables, margins, bridge_days, wait_days)
        ),
        deliveries=deliveries,
        backup_min=backup,
        backup_one_min=min((one.safe_min for one in windows if one.kind == "cylinder" and one.level == 1), default=0),
        backup_changes=cylinder_changes(case),
        backup_needed=cylinders_to_bridge(case, cylinders, margins, wait_days),
        wait_days=wait_days,
        bridge_days=bridge_days,
        notices=(
            *notices(case, found, windows, supply, backup, wait_days, margins),
            *night_notices(asleep),
            *steady_notices(steady_windows),
            *equipment_notices(case, found),
            *delivery_notices(case, deliveries),
        ),
    )
