"""A walk through the minutes, against which every safe time is held.

It shares nothing with the program but the units: masses, densities and enthalpies are CoolProp's, a container is
emptied minute by minute at the worst of its reading, of its gauge, of its warmth, of its flow, of the breathing and
of the order of the day, and its cold vapour stays behind.
"""

import math
from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from itertools import accumulate

from companion.case import Case
from companion.case.equipment import Cylinder, Portable, Reservoir
from companion.case.prescription import ActivityOrder
from tests.coolprop import litres_out, litres_per_kg, props

Container = Reservoir | Portable | Cylinder


def minutes_until_short(litres: float, losses: list[float]) -> int:
    """Return how many whole minutes a content gives what each minute takes, day after day [min]."""
    day = sum(losses)
    days = int(litres / day)
    left = litres - days * day
    return days * len(losses) + sum(used <= left + 1e-6 for used in accumulate(losses))


def saturated(what: str, gauge_psi: float, quality: int) -> float:
    return props(what, "P", gauge_psi * 6894.757 + 101325, "Q", quality)


def saturated_kg_per_l(gauge_psi: float) -> float:
    return saturated("D", gauge_psi, 0) / 1000


cached_litres_out = cache(litres_out)

HIGHEST_PSI = 70.0
"""The highest working pressure that can be entered: one that nobody has entered may be as high."""


def percent(case: Case, name: str) -> float:
    """Return a margin of the clinic's policy as a share."""
    return float(getattr(case.clinic.policy, f"{name}_percent")) / 100


def working_psi(item: Reservoir | Portable) -> float:
    return item.working_pressure.to("pressure") if item.working_pressure else HIGHEST_PSI


def liquid_l(item: Reservoir | Portable) -> float:
    """Return the volume of a full container's liquid [L]; where it is given twice, the more."""
    litres = [item.liquid_volume.to("liquid volume")] if item.liquid_volume else []
    if item.oxygen_mass:
        litres.append(item.oxygen_mass.to("mass") / saturated_kg_per_l(working_psi(item)))
    return max(litres)


def vapour_litres(case: Case, item: Reservoir | Portable) -> float:
    """Return the gas that stays as cold vapour where the liquid was [L]."""
    return percent(case, "vapour") * liquid_l(item) * saturated("D", working_psi(item), 1) / 1000 * litres_per_kg()


def full_liquid_litres(item: Reservoir | Portable) -> float:
    """Return the gas from a full container [L]; where it is given twice, the less."""
    kg = [item.oxygen_mass.to("mass")] if item.oxygen_mass else []
    if item.liquid_volume and item.working_pressure:
        litres = item.liquid_volume.to("liquid volume")
        kg.append(litres * saturated_kg_per_l(item.working_pressure.to("pressure")))
    return min(kg) * litres_per_kg()


def cylinder_litres(item: Cylinder, psi: float) -> float:
    """Return the gas down to 0 gauge at a pressure, of a real gas at 70 °F [L]."""
    psi = max(0.0, psi)
    if item.water_volume:
        return item.water_volume.to("gas volume") * cached_litres_out(psi)
    full_psi = item.full_pressure.to("pressure")
    stated = item.content.to("gas volume") if item.content else None
    full = stated or (item.factor.to("trade factor") * full_psi if item.factor else math.nan)
    return full * cached_litres_out(psi) / cached_litres_out(full_psi)


def boil_off_l_min(case: Case, item: Reservoir | Portable) -> float:
    return item.boil_off.to("mass loss") * litres_per_kg() / 1440 * (1 + percent(case, "boil_off_tolerance"))


def steady_flow_l_min(case: Case, order: ActivityOrder) -> float:
    assert order.flow is not None
    return order.flow.to("flow") * (1 + percent(case, "flow_tolerance"))


def loss_l_min(case: Case, item: Container, order: ActivityOrder) -> float:
    """Return what leaves a container in a minute, with the flow at the upper end of its tolerance [L/min]."""
    if order.pulse_setting is not None and not isinstance(item, Reservoir) and item.conserver:
        assert case.conserver is not None
        assert order.breaths_per_minute is not None
        pulse_l = case.conserver.bolus[order.pulse_setting].to("dose") / 1000 * (1 + percent(case, "bolus_tolerance"))
        flow = pulse_l * order.breaths_per_minute * (1 + percent(case, "breathing_tolerance"))
    else:
        flow = steady_flow_l_min(case, order)
    if isinstance(item, Cylinder):
        return flow
    boil_off = boil_off_l_min(case, item)
    return max(flow, boil_off) if item.economiser else flow + boil_off


