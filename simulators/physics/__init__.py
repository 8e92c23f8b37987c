"""Air and iron of a simulated aircraft: forces, heat and charge. Nothing of MAVLink."""
