"""What Kirchhoff's laws demand at every moment of six-step commutation."""

import pytest

from dryspin.plant.equations import EquationPlant
from dryspin.plant.ideal import commutate

from .bench_motor import BUS_V, MOTOR, at, go, motor, rpm


@pytest.mark.parametrize("shape", ["trapezoid", "sine"])
def test_terminals_stay_between_the_diodes_and_currents_add_up_to_zero(shape: str) -> None:
    """Z-07: -Vf <= v_x <= V + Vf, sum i = 0 (Kirchhoff), chopped at 31 kHz; diodes without slope."""
    plant = EquationPlant(
        motor(shape=shape, r_on_ohm=0.0, diode_slope_ohm=0.0, fixed_speed=False), at(rpm(6000.0), 31.0)
    )
    lowest, highest = 0.0, 0.0

    def look(h_s: float, start: tuple[float, ...], end: tuple[float, ...]) -> None:
        nonlocal lowest, highest
        volts = plant.equations.terminals(*end)
        lowest, highest = min(lowest, *volts), max(highest, *volts)
        assert abs(sum(end[:3])) < 1e-9

    plant.on_step = look
    for state in commutate(plant, duty=0.6):
        if state.t_s > 4e-3:
            break

    assert lowest == pytest.approx(-MOTOR.v_f_v, abs=1e-6)
    assert BUS_V - 1e-6 <= highest <= BUS_V + MOTOR.v_f_v + 1e-6


def test_current_of_an_opened_phase_ends_and_stays_away() -> None:
    """Z-07: the demagnetisation ends at zero current, which lasts as the EMF stays within the bus."""
    plant = EquationPlant(MOTOR, at(rpm(6000.0), 151.0, i=(20.0, 0.0, -20.0)))

    go(plant, 150e-6, (0, 1, 2))
    ended = plant.state.i_u_a
    go(plant, 190e-6, (0, 1, 2))

    assert ended == 0.0
    assert plant.state.i_u_a == 0.0
    assert plant.state.i_v_a > 1.0
