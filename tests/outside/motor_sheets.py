"""Published brushless motors, run as drives: the rows of their data sheets come out again.

Line-to-line values, halved for a phase; friction from the no-load current, kt I0; ideal FETs. A sheet's
figures are those of the brushed equivalent, which has no overlap of phases at commutation; where that
matters the check says with what share of the inductance it holds, and what the whole one costs.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from dryspin.plant.parameters import PlantInput, PlantParams

from ..plant.bench_motor import at, motor
from .bench import go, mean_torque_nm, reached_after_s, steady_speed, torque_nm
from .check import Maker, Row, apart, check, share

RPM_PER_MNM = 1000.0 * math.pi / 30.0
SHEET_A = "data sheet of a 13 mm, 6 W brushless motor, three windings (scribd 30713692)"
SHEET_C = "data sheet of a 43 mm, 30 W flat motor (scribd 629363718; stall torque, gradient from memory)"
SHEET_D = "public parameter file of a 40 mm, 120 W motor"


@dataclass(frozen=True)
class Sheet:
    """One column of a sheet, in its units made SI. One pole pair where none is published."""

    name: str
    v_v: float
    n0_rpm: float
    i0_a: float
    stall_a: float
    stall_nm: float
    efficiency: float
    r_ll_ohm: float
    l_ll_h: float
    kt_nm_a: float
    gradient_rad_s_nm: float
    tau_m_s: float
    j_kg_m2: float
    pole_pairs: int = 1

    def params(self, inductance_share: float = 1.0, **changes: Any) -> PlantParams:
        """The winding in its motor, on a stiff bus, at a driven speed."""
        values: dict[str, Any] = {
            **{"k_v_s": self.kt_nm_a / 2.0, "r_ohm": self.r_ll_ohm / 2.0, "r_on_ohm": 0.0},
            **{"l_h": inductance_share * self.l_ll_h / 2.0, "pole_pairs": self.pole_pairs},
            **{"j_kg_m2": self.j_kg_m2},
        }
        return motor(**(values | changes))

    def running(self, inductance_share: float = 1.0) -> PlantParams:
        """With a free rotor against kt I0."""
        return self.params(inductance_share, fixed_speed=False, coulomb_nm=self.kt_nm_a * self.i0_a)


A1 = Sheet(
    "A1",
    6.0,
    28300.0,
    0.194,
    4.30,
    8.30e-3,
    0.63,
    1.40,
    20.6e-6,
    1.93e-3,
    3580 * RPM_PER_MNM,
    6.18e-3,
    1.65e-8,
)
A2 = Sheet(
    "A2",
    9.0,
    30100.0,
    0.140,
    3.62,
    9.93e-3,
    0.65,
    2.48,
    41.6e-6,
    2.74e-3,
    3160 * RPM_PER_MNM,
    5.46e-3,
    1.65e-8,
)
A3 = Sheet(
    "A3",
    12.0,
    27000.0,
    0.0905,
    2.09,
    8.47e-3,
    0.63,
    5.74,
    91.0e-6,
    4.05e-3,
    3340 * RPM_PER_MNM,
    5.77e-3,
    1.65e-8,
)
C = Sheet(
    "C",
    12.0,
    4380.0,
    0.144,
    10.0,
    0.255,
    0.78,
    1.20,
    560e-6,
    25.5e-3,
    17.6 * RPM_PER_MNM,
    17.1e-3,
    92.5e-7,
    8,
)
WINDINGS = (A1, A2, A3)
# of motor D only resistance, inductance, kt, gradient, time constant and inertia are published
D = Sheet(
    "D",
    48.0,
    math.nan,
    0.0,
    math.nan,
    math.nan,
    math.nan,
    1.03,
    204e-6,
    44.8e-3,
    4.89 * RPM_PER_MNM,
    5.17e-3,
    101e-7,
)


def stalled(make: Maker, sheet: Sheet) -> tuple[float, float]:
    """(current in A, torque in Nm) of a locked rotor at 60 degrees, where both phases are on their flats."""
    plant = make(sheet.params(), at(degrees=60.0, bus_v=sheet.v_v))
    go(plant, 20.0 * sheet.l_ll_h / sheet.r_ll_ohm, (1, 2, 0))
    return plant.state.i_u_a, torque_nm(plant)


@check(SHEET_A)
def stall_of_a_small_motor(make: Maker) -> Iterator[Row]:
    """V / R_ll and kt V / R_ll."""
    for sheet in WINDINGS:
        i_a, nm = stalled(make, sheet)
        yield share("stall current", sheet.stall_a, i_a, 0.5, sheet.name)
        yield share("stall torque", sheet.stall_nm, nm, 0.5, sheet.name)


@check(SHEET_A)
def no_load_speed_of_a_small_motor(make: Maker) -> Iterator[Row]:
    """(V - I0 R_ll)/kt, with the winding's own inductance."""
    for sheet in WINDINGS:
        w = steady_speed(make, sheet.running(), PlantInput(sheet.v_v))
        yield share("no-load speed", sheet.n0_rpm, w * 30.0 / math.pi, 0.5, sheet.name)


