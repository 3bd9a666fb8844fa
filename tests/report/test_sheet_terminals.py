"""What the probes would show of a recording: both sides of every gate edge, and the bus with them."""

from dataclasses import replace

import numpy as np
import pytest

from dryspin.recording import Signal
from dryspin.report.sheet.terminals import terminals_of

from ..recording.samples import recording, scenario, thruster


def test_both_sides_of_a_gate_edge_are_shown() -> None:
    """A probe sees the jump; the recording has one state there."""
    rows = [(0, Signal.GATE_U, 0), (0, Signal.GATE_V, 2), (0, Signal.GATE_W, 2), (80_000, Signal.GATE_U, 1)]
    points = terminals_of(recording(rows, scenario=scenario(faults=(), parts={})))
    k = int(np.searchsorted(points.t_s, 0.005 - 1e-9))

    assert points.t_s[k] == points.t_s[k + 1] == pytest.approx(0.005)
    assert points.legs_v[k, 0] < 4.0
    assert points.legs_v[k + 1, 0] == pytest.approx(11.1, abs=1e-6)
    assert points.legs_v[k + 1, 1] == pytest.approx(0.0, abs=1e-6)
    assert points.neutral_v[k + 1] == pytest.approx(11.1 / 3.0, abs=1e-6)


def test_the_bus_jumps_through_the_capacitors_resistance() -> None:
    """ESR 30 mohm beside a source of 25 mohm: 10 A more give 10 x 30 || 25 = 136 mV less (Kirchhoff)."""
    drive = thruster()
    supply = replace(drive.supply, esr_ohm=replace(drive.supply.r_ohm, low=0.03, nominal=0.03, high=0.03))
    rows = [(0, Signal.GATE_U, 2), (0, Signal.GATE_V, 2), (0, Signal.GATE_W, 0), (80_000, Signal.GATE_U, 1)]
    one = recording(rows, drive=replace(drive, supply=supply), scenario=scenario(faults=(), parts={}))
    states = one.states.copy()
    states["i_u_a"], states["i_v_a"] = 10.0, -10.0
    points = terminals_of(replace(one, states=states))
    k = int(np.searchsorted(points.t_s, 0.005 - 1e-9))

    assert points.bus_v[k] - points.bus_v[k + 1] == pytest.approx(10.0 * 0.03 * 0.025 / 0.055, rel=1e-9)
