"""What a patient uses in one activity from one container: a continuous flow, or pulses."""

from dataclasses import dataclass
from typing import Literal

from companion.case.equipment import Conserver
from companion.case.prescription import Activity, ActivityOrder
from companion.facts.units import Amount
from companion.reckoning.containers import Store
from companion.reckoning.margins import Margins


@dataclass(frozen=True)
class Demand:
    """Oxygen used per minute in one activity."""

    activity: Activity
    mode: Literal["continuous", "pulse"]
    flow_l_min: float
    """Gas used [L/min]. For pulses: bolus × breaths, which is no setting and is never shown as one."""
    setting: str | None
    """The number on the conserver, for pulses."""
    flow: Amount | None
    """The flow as it was ordered, to be spelled; None for pulses."""

    @property
    def set_to(self) -> tuple[str, str | None, Amount | None]:
        """What the patient sets: equal for two activities that need no change at the container."""
        return self.mode, self.setting, self.flow

    def at_most(self, margins: Margins) -> float:
        """Return the use at the upper end of its tolerance [L/min]."""
        if self.mode == "pulse":
            return self.flow_l_min * (1 + margins.bolus_tolerance) * (1 + margins.breathing_tolerance)
        return self.flow_l_min * (1 + margins.flow_tolerance)


def demand(activity: Activity, order: ActivityOrder, store: Store, conserver: Conserver | None) -> Demand:
    """Return what the patient uses from this container.

    A container with a conserver gives pulses where a setting is ordered. Pulses use
    bolus [mL] × breaths per minute ÷ 1000 [L/min]; the bolus is the device's own (ISO 80601-2-67 has
    makers state it), because the same setting differs tenfold between devices.
    """
    if not gives_pulses(order, store):
        return steady_demand(activity, order)
    assert conserver is not None
    assert order.pulse_setting is not None
    assert order.breaths_per_minute is not None
    bolus_ml = conserver.bolus[order.pulse_setting].to("dose")
    return Demand(activity, "pulse", bolus_ml * order.breaths_per_minute / 1000, order.pulse_setting, None)


def gives_pulses(order: ActivityOrder, store: Store) -> bool:
    """Return whether a container gives an order as pulses."""
    return store.conserver and order.pulse_setting is not None


def steady_demand(activity: Activity, order: ActivityOrder) -> Demand:
    """Return what the patient uses on the ordered steady flow, from any container, so also when pulses fail."""
    assert order.flow is not None, "the case was checked: whoever has pulses has a steady flow ordered as well"
    return Demand(activity, "continuous", order.flow.to("flow"), None, order.flow)