def gradient(make: Maker, sheet: Sheet, inductance_share: float) -> float:
    """Speed lost per torque (rad/s per Nm) between 95 and 75 % of V / kt."""
    params = sheet.params(inductance_share, fixed_speed=False)
    fast, slow = (part * sheet.v_v / sheet.kt_nm_a for part in (0.95, 0.75))
    torques = [mean_torque_nm(make, params, w, sheet.v_v) for w in (slow, fast)]
    return (fast - slow) / (torques[0] - torques[1])


@check(SHEET_A)
def gradient_of_a_small_motor(make: Maker) -> Iterator[Row]:
    """R_ll / kt^2, with a tenth of the inductance."""
    for sheet in WINDINGS:
        seen = gradient(make, sheet, 0.1)
        yield share("speed-torque gradient, L/10", sheet.gradient_rad_s_nm, seen, 0.5, sheet.name)


@check(SHEET_A)
def gradient_with_the_whole_inductance(make: Maker) -> Iterator[Row]:
    """The overlap of the phases acts like more series resistance: 1.5 to 1.8 % steeper."""
    for sheet in WINDINGS:
        seen = gradient(make, sheet, 1.0)
        yield share("speed-torque gradient, whole L", sheet.gradient_rad_s_nm, seen, 2.5, sheet.name)


def run_up_s(make: Maker, sheet: Sheet, inductance_share: float) -> float:
    """Time (s) from rest to 63.2 % of V / kt, without friction."""
    # six-step needs a direction to begin with: 1 rad/s of some 3000
    params = sheet.params(inductance_share, fixed_speed=False)
    plant = make(params, at(1.0, 31.0, bus_v=sheet.v_v))
    return reached_after_s(plant, (1.0 - math.exp(-1.0)) * sheet.v_v / sheet.kt_nm_a)


@check(SHEET_A + "; tau_m = J R/(kt ke), nbyyjd.com 2025")
def mechanical_time_constant_of_a_small_motor(make: Maker) -> Iterator[Row]:
    """63.2 % of the final speed after J R_ll / kt^2, with a thirtieth of the inductance."""
    for sheet in WINDINGS:
        seen = run_up_s(make, sheet, 1.0 / 30.0)
        yield share("mechanical time constant, L/30", sheet.tau_m_s, seen, 0.5, sheet.name)


@check(SHEET_A)
def mechanical_time_constant_with_the_whole_inductance(make: Maker) -> Iterator[Row]:
    """The overlap of the phases makes it about 1 % slower."""
    for sheet in WINDINGS:
        seen = run_up_s(make, sheet, 1.0)
        yield share("mechanical time constant, whole L", sheet.tau_m_s, seen, 2.0, sheet.name)


