"""The compiled plant by itself, behind the same contract as the equation plant.

For tests, comparisons and replays of recorded gates; a run of the rig uses it from inside the core.
"""

from dataclasses import fields
from typing import Any

from dryspin.build import core_declarations, plant_library
from dryspin.errors import RigError
from dryspin.plant.energy import Energies
from dryspin.plant.parameters import PlantInput, PlantParams, PlantState
from dryspin.rig.fault import escape_text
from dryspin.rig.settings import H_MAX_S, fill_params

Gates = tuple[int, int, int]
Snapshot = tuple[bytes, Gates, PlantInput, int, float, int]
COMPARATOR = "comparator"


class TwinPlant:
    """One drive in motion, as `EquationPlant`. Only one at a time: the library holds one plant.

    `input`, `sense_leg` and `comparator_noise_v` (V at the pin) may be set between calls; `level` is 1
    while the comparator's input sees that leg above the neutral. `state` is SI, angle electrical and
    unwrapped.
    """

    def __init__(
        self,
        params: PlantParams,
        state: PlantState,
        h_max_s: float = H_MAX_S,
        *,
        account_energy: bool = False,
    ) -> None:
        """All gates off, the source at the voltage of the bus.

        account_energy: meter the ports, see `energy`. ValueError as of `EquationPlant`.
        """
        self.params = params
        self._require_possible(state)
        self._plant: Any = plant_library()
        ffi = core_declarations()
        struct = ffi.new("plant_params *")
        table = fill_params(struct, params, h_max_s)
        self._plant.plant_init(struct, state.theta_rad, state.w_rad_s, state.v_bus_v)
        ffi.release(table)
        self._now: Any = self._plant.plant_access()
        self._put(state)
        self._plant.plant_meter(account_energy)
        self._gates: Gates = (0, 0, 0)
        self.input = PlantInput(v_supply_v=state.v_bus_v)
        self.sense_leg, self.comparator_noise_v = 0, 0.0
        self._told = int(self._now.level)

    def _require_possible(self, state: PlantState) -> None:
        currents, broken = (state.i_u_a, state.i_v_a, state.i_w_a), self.params.broken
        if abs(sum(currents)) > 1e-9:
            raise ValueError(f"phase currents add up to {sum(currents)} A; a star without neutral needs 0 A")
        if any(i != 0.0 and lead for i, lead in zip(currents, broken, strict=True)):
            raise ValueError(f"currents {currents} A given, but of the leads {broken} are broken")

    def _put(self, state: PlantState) -> None:
        v_c_v = state.v_bus_v if state.v_c_v is None else state.v_c_v
        self._plant.plant_put(state.t_s, (state.i_u_a, state.i_v_a, state.i_w_a), v_c_v)
        if state.sense_v is not None:
            self._plant.plant_put_sense(state.sense_v)

    @property
    def level(self) -> int:
        """Comparator input, as of the last reported event or as set."""
        return self._told

    @level.setter
    def level(self, level: int) -> None:
        self._told = self._now.level = level

    @property
    def state(self) -> PlantState:
        """State now."""
        s, p = self._now, self.params
        return PlantState(
            *(s.t_s, s.i_a[0], s.i_a[1], s.i_a[2], s.v_bus_v, s.w_rad_s, self._plant.plant_theta()),
            v_c_v=s.v_c_v if p.esr_ohm else None,
            sense_v=(s.sense_v[0], s.sense_v[1], s.sense_v[2]) if p.sense_tau_s else None,
        )

    @state.setter
    def state(self, state: PlantState) -> None:
        self._require_possible(state)
        self._plant.plant_turn_to(state.theta_rad)
        self._now.w_rad_s = state.w_rad_s
        self._put(state)

    def copy_state(self) -> Snapshot:
        """All that is needed to go on from here, bit for bit, in this plant or another of the same params."""
        kept = bytearray(self._plant.plant_bytes())
        self._plant.plant_copy(core_declarations().from_buffer(kept))
        return bytes(kept), self._gates, self.input, self.sense_leg, self.comparator_noise_v, self._told

    def restore(self, snapshot: Snapshot) -> None:
        """Go back to (or on from) what `copy_state` gave."""
        kept, self._gates, self.input, self.sense_leg, self.comparator_noise_v, self._told = snapshot
        self._plant.plant_restore(core_declarations().from_buffer(kept))

    def terminal_voltages(self) -> tuple[float, float, float]:
        """Voltages (V) of the terminals U, V, W against ground."""
        out = core_declarations().new("double[3]")
        self._plant.plant_terminals(out)
        return out[0], out[1], out[2]

    @property
    def guard_hits(self) -> int:
        """How often a diode decision had to be held open for 20 ns to make progress."""
        return int(self._now.guard_hits)

    def energy(self) -> Energies:
        """What has passed each port, J; all 0 without account_energy."""
        return energies(self._plant)

    def advance(self, to_s: float, gates: Gates) -> tuple[float, str | None]:
        """Go on to `to_s`, or to the comparator's next change; gates: 0 off, 1 high FET, 2 low FET.

        RigError where a quantity of the plant leaves its bounds.
        """
        given = self._plant.plant_access_input()
        given.v_supply_v = self.input.v_supply_v
        given.load_factor, given.load_nm = self.input.load_factor, self.input.load_nm
        given.water_rad_s = self.input.water_rad_s
        given.unplugged = not self.input.connected
        if gates != self._gates:
            self._gates = gates
            self._plant.plant_set_gates(*gates)
        shift_v = self.comparator_noise_v / self.params.divider
        if self.sense_leg != int(self._now.sense) or shift_v != given.shift_v:
            given.shift_v = shift_v
            self._plant.plant_set_sense(self.sense_leg)
        if int(self._now.level) == self._told and self._plant.plant_advance(to_s) < 0:
            raise RigError(escape_text(self._plant, float(self._now.t_s)))
        changed = int(self._now.level) != self._told
        self._told = int(self._now.level)
        return float(self._now.t_s), COMPARATOR if changed else None


def energies(plant: Any) -> Energies:
    """The meters of the library `plant`."""
    seen = plant.plant_energy_now()
    return Energies(**{field.name: float(getattr(seen, field.name)) for field in fields(Energies)})
