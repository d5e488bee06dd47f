"""What a portable still gives so long after it was filled, whatever was done with it since: for who does not know.

Every minute since then counts as one of the highest use, pulses that failed included. Standing takes less, so this
holds also for a portable that only waited.
"""

from dataclasses import dataclass
from fractions import Fraction

from companion.case.model import Case
from companion.case.prescription import Activity
from companion.reckoning.containers import LiquidStore
from companion.reckoning.duration import round_down
from companion.reckoning.margins import Margins
from companion.reckoning.portable_use import litres_to_use, portable_use

STEP_MIN = 15
LONGEST_MIN = 24 * 60


@dataclass(frozen=True)
class SinceFilled:
    """What is left after some time."""

    after_min: int
    left_min: dict[Activity, int]
    """How long each activity could go on, the reserve held back, rounded down [min]."""
    as_if: Fraction
    """The highest reading of the gauge that promises no more."""


def since_filled(case: Case, portable: LiquidStore, margins: Margins) -> tuple[SinceFilled, ...]:
    """Return what is left of a fill by the quarter of an hour, as long as there is a reading that promises no more."""
    use = portable_use(case, portable, margins)
    full = litres_to_use(portable, Fraction(1), use, margins)
    rows = []
    for after_min in range(0, LONGEST_MIN + 1, STEP_MIN):
        left = full - after_min * use.most_homeward
        covered = [level for level in portable.levels if litres_to_use(portable, level, use, margins) <= left]
        if left < 0 or not covered:
            break
        left_min = {activity: round_down(left / used) for activity, used in use.as_set.items()}
        rows.append(SinceFilled(after_min, left_min, max(covered)))
    return tuple(rows)
