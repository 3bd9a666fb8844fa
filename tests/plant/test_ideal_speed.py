"""The yardstick for firmware: steady speed under commutation at the ideal angle."""

import math
from dataclasses import replace

import pytest

from dryspin.plant.equations import EquationPlant
from dryspin.plant.ideal import commutate, dc_equivalent_speed, ideal_speed
from dryspin.plant.parameters import PlantInput

from .bench_motor import at, motor, rpm

# A thruster: 1000 rpm/V and a propeller in water, on a pack that sags.
THRUSTER = motor(
    fixed_speed=False,
    stiff=False,
    r_ohm=0.08,
    l_h=28e-6,
    j_kg_m2=1.5e-5,
    r_supply_ohm=0.025,
    kq_nm_s2=1e-7,
    coulomb_nm=3e-3,
)
PACK = PlantInput(11.1)


def test_overlap_of_the_phases_costs_speed() -> None:
    """The overlap acts like more series resistance, about 6 f_e L: with the true L the motor is slower."""
    with_l = ideal_speed(THRUSTER, PACK)

    assert rpm(7500.0) < with_l < 0.95 * dc_equivalent_speed(THRUSTER, PACK)


@pytest.mark.slow
def test_steady_speed_is_the_same_both_ways() -> None:
    """Mirror symmetry of the machine: nothing in the equations prefers a direction."""
    forward, reverse = ideal_speed(THRUSTER, PACK), ideal_speed(THRUSTER, PACK, direction=-1)

    assert reverse == pytest.approx(-forward, rel=1e-5)


@pytest.mark.slow
def test_steady_speed_is_where_a_rotor_of_true_inertia_settles() -> None:
    """The search uses an inertia of its own; with the real one the speed must be the same, to 0.1 %."""
    w = ideal_speed(THRUSTER, PACK)
    plant = EquationPlant(THRUSTER, at(1.01 * w, 31.0, bus_v=PACK.v_supply_v))
    plant.input = PACK

    for state in commutate(plant):
        if state.t_s > 0.1:
            break

    assert state.w_rad_s == pytest.approx(w, rel=1e-3)


@pytest.mark.long
def test_half_duty_lies_between_a_third_and_two_thirds_of_the_speed() -> None:
    """One-sided chopping: about D V less the diode's share of the off-time, less a smaller propeller load."""
    full, half = ideal_speed(THRUSTER, PACK), ideal_speed(THRUSTER, PACK, duty=0.5)

    assert full / 3.0 < half < 2.0 * full / 3.0


@pytest.mark.long
def test_an_overloaded_drive_has_no_steady_speed() -> None:
    """A load above the stall torque kt V / Rt stops the rotor: 0, not an endless search.

    So does a duty whose short pulses of current, which end before the next begins, do not overcome
    friction, though the brushed equivalent would turn.
    """
    stall_nm = 2.0 * THRUSTER.k_v_s * PACK.v_supply_v / (2.0 * 0.085 + 0.025)

    assert ideal_speed(THRUSTER, replace(PACK, load_nm=1.1 * stall_nm)) == 0.0
    stiff_bearing = replace(THRUSTER, coulomb_nm=8e-3)
    assert dc_equivalent_speed(stiff_bearing, PACK, duty=0.06) > 0.0
    assert ideal_speed(stiff_bearing, PACK, duty=0.06) == 0.0


def test_commutation_takes_place_at_the_borders() -> None:
    """30 + 60 n electrical degrees, to a thousandth of a degree, while the rotor accelerates."""
    plant = EquationPlant(THRUSTER, at(100.0, 31.0, bus_v=PACK.v_supply_v))
    plant.input = PACK

    borders = commutate(plant, duty=0.6)
    degrees = [math.degrees(next(borders).theta_rad) for _ in range(30)]

    assert degrees == pytest.approx([90.0 + 60.0 * n for n in range(30)], abs=1e-3)
