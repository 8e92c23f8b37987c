"""Satellite navigation of the simulated aircraft: orbits, geometry, and a receiver that can be disturbed."""
