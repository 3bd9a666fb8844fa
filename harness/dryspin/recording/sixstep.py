"""The six-step table: which pair is driven in which sector of the rotor, and what the open phase does.

Step n (0..5) drives forward while the rotor is in [30 + 60 n, 90 + 60 n) electrical degrees, with
the EMF of U flat and positive from 30 to 150 degrees and V, W lagging by 120, 240:

    step  high low open   open phase crosses, forward at    reverse at
    0     U    V   W      60, falling                       240, rising
    1     U    W   V      120, rising                       300, falling
    2     V    W   U      180, falling                      0, rising
    3     V    U   W      240, rising                       60, falling
    4     W    U   V      300, falling                      120, rising
    5     W    V   U      0, rising                         180, falling

Reverse rotation takes the steps in falling order, each half a turn away: step n then belongs to
[210 + 60 n, 270 + 60 n) degrees. There the EMF has the other sign for the same angle, so the polarity
of a step's crossing is the other one too, while a rotor angle has the same polarity both ways.
"""

import math
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from dryspin.recording.signals import Leg

NO_STEP: Final = -1

DRIVEN: Final = ((0, 1), (0, 2), (1, 2), (1, 0), (2, 0), (2, 1))
"""(high leg, low leg) of each step."""

OPEN_LEG: Final = np.array([3 - high - low for high, low in DRIVEN])
"""Leg that floats in each step."""

FORWARD: Final = 1
REVERSE: Final = -1


def _codes() -> NDArray[np.int8]:
    table = np.full(64, NO_STEP, np.int8)
    for step, (high, low) in enumerate(DRIVEN):
        for driver in (Leg.HIGH, Leg.CHOPPED):
            table[(driver << 2 * high) | (Leg.LOW << 2 * low)] = step
    return table


STEP_OF_CODE: Final = _codes()
"""Step of a leg code (see `leg_code`), NO_STEP where it is not one high or chopped, one low, one open."""


def leg_code(legs: NDArray[np.int64]) -> NDArray[np.int64]:
    """One number 0..63 for the commands of the legs U, V, W in the columns of `legs`."""
    return legs[:, 0] | legs[:, 1] << 2 | legs[:, 2] << 4


def rises(step: Any, direction: Any) -> Any:
    """Whether the open phase of `step` crosses the neutral upwards when turning in `direction` (+1, -1)."""
    return (np.asarray(step) % 2 == 1) == (np.asarray(direction) > 0)


def ideal_start_rad(step: Any, direction: Any) -> Any:
    """Electrical angle at which `step` ideally begins when turning in `direction` (+1, -1), within 2 pi."""
    degrees = 60.0 * np.asarray(step) + np.where(np.asarray(direction) > 0, 30.0, 270.0)
    return np.radians(degrees % 360.0)


def ideal_crossing_rad(step: Any, direction: Any) -> Any:
    """Electrical angle at which the open phase of `step` crosses: 30 degrees after its beginning."""
    return ideal_start_rad(step, direction) + np.asarray(direction) * math.pi / 6.0


def lateness_rad(theta_rad: Any, ideal_rad: Any, direction: Any) -> Any:
    """How far the rotor is past `ideal_rad` in `direction`, in [-pi, pi); negative is early."""
    ahead = (np.asarray(theta_rad) - ideal_rad) * np.asarray(direction)
    return (ahead + math.pi) % (2.0 * math.pi) - math.pi
