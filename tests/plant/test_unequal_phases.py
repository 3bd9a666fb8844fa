"""Windings that differ from each other and feel each other, against circuits solved by hand.

Kirchhoff's laws for the few elements that conduct; no formula here needs a reference run.
"""

import math
from typing import Any

import numpy as np
import pytest

from dryspin.plant.equations import EquationPlant
from dryspin.plant.star import solve

from .bench_motor import BUS_V, MOTOR, at, go, motor, rpm

R, RON, L = MOTOR.r_ohm, MOTOR.r_on_ohm, MOTOR.l_h


def test_resistances_divide_the_settled_current() -> None:
    """Locked rotor, U to the bus, V and W to ground: i_v : i_w = (R_w + Ron) : (R_v + Ron)."""
    plant = EquationPlant(motor(r_factors=(1.0, 1.3, 0.8)), at())
    r_u, r_v, r_w = R + RON, 1.3 * R + RON, 0.8 * R + RON
    total_a = BUS_V / (r_u + r_v * r_w / (r_v + r_w))

    go(plant, 20e-3, (1, 2, 2))

    assert plant.state.i_u_a == pytest.approx(total_a, rel=1e-9)
    assert plant.state.i_v_a == pytest.approx(-total_a * r_w / (r_v + r_w), rel=1e-9)
    assert plant.state.i_w_a == pytest.approx(-total_a * r_v / (r_v + r_w), rel=1e-9)


def test_star_point_of_unequal_resistances_moves_with_the_current() -> None:
    """Open W shows V/2 - i (R_u - R_v)/2: half way between the rails only while no current flows."""
    plant = EquationPlant(motor(r_factors=(1.4, 1.0, 1.0)), at())

    go(plant, 1e-12, (1, 2, 0))
    assert plant.terminal_voltages()[2] == pytest.approx(BUS_V / 2.0, abs=1e-6)
    go(plant, 5e-3, (1, 2, 0))

    i_a = BUS_V / (2.4 * R + 2.0 * RON)
    assert plant.state.i_u_a == pytest.approx(i_a, rel=1e-6)
    assert plant.terminal_voltages()[2] == pytest.approx(BUS_V / 2.0 - i_a * 0.4 * R / 2.0, rel=1e-6)


def test_inductances_divide_the_voltage_of_the_first_moment() -> None:
    """U to the bus, V and W to ground, no current yet: di_x/dt = (u_x - v_n)/L_x, their sum zero."""
    factors = (1.0, 1.2, 0.7)
    plant = EquationPlant(motor(l_factors=factors), at())
    l_u, l_v, l_w = (L * factor for factor in factors)
    v_n = (BUS_V / l_u) / (1.0 / l_u + 1.0 / l_v + 1.0 / l_w)
    h = 1e-9

    go(plant, h, (1, 2, 2))

    # the resistive drop of the first nanosecond is the error
    assert plant.state.i_u_a / h == pytest.approx((BUS_V - v_n) / l_u, rel=1e-5)
    assert plant.state.i_v_a / h == pytest.approx(-v_n / l_v, rel=1e-5)
    assert plant.state.i_w_a / h == pytest.approx(-v_n / l_w, rel=1e-5)


def test_two_time_constants_of_unequal_windings() -> None:
    """Braked to one rail, currents follow d/dt i = -G R i; the matrix exponential gives them at 100 us."""
    params = motor(r_factors=(1.0, 1.6, 0.7), l_factors=(1.2, 0.8, 1.0), m_h=(3e-6, -2e-6, 1e-6))
    start = np.array([20.0, -13.0, -7.0])
    plant = EquationPlant(params, at(i=(20.0, -13.0, -7.0)))
    l_matrix = np.array([[1.2 * L, 3e-6, 1e-6], [3e-6, 0.8 * L, -2e-6], [1e-6, -2e-6, L]])
    r_matrix = np.diag([R + RON, 1.6 * R + RON, 0.7 * R + RON])
    # a basis of currents that add up to zero takes the star point out
    basis = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, -1.0]])
    a = -np.linalg.solve(basis.T @ l_matrix @ basis, basis.T @ r_matrix @ basis)
    values, vectors = np.linalg.eig(a)
    assert abs(values[0] - values[1]) > 500.0

    go(plant, 100e-6, (2, 2, 2))

    expected = basis @ (vectors * np.exp(values * 100e-6)) @ np.linalg.solve(vectors, start[:2])
    state = plant.state
    assert (state.i_u_a, state.i_v_a, state.i_w_a) == pytest.approx(tuple(expected), rel=1e-8)


