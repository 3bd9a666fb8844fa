"""Six-step patterns from two terminal voltages: what an oscilloscope with two probes can show.

In on-time the leg that is high shows the bus, the low one ground, and the open one half the bus plus
its EMF (or, until its current has died, a diode drop beyond a rail). Two terminals tell the third: the
six patterns of (one high, one low, one open) look different on any two of them. In off-time both driven
legs are low, so nothing is read then, and a step that begins there begins at a time in doubt.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dryspin.drive import Drive
from dryspin.errors import CaptureError
from dryspin.recording import LEG_NAMES
from dryspin.recording.sixstep import DRIVEN, NO_STEP, OPEN_LEG
from dryspin.recording.timeline import Ints, stretches

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

ON_SHARE: Final = 0.15
"""Of the bus: a terminal above it shows that some leg is high."""

BEYOND_SHARE: Final = 0.5
"""Of a diode's drop beyond a rail: a diode conducts."""

OPEN_COST: Final = 0.01
"""An open terminal may stand anywhere: it explains as much as a driven one a tenth of the bus off."""

WORST_COST: Final = 0.04
"""A sample further than 0.2 of the bus from every pattern belongs to none: an edge, or a brake."""

LEAST_SAMPLES: Final = 3
"""A pattern seen in fewer samples in a row is an edge on its way."""

PAUSE_NS: Final = 1e7
"""Steps further apart than 10 ms belong to different drives, as for the monitors."""

MOST_UNSEEN: Final = 2
"""Patterns in a row whose high leg is the third."""

BUS_PERCENTILE: Final = 99.0

BLOCK: Final = 1_000_000
"""Samples looked at at a time."""


@dataclass(frozen=True)
class SeenSteps:
    """Six-step patterns in the order of time, ns from the beginning of the capture.

    step      0..5, see `recording/sixstep.py`
    start_ns  best estimate of each beginning, in doubt by `doubt_ns` either way
    stop_ns   last moment at which the pattern was seen
    gap_ns    before each step, the time in which no pattern was seen
    """

    step: Ints
    start_ns: Floats
    doubt_ns: Floats
    stop_ns: Floats
    gap_ns: Floats

    def __len__(self) -> int:
        return len(self.step)


@dataclass(frozen=True)
class Probes:
    """Two terminals: `legs` are their indices (0..2), `volts` n x 2, `bus_v` the bus as they show it."""

    legs: tuple[int, int]
    volts: Singles
    step_ns: float
    bus_v: float
    v_f_v: float

    def beyond(self, column: int) -> NDArray[np.int8]:
        """+1 where a diode lifts the terminal above the bus, -1 where one holds it below ground, else 0."""
        drop = BEYOND_SHARE * self.v_f_v
        volts = self.volts[:, column]
        return (volts > self.bus_v + drop).astype(np.int8) - (volts < -drop).astype(np.int8)


def probes_of(volts: dict[str, Singles], step_ns: float, drive: Drive) -> Probes | None:
    """The first two terminals among `volts`; None where there are fewer.

    Raises CaptureError where they never rise: two probes on ground, or volts that are none.
    """
    legs = [k for k in range(3) if f"phase {LEG_NAMES[k]}" in volts]
    if len(legs) < 2:
        return None
    a, b = legs[:2]
    both = np.stack([volts[f"phase {LEG_NAMES[a]}"], volts[f"phase {LEG_NAMES[b]}"]], axis=1)
    bus_v = _bus_v(both, volts.get("bus"))
    expected_v = drive.supply.v_v
    if not expected_v.low / 3.0 < bus_v < 3.0 * expected_v.high:
        raise CaptureError(
            f"the terminals reach {bus_v:.3g} V, {drive.path} has a supply of {expected_v} V. Does the map "
            "say the probe's factor (scale), and did the motor run?"
        )
    return Probes((a, b), both, step_ns, bus_v, drive.bridge.v_f_v.nominal)


