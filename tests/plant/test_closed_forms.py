"""The equation plant against circuits that can be solved on paper.

Each formula follows from Kirchhoff's laws for the few elements that conduct; none needs a reference run.
Rt = R + Ron is what one conducting phase has in its way.
"""

import math

import numpy as np
import pytest

from dryspin.plant.conduction import HIGH_DIODE, LOW_DIODE, OPEN, Legs
from dryspin.plant.equations import EquationPlant

from .bench_motor import BUS_V, MOTOR, TAU_S, at, go, motor, rpm

RT = MOTOR.r_ohm + MOTOR.r_on_ohm


def conduction_times(plant: EquationPlant) -> list[tuple[float, Legs]]:
    """List that fills with (time in s, legs) as what conducts changes."""
    changes: list[tuple[float, Legs]] = []
    plant.on_conduction = lambda t_s, legs: changes.append((t_s, legs))
    return changes


def test_current_of_a_locked_rotor_rises_by_r_and_l() -> None:
    """Two phases in series on the bus: i = V / (2 Rt) (1 - exp(-t / tau)); the open one sits at V / 2."""
    plant = EquationPlant(MOTOR, at())

    for t_us in (10.0, 50.0, 100.0, 300.0, 1000.0):
        go(plant, t_us * 1e-6, (1, 2, 0))
        expected = BUS_V / (2.0 * RT) * (1.0 - math.exp(-t_us * 1e-6 / TAU_S))
        assert plant.state.i_u_a == pytest.approx(expected, rel=1e-9)
        assert plant.terminal_voltages()[2] == pytest.approx(BUS_V / 2.0, abs=1e-9)


def test_freewheeling_current_ends_at_zero_and_stays_there() -> None:
    """Low diode and low FET: i = (i0 + Vf/2Rt) exp(-t/tau) - Vf/2Rt, zero at tau ln(1 + 2 Rt i0/Vf)."""
    i_0, floor_a = 20.0, MOTOR.v_f_v / (2.0 * RT)
    plant = EquationPlant(MOTOR, at(i=(i_0, -i_0, 0.0)))
    changes = conduction_times(plant)

    for t_us in (50.0, 200.0, 400.0):
        go(plant, t_us * 1e-6, (0, 2, 0))
        expected = (i_0 + floor_a) * math.exp(-t_us * 1e-6 / TAU_S) - floor_a
        assert plant.state.i_u_a == pytest.approx(expected, abs=1e-8)
    go(plant, 700e-6, (0, 2, 0))

    end_s, legs = changes[-1]
    assert legs[0] is OPEN
    assert end_s == pytest.approx(TAU_S * math.log(1.0 + i_0 / floor_a), abs=2e-11)
    assert (plant.state.i_u_a, plant.state.i_v_a, plant.state.i_w_a) == (0.0, 0.0, 0.0)


def test_current_of_opened_gates_returns_to_the_bus() -> None:
    """Against V + 2 Vf: zero at tau ln(1 + 2 Rt i0 / (V + 2 Vf)); the bus receives V times the charge."""
    i_0, against_v = 20.0, BUS_V + 2.0 * MOTOR.v_f_v
    floor_a = against_v / (2.0 * RT)
    zero_s = TAU_S * math.log(1.0 + i_0 / floor_a)
    charge_c = TAU_S * i_0 - floor_a * zero_s
    plant = EquationPlant(MOTOR, at(i=(i_0, -i_0, 0.0)))
    changes = conduction_times(plant)

    currents = []
    times_s = np.linspace(0.0, zero_s, 201)
    for t_s in times_s:
        go(plant, float(t_s), (0, 0, 0))
        currents.append(-plant.state.i_v_a)
    go(plant, zero_s + 1e-6, (0, 0, 0))

    assert changes[0] == (pytest.approx(zero_s, abs=2e-11), (OPEN, OPEN, OPEN))
    assert np.trapezoid(currents, times_s) == pytest.approx(charge_c, rel=1e-5)
    # 9.0326 mJ, as computed from the same formula outside this project
    assert BUS_V * charge_c == pytest.approx(0.009032576527802155, rel=1e-9)