def test_emf_constants_act_on_voltage_and_torque_alike() -> None:
    """Open W shows V/2 - (e_u + e_v)/2 + e_w with each phase's own k; T = (k_u + k_v) i on the flats."""
    factors = (1.1, 0.9, 0.95)
    w = rpm(6000.0)
    plant = EquationPlant(motor(k_factors=factors), at(w, 48.0))
    go(plant, 20e-6, (1, 2, 0))

    k = MOTOR.k_v_s
    angle = math.degrees(plant.state.theta_rad)
    e_u, e_v, e_w = 1.1 * k * w, -0.9 * k * w, 0.95 * k * w * (60.0 - angle) / 30.0
    assert plant.terminal_voltages()[2] == pytest.approx(BUS_V / 2.0 - (e_u + e_v) / 2.0 + e_w, abs=1e-9)
    assert plant.torque_nm(plant.vector) == pytest.approx(2.0 * k * plant.state.i_u_a, rel=1e-9)


@pytest.mark.parametrize("m_h", [(0.0, 2e-6, -1e-6), (4e-6, 0.0, 3e-6), (0.0, 1e-6, 1e-6)])
def test_coupling_shows_in_the_open_phase_of_a_locked_rotor(m_h: tuple[float, float, float]) -> None:
    """(m_wu - m_vw) di/dt beside V/2, with di/dt = V/(2 (L - m_uv)) in the first moment.

    "crossing caused by magnetic coupling between driven and undriven coils, not by EMF": a vendor's
    application note on stall detection (onlinedocs.microchip.com, GUID-EDEA6D6B) on false locks.
    """
    m_uv, m_vw, m_wu = m_h
    plant = EquationPlant(motor(m_h=m_h), at())

    go(plant, 1e-12, (1, 2, 0))

    slope = BUS_V / (2.0 * (L - m_uv))
    shift = plant.terminal_voltages()[2] - BUS_V / 2.0
    assert shift == pytest.approx((m_wu - m_vw) * slope, abs=1e-6)


def test_coupling_makes_the_comparator_toggle_with_the_chopping_of_a_locked_rotor() -> None:
    """Driven: above the neutral by (m_wu - m_vw) di/dt; freewheeling: below it. No rotor turns."""
    plant = EquationPlant(motor(m_h=(0.0, -1e-6, 1e-6)), at())
    plant.sense_leg = 2

    levels = []
    for n in range(6):
        go(plant, (n + 1) * 25e-6, (1 if n % 2 == 0 else 0, 2, 0))
        levels.append(plant.level)

    assert levels == [1, 0, 1, 0, 1, 0]


@pytest.mark.parametrize("conducting", [(True, True, True), (True, True, False), (False, True, True)])
def test_triangle_of_the_star_solves_kirchhoffs_equations(conducting: tuple[bool, bool, bool]) -> None:
    """Put back into sum L_xy di_y/dt + v_n = u_x: every conducting phase gives the same v_n."""
    params = motor(l_factors=(1.2, 0.8, 1.0), m_h=(3e-6, -2e-6, 1e-6))
    l_matrix = np.array([[1.2 * L, 3e-6, 1e-6], [3e-6, 0.8 * L, -2e-6], [1e-6, -2e-6, L]])
    u = np.array([12.0, -1.5, 3.0])
    star = solve(params, conducting)
    b_uv, b_vw, b_wu = star.triangle
    s_uv, s_vw, s_wu = b_uv * (u[0] - u[1]), b_vw * (u[1] - u[2]), b_wu * (u[2] - u[0])
    slopes = np.array([s_uv - s_wu, s_vw - s_uv, s_wu - s_vw])

    v_n = (u - l_matrix @ slopes)[list(conducting)]

    assert sum(slopes) == pytest.approx(0.0, abs=1e-9)
    assert v_n == pytest.approx(np.full(len(v_n), v_n[0]), rel=1e-12)


def test_equal_phases_are_what_they_were() -> None:
    """Factors of one and no coupling given in full are the plain motor, bit for bit."""
    full: dict[str, Any] = {"r_factors": (1.0,) * 3, "l_factors": (1.0,) * 3, "m_h": (0.0,) * 3}
    plants = EquationPlant(MOTOR, at(rpm(5000.0))), EquationPlant(motor(**full), at(rpm(5000.0)))
    for plant in plants:
        for n in range(20):
            go(plant, (n + 1) * 30e-6, ((1, 2, 0), (0, 2, 0), (0, 1, 2), (0, 0, 0))[n % 4])

    assert plants[0].state == plants[1].state


def test_coupling_stronger_than_the_windings_is_refused() -> None:
    """Such windings would give energy out of nothing; the message says what clashes."""
    with pytest.raises(ValueError, match=r"mutual inductances .* their deviations must stay below"):
        EquationPlant(motor(m_h=(40e-6, 0.0, 0.0)), at())
