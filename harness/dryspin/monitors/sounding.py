"""Tones as they were played: which one was announced, its pulses, and the notes they make.

Moments are true ones; lengths and spacings are by the controller's nominal clock, since notes are
played by it: what the oscillator is off by is no fault of the firmware.
"""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from dryspin.drive import Tone
from dryspin.monitors.evidence import Evidence
from dryspin.recording import Mark, Recording, Signal, WindingPulses, find_winding_pulses
from dryspin.recording.timeline import Ints
from dryspin.units import frequency_hz

NAMING_S: Final = 2e-4
"""Between saying that a tone begins and which one lie a call and at most a few handlers."""

CARRIERS_JOINED: Final = 1.1
"""A chopped pulse pauses for less than a carrier period."""

SILENCE_PERIODS: Final = 2.5
"""A note pauses where the next pulse is later than after two and a half of its longest periods."""

DEEPEST_S: Final = 4e-3
"""Period of the deepest note looked for in a tone that drive.toml does not know, 250 Hz."""

LAST_TONE_MARK: Final = 63


@dataclass(frozen=True)
class Note:
    """Pulses of one pitch in a row.

    length_s   from its first pulse to the beginning of what follows it
    spacing_s  mean from pulse to pulse; 0 where there are too few pulses to tell
    """

    start_s: float
    length_s: float
    spacing_s: float
    row: int


@dataclass(frozen=True)
class Burst:
    """Notes without a silence between them: as many as declared for it, or one.

    silence_s  before it, by the nominal clock; 0 before the first
    """

    silence_s: float
    start_s: float
    stop_s: float
    notes: tuple[Note, ...]


@dataclass(frozen=True)
class Wanted:
    """A declared burst: pitches (Hz) with their lengths (s), and the silence before it (s)."""

    silence_s: float
    notes: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Sounding:
    """One tone that was played.

    number   announced with it, None where none was; tone  what drive.toml says it is
    start_s, stop_s  of the state, true time; row  the edge that began it
    bursts   its pulses, by their silences
    whole    it ended of itself; cut short by something of more importance otherwise
    """

    number: int | None
    tone: Tone | None
    start_s: float
    stop_s: float
    row: int
    pulses: WindingPulses
    whole: bool
    bursts: tuple[Burst, ...]


def wanted(tone: Tone) -> list[Wanted]:
    """The bursts of a declared tone; equal pitches in a row are one longer note."""
    bursts: list[Wanted] = []
    silence_s = 0.0
    notes: list[tuple[float, float]] = []
    for name, ms in (*tone.notes, ("", 0.0)):
        if not name:
            if notes:
                bursts.append(Wanted(silence_s, tuple(notes)))
                silence_s, notes = 0.0, []
            silence_s += ms * 1e-3
            continue
        hz = frequency_hz(name)
        if notes and notes[-1][0] == hz:
            notes[-1] = (hz, notes[-1][1] + ms * 1e-3)
        else:
            notes.append((hz, ms * 1e-3))
    return bursts


def soundings(evidence: Evidence) -> list[Sounding]:
    """Every tone of the recording, in order."""
    recording = evidence.recording
    cycles, values, rows = recording.of(Signal.MARK)
    resets = [round(t * recording.f_cpu_hz) for t in evidence.resets_s]
    states = np.flatnonzero(values < Mark.CROSSING)
    found = []
    for at, k in enumerate(states):
        if values[k] != Mark.TONE:
            continue
        after = int(states[at + 1]) if at + 1 < len(states) else None
        start = int(cycles[k])
        stop = int(cycles[after]) if after is not None else recording.end_cycle
        stop = min([stop, *(cycle for cycle in resets if cycle > start)])
        announced = announcement(evidence, start)
        tone = next((t for t in evidence.recording.drive.tones if t.mark == announced), None)
        before = int(values[states[at - 1]]) if at else int(Mark.OFF)
        # What it goes back to may give way at once to having armed: that is what has cut it short.
        follows = int(states[at + 2]) if after is not None and at + 2 < len(states) else None
        gives_way = (
            follows is not None
            and before != Mark.ARMED == int(values[follows])
            and int(cycles[follows]) - stop <= NAMING_S * recording.f_cpu_hz
        )
        # A reset marks OFF too, at its own cycle: that is no tone that ended of itself.
        goes_on = after is not None and int(values[after]) == before and stop == int(cycles[after])
        goes_on = goes_on and stop not in resets and not gives_way
        found.append(_sounding(evidence, announced, tone, start, stop, int(rows[k]), goes_on))
    return found


