"""Whether the parts of a case fit each other: order and equipment, portable and reservoir, setting and device."""

from collections.abc import Iterator
from typing import Any

from companion.case.equipment import Conserver, Cylinder, Portable, Reservoir
from companion.case.fields import CLINICIAN, CONSERVER_SUPPLIER, PRESCRIBER, SUPPLIER
from companion.case.prescription import Prescription
from companion.errors import Fault
from companion.facts.units import SPELLED

_KINDS: tuple[tuple[str, type[Reservoir | Portable | Cylinder]], ...] = (
    ("reservoir", Reservoir),
    ("portable", Portable),
    ("cylinder", Cylinder),
)


def misfits(parts: dict[str, Any]) -> list[Fault]:
    """Return what does not fit, looking only at the parts that are right by themselves (the others are None)."""
    containers = [
        (f"{kind}[{place}]", container)
        for kind, model in _KINDS
        for place, container in enumerate(parts.get(kind) or [], start=1)
        if isinstance(container, model)
    ]
    prescription = parts.get("prescription")
    faults: list[Fault] = []
    if isinstance(prescription, Prescription):
        faults += _flows_over_the_limit(prescription, containers)
        faults += _pulses_without_data(
            prescription, containers, parts.get("conserver"), conserver_readable="conserver" in parts
        )
        faults += _dates(prescription, parts.get("issued"))
        faults += _hours_on_a_portable(prescription, parts.get("portable"))
        faults += _filling(prescription, parts.get("portable"), parts.get("cylinder"))
        faults += _at_night(prescription)
        faults += _finger_meter(prescription)
    faults += _units_of_a_gauge(containers)
    faults += _couplings(containers, parts.get("reservoir"))
    return faults


def _flows_over_the_limit(
    prescription: Prescription, containers: list[tuple[str, Reservoir | Portable | Cylinder]]
) -> Iterator[Fault]:
    for activity, order in prescription.orders().items():
        for where, container in containers:
            if order.flow and order.flow.to("flow") > container.max_flow.to("flow"):
                yield Fault(
                    f"{where}.max_flow",
                    str(container.max_flow),
                    f"it cannot give the {order.flow} ordered for {activity}",
                    "equipment that gives the ordered flow, or the highest flow from its data sheet",
                    f"{PRESCRIBER} and {SUPPLIER}",
                )


def _pulses_without_data(
    prescription: Prescription,
    containers: list[tuple[str, Reservoir | Portable | Cylinder]],
    conserver: object,
    *,
    conserver_readable: bool,
) -> Iterator[Fault]:
    """Refuse a pulse setting whose device data are missing, and a container that can give no ordered kind."""
    if conserver is None and not conserver_readable:
        return
    bolus = conserver.bolus if isinstance(conserver, Conserver) else {}
    on_conserver = [isinstance(c, Portable | Cylinder) and c.conserver for _, c in containers]
    for activity, order in prescription.orders().items():
        setting = order.pulse_setting
        if setting is not None and any(on_conserver) and setting not in bolus:
            yield Fault(
                f"conserver.bolus.{setting}",
                "nothing",
                f"setting {setting} is ordered for {activity}, and a setting is not a flow: without the device's "
                "own data no time can be given",
                f"the mL of one pulse at setting {setting}; or take 'pulse_setting' out and order a 'flow'",
                CONSERVER_SUPPLIER,
            )
        if setting is not None and not any(on_conserver) and containers:
            yield Fault(
                f"prescription.{activity}.pulse_setting",
                setting,
                "a pulse setting is ordered, but no portable or cylinder has a conserver",
                "'conserver = true' on the container that has it, or a 'flow' instead",
                f"{PRESCRIBER} and {SUPPLIER}",
            )
        if setting is not None and order.flow is None and any(on_conserver):
            yield Fault(
                f"prescription.{activity}.flow",
                "nothing",
                f"only pulses are ordered for {activity}, but a container without a conserver gives none, and a "
                "conserver can fail on the way",
                "the steady flow for these cases, such as '2 L/min'",
                PRESCRIBER,
            )


