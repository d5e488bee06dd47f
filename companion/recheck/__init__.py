"""Holds a guide that was made before against what this program computes today."""

from companion.recheck.paper import RecheckError
from companion.recheck.verdict import Verdict, recheck

__all__ = ["RecheckError", "Verdict", "recheck"]
