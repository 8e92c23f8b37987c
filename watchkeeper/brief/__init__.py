"""The brief before a flight: today's settings and limits, and what the aircraft has."""
