"""How a field of a case is described: what is right, who knows it, and whether it travels in the link."""

import datetime as dt
import re
from decimal import Decimal, InvalidOperation
from typing import Any

from pydantic import BaseModel, ConfigDict, Field
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
        return {"true": True, "false": False}.get(text.casefold(), text)  # a spreadsheet writes TRUE
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


def fields_of(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Return the fields of a part by their names in a case file, where a word of Python such as ``from`` may stand."""
    return {field.alias or name: field for name, field in model.model_fields.items()}
