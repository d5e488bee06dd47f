"""How a page becomes a file: PDF and the drawing of a QR code."""
