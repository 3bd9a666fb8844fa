"""The motor of the golden cases with everything incidental switched off, and states to start it from."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from dryspin.plant.equations import EquationPlant, Gates
from dryspin.plant.parameters import PlantParams, PlantState, k_phase_v_s
from dryspin.rig.twin import TwinPlant

# 1000 rpm/V, 7 pole pairs; stiff bus, speed imposed.
MOTOR = PlantParams(
    k_v_s=k_phase_v_s(1000.0),
    r_ohm=0.1,
    l_h=30e-6,
    pole_pairs=7,
    j_kg_m2=2e-5,
    b_nm_s=0.0,
    coulomb_nm=0.0,
    kq_nm_s2=0.0,
    r_on_ohm=5e-3,
    v_f_v=0.7,
    r_supply_ohm=0.0,
    c_bus_f=470e-6,
    sinks=True,
    stiff=True,
    fixed_speed=True,
    divider=1.0,
    offset_v=0.0,
    delay_s=0.0,
)
BUS_V = 12.6
TAU_S = MOTOR.l_h / (MOTOR.r_ohm + MOTOR.r_on_ohm)


def rpm(value: float) -> float:
    """Revolutions per minute as rad/s."""
    return value * 2.0 * math.pi / 60.0


def motor(**changes: Any) -> PlantParams:
    """MOTOR with some parameters changed."""
    return replace(MOTOR, **changes)


def at(
    w_rad_s: float = 0.0,
    degrees: float = 45.0,
    i: tuple[float, float, float] = (0.0, 0.0, 0.0),
    bus_v: float = BUS_V,
) -> PlantState:
    """State at time 0; the angle in electrical degrees."""
    return PlantState(0.0, *i, bus_v, w_rad_s, math.radians(degrees))


def go(plant: EquationPlant | TwinPlant, to_s: float, gates: Gates) -> list[tuple[float, int]]:
    """Advance to `to_s` past all events; return the comparator's (time in s, new level)."""
    edges = []
    while True:
        reached_s, event = plant.advance(to_s, gates)
        if event is None:
            return edges
        edges.append((reached_s, plant.level))
