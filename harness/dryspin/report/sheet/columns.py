"""What lies in each column of a drawing: least and largest values, spans, without losing what is short."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from dryspin.plant.terminals import Floats
from dryspin.report.sheet.edges import Edges
from dryspin.report.sheet.lanes import Curve, Lanes

COLUMNS: Final = 700


@dataclass(frozen=True)
class View:
    """What is drawn: from and to (s)."""

    from_s: float
    to_s: float

    @property
    def column_s(self) -> float:
        """Time of a column."""
        return (self.to_s - self.from_s) / COLUMNS

    @property
    def edges(self) -> Floats:
        """Borders of the columns."""
        return np.linspace(self.from_s, self.to_s, COLUMNS + 1)


def in_view(t_s: Floats, view: View) -> slice:
    """Points of the view, and the one before it."""
    first = max(int(np.searchsorted(t_s, view.from_s, side="right")) - 1, 0)
    return slice(first, max(int(np.searchsorted(t_s, view.to_s)), first + 1))


def level_columns(t_s: Floats, values: Floats, view: View) -> tuple[Floats, Floats]:
    """Least and largest of a value that steps at `t_s`, in each column; what it was before counts."""
    edges = view.edges
    starts = np.searchsorted(t_s, edges[:-1], side="right")
    low = high = values[np.maximum(starts - 1, 0)]
    inside = np.searchsorted(t_s, edges[1:]) > starts
    at = np.minimum(starts, len(values) - 1)
    low = np.where(inside, np.minimum(low, np.minimum.reduceat(values, at)), low)
    high = np.where(inside, np.maximum(high, np.maximum.reduceat(values, at)), high)
    return low, high


def curve_columns(t_s: Floats, curve: Curve, lanes: Lanes, view: View) -> tuple[Floats, Floats]:
    """Least and largest value in each column, from the slices and, where it is complete, from the points."""
    edges = view.edges
    n = len(curve.low)
    first = np.clip((edges[:-1] / lanes.slice_s).astype(np.int64), 0, n - 1)
    last = np.clip(np.ceil(edges[1:] / lanes.slice_s - 1e-9).astype(np.int64), first + 1, n)
    low = np.array([curve.low[a:b].min() for a, b in zip(first, last, strict=True)], np.float64)
    high = np.array([curve.high[a:b].max() for a, b in zip(first, last, strict=True)], np.float64)
    known = np.array([lanes.is_complete(*ends) for ends in pairwise(edges)])
    if np.any(known) and len(t_s) > 1:
        across = np.interp(edges, t_s, curve.complete)
        for k in np.flatnonzero(known):
            a, b = np.searchsorted(t_s, edges[k : k + 2])
            values = np.concatenate([curve.complete[a:b], across[k : k + 2]])
            low[k], high[k] = values.min(), values.max()
    return low, high


def spans_in_view(
    lane: Edges, lanes: Lanes, view: View
) -> tuple[list[tuple[float, float, str]], list[tuple[float, float]]]:
    """Spans of words as (from s, to s, word), and stretches of those too short to be seen one by one."""
    t_s = lane.cycles / lanes.f_cpu_hz
    inside = in_view(t_s, view)
    begins = np.maximum(t_s[inside], view.from_s)
    ends = np.minimum(
        np.append(t_s[inside.start + 1 : inside.stop + 1], lanes.end_s)[: len(begins)], view.to_s
    )
    values = lane.values[inside]
    worded = np.array([word != "" for word in lane.words], bool)[values] & (ends > begins)
    long = worded & (ends - begins >= 2.0 * view.column_s)
    frames = [(float(begins[k]), float(ends[k]), lane.words[values[k]]) for k in np.flatnonzero(long)]
    short = worded & ~long
    return frames, _joined(begins[short], ends[short], view.column_s)


@dataclass(frozen=True)
class Looks:
    """When the comparator is set to a phase (0..2) and an edge, its interrupt on or off: from and to (s)."""

    leg: int
    rises: bool
    on: bool
    spans: list[tuple[float, float]]


def looks_in_view(lane: Edges, lanes: Lanes, view: View) -> list[Looks]:
    """What the lane of the sense shows; spans less than a column apart are one, none is narrower."""
    t_s = lane.cycles / lanes.f_cpu_hz
    inside = in_view(t_s, view)
    begins = np.maximum(t_s[inside], view.from_s)
    ends = np.minimum(
        np.append(t_s[inside.start + 1 : inside.stop + 1], lanes.end_s)[: len(begins)], view.to_s
    )
    values, found = lane.values[inside], []
    for code in np.unique(values[ends > begins]).tolist():
        mine = (values == code) & (ends > begins)
        joined = _joined(begins[mine], ends[mine], view.column_s)
        spans = [(begin_s, max(end_s, begin_s + view.column_s)) for begin_s, end_s in joined]
        found.append(Looks(min(code & 3, 2), bool(code >> 2 & 1), bool(code >> 3), spans))
    return found


def _joined(begins: Floats, ends: Floats, apart_s: float) -> list[tuple[float, float]]:
    """Spans in the order of time, those less than `apart_s` apart as one."""
    if not len(begins):
        return []
    apart = np.flatnonzero(begins[1:] - ends[:-1] >= apart_s)
    firsts, lasts = np.append(0, apart + 1), np.append(apart, len(begins) - 1)
    return list(zip(begins[firsts].tolist(), ends[lasts].tolist(), strict=True))
