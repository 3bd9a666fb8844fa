"""Which element of each leg carried which current, over the last whole turns of a run.

What stands long enough to be extrapolated: a drive in RUN whose rotor has turned `TURNS` times.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dryspin.monitors.evidence import Evidence, Floats
from dryspin.recording import Mark
from dryspin.recording.signals import HIGH_FET
from dryspin.recording.timeline import Ints
from dryspin.scenario.schema import OUTAGES

TURNS: Final = 2
"""Mechanical turns: every pole pair and every carrier phase has come by."""

STEADY_SHARE: Final = 0.1
"""Of the speed it may change by in these turns: a rotor that is being stopped cannot be extrapolated."""

GAINING_SHARE: Final = 0.1
"""Of the torque that may go into the rotor's inertia: its current ends when the speed is reached. A tenth
leaves the loss, which goes with the square of the current, a fifth too high at most."""


@dataclass(frozen=True)
class Stretch:
    """The last whole turns of one run, as intervals between recorded states.

    dt_s, v_bus_v  n: length of each interval, mean bus voltage in it
    i_a            n x 3: mean current into U, V, W; squares_a2 the mean of its square (linear between)
    fets           n x 3: the FETs that are on, bit 0 high, bit 1 low
    """

    from_s: float
    to_s: float
    dt_s: Floats
    i_a: Floats
    squares_a2: Floats
    v_bus_v: Floats
    fets: Ints

    @property
    def high(self) -> NDArray[np.bool_]:
        """n x 3: the current comes from the bus, through the high FET or back through its diode."""
        from_bus: NDArray[np.bool_] = (self.fets == HIGH_FET) | ((self.fets == 0) & (self.i_a < 0.0))
        return from_bus

    def mean(self, values: Floats) -> Floats:
        """Mean over time of n x ... values."""
        total: Floats = np.tensordot(self.dt_s, values, axes=(0, 0)) / float(np.sum(self.dt_s))
        return total

    def diodes(self, leg: int, fet: int) -> Floats:
        """Current through the body diode of one FET (`HIGH_FET` or `LOW_FET`) while both are off, n."""
        sign = -1.0 if fet == HIGH_FET else 1.0
        through: Floats = np.where(self.fets[:, leg] == 0, np.maximum(sign * self.i_a[:, leg], 0.0), 0.0)
        return through

    def switchings(self, leg: int, fet: int) -> tuple[Floats, Floats]:
        """(current, bus voltage) at every change of one FET."""
        on = (self.fets[:, leg] & fet) != 0
        at = np.flatnonzero(on[1:] != on[:-1])
        return np.abs(self.i_a[at, leg]), self.v_bus_v[at]


def stretches_in_run(evidence: Evidence) -> list[Stretch]:
    """The last `TURNS` turns of every run that has as many, and keeps its speed in them.

    A heavy rotor gains speed slowly, with all the current of a start: nothing that goes on for ever. While
    the source is away the bus capacitor feeds the windings alone: nothing that could go on.
    """
    recording = evidence.recording
    outages = [f for f in recording.scenario.faults if f.kind in OUTAGES]
    turn_rad = 2.0 * np.pi * TURNS * recording.drive.motor.pole_pairs
    found = []
    for run in evidence.spans_of(Mark.RUN):
        start_s, to_s = float(recording.seconds(run.start)), float(recording.seconds(run.stop))
        window = recording.states_between(start_s, to_s)
        theta = recording.state_theta_rad[window]
        if len(theta) < 2:
            continue
        before = np.flatnonzero(np.abs(theta - theta[-1]) >= turn_rad)
        if not len(before):
            continue
        last = slice(window.start + int(before[-1]), window.stop)
        speeds = np.abs(recording.state_w_rad_s[last])
        from_s = float(recording.state_t_s[last.start])
        fed = all(to_s <= f.at_s or f.at_s + f.for_ms / 1000.0 <= from_s for f in outages)
        if not fed or float(np.ptp(speeds)) > STEADY_SHARE * float(np.mean(speeds)):
            continue
        stretch = _stretch(evidence, last)
        gained_rad_s = abs(float(speeds[-1]) - float(speeds[0]))
        if _inertia_nm(evidence, gained_rad_s / (to_s - from_s)) <= GAINING_SHARE * _torque_nm(
            evidence, stretch
        ):
            found.append(stretch)
    return found


def _inertia_nm(evidence: Evidence, rad_s2: float) -> float:
    """Torque J dw/dt that the rotor takes to change its speed."""
    recording = evidence.recording
    return recording.drive.motor.j_kg_m2.nominal * recording.scenario.parts.get("j", 1.0) * rad_s2


def _torque_nm(evidence: Evidence, stretch: Stretch) -> float:
    """Mean torque of the windings, k (|i_u| + |i_v| + |i_w|): currents flow under the EMF's flat tops."""
    recording = evidence.recording
    k_v_s = recording.drive.motor.k_phase_v_s / recording.scenario.parts.get("kv", 1.0)
    return k_v_s * float(np.sum(stretch.mean(np.abs(stretch.i_a))))


def _stretch(evidence: Evidence, window: slice) -> Stretch:
    recording = evidence.recording
    states, t_s = recording.states[window], recording.state_t_s[window]
    u, v = states["i_u_a"].astype(np.float64), states["i_v_a"].astype(np.float64)
    i_a = np.stack([u, v, -(u + v)], axis=1)
    a, b = i_a[:-1], i_a[1:]
    bus_v = states["v_bus_v"].astype(np.float64)
    middle = np.round((t_s[1:] + t_s[:-1]) / 2.0 * recording.f_cpu_hz).astype(np.int64)
    fets = recording.gates.values[recording.gates.index_at(middle)]
    return Stretch(
        from_s=float(t_s[0]),
        to_s=float(t_s[-1]),
        dt_s=np.diff(t_s),
        i_a=(a + b) / 2.0,
        squares_a2=(a * a + a * b + b * b) / 3.0,
        v_bus_v=(bus_v[1:] + bus_v[:-1]) / 2.0,
        fets=fets,
    )
