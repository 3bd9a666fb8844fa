"""Everything of a plant that a later moment depends on."""

from __future__ import annotations

from dataclasses import dataclass

from dryspin.plant.conduction import Gates, Legs
from dryspin.plant.machine import Vector
from dryspin.plant.parameters import PlantInput


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Everything that decides how a plant goes on; made by `copy_state`, taken by `restore`."""

    t_s: float
    y: Vector
    gates: Gates
    legs: Legs
    moving: float
    feeding: float
    input: PlantInput
    imposed: PlantInput
    sense_leg: int
    level: int
    comparator_noise_v: float
