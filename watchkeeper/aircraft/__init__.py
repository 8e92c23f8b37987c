"""One aircraft: the catalogue of its readings, and how messages become readings."""
