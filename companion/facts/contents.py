"""What a full container holds, by each figure that its label or data sheet gives."""

from companion.facts import oxygen
from companion.facts.units import BAR_PER_PSI


def liquid_contents_kg(
    mass_kg: float | None, litres: float | None, working_pressure_psi: float | None
) -> dict[str, float]:
    """Return the oxygen of a full liquid container [kg], by the field that gives it.

    Args:
        mass_kg: the mass of the oxygen.
        litres: liquid oxygen, which is lighter under pressure.
        working_pressure_psi: gauge pressure; without it the litres say nothing.
    """
    kg = {} if mass_kg is None else {"oxygen_mass": mass_kg}
    if litres is not None and working_pressure_psi is not None:
        kg["liquid_volume"] = litres * oxygen.liquid_density_kg_per_l(working_pressure_psi * BAR_PER_PSI)
    return kg


def gas_contents_l(
    full_psi: float, content_l: float | None, water_volume_l: float | None, factor_l_per_psi: float | None
) -> dict[str, float]:
    """Return the gas of a full cylinder down to 0 gauge [L at 70 °F and 1 atm], by the field that gives it."""
    litres = {} if content_l is None else {"content": content_l}
    if water_volume_l is not None:
        # Ideal gas: a real cylinder holds 2 to 7 % more below 300 bar, so this errs short.
        litres["water_volume"] = water_volume_l * full_psi * BAR_PER_PSI / oxygen.ATMOSPHERE_BAR
    if factor_l_per_psi is not None:
        litres["factor"] = factor_l_per_psi * full_psi
    return litres
