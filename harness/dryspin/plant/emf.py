"""Shape of the back-EMF: e_x = k w f_x(theta), with V 120 and W 240 electrical degrees behind U.

The same three factors give the torque, T = k sum f_x i_x, so power is conserved whatever the shape.
"""

from __future__ import annotations

import math
from collections.abc import Callable

# theta (rad electrical) -> (f_u, f_v, f_w)
Shape = Callable[[float], tuple[float, float, float]]

SECTOR_RAD = math.pi / 3.0
FIRST_BORDER_RAD = math.pi / 6.0
# A corner this close (in sectors; an EMF error of twice that) counts as passed.
ON_CORNER = 2e-6


def trapezoid(theta_rad: float) -> tuple[float, float, float]:
    """Trapezoid with a flat top of 120 degrees: f_u rises through 0 at 0, is +1 from 30 to 150.

    Its corners lie at 30 + 60 n degrees, where ideal six-step commutation takes place; between two
    corners two phases are flat and the third, the one that six-step leaves open, ramps linearly.
    """
    sectors = (theta_rad - FIRST_BORDER_RAD) / SECTOR_RAD
    sector = math.floor(sectors)
    ramp = 1.0 - 2.0 * (sectors - sector)
    match sector % 6:
        case 0:
            return 1.0, -1.0, ramp
        case 1:
            return 1.0, -ramp, -1.0
        case 2:
            return ramp, 1.0, -1.0
        case 3:
            return -1.0, 1.0, -ramp
        case 4:
            return -1.0, ramp, 1.0
        case _:
            return -ramp, -1.0, 1.0


def sine(theta_rad: float) -> tuple[float, float, float]:
    """Sinusoidal EMF of the same peak."""
    third = 2.0 * math.pi / 3.0
    return math.sin(theta_rad), math.sin(theta_rad - third), math.sin(theta_rad + third)


def time_to_corner_s(theta_rad: float, dtheta_rad_s: float) -> float:
    """Time (s) to the next corner of the trapezoid at this angular velocity; infinite at rest.

    No integration step should straddle a corner. An angle on a corner looks ahead to the next one.
    """
    if dtheta_rad_s == 0.0:
        return math.inf
    sectors = (theta_rad - FIRST_BORDER_RAD) / SECTOR_RAD
    if dtheta_rad_s > 0.0:
        to_go = math.floor(sectors + ON_CORNER) + 1.0 - sectors
    else:
        to_go = math.ceil(sectors - ON_CORNER) - 1.0 - sectors
    return to_go * SECTOR_RAD / dtheta_rad_s
