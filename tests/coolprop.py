"""Oxygen by CoolProp 8.0.0 (equation of state of Schmidt and Wagner), as the tests hold ours against it."""

from functools import cache

ROOM_K = 294.2611  # 70 °F
ATMOSPHERE_PA = 101325.0
PSI_PA = 6894.757
LB_KG = 0.45359237


@cache
def props(what: str, one: str, of_one: float, other: str, of_other: float) -> float:
    """Return a property of oxygen: ``what`` where two are known, by letters and in SI units."""
    # Loaded where it is asked: it takes seconds, and every process of the tests reads every file of them.
    from CoolProp.CoolProp import PropsSI

    return float(PropsSI(what, one, of_one, other, of_other, "Oxygen"))


def litres_per_kg() -> float:
    """Return the gas of a kilogram [L at 70 °F and 1 atm]."""
    return 1000 / props("D", "T", ROOM_K, "P", ATMOSPHERE_PA)


def gas_kg_m3(gauge_psi: float) -> float:
    """Return the density of the gas in a cylinder at 70 °F [kg/m³]."""
    return props("D", "T", ROOM_K, "P", gauge_psi * PSI_PA + ATMOSPHERE_PA)


def litres_out(gauge_psi: float) -> float:
    """Return the gas that comes out of one litre of cylinder down to 0 gauge [L at 70 °F and 1 atm]."""
    return (gas_kg_m3(gauge_psi) - gas_kg_m3(0)) / 1000 * litres_per_kg()
