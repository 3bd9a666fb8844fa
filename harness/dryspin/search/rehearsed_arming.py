"""How many throttle frames a firmware wants at neutral before it obeys the stick, found by trying.

By what it says, where it says ARMED; else by what it does: a full stick that comes too early drives nothing.
"""

import math
from collections.abc import Callable, Sequence

import numpy as np

from dryspin.drive import Drive
from dryspin.recording import Mark, Recording
from dryspin.scenario import Scenario
from dryspin.search.course import START_UP_S

Run = Callable[[Scenario], Recording]

SOON_S, LATEST_S = 3.0, 6.0
"""Neutral from power-on for so long: what most firmwares take, then all that is waited for."""

FIRST_TRY = 8
"""Frames before the first full stick, where the firmware says nothing; then twice as many, and so on."""

ASKED_S = 1.0
"""Full stick for so long, where the firmware does not say that it is armed."""

DRIVEN_S = 0.05
"""Two windings on the bus for so long within that: a start at a tenth of the bus; tones stay below 0.03."""


def rite_frames_by_period(run: Run, drive: Drive, frames_ms: Sequence[float]) -> dict[float, int]:
    """`frames_needed` for each period of the throttle; empty where the firmware is never armed.

    With the longest and the shortest period; what both say of pulses, or of time, holds for those between.
    """
    longest, shortest = max(frames_ms), min(frames_ms)
    seen: dict[float, int] = {}
    for period in dict.fromkeys((longest, shortest)):
        frames = frames_needed(run, drive, period)
        if frames is None:
            return {}
        seen[period] = frames
    if seen[longest] == seen[shortest]:
        return dict.fromkeys(frames_ms, seen[longest])
    time_ms = max(frames * period for period, frames in seen.items())
    if all(time_ms - frames * period <= longest for period, frames in seen.items()):
        return {period: seen.get(period, math.ceil(time_ms / period)) for period in frames_ms}
    measured = {period: seen.get(period) or frames_needed(run, drive, period) for period in frames_ms}
    return {period: frames for period, frames in measured.items() if frames}


def frames_needed(run: Run, drive: Drive, frame_ms: float) -> int | None:
    """Neutral pulses from the start of main() until the stick is obeyed; None where it is not within 6 s.

    Raises RigError where the firmware cannot be run.
    """
    for from_s, end_s in ((SOON_S, SOON_S), (LATEST_S, LATEST_S + ASKED_S)):
        recording = run(_neutral_then_full(drive, frame_ms, from_s, end_s))
        armed_s = [
            float(recording.seconds(span.start)) for span in recording.marks if span.mark == Mark.ARMED
        ]
        if armed_s:
            return _frames(armed_s[0], frame_ms)
    return _by_driving(run, drive, frame_ms) if driven_s(recording, LATEST_S) > DRIVEN_S else None


def _by_driving(run: Run, drive: Drive, frame_ms: float) -> int:
    """The fewest frames after which a full stick drives: doubled until enough, then halved."""

    def obeyed(frames: int) -> bool:
        from_s = START_UP_S + frames * frame_ms / 1000.0
        return driven_s(run(_neutral_then_full(drive, frame_ms, from_s, from_s + ASKED_S)), from_s) > DRIVEN_S

    most = math.ceil(LATEST_S * 1000.0 / frame_ms)
    too_few, enough = 0, min(FIRST_TRY, most)
    while enough < most and not obeyed(enough):
        too_few, enough = enough, min(2 * enough, most)
    while enough - too_few > 1:
        middle = (enough + too_few) // 2
        too_few, enough = (too_few, middle) if obeyed(middle) else (middle, enough)
    return _frames(START_UP_S + enough * frame_ms / 1000.0, frame_ms)


def driven_s(recording: Recording, from_s: float) -> float:
    """Time after `from_s` in which one leg is at the bus and another at ground (s)."""
    gates = recording.gates
    both = np.any(gates.values & 1, axis=1) & np.any(gates.values & 2, axis=1)
    starts = np.maximum(gates.cycles, recording.cycle_of(from_s))
    cycles = np.maximum(gates.ends - starts, 0)[both]
    return float(recording.seconds(int(np.sum(cycles))))


def _neutral_then_full(drive: Drive, frame_ms: float, from_s: float, end_s: float) -> Scenario:
    steps = [(0.0, drive.throttle.neutral_us)]
    if from_s < end_s:
        steps.append((round(from_s, 4), drive.throttle.forward_full_us))
    return Scenario(seed=0, end_s=round(end_s, 4), rest_deg=0.0, frame_ms=frame_ms, throttle_us=tuple(steps))


def _frames(moment_s: float, frame_ms: float) -> int:
    """Pulses that rise from the start of main() to `moment_s`; pulse k rises after k + 1/2 frames."""
    first = math.floor(round(START_UP_S * 1000.0 / frame_ms - 0.5, 6)) + 1
    return max(1, math.ceil(round(moment_s * 1000.0 / frame_ms - 0.5, 6)) - first)