def _units_of_a_gauge(containers: list[tuple[str, Reservoir | Portable | Cylinder]]) -> Iterator[Fault]:
    """Refuse a cylinder whose pressures are in two units: its gauge has one, and a patient compares figures alone."""
    for where, container in containers:
        if not isinstance(container, Cylinder):
            continue
        unit = SPELLED[container.full_pressure.unit]
        for name in ("reserve", "gauge_division"):
            amount = getattr(container, name)
            if SPELLED[amount.unit] != unit:
                yield Fault(
                    f"{where}.{name}",
                    str(amount),
                    f"'full_pressure' is in {unit}, and a gauge is read in one unit",
                    f"the figure in {unit}, as it stands on the gauge of this cylinder",
                    SUPPLIER,
                )


def _couplings(
    containers: list[tuple[str, Reservoir | Portable | Cylinder]], reservoirs: list[Any] | None
) -> Iterator[Fault]:
    known = [r for r in reservoirs or [] if isinstance(r, Reservoir)]
    if not known or len(known) < len(reservoirs or []):
        return
    families = sorted({reservoir.coupling.casefold() for reservoir in known})
    for where, container in containers:
        if isinstance(container, Portable) and container.coupling.casefold() not in families:
            yield Fault(
                f"{where}.coupling",
                repr(container.coupling),
                "it does not fit the reservoir and must never be forced",
                f"the family of the reservoir's coupling: {' or '.join(families)}",
                SUPPLIER,
            )


def _dates(prescription: Prescription, issued: Any) -> Iterator[Fault]:
    if issued is not None and prescription.review_date <= issued:
        yield Fault(
            "prescription.review_date",
            str(prescription.review_date),
            f"it is not after the date of the guide, {issued}",
            "the day by which the order is reviewed next",
            PRESCRIBER,
        )


def _hours_on_a_portable(prescription: Prescription, portables: list[Any] | None) -> Iterator[Fault]:
    for activity, order in prescription.orders().items():
        if order.on_portable is not None and order.on_portable.to("time") > 0 and portables == []:
            yield Fault(
                f"prescription.{activity}.on_portable",
                str(order.on_portable),
                "no portable is in the case",
                "a [[portable]], or leave 'on_portable' out",
                CLINICIAN,
            )


def _filling(prescription: Prescription, portables: list[Any] | None, cylinders: list[Any] | None) -> Iterator[Fault]:
    """Refuse a way to get oxygen during a fill for which the equipment is not there."""
    way = prescription.while_filling
    problem = None
    if way is not None and portables == []:
        problem = "no portable is in the case, so nothing is filled"
    elif way == "cylinder" and cylinders == []:
        problem = "no cylinder is in the case"
    elif way == "other portable" and len(portables or ()) == 1:
        problem = "only one portable is in the case"
    if problem:
        yield Fault(
            "prescription.while_filling",
            repr(way),
            problem,
            "a way for which the equipment is in the case, or leave 'while_filling' out",
            PRESCRIBER,
        )


def _at_night(prescription: Prescription) -> Iterator[Fault]:
    activity = prescription.at_night
    if activity is not None and activity not in prescription.orders():
        yield Fault(
            "prescription.at_night",
            repr(activity),
            f"nothing is ordered for {activity}",
            "an activity that is ordered, or leave 'at_night' out",
            PRESCRIBER,
        )


def _finger_meter(prescription: Prescription) -> Iterator[Fault]:
    """Refuse readings without the range that is wanted, or above it: the patient would call while all is as ordered."""
    marks, target = prescription.finger_meter, prescription.target_saturation
    if marks is None:
        return
    if target is None:
        yield Fault(
            "prescription.target_saturation",
            "nothing",
            "'finger_meter' says when to call, and the guide must also say which readings are as they should be",
            "the range that the prescriber wants, such as { low = 88, high = 92 }; or take 'finger_meter' out",
            PRESCRIBER,
        )
        return
    for name, mark in (("call_below", marks.call_below), ("emergency_below", marks.emergency_below)):
        if mark is not None and mark > target.low:
            yield Fault(
                f"prescription.finger_meter.{name}",
                str(mark),
                f"'target_saturation' begins at {target.low}, so readings that are wanted would count as too low",
                f"{target.low} or less, as the prescriber says",
                PRESCRIBER,
            )
