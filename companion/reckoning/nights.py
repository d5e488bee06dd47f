"""Nights: one unbroken sleep held against one fill of a portable and one cylinder of the back-up."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from companion.case.model import Case
from companion.reckoning.containers import Kind
from companion.reckoning.duration import Window


@dataclass(frozen=True)
class Night:
    """One full container and the sleep that is ordered: nobody fills or changes it meanwhile."""

    container: str
    kind: Kind
    lasts_min: int
    """Its safe time asleep [min]."""
    asleep_min: float | None
    """The sleep that it must last [min]: of a portable the hours ordered on it, of a cylinder all hours asleep,
    because the back-up stands for the reservoir. None: no sleep on it is ordered, or nobody has said."""

    @property
    def lasts(self) -> bool:
        """Return whether it is known to last the ordered sleep; False where no sleep on it is ordered."""
        return self.asleep_min is not None and self.lasts_min >= self.asleep_min

    @property
    def changes(self) -> int | None:
        """Return how often somebody must fill or change it within the sleep; None where that is not known."""
        if self.asleep_min is None or not self.lasts_min:
            return None
        return math.ceil(self.asleep_min / self.lasts_min) - 1


def nights(case: Case, windows: Sequence[Window]) -> Iterator[Night]:
    """Yield the night on each portable and on each kind of cylinder; none where no sleep is ordered."""
    sleep = case.prescription.sleep
    asleep_min = sleep.hours_per_day.to("time") if sleep else 0.0
    if sleep is None or not asleep_min:
        return
    on_portable_min = sleep.on_portable.to("time") if sleep.on_portable else None
    for window in windows:
        if window.kind == "reservoir" or window.level != 1 or window.demand.activity != "sleep":
            continue
        ordered_min = (on_portable_min or None) if window.kind == "portable" else asleep_min
        yield Night(window.container, window.kind, window.safe_min, ordered_min)


def cylinder_changes(case: Case) -> int:
    """Return how often somebody must change the cylinder until the whole back-up is used."""
    return max(0, sum(item.count for item in case.cylinder) - 1)
