"""Which drawing stands beside which words, with this home's own equipment in it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from companion.case.equipment import Portable, Reservoir
from companion.case.model import Case
from companion.guide.conditions import couplings
from companion.guide.document import Drawing
from companion.guide.naming import demand_words
from companion.guide.pictures import picture
from companion.guide.values import Values
from companion.language.locale import Locale
from companion.language.said import Value, marked, plain
from companion.reckoning.plan import Plan


@dataclass(frozen=True)
class Home:
    """What the drawings of one home show of it; each property is a parameter of some drawings."""

    case: Case
    plan: Plan
    values: Values
    locale: Locale

    @property
    def interface(self) -> str:
        """What the patient breathes through."""
        return self.case.prescription.interface

    @property
    def number(self) -> str:
        """What the flow control of each reservoir shows in use: what is ordered at rest, or first of all."""
        return self._first("reservoir")

    @property
    def portable_number(self) -> str:
        """The ``number`` of a drawing that shows a portable; nothing where one is set unlike another."""
        return self._first("portable")

    def _first(self, kind: str) -> str:
        by_container: dict[str, str] = {}
        for found in self.plan.windows_of(kind):
            by_container.setdefault(found.container, plain(demand_words(found.demand, self.locale)))
        numbers = set(by_container.values())
        return numbers.pop() if len(numbers) == 1 else ""

    @property
    def gauge(self) -> str:
        """The kind of the portable's gauge; nothing where there is no portable or another has another gauge."""
        return _gauge(self.case.portable)[0]

    @property
    def divisions(self) -> int:
        """The parts of that gauge."""
        return _gauge(self.case.portable)[1]

    @property
    def hanging(self) -> bool:
        """Whether a portable is read while it hangs."""
        return any(item.gauge.kind == "hanging" for item in self.case.portable)

    @property
    def reservoir_gauge(self) -> str:
        """The kind of the reservoir's gauge; nothing where another has another one."""
        return _gauge(self.case.reservoir)[0]

    @property
    def carried(self) -> bool:
        """Whether there is a portable."""
        return bool(self.case.portable)

    @property
    def coupling(self) -> str:
        """The family of couplings, of which a home whose filling is drawn has one."""
        return next(iter(couplings(self.case)))

    @property
    def carrier(self) -> str:
        """How the portable is carried; nothing where there is none."""
        return self.case.portable[0].carrier if self.case.portable else ""

    @property
    def valve(self) -> str | None:
        """Which way the fill valve closes; None where that is not known of every portable."""
        ways = {item.fill_valve for item in self.case.portable}
        return ways.pop() if len(ways) == 1 else None

    @property
    def stop(self) -> str:
        """The pressure at which to change cylinders; nothing where it is not the same for all."""
        return self._words(self.values.cylinder_stop)

    @property
    def low(self) -> str:
        """The lower end of what a finger meter should show."""
        return self._words(self.values.saturation_low)

    @property
    def distance(self) -> str:
        """How far to stay from a flame."""
        return self._words(self.values.flame_distance)

    @property
    def range(self) -> str:
        """The temperatures of the water for frozen skin."""
        return self._words(self.values.water_temperature)

    def _words(self, value: Value | None) -> str:
        return "" if value is None else plain(value)


ILLUSTRATIONS: dict[str, tuple[str, ...]] = {
    "burning-tube": ("interface",),
    "car": ("interface", "portable_number", "gauge"),
    "car-stop": (),
    "change-source": ("portable_number", "gauge", "reservoir_gauge"),
    "cloud-puff-jet": ("coupling",),
    "cold-water": ("range",),
    "conserver": ("interface",),
    "creams": (),
    "cylinder-open": ("stop", "interface"),
    "emergency-signs": ("interface",),
    "eye-rinse": ("interface",),
    "fill-step": ("coupling", "gauge", "divisions", "hanging", "interface", "valve"),
    "finger-meter": ("low", "interface"),
    "flame-distance": ("interface", "distance", "carrier", "gauge"),
    "flow-dial": ("number",),
    "frozen-coupling": ("coupling", "gauge", "reservoir_gauge", "interface"),
    "hot-car": ("gauge",),
    "humidifier": (),
    "night-walk": ("interface", "reservoir_gauge"),
    "no-smoking": (),
    "not-here": ("carried", "gauge", "reservoir_gauge"),
    "skin-stuck": (),
    "spill-leave": ("reservoir_gauge",),
    "tipped": ("gauge",),
    "tubing": ("interface", "number", "reservoir_gauge"),
    "upright": ("carried", "gauge", "reservoir_gauge"),
    "water-bottle": (),
    "wet-clothes": ("interface",),
    "wipe-dry": ("coupling",),
}
"""What ``::: beside NAME`` asks for, by the name of the drawing: what it shows of the home."""


