"""A plant led through the circuit of a netlist, beside what ngspice found there."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryspin.plant.emf import shape_of
from dryspin.plant.equations import EquationPlant

from . import reference
from .cases import Case
from .reference import Reference

AWAY_S = 0.5e-6
"""Samples this close to a gate edge or a diode's are left out: voltages jump there."""
JUMP_S = 20e-9
"""An event this close to one is that jump, not a crossing; two plants differ by less in where it is."""

Floats = NDArray[np.float64]


@cache
def theirs(case: Case) -> Reference:
    """ngspice's waveforms."""
    return reference.found_by_ngspice(case.path)


@dataclass(frozen=True)
class Seen:
    """What a plant did at ngspice's samples. open_leg: the leg whose EMF is smallest there."""

    samples: Floats
    open_leg: NDArray[np.int64]
    crossings: list[tuple[float, int, int]]


@cache
def changes_s(case: Case) -> Floats:
    """Moments at which gates, or what conducts on the equations, change."""
    changes = list(case.edges_s())
    lead(EquationPlant, case, changes.append)
    return np.array(sorted(changes))


def lead(make: Any, case: Case, on_change: Any = None) -> Seen:
    """Lead a plant through the case, stopping at ngspice's samples; tell `on_change` the times (s) at
    which what conducts changes, if the plant says so.
    """
    plant = make(case.params, case.state)
    if on_change is not None:
        plant.on_conduction = lambda t_s, legs: on_change(t_s)
    jumps = np.array([]) if on_change is not None else changes_s(case)
    plant.input = case.input
    shape, _ = shape_of(case.params)
    edges_s = set(case.edges_s())
    samples_s = {row[0] * 1e-6 for row in theirs(case).samples}
    rows, open_legs, crossings = [], [], []
    gates = case.gates(0.0)
    for stop_s in sorted({*edges_s, *samples_s, case.end_s}):
        while True:
            reached_s, event = plant.advance(stop_s, gates)
            if event is None:
                break
            smooth = not len(jumps) or np.abs(jumps - reached_s).min() > JUMP_S
            if smooth and abs(shape(plant.state.theta_rad)[plant.sense_leg]) < reference.CROSSING_MAX_F:
                crossings.append((reached_s * 1e6, plant.sense_leg, plant.level))
        state = plant.state
        # just after a border the leg that opens there is the smallest
        plant.sense_leg = int(np.argmin(np.abs(shape(state.theta_rad + 1e-9))))
        if stop_s in samples_s:
            currents = (state.i_u_a, state.i_v_a, state.i_w_a)
            rows.append((stop_s * 1e6, *currents, state.v_bus_v, *plant.terminal_voltages()))
            open_legs.append(plant.sense_leg)
        if stop_s in edges_s:
            gates = case.gates(stop_s)
    return Seen(np.array(rows), np.array(open_legs), crossings)


@dataclass(frozen=True)
class Differences:
    """current: rms, share of the peak current. bus, open_phase: rms, share of the supply voltage, the
    latter over `calm` samples away from edges. same_crossings: as many, of the same legs and directions;
    crossing_us: the largest difference between two (NaN if they are not the same).
    """

    current: float
    bus: float
    open_phase: float
    calm: int
    same_crossings: bool
    crossings: int
    crossing_us: float


def differences(make: Any, case: Case) -> Differences:
    """How far a plant of `make` and ngspice are apart on the circuit."""
    found = theirs(case)
    want, seen = np.array(found.samples), lead(make, case)
    currents = rms(seen.samples[:, 1:4] - want[:, 1:4]) / float(np.abs(want[:, 1:4]).max())
    apart_s = np.abs(want[:, :1] * 1e-6 - changes_s(case)[None, :]).min(axis=1)
    calm = np.flatnonzero(apart_s > AWAY_S)
    columns = 5 + seen.open_leg[calm]
    # all low there is no open phase; its comparator is left alone
    wanted = [] if case.chopping == "brake" else found.crossings
    same = [edge[1:] for edge in seen.crossings] == [edge[1:] for edge in wanted]
    pairs = zip(seen.crossings, wanted, strict=False)
    return Differences(
        currents,
        rms(seen.samples[:, 4] - want[:, 4]) / case.v_supply_v,
        rms(seen.samples[calm, columns] - want[calm, columns]) / case.v_supply_v,
        len(calm),
        same,
        len(wanted),
        max((abs(one[0] - two[0]) for one, two in pairs), default=0.0) if same else float("nan"),
    )


def rms(values: Floats) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(values**2)))
