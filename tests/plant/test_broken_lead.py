"""A lead that has come off: two phases go on as a motor of two, the third is neither driven nor seen."""

import math

import pytest

from dryspin.plant.conduction import CUT_AT_BUS, CUT_AT_GROUND, candidates
from dryspin.plant.equations import EquationPlant

from .bench_motor import BUS_V, MOTOR, at, go, motor, rpm

W_BROKEN = motor(broken=(False, False, True), fixed_speed=False)


@pytest.mark.parametrize("gates", [(1, 0, 2), (0, 1, 2), (2, 0, 1), (0, 2, 1)])
def test_pair_with_the_broken_phase_makes_no_current_and_no_torque(gates: tuple[int, int, int]) -> None:
    """Driven through W, the rotor coasts as with all gates off; slow enough that U and V cannot brake it
    through a diode, which takes 2 k w > Vf.
    """
    driven = EquationPlant(W_BROKEN, at(rpm(500.0)))
    coasting = EquationPlant(motor(fixed_speed=False), at(rpm(500.0)))

    go(driven, 100e-6, gates)
    go(coasting, 100e-6, (0, 0, 0))

    assert (driven.state.i_u_a, driven.state.i_v_a, driven.state.i_w_a) == (0.0, 0.0, 0.0)
    assert driven.torque_nm(driven.vector) == 0.0
    assert driven.state.w_rad_s == coasting.state.w_rad_s


def test_pair_without_the_broken_phase_drives_as_before() -> None:
    """W would have been open anyway: the same current in U and V."""
    broken = EquationPlant(W_BROKEN, at(rpm(3000.0)))
    whole = EquationPlant(motor(fixed_speed=False), at(rpm(3000.0)))

    for plant in (broken, whole):
        go(plant, 100e-6, (1, 2, 0))

    assert broken.state.i_u_a == pytest.approx(whole.state.i_u_a, rel=1e-12)
    assert broken.state.i_u_a > 1.0


@pytest.mark.parametrize(("gate", "expected_v"), [(0, 0.0), (1, BUS_V), (2, 0.0)])
def test_terminal_of_a_broken_lead_shows_its_own_leg_alone(gate: int, expected_v: float) -> None:
    """No EMF, no neutral: the rail its FET puts it at, ground by the sense divider otherwise."""
    plant = EquationPlant(W_BROKEN, at(rpm(3000.0), 75.0))

    go(plant, 10e-6, (1, 2, gate))

    assert plant.terminal_voltages()[2] == expected_v


def test_comparator_on_a_broken_lead_never_crosses() -> None:
    """Its line lies on ground, below the neutral of (V + 0 + 0)/3, all through the turn."""
    plant = EquationPlant(motor(broken=(False, False, True)), at(rpm(6000.0), 31.0))
    plant.sense_leg = 2
    go(plant, 0.0, (1, 2, 0))

    edges = go(plant, 1.0 / 700.0, (1, 2, 0))

    assert edges == []
    assert plant.level == 0


def test_coasting_machine_with_a_broken_lead_shows_the_difference_of_two_phases() -> None:
    """The dividers bring the mean of the two connected terminals to ground: v_u = (e_u - e_v)/2."""
    w = rpm(500.0)
    plant = EquationPlant(motor(broken=(False, False, True), shape="sine"), at(w, 20.0))

    e_u, e_v = (MOTOR.k_v_s * w * math.sin(math.radians(20.0 - n * 120.0)) for n in range(2))
    v_u, v_v, v_w = plant.terminal_voltages()
    assert (v_u, v_v, v_w) == pytest.approx(((e_u - e_v) / 2.0, (e_v - e_u) / 2.0, 0.0), abs=1e-12)


def test_gates_of_a_broken_lead_name_what_they_do() -> None:
    """Neither FET nor diode: nothing of it conducts."""
    assert candidates(1, 0.0, broken=True) == (CUT_AT_BUS,)
    assert candidates(0, 0.0, broken=True) == candidates(2, 0.0, broken=True) == (CUT_AT_GROUND,)
    assert not CUT_AT_BUS.conducts
    assert not CUT_AT_GROUND.conducts


def test_current_in_a_broken_lead_is_refused() -> None:
    """A state cannot hold what the wiring forbids."""
    message = r"currents \(-2.0, 0.0, 2.0\) A given, but of the leads \(False, False, True\) are broken"
    with pytest.raises(ValueError, match=message):
        EquationPlant(W_BROKEN, at(i=(-2.0, 0.0, 2.0)))
