"""Tables of the clinician's copy: how long each container lasts, with every deduction, the nights and the back-up."""

from collections.abc import Iterator

from companion.guide.document import Grid
from companion.guide.grids import Words, container_words, grid, time_words
from companion.reckoning.choices import SHARED_ROWS
from companion.reckoning.containers import LiquidStore, level_name, marks
from companion.reckoning.demand import Demand
from companion.reckoning.duration import Cause, Window
from companion.reckoning.nights import Night
from companion.reckoning.plan import Plan

CAUSES: dict[Cause, str] = {
    "vapour": "vapour",
    "gas curve": "real gas",
    "warm cylinder": "warm",
    "gauge reading": "misread",
    "gauge accuracy": "gauge",
    "residual": "stays in",
    "boil-off": "boil-off",
    "flow tolerance": "flow",
    "bolus tolerance": "pulse",
    "faster breathing": "breaths",
    "reserve": "home",
    "rounding down": "round",
}
"""Each cause of a deduction as the head of a column."""


def windows(made: Plan) -> Iterator[Grid]:
    """Yield a table for each container: nominal time, each deduction and the safe time, in minutes.

    A container with pulses has a second one, for the steady flow on which it goes on when they fail. Of a reservoir, of
    which the patient's copy gives other times, a few readings do.
    """
    for store in made.stores:
        name = container_words(store.id)
        levels = (
            marks(store.divisions, SHARED_ROWS)
            if isinstance(store, LiquidStore) and store.kind == "reservoir"
            else store.levels
        )
        yield _window_grid(
            f"{name}, in minutes",
            [one for one in made.windows if one.container == store.id and one.level in levels],
        )
        steady = [one for one in made.steady_windows if one.container == store.id]
        if steady:
            yield _window_grid(f"{name} on the steady flow, when its pulses fail, in minutes", steady)


def _window_grid(caption: str, windows: list[Window]) -> Grid:
    activities = len({window.demand.activity for window in windows})
    alike: dict[tuple[object, ...], list[Window]] = {}
    for window in windows:
        used = window.demand
        alike.setdefault((window.level, used.set_to, used.flow_l_min), []).append(window)
    groups = list(alike.values())
    taken = {cause for window in windows for cause, minutes in _deductions(window).items() if round(minutes, 1) > 0}
    causes = tuple(cause for cause in CAUSES if cause in taken)
    return grid(
        caption,
        ("Gauge", "Activity", "Use", "Nominal", *(CAUSES[cause] for cause in causes), "Safe", "h:min"),
        tuple(_window_row(group, causes, activities) for group in groups),
        "www" + "f" * (len(causes) + 2) + "w",
    )


def _deductions(window: Window) -> dict[Cause, float]:
    return {deduction.cause: deduction.minutes for deduction in window.deductions}


def _window_row(alike: list[Window], causes: tuple[Cause, ...], activities: int) -> tuple[Words, ...]:
    window = alike[0]
    taken = _deductions(window)
    return (
        level_name(window.level),
        "all" if len(alike) == activities else ", ".join(one.demand.activity for one in alike),
        _use_words(window.demand),
        _minutes(window.nominal_min),
        *(f"−{_minutes(max(0.0, taken[cause]))}" if cause in taken else "" for cause in causes),
        str(window.safe_min),
        f"{window.safe_min // 60}:{window.safe_min % 60:02d}",
    )


def _minutes(minutes: float) -> str:
    return f"{minutes:.1f}"


def _use_words(asked: Demand) -> str:
    if asked.flow is None:
        return f"no. {asked.setting}, {asked.flow_l_min * 1000:.0f} mL/min"
    return str(asked.flow)


def backup(made: Plan) -> Grid:
    """Return how long the back-up lasts, and how often somebody must change the cylinder."""
    needed = "; ".join(f"{container_words(name)}: {count}" for name, count in made.backup_needed.items())
    return grid(
        f"All full cylinders, one after another; where most is used one lasts {time_words(made.backup_one_min)}",
        (
            "Activity",
            "Safe, together",
            "Changes",
            "Full ones that alone cover a wait",
        ),
        tuple(
            (activity, time_words(minutes), str(made.backup_changes), needed or "none")
            for activity, minutes in made.backup_min.items()
        ),
        "wwfw",
    )


def nights(made: Plan) -> Grid:
    """Return whether one full container lasts the ordered sleep."""

    def ordered(night: Night) -> str:
        return "none on it" if night.asleep_min is None else time_words(round(night.asleep_min))

    return grid(
        "One unbroken sleep on one full container",
        ("Container", "Sleep ordered", "Safe, asleep", "Changes in that sleep"),
        tuple(
            (
                container_words(night.container),
                ordered(night),
                time_words(night.lasts_min),
                "" if night.changes is None else str(night.changes),
            )
            for night in made.nights
        ),
        "wwwf",
    )
