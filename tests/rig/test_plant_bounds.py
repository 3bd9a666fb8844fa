"""A plant out of all bounds ends the run with a reason; energy that passes its ports is accounted for."""

import math
from dataclasses import astuple

import numpy as np
import pytest

from dryspin.build import build_image
from dryspin.drive import Drive
from dryspin.errors import RigError
from dryspin.plant.parameters import PlantInput, plant_params
from dryspin.rig import Rig
from dryspin.rig.twin import TwinPlant

from ..plant.bench_motor import at, go, motor
from ..small_firmware import BOW_THRUSTER, scenario

RUN = scenario(1.4, throttle_us=((0.0, 1500.0), (0.7, 1900.0)))


def test_a_speed_beyond_all_machines_stops_the_run(thruster: Drive) -> None:
    """A load that drives the rotor with 10 kNm: which quantity, how much of it, when, after what."""
    given = scenario(1.0, throttle_us=((0.0, 1500.0),), load_nm=((0.0, 0.0), (0.5, 0.0), (0.501, -1e4)))
    message = r"the plant shows a speed of [0-9.e+]+ rad/s at 0\.500\d+ s, after .* us "

    with pytest.raises(RigError, match=message):
        Rig(build_image(thruster, BOW_THRUSTER), thruster).run(given)


def test_a_rig_that_escaped_runs_the_next_scenario(thruster: Drive) -> None:
    """Nothing of it stays behind."""
    rig = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    before = rig.run(RUN).digest()
    with pytest.raises(RigError):
        rig.run(scenario(1.0, throttle_us=((0.0, 1500.0),), load_nm=((0.0, -1e6),)))

    assert rig.run(RUN).digest() == before


@pytest.mark.parametrize("quantity", ["a phase current", "a bus", "a speed"])
def test_the_plant_by_itself_names_what_escaped(quantity: str) -> None:
    """Each quantity past its bound on its own; no result is handed out."""
    params = motor(fixed_speed=quantity != "a speed", r_ohm=1e-7, r_on_ohm=1e-7)
    plant = TwinPlant(params, at(bus_v=2e5 if quantity == "a bus" else 12.0))
    if quantity == "a speed":
        plant.input = PlantInput(12.0, load_nm=-1e6)
    if quantity == "a phase current":
        plant.input = PlantInput(9e4)

    with pytest.raises(RigError, match=f"the plant shows {quantity} of "):
        go(plant, 1.0, (1, 2, 0) if quantity == "a phase current" else (0, 0, 0))


def test_energy_of_a_run_is_accounted_for(thruster: Drive) -> None:
    """Start and full speed with the firmware: what came in is heat, work, or stored; residual below 0.1 %."""
    rig = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    plain = rig.run(RUN)
    recording = rig.run(RUN, account_energy=True)
    e, p = rig.energy(), plant_params(thruster, RUN)
    assert recording.digest() == plain.digest()

    def stored_j(row: np.void) -> tuple[float, float]:
        i_u_a, i_v_a, w, v = (float(row[name]) for name in ("i_u_a", "i_v_a", "w_rad_s", "v_bus_v"))
        magnetic = 0.5 * p.l_h * (i_u_a**2 + i_v_a**2 + (i_u_a + i_v_a) ** 2)
        return 0.5 * p.c_bus_f * v**2 + magnetic, 0.5 * p.j_kg_m2 * w**2

    (electric_0, rotor_0), (electric, rotor) = stored_j(recording.states[0]), stored_j(recording.states[-1])
    lost = e.supply_ohm + e.esr + e.auxiliary + e.copper + e.fet + e.diode
    moved = sum(abs(port) for port in astuple(e))
    assert abs(e.source - lost - e.electromechanical - (electric - electric_0)) < 1e-3 * moved
    assert abs(e.electromechanical - e.friction - e.propeller - e.load - (rotor - rotor_0)) < 1e-3 * moved
    assert e.source > 10.0
    assert min(e.supply_ohm, e.auxiliary, e.copper, e.fet, e.diode, e.friction, e.propeller) > 0.0


@pytest.mark.energy_does_not_close
def test_energy_is_not_metered_unless_asked_for(thruster: Drive) -> None:
    """It costs time; its absence shows as zeros, not as the last run's figures."""
    rig = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    rig.run(scenario(0.2), account_energy=True)
    assert rig.energy().auxiliary > 0.0

    rig.run(scenario(0.2))

    assert math.fsum(abs(port) for port in astuple(rig.energy())) == 0.0
