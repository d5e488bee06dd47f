"""For whoever writes or translates: catalogues and the readability of the English."""
