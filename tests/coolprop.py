"""Oxygen by CoolProp 8.0.0 (equation of state of Schmidt and Wagner), as the tests hold ours against it."""

from CoolProp.CoolProp import PropsSI

ROOM_K = 294.2611  # 70 °F
ATMOSPHERE_PA = 101325.0
PSI_PA = 6894.757
LB_KG = 0.45359237

LITRES_PER_KG = 1000 / PropsSI("D", "T", ROOM_K, "P", ATMOSPHERE_PA, "Oxygen")


def gas_kg_m3(gauge_psi: float) -> float:
    """Return the density of the gas in a cylinder at 70 °F [kg/m³]."""
    return float(PropsSI("D", "T", ROOM_K, "P", gauge_psi * PSI_PA + ATMOSPHERE_PA, "Oxygen"))


def litres_out(gauge_psi: float) -> float:
    """Return the gas that comes out of one litre of cylinder down to 0 gauge [L at 70 °F and 1 atm]."""
    return (gas_kg_m3(gauge_psi) - gas_kg_m3(0)) / 1000 * LITRES_PER_KG
