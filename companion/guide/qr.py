"""A QR code as a drawing of whole modules, coarse enough for a poor printer and an old phone."""

from functools import lru_cache

import qrcode
from markupsafe import Markup
from qrcode.constants import ERROR_CORRECT_M

MODULE = 3
"""Side of one module [pt]: 1.06 mm. ISO/IEC 18004 sets no size; 0.8 mm is our floor, and 3 pt are
3 whole pixels of a 72 dpi picture of the page."""

WIDEST = 480
"""Widest code [pt]: the width of the text. Only a case with a dozen containers comes near it."""

QUIET = 4
"""Modules of white around the code (ISO/IEC 18004)."""


@lru_cache(maxsize=256)
def qr_svg(content: str, label: str) -> Markup:
    """Return the code of a text as an ``<svg>`` element with its label for people who cannot see it."""
    code = qrcode.QRCode(error_correction=ERROR_CORRECT_M, border=QUIET)
    # Runs of capitals and digits are stored in the compact mode, the rest as bytes.
    code.add_data(content, optimize=20)
    code.make(fit=True)
    matrix = code.get_matrix()
    module = min(MODULE, WIDEST // len(matrix))
    side = len(matrix) * module
    dark = "".join(
        f"M{x * module} {y * module}h{module}v{module}h-{module}z"
        for y, row in enumerate(matrix)
        for x, filled in enumerate(row)
        if filled
    )
    return Markup(
        '<svg xmlns="http://www.w3.org/2000/svg" width="{0}" height="{0}" viewBox="0 0 {0} {0}" role="img" '
        'aria-label="{1}" shape-rendering="crispEdges"><rect width="{0}" height="{0}" fill="#fff"/>'
        '<path d="{2}" fill="#000"/></svg>'
    ).format(side, label, Markup(dark))
