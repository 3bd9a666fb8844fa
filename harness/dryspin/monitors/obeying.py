"""What the rite is good for: neutral arms, every time, and what is armed stays so as long as its signal."""

from itertools import pairwise

import numpy as np

from dryspin.monitors.completing import awake_s
from dryspin.monitors.demand import GAP_S
from dryspin.monitors.evidence import Evidence
from dryspin.monitors.lasting import gap_too_long
from dryspin.monitors.verdict import Ruling, at_most, discrete, worst
from dryspin.recording import Mark

LONGEST_FRAME_S = 0.03
"""A transmitter's frames last 25 ms at most (common practice, no source), and a pulse moves in its frame."""

ARMED_MARKS = (Mark.ARMED, Mark.PRECHARGE, Mark.ALIGN, Mark.RAMP, Mark.RUN, Mark.BRAKE, Mark.COAST)


def accepted(evidence: Evidence) -> Ruling:
    """While off, neutral pulses without a break arm in time, the rotor at rest and the supply as declared."""
    recording, demand, rulings = evidence.recording, evidence.demand, []
    limit_s = evidence.limits["accepted_s"]
    falls_s = demand.falls_s
    ends_run = ~demand.neutral | np.append(False, gap_too_long(falls_s))
    ends_run[1:] |= np.diff(falls_s) > LONGEST_FRAME_S
    for from_s, to_s in _off(evidence):
        awake = from_s == 0.0 or from_s in evidence.resets_s
        listens_s = awake_s(evidence, from_s) if awake else from_s
        first, last = np.searchsorted(falls_s, (listens_s, to_s), side="right")
        borders = [int(first), *(int(first) + np.flatnonzero(ends_run[first:last])).tolist(), int(last)]
        for begin, end in pairwise(borders):
            begin += begin < end and not demand.neutral[begin]
            if begin >= end:
                continue
            begin_s, end_s = float(falls_s[begin]), float(falls_s[end - 1])
            arms = end == last and evidence.mark_at_s(to_s) in ARMED_MARKS
            seen_s = (to_s if arms else end_s) - begin_s
            until_s = begin_s + min(seen_s, limit_s)
            if not (arms or seen_s > limit_s) or not _may_arm(evidence, begin_s, until_s):
                continue
            words = "armed" if arms else "not armed"
            words += f" {seen_s:.3f} s after the first of the neutral pulses that came without a break"
            row = next(
                (span.row for span in recording.marks if float(recording.seconds(span.start)) >= to_s), None
            )
            rulings.append(at_most(seen_s, limit_s, "s", words, until_s, row if arms else None))
    return worst(rulings, "the firmware was never off with the stick at neutral for long enough")


def _off(evidence: Evidence) -> list[tuple[float, float]]:
    """Stretches in which the firmware says that it is off, by itself or in a tone, cut at every reset."""
    found: list[tuple[float, float]] = []
    for span in evidence.recording.marks:
        from_s, to_s = (float(evidence.recording.seconds(cycle)) for cycle in (span.start, span.stop))
        if evidence.state_behind_tone(from_s) != Mark.OFF or to_s <= from_s:
            continue
        if found and found[-1][1] == from_s and from_s not in evidence.resets_s:
            found[-1] = (found[-1][0], to_s)
        else:
            found.append((from_s, to_s))
    return [
        part
        for from_s, to_s in found
        for part in pairwise([from_s, *(t_s for t_s in evidence.resets_s if from_s < t_s < to_s), to_s])
    ]


def _may_arm(evidence: Evidence, from_s: float, to_s: float) -> bool:
    """Whether nothing but the stick can keep the drive from being armed."""
    recording = evidence.recording
    speeds = np.abs(recording.state_w_rad_s[recording.states_between(from_s, to_s)]) * 30.0 / np.pi
    loops = any(a < to_s and b > from_s for a, b in evidence.looping_s)
    turns = len(speeds) > 0 and float(np.max(speeds)) > evidence.limits["rest_rpm"]
    return not loops and not turns and evidence.inside_envelope(from_s, to_s)


def kept(evidence: Evidence) -> Ruling:
    """Once armed, a drive is off again for a reason only: a reset, a signal that failed, a held rotor."""
    recording, rulings = evidence.recording, []
    resets = {round(t_s * recording.f_cpu_hz) for t_s in evidence.resets_s}
    good_s = evidence.demand.falls_s[evidence.demand.valid]
    since_s = evidence.limits["loss_s"] + GAP_S
    armed = False
    for span in recording.marks:
        t_s = float(recording.seconds(span.start))
        was_armed = armed and span.start not in resets
        armed = span.mark == Mark.ARMED or (was_armed and span.mark in (*ARMED_MARKS, Mark.TONE))
        if span.mark == Mark.ARMED and not was_armed:
            rulings.append(discrete(False, f"armed at {t_s:.3f} s, and not off again without a reason"))
        if span.mark != Mark.OFF or not was_armed:
            continue
        near_s = good_s[(good_s > t_s - since_s) & (good_s <= t_s)]
        gaps_s = np.diff(np.concatenate(([t_s - since_s], near_s, [t_s])))
        if float(np.max(gaps_s)) > GAP_S or not evidence.inside_envelope(max(t_s - 1.0, 0.0), t_s):
            continue
        words = f"off again at {t_s:.3f} s, with a good pulse in every frame before it"
        rulings.append(discrete(True, words, t_s, span.row))
    return worst(rulings, "the firmware was never armed")
