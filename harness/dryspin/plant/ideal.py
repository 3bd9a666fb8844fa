"""Six-step commutation at the ideal angle, and the speed it brings a drive to.

The yardstick for firmware: whoever had an encoder and no delay would commutate exactly at the
borders 30 + 60 n electrical degrees, where the open phase changes. Nothing here senses anything.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from dryspin.plant.conduction import GATE_HIGH, GATE_LOW, GATE_OFF, Gates
from dryspin.plant.emf import FIRST_BORDER_RAD, SECTOR_RAD
from dryspin.plant.equations import EquationPlant
from dryspin.plant.parameters import PlantInput, PlantParams, PlantState

# (high, low, open) leg of sector n, forward. Backwards high and low change places.
SIX_STEP = ((0, 1, 2), (0, 2, 1), (1, 2, 0), (1, 0, 2), (2, 0, 1), (2, 1, 0))

F_PWM_HZ = 16e6 / 510  # phase-correct 8-bit PWM at 16 MHz
BORDER_S = 1e-10  # a border is reached when it is this close

# The steady speed does not depend on inertia, so the search for it uses one with which the speed
# settles with a time constant of this many electrical revolutions.
SETTLING_REVOLUTIONS = 4.0
WINDOW_REVOLUTIONS = 12
WINDOWS_MAX = 60
SETTLED = 2e-5  # relative change of the mean speed from one window to the next


def sector_of(theta_rad: float) -> int:
    """Number n (unwrapped) of the sector [30 + 60 n, 90 + 60 n) electrical degrees."""
    return math.floor((theta_rad - FIRST_BORDER_RAD) / SECTOR_RAD)


def open_leg(sector: int) -> int:
    """Leg (0..2 = U, V, W) that six-step leaves open in this sector, whatever the direction."""
    return SIX_STEP[sector % 6][2]


def six_step_gates(sector: int, direction: int = 1, on: bool = True) -> Gates:
    """Gates that drive a rotor in this sector in `direction` (+1, -1).

    `on` = False is the off-time of one-sided chopping: the high FET off, the low one stays on.
    """
    high, low, _ = SIX_STEP[sector % 6]
    if direction < 0:
        high, low = low, high
    gates = [GATE_OFF, GATE_OFF, GATE_OFF]
    gates[low] = GATE_LOW
    gates[high] = GATE_HIGH if on else GATE_OFF
    return gates[0], gates[1], gates[2]


def commutate(
    plant: EquationPlant, direction: int = 1, duty: float = 1.0, f_pwm_hz: float = F_PWM_HZ
) -> Iterator[PlantState]:
    """Drive a turning rotor for ever; yield the state at each border. Ends when the rotor stops.

    Chopping is one-sided: the high FET is on from the start of each PWM period (counted from the
    plant's time 0) for `duty` of it. The sensed leg follows the open one.
    """
    sector = sector_of(plant.state.theta_rad)
    rad_per_rad = float(plant.params.pole_pairs)
    while True:
        border_rad = FIRST_BORDER_RAD + SECTOR_RAD * (sector + (1 if direction > 0 else 0))
        plant.sense_leg = open_leg(sector)
        while True:
            state = plant.state
            if state.w_rad_s * direction <= 0.0:
                return
            to_go_s = (border_rad - state.theta_rad) / (rad_per_rad * state.w_rad_s)
            if to_go_s < BORDER_S:
                break
            on, edge_s = _carrier(state.t_s, duty, f_pwm_hz)
            plant.advance(min(state.t_s + to_go_s, edge_s), six_step_gates(sector, direction, on))
        sector += direction
        yield plant.state


def _carrier(t_s: float, duty: float, f_pwm_hz: float) -> tuple[bool, float]:
    """(high FET on, time of the next edge in s) of the PWM at `t_s`."""
    if duty >= 1.0:
        return True, math.inf
    period = math.floor(t_s * f_pwm_hz + 1e-9)  # an edge that was just reached counts as passed
    off_s = (period + duty) / f_pwm_hz
    if t_s < off_s - 1e-9 / f_pwm_hz:
        return True, off_s
    return False, (period + 1) / f_pwm_hz


def dc_equivalent_speed(params: PlantParams, imposed: PlantInput, duty: float = 1.0) -> float:
    """Steady speed (rad/s, >= 0) of the machine as a brushed one behind an ideal commutator.

    kt = 2 k, Rt = 2 (R + Ron) + Rb; positive root of kq w^2 + (kt^2/Rt + B) w + Tc + Tl - kt D V0 / Rt.
    Leaves out the overlap of the phases at commutation, so the true speed is lower.
    """
    kt = 2.0 * params.k_v_s
    r_ohm = 2.0 * (params.r_ohm + params.r_on_ohm) + (0.0 if params.stiff else params.r_supply_ohm)
    a = params.kq_nm_s2 * imposed.load_factor
    b = kt * kt / r_ohm + params.b_nm_s
    c = params.coulomb_nm + imposed.load_nm - kt * duty * imposed.v_supply_v / r_ohm
    if c >= 0.0:
        return 0.0
    return -2.0 * c / (b + math.sqrt(b * b - 4.0 * a * c))


def ideal_speed(
    params: PlantParams,
    imposed: PlantInput,
    duty: float = 1.0,
    direction: int = 1,
    f_pwm_hz: float = F_PWM_HZ,
) -> float:
    """Mean steady speed (rad/s, signed) under commutation at the ideal angle; 0 if the load stops it.

    `imposed.load_nm` is taken as opposing, whatever the direction. Good to about 0.01 % at full duty
    and to 0.5 % when chopping, where sectors and PWM periods beat. RuntimeError if the speed does not
    settle, which parameters of a real drive do not cause.
    """
    against = replace(imposed, load_nm=direction * imposed.load_nm)
    w = dc_equivalent_speed(params, imposed, duty)
    if w == 0.0:
        return 0.0
    kt = 2.0 * params.k_v_s
    r_ohm = 2.0 * (params.r_ohm + params.r_on_ohm)
    period_s = 2.0 * math.pi / (params.pole_pairs * w)
    j_kg_m2 = SETTLING_REVOLUTIONS * period_s * (kt * kt / r_ohm + 2.0 * params.kq_nm_s2 * w)
    plant = EquationPlant(
        replace(params, j_kg_m2=j_kg_m2, fixed_speed=False),
        PlantState(
            0.0, 0.0, 0.0, 0.0, imposed.v_supply_v, direction * w, FIRST_BORDER_RAD + 1e-6 * direction
        ),
    )
    plant.input = against
    borders = commutate(plant, direction, duty, f_pwm_hz)
    start_s, last = 0.0, math.inf
    for _ in range(WINDOWS_MAX):
        state = None
        for _ in range(6 * WINDOW_REVOLUTIONS):
            state = next(borders, None)
            if state is None:
                return 0.0
        assert state is not None
        mean = WINDOW_REVOLUTIONS * 2.0 * math.pi / (params.pole_pairs * (state.t_s - start_s))
        if abs(mean - last) < SETTLED * mean:
            return direction * mean
        start_s, last = state.t_s, mean
    raise RuntimeError(f"speed still changes after {start_s} s, last mean {last} rad/s; params {params}")
