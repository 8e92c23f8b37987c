"""Simulated aircraft and faults. Imports link encoding and units from watchkeeper, never its estimates."""
