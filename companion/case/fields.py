"""How a field of a case is described: what is right, who knows it, and whether it travels in the link."""

import datetime as dt
import re
from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import cache
from types import NoneType, UnionType
from typing import Any, Self, Union, get_args, get_origin

from annotated_types import MaxLen
from pydantic import BaseModel, ConfigDict, Field, model_validator
from pydantic.fields import FieldInfo

SUPPLIER = "the equipment supplier (it stands on the container's data sheet)"
CONSERVER_SUPPLIER = "the supplier of the conserver (its data sheet gives mL per pulse for each setting)"
PRESCRIBER = "the prescriber"
CLINIC = "whoever keeps the clinic's own settings"
CLINICIAN = "the person who hands over the equipment"


def asked(description: str, ask: str, example: object, *, in_link: bool = True, **rules: Any) -> Any:
    """Describe a field: what is right, who knows it, and whether it travels in the link.

    What could tell who the patient is never travels.
    """
    return Field(
        description=description,
        examples=[example],
        json_schema_extra={"x-ask": ask, "x-in-link": in_link},
        **rules,
    )


def typed(text: str, kind: Any) -> Any:
    """Return a text of a form or of a table's cell as TOML would give it, for a field of some type.

    A text that does not fit stays one, and the check says so.
    """
    if kind is bool:
        said = {"true": True, "yes": True, "false": False, "no": False}
        return said.get(text.casefold(), text)  # a spreadsheet writes TRUE
    if kind is int:
        return int(text) if re.fullmatch(r"-?[0-9]{1,9}", text) else text
    try:
        if kind is dt.date:
            return dt.date.fromisoformat(text)
        if kind is Decimal and len(text) < 20:
            return Decimal(text)
    except (ValueError, InvalidOperation):
        return text
    return text


class Part(BaseModel):
    """What the case and each of its parts have in common."""

    # Strict: false is no number of days, and "0" no answer to yes or no.
    model_config = ConfigDict(extra="forbid", frozen=True, validate_default=False, strict=True)

    @classmethod
    def lacks(cls, given: Container[str]) -> Iterator[str]:  # noqa: ARG003 - for parts that lack nothing
        """Yield what is missing though each field by itself may be left out.

        Asked of the names of the fields that are given, so that it is said in one breath with what is wrong in them.
        """
        yield from ()

    @model_validator(mode="after")
    def _lacks_nothing(self) -> Self:
        given = {name for name in type(self).model_fields if getattr(self, name) is not None}
        for problem in self.lacks(given):
            raise ValueError(problem)
        return self


@dataclass(frozen=True)
class CaseField:
    """One field as its model describes it: all that a reader, the form, a schema or a copy on paper must know."""

    name: str
    """In a case file, where a word of Python such as ``from`` may stand."""
    attribute: str
    """In the model."""
    right: str
    """What is right, in a sentence."""
    ask: str
    """Who knows it."""
    in_link: bool
    required: bool
    many: bool
    """Whether it is a list."""
    most: int | None
    """How many items it may have, where it is a list with a bound."""
    kind: Any
    """Its type, or that of its items, without "or None" and without bounds."""

    @property
    def part(self) -> type[Part] | None:
        """Return the model of what is in it, where it holds fields itself."""
        return self.kind if isinstance(self.kind, type) and issubclass(self.kind, Part) else None


@cache
def fields_of(model: type[BaseModel]) -> Mapping[str, CaseField]:
    """Return the fields of a part by their names in a case file."""
    return {field.alias or name: _described(name, field) for name, field in model.model_fields.items()}


def _described(attribute: str, field: FieldInfo) -> CaseField:
    kind = _bare(field.annotation)
    many = get_origin(kind) is list
    extra = field.json_schema_extra
    assert isinstance(extra, dict), f"{attribute} is not described by 'asked'"
    return CaseField(
        name=field.alias or attribute,
        attribute=attribute,
        right=field.description or "",
        ask=str(extra["x-ask"]),
        in_link=extra["x-in-link"] is True,
        required=field.is_required(),
        many=many,
        most=next((rule.max_length for rule in field.metadata if isinstance(rule, MaxLen)), None) if many else None,
        kind=_bare(get_args(kind)[0]) if many else kind,
    )


def nearest_in(model: type[Part], path: Iterable[str | int]) -> CaseField | None:
    """Return the description of the field at a path, or of the nearest above it; None where there is none.

    Places in lists are passed over: ``("portable", 0, "boil_off")``.
    """
    found: CaseField | None = None
    for step in path:
        if isinstance(step, int):
            continue
        field = fields_of(model).get(step)
        if field is None:
            break
        found = field
        if field.part is None:
            break
        model = field.part
    return found


def like(model: type[Part], name: str, **rules: Any) -> Any:
    """Describe a field as another model does, so that each description stands once; here it may be left out."""
    field = fields_of(model)[name]
    (example,) = model.model_fields[field.attribute].examples or [None]
    return asked(field.right, field.ask, example, in_link=False, **{"default": None, **rules})


def _bare(kind: Any) -> Any:
    """Return a type without "or None" and without its bounds."""
    if get_origin(kind) in (Union, UnionType):
        kind = next(part for part in get_args(kind) if part is not NoneType)
    return get_args(kind)[0] if hasattr(kind, "__metadata__") else kind
