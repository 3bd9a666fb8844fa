"""Whether learning begins and ends as the pulses teach: stored where they do, else given up with a reason."""

from itertools import pairwise
from typing import Final

import numpy as np

from dryspin.drive import Calibration
from dryspin.monitors.demand import GAP_S
from dryspin.monitors.evidence import Evidence
from dryspin.monitors.learning import CUT, GUARD_US, NOT_STORED, OPEN, SILENT, STORED, Held, Learning
from dryspin.monitors.verdict import Ruling, at_most, discrete, worst
from dryspin.recording import Reset, Signal

EARLY_SHARE: Final = 0.02
"""Of the time-out, by the controller's own clock, that it may come early: what counts wraps or tens of
milliseconds, or from the pulse before, is off by as much."""

WAKING_S: Final = 2e-3
"""From its first word to the first captured edge a firmware sets up what it needs."""

ASKED_S: Final = 1.0
"""A firmware may want time as well as pulses: nobody leaves the stick up for so long by mistake."""


def awake_s(evidence: Evidence, start_s: float) -> float:
    """When the firmware first said anything after its start at `start_s`: pulses before it has not seen."""
    recording = evidence.recording
    cycles, _, _ = recording.of(Signal.MARK)
    said = cycles[cycles > recording.cycle_of(start_s)]
    return float(recording.seconds(said[0])) + WAKING_S if len(said) else start_s


def let_in(evidence: Evidence) -> Ruling:
    """With the stick up from power-on for the declared pulses, the rotor at rest, learning begins in time."""
    recording, demand, rulings = evidence.recording, evidence.demand, []
    calibration, limit_s = recording.drive.calibration, evidence.limits["let_in_s"]
    cycles, causes, rows = recording.of(Signal.RESET)
    for cycle, cause, row in zip(cycles.tolist(), causes.tolist(), rows.tolist(), strict=True):
        if calibration is None or cause != Reset.POWER_ON:
            continue
        from_s = float(recording.seconds(cycle))
        stop_s = evidence.next_reset_s(from_s)
        first, last = np.searchsorted(demand.falls_s, (from_s, stop_s), side="right")
        up = demand.valid[first:last] & (demand.heard_us[first:last] > calibration.enter_us + GUARD_US)
        up[1:] &= np.diff(demand.falls_s[first:last]) <= GAP_S
        count = int(np.argmin(up)) if not np.all(up) else len(up)
        rises_s = recording.seconds(recording.pulses.rises[first : first + count])
        falls_s = demand.falls_s[first : first + count][rises_s > awake_s(evidence, from_s)]
        if len(falls_s) < calibration.enter_frames:
            continue
        due_s = max(float(falls_s[calibration.enter_frames - 1]), float(falls_s[0]) + ASKED_S)
        begun_s = next((one.start_s for one in evidence.learnings if from_s <= one.start_s < stop_s), stop_s)
        seen_s = max(min(begun_s, float(falls_s[-1])) - due_s, 0.0)
        begins = begun_s < min(stop_s, float(falls_s[-1]) + GAP_S)
        if not (begins or seen_s > limit_s) or _turned(evidence, from_s, due_s + limit_s):
            continue
        words = "learning begins" if begins else "learning does not begin"
        words += (
            f" {seen_s:.3f} s after the stick was up for {calibration.enter_frames} pulses from power-on on"
        )
        rulings.append(at_most(seen_s, limit_s, "s", words, due_s + min(seen_s, limit_s), row))
    return worst(rulings, "the stick was never up from power-on for long enough")


def completed(evidence: Evidence) -> Ruling:
    """Learning is given up for a reason that can be seen from outside; without one, what was held is stored.

    Reasons are: time is up, a bad or a missing pulse, a rotor that is turned, positions that make no range
    or more than three of them, which leaves open which ones count.
    """
    recording, limit_s, rulings = evidence.recording, evidence.limits["storing_s"], []
    calibration = recording.drive.calibration
    for learning in evidence.learnings:
        if calibration is None or learning.outcome in (CUT, SILENT):
            continue
        held = learning.held
        all_held = len(held) == len(calibration.order)
        if _disturbed(evidence, learning) or not _fit(calibration, learning):
            continue
        took_s = learning.ended_s - learning.start_s
        own_s = took_s * recording.f_cpu_hz / recording.drive.controller.f_cpu_hz
        if learning.outcome == NOT_STORED and own_s < (1.0 - EARLY_SHARE) * calibration.timeout_s:
            words = f"learning is given up after {took_s:.3f} s without a reason, " + _shown(held)
            rulings.append(discrete(True, words, learning.ended_s, learning.ended_row))
        if not all_held or learning.outcome not in (STORED, OPEN):
            continue
        taught_s = max(held[-1].from_s, learning.start_s)
        seen_s = learning.ended_s - taught_s
        if learning.outcome == OPEN and seen_s <= limit_s:
            continue
        words = (
            f"{'stored' if learning.outcome == STORED else 'not stored yet'} {seen_s:.3f} s after the last "
        )
        words += f"position was held, {_shown(held)}"
        moment_s = taught_s + min(seen_s, limit_s)
        rulings.append(at_most(seen_s, limit_s, "s", words, moment_s, learning.ended_row))
    return worst(rulings, "no undisturbed learning came to an end before its time-out")


def _disturbed(evidence: Evidence, learning: Learning) -> bool:
    """Whether signal or rotor may have given a reason to stop, from the start of the controller on."""
    demand = evidence.demand
    from_s, to_s = learning.start_s, learning.ended_s
    inside = (demand.falls_s >= from_s - GAP_S) & (demand.falls_s <= to_s)
    moments_s = np.concatenate(([from_s - GAP_S], demand.falls_s[inside], [to_s]))
    if not np.all(demand.valid[inside]) or float(np.max(np.diff(moments_s))) > GAP_S:
        return True
    return _turned(evidence, from_s, to_s)


def _turned(evidence: Evidence, from_s: float, to_s: float) -> bool:
    """Whether the rotor turned, or may have been held from outside."""
    recording = evidence.recording
    speeds = np.abs(recording.state_w_rad_s[recording.states_between(from_s, to_s)])
    return len(speeds) > 0 and float(np.max(speeds)) * 30.0 / np.pi > evidence.limits["rest_rpm"]


def _fit(calibration: Calibration, learning: Learning) -> bool:
    """Whether what was held so far is the beginning of a range, or all of one, that must be accepted."""
    held, order = learning.held, calibration.order
    if len(held) > len(order):
        return False
    ranks = {"low": 0, "neutral": 1, "high": 2}
    widths = [h.width_us for h in held]
    for (a, b), (before, after) in zip(pairwise(widths), pairwise(order), strict=False):
        if (b - a) * (ranks[after] - ranks[before]) <= 0.0:
            return False
    if len(held) < len(order):
        return True
    low_us, high_us = calibration.span_min_us, calibration.span_max_us
    for learnt in learning.learnt:
        slack_us = 2.0 * learnt.slack_us
        spans = (abs(full - learnt.neutral_us) for full in (learnt.forward_full_us, learnt.reverse_full_us))
        if not all(low_us + slack_us <= span <= high_us - slack_us for span in spans):
            return False
    return bool(learning.learnt)


def _shown(held: tuple[Held, ...]) -> str:
    if not held:
        return "no position held still"
    return "after holds at " + ", ".join(f"{h.width_us:.0f}" for h in held) + " us"
