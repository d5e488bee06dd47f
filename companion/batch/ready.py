"""What every worker of a caseload needs, read once: by the process from which they are forked, when it imports this."""

from companion.batch import one  # noqa: F401  # with all that a case goes through
from companion.facts.units import registry
from companion.guide.pictures import read_drawings

registry()
read_drawings()
