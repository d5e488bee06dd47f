"""Home guides for liquid oxygen: a case goes in, a plan comes out, and the plan is printed.

The road is ``companion.case`` (what was ordered), ``companion.reckoning.plan`` (what was computed),
``companion.guide`` (what is said, as a document of blocks), ``companion.render`` (its HTML, PDF and text).
``companion.cli`` walks it, and so can a program, with the names below.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from companion.case import Case, read_case
    from companion.case.read import case_from_dict
    from companion.errors import CaseError, CompanionError
    from companion.language.locale import Locale
    from companion.link.keys import load_keys
    from companion.make import make_set
    from companion.reckoning.plan import Plan, plan

__version__ = "0.2.0"

__all__ = [
    "Case",
    "CaseError",
    "CompanionError",
    "Locale",
    "Plan",
    "__version__",
    "case_from_dict",
    "load_keys",
    "make_set",
    "plan",
    "read_case",
]

_HOMES = {
    "Case": "companion.case",
    "CaseError": "companion.errors",
    "CompanionError": "companion.errors",
    "Locale": "companion.language.locale",
    "Plan": "companion.reckoning.plan",
    "case_from_dict": "companion.case.read",
    "load_keys": "companion.link.keys",
    "make_set": "companion.make",
    "plan": "companion.reckoning.plan",
    "read_case": "companion.case",
}


def __getattr__(name: str) -> Any:
    """Load what a program asks for when it asks, so that ``companion --help`` answers at once."""
    if name not in _HOMES:
        raise AttributeError(f"module 'companion' has no attribute '{name}'")
    return getattr(import_module(_HOMES[name]), name)
