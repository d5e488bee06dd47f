"""An outing with the portable: whether it lasts, when to start for home, how many fills it takes.

The portable is taken at the worst of its gauge reading and every flow at the upper end of its tolerance, as in
``duration``. The reserve is held back as in ``trips``, so that an outing lasts that the printed table allows.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from companion.case.model import Case
from companion.case.prescription import Activity
from companion.errors import CompanionError, did_you_mean, harmless
from companion.facts.units import parse_duration_min
from companion.reckoning.containers import LiquidStore, Store, level_name, marks
from companion.reckoning.duration import round_down
from companion.reckoning.margins import Margins
from companion.reckoning.portable_use import PortableUse, litres_to_use, portable_use
from companion.reckoning.trips import minutes_of_way


@dataclass(frozen=True)
class Doing:
    """What a person does on an outing: the activity that was ordered for it, and whether it leads away from home."""

    activity: Activity
    on_the_way: bool


DOINGS: dict[str, Doing] = {
    "walk": Doing("exertion", on_the_way=True),
    "travel": Doing("rest", on_the_way=True),
    "sit": Doing("rest", on_the_way=False),
    "stroll": Doing("exertion", on_the_way=False),
    "sleep": Doing("sleep", on_the_way=False),
}
"""What a person says for what was ordered. Whoever sits, strolls or sleeps stays where they are."""


class OutingError(CompanionError):
    """A stretch that cannot be understood, or for which nothing was ordered."""


@dataclass(frozen=True)
class Stretch:
    """One part of an outing."""

    doing: Doing
    minutes: int
    """How long it takes [min], at least 1."""


@dataclass(frozen=True)
class Outing:
    """What one portable does for an outing."""

    lasts: bool
    """Whether the portable gives the whole outing and still holds the clinic's reserve."""
    lasts_if_pulses_stop: bool
    """The same if pulses stop at the worst minute and the patient goes home on the steady flow; without pulses as
    ``lasts``."""
    busiest: Activity
    """The activity that uses most."""
    left_min: int
    """How much longer any ordered activity could go on at the end, the reserve held back, rounded down [min]."""
    left_steady_min: int | None
    """The same on the ordered steady flow [min]; None: the portable gives no pulses."""
    turn_back_after_min: int
    """The latest time from the start at which to start for home the way one came, without the stays, on pulses or on
    the steady flow; rounded down, never beyond the outing [min]. 0: do not start."""
    fills_needed: int | None
    """Full portables for the whole outing, each with its reserve and less what it loses while it waits; None: no
    number is enough."""

    @property
    def enough(self) -> bool:
        """Return whether the outing can be made, whatever the conserver does."""
        return self.lasts and self.lasts_if_pulses_stop


def outing(
    case: Case, portable: LiquidStore, level: Fraction, stretches: Sequence[Stretch], margins: Margins
) -> Outing:
    """Compute one outing from one gauge reading.

    Raises:
        OutingError: there is no stretch, or nothing is ordered for one.
    """
    if not stretches:
        raise OutingError("An outing needs at least one stretch, such as 'walk 40 min'.")
    use = portable_use(case, portable, margins)
    for stretch in stretches:
        if stretch.doing.activity not in use.as_set:
            raise OutingError(f"Nothing is ordered for '{stretch.doing.activity}', so no time can be given for it.")
    usable = litres_to_use(portable, level, use, margins)
    left = usable - sum(_used(stretch, use) for stretch in stretches)
    lasts = left >= 0
    return Outing(
        lasts=lasts,
        lasts_if_pulses_stop=lasts and (use.as_set == use.steady or _most_with_failure(stretches, use) <= usable),
        busiest=use.busiest,
        left_min=round_down(left / use.most),
        left_steady_min=round_down(left / use.most_steady) if use.as_set != use.steady else None,
        turn_back_after_min=_turn_back(usable, stretches, use),
        fills_needed=_fills_needed(portable, stretches, use, margins),
    )


def _used(stretch: Stretch, use: PortableUse) -> float:
    return stretch.minutes * use.as_set[stretch.doing.activity]


def _to_retrace(stretch: Stretch, use: PortableUse) -> float:
    """Return what it takes to come back along a stretch [L]; nothing where it led nowhere."""
    return stretch.minutes * use.homeward(stretch.doing.activity) if stretch.doing.on_the_way else 0.0


