"""A second look at what a deadline's time base is too long for: some electrical turns up to the last wait."""

import math
from dataclasses import dataclass
from typing import Final

from dryspin.recording import Recording, Signal
from dryspin.report.sheet.placement import Probe
from dryspin.report.sheet.screen import Screen, screen_of
from dryspin.report.sheet.terminals import terminals_of
from dryspin.report.sheet.timebase import BEFORE_ITS_END, DIVISIONS, Base, one_two_five, time_text

_LONG_S: Final = 1e-3
"""A division as long as a turn of a fast rotor shows no crossing."""

_TURNS: Final = 2.0
_SLOWEST_TURN_S: Final = 0.1


@dataclass(frozen=True)
class Closer:
    """What to set for it, in words, and what the probes will show."""

    text: str
    screen: Screen


def closer_look(
    probes: tuple[Probe, ...], recording: Recording, base: Base, trigger_s: float
) -> Closer | None:
    """For a probe that shows crossings, where the time base is too long for them; None at standstill."""
    if base.division_s < _LONG_S or "crossing" not in {probe.kind for probe in probes}:
        return None
    if len(recording.states) < 2:
        return None
    at_s, word = _last_wait(recording, base)
    turns_a_s = abs(float(recording.w_at(at_s))) * recording.drive.motor.pole_pairs / math.tau
    if turns_a_s * _SLOWEST_TURN_S < 1.0:
        return None
    division_s = one_two_five(_TURNS / turns_a_s / DIVISIONS)
    near = Base(division_s, at_s, BEFORE_ITS_END, at_s, word)
    text = (
        f"{time_text(division_s)} a division, {near.delay(trigger_s)}: the last "
        f"{BEFORE_ITS_END * division_s * turns_a_s:.1f} electrical turns before {word}, {at_s:.6f} s"
    )
    points = terminals_of(recording, *near.window)
    return Closer(text, screen_of(probes, recording, points, near))


def _last_wait(recording: Recording, base: Base) -> tuple[float, str]:
    """When the firmware last began to wait for an edge since the clock started, and the words for it."""
    cycles, values, _ = recording.of(Signal.SENSE_IRQ)
    begun_s = recording.seconds(cycles[values == 1])
    begun_s = begun_s[(begun_s >= base.since_s) & (begun_s <= base.moment_s)]
    if not len(begun_s):
        return base.moment_s, base.word
    return float(begun_s[-1]), "the last wait for an edge"
