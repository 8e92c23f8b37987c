"""What speaks against a take-off."""