def illustration(name: str, home: Home, **more: int) -> Drawing | None:
    """Return a drawing; None where nothing of this home can be drawn truthfully.

    What shows a coupling is drawn for one on top or at the side alone.

    Args:
        more: what the words beside it say of it, such as the number of a step.
    """
    if "coupling" in ILLUSTRATIONS[name] and couplings(home.case) not in ({"top fill"}, {"side fill"}):
        return None
    shown = {parameter.removeprefix("portable_"): getattr(home, parameter) for parameter in ILLUSTRATIONS[name]}
    return picture(home.locale, name.replace("-", "_"), **shown, **more)


def _gauge(containers: Sequence[Reservoir] | Sequence[Portable]) -> tuple[str, int]:
    """Return the kind and the parts of the gauge that all of them have; no kind where there is not one."""
    gauges = {(item.gauge.kind, item.gauge.divisions) for item in containers}
    return gauges.pop() if len(gauges) == 1 else ("", 4)


def _drawn_coupling(case: Case) -> str:
    """Return the coupling of the drawn parts; nothing where it is neither on top nor at the side of all."""
    found = couplings(case)
    return found.pop() if found in ({"top fill"}, {"side fill"}) else ""


def _reservoir_parts(case: Case, locale: Locale) -> tuple[Drawing, list[str]]:
    humidifier, bottle = case.prescription.humidifier, any(item.water_bottle for item in case.reservoir)
    kind, divisions = _gauge(case.reservoir)
    coupling = _drawn_coupling(case)
    shown = picture(
        locale,
        "reservoir",
        callouts=True,
        humidifier=humidifier,
        water_bottle=bottle,
        gauge=kind,
        divisions=divisions,
        coupling=coupling,
    )
    return shown, [
        marked("Contents gauge"),
        *([marked("Fill coupling"), marked("Release for the coupling")] if coupling else []),
        marked("Flow control"),
        marked("Oxygen outlet"),
        *([marked("Humidifier")] if humidifier else []),
        *([marked("Drip bottle")] if bottle else []),
        marked("Handles"),
        marked("Roller base"),
    ]


def _portable_parts(case: Case, locale: Locale) -> tuple[Drawing, list[str]]:
    trolley = any(item.carrier == "trolley" for item in case.portable)
    kind, divisions = _gauge(case.portable)
    coupling = _drawn_coupling(case)
    shown = picture(
        locale,
        "portable",
        callouts=True,
        carrier="trolley" if trolley else "bag",
        gauge=kind,
        divisions=divisions,
        coupling=coupling,
    )
    return shown, [
        marked("Strap"),
        marked("Contents gauge"),
        marked("Flow control"),
        marked("Fill valve"),
        *([marked("Fill coupling")] if coupling else []),
        marked("Trolley") if trolley else marked("Carrying bag"),
        marked("Oxygen outlet"),
    ]


def _cylinder_parts(_case: Case, locale: Locale) -> tuple[Drawing, list[str]]:
    return picture(locale, "cylinder", callouts=True), [
        marked("Pressure gauge"),
        marked("Flow control"),
        marked("Valve"),
        marked("Stand"),
        marked("Oxygen outlet"),
    ]


PARTS: dict[str, Callable[[Case, Locale], tuple[Drawing, list[str]]]] = {
    "reservoir": _reservoir_parts,
    "portable": _portable_parts,
    "cylinder": _cylinder_parts,
}
"""What ``@parts KIND`` asks for: the drawing of a container, and the names of its numbered parts."""
