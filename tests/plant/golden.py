"""Golden cases of the plant: parameters, gate schedules and what two outside references found.

Reads tests/plant/golden/*.json and drives any plant that keeps the plant's contract through a case.
Angles electrical, speeds mechanical, times in seconds here and in microseconds in the files.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any, Protocol

from dryspin.plant.parameters import PlantInput, PlantParams, PlantState

Gates = tuple[int, int, int]
GOLDEN_DIR = Path(__file__).with_name("golden")
SECTOR_RAD = math.pi / 3.0

# (high, low, floating) leg of sector n, theta in [30 + 60 n, 90 + 60 n) degrees, forward.
SIX_STEP = ((0, 1, 2), (0, 2, 1), (1, 2, 0), (1, 0, 2), (2, 0, 1), (2, 1, 0))


def tolerance_scale() -> float:
    """Factor on the tolerances of the golden tests; DRYSPIN_TOL_SCALE=0 makes them print the true errors."""
    return float(os.environ.get("DRYSPIN_TOL_SCALE", "1"))


class Plant(Protocol):
    """What a golden case needs of a plant."""

    input: PlantInput
    sense_leg: int
    level: int

    @property
    def state(self) -> PlantState: ...

    def advance(self, to_s: float, gates: Gates) -> tuple[float, str | None]: ...

    def terminal_voltages(self) -> tuple[float, float, float]: ...


@dataclass(frozen=True)
class Case:
    """One golden case. `raw` is the file; expected values are {"value", "tol"} in it."""

    name: str
    raw: dict[str, Any]

    @property
    def params(self) -> PlantParams:
        p = self.raw["params"]
        return PlantParams(
            k_v_s=p["k"],
            r_ohm=p["R"],
            l_h=p["L"],
            pole_pairs=p["pp"],
            j_kg_m2=p["J"],
            b_nm_s=p["B"],
            coulomb_nm=p["Tc"],
            kq_nm_s2=p["k2"],
            r_on_ohm=p["Ron"],
            v_f_v=p["Vf"],
            r_supply_ohm=0.0 if p["bus"] == "stiff" else p["Rb"],
            c_bus_f=p["C"],
            sinks=not p["nosink"],
            stiff=p["bus"] == "stiff",
            fixed_speed=bool(p["fixed"]),
            divider=1.0,
            offset_v=0.0,
            delay_s=0.0,
        )

    @property
    def state(self) -> PlantState:
        p = self.raw["params"]
        return PlantState(0.0, 0.0, 0.0, 0.0, p["Vinit"], p["w0"], p["th0"])

    @property
    def input(self) -> PlantInput:
        p = self.raw["params"]
        return PlantInput(v_supply_v=p["V0"], load_factor=1.0, load_nm=p["Tl"])

    @property
    def end_s(self) -> float:
        return float(self.raw["params"]["tend"])

    @property
    def window_from_s(self) -> float:
        return float(self.raw["window_from_s"])

    def expected(self, name: str) -> tuple[float, float]:
        """(value, tolerance) of one expected number, tolerance scaled by DRYSPIN_TOL_SCALE."""
        entry = self.raw["expected"][name]
        return float(entry["value"]), float(entry["tol"]) * tolerance_scale()

    def gate_schedule(self) -> list[tuple[float, Gates]]:
        """(time, gates from then on), in order of time, first at 0."""
        p = self.raw["params"]
        if p["scheme"] == "off":
            return [(0.0, (0, 0, 0))]
        if p["scheme"] == "brake":
            return [(0.0, (2, 2, 2))]
        period_s = 1.0 / p["fpwm"]
        times = {time_s for time_s, _ in self.sense_schedule()}
        for n in range(math.ceil(self.end_s / period_s)):
            times |= {n * period_s, (n + p["duty"]) * period_s}
        schedule: list[tuple[float, Gates]] = []
        for time_s in sorted(t for t in times if t < self.end_s):
            # decided a picosecond later, as the edges themselves carry rounding
            high, low, _ = SIX_STEP[self._sector(time_s + 1e-12)]
            on = math.modf((time_s + 1e-12) / period_s)[0] < p["duty"]
            gates = [0, 0, 0]
            gates[low] = 2
            gates[high] = 1 if on else 0
            schedule.append((time_s, (gates[0], gates[1], gates[2])))
        return schedule

    def sense_schedule(self) -> list[tuple[float, int]]:
        """(time, floating leg from then on) at constant speed: one entry per sector."""
        p = self.raw["params"]
        w_electrical = p["pp"] * p["w0"]
        schedule = [(0.0, SIX_STEP[self._sector(0.0)][2])]
        border = math.floor((p["th0"] - SECTOR_RAD / 2.0) / SECTOR_RAD) + 1
        while True:
            time_s = (SECTOR_RAD / 2.0 + border * SECTOR_RAD - p["th0"]) / w_electrical
            if time_s >= self.end_s:
                return schedule
            schedule.append((time_s, SIX_STEP[border % 6][2]))
            border += 1

    def _sector(self, time_s: float) -> int:
        p = self.raw["params"]
        theta = p["th0"] + p["pp"] * p["w0"] * time_s
        return math.floor((theta - SECTOR_RAD / 2.0) / SECTOR_RAD) % 6


@dataclass(frozen=True)
class Stop:
    """What was seen where a run stopped: the gates are those up to this moment."""

    state: PlantState
    terminals: tuple[float, float, float]
    torque_nm: float


@dataclass
class Trace:
    """What was seen on the way: one entry per stop, comparator edges in microseconds."""

    stops: list[Stop] = field(default_factory=list)
    edges_us: list[tuple[float, int]] = field(default_factory=list)


def load(name: str) -> Case:
    """Case by the beginning of its file name, such as "g1"."""
    (path,) = GOLDEN_DIR.glob(f"{name}_*.json")
    return Case(path.stem, json.loads(path.read_text(encoding="utf-8")))


def _advance(plant: Plant, to_s: float, gates: Gates, trace: Trace) -> None:
    while True:
        reached_s, event = plant.advance(to_s, gates)
        if event is None:
            return
        trace.edges_us.append((reached_s * 1e6, plant.level))


def _stops(case: Case, extra_s: list[float]) -> Iterator[tuple[float, Gates, int | None]]:
    """(stop, gates that hold up to it, floating leg that holds up to it) from the schedules."""
    gates_at, sense_at = case.gate_schedule(), case.sense_schedule()
    fixed = bool(case.raw["params"]["fixed"])
    times = sorted({t for t, _ in gates_at} | {t for t, _ in sense_at if fixed} | {*extra_s, case.end_s})
    g = s = 0
    for start_s, stop_s in pairwise(times):
        while g + 1 < len(gates_at) and gates_at[g + 1][0] <= start_s:
            g += 1
        while s + 1 < len(sense_at) and sense_at[s + 1][0] <= start_s:
            s += 1
        yield stop_s, gates_at[g][1], sense_at[s][1] if fixed else None


def run(plant: Plant, case: Case, extra_s: list[float]) -> Trace:
    """Drive `plant`, made from the case's params and state, to the end; stop at the gate edges and `extra_s`.

    The comparator listens to the floating leg of each sector; with a free rotor the borders of the
    sectors are sought by its angle.
    """
    trace = Trace()
    plant.input = case.input
    plant.sense_leg = case.sense_schedule()[0][1]
    plant.advance(0.0, case.gate_schedule()[0][1])
    trace.stops.append(_stop(plant, case))
    for stop_s, gates, floating in _stops(case, extra_s):
        if floating is None:
            _follow_sectors(plant, case, stop_s, gates, trace)
        else:
            plant.sense_leg = floating
        _advance(plant, stop_s, gates, trace)
        trace.stops.append(_stop(plant, case))
    return trace


def trapezoid(theta_rad: float) -> float:
    """The files' EMF shape of phase U, straight from their conventions."""
    degrees = math.degrees(theta_rad) % 360.0
    if degrees > 180.0:
        return -trapezoid(math.radians(degrees - 180.0))
    return min(1.0, degrees / 30.0, (180.0 - degrees) / 30.0)


def _stop(plant: Plant, case: Case) -> Stop:
    state = plant.state
    third = 2.0 * math.pi / 3.0
    torque_nm = case.params.k_v_s * sum(
        i * trapezoid(state.theta_rad - n * third)
        for n, i in enumerate((state.i_u_a, state.i_v_a, state.i_w_a))
    )
    return Stop(state, plant.terminal_voltages(), torque_nm)


def _follow_sectors(plant: Plant, case: Case, stop_s: float, gates: Gates, trace: Trace) -> None:
    """Advance to the last sector border before `stop_s`, changing the sensed leg at each."""
    pole_pairs = case.params.pole_pairs
    while True:
        state = plant.state
        # the border that was just sought is reached up to a rounding error
        sector = math.floor((state.theta_rad - SECTOR_RAD / 2.0) / SECTOR_RAD + 1e-7)
        plant.sense_leg = SIX_STEP[sector % 6][2]
        border_rad = SECTOR_RAD / 2.0 + (sector + 1) * SECTOR_RAD
        to_go_s = (border_rad - state.theta_rad) / (pole_pairs * state.w_rad_s)
        if state.t_s + to_go_s >= stop_s:
            return
        _advance(plant, state.t_s + to_go_s, gates, trace)
