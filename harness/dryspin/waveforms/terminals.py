"""Terminal voltages of a recorded run: what a probe on U, V or W would have shown.

A recording holds currents, rotor and bus, not the terminals; they follow from those and the gates, see
`plant/terminals.py`. Between two recorded states currents, angle and speed are taken as straight lines.
"""

import numpy as np

from dryspin.plant.parameters import plant_params
from dryspin.plant.terminals import Floats, emf_v, flowing, terminals_v
from dryspin.recording import Recording

CYCLE_SHARE = 1e-3
"""A state written at a gate edge lies on the edge's cycle up to the rounding of its time."""


def terminal_voltages(recording: Recording, t_s: Floats) -> Floats:
    """Voltages (V) of the terminals U, V, W against ground at each of `t_s`, n x 3.

    A gate edge at that very moment counts as done. NaN where the recording has no states.
    """
    states = recording.states
    if not len(states):
        return np.full((len(t_s), 3), np.nan)
    params = plant_params(recording.drive, recording.scenario)
    at_s = recording.state_t_s
    u, v, bus_v = (
        np.interp(t_s, at_s, states[name].astype(np.float64)) for name in ("i_u_a", "i_v_a", "v_bus_v")
    )
    currents = np.stack([u, v, -(u + v)], axis=1)
    cycles = np.floor(t_s * recording.f_cpu_hz + CYCLE_SHARE).astype(np.int64)
    gates = recording.gates.values[recording.gates.index_at(cycles)]
    emf = emf_v(params, recording.theta_at(t_s), recording.w_at(t_s))
    return terminals_v(params, gates, currents, flowing(currents), emf, bus_v)
