"""How many homes a test draws.

It stands alone, because it must be read after the profile that is asked for, and ``conftest.py`` is read before.
"""

from hypothesis import settings

FEW = settings(max_examples=settings().max_examples // 3)
"""Of the profile: a whole home costs a hundred times what a number does."""
