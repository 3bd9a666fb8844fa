"""Terminals of many moments at once, from what stood in each: FETs, currents, EMF, bus.

The same equations as `machine.py`, in arrays, for a recording's hundreds of thousands of states:

    high FET on         v = V - r i              low FET on          v = -r i
    both off, i < 0     v = V + Vf - r_d i       both off, i > 0     v = -Vf - r_d i
    both off, i = 0     v = e + what the star shows there, between the clamps of the diodes
"""

import math

import numpy as np
from numpy.typing import NDArray

from dryspin.plant.parameters import PlantParams
from dryspin.plant.star import solve

Floats = NDArray[np.float64]

HIGH_FET, LOW_FET = 1, 2
"""Bits of a leg's FETs, as a recording has them."""

NO_CURRENT_A = 1e-6
"""A diode carries more: a recording's single precision leaves a few 1e-7 A where a current has ended."""


def flowing(currents_a: Floats) -> Floats:
    """`currents_a` with 0 where none flows but for rounding."""
    return np.where(np.abs(currents_a) > NO_CURRENT_A, currents_a, 0.0)


def terminals_v(
    params: PlantParams,
    gates: NDArray[np.int64],
    currents_a: Floats,
    carried_a: Floats,
    emf: Floats,
    bus_v: Floats,
) -> Floats:
    """Voltages of U, V, W; all arrays n x 3 but `bus_v`, n.

    carried_a: its sign tells which diode conducts in a leg whose FETs are off, 0 that none does.
    """
    off = (gates & (HIGH_FET | LOW_FET)) == 0
    broken = np.array(params.broken)
    conducts = (~off | (carried_a != 0.0)) & ~broken
    at_bus = ((gates & HIGH_FET) != 0) | (off & (carried_a < 0.0))
    drop_v = np.where(off & (carried_a != 0.0), -np.sign(carried_a) * params.v_f_v, 0.0)
    r_ohm = np.where(off, params.r_diode_ohm, params.r_on_ohm)
    known_v = np.where(at_bus, bus_v[:, None], 0.0) + drop_v - r_ohm * currents_a
    left_v = known_v - np.array(params.r_phases_ohm) * currents_a - emf
    voltages = np.where(conducts | broken, known_v, 0.0)
    kinds = conducts[:, 0] | conducts[:, 1] << 1 | conducts[:, 2] << 2
    for kind in np.unique(kinds):
        rows = np.flatnonzero(kinds == kind)
        which = (bool(kind & 1), bool(kind & 2), bool(kind & 4))
        if any(which):
            behind = np.array(solve(params, which).behind)
            floating = emf[rows] + left_v[rows] @ behind.T
        else:
            floating = emf[rows] + _floating_star_v(params, emf[rows], bus_v[rows])[:, None]
        for leg in range(3):
            if not which[leg] and not broken[leg]:
                low, high = -params.v_f_v, bus_v[rows] + params.v_f_v
                voltages[rows, leg] = np.clip(floating[:, leg], low, high)
    return voltages


def emf_v(params: PlantParams, theta_rad: Floats, w_rad_s: Floats) -> Floats:
    """EMF of U, V, W: k w f(theta), n x 3, by the shapes of `plant/emf.py`."""
    third = 2.0 * math.pi / 3.0
    columns = []
    for leg, k_v_s in enumerate(params.k_phases_v_s):
        f = _shape(params, theta_rad - leg * third)
        columns.append(k_v_s * w_rad_s * (f + params.third_harmonic * np.sin(3.0 * theta_rad)))
    return np.stack(columns, axis=1)


def _shape(params: PlantParams, theta_rad: Floats) -> Floats:
    if params.shape == "sine":
        return np.sin(theta_rad)
    sixth = math.pi / 6.0
    angles = np.array([0.0, 1.0, 5.0, 7.0, 11.0, 12.0]) * sixth
    values = np.array([0.0, 1.0, 1.0, -1.0, -1.0, 0.0])
    if params.shape == "table":
        values = np.array([*params.shape_table, params.shape_table[0]])
        angles = np.linspace(0.0, 2.0 * math.pi, len(values))
    f: Floats = np.interp(np.mod(theta_rad, 2.0 * math.pi), angles, values)
    return f


def _floating_star_v(params: PlantParams, emf: Floats, bus_v: Floats) -> Floats:
    """Star point with nothing conducting: `_floating_star_v` of `plant/machine.py`, for connected phases."""
    connected = [leg for leg in range(3) if not params.broken[leg]]
    if not connected:
        return np.zeros(len(emf))
    mine = emf[:, connected]
    star_v = np.minimum(-mine.mean(axis=1), bus_v + params.v_f_v - mine.max(axis=1))
    held: Floats = np.maximum(star_v, -params.v_f_v - mine.min(axis=1))
    return held
