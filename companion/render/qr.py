"""A QR code as a drawing of whole modules, coarse enough for a poor printer and an old phone."""

from functools import lru_cache
from itertools import groupby
from typing import Any

import zxingcpp
from markupsafe import escape

from companion.guide.document import Drawing
from companion.language.said import Said

MODULE = 3
"""Side of one module [pt]: 1.06 mm. ISO/IEC 18004 sets no size; 0.8 mm is our floor, and 3 pt are
3 whole pixels of a 72 dpi picture of the page."""

WIDEST = 480
"""Widest code [pt]: the width of the text. Only a case with a dozen containers comes near it."""


@lru_cache(maxsize=256)
def qr_drawing(content: str, label: Said) -> Drawing:
    """Return the code of a text as a drawing with its label for people who cannot see it."""
    # Level M mends 15 % of the code. Around it stand the four modules of white that ISO/IEC 18004 asks for.
    code = zxingcpp.create_barcode(content, zxingcpp.BarcodeFormat.QRCode, ec_level="M")
    image: Any = code.to_image()  # its types do not say that it is a buffer
    size, modules = image.shape[0], bytes(image)
    module = min(MODULE, WIDEST // size)
    side = size * module
    dark = ""
    for y in range(size):
        x = 0
        for light, run in groupby(modules[y * size : (y + 1) * size]):
            length = len(list(run))
            if not light:
                dark += f"M{x * module} {y * module}h{length * module}v{module}h-{length * module}z"
            x += length
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{side}" height="{side}" viewBox="0 0 {side} {side}" '
        f'role="img" aria-label="{escape(str(label))}" shape-rendering="crispEdges">'
        f'<rect width="{side}" height="{side}" fill="#fff"/><path d="{dark}" fill="#000"/></svg>'
    )
    return Drawing("code", svg, label, side, side)
