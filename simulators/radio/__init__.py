"""The radio link of a simulated aircraft: how much of its signal arrives, what is lost, when the rest comes."""
