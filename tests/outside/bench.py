"""What several checks need: waiting for a moment, torque from currents, six-step to a steady speed."""

from __future__ import annotations

import math
from dataclasses import replace

from dryspin.plant.conduction import Gates
from dryspin.plant.ideal import commutate
from dryspin.plant.parameters import PlantInput, PlantParams, PlantState

from ..plant.bench_motor import at
from ..plant.golden import trapezoid
from .check import Maker, Plant

WINDOW_BORDERS = 72
"""Twelve electrical turns, over which a speed is averaged."""
WINDOWS_MAX = 60
SETTLED = 2e-5


def go(plant: Plant, to_s: float, gates: Gates) -> list[tuple[float, int]]:
    """Advance to `to_s` past all events; return the comparator's (time in s, new level)."""
    edges = []
    while True:
        reached_s, event = plant.advance(to_s, gates)
        if event is None:
            return edges
        edges.append((reached_s, plant.level))


def shape_of_each(params: PlantParams, theta_rad: float) -> tuple[float, float, float]:
    """f of U, V, W by the definitions of a 120-degree trapezoid and a sine, not by the plant's code."""
    third = 2.0 * math.pi / 3.0
    f = {"trapezoid": trapezoid, "sine": math.sin}[params.shape]
    return f(theta_rad), f(theta_rad - third), f(theta_rad + third)


def currents(plant: Plant) -> tuple[float, float, float]:
    """Phase currents (A) now."""
    state = plant.state
    return state.i_u_a, state.i_v_a, state.i_w_a


def torque_nm(plant: Plant) -> float:
    """T = sum k_x f_x i_x from the currents and the angle."""
    f = shape_of_each(plant.params, plant.state.theta_rad)
    return sum(k * f_x * i for k, f_x, i in zip(plant.params.k_phases_v_s, f, currents(plant), strict=True))


def steady_speed(make: Maker, params: PlantParams, imposed: PlantInput, duty: float = 1.0) -> float:
    """Mean speed (rad/s) to which commutation at the ideal angle brings the drive; 0 if it stops.

    The speed does not depend on the inertia, so one is used with which it settles within a few turns
    but does not follow the ripple of a step. RuntimeError if it does not settle.
    """
    kt, r_ohm = 2.0 * params.k_v_s, 2.0 * (params.r_ohm + params.r_on_ohm)
    w = 0.95 * duty * imposed.v_supply_v / kt
    turn_s = 2.0 * math.pi / (params.pole_pairs * w)
    j = 4.0 * turn_s * (kt * kt / r_ohm + 2.0 * params.kq_nm_s2 * w)
    plant = make(
        replace(params, j_kg_m2=j, fixed_speed=False),
        at(w, 30.0 + 1e-4, bus_v=imposed.v_supply_v),
    )
    plant.input = imposed
    since_s, last, count = 0.0, math.inf, 0
    for state in commutate(plant, duty=duty):  # type: ignore[arg-type]
        count += 1
        if count % WINDOW_BORDERS:
            continue
        mean = WINDOW_BORDERS / 6 * 2.0 * math.pi / (params.pole_pairs * (state.t_s - since_s))
        if abs(mean - last) < SETTLED * mean:
            return mean
        since_s, last = state.t_s, mean
        if count > WINDOWS_MAX * WINDOW_BORDERS:
            raise RuntimeError(f"speed still changes after {since_s} s, last mean {last} rad/s")
    return 0.0


def mean_torque_nm(make: Maker, params: PlantParams, w_rad_s: float, v_v: float) -> float:
    """Mean torque over one electrical turn at this speed, commutated at the ideal angle, without friction.

    From what it does to a rotor so heavy that its speed changes by less than a thousandth.
    """
    turn_s = 2.0 * math.pi / (params.pole_pairs * w_rad_s)
    stall_nm = params.k_v_s * v_v / (params.r_ohm + params.r_on_ohm)
    heavy = replace(params, j_kg_m2=1000.0 * stall_nm * turn_s / w_rad_s, coulomb_nm=0.0, fixed_speed=False)
    plant = make(heavy, at(w_rad_s, 30.0 + 1e-4, bus_v=v_v))
    borders = commutate(plant)  # type: ignore[arg-type]
    for _ in range(3):
        start = next(borders)
    for _ in range(6):
        end = next(borders)
    return heavy.j_kg_m2 * (end.w_rad_s - start.w_rad_s) / (end.t_s - start.t_s)


def reached_after_s(plant: Plant, w_rad_s: float) -> float:
    """When commutation at the ideal angle has brought the rotor to this speed, straight between borders."""
    before: PlantState = plant.state
    for after in commutate(plant):  # type: ignore[arg-type]
        if after.w_rad_s >= w_rad_s:
            part = (w_rad_s - before.w_rad_s) / (after.w_rad_s - before.w_rad_s)
            return before.t_s + part * (after.t_s - before.t_s)
        before = after
    return math.nan
