"""What the probes would show: terminal voltages and bus at both sides of every gate edge.

A recording keeps rotor, currents and bus, one state at the end of each plant segment; the terminals follow
from them and from the FETs (`plant/terminals.py`). Within a segment all this is smooth; at its ends the gates
may change, so every segment gives two points.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryspin.plant.parameters import PlantParams, plant_params
from dryspin.plant.terminals import Floats, emf_v, flowing, terminals_v
from dryspin.recording import Recording
from dryspin.recording.signals import HIGH_FET, LOW_FET

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
    carried = np.where(flowing(currents[last]) != 0.0, flowing(currents[last]), flowing(currents[first]))
    bus = states["v_bus_v"].astype(np.float64)
    begin_v = bus[first] + _bus_jump(params, gates, carried, currents[first], _before(gates))
    ends = {}
    for name, at, bus_v in (("begin", first, begin_v), ("end", last, bus[last])):
        emf = emf_v(params, states["theta_rad"][at], states["w_rad_s"][at].astype(np.float64))
        ends[name] = (bus_v, terminals_v(params, gates, currents[at], carried, emf, bus_v))
    legs = _between(ends["begin"][1], ends["end"][1])
    return Terminals(
        t_s=_between(t_s[first], t_s[last]),
        legs_v=legs,
        # as the board's resistors do it: the mean of three alike
        neutral_v=(legs[:, 0] + legs[:, 1] + legs[:, 2]) / 3.0,
        bus_v=_between(ends["begin"][0], ends["end"][0]),
        currents_a=_between(currents[first], currents[last]),
    )


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


def _between(begin: Floats, end: Floats) -> Floats:
    """begin[0], end[0], begin[1], end[1], ..."""
    both: Floats = np.stack([begin, end], axis=1).reshape(-1, *begin.shape[1:])
    return both
