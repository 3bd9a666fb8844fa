"""The compiled plant by itself keeps the contract of a plant (plant/contract.py), as the equations do."""

import math
from dataclasses import replace

import numpy as np
import pytest

from dryspin.build import build_image
from dryspin.drive import Drive
from dryspin.plant.contract import Plant
from dryspin.plant.equations import EquationPlant
from dryspin.plant.parameters import PlantParams, PlantState, plant_params
from dryspin.recording import GATES, LEGS, Signal
from dryspin.rig import Rig
from dryspin.rig.twin import TwinPlant

from ..small_firmware import BOW_THRUSTER, scenario

FROM_S, FOR_S = 1.6, 0.05
DRIVEN, COASTING = (1, 2, 0), (0, 0, 0)


def running(params: PlantParams, t_s: float = 0.0) -> PlantState:
    """5000 rpm forward, 6 A from U to V."""
    w_rad_s = 5000.0 * math.pi / 30.0
    return PlantState(t_s, 6.0, -6.0, 0.0, 11.1, w_rad_s, math.radians(75.0))


@pytest.fixture
def params(thruster: Drive) -> PlantParams:
    """The nominal thruster."""
    return plant_params(thruster, scenario(1.0))


def way(plant: TwinPlant, to_s: float) -> list[object]:
    """Everything that can be seen of the plant on the way to `to_s`, chopping every 16 us."""
    seen: list[object] = []
    k = 0
    while plant.state.t_s < to_s:
        k += 1
        until_s = plant.state.t_s + 16e-6
        while plant.state.t_s < until_s:
            seen.append(plant.advance(until_s, DRIVEN if k % 2 else COASTING))
        seen += [plant.state, plant.level, plant.terminal_voltages()]
    return seen


def test_a_copy_goes_on_as_the_plant_did(params: PlantParams) -> None:
    """Bit for bit, set back in the same plant, and in one made later of the same parameters."""
    plant = TwinPlant(params, running(params))
    plant.sense_leg = 2
    way(plant, 0.5e-3)
    kept = plant.copy_state()
    first = way(plant, 1.5e-3)
    plant.restore(kept)
    again = way(plant, 1.5e-3)
    later = TwinPlant(params, PlantState(0.0, 0.0, 0.0, 0.0, 9.0, 0.0, 0.0))
    later.restore(kept)

    assert len(first) > 200
    assert any(event for event in first if isinstance(event, tuple) and event[1] == "comparator")
    assert first == again == way(later, 1.5e-3)


def test_a_state_can_be_set(params: PlantParams) -> None:
    """As the rig does where a scenario drives the rotor; what cannot be is refused as on starting."""
    plant = TwinPlant(params, PlantState(0.0, 0.0, 0.0, 0.0, 11.1, 0.0, 0.0))
    plant.state = running(params, 0.25)

    set_to = plant.state
    assert (set_to.t_s, set_to.i_u_a, set_to.w_rad_s) == (0.25, 6.0, running(params).w_rad_s)
    assert set_to.theta_rad == pytest.approx(running(params).theta_rad, abs=1e-12)
    with pytest.raises(ValueError, match="a star without neutral"):
        plant.state = replace(set_to, i_u_a=7.0)


def test_noise_given_from_outside_moves_the_crossing(params: PlantParams) -> None:
    """V at the pin, as on the equations: the same crossing, later by what the EMF needs for it."""
    crossings = []
    for noise_v in (0.0, 0.05):
        for make in (TwinPlant, EquationPlant):
            plant = make(params, replace(running(params), i_u_a=0.0, i_v_a=0.0))
            plant.sense_leg, plant.comparator_noise_v = 0, noise_v
            plant.advance(0.0, COASTING)
            reached_s, event = plant.advance(2e-3, COASTING)
            assert event is not None
            crossings.append(reached_s)
    plain_s, plain_e_s, shifted_s, shifted_e_s = crossings

    assert abs(shifted_s - plain_s) > 10e-6
    assert plain_s == pytest.approx(plain_e_s, abs=0.05e-6)
    assert shifted_s == pytest.approx(shifted_e_s, abs=0.05e-6)


def test_the_rig_runs_on_it_from_outside_as_from_inside(thruster: Drive) -> None:
    """Run ahead on trial and set back for every port call, and still the same commands and edges.

    50 ms of the closed loop. Segments end elsewhere, so that the last bits differ.
    """
    made: list[TwinPlant] = []

    def factory(params: PlantParams, state: PlantState) -> Plant:
        made.append(TwinPlant(params, state))
        return made[-1]

    rig = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    given = scenario(FROM_S + FOR_S, throttle_us=((0.0, 1500.0), (0.7, 1900.0)))
    inside = rig.run(given)
    outside = rig.run(given, plant_factory=factory, equations_from_s=FROM_S)

    assert len(made) == 1
    for signal in (*GATES, *LEGS, Signal.COMPARATOR):
        (cycles, values, _), (cycles_o, values_o, _) = inside.of(signal), outside.of(signal)
        assert values.tolist() == values_o.tolist()
        assert np.abs(cycles - cycles_o).max() <= 1
    assert (inside.of(Signal.COMPARATOR)[0] > FROM_S * 16e6).sum() > 100
