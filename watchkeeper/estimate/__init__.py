"""Readings worked out from other readings. Pure, each formula with its source."""
