"""From a FHIR R4 bundle to as much of a case as it says. What it does not say is missing, never guessed.

FHIR has no agreed words for an oxygen order by activity, or for a reservoir. So the fields of a case are the
codes of ``FIELDS``, in ``DeviceRequest.parameter`` and ``Device.property``; everything else is read from where FHIR
itself puts it.
"""

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from companion.case.bundle import bundle_bytes, bundle_of
from companion.case.delivery import WEEKDAYS
from companion.case.fields import CLINICIAN, SUPPLIER, nearest_in
from companion.case.model import Case
from companion.case.read import case_from_dict
from companion.errors import CaseError, Fault

if TYPE_CHECKING:
    from fhir.resources.R4B.bundle import Bundle

FIELDS = "urn:x-companion:case-field"
"""The code system whose codes are fields: ``rest.flow`` in an order, ``boil_off`` on a device."""

KINDS = "urn:x-companion:equipment"
"""The code system of ``Device.type``: reservoir, portable, cylinder, conserver."""

UCUM = "http://unitsofmeasure.org"
CONTACT_ROLES = "http://terminology.hl7.org/CodeSystem/v2-0131"

UNITS = {
    # UCUM code -> our spelling
    "L/min": "L/min",
    "l/min": "L/min",
    "mL/min": "mL/min",
    "ml/min": "mL/min",
    "kg": "kg",
    "g": "g",
    "[lb_av]": "lb",
    "[oz_av]": "oz",
    "L": "L",
    "l": "L",
    "mL": "mL",
    "ml": "mL",
    "[psi]": "psi",
    "bar": "bar",
    "kPa": "kPa",
    "MPa": "MPa",
    "min": "min",
    "s": "s",
    "h": "h",
    "d": "days",
    "kg/d": "kg/day",
    "[lb_av]/d": "lb/day",
    "g/h": "g/h",
    "g/d": "g/day",
    "L/[psi]": "L/psi",
    "l/[psi]": "L/psi",
    "L/bar": "L/bar",
    "l/bar": "L/bar",
    "m": "m",
    "cm": "cm",
    "[ft_i]": "ft",
    "[in_i]": "in",
    "[cft_i]": "ft³",
    "m3": "m³",
    # Numbers without a unit of ours
    "1": "",
    "%": "",
    "/min": "",
}

_KINDS = ("reservoir", "portable", "cylinder", "conserver")

_DEEPEST = 4  # points in the name of a field; a code that nests deeper is none of ours

_ORDERS = ("order", "original-order", "instance-order", "filler-order")


def read_bundle(path: Path, day: dt.date | None = None) -> tuple[dict[str, Any], list[Fault]]:
    """Return the fields that a bundle says, and what is missing, wrong or unlikely for a whole case.

    Raises:
        CaseError: it cannot be read, or is no FHIR R4 bundle.
        SettingError: the FHIR library is not installed.
    """
    raw, faults = bundle_values(bundle_bytes(path), str(path))
    try:
        case_from_dict(raw, str(path), day, path.parent)
    except CaseError as error:
        told = {fault.where for fault in faults}
        return raw, faults + [fault for fault in error.faults if fault.where not in told]
    return raw, faults


def bundle_values(data: bytes, source: str) -> tuple[dict[str, Any], list[Fault]]:
    """Return the fields that a bundle says, unchecked, and what in it cannot be used.

    Raises:
        CaseError: it is no FHIR R4 bundle.
        SettingError: the FHIR library is not installed.
    """
    reader = _Reader(bundle_of(data, source))
    return reader.raw, reader.faults


