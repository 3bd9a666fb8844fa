"""Voltages into levels, levels without glitches: edges that a monitor may believe."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryspin.recording.timeline import Ints

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]


@dataclass(frozen=True)
class Levels:
    """A line over time: `values[k]` (0 or 1) from `t_ns[k]` on; the first stands from the beginning.

    glitches  levels that were left out because they stood too short
    """

    t_ns: Ints
    values: Ints
    glitches: int = 0

    def edges(self, to: int) -> Ints:
        """Moments at which the line goes to `to`; the level at the beginning is no edge."""
        moments: Ints = self.t_ns[1:][self.values[1:] == to]
        return moments


def thresholded(volts: Singles, t_ns: Floats, threshold_v: float, hysteresis_v: float) -> tuple[Ints, Ints]:
    """(moments, levels) of a voltage: it changes when it has passed the threshold by half the hysteresis.

    The moment is where a straight line between the two samples around it meets that border.
    """
    high, low = threshold_v + hysteresis_v / 2.0, threshold_v - hysteresis_v / 2.0
    above, below = volts > high, volts < low
    decided = np.flatnonzero(above | below)
    if not len(decided):
        # Never left the band: what the first sample is nearer to.
        return np.zeros(1, np.int64), np.array([int(volts[0] > threshold_v)])
    level = above[decided].astype(np.int64)
    change = np.flatnonzero(level[1:] != level[:-1]) + 1
    at = decided[change]
    border = np.where(level[change] == 1, high, low)
    before, after = volts[at - 1].astype(np.float64), volts[at].astype(np.float64)
    rise = after - before
    share = np.clip((border - before) / np.where(rise == 0.0, 1.0, rise), 0.0, 1.0)
    moments = t_ns[at - 1] + share * (t_ns[at] - t_ns[at - 1])
    times = np.concatenate([[0], np.round(moments).astype(np.int64)])
    return times, np.concatenate([level[:1], level[change]])


def stepped(t_ns: Ints, values: Ints) -> tuple[Ints, Ints]:
    """(moments, levels) of samples or changes that are levels already; repeated ones are left out."""
    new = np.ones(len(values), bool)
    new[1:] = values[1:] != values[:-1]
    return t_ns[new], values[new]


def settled(t_ns: Ints, values: Ints, glitch_ns: float, end_ns: float) -> Levels:
    """Without levels that stood for less than `glitch_ns`: a level counts from where it begins to stand.

    A burst of short ones belongs to the level before it. The first level of a capture counts however
    short it is seen, and so does the last: nobody knows how long they stand.
    """
    stood_ns = np.diff(np.append(t_ns, round(end_ns)))
    long = (stood_ns >= glitch_ns) & (stood_ns > 0)
    long[0] = long[-1] = True
    kept_t, kept = stepped(t_ns[long], values[long])
    kept_t[0] = 0
    return Levels(kept_t, kept, int(np.count_nonzero(~long & (stood_ns > 0))))


def delayed(line: Levels, delay_ns: float, end_ns: float) -> Levels:
    """The line `delay_ns` later (earlier where negative), within the capture."""
    times = line.t_ns[1:] + round(delay_ns)
    early = int(np.count_nonzero(times < 0))
    kept = slice(early, len(times) - int(np.count_nonzero(times > end_ns)))
    first = line.values[early : early + 1]
    return Levels(
        np.concatenate([[0], times[kept]]), np.concatenate([first, line.values[1:][kept]]), line.glitches
    )