@check(SHEET_C)
def rows_of_a_flat_motor(make: Maker) -> Iterator[Row]:
    """Eight pole pairs (from memory). Its no-load speed is published with iron loss: 3 %."""
    i_a, nm = stalled(make, C)
    yield share("stall current", C.stall_a, i_a, 0.5, "C")
    yield share("stall torque", C.stall_nm, nm, 0.5, "C")
    w = steady_speed(make, C.running(), PlantInput(C.v_v))
    yield share("no-load speed, iron loss published in", C.n0_rpm, w * 30.0 / math.pi, 3.0, "C")
    yield share("mechanical time constant, L/30", C.tau_m_s, run_up_s(make, C, 1.0 / 30.0), 0.5, "C")


@check(SHEET_D)
def time_constant_of_a_larger_motor(make: Maker) -> Iterator[Row]:
    """Its published kn is a copy error (kt kn = 10349 instead of 9549); kt, R and J agree with tau_m."""
    yield share("mechanical time constant, L/30", D.tau_m_s, run_up_s(make, D, 1.0 / 30.0), 0.5, "D")


@check(SHEET_A + ", " + SHEET_C + "; eta = (1 - sqrt(I0/Is))^2, textbook")
def best_efficiency(make: Maker) -> Iterator[Row]:
    """Shaft power over electrical power, best over a range of driven speeds; published in whole points.

    Both phases on their flats, with the current that has settled there.
    """
    for sheet in (*WINDINGS, C):
        best = 0.0
        for part in range(70, 96):
            w = part / 100.0 * sheet.v_v / sheet.kt_nm_a
            i_a = (sheet.v_v - sheet.kt_nm_a * w) / sheet.r_ll_ohm
            # settled current to begin with; a microsecond of the plant then has to keep it
            plant = make(sheet.params(pole_pairs=1), at(w, 60.0, (i_a, -i_a, 0.0), sheet.v_v))
            go(plant, 1e-6, (1, 2, 0))
            shaft_w = (torque_nm(plant) - sheet.kt_nm_a * sheet.i0_a) * w
            best = max(best, shaft_w / (sheet.v_v * plant.state.i_u_a))
        yield apart("best efficiency", 100.0 * sheet.efficiency, 100.0 * best, 1.1, "points", sheet.name)


@check("arithmetic on the rows of " + SHEET_C)
def working_point_of_a_flat_motor(make: Maker) -> Iterator[Row]:
    """3.000 A at 12 V: 3145.7 rpm; 36 W in, 10.8 W into copper, 25.2 W to the shaft."""
    w = 3145.7 * math.pi / 30.0
    # pole pairs do not matter for a working point; with one the phases stay on their flats
    plant = make(C.params(pole_pairs=1), at(w, 35.0, (3.0, -3.0, 0.0), C.v_v))
    go(plant, 2e-3, (1, 2, 0))
    i_a = plant.state.i_u_a
    yield share("current at a working point", 3.000, i_a, 0.01, "C, 12 V")
    yield share("electrical power at a working point", 36.0, C.v_v * i_a, 0.01, "C, 12 V")
    yield share("shaft power at a working point", 25.2, torque_nm(plant) * w, 0.01, "C, 12 V")


@check("definition: kt scaled by s, R and L by s^2 is the same copper in other turns")
def rewound_motor(make: Maker) -> Iterator[Row]:
    """Gradient and time constants do not change; nor does the run-up at a voltage scaled by s."""
    s = 1.7
    rewound = Sheet(
        "A1 rewound", s * A1.v_v, math.nan, A1.i0_a / s, math.nan, math.nan, math.nan,
        s**2 * A1.r_ll_ohm, s**2 * A1.l_ll_h, s * A1.kt_nm_a, math.nan, math.nan, A1.j_kg_m2,
    )  # fmt: skip
    yield share("run-up of a rewound motor", run_up_s(make, A1, 1.0), run_up_s(make, rewound, 1.0), 0.01)
