"""Whether the aircraft knows where it is."""
