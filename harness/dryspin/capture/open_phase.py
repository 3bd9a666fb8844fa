"""What the open terminal of a step shows: how long its current took to die, and where its EMF crossed.

After a leg opens, a diode holds its terminal beyond a rail until its current is gone (demagnetisation).
Then, in on-time, it stands at half of the bus plus its EMF, whatever the shape of the EMF makes of the
factor; both meet at the crossing (references: ST AN2030 p. 3 for the sine, KVL for the trapezoid). Near
it the EMF is a straight line, which is fitted through the samples.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dryspin.capture.phases import Probes, SeenSteps
from dryspin.recording.sixstep import DRIVEN, OPEN_LEG

Floats = NDArray[np.float64]

NEAR_SHARE: Final = 0.2
"""Of the bus around its half: there an on-time sample cannot be taken for one of off-time, near ground."""

LEAST_FITTED: Final = 4

OUTSIDE_SHARE: Final = 0.2
"""Of a step by which a fitted crossing may lie outside it."""


@dataclass(frozen=True)
class OpenPhase:
    """One value for each step, NaN where the open terminal has no probe or shows none; ns.

    demag_ns     from the step's beginning to the end of the diode's hold
    crossing_ns  moment of the crossing; `crossing_doubt_ns` its standard error
    """

    demag_ns: Floats
    crossing_ns: Floats
    crossing_doubt_ns: Floats


def look_at_open_phase(probes: Probes, steps: SeenSteps) -> OpenPhase:
    """Demagnetisation and crossing of every step whose open terminal is probed."""
    count = len(steps)
    demag, crossing, doubt = (np.full(count, np.nan) for _ in range(3))
    held = {column: probes.beyond(column) for column in range(2)}
    for k in range(count):
        leg = int(OPEN_LEG[steps.step[k]])
        if leg not in probes.legs:
            continue
        column = probes.legs.index(leg)
        start = max(int(np.ceil(steps.start_ns[k] / probes.step_ns)), 0)
        stop = min(int(steps.stop_ns[k] / probes.step_ns), len(probes.volts))
        free = _end_of_hold(held[column], start, stop)
        if free is not None:
            demag[k] = free * probes.step_ns - steps.start_ns[k]
        fitted = _crossing(probes, steps, k, column, start if free is None else free, stop)
        if fitted is not None:
            crossing[k], doubt[k] = fitted
    return OpenPhase(demag, crossing, doubt)


def _end_of_hold(held: NDArray[np.int8], start: int, stop: int) -> int | None:
    """First sample after a diode has let go; None where none held the terminal, or held it throughout."""
    part = held[start : min(start + 3, stop)]
    sides = part[part != 0]
    if not len(sides):
        return None
    begin = start + int(np.argmax(part != 0))
    free = np.flatnonzero(held[begin:stop] != sides[0])
    return begin + int(free[0]) if len(free) else None


def _crossing(
    probes: Probes, steps: SeenSteps, k: int, column: int, free: int, stop: int
) -> tuple[float, float] | None:
    volts = probes.volts[free:stop].astype(np.float64)
    other = probes.legs[1 - column]
    high, _ = DRIVEN[steps.step[k]]
    driven_v = volts[:, 1 - column]
    half_v = driven_v / 2.0 if other == high else (probes.bus_v + driven_v) / 2.0
    emf_v = volts[:, column] - half_v
    near = np.abs(volts[:, column] - probes.bus_v / 2.0) < NEAR_SHARE * probes.bus_v
    if other == high:
        near &= driven_v > 0.8 * probes.bus_v
    at = np.flatnonzero(near)
    if len(at) < LEAST_FITTED:
        return None
    t = (free + at) * probes.step_ns
    middle = float(t.mean())
    x, y = t - middle, emf_v[at]
    spread = float((x * x).sum())
    slope = float((x * y).sum()) / spread
    if slope == 0.0:
        return None
    moment = middle - float(y.mean()) / slope
    rest = y - y.mean() - slope * x
    sigma = float(np.sqrt((rest * rest).sum() / max(len(at) - 2, 1)))
    doubt = sigma / abs(slope) * float(np.sqrt(1.0 / len(at) + (moment - middle) ** 2 / spread))
    slack = OUTSIDE_SHARE * (steps.stop_ns[k] - steps.start_ns[k])
    inside = steps.start_ns[k] - slack <= moment <= steps.stop_ns[k] + slack
    return (moment, doubt) if inside else None
