"""Water that turns the propeller: of a boat that drifts or is pushed."""

import math

from dryspin.drive import Drive
from dryspin.scenario import Trace

STREAM_SHARE = 0.25
"""Of the ideal speed kv V, at which it does."""

SLOW_SHARE = 0.18
"""Of the same: little more than the slowest closed loop, where a turn that is to be seen takes its time."""

ONSET_S = 0.05

FLICKED_MS = 5.0
"""Frames of a fast receiver (200 Hz, common practice, no source): several go by in one turn of the rotor."""


def stream(drive: Drive, from_s: float, way: int, share: float = STREAM_SHARE) -> Trace:
    """Torque of it as a load, from `from_s` on: propeller and worst friction at `share` of the ideal speed.

    `way` 0 is forward, 1 reverse; what pushes forward is below zero.
    """
    ideal_rad_s = drive.motor.kv_rpm_per_v.nominal * drive.supply.v_v.nominal * math.pi / 30.0
    push_nm = drive.load.coulomb_nm.high + drive.load.kq_nm_s2.nominal * (share * ideal_rad_s) ** 2
    begins = ((0.0, 0.0), (round(from_s, 4), 0.0))
    return (*begins, (round(from_s + ONSET_S, 4), round(push_nm if way else -push_nm, 6)))
