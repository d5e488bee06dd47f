"""What the case has, by which a section, a block or a sheet stands or is left out.

Nothing is computed here and nothing is said: each answer is yes or no, from the case and the plan.
"""

from dataclasses import dataclass

from companion.case.model import Case
from companion.reckoning import choices
from companion.reckoning.plan import Plan


@dataclass(frozen=True)
class Has:
    """What the case holds, so that a section says nothing about equipment that is not there."""

    portable: bool
    weights: bool
    """Whether the patient weighs the portable, because the gauge cannot be seen."""
    cylinder: bool
    humidifier: bool
    water_bottle: bool
    pulse: bool
    mask: bool
    catheter: bool
    other_source: bool
    """Whether the home has anything to breathe from beside its one reservoir."""
    spare_portable: bool
    """Whether a portable is all that there is beside the reservoir."""
    exertion: bool
    liters: bool
    """Whether every flow is ordered in liters a minute, none in milliliters."""
    fire_number: bool
    saturation_target: bool
    hanging_gauge: bool
    night_phone: bool
    trolley: bool
    call_mark: bool
    round: bool
    example: bool
    top_fill: bool
    """Whether every portable joins its reservoir from above; side_fill: from the side."""
    side_fill: bool
    two_reservoirs: bool
    meter_gap: bool
    """Whether a call on the same day is enough, between the low end of the range and what needs a call at once."""
    night_as_asleep: bool
    unlike_night: bool
    """Whether walking and sleep are set unlike, so that a walk at night needs an answer."""
    backup_short: bool
    """Whether the back-up runs out before a delivery must have come."""
    night_advice: bool
    """Whether sleep is ordered, and nobody may take it for granted that a portable lasts it."""
    short_night_on_portable: bool
    """Whether sleep on a portable is ordered, and a full one does not last it."""
    portable_sleep_time: bool
    one_cylinder: bool
    short_night_on_cylinder: bool
    """Whether sleep is ordered, and one full cylinder does not last it."""
    cylinder_changes: bool
    """Whether there is more than one cylinder, and a time that one lasts."""


def has(case: Case, made: Plan) -> Has:
    """Return what the case holds, and what of it the plan finds too little."""
    on_portable, on_cylinder = made.nights_of("portable"), made.nights_of("cylinder")
    orders = case.prescription.orders()
    settings = case.clinic.settings()
    target, meter = case.prescription.target_saturation, case.prescription.finger_meter
    pulses = any(item.conserver for item in case.portable) or any(item.conserver for item in case.cylinder)
    return Has(
        portable=bool(case.portable),
        weights=bool(case.portable) and case.patient.weighs_portable,
        cylinder=bool(case.cylinder),
        humidifier=case.prescription.humidifier,
        water_bottle=any(item.water_bottle for item in case.reservoir),
        pulse=pulses and any(order.pulse_setting for order in orders.values()),
        mask=case.prescription.interface == "mask",
        catheter=case.prescription.interface == "transtracheal catheter",
        other_source=len(made.stores) > 1,
        spare_portable=bool(case.portable) and not case.cylinder,
        exertion="exertion" in orders,
        liters=all(order.flow.unit == "liter / minute" for order in orders.values() if order.flow),
        fire_number=settings.fire_number is not None,
        saturation_target=target is not None,
        hanging_gauge=any(item.gauge.kind == "hanging" for item in case.portable),
        night_phone=case.clinic.phone_night is not None,
        trolley=any(item.carrier == "trolley" for item in case.portable),
        call_mark=made.call.mark is not None,
        round=case.clinic.delivery.round is not None,
        example=len(made.trips) == 1 and choices.example_trip(made.trips) is not None,
        top_fill=couplings(case) == {"top fill"},
        side_fill=couplings(case) == {"side fill"},
        two_reservoirs=len(case.reservoir) > 1,
        meter_gap=target is not None and meter is not None and (meter.call_below or target.low) < target.low,
        night_as_asleep=case.prescription.at_night == "sleep",
        unlike_night="sleep" in orders and len(set(made.at_home.values())) > 1,
        backup_short=bool(made.backup_min) and min(made.backup_min.values()) < made.wait_min,
        night_advice=bool(on_portable)
        and (
            all(night.asleep_min is None for night in on_portable)
            or any(night.asleep_min is not None and not night.lasts for night in on_portable)
        ),
        short_night_on_portable=any(night.asleep_min is not None and not night.lasts for night in on_portable),
        portable_sleep_time=choices.shortest_night(on_portable) > 0,
        one_cylinder=made.cylinder_count == 1,
        short_night_on_cylinder=any(not night.lasts for night in on_cylinder),
        cylinder_changes=len(case.cylinder) == 1 and made.backup_changes > 0 and made.backup_one_min > 0,
    )


def couplings(case: Case) -> set[str]:
    """Return the families of couplings in the home."""
    return {item.coupling.casefold() for item in (*case.reservoir, *case.portable)}
