"""What the probes would show: terminal voltages and bus at both sides of every gate edge.

A recording keeps rotor, currents and bus, one state at the end of each plant segment. The terminals follow
from them and from the FETs, by the equations of `plant/machine.py`:

    high FET on         v = V - r i              low FET on          v = -r i
    both off, i < 0     v = V + Vf - r_d i       both off, i > 0     v = -Vf - r_d i
    both off, i = 0     v = e + what the star shows there, between the clamps of the diodes

Within a segment all this is smooth; at its ends the gates may change, so every segment gives two points.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryspin.plant.parameters import PlantParams, plant_params
from dryspin.plant.star import solve
from dryspin.recording import Recording
from dryspin.recording.signals import HIGH_FET, LOW_FET

Floats = NDArray[np.float64]

_AT_ONCE_S = 1e-9
"""A gate edge this close to a state is at that state: a sixtieth of a cycle."""


@dataclass(frozen=True)
class Terminals:
    """Two points a segment, its beginning and its end, in the order of time.

    t_s: s. legs_v: terminals U, V, W against ground, n x 3. neutral_v: their mean, which the board's
    resistors make for the comparator. bus_v: what the bridge sees. currents_a: n x 3, into the motor.
    """

    t_s: Floats
    legs_v: Floats
    neutral_v: Floats
    bus_v: Floats
    currents_a: Floats


def terminals_of(recording: Recording) -> Terminals:
    """Terminals over the whole recording; empty where nobody saw the plant."""
    states = recording.states
    params = plant_params(recording.drive, recording.scenario)
    first, last = np.arange(max(len(states) - 1, 0)), np.arange(1, max(len(states), 1))
    t_s = states["t_s"]
    i_u, i_v = states["i_u_a"].astype(np.float64), states["i_v_a"].astype(np.float64)
    currents = np.stack([i_u, i_v, -(i_u + i_v)], axis=1)
    gates = _gates_after(recording, t_s[first])
    # A diode conducts in a segment if it carries current at either end; at zero the clamp decides.
    carried = np.where(currents[last] != 0.0, currents[last], currents[first])
    bus = states["v_bus_v"].astype(np.float64)
    begin_v = bus[first] + _bus_jump(params, gates, carried, currents[first], _before(gates))
    ends = {}
    for name, at, bus_v in (("begin", first, begin_v), ("end", last, bus[last])):
        emf = emf_v(params, states["theta_rad"][at], states["w_rad_s"][at].astype(np.float64))
        ends[name] = (bus_v, terminal_voltages(params, gates, currents[at], carried, emf, bus_v))
    legs = _between(ends["begin"][1], ends["end"][1])
    return Terminals(
        t_s=_between(t_s[first], t_s[last]),
        legs_v=legs,
        # as the board's resistors do it: the mean of three alike
        neutral_v=(legs[:, 0] + legs[:, 1] + legs[:, 2]) / 3.0,
        bus_v=_between(ends["begin"][0], ends["end"][0]),
        currents_a=_between(currents[first], currents[last]),
    )


def terminal_voltages(
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


def _gates_after(recording: Recording, t_s: Floats) -> NDArray[np.int64]:
    """FETs of the three legs just after each of `t_s`, n x 3."""
    gates = recording.gates
    if not len(gates):
        return np.zeros((len(t_s), 3), np.int64)
    rows = np.searchsorted(gates.cycles / recording.f_cpu_hz, t_s + _AT_ONCE_S, side="right") - 1
    return np.where(rows[:, None] < 0, 0, gates.values[np.maximum(rows, 0)])


def _before(gates: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.concatenate([gates[:1], gates[:-1]])


def _bus_jump(
    params: PlantParams,
    gates: NDArray[np.int64],
    carried_a: Floats,
    currents_a: Floats,
    before: NDArray[np.int64],
) -> Floats:
    """By how much the bus jumps at the beginning of each segment (V), through the capacitor's ESR.

    V = (v_c + ESR (V0/Rb - i_out)) / (1 + ESR/Rb) of `plant/machine.py`, with the source feeding throughout.
    """
    if params.stiff or not params.esr_ohm:
        return np.zeros(len(gates))
    carried_before = np.concatenate([carried_a[:1], carried_a[:-1]])

    def from_bus_a(fets: NDArray[np.int64], carried: Floats) -> Floats:
        off = (fets & (HIGH_FET | LOW_FET)) == 0
        at_bus = ((fets & HIGH_FET) != 0) | (off & (carried < 0.0))
        drawn = np.where(at_bus, currents_a, 0.0)
        return drawn[:, 0] + drawn[:, 1] + drawn[:, 2]

    more_a = from_bus_a(gates, carried_a) - from_bus_a(before, carried_before)
    return -params.esr_ohm * more_a / (1.0 + params.esr_ohm / params.r_supply_ohm)


def _floating_star_v(params: PlantParams, emf: Floats, bus_v: Floats) -> Floats:
    """Star point with nothing conducting: `_floating_star_v` of `plant/machine.py`, for connected phases."""
    connected = [leg for leg in range(3) if not params.broken[leg]]
    if not connected:
        return np.zeros(len(emf))
    mine = emf[:, connected]
    star_v = np.minimum(-mine.mean(axis=1), bus_v + params.v_f_v - mine.max(axis=1))
    held: Floats = np.maximum(star_v, -params.v_f_v - mine.min(axis=1))
    return held


def _between(begin: Floats, end: Floats) -> Floats:
    """begin[0], end[0], begin[1], end[1], ..."""
    both: Floats = np.stack([begin, end], axis=1).reshape(-1, *begin.shape[1:])
    return both
