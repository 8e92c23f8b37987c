"""Where the energy went, in J: counted step by step, so that what leaves the packs can be held against it."""

from __future__ import annotations


class Ledger:
    """Sums of one flight. Work is counted on the airframe, at the mean speed of each step."""

    __slots__ = (
        "avionics_j", "axial_j", "braking_j", "controller_j", "drag_j", "impact_j", "induced_j", "line_j",
        "no_load_j", "profile_j", "rotor_drag_j", "short_j", "spin_j", "thrust_j", "weight_j", "wind_j",
        "winding_j",
    )  # fmt: skip

    def __init__(self) -> None:
        self.avionics_j = 0.0
        self.controller_j = 0.0
        self.winding_j = 0.0
        self.no_load_j = 0.0
        self.braking_j = 0.0
        """Heat of a controller that slows its motor; comes out of the rotors, not of the packs."""
        self.spin_j = 0.0
        """Energy that rotors hold because they turn."""
        self.induced_j = 0.0
        self.profile_j = 0.0
        self.axial_j = 0.0
        """Thrust times speed through the air along the shaft."""
        self.rotor_drag_j = 0.0
        """Force across the discs times speed across them: work the flight does on the rotors."""
        self.thrust_j = 0.0
        """Work of all rotor forces on the airframe, over the ground."""
        self.drag_j = 0.0
        """Work of the air on the body, negative when it brakes."""
        self.line_j = 0.0
        """Work of a load's line on the airframe."""
        self.weight_j = 0.0
        self.wind_j = 0.0
        """What the wind does on the rotors: their forces times the motion of the air."""
        self.short_j = 0.0
        """Asked of packs that could not give it, or of a bus without any."""
        self.impact_j = 0.0
        """Kinetic energy taken by the ground, by a line that tightens, and by a load that is let go."""

    def electrical_j(self) -> float:
        """Return all that the bus has given: heat of the drive, avionics, and what the rotors got."""
        drive = self.controller_j + self.winding_j + self.no_load_j + self.braking_j
        return self.avionics_j + drive + self.shaft_j() - self.short_j

    def shaft_j(self) -> float:
        """Return what rotors took: their spin, what they left in the air, and their work through it."""
        return self.spin_j + self.induced_j + self.profile_j + self.axial_j - self.rotor_drag_j
