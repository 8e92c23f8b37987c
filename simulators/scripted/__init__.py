"""Telemetry by script: faults at known times, for trying the watch and testing it. No physics."""
