"""Callouts to sound: attention sounds, the synthesiser in its own process, the player."""
