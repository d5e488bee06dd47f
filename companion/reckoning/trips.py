"""The trips that a portable allows: how long one may stay, when to start for home.

A trip is the way there, a stay and the way home, with the activities in any order. The way there is counted at the
highest ordered use; the way home and the reserve as well, on pulses or on the steady flow, whichever takes more, so
that pulses may fail at any minute of the trip. Stays are rounded down, gauge marks up.

A stay is over when the clock says so or when the gauge has come down to the mark, whichever is first. So the clock is
never given more than the gauge takes to come down at the highest use: nobody could use such a time.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from companion.case.model import Case
from companion.reckoning.containers import LiquidStore
from companion.reckoning.duration import round_down
from companion.reckoning.margins import Margins
from companion.reckoning.portable_use import PortableUse, litres_to_use, portable_use

WAYS_MIN = (15, 30, 45, 60, 90)
"""The ways for which a trip is given, one way [min]."""


@dataclass(frozen=True)
class Trip:
    """What a full portable gives for a trip whose way takes so long, each way."""

    way_min: int
    stay_min: int | None
    """How long one may stay in whatever activity [min]; 0: turn back at once; None: too far, or the mark is reached on
    the way there. No longer than the gauge takes to come down to the mark at the highest use."""
    resting_stay_min: int | None
    """The same at rest alone [min]; None: too far, or nothing is ordered at rest."""
    home_mark: Fraction | None
    """The gauge reading at which to start for home; None: no reading below full covers the way home."""


@dataclass(frozen=True)
class Trips:
    """The trips that one portable allows, from one reading of its gauge."""

    container: str
    use: PortableUse
    trips: tuple[Trip, ...]
    walk_min: int
    """The latest minute at which to turn back where nobody stays, so also on a walk; by the clock alone [min]."""


def trips(case: Case, portable: LiquidStore, margins: Margins, start: Fraction = Fraction(1)) -> Trips:
    """Compute the trips from one portable whose gauge shows ``start``; the guide tells those of a full one."""
    use = portable_use(case, portable, margins)
    marks = [
        (level, litres_to_use(portable, level, use, margins) / use.most_homeward)
        for level in sorted(portable.levels)
        if level < start
    ]
    usable = litres_to_use(portable, start, use, margins)
    return Trips(
        portable.id,
        use,
        tuple(_trip(way_min, start, portable.full_litres, usable, use, marks) for way_min in WAYS_MIN),
        minutes_of_way(usable / (use.most + use.most_homeward)),
    )


def minutes_of_way(minutes: float) -> int:
    """Round a time until one turns back down to 5 minutes, below them to whole minutes."""
    return max(0, int(minutes)) if minutes < 5 else round_down(minutes)


def _trip(
    way_min: int,
    start: Fraction,
    full_litres: float,
    usable: float,
    use: PortableUse,
    marks: Sequence[tuple[Fraction, float]],
) -> Trip:
    """Return one trip.

    Args:
        way_min: how long the way takes, one way [min].
        start: the reading with which one leaves.
        full_litres: the content of the full portable [L].
        usable: the content at the worst of that reading, less the reserve [L].
        use: what the portable loses in a minute.
        marks: each reading below that, lowest first, with the time of the highest use that it surely gives [min].
    """
    home_mark = next((level for level, covered_min in marks if covered_min >= way_min), None)
    if home_mark is None:
        left = usable - way_min * (use.most + use.most_homeward)
    else:
        # Whatever the error of the gauge is, it is the same at both readings. The mark covers the way home and
        # the reserve, so this is never more than what both ways and the reserve leave.
        left = float(start - home_mark) * full_litres - way_min * use.most
    if left < 0:
        return Trip(way_min, None, None, None)
    return Trip(
        way_min,
        round_down(left / use.most),
        round_down(left / use.as_set["rest"]) if "rest" in use.as_set else None,
        home_mark,
    )
