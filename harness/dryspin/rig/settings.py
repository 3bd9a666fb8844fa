"""Drive and scenario to the core's configuration struct."""

import math
from typing import Any

import numpy as np

from dryspin.build import core_declarations
from dryspin.drive import Drive
from dryspin.drive.carrier import COUNTS
from dryspin.drive.pins import Pins, number_of
from dryspin.drive.schema import COMPLEMENTARY, LOW_SIDE, TABLE_MAX
from dryspin.plant.emf import shape_of
from dryspin.plant.parameters import PlantParams, plant_params
from dryspin.plant.star import smallest_inductance_h
from dryspin.scenario import Scenario
from dryspin.scenario.schema import OUTAGES
from dryspin.target import CodeCosts
from dryspin.target.costs import VECTOR_IN_CYCLES, VECTOR_OUT_CYCLES

H_MAX_S = 50e-6
"""Longest plant segment: on the golden cases currents stay within 0.01 % of peak (tests/plant)."""

POWER_CUT = "power cut"


class Settings:
    """A `core_config` and the arrays it points to; keep it alive as long as the run.

    costs: what the image's blocks cost on the part, instead of block_cycles each.
    """

    def __init__(
        self,
        drive: Drive,
        scenario: Scenario,
        block_cycles: int,
        outside: bool,
        costs: CodeCosts | None = None,
    ) -> None:
        self.ffi = core_declarations()
        self._kept: list[Any] = []
        self.params: PlantParams = plant_params(drive, scenario)
        self.f_cpu_hz = drive.controller.f_cpu_hz * scenario.parts.get("clock", 1.0)
        self.block_cycles = block_cycles
        self.end_cycle = round(scenario.end_s * self.f_cpu_hz)
        config = self.ffi.new("core_config *")
        self.struct = config
        self._kept.append(fill_params(config.plant, self.params, H_MAX_S))
        config.rest_rad = math.radians(scenario.rest_deg)
        config.f_cpu_hz = self.f_cpu_hz
        config.comparator_delay_s = self.params.delay_s
        config.end_cycle = self.end_cycle
        config.carrier_period = COUNTS["phase-correct"]
        config.driver_dead_cycles = driver_dead_cycles(drive, self.f_cpu_hz)
        config.block_cycles = block_cycles
        self.charged: tuple[int, str, float] = block_cycles, "", 1.0
        if costs is not None:
            self.charged = 0, costs.digest, drive.controller.code_cycles_factor
            self._charge(costs, drive.controller.code_cycles_factor)
        config.noise_seed = scenario.seed & 0xFFFFFFFF
        supply = scenario.supply_v or ((0.0, drive.supply.v_v.nominal),)
        self._trace(config.supply_v, supply, 1.0)
        self._trace(config.load_factor, scenario.load_factor, 1.0)
        self._trace(config.load_nm, scenario.load_nm, 1.0)
        self._trace(config.water_rad_s, scenario.water_rpm, math.pi / 30.0)
        self._trace(config.speed_rad_s, scenario.speed_rpm, math.pi / 30.0)
        # The scenario states noise at the pin; the plant compares terminal voltages.
        self._trace(config.noise_v, scenario.comparator_noise_mv, 1e-3 / self.params.divider)
        edges = throttle_edges(scenario, self.f_cpu_hz, self.end_cycle)
        config.throttle_cycle, config.n_throttle = self._cycles(edges), len(edges)
        resets, endless = self._moments(scenario, "reset"), self._moments(scenario, "endless loop")
        config.reset_cycle, config.n_reset = self._cycles(resets), len(resets)
        config.endless_cycle, config.n_endless = self._cycles(endless), len(endless)
        outages = self._outages(scenario)
        config.outage, config.n_outage = outages, len(outages)
        self._kept.append(outages)
        store = np.frombuffer(bytes.fromhex(scenario.store), np.uint8)
        config.store, config.n_store = self._keep(store, "uint8_t *"), len(store)
        controller = drive.controller
        config.v_controller_v, config.regulator_drop_v = controller.v_supply_v, controller.regulator_drop_v
        config.brown_out_v, config.bus_divider = controller.brown_out_v, drive.sense.ratio
        config.over_current_a = drive.bridge.over_current_a or 0.0
        config.over_current_filter_s = drive.bridge.over_current_filter_s
        config.take_over_cycle = 0 if outside else -1
        if drive.pins is not None:
            pins = self.ffi.new("core_pins *")
            fill_pins(pins, drive.pins, self.f_cpu_hz)
            pins.chops_low = drive.bridge.chopping == LOW_SIDE
            pins.chop_cycles = round(max(1.0, min(self.f_cpu_hz / drive.bridge.f_pwm_hz, _PERIOD_MAX)))
            config.pins = pins
            self._kept.append(pins)

    @property
    def at_registers(self) -> bool:
        """The firmware is written for the part's registers, not for the seam."""
        return bool(self.struct.pins != self.ffi.NULL)

    @property
    def asked_cycles(self) -> int | None:
        """The flat cost of a block; None where object code is charged."""
        return None if self.charged[1] else self.block_cycles

    def take_over_at(self, seconds: float) -> None:
        """Let the host's plant take over from the compiled one at this moment."""
        self.struct.take_over_cycle = round(seconds * self.f_cpu_hz)

    def _charge(self, costs: CodeCosts, factor: float) -> None:
        table = costs.table(factor)
        self.struct.code_costs = self._keep(table, "uint32_t *")
        self.struct.code_costs_from, self.struct.n_code_costs = costs.first, len(table)
        self.struct.vector_in_cycles = round(VECTOR_IN_CYCLES * factor)
        self.struct.vector_out_cycles = round(VECTOR_OUT_CYCLES * factor)

    def _outages(self, scenario: Scenario) -> Any:
        """Power cuts and gaps of the supply in order of time; one that begins in another goes on after it."""
        faults = [fault for fault in scenario.faults if fault.kind in OUTAGES]
        array = self.ffi.new("core_outage[]", len(faults))
        last = 0
        for slot, fault in zip(array, faults, strict=True):
            slot.at_once = fault.kind == POWER_CUT
            slot.to = max(round((fault.at_s + fault.for_ms * 1e-3) * self.f_cpu_hz), last)
            setattr(slot, "from", max(round(fault.at_s * self.f_cpu_hz), last))
            last = slot.to
        return array

    def _moments(self, scenario: Scenario, kind: str) -> np.ndarray[Any, Any]:
        """Cycles of the faults of one kind."""
        at_s = [fault.at_s for fault in scenario.faults if fault.kind == kind]
        return np.array([round(t_s * self.f_cpu_hz) for t_s in at_s], np.int64)

    def keep(self, array: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
        """`array`, which the core reads during the run and which lives as long."""
        self._kept.append(array)
        return array

    def _keep(self, array: np.ndarray[Any, Any], kind: str) -> Any:
        self._kept.append(array)
        return self.ffi.cast(kind, self.ffi.from_buffer(array)) if array.size else self.ffi.NULL

    def _cycles(self, cycles: np.ndarray[Any, Any]) -> Any:
        return self._keep(np.ascontiguousarray(cycles, np.int64), "int64_t *")

    def _trace(self, trace: Any, points: tuple[tuple[float, float], ...], factor: float) -> None:
        trace.t_s = self._keep(np.array([t for t, _ in points], np.float64), "double *")
        trace.value = self._keep(np.array([v * factor for _, v in points], np.float64), "double *")
        trace.n = len(points)


def driver_dead_cycles(drive: Drive, f_cpu_hz: float) -> int:
    """Dead time of a gate driver with one input a leg, rounded up; 0 where each FET has its own input."""
    if drive.bridge.chopping != COMPLEMENTARY:
        return 0
    # a dead time of whole cycles must not become one more by rounding
    return math.ceil(drive.bridge.dead_time_ns * 1e-9 * f_cpu_hz - 1e-3)


_NO_PIN = 255
_PERIOD_MAX = 2.0**30
"""Cycles; a minute: no carrier is slower, and any number above zero may stand in the file."""
_MARK_REGISTERS = {"": 0, "GPIOR0": 0x3E, "GPIOR1": 0x4A, "GPIOR2": 0x4B}
"""Addresses in data space; data sheet, section "Register Summary"."""


def fill_pins(struct: Any, pins: Pins, f_cpu_hz: float) -> None:
    """Write `pins` into a `core_pins` struct; delays are rounded to whole cycles."""
    struct.high = [number_of(pin) for pin in pins.high]
    struct.low = [number_of(pin) for pin in pins.low]
    struct.high_active, struct.low_active = pins.high_active == "high", pins.low_active == "high"
    struct.on_delay_cycles = round(pins.shifter_on_ns * 1e-9 * f_cpu_hz)
    struct.off_delay_cycles = round(pins.shifter_off_ns * 1e-9 * f_cpu_hz)
    struct.phase = [number_of(pin) for pin in pins.phases]
    struct.bus = number_of(pins.bus) if pins.bus else _NO_PIN
    struct.throttle = number_of(pins.throttle) if pins.throttle else _NO_PIN
    for pin in range(len(struct.steady)):
        struct.steady[pin] = _NO_PIN
    for name, level in pins.steady.items():
        struct.steady[number_of(name)] = level
    for k, (name, (low, high)) in enumerate(pins.marks.items()):
        struct.mark_pin[k], struct.mark_low[k], struct.mark_high[k] = number_of(name), low, high
    struct.n_mark = len(pins.marks)
    struct.mark_register = _MARK_REGISTERS[pins.mark_register]


_SHAPES = {"trapezoid": "EMF_TRAPEZOID", "sine": "EMF_SINE", "table": "EMF_TABLE"}


def fill_params(struct: Any, params: PlantParams, h_max_s: float) -> Any:
    """Write `params` into a `plant_params` struct; offset and clamp refer to the terminal there.

    Returns what must live until the plant has been started. ValueError for a shape or inductances that
    are none, as of the equation plant, or a table of more than 1024 values.
    """
    shape_of(params)
    smallest_inductance_h(params)
    if len(params.shape_table) > TABLE_MAX:
        raise ValueError(
            f"a back-EMF table of {len(params.shape_table)} values is longer than the compiled plant's "
            f"{TABLE_MAX}; take every second value"
        )
    for name in (
        *("j_kg_m2", "b_nm_s", "coulomb_nm", "breakaway_nm", "kq_nm_s2", "third_harmonic"),
        *("r_on_ohm", "r_diode_ohm", "v_f_v", "r_supply_ohm", "c_bus_f", "esr_ohm", "i_aux_a"),
        *("sense_tau_s", "pole_pairs", "sinks", "stiff", "fixed_speed"),
    ):
        setattr(struct, name, getattr(params, name))
    struct.k_v_s, struct.r_ohm = params.k_phases_v_s, params.r_phases_ohm
    struct.l_h = tuple(params.l_h * factor for factor in params.l_factors)
    struct.m_h, struct.broken = params.m_h, params.broken
    struct.offset_v = params.offset_v / params.divider
    struct.pin_clamp_v = math.inf if params.pin_clamp_v is None else params.pin_clamp_v
    struct.h_max_s = h_max_s
    ffi = core_declarations()
    struct.shape = ffi.typeof("enum plant_emf").relements[_SHAPES[params.shape]]
    table = ffi.new("double[]", list(params.shape_table) or [0.0])
    struct.table, struct.n_table = table, len(params.shape_table)
    return table


def throttle_edges(scenario: Scenario, f_cpu_hz: float, end_cycle: int) -> np.ndarray[Any, Any]:
    """Cycles of the throttle pin's edges, rising first, alternating, none at or after the end.

    A pulse that would still be high when the next one begins runs into it: the pin stays high.
    """
    cycles: list[int] = []
    for rise_s, width_us in scenario.pulses():
        rise = round(rise_s * f_cpu_hz)
        fall = round((rise_s + width_us * 1e-6) * f_cpu_hz)
        if cycles and rise <= cycles[-1]:
            cycles[-1] = max(fall, cycles[-1])
        else:
            cycles += [rise, fall]
    return np.array([cycle for cycle in cycles if cycle < end_cycle], np.int64)
