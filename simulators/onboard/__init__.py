"""The flight controller of the simulated aircraft: what it senses, how it flies, and its own fail-safes."""
