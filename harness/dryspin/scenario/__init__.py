"""Scenarios: what happens to the drive, as traces and faults, and their file format."""

from dryspin.scenario.model import (
    LINEAR_TRACES,
    Fault,
    Scenario,
    Trace,
    linear_value,
    step_value,
)

__all__ = ["LINEAR_TRACES", "Fault", "Scenario", "Trace", "linear_value", "step_value"]
