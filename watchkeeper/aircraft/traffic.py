"""Others in the air, as receivers tell of them."""

from __future__ import annotations


class Traffic:
    """What was last told of each."""
