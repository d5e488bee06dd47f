"""Tables of the clinician's copy: how long each container lasts, with every deduction, the nights and the back-up."""

from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from companion.language.locale import Locale
from companion.reckoning.containers import level_name
from companion.reckoning.demand import Demand
from companion.reckoning.duration import Cause, Window
from companion.reckoning.nights import Night
from companion.reckoning.plan import Plan

CAUSES: dict[Cause, str] = {
    "vapour": "vapour",
    "gas curve": "real gas",
    "warm cylinder": "warm",
    "gauge reading": "gauge",
    "gauge accuracy": "accuracy",
    "residual": "stays in",
    "boil-off": "boil-off",
    "flow tolerance": "flow",
    "bolus tolerance": "pulse",
    "faster breathing": "breaths",
    "reserve": "home",
    "rounding down": "rounded",
}
"""Each cause of a deduction as the head of a column."""


@dataclass(frozen=True)
class Grid:
    """One table, ready to print."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str | Markup, ...], ...]
    widths: str
    """Share of the width of each column, such as ``"2 1 1"``."""
    kinds: str
    """Of each column a letter: ``w`` words, ``f`` figures, ``n`` a note in smaller type."""


def container_words(container: str) -> str:
    """Return the name of a container of the plan: ``portable-1`` is "Portable 1"."""
    return container.replace("-", " ").capitalize()


def windows(made: Plan, locale: Locale) -> Iterator[Grid]:
    """Yield a table for each container: nominal time, each deduction and the safe time, in minutes.

    A container with pulses has a second one, for the steady flow on which it goes on when they fail.
    """
    for store in made.stores:
        name = container_words(store.id)
        yield _window_grid(f"{name}, in minutes", [one for one in made.windows if one.container == store.id], locale)
        steady = [one for one in made.steady_windows if one.container == store.id]
        if steady:
            yield _window_grid(f"{name} on the steady flow, when its pulses fail, in minutes", steady, locale)


def _window_grid(caption: str, windows: list[Window], locale: Locale) -> Grid:
    alike: dict[tuple[object, ...], list[Window]] = {}
    for window in windows:
        used = window.demand
        alike.setdefault((window.level, used.set_to, used.flow_l_min), []).append(window)
    groups = list(alike.values())
    taken = {cause for window in windows for cause, minutes in _deductions(window).items() if round(minutes, 1) > 0}
    causes = tuple(cause for cause in CAUSES if cause in taken)
    return Grid(
        caption,
        ("Gauge", "Activity", "Use", "Nominal", *(CAUSES[cause] for cause in causes), "Safe", "Safe, in words"),
        tuple(_window_row(group, causes, locale) for group in groups),
        # A head must not break, so the longer ones take more.
        " ".join(
            ["1", "1.35", "1.3", "1.3", *(f"{max(1, 0.19 * len(CAUSES[cause])):.2f}" for cause in causes), "0.9", "1.4"]
        ),
        "www" + "f" * (len(causes) + 2) + "w",
    )


def _deductions(window: Window) -> dict[Cause, float]:
    return {deduction.cause: deduction.minutes for deduction in window.deductions}


def _window_row(alike: list[Window], causes: tuple[Cause, ...], locale: Locale) -> tuple[str | Markup, ...]:
    window = alike[0]
    taken = _deductions(window)
    return (
        level_name(window.level),
        ", ".join(one.demand.activity for one in alike),
        _use_words(window.demand),
        _minutes(window.nominal_min),
        *(f"−{_minutes(max(0.0, taken[cause]))}" if cause in taken else "" for cause in causes),
        str(window.safe_min),
        locale.duration(window.safe_min),
    )


def _minutes(minutes: float) -> str:
    return f"{minutes:.1f}"


def _use_words(asked: Demand) -> str:
    if asked.flow is None:
        return f"setting {asked.setting}, {asked.flow_l_min * 1000:.0f} mL/min"
    return str(asked.flow)


def backup(made: Plan, locale: Locale) -> Grid:
    """Return how long the back-up lasts, and how often somebody must change the cylinder."""
    needed = "; ".join(f"{container_words(name)}: {count}" for name, count in made.backup_needed.items())
    return Grid(
        f"All full cylinders, one after another; where most is used one lasts {locale.duration(made.backup_one_min)}",
        (
            "Activity",
            "Safe, together",
            "Changes of cylinder",
            "Full cylinders that alone cover the wait for a delivery, where most is used",
        ),
        tuple(
            (activity, locale.duration(minutes), str(made.backup_changes), needed or "none")
            for activity, minutes in made.backup_min.items()
        ),
        "1 1.4 1.2 2.6",
        "wwfw",
    )


def nights(made: Plan, locale: Locale) -> Grid:
    """Return whether one full container lasts the ordered sleep."""

    def ordered(night: Night) -> str | Markup:
        return "none on it" if night.asleep_min is None else locale.duration(round(night.asleep_min))

    return Grid(
        "One unbroken sleep on one full container",
        ("Container", "Sleep ordered", "Safe, asleep", "Changes in that sleep"),
        tuple(
            (
                container_words(night.container),
                ordered(night),
                locale.duration(night.lasts_min),
                "" if night.changes is None else str(night.changes),
            )
            for night in made.nights
        ),
        "1.4 1.2 1.2 1.2",
        "wwwf",
    )
