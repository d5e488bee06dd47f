"""The containers in the home and the conserver, as their data sheets describe them."""

from collections.abc import Container, Iterator
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from companion.case.amounts import (
    CylinderPressure,
    Dose,
    FillTime,
    Flow,
    GasVolume,
    GaugeDivision,
    Line,
    LiquidVolume,
    Mass,
    MassLoss,
    ReservePressure,
    ReservoirMass,
    TradeFactor,
    WaterVolume,
    Word,
    WorkingPressure,
)
from companion.case.fields import CLINICIAN, CONSERVER_SUPPLIER, SUPPLIER, Part, asked
from companion.facts import oxygen
from companion.facts.contents import gas_contents_l, liquid_contents_kg
from companion.facts.units import Amount

_LIKE_CONTENTS = 1.2
"""How far two figures for one cylinder may differ: published contents of one size do by up to 16 %."""


def _in(kind: str, amount: Amount | None) -> float | None:
    return None if amount is None else amount.to(kind)


class Gauge(Part):
    """The gauge that shows how much liquid is left."""

    kind: Literal["float", "hanging", "pressure difference", "electronic"] = asked(
        "'float', 'hanging' (read while it hangs from its strap), 'pressure difference' or 'electronic'",
        SUPPLIER,
        "float",
    )
    divisions: int = asked(
        "how many equal parts its marks make between empty and full, 4 for quarters", SUPPLIER, 4, ge=2, le=20
    )


class _LiquidContainer(Part):
    # The most oxygen beside the empty mass that a container plausibly holds. Typical ones hold 1.4 (reservoir)
    # and 0.3 to 0.6 (portable); a full mass typed for the oxygen is 1 more than the true share.
    _most_oxygen_to_empty: ClassVar[float] = 1.8
    name: Line | None = asked(
        "what the clinic calls this container; stays out of the link",
        CLINICIAN,
        "By the bed",
        in_link=False,
        default=None,
    )
    liquid_volume: LiquidVolume | None = asked(
        "litres of liquid oxygen when full, with 'working_pressure'; or give 'oxygen_mass'",
        SUPPLIER,
        "31 L",
        default=None,
    )
    working_pressure: WorkingPressure | None = asked(
        "the pressure at which it works, such as '20 psi'; needed with 'liquid_volume'; left out, the highest of any "
        "home container is counted, which errs short",
        SUPPLIER,
        "20 psi",
        default=None,
    )
    empty_mass: Mass = asked("what the empty container weighs, such as '51 lb'", SUPPLIER, "51 lb")
    boil_off: MassLoss = asked(
        "what evaporates a day while it stands unused, such as '1.5 lb/day'", SUPPLIER, "1.5 lb/day"
    )
    economiser: bool | None = asked(
        "true if the gas that boils off is breathed first; left out, it is counted as lost beside the flow",
        SUPPLIER,
        True,
        default=None,
    )
    max_flow: Flow = asked("the highest flow it can give, such as '6 L/min'", SUPPLIER, "6 L/min")
    gauge: Gauge = asked("{ kind = 'float', divisions = 4 }", SUPPLIER, {"kind": "float", "divisions": 4})
    coupling: Word = asked(
        "the family of its fill coupling, in the supplier's words; a portable and its reservoir must agree",
        SUPPLIER,
        "top fill",
    )

    oxygen_mass: ReservoirMass | None = asked(
        "the mass of the oxygen alone when full, such as '73 lb'; or give 'liquid_volume' and 'working_pressure'",
        SUPPLIER,
        "73 lb",
        default=None,
    )

    @classmethod
    def lacks(cls, given: Container[str]) -> Iterator[str]:
        """Yield that its content is missing, or the pressure with it."""
        if "liquid_volume" in given and "working_pressure" not in given:
            yield "'liquid_volume' needs 'working_pressure': a litre under pressure is lighter"
        elif "liquid_volume" not in given and "oxygen_mass" not in given:
            yield "its content is missing; give 'oxygen_mass', or 'liquid_volume' and 'working_pressure'"

    @model_validator(mode="after")
    def _holds_what_it_says(self) -> Self:
        by_field = self.contents_kg()
        stated, derived = by_field.get("oxygen_mass"), by_field.get("liquid_volume")
        if stated is not None and derived is not None and not 0.9 < stated / derived < 1.1:
            raise ValueError(
                f"'oxygen_mass' is {stated:.2f} kg, but 'liquid_volume' makes {derived:.2f} kg; one of them is wrong"
            )
        content = min(by_field.values())
        empty = self.empty_mass.to("mass")
        if content > self._most_oxygen_to_empty * empty:
            raise ValueError(
                f"{content:.1f} kg of oxygen in a container of {empty:.1f} kg is too much; "
                "is it the mass of the full container, or kg where lb was meant?"
            )
        if not 0.002 < self.boil_off.to("mass loss") / content < 2.5:
            raise ValueError(
                f"a boil-off of {self.boil_off} does not fit {content:.2f} kg of oxygen; look at both units"
            )
        return self

    def contents_kg(self) -> dict[str, float]:
        """Return the oxygen in the full container by each field that gives it [kg]."""
        return liquid_contents_kg(
            _in("mass", self.oxygen_mass),
            _in("liquid volume", self.liquid_volume),
            _in("pressure", self.working_pressure),
        )


