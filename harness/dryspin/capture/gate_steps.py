"""Six-step patterns from the six gates: what a logic capture of the driver's inputs shows."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from dryspin.capture.levels import Levels
from dryspin.capture.mapping import GATE_SIGNALS
from dryspin.capture.phases import SeenSteps
from dryspin.recording import LEG_NAMES, Leg
from dryspin.recording.spans import find_steps
from dryspin.recording.timeline import Ints, Stream, merge

CARRIERS_JOINED: Final = 1.1
"""A chopped leg pauses for less than a carrier period."""


def has_all_gates(levels: Mapping[str, Levels]) -> bool:
    """Whether every FET is seen."""
    return all(signal in levels for signal in GATE_SIGNALS)


def find_gate_steps(levels: Mapping[str, Levels], end_ns: float, carrier_ns: float) -> SeenSteps:
    """The patterns that the FETs show; all six must be among `levels`.

    A leg counts as chopped from the first to the last on-time of its high FET, so where the high leg
    moves the moment is in doubt by the off-time between the two.
    """
    streams: list[Stream] = []
    for k, leg in enumerate(LEG_NAMES):
        times, values = _commands(levels[f"gate {leg} high"], levels[f"gate {leg} low"], end_ns, carrier_ns)
        streams.append((times, values, np.arange(len(times)) * 3 + k))
    order = np.argsort(np.concatenate([stream[0] for stream in streams]), kind="stable")
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    placed, at = [], 0
    for times, values, _ in streams:
        placed.append((times, values, rank[at : at + len(times)]))
        at += len(times)
    # Shorter than a carrier period: a transient, or a pulse to be heard.
    steps = find_steps(merge(placed, round(end_ns)), round(carrier_ns))
    start, stop = steps.cycles.astype(np.float64), steps.stops.astype(np.float64)
    gap = np.append(0.0, np.maximum(start[1:] - stop[:-1], 0.0))
    return SeenSteps(steps.step, start, gap, stop, gap)


def _commands(high: Levels, low: Levels, end_ns: float, carrier_ns: float) -> tuple[Ints, Ints]:
    """(moments, `Leg` values) of one leg: chopped from the first to the last on-time of its high FET."""
    last = round(end_ns)
    starts, stops = _stretches(high, last)
    if len(starts):
        apart = starts[1:] - stops[:-1] > CARRIERS_JOINED * carrier_ns
        starts, stops = starts[np.append(True, apart)], stops[np.append(apart, True)]
    low_starts, low_stops = _stretches(low, last)
    # In complementary chopping the low FET is on within: that is no command of its own.
    inside = np.searchsorted(starts, low_starts, side="right") - 1
    own = (inside < 0) | (low_stops > stops[inside]) if len(starts) else np.ones(len(low_starts), bool)
    low_starts, low_stops = low_starts[own], low_stops[own]
    moments = np.concatenate([[0], stops, low_stops, starts, low_starts])
    values = np.concatenate(
        [
            np.full(1 + len(stops) + len(low_stops), Leg.OPEN),
            np.full(len(starts), Leg.CHOPPED),
            np.full(len(low_starts), Leg.LOW),
        ]
    )
    order = np.argsort(moments, kind="stable")
    return moments[order], values[order]


def _stretches(line: Levels, last: int) -> tuple[Ints, Ints]:
    """(beginnings, ends) of the stretches in which the line is on."""
    on = np.flatnonzero(line.values == 1)
    ends = np.append(line.t_ns[1:], last)
    return line.t_ns[on], ends[on]
