"""What holds the rotor and what keeps it turning: static friction, propeller, passing water.

Propeller figures: an online propulsion-theory page, Q = Cp rho n^2 D^5/(2 pi); S. Vorkoetter, "Motor
Math", Sailplane & Electric Modeler, April 2002; Cp 0.045 from memory.
"""

import math

import pytest

from dryspin.plant.equations import EquationPlant
from dryspin.plant.ideal import dc_equivalent_speed, ideal_speed
from dryspin.plant.parameters import PlantInput

from .bench_motor import BUS_V, MOTOR, TAU_S, at, go, motor, rpm

J = MOTOR.j_kg_m2
KQ_10_INCH = 2.3495e-7
"""Nm s^2 of a 10 x 4.7 inch propeller in air, Cp 0.045, 1.225 kg/m^3 (L-03)."""


def retarding_nm(params_kq: float, w: float, load_factor: float = 1.0, water: float = 0.0) -> float:
    """Torque that slows a coasting rotor, from the speed it loses in a microsecond."""
    plant = EquationPlant(motor(fixed_speed=False, kq_nm_s2=params_kq), at(w))
    plant.input = PlantInput(BUS_V, load_factor=load_factor, water_rad_s=water)
    go(plant, 1e-6, (0, 0, 0))
    return J * (w - plant.state.w_rad_s) / 1e-6


def test_propeller_of_ten_inches_takes_the_published_power() -> None:
    """L-01, L-03: 0.1649 Nm and 138.1 W at 8000 rpm; L-02, the modellers' rule, within 20 %."""
    n, d_m = 8000.0 / 60.0, 10.0 * 0.0254
    w = rpm(8000.0)
    by_coefficients = 0.045 * 1.225 * n**2 * d_m**5 / (2.0 * math.pi)
    assert by_coefficients / w**2 == pytest.approx(KQ_10_INCH, rel=1e-4)

    torque = retarding_nm(KQ_10_INCH, w)

    assert torque == pytest.approx(by_coefficients, rel=1e-3)
    assert torque == pytest.approx(0.1649, rel=1e-3)
    assert torque * w == pytest.approx(138.1, rel=1e-3)
    assert torque * w == pytest.approx(5.3e-15 * 8000.0**3 * 10.0**4 * 4.7, rel=0.2)


def test_twice_the_speed_takes_four_times_the_torque() -> None:
    """L-04: torque x 4, power x 8, and against the motion whichever way it goes."""
    slow, fast, back = (retarding_nm(1e-7, w) for w in (400.0, 800.0, -800.0))

    # the loss of speed within the microsecond is the error
    assert fast == pytest.approx(4.0 * slow, rel=1e-5)
    assert fast * 800.0 == pytest.approx(8.0 * slow * 400.0, rel=1e-5)
    assert back == pytest.approx(-fast, rel=1e-9)


def test_speed_of_a_loaded_drive_is_the_root_of_its_quadratic() -> None:
    """L-05: kq w^2 + (kt^2/Rt) w + Tc = kt V/Rt, to 2 % with the inductance divided by 50.

    The inductance stands for a resistance of about 6 f L while phases hand over, which the brushed
    equivalent does not have.
    """
    params = motor(fixed_speed=False, kq_nm_s2=1e-7, coulomb_nm=3e-3, l_h=MOTOR.l_h / 50.0)
    kt, r = 2.0 * params.k_v_s, 2.0 * (params.r_ohm + params.r_on_ohm)
    a, b, c = 1e-7, kt * kt / r, 3e-3 - kt * BUS_V / r
    root = (-b + math.sqrt(b * b - 4.0 * a * c)) / (2.0 * a)

    assert dc_equivalent_speed(params, PlantInput(BUS_V)) == pytest.approx(root, rel=1e-12)
    assert ideal_speed(params, PlantInput(BUS_V)) == pytest.approx(root, rel=0.02)


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


def test_water_keeps_a_coasting_propeller_turning() -> None:
    """It settles where kq (w_water - w)^2 = Tc, from above and from below: behind by sqrt(Tc / kq)."""
    water, kq, coulomb = 200.0, 1e-5, 25e-3
    settled = water - math.sqrt(coulomb / kq)
    params = motor(fixed_speed=False, kq_nm_s2=kq, coulomb_nm=coulomb)

    for start in (400.0, 30.0):
        plant = EquationPlant(params, at(start), step_max_s=100e-6)
        plant.input = PlantInput(BUS_V, water_rad_s=water)
        go(plant, 0.4, (0, 0, 0))
        assert plant.state.w_rad_s == pytest.approx(settled, rel=1e-4)


@pytest.mark.parametrize(("water", "starts"), [(99.0, False), (101.0, True), (-101.0, True)])
def test_water_starts_a_propeller_once_it_beats_static_friction(water: float, starts: bool) -> None:
    """kq w_water^2 against 10 mNm: beyond 100 rad/s, in the direction of the water."""
    params = motor(fixed_speed=False, kq_nm_s2=1e-6, coulomb_nm=2e-3, static_nm=10e-3)
    plant = EquationPlant(params, at())
    plant.input = PlantInput(BUS_V, water_rad_s=water)

    go(plant, 5e-3, (0, 0, 0))

    assert (plant.state.w_rad_s != 0.0) is starts
    assert plant.state.w_rad_s * water >= 0.0


def test_load_factor_and_water_act_on_the_propeller_together() -> None:
    """kq x factor x (w - w_water)|w - w_water|; water faster than the propeller drives it."""
    assert retarding_nm(1e-7, 500.0, 2.0, 200.0) == pytest.approx(2e-7 * 300.0**2, rel=1e-5)
    assert retarding_nm(1e-7, 500.0, 1.0, 900.0) == pytest.approx(-1e-7 * 400.0**2, rel=1e-5)
