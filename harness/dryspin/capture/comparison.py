"""Two readings laid on each other at one event: what differs, by how much, and where most.

Steps and throttle pulses are compared one by one, in their order from the event on; dead times and
on-times, whose number depends on every carrier period, as two distributions.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dryspin.capture.levels import Levels
from dryspin.capture.measured import dead_times_ns, pulse_widths_ns
from dryspin.capture.reading import LOCK_STEPS, Reading
from dryspin.errors import CaptureError
from dryspin.recording import LEG_NAMES

Floats = NDArray[np.float64]

NEAR_NS: Final = 2e7
"""A moment given by hand may be a throttle frame off the step that is meant."""


class Event(StrEnum):
    """What two files are laid on each other at."""

    RUN = "first run"
    REVERSAL = "first reversal"
    THROTTLE = "first throttle pulse"


@dataclass(frozen=True, slots=True)
class Spread:
    """Median, least, most of `count` values."""

    median: float
    least: float
    most: float
    count: int


@dataclass(frozen=True, slots=True)
class Difference:
    """One quantity in A and in B, in `unit`, and B less A.

    Compared one by one: `mean`, `deviation` (standard), and the largest difference `worst` at `worst_s`
    after the event. Compared as distributions: `mean` is the difference of medians, the rest None.
    """

    name: str
    unit: str
    a: Spread
    b: Spread
    mean: float
    deviation: float | None = None
    worst: float | None = None
    worst_s: float | None = None


@dataclass(frozen=True)
class Comparison:
    """The event's moment in each file (s, the file's own time), how the order of steps compares, and the
    differences. `order` is a sentence, `resolution_ns` the coarser of the two files."""

    event: str
    a_s: float
    b_s: float
    order: str
    resolution_ns: float
    differences: tuple[Difference, ...]


@dataclass(frozen=True)
class Mark:
    """Where a file is taken hold of: the moment, and the step that begins there (-1 where none)."""

    at_ns: float
    step: int


def compare(
    a: Reading, b: Reading, event: Event, a_s: float | None = None, b_s: float | None = None
) -> Comparison:
    """Lay `b` on `a` at `event`; `a_s` and `b_s` are moments of the files to use instead.

    Raises CaptureError where the event is in one of them not to be found, or nothing is in both.
    """
    in_a = _mark(a, event, a_s)
    in_b = _mark(b, event, b_s)
    if (a_s is not None or b_s is not None) and in_a.step >= 0:
        in_b = _same_pattern(b, in_b, a, in_a)
    order, steps = _steps(a, b, in_a, in_b)
    differences = (*steps, *_throttle(a, b, in_a, in_b), *_distributions(a, b))
    if not differences:
        raise CaptureError(
            f"{a.capture.path} and {b.capture.path} have nothing in common that could be compared: steps "
            "(all gates or two terminals), throttle, or gates of one leg"
        )
    return Comparison(
        event=event if a_s is None and b_s is None else "the moments given",
        a_s=in_a.at_ns * 1e-9 + a.capture.origin_s,
        b_s=in_b.at_ns * 1e-9 + b.capture.origin_s,
        order=order,
        resolution_ns=max(a.capture.resolution_ns, b.capture.resolution_ns),
        differences=differences,
    )


def _mark(reading: Reading, event: Event, at_s: float | None) -> Mark:
    path = reading.capture.path
    if at_s is not None:
        at_ns = (at_s - reading.capture.origin_s) * 1e9
        if not 0.0 <= at_ns <= reading.capture.end_ns:
            first, last = reading.capture.origin_s, reading.capture.origin_s + reading.capture.end_s
            raise CaptureError(f"{path} goes from {first:g} s to {last:g} s; {at_s:g} s is not in it")
        return Mark(at_ns, _nearest_step(reading, at_ns))
    if event is Event.THROTTLE:
        line = reading.capture.levels.get("throttle")
        rises = line.edges(1) if line is not None else np.zeros(0, np.int64)
        if not len(rises):
            raise CaptureError(f"{path} has no throttle pulse; choose another event or give moments")
        return Mark(float(rises[0]), _nearest_step(reading, float(rises[0])))
    steps = reading.steps
    if steps is None or not len(steps):
        raise CaptureError(f"{path} shows no steps; choose {Event.THROTTLE} or give moments")
    long = [
        chain
        for chain in range(len(reading.direction))
        if np.count_nonzero(reading.run == chain) >= LOCK_STEPS
    ]
    if event is Event.REVERSAL:
        ways = reading.direction[long]
        long = [long[k + 1] for k in np.flatnonzero(ways[1:] * ways[:-1] < 0)]
    if not long:
        raise CaptureError(f"{path} has no {event}; choose another event or give moments")
    first = int(np.flatnonzero(reading.run == long[0])[0])
    return Mark(float(steps.start_ns[first]), first)


def _nearest_step(reading: Reading, at_ns: float) -> int:
    if reading.steps is None or not len(reading.steps):
        return -1
    k = int(np.argmin(np.abs(reading.steps.start_ns - at_ns)))
    return k if abs(float(reading.steps.start_ns[k]) - at_ns) <= NEAR_NS else -1


def _same_pattern(b: Reading, in_b: Mark, a: Reading, in_a: Mark) -> Mark:
    """The step of B nearest to its moment that drives the same pair as A's."""
    if b.steps is None or a.steps is None or in_b.step < 0:
        return in_b
    same = np.flatnonzero(b.steps.step == a.steps.step[in_a.step])
    if not len(same):
        return in_b
    nearest = int(same[np.argmin(np.abs(b.steps.start_ns[same] - in_b.at_ns))])
    return Mark(float(b.steps.start_ns[nearest]), nearest)


