"""Whether a scenario's parts are ones that the drive may have."""

from collections.abc import Callable, Mapping

from dryspin.drive import Drive, Range
from dryspin.errors import ScenarioError
from dryspin.scenario.model import Scenario

# Rounding of a factor must not refuse a part at the very end of its range.
_SLACK = 1e-9

_NOTHING = Range(0.0, 0.0, 0.0)
"""Of what a drive does not state: no factor but 1 fits."""

COPPER_C = Range(-20.0, 20.0, 155.0)
"""Winter on the water to what insulation of class F bears (IEC 60085); at 20 C `r_phase_ohm` holds."""

FACTORS: Mapping[str, Callable[[Drive], Range]] = {
    "kv": lambda drive: drive.motor.kv_rpm_per_v,
    "r_phase": lambda drive: drive.motor.r_phase_ohm,
    "l_phase": lambda drive: drive.motor.l_phase_h,
    "j": lambda drive: drive.motor.j_kg_m2,
    "kq": lambda drive: drive.load.kq_nm_s2,
    "coulomb": lambda drive: drive.load.coulomb_nm,
    "r_on": lambda drive: drive.bridge.r_on_ohm,
    "v_f": lambda drive: drive.bridge.v_f_v,
    "r_supply": lambda drive: drive.supply.r_ohm,
    "c_bus": lambda drive: drive.supply.c_f,
    "static": lambda drive: drive.load.static_nm or _NOTHING,
    "esr": lambda drive: drive.supply.esr_ohm,
    "tau": lambda drive: drive.sense.tau_s,
    "diode_slope": lambda drive: drive.bridge.diode_slope_ohm or _NOTHING,
}
"""Parts given as a factor on the nominal value, and the drive's range of each."""

CLOCK_ERROR: Mapping[str, float] = {"crystal": 100e-6, "resonator": 0.005, "rc": 0.1}
"""Largest error of the controller's clock by what makes it. RC: factory calibration, data sheet 8161D
table 28-1; the others: common practice, no source."""

ABSOLUTES: Mapping[str, Callable[[Drive], Range]] = {
    "offset_v": lambda drive: drive.sense.offset_v,
    "delay_s": lambda drive: drive.sense.delay_s,
    "winding_c": lambda _: COPPER_C,
}
"""Parts given as the value itself, and the drive's range of each."""


def part_ranges(drive: Drive) -> dict[str, Range]:
    """What each key of `[parts]` may be on this drive: factors, or absolute values."""
    error = CLOCK_ERROR[drive.controller.clock]
    return {
        **{name: of(drive).factors for name, of in FACTORS.items()},
        "clock": Range(1.0 - error, 1.0, 1.0 + error),
        **{name: of(drive) for name, of in ABSOLUTES.items()},
    }


def fits(scenario: Scenario, drive: Drive, source: str = "scenario") -> None:
    """Raise `ScenarioError` if a part lies outside the drive's range; `source` names the scenario."""
    ranges = part_ranges(drive)
    for name, value in scenario.parts.items():
        allowed = ranges[name]
        slack = _SLACK * max(abs(allowed.low), abs(allowed.high))
        if not allowed.low - slack <= value <= allowed.high + slack:
            raise ScenarioError(
                f"{source}: [parts] {name} = {value!r} is outside {allowed.low:.6g} to {allowed.high:.6g}, "
                f"the range of {drive.path}. Choose a value inside, or widen the range there."
            )
