"""What of a run a sheet opens on: the stretch from what led to the moment up to the moment."""

import math
from typing import Final

from dryspin.findings import Outcome
from dryspin.recording import Recording
from dryspin.report.sheet.clock import ANGLES, Clock, led_from_s
from dryspin.report.sheet.placement import window_s
from dryspin.report.sheet.trigger import last_trigger

_ROOM: Final = 0.15
"""Before the cause and behind the moment, as a share of what lies between them."""

_SHORTEST_S: Final = 100e-6
"""Three PWM periods of 32 kHz: less shows what happened, but nothing of what it happened in."""

_LEADS_S: Final = 2.0
"""A story's last event leads to the moment if it lies no further back: reversals and starts take less."""

_NO_EVENT: Final = frozenset({"gates", "commutation", "tones"})
"""Families in which what goes wrong is a matter of the step or the pulse, whatever the story was at."""

_NEAR_END: Final = 0.5
"""Behind the moment, as a share of what would be shown without it."""

_TURNS: Final = 2.0
_SLOWEST_S: Final = 0.1


def opening(outcome: Outcome, clock: Clock | None, recording: Recording) -> tuple[float, float]:
    """From and to (s) of what is shown first; the whole run where the claim names no moment.

    The run's end is in it where it is near: what followed the moment is part of what happened.
    """
    end_s, moment_s = recording.end_s, outcome.moment_s
    if moment_s is None:
        return 0.0, end_s
    from_s, to_s = _stretch(outcome, moment_s, clock, recording)
    return from_s, end_s if end_s - moment_s <= _NEAR_END * (to_s - from_s) else to_s


def _stretch(
    outcome: Outcome, moment_s: float, clock: Clock | None, recording: Recording
) -> tuple[float, float]:
    """From what led to the moment to shortly behind it."""
    end_s = recording.end_s
    family = outcome.claim.partition(".")[0]
    if outcome.claim in ANGLES:
        right_s = clock.start_s if clock else moment_s
        wide_s = max(_turns_s(recording, moment_s), 2.5 * abs(moment_s - right_s))
        return _inside(moment_s - 0.5 * wide_s, moment_s + 0.5 * wide_s, end_s)
    since_s = led_from_s(outcome, clock)
    if since_s is not None:
        return _between(since_s, moment_s, end_s)
    _, event_s = last_trigger(recording.scenario, moment_s)
    if family not in _NO_EVENT and moment_s - event_s <= _LEADS_S:
        return _between(event_s, moment_s, end_s)
    wide_s = max(window_s(outcome), _turns_s(recording, moment_s) if family == "commutation" else _SHORTEST_S)
    return _inside(moment_s - 0.3 * wide_s, moment_s + 0.7 * wide_s, end_s)


def _between(cause_s: float, moment_s: float, end_s: float) -> tuple[float, float]:
    room_s = max(_ROOM * (moment_s - cause_s), 0.5 * (_SHORTEST_S - (moment_s - cause_s)))
    return _inside(cause_s - room_s, moment_s + room_s, end_s)


def _inside(from_s: float, to_s: float, end_s: float) -> tuple[float, float]:
    """The stretch without what lies outside the run."""
    return max(from_s, 0.0), min(to_s, end_s)


def _turns_s(recording: Recording, moment_s: float) -> float:
    """Time of some electrical turns at the moment's speed; a tenth of a second where it hardly turns."""
    if len(recording.states) < 2:
        return 0.0
    turns_a_s = abs(float(recording.w_at(moment_s))) * recording.drive.motor.pole_pairs / math.tau
    return min(_TURNS / max(turns_a_s, 1e-9), _SLOWEST_S)
