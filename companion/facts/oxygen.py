"""Physical facts about oxygen, each with its source. Imports nothing of ours.

One reference state throughout: gas litres are litres at 70 °F (21.1 °C) and 1 atm (101.325 kPa),
the state for which the trade's figures agree with one another.
"""

from bisect import bisect_left
from dataclasses import dataclass

GAS_LITRES_PER_KG = 754.0
"""Gas from 1 kg of oxygen at 70 °F and 1 atm [L/kg].

Rounded down; the source stands in ``FACTS``, as those of the other constants.
"""

ATMOSPHERE_BAR = 1.01325
"""Standard atmosphere [bar]."""

BOILING_POINT_C = -183
"""Normal boiling point, rounded [°C]."""

LARGEST_HOME_RESERVOIR_L = 60.0
"""Largest liquid volume of a "home care container" [L]."""

LARGEST_PORTABLE_L = 1.5
"""Largest liquid volume of an "ambulatory container" [L]."""

_SATURATED_LIQUID = (
    # absolute pressure [bar], density [kg/m3]; CoolProp 8.0.0, fluid Oxygen, saturated liquid
    (1.0, 1141.80),
    (1.2, 1132.94),
    (1.4, 1125.08),
    (1.6, 1117.97),
    (1.8, 1111.45),
    (2.0, 1105.40),
    (2.4, 1094.44),
    (2.8, 1084.63),
    (3.2, 1075.69),
    (3.6, 1067.44),
    (4.0, 1059.74),
    (4.5, 1050.76),
    (5.0, 1042.37),
    (5.5, 1034.45),
    (6.0, 1026.95),
)

_SATURATED_VAPOUR = (
    # absolute pressure [bar], density [kg/m3]; CoolProp 8.0.0, fluid Oxygen, saturated vapour
    (1.0, 4.413),
    (1.2, 5.218),
    (1.4, 6.013),
    (1.6, 6.800),
    (1.8, 7.580),
    (2.0, 8.354),
    (2.4, 9.890),
    (2.8, 11.413),
    (3.2, 12.925),
    (3.6, 14.430),
    (4.0, 15.929),
    (4.5, 17.798),
    (5.0, 19.663),
    (5.5, 21.527),
    (6.0, 23.392),
)

_FLASH = (
    # absolute pressure [bar], share of the saturated liquid that turns to gas when it is let down to 1 atm:
    # enthalpy above that of the liquid at 1 atm over the latent heat there; CoolProp 8.0.0, fluid Oxygen
    (1.0, -0.00101),
    (1.2, 0.01322),
    (1.4, 0.02577),
    (1.6, 0.03705),
    (1.8, 0.04734),
    (2.0, 0.05683),
    (2.4, 0.07391),
    (2.8, 0.08906),
    (3.2, 0.10275),
    (3.6, 0.11529),
    (4.0, 0.12690),
    (4.5, 0.14035),
    (5.0, 0.15283),
    (5.5, 0.16449),
    (6.0, 0.17548),
)

HIGHEST_WORKING_PRESSURE_BAR = _SATURATED_LIQUID[-1][0] - ATMOSPHERE_BAR
"""Highest gauge pressure for which we hold a liquid density [bar]; home containers work at 20 to 55 psi."""

_GAS_OVER_IDEAL = (
    # gauge pressure [psi], (gas that comes out down to 0 gauge) / (what an ideal gas would give);
    # CoolProp 8.0.0, fluid Oxygen, 70 °F. It rises, then falls: a full cylinder holds more than the
    # ideal share, so a factor fitted when full promises too much when the cylinder is nearly empty.
    (0.0, 1.0),
    (100.0, 1.0053),
    (200.0, 1.0099),
    (300.0, 1.0144),
    (400.0, 1.0188),
    (500.0, 1.0231),
    (750.0, 1.0331),
    (1000.0, 1.0422),
    (1250.0, 1.0501),
    (1500.0, 1.0566),
    (1750.0, 1.0616),
    (2000.0, 1.0649),
    (2250.0, 1.0665),
    (2500.0, 1.0663),
    (2750.0, 1.0643),
    (3000.0, 1.0607),
    (3500.0, 1.0488),
    (4000.0, 1.0317),
    (4500.0, 1.0108),
)

HIGHEST_CYLINDER_PRESSURE_PSI = _GAS_OVER_IDEAL[-1][0]
"""Highest gauge pressure for which we hold the behaviour of the gas [psi]; home cylinders stop at 300 bar."""


def _between(table: tuple[tuple[float, float], ...], x: float) -> float:
    """Interpolate linearly in a table with rising first column; ``x`` lies within it."""
    right = max(1, bisect_left(table, (x,)))
    (x0, y0), (x1, y1) = table[right - 1], table[right]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


def liquid_density_kg_per_l(working_pressure_bar: float) -> float:
    """Return the density of saturated liquid oxygen [kg/L] at a gauge pressure [bar], never above the true one.

    Freshly filled liquid is colder and denser, so this figure never overstates the mass in a container.

    Raises:
        ValueError: outside 0 to about 5 bar gauge.
    """
    # A chord of this falling, convex curve lies above it; the widest gap between rows is 0.06 %.
    return _between(_SATURATED_LIQUID, _absolute(working_pressure_bar)) / 1000 * (1 - 0.0006)