def _steps(a: Reading, b: Reading, in_a: Mark, in_b: Mark) -> tuple[str, list[Difference]]:
    if a.steps is None or b.steps is None or in_a.step < 0 or in_b.step < 0:
        return "steps are not seen in both", []
    from_a, from_b = _chain_from(a, in_a.step), _chain_from(b, in_b.step)
    count = min(len(from_a), len(from_b))
    step_a, step_b = a.steps.step[from_a[:count]], b.steps.step[from_b[:count]]
    start_a, start_b = a.steps.start_ns[from_a[:count]], b.steps.start_ns[from_b[:count]]
    apart = np.flatnonzero((step_a - step_b) % 6 != (step_a[0] - step_b[0]) % 6)
    order = f"{count} steps from the event on in the same order"
    if len(apart):
        at_s = (start_a[apart[0]] - in_a.at_ns) * 1e-9
        order = f"the order of steps differs from step {apart[0] + 1} on, {at_s:.6f} s after the event"
        count = int(apart[0])
    elif step_a[0] != step_b[0]:
        order += f", begun {int((step_b[0] - step_a[0]) % 6)} steps apart"
    if count < 2:
        return order, []
    after_s = (start_a[:count] - in_a.at_ns) * 1e-9
    interval_a, interval_b = np.diff(start_a[:count]) / 1e3, np.diff(start_b[:count]) / 1e3
    moment_a, moment_b = (start_a[:count] - start_a[0]) / 1e3, (start_b[:count] - start_b[0]) / 1e3
    return order, [
        _paired("step interval", "us", interval_a, interval_b, after_s[:-1]),
        _paired("moment of each step", "us", moment_a, moment_b, after_s),
    ]


def _chain_from(reading: Reading, first: int) -> NDArray[np.int64]:
    chain = np.flatnonzero(reading.run == reading.run[first])
    return chain[chain >= first]


def _throttle(a: Reading, b: Reading, in_a: Mark, in_b: Mark) -> Iterator[Difference]:
    line_a, line_b = a.capture.levels.get("throttle"), b.capture.levels.get("throttle")
    if line_a is None or line_b is None:
        return
    rises_a, widths_a = _pulses_from(line_a, in_a.at_ns)
    _, widths_b = _pulses_from(line_b, in_b.at_ns)
    count = min(len(widths_a), len(widths_b))
    if count:
        after_s = (rises_a[:count] - in_a.at_ns) * 1e-9
        yield _paired("throttle pulse", "us", widths_a[:count] / 1e3, widths_b[:count] / 1e3, after_s)


def _pulses_from(line: Levels, at_ns: float) -> tuple[Floats, Floats]:
    widths = pulse_widths_ns(line)
    rises = line.edges(1)[: len(widths)].astype(np.float64)
    from_event = rises >= at_ns
    return rises[from_event], widths[from_event]


def _distributions(a: Reading, b: Reading) -> Iterator[Difference]:
    for leg in LEG_NAMES:
        high, low = f"gate {leg} high", f"gate {leg} low"
        pair = [r.capture.levels for r in (a, b)]
        if all(high in levels and low in levels for levels in pair):
            values = [dead_times_ns(levels[high], levels[low]) for levels in pair]
            yield from _spreads(f"from FET to FET, leg {leg}", "ns", values[0], values[1])
        if all(high in levels for levels in pair):
            values = [pulse_widths_ns(levels[high]) / 1e3 for levels in pair]
            yield from _spreads(f"on-time of the high FET, leg {leg}", "us", values[0], values[1])


def _spreads(name: str, unit: str, a: Floats, b: Floats) -> Iterator[Difference]:
    if len(a) and len(b):
        in_a, in_b = _spread(a), _spread(b)
        yield Difference(name, unit, in_a, in_b, in_b.median - in_a.median)


def _paired(name: str, unit: str, a: Floats, b: Floats, after_s: Floats) -> Difference:
    off = b - a
    k = int(np.argmax(np.abs(off)))
    return Difference(
        name,
        unit,
        _spread(a),
        _spread(b),
        float(off.mean()),
        float(off.std()),
        float(off[k]),
        float(after_s[k]),
    )


def _spread(values: Floats) -> Spread:
    return Spread(float(np.median(values)), float(values.min()), float(values.max()), len(values))
