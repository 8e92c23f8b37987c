"""Ground stations that are heard: who they are, and when they were last heard."""

from __future__ import annotations


class Stations:
    """Stations by MAVLink system and component."""
