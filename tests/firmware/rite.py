"""What the tests of the thruster's rites share: sticks, runs, and reading what was said and played."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np

from dryspin.recording import Mark, Recording, Signal, find_winding_pulses
from dryspin.rig import Rig
from dryspin.scenario import Scenario, Trace

FRAME_MS = 10.0
UP, MIDDLE, DOWN = 1790.0, 1510.0, 1250.0
"""A narrow range, its neutral off the standard one."""

LEARNT_S = 2.1
"""Stick up from power-on, then in the middle from 1.25 s, down from 1.65 s: learnt and stored by then."""


def calibration(from_s: float = 0.0, up: float = UP, middle: float = MIDDLE, down: float = DOWN) -> Trace:
    """A stick that goes through the whole rite."""
    return ((from_s, up), (from_s + 1.25, middle), (from_s + 1.65, down))


def story(end_s: float, stick: Trace, **more: object) -> Scenario:
    """A run of the thruster on its pack."""
    return replace(Scenario(5, end_s, 30.0, FRAME_MS, stick), **more)  # type: ignore[arg-type]


def marks(recording: Recording) -> list[tuple[float, int]]:
    """(moment in s, code) of every mark but the crossings."""
    cycles, values, _ = recording.of(Signal.MARK)
    said = zip(recording.seconds(cycles).tolist(), values.tolist(), strict=True)
    return [(t_s, code) for t_s, code in said if code != Mark.CROSSING]


def first_s(recording: Recording, code: int, from_s: float = 0.0) -> float:
    """When `code` is first marked after `from_s`; infinite where it is not."""
    return next((t_s for t_s, mark in marks(recording) if mark == code and t_s >= from_s), math.inf)


def said(recording: Recording) -> set[int]:
    """Every code marked."""
    return {code for _, code in marks(recording)}


def settled_counts(recording: Recording) -> int:
    """The duty at the end, signed by the way the rotor turns; 0 unless it runs."""
    if [code for _, code in marks(recording) if code < Mark.CROSSING][-1] != Mark.RUN:
        return 0
    duty = int(recording.of(Signal.DUTY)[1][-1])
    return duty if float(recording.states["w_rad_s"][-1]) > 0.0 else -duty


def driven_at(rig: Rig, width_us: float, neutral_us: float, store: bytes = b"") -> int:
    """Settled duty at a stick position, armed at `neutral_us`, after a start with this store."""
    stick = ((0.0, neutral_us), (0.4, width_us))
    return settled_counts(rig.run(story(1.5, stick, store=store.hex())))


def width_at(share: float, neutral_us: float, full_us: float) -> float:
    """The stick at a share of its way from the border of the dead band, 40 us, to full."""
    band_us = math.copysign(40.0, full_us - neutral_us)
    return neutral_us + band_us + share * (full_us - neutral_us - band_us)


def tone_notes(recording: Recording, mark: int) -> list[tuple[float, float]]:
    """(pitch in Hz, length in s) of every note of the first tone announced as `mark`.

    Pulses are taken from the gates; a note ends where the spacing changes by more than a quarter
    of a semitone.
    """
    start_s = first_s(recording, mark)
    stop_s = next(t_s for t_s, code in marks(recording) if t_s > start_s and code < Mark.CROSSING)
    first, last = (round(t_s * recording.f_cpu_hz) for t_s in (start_s, stop_s))
    starts = find_winding_pulses(recording.gates, first, last, 0).starts
    spacing_s = np.diff(starts) / recording.f_cpu_hz
    borders = np.flatnonzero(np.abs(np.diff(np.log2(spacing_s))) > 1.0 / 48.0) + 1
    notes = []
    for a, b in pairwise([0, *borders.tolist(), len(spacing_s)]):
        if b - a > 1:  # a lone spacing is a pause
            notes.append((float(1.0 / np.mean(spacing_s[a:b])), float(np.sum(spacing_s[a:b]))))
    return notes
