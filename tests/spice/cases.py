"""The circuits of the netlists, as parameters and gates of the equation plant."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

from dryspin.plant.conduction import Gates
from dryspin.plant.ideal import SIX_STEP, sector_of
from dryspin.plant.parameters import PlantInput, PlantParams, PlantState, k_phase_v_s

from .reference import NETLISTS

SECTOR_RAD = math.pi / 3.0
START_RAD = math.radians(37.0)
F_PWM_HZ = 20e3
DEAD_S = 0.5e-6

BASE = PlantParams(
    k_v_s=k_phase_v_s(1000.0),
    r_ohm=0.1,
    l_h=30e-6,
    pole_pairs=7,
    j_kg_m2=2e-5,
    b_nm_s=1e-6,
    coulomb_nm=2e-3,
    kq_nm_s2=6e-8,
    r_on_ohm=5e-3,
    v_f_v=0.7,
    r_supply_ohm=0.03,
    c_bus_f=470e-6,
    sinks=True,
    stiff=False,
    fixed_speed=True,
    divider=1.0,
    offset_v=0.0,
    delay_s=0.0,
)


@dataclass(frozen=True)
class Case:
    """A circuit and how it is driven. `chopping`: "off", "brake", "high side", "complementary"."""

    netlist: str
    params: PlantParams
    v_supply_v: float
    speed_rpm: float
    chopping: str
    duty: float
    end_s: float

    @property
    def path(self) -> Path:
        """The netlist."""
        (path,) = (path for path in NETLISTS if path.stem.startswith(f"{self.netlist}_"))
        return path

    @property
    def w_rad_s(self) -> float:
        """Speed at the start."""
        return self.speed_rpm * math.pi / 30.0

    @property
    def state(self) -> PlantState:
        """State at the start: no current, the bus at the source."""
        return PlantState(0.0, 0.0, 0.0, 0.0, self.v_supply_v, self.w_rad_s, START_RAD)

    @property
    def input(self) -> PlantInput:
        """What is imposed."""
        return PlantInput(self.v_supply_v)

    def gates(self, t_s: float) -> Gates:
        """Gates from `t_s` on to the next edge."""
        if self.chopping in ("off", "brake"):
            return (0, 0, 0) if self.chopping == "off" else (2, 2, 2)
        # decided a picosecond later, as the edges themselves carry rounding
        t_s += 1e-12
        high, low, _ = SIX_STEP[sector_of(START_RAD + self.params.pole_pairs * self.w_rad_s * t_s) % 6]
        in_period_s, period_s = t_s % (1.0 / F_PWM_HZ), 1.0 / F_PWM_HZ
        gates = [0, 0, 0]
        gates[low] = 2
        if in_period_s < self.duty * period_s:
            gates[high] = 1
        elif self.chopping == "complementary" and (
            self.duty * period_s + DEAD_S <= in_period_s < period_s - DEAD_S
        ):
            gates[high] = 2
        return gates[0], gates[1], gates[2]

    def edges_s(self) -> list[float]:
        """All moments at which a gate may change, and the sector borders of a driven rotor."""
        edges = {0.0}
        if self.params.fixed_speed:
            rad_s = self.params.pole_pairs * self.w_rad_s
            first = sector_of(START_RAD) + 1
            borders = range(first, first + math.ceil(rad_s * self.end_s / SECTOR_RAD) + 1)
            edges |= {(SECTOR_RAD / 2.0 + n * SECTOR_RAD - START_RAD) / rad_s for n in borders}
        if self.chopping in ("high side", "complementary"):
            period_s = 1.0 / F_PWM_HZ
            after_s = [0.0, self.duty * period_s]
            if self.chopping == "complementary":
                after_s += [self.duty * period_s + DEAD_S, period_s - DEAD_S]
            edges |= {n * period_s + a for n in range(math.ceil(self.end_s * F_PWM_HZ)) for a in after_s}
        return sorted(edge for edge in edges if edge < self.end_s)


UNEQUAL = replace(
    BASE,
    r_factors=(1.0, 1.3, 0.85),
    l_factors=(1.0, 34.0 / 30.0, 0.9),
    k_factors=(1.0, 1.04, 0.97),
    m_h=(2.5e-6, 1.5e-6, 0.0),
    esr_ohm=0.020,
)
FREE = replace(BASE, fixed_speed=False)

CASES = [
    Case("g1", replace(BASE, stiff=True), 12.6, 8000.0, "high side", 0.7963, 2.5e-3),
    Case("g2", replace(BASE, r_supply_ohm=0.02), 21.0, 14000.0, "high side", 0.8463, 2.5e-3),
    Case("g4", replace(FREE, sinks=False), 10.0, 14000.0, "off", 0.0, 2.5e-3),
    Case("g5", replace(FREE, j_kg_m2=4e-6), 12.6, 8000.0, "brake", 0.0, 6e-3),
    Case("s1", replace(BASE, shape="sine"), 12.6, 8000.0, "complementary", 0.7963, 2.5e-3),
    Case("s2", UNEQUAL, 12.6, 8000.0, "high side", 0.7963, 2.5e-3),
]
