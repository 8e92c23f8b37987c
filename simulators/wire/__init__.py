"""MAVLink of the simulated aircraft: packing, protocols, sockets. Nothing here knows how an aircraft flies."""
