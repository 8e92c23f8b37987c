"""Watchkeeper: a crew member that listens to the telemetry and warns in time.

The flow, and the folder of each step:

bytes -> frames -> messages   link/
-> aircraft (readings)        aircraft/
-> estimates (more readings)  estimate/
-> verdicts                   rules/
-> alerts, callouts           alerts/
all driven by                 engine.py (no input or output, no clock)
what is shown                 picture/
after a flight                debrief/
outlets, sources, files       edges/
the page                      page/
the running watch             daemon.py, cli/
"""

__version__ = "0.1.0"
