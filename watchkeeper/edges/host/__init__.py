"""What of the host computer the voice depends on: its sound and that it stays awake."""