def _bus_v(both: Singles, bus: Singles | None) -> float:
    if bus is not None:
        return float(np.median(bus))
    top = float(np.percentile(both[:: max(1, len(both) // 1_000_000)], BUS_PERCENTILE))
    # What stands near the top is the high level; a diode's drop above it is rare.
    near = both[(both > 0.85 * top) & (both <= top)]
    return float(np.median(near)) if len(near) else top


def find_phase_steps(probes: Probes, carrier_ns: float) -> SeenSteps:
    """The patterns that the probes show, each at least a carrier period long.

    What is shorter cannot be told from an off-time in which a current has just begun or died.
    """
    step = _pattern_of_samples(probes)
    starts = np.flatnonzero(np.append(True, step[1:] != step[:-1]))
    stops = np.append(starts[1:], len(step))
    keep = (step[starts] != NO_STEP) & (stops - starts >= LEAST_SAMPLES)
    starts, stops = starts[keep], stops[keep]
    first, last = _merged(step[starts])
    long = (stops[last] - starts[first]) * probes.step_ns >= carrier_ns
    inside = np.repeat(long, last - first + 1)
    starts, stops = starts[inside], stops[inside]
    pause = PAUSE_NS / probes.step_ns
    goes_on = np.append(starts[1:] - stops[:-1] <= pause, False)
    driven = _driven(step[starts], goes_on, probes.legs)
    starts, stops = starts[driven], stops[driven]
    which = step[starts]
    first, last = _merged(which)
    if not len(first):
        empty = np.zeros(0)
        return SeenSteps(np.zeros(0, np.int64), empty, empty, empty, empty)
    begin, end = starts[first].astype(np.float64), stops[last].astype(np.float64)
    before = np.append(begin[0], end[:-1])
    # After a pause nothing is known of the moment before.
    before = np.where(begin - before > pause, begin, before)
    exact = _exact_beginnings(probes, which[first], starts[first], stops[last])
    middle = np.where(np.isnan(exact), (begin + before) / 2.0, exact)
    middle = np.maximum.accumulate(middle)
    ns = probes.step_ns
    # Near a rail an open terminal looks driven, for less than half a carrier period (seen on the model).
    least = 0.5 * carrier_ns / ns
    doubt = np.where(np.isnan(exact), np.maximum((begin - before) / 2.0, least), 1.0)
    return SeenSteps(which[first].astype(np.int64), middle * ns, doubt * ns, end * ns, (begin - before) * ns)


def _driven(step: NDArray[np.int8], goes_on: NDArray[np.bool_], legs: tuple[int, int]) -> NDArray[np.bool_]:
    """Which stretches are driven by the supply, as far as two terminals can tell.

    `goes_on`: whether the next stretch follows without a pause.

    A rotor that coasts lifts its terminals in turn, which looks like the two patterns whose high leg has
    no probe. Driven, these are never more than two in a row before a probed leg is high again.
    """
    high = np.array([pair[0] for pair in DRIVEN])[step]
    unseen = ~np.isin(high, legs)
    kept = np.ones(len(step), bool)
    for first, stop in zip(*stretches(unseen), strict=True):
        patterns = 1 + int(np.count_nonzero(step[first + 1 : stop] != step[first : stop - 1]))
        kept[first:stop] = patterns <= MOST_UNSEEN and goes_on[stop - 1]
    return kept


def _merged(step: NDArray[np.int8]) -> tuple[Ints, Ints]:
    """(first, last) of every stretch of equal steps: what comes back after an off-time is the same."""
    if not len(step):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    first = np.flatnonzero(np.append(True, step[1:] != step[:-1]))
    return first, np.append(first[1:], len(step)) - 1


def _pattern_of_samples(probes: Probes) -> NDArray[np.int8]:
    """Step of every sample, NO_STEP in off-time and where none fits."""
    found = np.empty(len(probes.volts), np.int8)
    for first in range(0, len(found), BLOCK):
        block = slice(first, first + BLOCK)
        found[block] = _pattern_of_block(probes, probes.volts[block])
    return found


def _pattern_of_block(probes: Probes, volts: Singles) -> NDArray[np.int8]:
    x = volts / np.float32(probes.bus_v)
    beyond = np.float32(BEYOND_SHARE * probes.v_f_v / probes.bus_v)
    diode = (x > 1.0 + beyond) | (x < -beyond)
    # A leg whose FET is on stands at its rail; beyond it only a diode carries.
    high = np.where(x > 1.0 + beyond, np.float32(1.0), (x - 1.0) ** 2)
    low = np.where(x < -beyond, np.float32(1.0), x**2)
    cost = (high, low, np.where(diode, np.float32(0.0), np.float32(OPEN_COST)))
    best = np.full(len(x), np.float32(WORST_COST))
    found = np.full(len(x), NO_STEP, np.int8)
    for step, (to_bus, to_ground) in enumerate(DRIVEN):
        a, b = (0 if leg == to_bus else 1 if leg == to_ground else 2 for leg in probes.legs)
        total = cost[a][:, 0] + cost[b][:, 1]
        better = total < best
        best[better] = total[better]
        found[better] = step
    found[~(x > ON_SHARE).any(axis=1)] = NO_STEP
    return found


def _exact_beginnings(probes: Probes, step: NDArray[np.int8], starts: Ints, stops: Ints) -> Floats:
    """Sample at which a diode took over the current of a terminal that has just become open, else NaN.

    A low leg that opens lifts its terminal above the bus at that very moment, on-time or off-time.
    """
    found = np.full(len(step), np.nan)
    for column, leg in enumerate(probes.legs):
        lifted = probes.beyond(column) == 1
        rises = np.flatnonzero(lifted[1:] & ~lifted[:-1]) + 1
        opened = OPEN_LEG[step] == leg
        if not len(rises):
            continue
        for k in np.flatnonzero(opened):
            from_sample = stops[k - 1] - LEAST_SAMPLES if k else starts[k]
            at = int(np.searchsorted(rises, from_sample))
            if at < len(rises) and rises[at] <= starts[k] + LEAST_SAMPLES:
                found[k] = rises[at]
    return found
