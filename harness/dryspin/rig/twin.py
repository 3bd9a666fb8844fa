"""The compiled plant by itself, behind the same contract as the equation plant.

For tests, comparisons and replays of recorded gates; a run of the rig uses it from inside the core.
"""

import math
from typing import Any

from dryspin.build import core_declarations, plant_library
from dryspin.plant.parameters import PlantInput, PlantParams, PlantState
from dryspin.rig.settings import H_MAX_S, fill_params

Gates = tuple[int, int, int]
COMPARATOR = "comparator"
_SIXTH_RAD = math.pi / 3.0


class TwinPlant:
    """One drive in motion, as `EquationPlant`. Only one at a time: the library holds one plant.

    `input` and `sense_leg` may be set between calls; `level` is 1 while the comparator's input sees
    that leg above the neutral. `state` is SI, angle electrical and unwrapped.
    """

    def __init__(self, params: PlantParams, state: PlantState, h_max_s: float = H_MAX_S) -> None:
        self._plant: Any = plant_library()
        struct = core_declarations().new("plant_params *")
        fill_params(struct, params, h_max_s)
        self._plant.plant_init(struct, state.theta_rad, state.w_rad_s, state.v_bus_v)
        self._now: Any = self._plant.plant_access()
        self._now.t_s = state.t_s
        self._now.i_a[0], self._now.i_a[1], self._now.i_a[2] = state.i_u_a, state.i_v_a, state.i_w_a
        self._plant.plant_set_gates(0, 0, 0)
        self._gates: Gates = (0, 0, 0)
        self.input = PlantInput(v_supply_v=state.v_bus_v)
        self.sense_leg = 0
        self._told = int(self._now.level)

    @property
    def level(self) -> int:
        """Comparator input now."""
        return int(self._now.level)

    @property
    def state(self) -> PlantState:
        """State now."""
        s = self._now
        theta_rad = _SIXTH_RAD * (s.sector + 0.5) + s.in_sector_rad
        return PlantState(s.t_s, s.i_a[0], s.i_a[1], s.i_a[2], s.v_bus_v, s.w_rad_s, theta_rad)

    def terminal_voltages(self) -> tuple[float, float, float]:
        """Voltages (V) of the terminals U, V, W against ground."""
        out = core_declarations().new("double[3]")
        self._plant.plant_terminals(out)
        return out[0], out[1], out[2]

    @property
    def guard_hits(self) -> int:
        """How often a diode decision had to be held open for 20 ns to make progress."""
        return int(self._now.guard_hits)

    def advance(self, to_s: float, gates: Gates) -> tuple[float, str | None]:
        """Go on to `to_s`, or to the comparator's next change; gates: 0 off, 1 high FET, 2 low FET."""
        given = self._plant.plant_access_input()
        given.v_supply_v = self.input.v_supply_v
        given.load_factor, given.load_nm = self.input.load_factor, self.input.load_nm
        given.unplugged = not self.input.connected
        if gates != self._gates:
            self._gates = gates
            self._plant.plant_set_gates(*gates)
        if self.sense_leg != int(self._now.sense):
            self._plant.plant_set_sense(self.sense_leg)
        if self.level == self._told:
            self._plant.plant_advance(to_s)
        changed = self.level != self._told
        self._told = self.level
        return float(self._now.t_s), COMPARATOR if changed else None
