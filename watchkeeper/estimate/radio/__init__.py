"""Whether the aircraft is heard, and for how long."""
