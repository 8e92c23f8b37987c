"""What a simulated multirotor is made of, and the one invented airframe that is always there."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from simulators.physics.blade import Blade


@dataclass(frozen=True, slots=True)
class Motor:
    """A brushless motor and its controller.

    `constant_v_s` is back voltage by speed (V s/rad), the same as torque by current (N m/A). The controller's
    loss has a part by the square of the current (resistance of its switches) and a part by voltage and current
    (switching).
    """

    constant_v_s: float = 0.0955
    winding_ohm: float = 0.045
    no_load_a: float = 1.1
    inertia_kg_m2: float = 0.0028
    lag_s: float = 0.07
    switch_ohm: float = 0.004
    switching: float = 0.018


@dataclass(frozen=True, slots=True)
class Airframe:
    """Masses, rotors and drags. The drag areas are products of coefficient and area."""

    mass_kg: float = 18.0
    rotors: int = 6
    arm_m: float = 0.85
    blade: Blade = field(
        default_factory=lambda: Blade(
            0.38, pitch_m=0.26, root_chord_m=0.075, tip_chord_m=0.04, drag_least=0.02, drag_rise=1.0
        )
    )
    rotor_height_m: float = 0.6
    motor: Motor = field(default_factory=Motor)
    interference: float = 1.12
    """Induced power by that of rotors alone: neighbours, arms and the frame in the wash (common practice)."""
    drag_level_m2: float = 0.42
    drag_upright_m2: float = 0.75
    tumbling_m2: float = 0.9
    tilt_lag_s: float = 0.18
    tilt_rate_rad_s: float = math.radians(90.0)
    yaw_rate_rad_s: float = math.radians(60.0)
    avionics_w: float = 55.0


@dataclass(frozen=True, slots=True)
class Load:
    """What is carried: on the frame, or on a line of `line_m` under it. Drag area in m2."""

    mass_kg: float = 0.0
    line_m: float = 0.0
    drag_m2: float = 0.0
