"""Outputs and motors, as last told."""

from __future__ import annotations


class Motors:
    """Of one power-up."""
