"""Shape of the back-EMF: e_x = k_x w f_x(theta), with V 120 and W 240 electrical degrees behind U.

The same three factors give the torque, T = sum k_x f_x i_x, so power is conserved whatever the shape.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from dryspin.plant.parameters import PlantParams

# theta (rad electrical) -> (f_u, f_v, f_w)
Shape = Callable[[float], tuple[float, float, float]]

TURN_RAD = 2.0 * math.pi
SECTOR_RAD = math.pi / 3.0
FIRST_BORDER_RAD = math.pi / 6.0
# A corner this close (in sectors; an EMF error of twice that) counts as passed.
ON_CORNER = 2e-6


class Corners(NamedTuple):
    """Angles at which some phase's shape has a corner: first_rad + n step_rad, for all whole n."""

    first_rad: float
    step_rad: float


SIX_CORNERS = Corners(FIRST_BORDER_RAD, SECTOR_RAD)


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


def table(values: tuple[float, ...]) -> Shape:
    """Shape through `values` of phase U at equal steps over one turn from 0 on, straight between them.

    ValueError for fewer than three values, which no periodic shape can do with.
    """
    n = len(values)
    if n < 3:
        raise ValueError(f"a back-EMF table needs at least 3 values over one turn, got {n}")
    closed = (*values, values[0])
    per_rad = n / TURN_RAD
    third = n / 3.0

    def at(steps: float) -> float:
        steps %= n
        k = min(math.floor(steps), n - 1)  # steps % n may round up to n
        return closed[k] + (steps - k) * (closed[k + 1] - closed[k])

    def shape(theta_rad: float) -> tuple[float, float, float]:
        steps = theta_rad * per_rad
        return at(steps), at(steps - third), at(steps + third)

    return shape


def with_third_harmonic(shape: Shape, h: float) -> Shape:
    """`shape` plus h sin(3 theta): in phase in all three, so it moves the star point and no current."""

    def shaped(theta_rad: float) -> tuple[float, float, float]:
        f_u, f_v, f_w = shape(theta_rad)
        more = h * math.sin(3.0 * theta_rad)
        return f_u + more, f_v + more, f_w + more

    return shaped


def shape_of(params: PlantParams) -> tuple[Shape, Corners | None]:
    """Shape that `params` ask for, and its corners (None where it is smooth).

    ValueError for a name that is none of "trapezoid", "sine", "table", or a table too short.
    """
    shape: Shape
    corners: Corners | None
    match params.shape:
        case "trapezoid":
            shape, corners = trapezoid, SIX_CORNERS
        case "sine":
            shape, corners = sine, None
        case "table":
            shape = table(params.shape_table)
            n = len(params.shape_table)
            # V and W have theirs a third of a turn on, which is a whole number of steps or is not
            corners = Corners(0.0, TURN_RAD / (n if n % 3 == 0 else 3 * n))
        case _:
            raise ValueError(
                f"no back-EMF shape is called {params.shape!r}; use 'trapezoid', 'sine' or 'table'"
            )
    if params.third_harmonic:
        shape = with_third_harmonic(shape, params.third_harmonic)
    return shape, corners


def time_to_corner_s(theta_rad: float, dtheta_rad_s: float, corners: Corners | None = SIX_CORNERS) -> float:
    """Time (s) to the next corner at this angular velocity; infinite at rest, and for a smooth shape.

    No integration step should straddle a corner. An angle on a corner looks ahead to the next one.
    """
    if dtheta_rad_s == 0.0 or corners is None:
        return math.inf
    steps = (theta_rad - corners.first_rad) / corners.step_rad
    if dtheta_rad_s > 0.0:
        to_go = math.floor(steps + ON_CORNER) + 1.0 - steps
    else:
        to_go = math.ceil(steps - ON_CORNER) - 1.0 - steps
    return to_go * corners.step_rad / dtheta_rad_s
