"""An outing with the portable: whether it lasts, when to turn back, how many fills it takes.

The portable is taken at the worst of its gauge reading and every flow at the upper end of its tolerance,
as in ``duration``: an outing of one stretch lasts exactly as long as the safe time before it is rounded.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from companion.case.model import Case
from companion.case.prescription import Activity
from companion.errors import CompanionError
from companion.facts.units import parse_amount
from companion.reckoning.containers import LiquidStore, Store, level_name, marks
from companion.reckoning.demand import demand
from companion.reckoning.duration import Margins, round_down

ACTIVITY_WORDS: dict[str, Activity] = {
    "rest": "rest",
    "sit": "rest",
    "travel": "rest",
    "exertion": "exertion",
    "walk": "exertion",
    "sleep": "sleep",
}
"""What a person says for what was ordered."""


class OutingError(CompanionError):
    """A stretch that cannot be understood, or for which nothing was ordered."""


@dataclass(frozen=True)
class Stretch:
    """One part of an outing."""

    activity: Activity
    minutes: int
    """How long it takes [min], at least 1."""


@dataclass(frozen=True)
class Outing:
    """What one portable does for an outing."""

    lasts: bool
    """Whether the portable gives the whole outing and still holds the clinic's reserve."""
    left_min: int
    """How much longer the last activity could go on, the reserve held back, rounded down [min]."""
    turn_back_after_min: int
    """The latest time from the start at which to turn round, if the way back takes the same stretches in
    reverse order; rounded down, never beyond the outing [min]. 0: do not start."""
    fills_needed: int | None
    """Full portables, or fills, for the whole outing, each with its reserve; None: no number is enough."""


def outing(
    case: Case, portable: LiquidStore, level: Fraction, stretches: Sequence[Stretch], margins: Margins
) -> Outing:
    """Compute one outing from one gauge reading.

    The reserve is held back for the most demanding of the stretches: nobody knows which one it will be.

    Raises:
        OutingError: there is no stretch, or nothing is ordered for one.
    """
    if not stretches:
        raise OutingError("An outing needs at least one stretch, such as 'walk 40 min'.")
    losses = [_loss_l_min(case, portable, stretch, margins) for stretch in stretches]
    reserve = margins.portable_reserve_min * max(losses)
    error = margins.reading_error_divisions
    usable = portable.litres_at_least(level, error) - reserve
    usable_full = portable.litres_at_least(Fraction(1), error) - reserve
    used = sum(stretch.minutes * loss for stretch, loss in zip(stretches, losses, strict=True))
    return Outing(
        lasts=used <= usable,
        left_min=round_down((usable - used) / losses[-1]),
        turn_back_after_min=round_down(_minutes_until_used(usable / 2, stretches, losses)),
        fills_needed=math.ceil(used / usable_full) if usable_full > 0 else None,
    )


def read_stretch(text: str) -> Stretch:
    """Read a stretch such as "walk 40 min" or "sit 2 h"; a part of a minute counts as a whole one.

    Raises:
        OutingError: with what would be right.
    """
    words = re.fullmatch(r"\s*([A-Za-z]+)\s+(.+)", text)
    activity = ACTIVITY_WORDS.get(words[1].casefold()) if words else None
    if words is None or activity is None:
        raise OutingError(
            f"'{text}' is no stretch of an outing. Write an activity and a time, such as 'walk 40 min'; "
            f"the activities are {', '.join(ACTIVITY_WORDS)}."
        )
    try:
        minutes = math.ceil(parse_amount(words[2], "time").to("time"))
    except ValueError as error:
        raise OutingError(f"'{words[2]}' is no time: {error}. Write it as '40 min' or '2 h'.") from error
    if not 1 <= minutes <= 24 * 60:
        raise OutingError(f"'{text}': a stretch takes from 1 minute to 24 hours.")
    return Stretch(activity, minutes)


def read_level(text: str, portable: LiquidStore) -> Fraction:
    """Read a mark of a portable's gauge, such as "full" or "3/4", as a share of full.

    Raises:
        OutingError: the gauge has no such mark.
    """
    known = {level_name(mark): mark for mark in marks(portable.divisions, portable.divisions)}
    if text not in known:
        raise OutingError(
            f"'{text}' is no mark of the gauge of {portable.id}. Its marks are {', '.join(known)}. "
            "Between two marks, take the lower one; below the lowest, plan as if the portable were empty."
        )
    return known[text]


def portable_numbered(found: Sequence[Store], number: int) -> LiquidStore:
    """Return the portable of that number in a case, counted from 1.

    Raises:
        OutingError: there is none.
    """
    portables = [store for store in found if isinstance(store, LiquidStore) and store.kind == "portable"]
    if not 1 <= number <= len(portables):
        raise OutingError(f"There is no portable {number}; portables in this case: {len(portables)}.")
    return portables[number - 1]


def _loss_l_min(case: Case, portable: LiquidStore, stretch: Stretch, margins: Margins) -> float:
    order = case.prescription.orders().get(stretch.activity)
    if order is None:
        raise OutingError(f"Nothing is ordered for '{stretch.activity}', so no time can be given for it.")
    flow = demand(stretch.activity, order, portable, case.conserver).flow_l_min
    return portable.loss_l_min(flow * (1 + margins.flow_tolerance))


def _minutes_until_used(litres: float, stretches: Sequence[Stretch], losses: Sequence[float]) -> float:
    """Return the minutes from the start until so much is used, at most the whole outing [min]."""
    minutes = 0.0
    for stretch, loss in zip(stretches, losses, strict=True):
        if litres < stretch.minutes * loss:
            return minutes + litres / loss
        litres -= stretch.minutes * loss
        minutes += stretch.minutes
    return minutes
