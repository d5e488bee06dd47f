"""Home guides for liquid oxygen: a case goes in, a plan comes out, and the plan is printed.

The road is ``companion.case`` (what was ordered), ``companion.reckoning.plan`` (what was computed),
``companion.guide`` (the page that is read, and its PDF). ``companion.cli`` walks it.
"""

__version__ = "0.1.0"
