"""Several signals side by side: what stood at the same moment, from the stream of single edges."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]

Stream = tuple[Ints, Ints, Ints]
"""Edges of one signal: (cycles, values, rows in the recording's edges)."""


@dataclass(frozen=True)
class Timeline:
    """Values of several signals from each moment on at which one of them changed.

    cycles  moments, strictly increasing; the values hold until the next one
    values  one column a signal, one row a moment
    rows    the last edge at that moment, as a row of the recording's edges
    end     cycle at which the recording ends
    """

    cycles: Ints
    values: Ints
    rows: Ints
    end: int

    def __len__(self) -> int:
        return len(self.cycles)

    @property
    def ends(self) -> Ints:
        """Cycle at which each row's values stop holding."""
        return np.append(self.cycles[1:], self.end)

    def index_at(self, cycle: Any) -> Any:
        """Row in force at `cycle` (a number or an array), edges of that very cycle included."""
        return np.maximum(np.searchsorted(self.cycles, cycle, side="right") - 1, 0)


def merge(streams: list[Stream], end: int) -> Timeline:
    """Timeline of `streams`, each (cycles, values, rows) of one signal, in recording order.

    Edges of the same cycle become one moment with the values after the last of them: no time
    passed between them. Before the first edge of a signal its first value is assumed.
    """
    rows = np.concatenate([stream[2] for stream in streams])
    order = np.argsort(rows, kind="stable")
    rows = rows[order]
    cycles = np.concatenate([stream[0] for stream in streams])[order]
    owner = np.concatenate([np.full(len(s[0]), k, np.int8) for k, s in enumerate(streams)])[order]
    last = np.ones(len(rows), bool)
    if len(rows):
        last[:-1] = cycles[1:] != cycles[:-1]
    # Columns lie together: monitors compare signal with signal.
    values = np.zeros((int(last.sum()), len(streams)), np.int64, order="F")
    for k, stream in enumerate(streams):
        if len(stream[1]):
            seen = np.cumsum(owner == k, dtype=np.int32)[last]
            values[:, k] = np.concatenate((stream[1][:1], stream[1]))[seen]
    return Timeline(cycles[last], values, rows[last], end)


def stretches(mask: NDArray[np.bool_]) -> tuple[Ints, Ints]:
    """Runs of true in `mask` as (first, one past the last)."""
    edges = np.diff(np.concatenate(([0], mask.astype(np.int8), [0])))
    return np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