def test_open_rotor_coasts_to_rest_and_stays() -> None:
    """w = (w0 + Tc/B) exp(-B t / J) - Tc/B; at rest at J/B ln(1 + B w0 / Tc), and not a step further."""
    j, b, coulomb, w_0 = 2e-5, 1e-5, 2e-3, 100.0
    params = motor(fixed_speed=False, j_kg_m2=j, b_nm_s=b, coulomb_nm=coulomb)
    stop_s = j / b * math.log(1.0 + b * w_0 / coulomb)
    plant = EquationPlant(params, at(w_0), step_max_s=100e-6)

    go(plant, 0.3, (0, 0, 0))
    expected = (w_0 + coulomb / b) * math.exp(-b * 0.3 / j) - coulomb / b
    assert plant.state.w_rad_s == pytest.approx(expected, rel=1e-9)

    go(plant, stop_s - 1e-6, (0, 0, 0))
    assert 0.0 < plant.state.w_rad_s < 2e-4
    go(plant, stop_s + 1e-6, (0, 0, 0))
    rest = plant.state.theta_rad
    go(plant, 1.0, (0, 0, 0))
    assert plant.state.w_rad_s == 0.0
    assert plant.state.theta_rad == rest


def test_stall_current_and_bus_follow_the_two_state_solution() -> None:
    """Winding and bus capacitor: d/dt [i, V] = [[-Rt/L, 1/2L], [-1/C, -1/RbC]] [i, V] + [0, V0/RbC]."""
    r_b, c = 0.03, 470e-6
    params = motor(stiff=False, r_supply_ohm=r_b, c_bus_f=c)
    a = np.array([[-1.0 / TAU_S, 0.5 / MOTOR.l_h], [-1.0 / c, -1.0 / (r_b * c)]])
    settled = -np.linalg.solve(a, [0.0, BUS_V / (r_b * c)])
    values, vectors = np.linalg.eig(a)
    weights = np.linalg.solve(vectors, np.array([0.0, BUS_V]) - settled)
    plant = EquationPlant(params, at())

    for t_us in (5.0, 20.0, 50.0, 100.0, 500.0):
        go(plant, t_us * 1e-6, (1, 2, 0))
        i_a, bus_v = settled + (vectors * np.exp(values * t_us * 1e-6)) @ weights
        # error of the fourth-order step at a quarter of the bus time constant
        assert plant.state.i_u_a == pytest.approx(float(i_a.real), rel=2e-5)
        assert plant.state.v_bus_v == pytest.approx(float(bus_v.real), rel=2e-6)


def test_a_finer_step_closes_in_on_the_two_state_solution() -> None:
    """The values of 100 us, given to ten digits outside this project, at a tenth of the step."""
    params = motor(stiff=False, r_supply_ohm=0.03, c_bus_f=470e-6)
    plant = EquationPlant(params, at(), step_max_s=0.25e-6)

    go(plant, 100e-6, (1, 2, 0))

    assert plant.state.i_u_a == pytest.approx(17.398144484220147, rel=1e-9)
    assert plant.state.v_bus_v == pytest.approx(12.14141732557253, rel=1e-9)


@pytest.mark.parametrize(("speed_share", "conducts"), [(0.9999, False), (1.0001, True)])
def test_rotor_feeds_the_bus_only_above_the_threshold_speed(speed_share: float, conducts: bool) -> None:
    """All gates off: the diodes rectify once 2 k w exceeds V + 2 Vf, at 14 000 rpm on this motor."""
    w_min = (BUS_V + 2.0 * MOTOR.v_f_v) / (2.0 * MOTOR.k_v_s)
    assert w_min == pytest.approx(rpm(14000.0), rel=1e-9)
    plant = EquationPlant(MOTOR, at(w_min * speed_share))
    changes = conduction_times(plant)

    go(plant, 500e-6, (0, 0, 0))

    diodes = {leg for _, legs in changes for leg in legs} | set(plant.conduction)
    assert bool(diodes & {HIGH_DIODE, LOW_DIODE}) is conducts


def test_single_low_fet_lets_a_diode_of_another_leg_conduct() -> None:
    """At 45 degrees with only U low on: iV = (2 k w - Vf)/(2 Rt) (1 - exp(-t/tau)), through its low diode."""
    drive_v = 2.0 * MOTOR.k_v_s * rpm(8000.0) - MOTOR.v_f_v
    plant = EquationPlant(MOTOR, at(rpm(8000.0), 45.0))

    # 40 us are 13.4 degrees: up to 58, the EMFs of U and V stay flat
    for t_us in (10.0, 20.0, 40.0):
        go(plant, t_us * 1e-6, (2, 0, 0))
        i_a = drive_v / (2.0 * RT) * (1.0 - math.exp(-t_us * 1e-6 / TAU_S))
        assert plant.state.i_v_a == pytest.approx(i_a, rel=1e-9)
        assert plant.state.i_u_a == -plant.state.i_v_a
        assert plant.conduction[2] is OPEN
