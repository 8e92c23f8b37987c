"""Wind and drag, out of how the aircraft leans and moves."""
