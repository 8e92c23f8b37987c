"""The catalogue of readings, in parts by what they tell of."""
