"""Throttle pulses as they stood at the pin, whatever the firmware made of them."""

from dataclasses import dataclass

import numpy as np

from dryspin.recording.timeline import Ints


@dataclass(frozen=True)
class Pulses:
    """Complete pulses at the throttle pin: rising and falling edge, in cycles."""

    rises: Ints
    falls: Ints

    def __len__(self) -> int:
        return len(self.rises)

    @property
    def widths(self) -> Ints:
        """Cycles from the rising to the falling edge."""
        return self.falls - self.rises


def find_pulses(cycles: Ints, levels: Ints) -> Pulses:
    """Pulses of the pin's edges; a level that does not change and an unfinished pulse are left out."""
    if not len(cycles):
        return Pulses(cycles, cycles)
    change = np.flatnonzero(np.diff(levels)) + 1
    rises = cycles[change[levels[change] == 1]]
    falls = cycles[change[levels[change] == 0]]
    if levels[0] == 1:
        # The pin was high from the start: the first fall ends a pulse whose beginning nobody saw.
        falls = falls[1:]
    return Pulses(rises[: len(falls)], falls)
