"""Figures of a capture: step order and regularity, chopping, demagnetisation, crossings, dead times, pulses.

A figure that rests on more than the edges of its own channel is an estimate and says so.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dryspin.capture.levels import Levels
from dryspin.capture.reading import NS_PER_S, Reading
from dryspin.recording import LEG_NAMES
from dryspin.recording.sixstep import DRIVEN

Floats = NDArray[np.float64]

PERIOD_SHARE: Final = 0.02
PERIOD_SAMPLES: Final = 1.5
"""A carrier period further from the median than this share, or these samples, is cut by a change of legs."""

DEG_A_STEP: Final = 60.0


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure: median, least and most of `count` values in `unit`."""

    name: str
    median: float
    least: float
    most: float
    count: int
    unit: str
    estimate: bool = False


def figures_of(reading: Reading) -> list[Figure]:
    """Every figure that the capture gives, in a fixed order."""
    found = [
        *_bus(reading),
        *_chopping(reading),
        *_steps(reading),
        *_open_phase(reading),
        *_dead_times(reading),
        *_throttle(reading),
        *_comparator(reading),
    ]
    return [figure for figure in found if figure.count]


def _figure(name: str, values: Floats, unit: str, *, estimate: bool = False) -> Figure:
    values = values[np.isfinite(values)]
    if not len(values):
        return Figure(name, 0.0, 0.0, 0.0, 0, unit, estimate)
    return Figure(
        name,
        float(np.median(values)),
        float(values.min()),
        float(values.max()),
        len(values),
        unit,
        estimate,
    )


def _bus(reading: Reading) -> Iterator[Figure]:
    if reading.probes is not None:
        bus = np.array([reading.probes.bus_v])
        yield _figure("bus voltage", bus, "V", estimate="bus" not in reading.capture.volts)


def chopping_periods_ns(reading: Reading) -> Floats:
    """Whole carrier periods, seen between two rising edges of the same leg while it is the chopped one."""
    steps = reading.steps
    if steps is None or not len(steps):
        return np.zeros(0)
    found = []
    for signal, edges in reading.rising_ns.items():
        leg = LEG_NAMES.index(signal.split()[1])
        at = np.searchsorted(steps.start_ns, edges, side="right") - 1
        high = np.array([pair[0] for pair in DRIVEN])[steps.step]
        mine = (at >= 0) & (high[np.maximum(at, 0)] == leg)
        same = mine[1:] & mine[:-1] & (at[1:] == at[:-1])
        found.append(np.diff(edges)[same].astype(np.float64))
    periods = np.concatenate(found) if found else np.zeros(0)
    if not len(periods):
        return periods
    middle = float(np.median(periods))
    near = max(PERIOD_SHARE * middle, PERIOD_SAMPLES * reading.capture.sample_ns)
    whole: Floats = periods[np.abs(periods - middle) <= near]
    return whole


def _chopping(reading: Reading) -> Iterator[Figure]:
    periods = chopping_periods_ns(reading)
    if len(periods):
        # Single periods are rounded to samples; their mean is not.
        mean_hz = NS_PER_S / float(periods.mean())
        least, most = NS_PER_S / float(periods.max()), NS_PER_S / float(periods.min())
        yield Figure("chop frequency", mean_hz, least, most, len(periods), "Hz")


def step_intervals_ns(reading: Reading) -> tuple[Floats, NDArray[np.int64]]:
    """(time from each step to the next of its chain, index of the step)."""
    if reading.steps is None or len(reading.steps) < 2:
        return np.zeros(0), np.zeros(0, np.int64)
    at = np.flatnonzero(reading.run[1:] == reading.run[:-1])
    return np.diff(reading.steps.start_ns)[at], at


