"""Getting home: what it costs, when to turn back, what the aircraft will do by itself."""
