"""What the probes would show: terminal voltages and bus at both sides of every gate edge.

A recording keeps rotor, currents and bus, one state at the end of each plant segment; the terminals follow
from them and from the FETs (`plant/terminals.py`). Within a segment all this is smooth; at its ends the gates
may change, so every segment gives two points. A point takes ten times the memory of a state: of a long run
they are gone through piece by piece, and only a stretch of them is kept.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from dryspin.plant.parameters import PlantParams, plant_params
from dryspin.plant.terminals import Floats, emf_v, flowing, terminals_v
from dryspin.recording import GATES, Recording
from dryspin.recording.signals import HIGH_FET, LOW_FET

_AT_ONCE_S = 1e-9
"""A gate edge this close to a state is at that state: a sixtieth of a cycle."""

_Number = TypeVar("_Number", np.int64, np.float64)

PIECE: Final = 1 << 15
"""Segments of a piece: its arrays stay in the processor's cache."""


@dataclass(frozen=True)
class Terminals:
    """Two points a segment, its beginning and its end, in the order of time.

    t_s: s. legs_v: terminals U, V, W against ground, n x 3. neutral_v: their mean, which the board's
    resistors make for the comparator. bus_v: what the bridge sees. currents_a: n x 3, into the motor.
    w_rad_s: of the rotor, mechanical.
    """

    t_s: Floats
    legs_v: Floats
    neutral_v: Floats
    bus_v: Floats
    currents_a: Floats
    w_rad_s: Floats


def terminals_of(recording: Recording, from_s: float = 0.0, to_s: float = np.inf) -> Terminals:
    """Terminals of all segments that reach into a stretch of time; empty where nobody saw the plant."""
    t_s = recording.state_t_s
    first = max(int(np.searchsorted(t_s, from_s)) - 1, 0)
    last = min(int(np.searchsorted(t_s, to_s, side="right")), max(len(t_s) - 1, 0))
    return _segments(recording, plant_params(recording.drive, recording.scenario), first, max(last, first))


def pieces_of(recording: Recording, to_s: float = np.inf, segments: int = PIECE) -> Iterator[Terminals]:
    """Terminals from the beginning to `to_s`, in pieces that follow each other."""
    t_s = recording.state_t_s
    params = plant_params(recording.drive, recording.scenario)
    end = min(int(np.searchsorted(t_s, to_s, side="right")), len(t_s) - 1)
    for first in range(0, end, segments):
        yield _segments(recording, params, first, min(first + segments, end))


def _segments(recording: Recording, params: PlantParams, first: int, last: int) -> Terminals:
    """Terminals of the segments from `first` to before `last`."""
    # What conducted before the first of them says how the bus jumps there.
    before = min(first, 1)
    states = recording.states[first - before : last + 1]
    t_s, w_rad_s = states["t_s"], states["w_rad_s"].astype(np.float64)
    i_u, i_v = states["i_u_a"].astype(np.float64), states["i_v_a"].astype(np.float64)
    currents = np.stack([i_u, i_v, -(i_u + i_v)], axis=1)
    gates = _gates_after(recording, t_s[:-1])
    # A diode conducts in a segment if it carries current at either end; at zero the clamp decides.
    flows = flowing(currents)
    carried = np.where(flows[1:] != 0.0, flows[1:], flows[:-1])
    bus = states["v_bus_v"].astype(np.float64)
    begin_v = bus[:-1] + _bus_jump(params, gates, carried, currents[:-1])
    emf = emf_v(params, states["theta_rad"], w_rad_s)
    begin = terminals_v(params, gates, currents[:-1], carried, emf[:-1], begin_v)
    end = terminals_v(params, gates, currents[1:], carried, emf[1:], bus[1:])
    legs = _between(begin[before:], end[before:])
    return Terminals(
        t_s=_both(t_s[before:]),
        legs_v=legs,
        # as the board's resistors do it: the mean of three alike
        neutral_v=(legs[:, 0] + legs[:, 1] + legs[:, 2]) / 3.0,
        bus_v=_between(begin_v[before:], bus[before + 1 :]),
        currents_a=_both(currents[before:]),
        w_rad_s=_both(w_rad_s[before:]),
    )


def _gates_after(recording: Recording, t_s: Floats) -> NDArray[np.int64]:
    """FETs of the three legs just after each of `t_s`, n x 3; all off before the first edge of any."""
    # Whole ones: searching whole numbers for others would copy all of them, every time.
    cycles = np.floor((t_s + _AT_ONCE_S) * recording.f_cpu_hz).astype(np.int64)
    found = np.zeros((len(t_s), 3), np.int64)
    begun = min((int(at[0]) for at, _, _ in map(recording.of, GATES) if len(at)), default=0)
    for leg, signal in enumerate(GATES):
        at, values, _ = recording.of(signal)
        if len(at):
            rows = np.searchsorted(at, cycles, side="right") - 1
            found[:, leg] = np.where(cycles < begun, 0, values[np.maximum(rows, 0)])
    return found


def _bus_jump(params: PlantParams, gates: NDArray[np.int64], carried_a: Floats, currents_a: Floats) -> Floats:
    """By how much the bus jumps at the beginning of each segment (V), through the capacitor's ESR.

    V = (v_c + ESR (V0/Rb - i_out)) / (1 + ESR/Rb) of `plant/machine.py`, with the source feeding throughout.
    """
    if params.stiff or not params.esr_ohm:
        return np.zeros(len(gates))

    def from_bus_a(fets: NDArray[np.int64], carried: Floats) -> Floats:
        off = (fets & (HIGH_FET | LOW_FET)) == 0
        at_bus = ((fets & HIGH_FET) != 0) | (off & (carried < 0.0))
        drawn = np.where(at_bus, currents_a, 0.0)
        return drawn[:, 0] + drawn[:, 1] + drawn[:, 2]

    more_a = from_bus_a(gates, carried_a) - from_bus_a(_before(gates), _before(carried_a))
    return -params.esr_ohm * more_a / (1.0 + params.esr_ohm / params.r_supply_ohm)


def _before(rows: NDArray[_Number]) -> NDArray[_Number]:
    return np.concatenate([rows[:1], rows[:-1]])


def _both(values: Floats) -> Floats:
    """At the beginning and at the end of each segment, of a value that does not jump."""
    return _between(values[:-1], values[1:])


def _between(begin: Floats, end: Floats) -> Floats:
    """begin[0], end[0], begin[1], end[1], ..."""
    both: Floats = np.stack([begin, end], axis=1).reshape(-1, *begin.shape[1:])
    return both
