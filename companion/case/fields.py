"""How a field of a case is described: what is right, who knows it, and whether it travels in the link."""

from typing import Any

from pydantic import BaseModel, ConfigDict, Field

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


class Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, validate_default=False)
