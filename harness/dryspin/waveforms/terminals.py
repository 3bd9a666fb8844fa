"""Terminal voltages of a recorded run: what a probe on U, V or W would have shown.

A recording holds currents, rotor and bus, not the terminals; they follow from those and the gates. A
leg at a rail shows rail + drop - r i; one that carries no current shows its EMF on top of what the
conducting phases make of the star point (`plant/star.py` has the equations). Between two recorded
states currents, angle and speed are taken as straight lines.
"""

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from dryspin.plant.emf import shape_of
from dryspin.plant.parameters import PlantParams, plant_params
from dryspin.plant.star import solve
from dryspin.recording import Recording
from dryspin.recording.signals import HIGH_FET, LOW_FET

Floats = NDArray[np.float64]

SHAPE_POINTS = 4320
"""Of one electrical turn: corners of a trapezoid, at multiples of 30 degrees, fall on them."""

NO_CURRENT_A = 1e-6
"""A diode carries more: the recording's single precision gives a few 1e-7 A where the series ends."""

CYCLE_SHARE = 1e-3
"""A state written at a gate edge lies on the edge's cycle up to the rounding of its time."""


def terminal_voltages(recording: Recording, t_s: Floats) -> Floats:
    """Voltages (V) of the terminals U, V, W against ground at each of `t_s`, n x 3.

    A gate edge at that very moment counts as done. NaN where the recording has no states.
    """
    if not len(recording.states):
        return np.full((len(t_s), 3), np.nan)
    params = plant_params(recording.drive, recording.scenario)
    i_a, v_bus, emf = _moving(recording, params, t_s)
    cycles = np.floor(t_s * recording.f_cpu_hz + CYCLE_SHARE).astype(np.int64)
    gates = recording.gates.values[recording.gates.index_at(cycles)]
    volts, conducts = _at_rails(params, gates, i_a, v_bus)
    broken = np.array(params.broken)
    if np.any(broken):
        conducts &= ~broken
        cut = np.where(gates == HIGH_FET, v_bus[:, None], 0.0)
        volts = np.where(broken, cut, volts)
    winding = volts - np.array(params.r_phases_ohm) * i_a - emf
    pattern = conducts @ np.array([1, 2, 4])
    for code in np.unique(pattern):
        rows = np.flatnonzero(pattern == code)
        phases = tuple(bool(code >> x & 1) for x in range(3))
        if code == 0:
            star = _floating_star(emf[rows], v_bus[rows], params.v_f_v, broken)
            shown = star[:, None] + emf[rows]
        else:
            behind = np.array(solve(params, (phases[0], phases[1], phases[2])).behind)
            # Legs at no rail have weight zero, whatever `winding` holds for them.
            shown = emf[rows] + winding[rows] @ behind.T
        shown = np.clip(shown, -params.v_f_v, (v_bus[rows] + params.v_f_v)[:, None])
        volts[rows] = np.where(conducts[rows] | broken, volts[rows], shown)
    return volts


def _moving(recording: Recording, params: PlantParams, t_s: Floats) -> tuple[Floats, Floats, Floats]:
    """(phase currents n x 3, bus voltage n, EMF n x 3) at each of `t_s`."""
    at, states = recording.state_t_s, recording.states
    u, v = (np.interp(t_s, at, states[name].astype(np.float64)) for name in ("i_u_a", "i_v_a"))
    v_bus = np.interp(t_s, at, states["v_bus_v"].astype(np.float64))
    theta, w = recording.theta_at(t_s), recording.w_at(t_s)
    angles, shape = _shape_table(params)
    k = np.array(params.k_phases_v_s)
    lag = np.array([0.0, 1.0, 2.0]) * (2.0 * math.pi / 3.0)
    turned = np.mod(theta[:, None] - lag, 2.0 * math.pi)
    emf = k * w[:, None] * np.interp(turned, angles, shape)
    return np.stack([u, v, -(u + v)], axis=1), v_bus, emf


@lru_cache(maxsize=16)
def _shape_table(params: PlantParams) -> tuple[Floats, Floats]:
    """The EMF shape of phase U over one turn, ends included."""
    shape, _ = shape_of(params)
    angles = np.linspace(0.0, 2.0 * math.pi, SHAPE_POINTS + 1)
    return angles, np.array([shape(float(angle))[0] for angle in angles])


def _at_rails(
    params: PlantParams, gates: NDArray[np.int64], i_a: Floats, v_bus: Floats
) -> tuple[Floats, NDArray[np.bool_]]:
    """(what each leg shows if something in it conducts, whether something does), n x 3."""
    high, low = (gates & HIGH_FET) != 0, (gates & LOW_FET) != 0
    out, back = ~high & ~low & (i_a > NO_CURRENT_A), ~high & ~low & (i_a < -NO_CURRENT_A)
    bus = v_bus[:, None]
    volts = np.where(high, bus - params.r_on_ohm * i_a, -params.r_on_ohm * i_a)
    volts = np.where(out, -params.v_f_v - params.r_diode_ohm * i_a, volts)
    volts = np.where(back, bus + params.v_f_v - params.r_diode_ohm * i_a, volts)
    return volts, high | low | out | back


def _floating_star(emf: Floats, v_bus: Floats, v_f_v: float, broken: NDArray[np.bool_]) -> Floats:
    """Star point (V) of a machine none of whose legs conducts: see `plant/machine.py`."""
    connected = emf[:, ~broken]
    if not connected.shape[1]:
        return np.zeros(len(emf))
    star = -np.mean(connected, axis=1)
    star = np.minimum(star, v_bus + v_f_v - np.max(connected, axis=1))
    floor: Floats = np.maximum(star, -v_f_v - np.min(connected, axis=1))
    return floor
