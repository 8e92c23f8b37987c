"""A whole simulated aircraft: its physics, its flight controller and its MAVLink, under one clock."""
