"""What of a long run a page keeps to zoom into: every edge near the moment, and where that begins and ends.

Curves are slices away from the moment however long the run is; edges are not, and many millions of them make
a page that no browser opens. A stretch of time has all of its edges or is said to have none.
"""

from dataclasses import replace
from typing import Final

import numpy as np

from dryspin.report.sheet.edges import Edges
from dryspin.report.sheet.lanes import Lanes

_HALVINGS: Final = 40


def kept(lanes: Lanes, most: int) -> Lanes:
    """The lanes with at most `most` edges, all those around the moment; the same lanes where they are few."""
    if lanes.edges <= most:
        return lanes
    less, more = 0.0, lanes.end_s
    for _ in range(_HALVINGS):
        half_s = (less + more) / 2.0
        cut = _around(lanes, half_s)
        less, more = (half_s, more) if cut.edges <= most else (less, half_s)
    cut = _around(lanes, less)
    from_s, to_s = cut.edges_s
    told = (
        f"edges before {from_s:.4f} s and after {to_s:.4f} s, in the lanes to zoom into (the run has "
        f"{lanes.edges:,}, a page keeps {most:,}); curves and the drawing of the whole run show all of it, "
        "and --vcd FILE writes every edge"
    )
    return replace(cut, missing=(*lanes.missing, told))


def _around(lanes: Lanes, half_s: float) -> Lanes:
    window = max(lanes.moment_s - half_s, 0.0), min(lanes.moment_s + half_s, lanes.end_s)
    first, last = (round(at_s * lanes.f_cpu_hz) for at_s in window)
    shorter = tuple(_cut(lane, first, last) if isinstance(lane, Edges) else lane for lane in lanes.lanes)
    return replace(lanes, lanes=shorter, edges_s=window)


def _cut(lane: Edges, first: int, last: int) -> Edges:
    """Edges from `first` to `last`, and the one before, whose value stands at the beginning."""
    before = 0 if lane.kind == "ticks" else 1
    begin = max(int(np.searchsorted(lane.cycles, first)) - before, 0)
    inside = slice(begin, int(np.searchsorted(lane.cycles, last, side="right")))
    by = None if lane.by is None else lane.by[inside]
    return replace(lane, cycles=lane.cycles[inside], values=lane.values[inside], by=by)
