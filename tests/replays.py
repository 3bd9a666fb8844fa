"""A plant led through the gates of a recording, without the firmware: one plant against the other."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from dryspin.plant.equations import EquationPlant
from dryspin.plant.parameters import PlantInput, PlantState
from dryspin.recording import GATES, Recording, Signal
from dryspin.recording.timeline import merge
from dryspin.rig.twin import TwinPlant


@dataclass(frozen=True)
class Replayed:
    """A plant led through recorded gates: comparator changes (s, level), state at each change of gates."""

    comparator: list[tuple[float, int]]
    states: list[PlantState]


def state_at(recording: Recording, from_s: float) -> PlantState:
    """The first state that the recording has from that moment on; the capacitor at the bus's voltage."""
    row = recording.states[int(np.searchsorted(recording.state_t_s, from_s))]
    i_u_a, i_v_a = float(row["i_u_a"]), float(row["i_v_a"])
    bus_v, w_rad_s, theta_rad = (float(row[name]) for name in ("v_bus_v", "w_rad_s", "theta_rad"))
    return PlantState(float(row["t_s"]), i_u_a, i_v_a, -(i_u_a + i_v_a), bus_v, w_rad_s, theta_rad)


def replay(
    plant: TwinPlant | EquationPlant, recording: Recording, from_s: float, to_s: float, given: PlantInput
) -> Replayed:
    """Lead `plant` through gates and sensed phase of `recording` between two moments."""
    plant.input = given
    seen: list[tuple[float, int]] = []
    states: list[PlantState] = []
    for until_s, gates, sense_leg in imposed(recording, from_s, to_s):
        plant.sense_leg = sense_leg
        reached_s = -1.0
        while reached_s < until_s:
            reached_s, event = plant.advance(until_s, gates)
            if event is not None:
                seen.append((reached_s, plant.level))
        states.append(plant.state)
    return Replayed(seen, states)


def imposed(
    recording: Recording, from_s: float, to_s: float
) -> Iterator[tuple[float, tuple[int, int, int], int]]:
    """Gates and sensed phase, each with the moment until which they stand."""
    line = merge(
        [*(recording.of(gate) for gate in GATES), recording.of(Signal.SENSE_LEG)], recording.end_cycle
    )
    for k in range(int(line.index_at(round(from_s * 16e6))), len(line)):
        u, v, w, sense_leg = (int(x) for x in line.values[k])
        yield min(int(line.ends[k]) / 16e6, to_s), (u, v, w), sense_leg
        if line.ends[k] >= to_s * 16e6:
            return
