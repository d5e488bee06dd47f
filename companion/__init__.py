"""Home guides for liquid oxygen: a case goes in, a plan comes out, and the plan is printed.

The road is ``companion.case`` (what was ordered), ``companion.reckoning.plan`` (what was computed),
``companion.guide`` (what is said, as a document of blocks), ``companion.render`` (its HTML, PDF and text).
``companion.cli`` walks it.
"""

__version__ = "0.2.0"