def containers(case: Case) -> dict[str, Container]:
    kinds: dict[str, Sequence[Container]] = {
        "reservoir": case.reservoir,
        "portable": case.portable,
        "cylinder": case.cylinder,
    }
    return {f"{kind}-{place}": item for kind, items in kinds.items() for place, item in enumerate(items, start=1)}


def worst_litres(case: Case, item: Container, level: Fraction) -> float:
    """Return what can be breathed from a reading that shows too much [L]."""
    misread = float(case.clinic.policy.reading_error_divisions)
    if isinstance(item, Cylinder):
        full_psi = item.full_pressure.to("pressure")
        cool_psi = full_psi * float(level) / (1 + percent(case, "warm_cylinder"))
        wrong_psi = percent(case, "cylinder_gauge_accuracy") * full_psi
        psi = cool_psi - max(misread * item.gauge_division.to("pressure"), wrong_psi)
        return max(0.0, cylinder_litres(item, psi) - cylinder_litres(item, item.reserve.to("pressure")))
    share = float(level) - max(misread / item.gauge.divisions, percent(case, "gauge_accuracy"))
    return max(0.0, full_liquid_litres(item) * share - vapour_litres(case, item))


def true_minutes(case: Case, item: Container, level: Fraction, order: ActivityOrder) -> float:
    """Return how long a container lasts at the worst, with the clinic's reserve still in a portable [min]."""
    lasts = minutes_until_short(worst_litres(case, item, level), [loss_l_min(case, item, order)] * 1440)
    held_back = case.clinic.policy.portable_reserve.to("time") if isinstance(item, Portable) else 0
    return max(0.0, lasts - held_back)


def worst_day(case: Case, reservoir: Reservoir) -> list[float]:
    """Return what a reservoir loses in each minute of a day whose hungriest part comes first [L]."""
    minutes: list[float] = []
    for order in case.prescription.orders().values():
        elsewhere = order.on_portable.to("time") if order.on_portable else 0
        here = round(order.hours_per_day.to("time") - elsewhere)
        minutes += [loss_l_min(case, reservoir, order)] * here
    minutes += [boil_off_l_min(case, reservoir)] * (1440 - len(minutes))
    minutes.sort(reverse=True)
    minutes[0] += fills_litres(case, reservoir)
    return minutes


def staying_home(case: Case) -> Case:
    """Return the case of a patient who leaves every portable empty."""
    orders = case.prescription.model_copy(
        update={
            activity: order.model_copy(update={"on_portable": None})
            for activity, order in case.prescription.orders().items()
        }
    )
    return case.model_copy(update={"portable": [], "prescription": orders})


def fills_litres(case: Case, reservoir: Reservoir) -> float:
    """Return what the day's fills take out of the reservoir [L].

    The portable is filled to its brim with liquid that was let down to 1 atm: colder and denser than what it is rated
    for. Some of what left the reservoir turned to gas on the way.
    """
    return sum(
        (
            item.cold_fills_per_day * (1 + percent(case, "cold_fill_loss"))
            + item.warm_fills_per_day * (1 + percent(case, "warm_fill_loss"))
        )
        * fill_litres(case, item, reservoir)
        for item in case.portable
    )


def fill_litres(case: Case, item: Portable, reservoir: Reservoir) -> float:
    rated = full_liquid_litres(item)
    above = saturated("H", working_psi(reservoir), 0) - saturated("H", 0, 0)
    flash = above / (saturated("H", 0, 1) - saturated("H", 0, 0))
    let_down = liquid_l(item) * saturated_kg_per_l(0) * litres_per_kg() / (1 - flash)
    # Our litre of gas is 0.01 % lighter than CoolProp's, and 0.06 % are taken off a rated volume.
    return 0.999 * rated + percent(case, "let_down") * (let_down - rated)
