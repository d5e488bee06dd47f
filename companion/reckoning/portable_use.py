"""What a patient away from home takes out of a portable in a minute, at the worst of every order."""

from dataclasses import dataclass
from fractions import Fraction

from companion.case.model import Case
from companion.case.prescription import Activity
from companion.reckoning.containers import LiquidStore
from companion.reckoning.demand import Demand, demand, steady_demand
from companion.reckoning.margins import Margins


@dataclass(frozen=True)
class PortableUse:
    """What leaves one portable in a minute, by activity, each flow at the upper end of its tolerance [L/min]."""

    as_set: dict[Activity, float]
    """With pulses where the portable gives them."""
    steady: dict[Activity, float]
    """On the ordered steady flow, where the portable has a conserver and it has failed; the same without one."""

    @property
    def busiest(self) -> Activity:
        """Return the activity that uses most."""
        return max(self.as_set, key=lambda activity: self.as_set[activity])

    @property
    def most(self) -> float:
        """Return the highest use of all activities [L/min]."""
        return max(self.as_set.values())

    @property
    def most_steady(self) -> float:
        """Return the highest use on the steady flow [L/min]."""
        return max(self.steady.values())

    def homeward(self, activity: Activity) -> float:
        """Return the use on the way home, on which the pulses work or not, whichever takes more [L/min]."""
        return max(self.as_set[activity], self.steady[activity])

    @property
    def most_homeward(self) -> float:
        """Return the highest use on the way home; the reserve is counted at it [L/min]."""
        return max(self.most, self.most_steady)


def portable_use(case: Case, portable: LiquidStore, margins: Margins) -> PortableUse:
    """Return what leaves a portable in a minute of each ordered activity."""

    def worst(used: Demand) -> float:
        return portable.loss_l_min(used.at_most(margins), margins)

    orders = case.prescription.orders()
    as_set = {activity: worst(demand(activity, order, portable, case.conserver)) for activity, order in orders.items()}
    if not portable.conserver:
        return PortableUse(as_set, as_set)
    steady = {activity: worst(steady_demand(activity, order)) for activity, order in orders.items()}
    return PortableUse(as_set, steady)


def litres_to_use(portable: LiquidStore, level: Fraction, use: PortableUse, margins: Margins) -> float:
    """Return the gas at the worst of a gauge reading, the reserve held back; below 0 where that is all there is [L].

    The reserve is held back for the way home in whatever activity uses most: nobody knows where a delay will be.
    """
    reserve = margins.portable_reserve_min * use.most_homeward
    return portable.litres_at_least(level, margins) - reserve