def liquid_density_at_most_kg_per_l(working_pressure_bar: float) -> float:
    """Return the same density [kg/L], never below the true one: for what a fill takes.

    Raises:
        ValueError: outside 0 to about 5 bar gauge.
    """
    # The chord lies above the curve; the rows themselves are rounded to 0.01 kg/m3.
    return _between(_SATURATED_LIQUID, _absolute(working_pressure_bar)) / 1000 * (1 + 0.00001)


def vapour_density_kg_per_l(working_pressure_bar: float) -> float:
    """Return the density of saturated oxygen vapour [kg/L] at a gauge pressure [bar], never below the true one.

    It fills a container whose liquid is gone, cold and at the working pressure.

    Raises:
        ValueError: outside 0 to about 5 bar gauge.
    """
    # A chord of this rising, concave curve lies below it; the widest gap between rows is 0.035 %.
    return _between(_SATURATED_VAPOUR, _absolute(working_pressure_bar)) / 1000 * (1 + 0.0004)


def flash_share(working_pressure_bar: float) -> float:
    """Return how much of saturated liquid at a gauge pressure [bar] turns to gas when it is let down to 1 atm.

    A share from 0 to 1, never below the true one: gas and liquid leave each other at once, which is the most.

    Raises:
        ValueError: outside 0 to about 5 bar gauge.
    """
    # A chord of this rising, concave curve lies below it; the widest gap between rows is 0.0003.
    return _between(_FLASH, _absolute(working_pressure_bar)) + 0.0003


def _absolute(working_pressure_bar: float) -> float:
    if not 0 <= working_pressure_bar <= HIGHEST_WORKING_PRESSURE_BAR:
        raise ValueError(f"no liquid density for {working_pressure_bar} bar gauge")
    return working_pressure_bar + ATMOSPHERE_BAR


def cylinder_share(gauge_psi: float, full_psi: float) -> float:
    """Return how much of a full cylinder's gas is left at a gauge pressure, as a real gas [0 to 1].

    Both pressures in psi gauge, at the same temperature; counted down to 0 gauge.

    Raises:
        ValueError: above 4,500 psi.
    """
    if full_psi > HIGHEST_CYLINDER_PRESSURE_PSI:
        raise ValueError(f"no gas data above {HIGHEST_CYLINDER_PRESSURE_PSI} psi")
    left = gauge_psi * _between(_GAS_OVER_IDEAL, gauge_psi)
    return left / (full_psi * _between(_GAS_OVER_IDEAL, full_psi))


@dataclass(frozen=True)
class Fact:
    """A physical fact with its source, for the clinician's copy."""

    name: str
    value: float | str
    unit: str
    source: str


FACTS = (
    Fact(
        "Reference state of gas litres",
        "70 °F (21.1 °C), 1 atm",
        "",
        "choice; the trade's figures agree for it",
    ),
    Fact(
        "Gas from 1 kg of oxygen",
        GAS_LITRES_PER_KG,
        "L/kg",
        "Schmidt and Wagner equation of state by CoolProp 8.0.0: 754.07; rounded down",
    ),
    Fact("Standard atmosphere", ATMOSPHERE_BAR, "bar", "definition (ISO 2533)"),
    Fact("Normal boiling point", BOILING_POINT_C, "°C", "CoolProp 8.0.0: -182.96 °C (-297.33 °F)"),
    Fact(
        "Density of the liquid at 0, 20 and 50 psi",
        ", ".join(f"{liquid_density_kg_per_l(bar):.4f}" for bar in (0, 1.37895, 3.44738)),
        "kg/L",
        "CoolProp 8.0.0, saturated liquid; interpolated between 15 rows and lowered by 0.06 %",
    ),
    Fact(
        "Density of the vapour above it at 0, 20 and 50 psi",
        ", ".join(f"{vapour_density_kg_per_l(bar):.5f}" for bar in (0, 1.37895, 3.44738)),
        "kg/L",
        "CoolProp 8.0.0, saturated vapour; interpolated between 15 rows and raised by 0.04 %",
    ),
    Fact(
        "Share of the liquid that turns to gas when it is let down to 1 atm from 20 and 50 psi",
        ", ".join(f"{flash_share(bar):.4f}" for bar in (1.37895, 3.44738)),
        "",
        "CoolProp 8.0.0, enthalpies of the saturated liquid; interpolated between 15 rows and raised by 0.0003",
    ),
    Fact(
        "Gas in a full cylinder beside an ideal gas at 1000 and 2000 psi",
        ", ".join(f"{_between(_GAS_OVER_IDEAL, psi):.4f}" for psi in (1000.0, 2000.0)),
        "",
        "CoolProp 8.0.0, 70 °F, down to 0 gauge; the lower of this curve and the trade's rule counts",
    ),
    Fact(
        "Largest home reservoir",
        LARGEST_HOME_RESERVOIR_L,
        "L of liquid",
        'International Fire Code 2009, ch. 40, definition of "home care container"',
    ),
    Fact(
        "Largest portable",
        LARGEST_PORTABLE_L,
        "L of liquid",
        'International Fire Code 2009, ch. 40, definition of "ambulatory container"',
    ),
)
"""What the figures rest on."""
