"""What happens to the drive, from power-on: plain data, small enough to read.

Two kinds of trace: the throttle goes in steps (each pulse has the width last set), everything
else is linear between its points and constant beyond the last one.
"""

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field

Trace = tuple[tuple[float, float], ...]
"""Breakpoints (time in s, value), the first at 0 s, times strictly increasing."""

LINEAR_TRACES = ("supply_v", "load_factor", "load_nm", "speed_rpm", "comparator_noise_mv")


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that breaks into the run: its kind, its moment (s), its length (ms)."""

    kind: str
    at_s: float
    for_ms: float = 0.0


@dataclass(frozen=True)
class Scenario:
    """One scenario. An empty linear trace means the default of the table below.

    seed                 noise is a function of (seed, time)
    end_s                length of the run, s from power-on, the arming rite included
    rest_deg             rotor angle at power-on, electrical degrees
    frame_ms             period of the throttle pulses
    throttle_us          pulse widths, us, steps; 0 = no pulse
    supply_v             source voltage, V; empty: the drive's nominal supply
    load_factor          factor on the propeller's torque; empty: 1
    load_nm              torque added to the load, Nm, against forward; empty: 0
    speed_rpm            speed of a driven rotor, rpm, mechanical; empty: the rotor is free
    comparator_noise_mv  standard deviation of the comparator's noise, mV; empty: 0
    parts                factors on the drive's nominal values (`kv`, `r_phase`, ...) and absolute
                         values (`offset_v`, `delay_s`)
    faults               in the order of time
    """

    seed: int
    end_s: float
    rest_deg: float
    frame_ms: float
    throttle_us: Trace
    supply_v: Trace = ()
    load_factor: Trace = ()
    load_nm: Trace = ()
    speed_rpm: Trace = ()
    comparator_noise_mv: Trace = ()
    parts: Mapping[str, float] = field(default_factory=dict, hash=False)
    faults: tuple[Fault, ...] = ()

    @property
    def events(self) -> int:
        """Number of events: breakpoints after t = 0, and faults."""
        traces = (self.throttle_us, *(getattr(self, name) for name in LINEAR_TRACES))
        return sum(1 for trace in traces for t_s, _ in trace if t_s > 0.0) + len(self.faults)

    def pulses(self) -> list[tuple[float, float]]:
        """Throttle pulses as (rising edge in s, width in us), frames without a pulse left out.

        The first edge rises half a frame after power-on, the others a frame apart. A pulse has
        the width set at the moment it rises.
        """
        pulses = []
        k = 0
        # The product, not a running sum: edges must not drift with the number of frames.
        while (rise_s := (2 * k + 1) * self.frame_ms / 2000.0) < self.end_s:
            width_us = step_value(self.throttle_us, rise_s)
            if width_us > 0.0:
                pulses.append((rise_s, width_us))
            k += 1
        return pulses


def step_value(trace: Trace, t_s: float) -> float:
    """Value of a trace that goes in steps: that of the last breakpoint at or before `t_s`."""
    return trace[max(bisect_right(trace, t_s, key=_time) - 1, 0)][1]


def linear_value(trace: Trace, t_s: float, default: float) -> float:
    """Value at `t_s` of a trace that is linear between its points; `default` where it is empty.

    Constant beyond the last point.
    """
    if not trace:
        return default
    k = bisect_right(trace, t_s, key=_time)
    if k == 0:
        return trace[0][1]
    if k == len(trace):
        return trace[-1][1]
    (t0_s, v0), (t1_s, v1) = trace[k - 1], trace[k]
    return v0 + (v1 - v0) * ((t_s - t0_s) / (t1_s - t0_s))


def _time(point: tuple[float, float]) -> float:
    return point[0]
