"""A scenario in lines: how things stand at power-on, then one line an event."""

from collections.abc import Iterator
from itertools import pairwise

from dryspin.drive import Drive
from dryspin.report.numbers import number, quantity
from dryspin.scenario import Scenario, Trace

TRACES = {
    "supply_v": ("supply", "V"),
    "load_factor": ("propeller torque, factor", ""),
    "load_nm": ("added torque", "Nm"),
    "speed_rpm": ("driven rotor", "rpm"),
    "water_rpm": ("water that turns the propeller", "rpm"),
    "comparator_noise_mv": ("comparator noise", "mV"),
}
"""Linear traces with their name in a report and their unit."""

_UNITS = {"offset_v": "V", "delay_s": "s", "winding_c": "C"}
"""Units of the parts that are absolute values; the others are factors."""

_USUAL_FRAME_MS = 20.0


def scenario_lines(scenario: Scenario, drive: Drive) -> list[str]:
    """Lines "   0.400 s   throttle 1500 -> 1900 us", the first for power-on, then in order of time."""
    events = sorted(_events(scenario), key=lambda event: event[0])
    return [f"{t_s:8.3f} s   {text}" for t_s, text in [(0.0, _power_on(scenario, drive)), *events]]


def _power_on(scenario: Scenario, drive: Drive) -> str:
    supply_v = scenario.supply_v[0][1] if scenario.supply_v else drive.supply.v_v.nominal
    facts = [f"{drive.supply.kind} {quantity(supply_v, 'V')}", f"rotor at {number(scenario.rest_deg)} deg"]
    width_us = scenario.throttle_us[0][1]
    if width_us != drive.throttle.neutral_us:
        facts.append(f"throttle {_width(width_us)}")
    if scenario.frame_ms != _USUAL_FRAME_MS:
        facts.append(f"a throttle pulse every {quantity(scenario.frame_ms, 'ms')}")
    for name, (words, unit) in TRACES.items():
        trace: Trace = getattr(scenario, name)
        usual = 1.0 if name == "load_factor" else 0.0
        if name != "supply_v" and trace and (trace[0][1] != usual or name == "speed_rpm"):
            facts.append(f"{words} {quantity(trace[0][1], unit)}")
    for name, value in scenario.parts.items():
        facts.append(
            f"{name} {quantity(value, _UNITS[name])}" if name in _UNITS else f"{name} x {number(value)}"
        )
    return ", ".join(facts)


def _events(scenario: Scenario) -> Iterator[tuple[float, str]]:
    steps = scenario.throttle_us
    for (_, before_us), (t_s, after_us) in pairwise(steps):
        unit = "" if after_us == 0.0 else " us"
        yield t_s, f"throttle {_bare(before_us)} -> {_bare(after_us)}{unit}"
    for name, (words, unit) in TRACES.items():
        trace: Trace = getattr(scenario, name)
        for (t0_s, before), (t1_s, after) in pairwise(trace):
            if after == before:
                yield t1_s, f"{words} {quantity(before, unit)} begins to change"
            else:
                yield t1_s, f"{words} {number(before)} -> {quantity(after, unit)}, evenly since {t0_s:.3f} s"
    for fault in scenario.faults:
        length = f" for {quantity(fault.for_ms, 'ms')}" if fault.for_ms else ""
        of = f" of {fault.phase}" if fault.phase else ""
        yield fault.at_s, f"{fault.kind}{of}{length}"


def _width(width_us: float) -> str:
    return "without pulses" if width_us == 0.0 else f"{width_us:g} us"


def _bare(width_us: float) -> str:
    return "no pulse" if width_us == 0.0 else f"{width_us:g}"