def _steps(reading: Reading) -> Iterator[Figure]:
    intervals, at = step_intervals_ns(reading)
    if not len(intervals):
        return
    estimate = not reading.from_gates
    way = reading.direction[reading.run[at]]
    for sign, name in ((1, "forward"), (-1, "reverse")):
        mine = intervals[way == sign]
        # n = 10 / (p T): six steps an electrical turn, p electrical turns a mechanical one
        rpm = 10.0 * NS_PER_S / (reading.drive.motor.pole_pairs * mine)
        yield _figure(f"step, {name}", mine / 1e3, "us", estimate=estimate)
        yield _figure(f"speed, {name}", rpm, "rpm", estimate=True)
    inner = np.flatnonzero((np.diff(at) == 1)[:-1] & (np.diff(at) == 1)[1:]) + 1
    neighbours = (intervals[inner - 1] + intervals[inner + 1]) / 2.0
    off = 100.0 * (intervals[inner] / neighbours - 1.0)
    yield _figure("step against its neighbours", off, "%", estimate=estimate)


def _open_phase(reading: Reading) -> Iterator[Figure]:
    seen, steps = reading.open_phase, reading.steps
    if seen is None or steps is None or not len(steps):
        return
    intervals, at = step_intervals_ns(reading)
    first = reading.locked[reading.run[at]]
    follows = (first >= 0) & (at >= first)
    at, intervals = at[follows], intervals[follows]
    yield _figure("demagnetisation", seen.demag_ns[at] / 1e3, "us", estimate=True)
    after = DEG_A_STEP * (seen.crossing_ns[at] - steps.start_ns[at]) / intervals
    yield _figure("crossing after its step began", after, "deg", estimate=True)
    until = DEG_A_STEP * (steps.start_ns[at + 1] - seen.crossing_ns[at]) / intervals
    yield _figure("next step after the crossing", until, "deg", estimate=True)


def dead_times_ns(high: Levels, low: Levels) -> Floats:
    """Every time between one FET of a leg going off and the other going on."""
    gaps = []
    for first, second in ((high, low), (low, high)):
        off, on = first.edges(0), second.edges(1)
        before = np.searchsorted(off, on, side="right") - 1
        on, before = on[before >= 0], before[before >= 0]
        # The latest turn-off counts only if that FET stayed off until then.
        again = np.searchsorted(first.edges(1), on, side="right")
        latest_on = np.append(-1, first.edges(1))[again]
        clear = latest_on < off[before]
        since = np.append(-1, second.edges(0))[np.searchsorted(second.edges(0), on, side="right")]
        # Chopping turns one FET off and on again: that is no change of FETs.
        changed = clear & (off[before] > since)
        gaps.append((on - off[before])[changed].astype(np.float64))
    return np.concatenate(gaps)


def _dead_times(reading: Reading) -> Iterator[Figure]:
    levels = reading.capture.levels
    for leg in LEG_NAMES:
        high, low = f"gate {leg} high", f"gate {leg} low"
        if high in levels and low in levels:
            yield _figure(f"from FET to FET, leg {leg}", dead_times_ns(levels[high], levels[low]), "ns")


def _throttle(reading: Reading) -> Iterator[Figure]:
    line = reading.capture.levels.get("throttle")
    if line is not None:
        yield _figure("throttle pulse", pulse_widths_ns(line) / 1e3, "us")


def _comparator(reading: Reading) -> Iterator[Figure]:
    """Edges of the comparator's output in each step: one is the crossing, more is chopping or noise."""
    line, steps = reading.capture.levels.get("comparator"), reading.steps
    if line is None or steps is None:
        return
    _, at = step_intervals_ns(reading)
    edges = np.searchsorted(line.t_ns[1:], steps.start_ns)
    yield _figure("comparator edges in a step", np.diff(edges)[at].astype(np.float64), "times")


def pulse_widths_ns(line: Levels) -> Floats:
    """Width of every pulse of which both edges are seen."""
    rises, falls = line.edges(1), line.edges(0)
    falls = falls[falls > rises[0]] if len(rises) else falls[:0]
    widths: Floats = (falls - rises[: len(falls)]).astype(np.float64)
    return widths
