"""What holds the rotor and what starts it: static friction, passing water."""

import math

import pytest

from dryspin.plant.equations import EquationPlant
from dryspin.plant.parameters import PlantInput

from .bench_motor import BUS_V, MOTOR, TAU_S, at, go, motor

J = MOTOR.j_kg_m2


@pytest.mark.parametrize("direction", [1.0, -1.0])
def test_rotor_breaks_away_at_the_static_friction_and_goes_on_against_the_coulomb_one(
    direction: float,
) -> None:
    """2 k i = 50 mNm is reached at a known moment; then J dw/dt = 50 - 10 mNm."""
    static, coulomb = 0.050, 0.010
    params = motor(fixed_speed=False, static_nm=static, coulomb_nm=coulomb)
    gates = (1, 2, 0) if direction > 0.0 else (2, 1, 0)
    away_s = -TAU_S * math.log(1.0 - static / (2.0 * MOTOR.k_v_s) * BUS_V**-1 * 2.0 * 0.105)
    plant = EquationPlant(params, at(degrees=60.0))

    go(plant, away_s - 1e-9, gates)
    assert plant.state.w_rad_s == 0.0
    go(plant, away_s + 0.1e-6, gates)

    # in 0.1 us the torque rises by a hundredth of itself
    assert plant.state.w_rad_s * direction == pytest.approx((static - coulomb) / J * 0.1e-6, rel=0.03)


def test_static_friction_below_the_coulomb_one_is_the_coulomb_one() -> None:
    """A rotor at rest is never easier to move than one that turns."""
    assert motor(coulomb_nm=0.02, static_nm=0.01).breakaway_nm == 0.02
    assert motor(coulomb_nm=0.02).breakaway_nm == 0.02
    assert motor(coulomb_nm=0.02, static_nm=0.03).breakaway_nm == 0.03


def test_rotor_that_stops_sticks_until_the_torque_exceeds_static_friction() -> None:
    """A load between Coulomb and static friction stops a turning rotor; it does not start it again."""
    params = motor(fixed_speed=False, static_nm=0.03, coulomb_nm=0.01)
    plant = EquationPlant(params, at(50.0))
    plant.input = PlantInput(BUS_V, load_nm=0.02)

    go(plant, 0.1, (0, 0, 0))
    assert plant.state.w_rad_s == 0.0
    plant.input = PlantInput(BUS_V, load_nm=0.031)
    go(plant, 0.11, (0, 0, 0))

    assert plant.state.w_rad_s == pytest.approx(-(0.031 - 0.01) / J * 0.01, rel=1e-6)


@pytest.mark.parametrize(("water", "starts"), [(99.0, False), (101.0, True), (-101.0, True)])
def test_water_starts_a_propeller_once_it_beats_static_friction(water: float, starts: bool) -> None:
    """kq w_water^2 against 10 mNm: beyond 100 rad/s, in the direction of the water."""
    params = motor(fixed_speed=False, kq_nm_s2=1e-6, coulomb_nm=2e-3, static_nm=10e-3)
    plant = EquationPlant(params, at())
    plant.input = PlantInput(BUS_V, water_rad_s=water)

    go(plant, 5e-3, (0, 0, 0))

    assert (plant.state.w_rad_s != 0.0) is starts
    assert plant.state.w_rad_s * water >= 0.0
