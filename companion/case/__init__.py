"""What the clinician enters: the model of a case, the checks between its parts, and its readers."""

from companion.case.model import Case
from companion.case.read import read_case

__all__ = ["Case", "read_case"]