class _Reader:
    """Goes through a bundle once and gathers fields and faults."""

    def __init__(self, bundle: "Bundle") -> None:
        self.raw: dict[str, Any] = {}
        self.faults: list[Fault] = []
        self._within = ""
        """The container whose own table the fields are put into, such as ``portable[1].``."""
        self._bundle = bundle
        self._by_address: dict[str, Any] = {
            address: entry.resource
            for entry in bundle.entry or []
            if entry.resource is not None
            for address in (entry.fullUrl, f"{entry.resource.get_resource_type()}/{entry.resource.id}")
            if address
        }
        self._patient()
        self._orders()
        self._devices()
        self._organization()
        self._supplier()
        self._office_hours()

    def _all(self, kind: str) -> list[Any]:
        return [
            entry.resource
            for entry in self._bundle.entry or []
            if entry.resource is not None and entry.resource.get_resource_type() == kind
        ]

    def _wrong(self, path: str, read: str, problem: str, right: str) -> None:
        where = f"{self._within}{path}"
        field = nearest_in(Case, [step.partition("[")[0] for step in where.split(".")])
        self.faults.append(Fault(where, read, problem, right, field.ask if field else CLINICIAN))

    def _put(self, path: str, value: object) -> None:
        """Set a field; a second, different value for it is a fault and the field is left out."""
        *way, last = path.split(".", 2) if path.startswith("conserver.bolus.") else path.split(".", _DEEPEST)
        table = self.raw
        for step in way:
            table = table.setdefault(step, {})
            if not isinstance(table, dict):
                problem = "this field has no parts of its own"
                self._wrong(path[:60], str(value)[:60], problem, f"one value for {step[:60]}")
                return
        if table.setdefault(last, value) != value:
            self._wrong(path, f"{table[last]} and {value}", "the bundle says two different things", "one of them")
            del table[last]

    # ── who ─────────────────────────────────────────────────────────────────────────────────────

    def _patient(self) -> None:
        patients = self._all("Patient")
        if len(patients) > 1:
            self._wrong("patient", f"{len(patients)} patients", "a guide is for one", "a bundle of one patient")
            return
        for patient in patients:
            name = next((name for name in patient.name or [] if name.use in (None, "official", "usual")), None)
            if name is not None:
                self._put("patient.name", _full_name(name))
            languages = [
                coding.code
                for found in patient.communication or []
                if found.preferred
                for coding in found.language.coding or []
                if coding.system == "urn:ietf:bcp:47" and coding.code
            ]
            if languages:
                self._put("patient.languages", languages[:1])
            for address in patient.address or []:
                if address.use in (None, "home") and address.country and len(address.country) == 2:
                    self._put("clinic.region", address.country.upper())
            self._next_of_kin(patient.contact or [])
        allergies = [words for one in self._all("AllergyIntolerance") if _stands(one) for words in _words(one.code)]
        if allergies:
            self._put("patient.allergies", ", ".join(allergies))

    def _next_of_kin(self, contacts: list[Any]) -> None:
        for contact in contacts:
            if any("N" in _codes(relation, CONTACT_ROLES) for relation in contact.relationship or []):
                if contact.name is not None:
                    self._put("patient.next_of_kin.name", _full_name(contact.name))
                for number in _phones(contact.telecom)[:1]:
                    self._put("patient.next_of_kin.phone", number)

    def _organization(self) -> None:
        performers = {request.performer.reference for request in self._active("DeviceRequest") if request.performer}
        found = [self._by_address[address] for address in performers if address in self._by_address]
        found = [one for one in found if one.get_resource_type() == "Organization"]
        if not found:
            every, owners = self._all("Organization"), self._owners()
            found = [one for one in every if one not in owners] or every
        if len(found) > 1:
            read = ", ".join(str(one.name) for one in found)
            right = "one Organization, or the one that performs the order"
            self._wrong("clinic.name", read, "the bundle names several", right)
            return
        for organization in found:
            if organization.name:
                self._put("clinic.name", organization.name)
            for number in _phones(organization.telecom)[:1]:
                self._put("clinic.phone_day", number)
            for contact in organization.contact or []:
                if "phone_night" in _codes(contact.purpose, FIELDS):
                    for number in _phones(contact.telecom):
                        self._put("clinic.phone_night", number)

    def _owners(self) -> list[Any]:
        """Return the houses to which the devices belong."""
        addresses = {device.owner.reference for device in self._all("Device") if device.owner is not None}
        return [self._by_address[address] for address in sorted(addresses) if address in self._by_address]

    def _supplier(self) -> None:
        for owner in self._owners():
            if owner.get_resource_type() == "Organization" and owner.name != self.raw.get("clinic", {}).get("name"):
                self._put("clinic.supplier.name", owner.name)
                for number in _phones(owner.telecom)[:1]:
                    self._put("clinic.supplier.phone_day", number)

    def _office_hours(self) -> None:
        for service in self._all("HealthcareService"):
            for open_ in service.availableTime or []:
                days = [day for day in WEEKDAYS if day[:3] in (open_.daysOfWeek or [])]
                self._put("clinic.office_hours.weekdays", days)
                for name, time in (("from", open_.availableStartTime), ("to", open_.availableEndTime)):
                    if time is not None:
                        self._put(f"clinic.office_hours.{name}", f"{time:%H:%M}")

    # ── what was ordered ────────────────────────────────────────────────────────────────────────

    def _active(self, kind: str) -> list[Any]:
        """Return the orders that stand; a revoked or finished one, a proposal or a plan is no order."""
        return [one for one in self._all(kind) if one.status == "active" and one.intent in _ORDERS]

    def _orders(self) -> None:
        for request in self._active("DeviceRequest"):
            for parameter in request.parameter or []:
                for code in _codes(parameter.code, FIELDS):
                    self._value(f"prescription.{code}", parameter)
            self._signed(request)
        for request in self._active("ServiceRequest"):
            if not request.doNotPerform and _speaks_of_oxygen(request.code):
                self._signed(request)

    def _signed(self, request: Any) -> None:
        name = self._requester(request.requester)
        if name:
            self._put("prescription.prescriber", name)
        reasons = [words for reason in request.reasonCode or [] for words in _words(reason)]
        if reasons:
            self._put("prescription.diagnosis", ", ".join(reasons))
        period = request.occurrencePeriod
        if period is not None and period.end is not None:
            end: dt.datetime | dt.date = period.end
            self._put("prescription.review_date", end.date() if isinstance(end, dt.datetime) else end)

    def _requester(self, reference: Any) -> str | None:
        if reference is None:
            return None
        who = self._by_address.get(reference.reference)
        for name in getattr(who, "name", None) or []:
            return _full_name(name, *(name.prefix or []))
        shown: str | None = reference.display
        return shown

    # ── what equipment there is ─────────────────────────────────────────────────────────────────

    def _devices(self) -> None:
        for device in self._all("Device"):
            if device.status not in (None, "active"):
                continue
            for kind in _codes(device.type, KINDS):
                if kind not in _KINDS:
                    problem = "no kind of equipment that is read here"
                    right = f"one of: {', '.join(_KINDS)}"
                    self.faults.append(Fault("the bundle", f"Device.type {kind[:60]}", problem, right, SUPPLIER))
                elif kind == "conserver":
                    self._device(device, kind)
                else:
                    items = self.raw.setdefault(kind, [])
                    items.append({})
                    self._device(device, f"{kind}[{len(items)}]")

    def _device(self, device: Any, at: str) -> None:
        outer = self.raw
        if at != "conserver":
            # Fields of a container are put into its own table, and told with its place before them.
            self.raw, self._within = outer[at.partition("[")[0]][-1], f"{at}."
        for name in device.deviceName or []:
            if name.type == "user-friendly-name" and at != "conserver":
                self._put("name", name.name)
        for part in device.property or []:
            for code in _codes(part.type, FIELDS):
                self._value(f"conserver.{code}" if at == "conserver" else code, part)
        self.raw, self._within = outer, ""

    # ── values ──────────────────────────────────────────────────────────────────────────────────

    def _value(self, path: str, part: Any) -> None:
        for quantity in _listed(part.valueQuantity):
            self._quantity(path, quantity)
        for concept in _listed(getattr(part, "valueCodeableConcept", None) or getattr(part, "valueCode", None)):
            word = concept.text or next((coding.code for coding in concept.coding or []), None)
            if word:
                self._put(path, {"true": True, "false": False}.get(word, word))
        if getattr(part, "valueBoolean", None) is not None:
            self._put(path, part.valueBoolean)
        span = getattr(part, "valueRange", None)
        if span is not None:
            self._quantity(f"{path}.low", span.low)
            self._quantity(f"{path}.high", span.high)

    def _quantity(self, path: str, quantity: Any) -> None:
        if quantity is None or quantity.value is None:
            return
        shown = f"{quantity.value} {quantity.code or quantity.unit or ''}".strip()
        problem = None
        if quantity.system != UCUM or quantity.code is None:
            problem = "its unit is not given as a UCUM code"
        elif quantity.code not in UNITS:
            problem = "that unit is not read here"
        elif getattr(quantity, "comparator", None):
            problem = f"'{quantity.comparator}' is no amount"
        if problem:
            self._wrong(path, shown, problem, f"one of: {', '.join(UNITS)}")
            return
        unit = UNITS[quantity.code]
        number = f"{quantity.value:f}"
        self._put(path, f"{number} {unit}" if unit else _bare(quantity.value))


