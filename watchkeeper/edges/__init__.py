"""Where the program meets the world: sources, files, sound, network, terminal."""
