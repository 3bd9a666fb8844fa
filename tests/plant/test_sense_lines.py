"""From terminal to comparator: filter, clamp of the pin, errors of the parts in angle."""

import math

import pytest

from dryspin.plant.equations import EquationPlant
from dryspin.plant.parameters import PlantInput

from .bench_motor import BUS_V, MOTOR, at, go, motor, rpm


def crossing(plant: EquationPlant, to_degrees: float, gates: tuple[int, int, int]) -> float:
    """Angle (degrees) of the only crossing of phase W below the neutral up to `to_degrees`."""
    plant.sense_leg = 2
    state = plant.state
    rad_s = MOTOR.pole_pairs * state.w_rad_s
    edges = go(plant, (math.radians(to_degrees) - state.theta_rad) / rad_s, gates)
    (t_s,) = [t for t, level in edges if level == 0]
    return math.degrees(state.theta_rad + rad_s * t_s)


def test_filter_hides_a_gate_edge_from_the_comparator() -> None:
    """Phase W above the neutral, its terminal thrown to ground for 1 us: seen without, not with 20 us."""
    seen = []
    for tau_s in (0.0, 20e-6):
        plant = EquationPlant(motor(sense_tau_s=tau_s), at(rpm(3000.0), 40.0))
        plant.sense_leg = 2
        go(plant, 50e-6, (1, 2, 0))
        edges = go(plant, 51e-6, (1, 2, 2))
        edges += go(plant, 52e-6, (1, 2, 0))
        seen.append(len(edges))

    assert seen[0] >= 1
    assert seen[1] == 0


def test_filtered_lines_settle_on_the_terminals() -> None:
    """After ten time constants at rest; a state set without `sense_v` begins there."""
    plant = EquationPlant(motor(sense_tau_s=10e-6, r_ohm=1.0), at())
    assert plant.state.sense_v == plant.terminal_voltages()

    go(plant, 5e-6, (1, 2, 0))
    assert plant.state.sense_v is not None
    assert plant.state.sense_v[0] == pytest.approx(BUS_V * (1.0 - math.exp(-0.5)), rel=1e-2)
    go(plant, 1e-3, (1, 2, 0))

    assert plant.state.sense_v == pytest.approx(plant.terminal_voltages(), abs=1e-6)


def test_clamp_above_half_the_bus_leaves_the_crossing_alone() -> None:
    """At the crossing line and neutral stand at V/2; a clamp below that blinds the comparator."""
    w = rpm(6000.0)
    plain = crossing(EquationPlant(MOTOR, at(w, 35.0)), 85.0, (1, 2, 0))
    clamped = EquationPlant(motor(pin_clamp_v=7.0), at(w, 35.0))
    blind = EquationPlant(motor(pin_clamp_v=5.0), at(w, 35.0))
    blind.sense_leg = 2

    assert crossing(clamped, 85.0, (1, 2, 0)) == pytest.approx(plain, abs=1e-6)
    assert plain == pytest.approx(60.0, abs=1e-4)
    edges = go(blind, math.radians(50.0) / (MOTOR.pole_pairs * w), (1, 2, 0))
    # falls below only once its own voltage has come down to the clamp, 60 + 30 (V/2 - 5)/(k w) degrees
    late = [math.degrees(MOTOR.pole_pairs * w * t) + 35.0 for t, level in edges if level == 0]
    expected = 60.0 + 30.0 * (BUS_V / 2.0 - 5.0) / (MOTOR.k_v_s * w)
    assert late == [pytest.approx(expected, abs=0.01)]


@pytest.mark.parametrize(
    ("delay_ns", "frequency_hz", "degrees"),
    [(500.0, 1400.0, 0.25), (500.0, 3500.0, 0.63), (750.0, 1400.0, 0.38), (750.0, 3500.0, 0.95)],
)
def test_comparator_delay_turns_into_angle(delay_ns: float, frequency_hz: float, degrees: float) -> None:
    """Z-10, delays of the data sheet (DS40002011A, p. 385): 360 f td past the crossing.

    Published to two digits, so held to half of the last; the plant leaves the delay to its caller.
    """
    w = 2.0 * math.pi * frequency_hz / MOTOR.pole_pairs
    plant = EquationPlant(motor(delay_s=delay_ns * 1e-9), at(w, 45.0))
    plant.sense_leg = 2
    bus_free = (1, 2, 0)
    while plant.advance(1e-3, bus_free)[1] is None or plant.level == 1:
        pass
    crossed = plant.state.theta_rad

    go(plant, plant.state.t_s + plant.params.delay_s, bus_free)

    assert math.degrees(plant.state.theta_rad - crossed) == pytest.approx(degrees, abs=0.0051)


@pytest.mark.parametrize(("w_rad_s", "acceleration"), [(60.0, 1000.0), (100.0, 4000.0), (200.0, -3000.0)])
def test_commutation_is_late_by_three_eighths_of_a_t_squared(w_rad_s: float, acceleration: float) -> None:
    """Z-12: 30 degrees waited for as half the last interval: late by exactly (3/8) a T^2 electrical.

    Kinematics of theta = w t + a t^2/2 over T and another T/2; coasting without friction, a constant
    torque makes the constant acceleration.
    """
    params = motor(fixed_speed=False, shape="sine")
    plant = EquationPlant(params, at(w_rad_s, 45.0))
    plant.input = PlantInput(BUS_V, load_nm=-acceleration * params.j_kg_m2)
    # coasting: W falls through the neutral at 60 degrees, V rises through it at 120
    times = []
    for leg in (2, 1):
        plant.sense_leg = leg
        go(plant, plant.state.t_s, (0, 0, 0))  # past the jump of the multiplexer
        crossed_s, event = plant.advance(1.0, (0, 0, 0))
        assert event == "comparator"
        times.append(crossed_s)
    interval_s = times[1] - times[0]

    go(plant, times[1] + interval_s / 2.0, (0, 0, 0))

    late_rad = plant.state.theta_rad - math.radians(150.0)
    expected = 3.0 / 8.0 * params.pole_pairs * acceleration * interval_s**2
    assert late_rad == pytest.approx(expected, rel=1e-6)
