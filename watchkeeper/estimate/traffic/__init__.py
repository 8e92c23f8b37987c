"""Others in the air, and how close they come."""
