"""A plant outside the core: the plain equations, or a model of the user's, answer for the compiled twin.

The core asks two things. Plan: how far do present gates carry before the comparator's input
changes, up to a limit? Commit: go there, or to an earlier moment because the firmware acted. So
the plant runs ahead on trial, and is set back when the firmware gets in between.
"""

import math
from dataclasses import replace
from typing import Any

from dryspin.plant.conduction import Gates
from dryspin.plant.contract import Plant, PlantFactory
from dryspin.plant.parameters import PlantInput, PlantState
from dryspin.rig.settings import H_MAX_S, Settings
from dryspin.scenario import Scenario

_NOISE_CELL_S = 1e-6
_SAME_S = 1e-12


class OutsidePlant:
    """A plant of `factory` at the core's disposal; takes the twin's state over when first asked."""

    def __init__(self, core: Any, settings: Settings, scenario: Scenario, factory: PlantFactory) -> None:
        self._core, self._settings, self._factory = core, settings, factory
        self._noisy = bool(scenario.comparator_noise_mv)
        self._driven = bool(scenario.speed_rpm)
        self._plant: Plant | None = None
        self._ahead: tuple[float, Any, bool] | None = None

    def plan(self) -> None:
        """Answer CORE_PLAN: run ahead to the limit or the first comparator event, then step back."""
        exchange, plant = self._core.core_outside(), self._ready()
        # the recording shows a state at least as often as with the twin
        limit_s = min(exchange.limit_s, plant.state.t_s + H_MAX_S)
        if self._noisy:
            cell = math.floor(plant.state.t_s / _NOISE_CELL_S + 1e-6)
            limit_s = min(limit_s, (cell + 1) * _NOISE_CELL_S)
        self._impose(plant)
        start = plant.copy_state()
        reached_s, event = plant.advance(max(limit_s, plant.state.t_s), self._gates())
        self._ahead = reached_s, plant.copy_state(), event is not None
        plant.restore(start)
        exchange.t_end_s = reached_s

    def commit(self) -> None:
        """Answer CORE_COMMIT: go to the moment asked for and hand the state to the recording."""
        exchange, plant = self._core.core_outside(), self._ready()
        to_s = exchange.limit_s
        if self._ahead is not None and abs(to_s - self._ahead[0]) < _SAME_S and to_s > plant.state.t_s:
            plant.restore(self._ahead[1])
            changed = self._ahead[2]
        else:
            self._impose(plant)
            _, event = plant.advance(max(to_s, plant.state.t_s), self._gates())
            changed = event is not None
        self._ahead = None
        exchange.changed, exchange.level = changed, plant.level
        self._show(plant.state)

    def _gates(self) -> Gates:
        gate = self._core.core_outside().gate
        return int(gate[0]), int(gate[1]), int(gate[2])

    def _impose(self, plant: Plant) -> None:
        given = self._core.plant_access_input()
        wanted = PlantInput(
            *(given.v_supply_v, given.load_factor, given.load_nm, not given.unplugged, given.water_rad_s)
        )
        if wanted != plant.input:
            plant.input = wanted
        if self._driven:
            plant.state = replace(plant.state, w_rad_s=given.w_driven_rad_s)
        if self._noisy:
            noise_v = self._core.plant_noise(plant.state.t_s)
            plant.comparator_noise_v = noise_v * self._settings.params.divider
        plant.sense_leg = int(self._core.core_outside().sense)

    def _ready(self) -> Plant:
        if self._plant is None:
            twin = self._core.plant_access()
            theta_rad = float(self._core.plant_theta())
            i_u_a, i_v_a = twin.i_a[0], twin.i_a[1]
            state = PlantState(
                *(twin.t_s, i_u_a, i_v_a, -(i_u_a + i_v_a), twin.v_bus_v, twin.w_rad_s, theta_rad),
                v_c_v=twin.v_c_v,
                sense_v=(twin.sense_v[0], twin.sense_v[1], twin.sense_v[2]),
            )
            self._plant = self._factory(self._settings.params, state)
            self._plant.level = int(twin.level)
        return self._plant

    def _show(self, state: PlantState) -> None:
        shown = self._core.plant_access()
        shown.t_s = state.t_s
        shown.i_a[0], shown.i_a[1], shown.i_a[2] = state.i_u_a, state.i_v_a, state.i_w_a
        shown.v_bus_v, shown.w_rad_s = state.v_bus_v, state.w_rad_s
        self._core.plant_turn_to(state.theta_rad)
