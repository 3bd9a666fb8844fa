"""Stretches of time in which the firmware said one thing, and the six-step patterns it drove."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from dryspin.recording.sixstep import NO_STEP, STEP_OF_CODE, leg_code
from dryspin.recording.timeline import Ints, Stream, Timeline


class Span(NamedTuple):
    """One state mark from `start` to `stop` (cycles); `row` is the edge that began it."""

    mark: int
    start: int
    stop: int
    row: int


def mark_spans(marks: Stream, resets: Stream, end: int) -> tuple[Span, ...]:
    """State marks as spans, in order; repeated marks are joined, a reset begins anew with OFF.

    Moments (codes of 16 and above) are left out. Marks of one cycle: the last one counts. A
    firmware that is reset says nothing until it runs again, and until then stands as OFF.
    """
    cycles, values, rows = marks
    # (cycle, 0 for a reset, mark, row): on equal cycles the reset comes first, what is said after it counts.
    events = [(int(c), 0, 0, int(r)) for c, r in zip(resets[0], resets[2], strict=True) if c > 0]
    events += [(int(cycles[k]), 1, int(values[k]), int(rows[k])) for k in np.flatnonzero(values < 16)]
    events.sort(key=lambda event: event[:2])
    spans: list[Span] = []
    for k, (start, is_mark, mark, row) in enumerate(events):
        stop = events[k + 1][0] if k + 1 < len(events) else end
        if stop <= start and k + 1 < len(events):
            continue
        if is_mark and spans and spans[-1].mark == mark:
            spans[-1] = spans[-1]._replace(stop=stop)
        else:
            spans.append(Span(mark, start, stop, row))
    return tuple(spans)


@dataclass(frozen=True)
class Steps:
    """The driven six-step patterns in order, transients left out.

    step    0..5, see `sixstep`
    cycles  moment at which the pattern was complete; it held for at least `held` cycles
    stops   moment at which it was left (the legs may then be open for a while)
    rows    edge that completed the pattern
    """

    step: NDArray[np.int64]
    cycles: Ints
    stops: Ints
    rows: Ints

    def __len__(self) -> int:
        return len(self.step)

    @property
    def moves(self) -> NDArray[np.int64]:
        """Step forward (+1), back (-1), two (2, -2), opposite (3) or same (0) from each to the next."""
        return (np.diff(self.step) + 2) % 6 - 2


def find_steps(legs: Timeline, held: int) -> Steps:
    """Steps of the leg timeline; patterns that stood for less than `held` cycles are transients.

    A pattern that changes between HIGH and CHOPPED stays the same step.
    """
    step = STEP_OF_CODE[leg_code(legs.values)].astype(np.int64)
    new = np.ones(len(step), bool)
    new[1:] = step[1:] != step[:-1]
    first = np.flatnonzero(new)
    stops = np.append(legs.cycles[first[1:]], legs.end)
    keep = (step[first] != NO_STEP) & ((stops - legs.cycles[first] >= held) | (stops == legs.end))
    first, stops = first[keep], stops[keep]
    return Steps(step[first], legs.cycles[first], stops, legs.rows[first])
