"""What the aircraft's own monitoring says of its sensors and filters."""

from __future__ import annotations


class Health:
    """Of one power-up."""