def announcement(evidence: Evidence, start: int) -> int | None:
    """Number of the tone announced within `NAMING_S` of the cycle `start`."""
    cycles, values, _ = evidence.recording.of(Signal.MARK)
    near = round(NAMING_S * evidence.recording.f_cpu_hz)
    first, last = np.searchsorted(cycles, (start - near, start + near + 1))
    names = values[first:last]
    names = names[(names >= Mark.TONE_FIRST) & (names <= LAST_TONE_MARK)]
    return int(names[0]) if len(names) else None


def _sounding(
    evidence: Evidence, number: int | None, tone: Tone | None, start: int, stop: int, row: int, goes_on: bool
) -> Sounding:
    recording = evidence.recording
    nominal_hz = recording.drive.controller.f_cpu_hz
    join = round(CARRIERS_JOINED * nominal_hz / recording.drive.bridge.f_pwm_hz)
    pulses = find_winding_pulses(recording.gates, start, stop, join)
    start_s, stop_s = float(recording.seconds(start)), float(recording.seconds(stop))
    goals = wanted(tone) if tone is not None else []
    longest_s = max((1.0 / hz for goal in goals for hz, _ in goal.notes), default=DEEPEST_S)
    breaks = np.flatnonzero(np.diff(pulses.starts) > SILENCE_PERIODS * longest_s * nominal_hz) + 1
    edges = [0, *breaks.tolist(), len(pulses)] if len(pulses) else []
    bursts: list[Burst] = []
    for k, (a, b) in enumerate(pairwise(edges)):
        before_s = bursts[-1].stop_s if bursts else None
        notes = goals[k].notes if k < len(goals) else ()
        bursts.append(_burst(pulses.starts[a:b], pulses.rows[a:b], notes, recording, before_s))
    whole = goes_on and not _called_away(evidence, start_s, stop_s)
    return Sounding(number, tone, start_s, stop_s, row, pulses, whole, tuple(bursts))


def _burst(
    starts: Ints,
    rows: Ints,
    goals: tuple[tuple[float, float], ...],
    recording: Recording,
    before_s: float | None,
) -> Burst:
    """The notes of one burst: a note ends where the spacing is nearer to the next one's period."""
    nominal_hz = recording.drive.controller.f_cpu_hz
    clock = recording.f_cpu_hz / nominal_hz
    begins_s = recording.seconds(starts)
    spacing = np.diff(starts) / nominal_hz
    borders = [0]
    for (hz, _), (next_hz, _) in pairwise(goals):
        middle_s = 1.0 / math.sqrt(hz * next_hz)
        rest = spacing[borders[-1] :]
        over = rest > middle_s if next_hz < hz else rest < middle_s
        borders.append(borders[-1] + (int(np.argmax(over)) if np.any(over) else len(rest)))
    borders.append(len(spacing))
    notes = []
    for k, (a, b) in enumerate(pairwise(borders)):
        # Where one note goes over into another, a spacing may belong to either.
        inner = spacing[a + (k > 0) : b - (k + 2 < len(borders))]
        mean_s = float(np.mean(inner)) if len(inner) else 0.0
        length_s = float(spacing[a:b].sum()) + (mean_s if b == len(spacing) else 0.0)
        notes.append(Note(float(begins_s[a]), length_s, mean_s, int(rows[a])))
    silence_s = (float(begins_s[0]) - before_s) * clock if before_s is not None else 0.0
    stop_s = float(begins_s[-1]) + notes[-1].spacing_s / clock
    return Burst(silence_s, float(begins_s[0]), stop_s, tuple(notes))


def _called_away(evidence: Evidence, start_s: float, stop_s: float) -> bool:
    """Whether the stick moved or was lost in a tone, so that the firmware may have cut it short."""
    since_s = start_s - evidence.limits["demand_act_s"]
    moments = [t for episode in evidence.episodes for t in (episode.start_s, episode.stop_s)]
    # With a clock that may be off, a stick far from a border is on neither side for sure, wherever it goes.
    moved_us = np.abs(np.diff(evidence.demand.heard_us))
    far = moved_us > evidence.recording.drive.throttle.dead_band_us
    moments += evidence.demand.falls_s[1:][far].tolist()
    return any(since_s < moment_s <= stop_s for moment_s in moments)
