"""Whether the aircraft does what it says: its return, its hold, its descent, its lean, its mode."""