class Reservoir(_LiquidContainer):
    """The stationary container of liquid oxygen that stays at home."""

    water_bottle: bool = asked("true if a bottle collects the water that drips from it", SUPPLIER, True)


class Portable(_LiquidContainer):
    """The container of liquid oxygen that is filled from the reservoir and carried."""

    _most_oxygen_to_empty: ClassVar[float] = 1.0

    carrier: Literal["bag", "trolley"] = asked("'bag' or 'trolley'", CLINICIAN, "bag")
    conserver: bool = asked(
        "true if it gives oxygen in pulses by the conserver of this case", SUPPLIER, False, default=False
    )
    cold_fills_per_day: int = asked(
        "how many times a day it is filled while still cold from the last fill", CLINICIAN, 1, ge=0, le=12
    )
    warm_fills_per_day: int = asked("how many times a day it is filled when warm", CLINICIAN, 0, ge=0, le=12)
    fill_valve: Literal["lever across", "lever along", "clockwise", "counter-clockwise"] | None = asked(
        "which way the fill valve closes: 'lever across' or 'lever along' the line of flow, 'clockwise' or "
        "'counter-clockwise'",
        SUPPLIER,
        "lever across",
        in_link=False,
        default=None,
    )
    fill_time: FillTime | None = asked("how long filling it takes, such as '3 min'", SUPPLIER, "3 min", default=None)

    @model_validator(mode="after")
    def _can_be_carried(self) -> Self:
        largest = oxygen.LARGEST_PORTABLE_L
        if self.liquid_volume is not None:
            litres = self.liquid_volume.to("liquid volume")
        else:
            assert self.oxygen_mass is not None
            litres = self.oxygen_mass.to("mass") / oxygen.liquid_density_kg_per_l(0)
        if litres > largest:
            raise ValueError(
                f"a portable holds at most {largest} L of liquid oxygen (1.7 kg, 3.8 lb); is it litres of gas, or lb?"
            )
        return self


class Cylinder(Part):
    """A cylinder of compressed oxygen gas, kept as back-up. A letter alone does not fix its content."""

    name: Line | None = asked(
        "what the clinic calls this cylinder; stays out of the link",
        CLINICIAN,
        "Hall",
        in_link=False,
        default=None,
    )
    count: int = asked("how many such cylinders are in the home", CLINICIAN, 2, ge=1, le=20)
    full_pressure: CylinderPressure = asked(
        "the pressure when full, such as '2000 psi' or '137 bar'", SUPPLIER, "2000 psi"
    )
    content: GasVolume | None = asked(
        "litres of gas at 'full_pressure', such as '623 L'; or 'water_volume'; or 'factor'; several are held against "
        "each other, and the least counts",
        SUPPLIER,
        "623 L",
        default=None,
    )
    water_volume: WaterVolume | None = asked("its water volume, such as '4.7 L'", SUPPLIER, "4.7 L", default=None)
    factor: TradeFactor | None = asked("its trade factor, such as '0.28 L/psi'", SUPPLIER, "0.28 L/psi", default=None)
    reserve: ReservePressure = asked(
        "the pressure at which to change to the next one, such as '200 psi'", SUPPLIER, "200 psi"
    )
    gauge_division: GaugeDivision = asked(
        "the pressure between two marks of its gauge, such as '100 psi'", SUPPLIER, "100 psi"
    )
    max_flow: Flow = asked("the highest flow of its regulator, such as '15 L/min'", SUPPLIER, "15 L/min")
    conserver: bool = asked(
        "true if it gives oxygen in pulses by the conserver of this case", SUPPLIER, False, default=False
    )

    @classmethod
    def lacks(cls, given: Container[str]) -> Iterator[str]:
        """Yield that its content is missing."""
        if not any(name in given for name in ("content", "water_volume", "factor")):
            yield "its content is missing; give 'content', 'water_volume' or 'factor'"

    @model_validator(mode="after")
    def _holds_what_it_says(self) -> Self:
        litres = self.contents_l()
        least, most = min(litres, key=lambda name: litres[name]), max(litres, key=lambda name: litres[name])
        if litres[most] > _LIKE_CONTENTS * litres[least]:
            raise ValueError(
                f"'{most}' makes {litres[most]:.0f} L of gas, but '{least}' {litres[least]:.0f} L; one of them is wrong"
            )
        if self.reserve.to("pressure") >= self.full_pressure.to("pressure") / 2:
            raise ValueError("'reserve' is half of 'full_pressure' or more; are they in the same unit?")
        return self

    def contents_l(self) -> dict[str, float]:
        """Return the gas in one full cylinder by each field that gives it [L at 70 °F and 1 atm]."""
        return gas_contents_l(
            self.full_pressure.to("pressure"),
            _in("gas volume", self.content),
            _in("gas volume", self.water_volume),
            _in("trade factor", self.factor),
        )


class Conserver(Part):
    """A device that gives oxygen only as a breath begins. Its settings mean what its own data say."""

    bolus: dict[Annotated[str, Field(pattern=r"^[0-9]{1,2}(\.5)?$")], Dose] = asked(
        "the bolus of each ordered setting from the device's own data: { '2' = '22.8 mL' }",
        CONSERVER_SUPPLIER,
        {"2": "22.8 mL"},
        min_length=1,
        max_length=12,
    )
