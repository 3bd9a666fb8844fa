"""A capture as a recording, so that the same monitors judge it. What is estimated is marked as such there.

Cycles are nanoseconds: the recording's clock runs at 1 GHz whatever the controller's does. Legs and the
mark RUN come from the patterns seen, the rotor from the crossings: at the crossing of a step its angle
is known, in between it is taken as a straight line. Currents are not seen and stand as not a number.
"""

import numpy as np
from numpy.typing import NDArray

from dryspin.capture.mapping import MID_RUN
from dryspin.capture.reading import CHAIN_NS, NS_PER_S, Reading
from dryspin.recording import EDGE, GATES, LEG_NAMES, LEGS, STATE, Leg, Mark, Recording, Reset, Signal
from dryspin.recording.signals import HIGH_FET, LOW_FET
from dryspin.recording.sixstep import DRIVEN, ideal_crossing_rad
from dryspin.scenario import Scenario

_SIXTH_RAD = np.pi / 3.0

Row = tuple[int, int, int]


def as_recording(reading: Reading, *, locked_only: bool = False) -> Recording:
    """The recording of what `reading` shows.

    RUN is marked while patterns follow one another; with `locked_only` from where they follow the rotor:
    a start is blind, and which angle it has is nobody's promise.
    """
    rows = [*_gates(reading), *_lines(reading), *_legs(reading, locked_only)]
    rows.sort(key=lambda row: row[0])
    edges = np.zeros(len(rows), EDGE)
    if rows:
        cycles, signals, values = zip(*rows, strict=True)
        edges["cycle"], edges["signal"], edges["value"] = cycles, signals, values
    end = round(reading.capture.end_ns)
    if len(edges):
        end = max(end, int(edges["cycle"][-1]))
    return Recording(
        edges=edges,
        states=_states(reading),
        f_cpu_hz=NS_PER_S,
        end_cycle=end,
        drive=reading.drive,
        # Nobody knows what happened but the capture itself; a scenario cannot be without a throttle.
        scenario=Scenario(0, max(end, 1) / NS_PER_S, 0.0, 20.0, ((0.0, 0.0),)),
        image_digest="captured",
    )


def _gates(reading: Reading) -> list[Row]:
    """Edges of the FETs; of a leg with one gate probed the other counts as off."""
    levels = reading.capture.levels
    rows: list[Row] = []
    for leg, signal in zip(LEG_NAMES, GATES, strict=True):
        lines = [
            (levels[name], bit)
            for name, bit in ((f"gate {leg} high", HIGH_FET), (f"gate {leg} low", LOW_FET))
            if name in levels
        ]
        if not lines:
            continue
        times = np.unique(np.concatenate([line.t_ns for line, _ in lines]))
        values = np.zeros(len(times), np.int64)
        for line, bit in lines:
            at = np.searchsorted(line.t_ns, times, side="right") - 1
            values |= line.values[at] * bit
        rows += [(t, int(signal), v) for t, v in zip(times.tolist(), values.tolist(), strict=True)]
    return rows


def _lines(reading: Reading) -> list[Row]:
    levels = reading.capture.levels
    rows: list[Row] = []
    for name, signal in (("throttle", Signal.THROTTLE), ("comparator", Signal.COMPARATOR)):
        if name in levels:
            line = levels[name]
            rows += [
                (t, int(signal), v) for t, v in zip(line.t_ns.tolist(), line.values.tolist(), strict=True)
            ]
    if reading.capture.mapped.begins != MID_RUN:
        rows.append((0, int(Signal.RESET), int(Reset.POWER_ON)))
    if "reset" in levels:
        rows += [(t, int(Signal.RESET), int(Reset.EXTERNAL)) for t in levels["reset"].edges(1).tolist()]
    return rows


def _legs(reading: Reading, locked_only: bool) -> list[Row]:
    """Legs as the patterns show them, and the mark RUN."""
    steps, run = reading.steps, reading.run
    if steps is None:
        return []
    rows: list[Row] = [(0, int(signal), int(Leg.OPEN)) for signal in LEGS]
    rows.append((0, int(Signal.MARK), int(Mark.OFF)))
    seen = reading.open_phase
    crossings = seen.crossing_ns if seen is not None else np.full(len(steps), np.nan)
    known = np.flatnonzero(np.isfinite(crossings))
    last = dict(zip(run[known].tolist(), known.tolist(), strict=True))
    for k in range(len(steps)):
        start, chain = round(steps.start_ns[k]), int(run[k])
        begins = k == reading.locked[chain] if locked_only else k == 0 or run[k - 1] != chain
        if begins:
            rows.append((start, int(Signal.MARK), int(Mark.RUN)))
        high, low = DRIVEN[steps.step[k]]
        for leg, signal in enumerate(LEGS):
            value = Leg.CHOPPED if leg == high else Leg.LOW if leg == low else Leg.OPEN
            rows.append((start, int(signal), int(value)))
        if locked_only and k == last.get(chain):
            # Beyond the last crossing nobody knows the angle.
            rows.append((round(crossings[k]), int(Signal.MARK), int(Mark.OFF)))
        if k + 1 < len(steps) and run[k + 1] == chain:
            continue
        stop = min(max(round(steps.stop_ns[k]), start), round(reading.capture.end_ns))
        if k + 1 < len(steps):
            # Of two marks in one moment only the last counts.
            stop = min(stop, round(steps.start_ns[k + 1]) - 1)
        rows.append((stop, int(Signal.MARK), int(Mark.OFF)))
        if k + 1 == len(steps) or steps.start_ns[k + 1] - stop > CHAIN_NS:
            rows += [(stop, int(signal), int(Leg.OPEN)) for signal in LEGS]
    return rows


def _states(reading: Reading) -> NDArray[np.void]:
    """The rotor at each crossing: its angle is that of the step's ideal crossing, counted on."""
    steps, seen = reading.steps, reading.open_phase
    if steps is None or seen is None:
        return np.zeros(0, STATE)
    way = reading.direction[reading.run]
    known = np.flatnonzero(np.isfinite(seen.crossing_ns) & (way != 0))
    known = known[np.append(True, np.diff(seen.crossing_ns[known]) > 0.0)] if len(known) else known
    if len(known) < 2:
        return np.zeros(0, STATE)
    states = np.zeros(len(known), STATE)
    t_s = seen.crossing_ns[known] / NS_PER_S
    # Every step counts a sixth of a turn in its chain's direction: turns are kept, whatever was missed.
    moves = np.concatenate([[0], (np.diff(steps.step) + 2) % 6 - 2])
    turned = np.cumsum(moves)[known] * _SIXTH_RAD
    ideal = ideal_crossing_rad(steps.step[known], way[known])
    # A step belongs to another angle in the other direction, so each chain is counted by itself.
    chain = reading.run[known]
    begins = np.flatnonzero(np.append(True, chain[1:] != chain[:-1]))
    offset = (ideal - turned)[begins]
    turned += offset[np.searchsorted(begins, np.arange(len(known)), side="right") - 1]
    # The crossing's own angle decides, to the nearest turn of what was counted.
    theta = ideal + 2.0 * np.pi * np.round((turned - ideal) / (2.0 * np.pi))
    states["t_s"], states["theta_rad"] = t_s, theta
    states["w_rad_s"] = np.gradient(theta, t_s) / reading.drive.motor.pole_pairs
    states["v_bus_v"] = reading.probes.bus_v if reading.probes is not None else np.nan
    states["i_u_a"] = states["i_v_a"] = np.nan
    return states
