"""Scenarios: what happens to the drive, as traces and faults, and their file format."""

from dryspin.scenario.fit import fits, part_ranges
from dryspin.scenario.model import (
    LINEAR_TRACES,
    Fault,
    Scenario,
    Trace,
    linear_value,
    step_value,
)
from dryspin.scenario.reader import parse_scenario, read_scenario, scenario_from_table

__all__ = [
    "LINEAR_TRACES",
    "Fault",
    "Scenario",
    "Trace",
    "fits",
    "linear_value",
    "parse_scenario",
    "part_ranges",
    "read_scenario",
    "scenario_from_table",
    "step_value",
]
