"""The ground: hills, ridges and buildings, and what of the sky they hide."""