def _bare(value: Decimal) -> int | float:
    return int(value) if value == value.to_integral_value() else float(value)


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [] if value is None else [value]


def _codes(concept: Any, system: str) -> Iterator[str]:
    for coding in (concept.coding if concept is not None else None) or []:
        if coding.system == system and coding.code:
            yield coding.code


def _phones(telecom: Any) -> list[str]:
    return [point.value for point in telecom or [] if point.system == "phone" and point.value]


def _stands(allergy: Any) -> bool:
    codes = {
        coding.code
        for status in (allergy.clinicalStatus, allergy.verificationStatus)
        for coding in (status.coding if status is not None else None) or []
    }
    return not codes & {"inactive", "resolved", "refuted", "entered-in-error"}


def _full_name(name: Any, *before: str) -> str:
    return name.text or " ".join([*before, *(name.given or []), *([name.family] if name.family else [])])


def _words(concept: Any) -> list[str]:
    """Return what a concept says to people: its text, or what its codes are called."""
    if concept is None:
        return []
    return [concept.text] if concept.text else [one.display for one in concept.coding or [] if one.display][:1]


def _speaks_of_oxygen(concept: Any) -> bool:
    words = [concept.text, *(coding.display for coding in concept.coding or [])] if concept is not None else []
    return any("oxygen" in word.casefold() for word in words if word)
