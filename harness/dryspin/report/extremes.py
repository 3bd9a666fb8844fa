"""The two numbers everybody asks of a run first: top speed and largest phase current."""

from dataclasses import dataclass

import numpy as np

from dryspin.recording import Recording
from dryspin.units import rpm_from_rad_s


@dataclass(frozen=True)
class Extremes:
    """Largest mechanical speed either way (rpm) and phase current (A), each with its moment (s).

    All None where the recording has no plant states, as a capture of pins has none.
    """

    top_speed_rpm: float | None = None
    top_speed_at_s: float | None = None
    peak_current_a: float | None = None
    peak_current_at_s: float | None = None


def extremes_of(recording: Recording) -> Extremes:
    """Extremes over all plant states."""
    states = recording.states
    if not len(states):
        return Extremes()
    fastest = int(np.argmax(np.abs(states["w_rad_s"])))
    largest_a = recording.state_i_peak_a
    peak = int(np.argmax(largest_a))
    return Extremes(
        top_speed_rpm=rpm_from_rad_s(float(states["w_rad_s"][fastest])),
        top_speed_at_s=float(states["t_s"][fastest]),
        peak_current_a=float(largest_a[peak]),
        peak_current_at_s=float(states["t_s"][peak]),
    )
