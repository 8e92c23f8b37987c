"""Constants of the physics."""

from __future__ import annotations

from typing import Final

G_M_S2: Final = 9.80665
"""Standard gravity (ISO 80000-3)."""