def _most_with_failure(stretches: Sequence[Stretch], use: PortableUse) -> float:
    """Return what an outing takes at most if pulses stop at its worst minute [L].

    From then on the patient goes home: back along the way, or on along it, whichever takes less. What is used grows
    and what is left of the shorter way falls from the middle of the way on, so the worst minute is the middle or the
    end of a stretch.
    """
    whole_way = sum(_to_retrace(stretch, use) for stretch in stretches)
    most = used = behind = 0.0
    for stretch in stretches:
        along = _to_retrace(stretch, use)
        if behind < whole_way / 2 <= behind + along:
            share = (whole_way / 2 - behind) / along
            most = max(most, used + share * _used(stretch, use) + whole_way / 2)
        used += _used(stretch, use)
        behind += along
        most = max(most, used + min(behind, whole_way - behind))
    return most


def _turn_back(usable: float, stretches: Sequence[Stretch], use: PortableUse) -> int:
    """Return the latest whole minute from the start from which the way back is covered [min]."""
    minutes = 0
    for stretch in stretches:
        needed = _used(stretch, use) + _to_retrace(stretch, use)
        if usable < needed:
            return minutes_of_way(minutes + stretch.minutes * max(0.0, usable) / needed)
        usable -= needed
        minutes += stretch.minutes
    return minutes


def _fills_needed(
    portable: LiquidStore, stretches: Sequence[Stretch], use: PortableUse, margins: Margins
) -> int | None:
    """Return how many full portables an outing takes, used one after another while the others boil off."""
    full = litres_to_use(portable, Fraction(1), use, margins)
    fills, waited_min, litres = 1, 0.0, full
    for stretch in stretches:
        loss = use.as_set[stretch.doing.activity]
        minutes = float(stretch.minutes)
        while litres < minutes * loss:
            minutes -= max(0.0, litres) / loss
            waited_min += max(0.0, litres) / loss
            fills += 1
            litres = full - waited_min * portable.boil_off_at_most(margins)
            # A portable that gives less than a minute would be changed without end.
            if litres < loss:
                return None
        litres -= minutes * loss
        waited_min += minutes
    return fills


def read_stretch(text: str) -> Stretch:
    """Read a stretch such as "walk 40 min" or "sit 2 h"; a part of a minute counts as a whole one.

    Raises:
        OutingError: with what would be right.
    """
    words = re.fullmatch(r"\s*([A-Za-z]+)\s+(.+)", text)
    doing = DOINGS.get(words[1].casefold()) if words else None
    if words is None or doing is None:
        meant = did_you_mean(words[1], DOINGS) if words else ""
        raise OutingError(
            f"'{harmless(text)}' is no stretch of an outing.{meant} Write what is done and a time, such as "
            f"'walk 40 min'; what can be done: {', '.join(DOINGS)}."
        )
    try:
        minutes = math.ceil(parse_duration_min(words[2]))
    except ValueError as error:
        raise OutingError(
            f"'{harmless(words[2])}' is no time: {error}. Write it as '40 min', '2 h' or '1h30'."
        ) from error
    if not 1 <= minutes <= 24 * 60:
        raise OutingError(f"'{harmless(text)}': a stretch takes from 1 minute to 24 hours.")
    return Stretch(doing, minutes)


def read_level(text: str, portable: LiquidStore) -> Fraction:
    """Read a mark of a portable's gauge, such as "full" or "3/4", as a share of full.

    Raises:
        OutingError: the gauge has no such mark.
    """
    known = {level_name(mark): mark for mark in marks(portable.divisions, portable.divisions)}
    if text not in known:
        raise OutingError(
            f"'{harmless(text)}' is no mark of the gauge of {portable.id}. Its marks are {', '.join(known)}. "
            "Between two marks, take the lower one; below the lowest, plan as if the portable were empty."
        )
    return known[text]


def portable_numbered(stores: Sequence[Store], number: int) -> LiquidStore:
    """Return the portable of that number in a case, counted from 1.

    Raises:
        OutingError: there is none.
    """
    portables = [store for store in stores if isinstance(store, LiquidStore) and store.kind == "portable"]
    if not 1 <= number <= len(portables):
        raise OutingError(f"There is no portable {number}; portables in this case: {len(portables)}.")
    return portables[number - 1]
