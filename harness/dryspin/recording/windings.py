"""Pulses of the windings as the FETs make them: one pair of legs driven, then open again."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from dryspin.recording.signals import HIGH_FET, LEG_NAMES, LOW_FET
from dryspin.recording.timeline import Ints, Timeline

NOT_DRIVEN: Final = 0


def _pairs() -> Ints:
    """High legs and low legs of each code of three gates, as bits; 0 where not both are there."""
    table = np.zeros(64, np.int64)
    for code in range(64):
        fets = [code >> 2 * leg & 3 for leg in range(3)]
        high = sum(1 << leg for leg in range(3) if fets[leg] & HIGH_FET)
        low = sum(1 << leg for leg in range(3) if fets[leg] & LOW_FET)
        table[code] = high << 3 | low if high and low else NOT_DRIVEN
    return table


PAIR_OF_CODE: Final = _pairs()
"""Pair of a gate code (legs U, V, W in two bits each): high legs << 3 | low legs, or NOT_DRIVEN."""


@dataclass(frozen=True)
class WindingPulses:
    """Pulses in the order of time.

    starts, stops  first and last moment of each, cycles
    pairs          see `PAIR_OF_CODE`
    rows           edge that began each
    """

    starts: Ints
    stops: Ints
    pairs: Ints
    rows: Ints

    def __len__(self) -> int:
        return len(self.starts)

    def __getitem__(self, which: slice) -> "WindingPulses":
        return WindingPulses(self.starts[which], self.stops[which], self.pairs[which], self.rows[which])


def find_winding_pulses(gates: Timeline, start: int, stop: int, join: int) -> WindingPulses:
    """Pulses between the cycles `start` and `stop`.

    Pauses of at most `join` cycles in which the same pair comes back belong to a pulse: a chopped
    leg makes one pulse of many.
    """
    first, last = np.searchsorted(gates.cycles, (start, stop))
    first = max(int(first) - 1, 0)
    values = gates.values[first:last]
    pair = PAIR_OF_CODE[values[:, 0] | values[:, 1] << 2 | values[:, 2] << 4]
    on = np.flatnonzero(pair != NOT_DRIVEN)
    starts = np.maximum(gates.cycles[first:last][on], start)
    stops = np.minimum(gates.ends[first:last][on], stop)
    pairs, rows = pair[on], gates.rows[first:last][on]
    if not len(on):
        return WindingPulses(starts, stops, pairs, rows)
    new = np.ones(len(on), bool)
    new[1:] = (pairs[1:] != pairs[:-1]) | (starts[1:] - stops[:-1] > join)
    begin = np.flatnonzero(new)
    end = np.append(begin[1:], len(on)) - 1
    return WindingPulses(starts[begin], stops[end], pairs[begin], rows[begin])


def pair_name(pair: int) -> str:
    """ "U+V-" for the pair of U high and V low."""
    high = "".join(f"{name}+" for leg, name in enumerate(LEG_NAMES) if pair >> 3 >> leg & 1)
    return high + "".join(f"{name}-" for leg, name in enumerate(LEG_NAMES) if pair >> leg & 1)
