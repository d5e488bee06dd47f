"""Values held against a model, part by part, so that one look tells all that is wrong or missing."""

import datetime as dt
from collections.abc import Iterator
from functools import cache
from typing import Annotated, Any, get_args

from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from companion.case.fields import CLINICIAN, CaseField, Part, fields_of, nearest_in
from companion.errors import Fault, did_you_mean, harmless
from companion.facts.units import Amount


def checked_parts(model: type[Part], raw: dict[str, Any], region: str | None) -> tuple[dict[str, Any], list[Fault]]:
    """Return the parts that are right by themselves, and what is wrong with the others.

    Args:
        model: of what the values are: a case, a kit, a clinic.
        raw: plain values, as TOML, JSON or a form give them.
        region: where they were written; it says in which order people there write a date.
    """
    parts: dict[str, Any] = {}
    faults: list[Fault] = []
    for name, field in fields_of(model).items():
        if name not in raw:
            if field.required:
                faults.append(_missing(model, (name,)))
            else:
                parts[name] = model.model_fields[field.attribute].get_default()
            continue
        value, found = _checked(model, name, raw[name], region)
        faults += found
        # A part that was refused is left out, so that nobody takes it for one that is not there.
        if value is not None or not found:
            parts[name] = value
    faults += [_unknown(model, (name,), raw[name]) for name in raw if name not in fields_of(model)]
    return parts, faults


def field_value(model: type[Part], path: str, value: Any, region: str | None) -> Any:
    """Return the value of one field as it is read; None where it has none that is right.

    Args:
        model: of what the field is, such as a case.
        path: where it stands, as the messages spell it: ``portable[1].boil_off``.
        value: what was given for it.
        region: as for ``checked_parts``.
    """
    names = [step.partition("[")[0] for step in path.split(".")]
    field: CaseField | None = None
    for name in names:
        field = fields_of(model).get(name)
        if field is None:
            return None
        owner, model = model, field.part or model
    assert field is not None
    try:
        return _reader(owner, field.attribute).validate_python(value, context={"region": region})
    except ValidationError:
        return None


def _checked(model: type[Part], name: str, value: Any, region: str | None) -> tuple[Any, list[Fault]]:
    """Validate one top-level part; a list keeps its right items, so that they can still be compared."""
    field = fields_of(model)[name]
    if not isinstance(value, list) or not field.many:
        return _validated(model, _reader(model, field.attribute), value, (name,), field.part, region)
    kept: list[Any] = []
    faults: list[Fault] = []
    for place, item in enumerate(value):
        checked, found = _validated(
            model, _item_reader(model, field.attribute), item, (name, place), field.part, region
        )
        kept.append(checked)
        faults += found
    if not faults:
        return _validated(model, _reader(model, field.attribute), kept, (name,), None, region)
    return kept, faults


@cache
def _reader(model: type[Part], attribute: str) -> TypeAdapter[Any]:
    field = model.model_fields[attribute]
    # The bounds of a list stand beside its type.
    annotation: Any = Annotated[field.annotation, *field.metadata] if field.metadata else field.annotation
    return TypeAdapter(annotation)


@cache
def _item_reader(model: type[Part], attribute: str) -> TypeAdapter[Any]:
    return TypeAdapter(get_args(model.model_fields[attribute].annotation)[0])


def _validated(
    model: type[Part],
    reader: TypeAdapter[Any],
    value: Any,
    at: tuple[str | int, ...],
    part: type[Part] | None,
    region: str | None,
) -> tuple[Any, list[Fault]]:
    try:
        return reader.validate_python(value, context={"region": region}), []
    except ValidationError as error:
        faults = [_fault(model, at, detail) for detail in error.errors(include_url=False)]
    lacking = list(_lacking(model, part, value, at)) if part else []
    told = {(fault.where, fault.problem) for fault in lacking}
    return None, [fault for fault in faults if (fault.where, fault.problem) not in told] + lacking


def _lacking(model: type[Part], part: type[Part], value: Any, at: tuple[str | int, ...]) -> Iterator[Fault]:
    """Yield what a part lacks as a whole: with a wrong field in it, nothing else would say so."""
    if not isinstance(value, dict):
        return
    right, ask = _told(model, at)
    for problem in part.lacks(value):
        yield Fault(_spelled(at), _shown(value), problem, right, ask, absent=True)
    for name, field in fields_of(part).items():
        if field.part is not None and name in value:
            yield from _lacking(model, field.part, value[name], (*at, name))


