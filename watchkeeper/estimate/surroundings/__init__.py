"""Airspace, ground, daylight: what is around the flight."""
