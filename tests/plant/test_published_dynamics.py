"""Time constants and temperatures from manuals and tutorials, run on the plant."""

import math

import pytest

from dryspin.plant.equations import EquationPlant

from .bench_motor import at, go, motor, rpm


def test_electrical_time_constant_of_a_published_servo_motor() -> None:
    """D-20: 14 mH, 1.63 ohm line to line: 8.6 ms (servo manual, easymanua.ls/parker/ex-series, p. 65)."""
    params = motor(r_ohm=1.63 / 2.0, l_h=14e-3 / 2.0, r_on_ohm=0.0)
    plant = EquationPlant(params, at(bus_v=24.0), step_max_s=50e-6)
    settled_a = 24.0 / 1.63

    go(plant, 8.6e-3, (1, 2, 0))

    assert plant.state.i_u_a / settled_a == pytest.approx(1.0 - math.exp(-1.0), rel=5e-3)
    assert -8.6e-3 / math.log(1.0 - plant.state.i_u_a / settled_a) == pytest.approx(8.6e-3, rel=0.01)


def test_mechanical_time_constant_of_a_published_servo_motor() -> None:
    """D-20: J 98e-5 kg m2, 81.7 Vrms per 1000 rpm: 0.5 R_pp J/Ke^2 = 1.3 ms (same manual, sec. 3.2.8.2).

    A sine machine of three phases, braked on one rail: T = -3/2 k^2 w/R. The formula leaves the
    inductance out, so the plant has a thousandth of it; the published figure has two digits, the
    recomputed one is 1.312 ms.
    """
    ke_rms = 81.7 / rpm(1000.0)
    assert ke_rms == pytest.approx(0.7802, rel=1e-4)
    params = motor(
        **{"k_v_s": ke_rms * math.sqrt(2.0 / 3.0), "r_ohm": 1.63 / 2.0, "l_h": 7e-6, "r_on_ohm": 0.0},
        **{"j_kg_m2": 98e-5, "fixed_speed": False, "shape": "sine", "pole_pairs": 5},
    )
    plant = EquationPlant(params, at(rpm(300.0), bus_v=310.0))

    while plant.state.w_rad_s > rpm(300.0) / math.e:
        go(plant, plant.state.t_s + 1e-6, (2, 2, 2))

    assert plant.state.t_s == pytest.approx(1.312e-3, rel=0.01)
    assert plant.state.t_s == pytest.approx(1.3e-3, abs=0.05e-3)


def test_two_state_motor_of_the_tutorial() -> None:
    """D-21: K 0.01, R 1, L 0.5, b 0.1, 1 V (university control tutorial "DC motor speed"): 0.1 rad/s.

    "maximum speed is 0.1 rad/sec ... poles at s = -2 and s = -10" (userz.net, qeeebo.com; J 0.01 from
    memory). Recomputed 0.09990 rad/s, poles -2.0025 and -9.9975. Two phases on their flats, which a
    rotor as slow as this does not leave within the 5 s, are the tutorial's motor.
    """
    j, b, k, r, ind = 0.01, 0.1, 0.01, 1.0, 0.5
    params = motor(
        **{"k_v_s": k / 2.0, "r_ohm": r / 2.0, "l_h": ind / 2.0, "r_on_ohm": 0.0, "pole_pairs": 1},
        **{"j_kg_m2": j, "b_nm_s": b, "fixed_speed": False},
    )
    plant = EquationPlant(params, at(degrees=31.0, bus_v=1.0), step_max_s=1e-3)
    slow, fast, final = -2.0025, -9.9975, 0.09990

    for t_s in (0.2, 0.5, 1.0, 2.0, 5.0):
        go(plant, t_s, (1, 2, 0))
        step = 1.0 - (fast * math.exp(slow * t_s) - slow * math.exp(fast * t_s)) / (fast - slow)
        assert plant.state.w_rad_s == pytest.approx(final * step, rel=1e-3)

    assert plant.state.w_rad_s == pytest.approx(0.1, rel=2e-3)
    assert math.degrees(plant.state.theta_rad) < 90.0


@pytest.mark.parametrize(
    ("celsius", "factor"), [(40.0, 1.058), (85.0, 1.231), (125.0, 1.385), (150.0, 1.482), (200.0, 1.674)]
)
def test_stall_current_of_a_hot_winding_falls_by_the_published_factor(celsius: float, factor: float) -> None:
    """H-12: copper from 25 degrees on, (234.5 + T)/(234.5 + 25), to 0.1 %.

    Correction-factor table; electrical-engineering-portal.com ("1/254.5 = 0.00393", at 20 degrees).
    """
    cold = EquationPlant(motor(r_on_ohm=0.0), at())
    hot_factor = (234.5 + celsius) / (234.5 + 25.0)
    assert hot_factor == pytest.approx(factor, rel=1e-3)
    hot = EquationPlant(motor(r_on_ohm=0.0, r_factors=(hot_factor,) * 3), at())

    for plant in (cold, hot):
        go(plant, 20e-3, (1, 2, 0))

    assert cold.state.i_u_a / hot.state.i_u_a == pytest.approx(factor, rel=1e-3)


def test_ten_ohms_at_twenty_degrees_are_fifteen_at_a_hundred_and_fifty() -> None:
    """H-12: R20 (1 + 0.00393 (T - 20)) = 15.109 ohm (TI SPRUHJ1), and what 15.109 V drives through it."""
    params = motor(r_ohm=5.0, r_on_ohm=0.0, r_factors=(1.0 + 0.00393 * 130.0,) * 3)
    plant = EquationPlant(params, at(bus_v=15.109))

    go(plant, 1e-3, (1, 2, 0))

    assert plant.state.i_u_a == pytest.approx(1.0, rel=1e-3)
