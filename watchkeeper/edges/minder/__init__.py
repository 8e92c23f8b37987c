"""A small process of its own that sounds when the watch dies or hangs."""
