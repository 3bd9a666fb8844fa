"""What the probes would show of a recording: both sides of every gate edge, and the bus with them."""

import tracemalloc
from dataclasses import fields, replace

import numpy as np
import pytest

from dryspin.recording import Signal
from dryspin.report.sheet.lanes import lanes_of
from dryspin.report.sheet.terminals import pieces_of, terminals_of

from ..recording.samples import recording, scenario, thruster
from .sheet_samples import MOMENT_S, spiked


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


def test_pieces_and_stretches_are_parts_of_the_whole() -> None:
    """To the last bit, also where a piece begins at a jump of the bus."""
    drive = thruster()
    supply = replace(drive.supply, esr_ohm=replace(drive.supply.r_ohm, low=0.03, nominal=0.03, high=0.03))
    rows = [(0, Signal.GATE_U, 2), (0, Signal.GATE_V, 2), (0, Signal.GATE_W, 0)]
    rows += [(16_000 * k, Signal.GATE_U, k % 3) for k in range(1, 10)]
    one = recording(rows, drive=replace(drive, supply=supply), scenario=scenario(faults=(), parts={}))
    states = one.states.copy()
    states["i_u_a"] = 10.0 * np.sin(np.arange(len(states)) / 50.0)
    states["i_v_a"] = -states["i_u_a"]
    one = replace(one, states=states)
    whole = terminals_of(one)
    pieces = list(pieces_of(one, segments=100))
    near = terminals_of(one, 0.004, 0.006)
    # two points a segment; 2000 segments of 5 us
    first = 2 * (int(np.searchsorted(states["t_s"], 0.004)) - 1)

    assert len(pieces) == 20
    assert np.ptp(whole.bus_v) > 0.1
    for name in (field.name for field in fields(whole)):
        all_of_it = getattr(whole, name)
        assert np.array_equal(np.concatenate([getattr(piece, name) for piece in pieces]), all_of_it), name
        stretch = getattr(near, name)
        assert np.array_equal(stretch, all_of_it[first : first + len(stretch)]), name
    assert near.t_s[0] <= 0.004
    assert near.t_s[-1] >= 0.006


def test_lanes_of_a_long_run_take_little_more_than_the_run_itself() -> None:
    """All points at once would take ten times the states, and minutes of a drive more than a machine has."""
    one = spiked(12.0)
    tracemalloc.start()
    try:
        lanes_of(one, MOMENT_S)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()

    assert peak < 6.0 * one.states.nbytes
