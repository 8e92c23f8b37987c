"""The control link as the aircraft tells of it, and orders seen on their way up."""

from __future__ import annotations


class Control:
    """Of one power-up."""
