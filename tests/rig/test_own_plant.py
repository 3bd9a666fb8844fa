"""A model of the user's own in the place of the plant (plant/README.md)."""

import math
from dataclasses import replace

import numpy as np
import pytest

from dryspin.build import build_image
from dryspin.drive import Drive
from dryspin.plant.contract import Plant
from dryspin.plant.parameters import PlantInput, PlantParams, PlantState
from dryspin.recording import Signal
from dryspin.rig import Rig

from ..small_firmware import BOW_THRUSTER, scenario

FROM_S, FOR_S = 2.0, 0.050
SPEED_RPM = 5000.0


class Flywheel:
    """A rotor so heavy that nothing changes its speed, without currents; EMFs are clean sines."""

    def __init__(self, params: PlantParams, state: PlantState) -> None:
        self.params = params
        self.state = replace(state, w_rad_s=SPEED_RPM * math.pi / 30.0, i_u_a=0.0, i_v_a=0.0, i_w_a=0.0)
        self.input = PlantInput(state.v_bus_v)
        self.sense_leg, self.level, self.comparator_noise_v = 0, 0, 0.0
        self.gates_seen: set[tuple[int, int, int]] = set()

    def advance(self, to_s: float, gates: tuple[int, int, int]) -> tuple[float, str | None]:
        """Turn on to `to_s` or to where the EMF of the sensed leg changes its sign."""
        self.gates_seen.add(gates)
        rad_s = self.params.pole_pairs * self.state.w_rad_s
        angle = (self.state.theta_rad - self.sense_leg * 2.0 * math.pi / 3.0) % (2.0 * math.pi)
        level = 1 if angle < math.pi else 0
        to_go_s = 0.0 if level != self.level else (math.pi - angle % math.pi) / rad_s + 1e-12
        reached_s = min(to_s, self.state.t_s + to_go_s)
        theta = self.state.theta_rad + rad_s * (reached_s - self.state.t_s)
        self.state = replace(self.state, t_s=reached_s, theta_rad=theta)
        if self.state.t_s >= to_s and to_go_s > 0.0:
            return reached_s, None
        self.level = 1 - self.level
        return reached_s, "comparator"

    def copy_state(self) -> tuple[object, ...]:
        """All that moves."""
        return self.state, self.input, self.sense_leg, self.level

    def restore(self, snapshot: tuple[PlantState, PlantInput, int, int]) -> None:
        """Back to what `copy_state` gave."""
        self.state, self.input, self.sense_leg, self.level = snapshot


def test_firmware_follows_a_model_of_the_users_own(thruster: Drive) -> None:
    """50 ms on a flywheel instead of the motor: every sector is commutated near its border.

    5000 rpm, 7 pole pairs: 3500 steps a second (p n / 10), 30 degrees after each crossing.
    """
    plants: list[Flywheel] = []

    def factory(params: PlantParams, state: PlantState) -> Plant:
        plants.append(Flywheel(params, state))
        return plants[-1]

    run = scenario(FROM_S + FOR_S, throttle_us=((0.0, 1500.0), (1.0, 1700.0)))
    rig = Rig(build_image(thruster, BOW_THRUSTER), thruster)
    recording = rig.run(run, plant_factory=factory, equations_from_s=FROM_S)

    (plant,) = plants
    assert len(plant.gates_seen) > 6
    speed_rpm = float(recording.w_at(np.array([FROM_S + 0.02]))[0]) * 30.0 / math.pi
    assert speed_rpm == pytest.approx(SPEED_RPM, rel=1e-6)
    cycles, _, _ = recording.of(Signal.SENSE_LEG)
    t_s = cycles / recording.f_cpu_hz
    settled = t_s[t_s > FROM_S + 0.010]
    assert abs(len(settled) - 3500 * 0.040) <= 1
    late_deg = (np.degrees(recording.theta_at(settled)) + 30.0) % 60.0
    assert np.abs(np.where(late_deg > 30.0, late_deg - 60.0, late_deg)).max() < 8.0
