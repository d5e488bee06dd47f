"""The clinic's policy as plain numbers: how much worse than the order and the data sheets things may be."""

from dataclasses import dataclass

from companion.case.model import Case


@dataclass(frozen=True)
class Margins:
    """What may be worse; a margin that is left out takes nothing off. Shares: 0.1 for 10 %."""

    flow_tolerance: float = 0.0
    """How much more than the set flow may run."""
    bolus_tolerance: float = 0.0
    """How much larger a pulse may be."""
    breathing_tolerance: float = 0.0
    """How much faster the patient may breathe on pulses."""
    reading_error_divisions: float = 0.0
    """How far a gauge may be misread, in its divisions."""
    gauge_accuracy: float = 0.0
    """How far the gauge of a liquid container may itself be wrong, as a share of full."""
    cylinder_gauge_accuracy: float = 0.0
    """The same of a cylinder's gauge, as a share of the full pressure."""
    warm_cylinder: float = 0.0
    """How much too high a cylinder's gauge may stand because the cylinder is warm."""
    vapour: float = 0.0
    """How much of the cold vapour that fills a container without liquid counts as left behind."""
    boil_off_tolerance: float = 0.0
    """How much more than its data sheet says a container may boil off."""
    portable_reserve_min: float = 0.0
    """Time held back on a portable so that the patient gets home [min]."""
    portable_spread_min: float = 0.0
    """Over how much of the day the hours on a portable are spread [min]."""
    let_down: float = 0.0
    """How much counts of what a fill takes beyond the portable's rating."""


NOMINAL = Margins()
"""Every thing as ordered and as the data sheets say."""


def margins_of(case: Case) -> Margins:
    """Return the clinic's policy as plain numbers."""
    policy = case.clinic.policy
    return Margins(
        flow_tolerance=float(policy.flow_tolerance_percent) / 100,
        bolus_tolerance=float(policy.bolus_tolerance_percent) / 100,
        breathing_tolerance=float(policy.breathing_tolerance_percent) / 100,
        reading_error_divisions=float(policy.reading_error_divisions),
        gauge_accuracy=float(policy.gauge_accuracy_percent) / 100,
        cylinder_gauge_accuracy=float(policy.cylinder_gauge_accuracy_percent) / 100,
        warm_cylinder=float(policy.warm_cylinder_percent) / 100,
        vapour=float(policy.vapour_percent) / 100,
        boil_off_tolerance=float(policy.boil_off_tolerance_percent) / 100,
        portable_reserve_min=policy.portable_reserve.to("time"),
        portable_spread_min=policy.portable_spread.to("time"),
        let_down=float(policy.let_down_percent) / 100,
    )