PROBLEMS = {
    # Pydantic's kind of error -> our words; the rest is said in the words of the check that failed.
    "int_type": "not a whole number",
    "int_parsing": "not a whole number",
    "int_from_float": "not a whole number",
    "float_type": "not a number",
    "decimal_type": "not a number",
    "decimal_parsing": "not a number",
    "bool_type": "neither true nor false",
    "bool_parsing": "neither true nor false",
    "string_type": "not text in quotes",
    "string_too_short": "it is empty or too short",
    "string_too_long": "it is too long",
    "string_pattern_mismatch": "not written as it must be",
    "literal_error": "not one of the words that it may be",
    "date_type": "not a date",
    "date_parsing": "not a date",
    "dict_type": "not a table of fields",
    "model_type": "not a table of fields",
    "model_attributes_type": "not a table of fields",
    "list_type": "not a list; write it in double brackets, [[ ]]",
    "too_long": "more than there can be: at most {max_length}",
    "too_short": "fewer than there must be: at least {min_length}",
    "greater_than_equal": "too small: at least {ge}",
    "less_than_equal": "too large: at most {le}",
    "finite_number": "not a number",
    "decimal_max_digits": "too many digits: at most {max_digits}",
    "decimal_max_places": "too many digits after the point: at most {decimal_places}",
}


def _fault(model: type[Part], at: tuple[str | int, ...], detail: ErrorDetails) -> Fault:
    path = (*at, *(step for step in detail["loc"] if step != "[key]"))
    if detail["type"] == "missing":
        return _missing(model, path)
    if detail["type"] == "extra_forbidden":
        return _unknown(model, path, detail["input"])
    if detail["type"] == "value_error":
        problem = str(detail["ctx"]["error"])
    elif detail["type"] in PROBLEMS:
        problem = PROBLEMS[detail["type"]].format(**detail.get("ctx", {}))
    else:
        problem = detail["msg"]
    right, ask = _told(model, path)
    return Fault(_spelled(path), _shown(detail["input"]), problem, right, ask)


def _missing(model: type[Part], path: tuple[str | int, ...]) -> Fault:
    right, ask = _told(model, path)
    return Fault(_spelled(path), "nothing", "it is missing", right, ask, absent=True)


def _unknown(model: type[Part], path: tuple[str | int, ...], value: Any) -> Fault:
    owner = nearest_in(model, path[:-1])
    known = fields_of(model if owner is None or owner.part is None else owner.part)
    meant = did_you_mean(str(path[-1]), known)
    problem = f"there is no such field here.{meant}" if meant else "there is no such field here"
    return Fault(_spelled(path), _shown(value), problem, f"one of: {', '.join(known)}", CLINICIAN)


def _spelled(path: tuple[str | int, ...]) -> str:
    """Write a path as a person counts: the first reservoir is reservoir[1]."""
    text = ""
    for step in path:
        text += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if text else step
    return harmless(_cut(text, 120))


def _shown(value: Any) -> str:
    if isinstance(value, dict):
        text = "fields: " + (", ".join(map(str, value)) or "none")
    elif isinstance(value, list):
        text = f"a list of {len(value)}"
    elif isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, dt.date | dt.time):
        text = value.isoformat()
    else:
        text = repr(value)
    return harmless(_cut(text, 60))


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 3] + "..."


def _told(model: type[Part], path: tuple[str | int, ...]) -> tuple[str, str]:
    """Return what would be right and whom to ask."""
    field = nearest_in(model, path)
    return (field.right, field.ask) if field else ("fields as in the examples folder", CLINICIAN)


def said_back(model: type[Part], raw: dict[str, Any], region: str | None) -> Iterator[tuple[str, str, str]]:
    """Yield path, text and meaning of each value that was read as something that is not what was typed."""
    for path, text in _texts(model, raw, ""):
        value = field_value(model, path, text, region)
        read = value.isoformat() if isinstance(value, dt.date) else str(value)
        if isinstance(value, Amount | dt.date | str) and "".join(read.split()) != "".join(str(text).split()):
            yield path, harmless(_cut(str(text), 60)), read


def _texts(part: type[Part], raw: Any, within: str) -> Iterator[tuple[str, Any]]:
    """Yield the path of each text and number that a part says for a field of one value."""
    for name, field in fields_of(part).items():
        value = raw.get(name) if isinstance(raw, dict) else None
        path = f"{within}{name}"
        if field.part is not None and field.many and isinstance(value, list):
            for place, item in enumerate(value, start=1):
                yield from _texts(field.part, item, f"{path}[{place}].")
        elif field.part is not None:
            yield from _texts(field.part, value, f"{path}.")
        elif not field.many and isinstance(value, str | int | float) and not isinstance(value, bool):
            yield path, value
