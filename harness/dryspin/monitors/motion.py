"""The rotor and what was asked of it: when it runs the asked way, and how long it stood."""

from itertools import pairwise

import numpy as np

from dryspin.monitors.demand import NEUTRAL, UNCLEAR, Episode
from dryspin.monitors.evidence import Evidence, Floats
from dryspin.recording import Mark, Span
from dryspin.scenario import linear_value

WAY = {1: "forward", -1: "reverse"}


def asked(evidence: Evidence) -> list[Episode]:
    """Episodes in which the stick surely asks for a direction."""
    return [episode for episode in evidence.episodes if episode.asks not in (NEUTRAL, UNCLEAR)]


def running_from(
    evidence: Evidence, direction: int, from_s: float, to_s: float, above_rpm: float
) -> float | None:
    """First moment in [from_s, to_s] in RUN at which the rotor passes a sixth of a turn in `direction`
    faster than `above_rpm`; None where there is none.

    A RUN that ends before the rotor has made a whole mechanical turn has come to nothing, unless `to_s`
    cuts it.
    """
    recording = evidence.recording
    passages_s, _, way = recording.sixths
    for run in evidence.spans_of(Mark.RUN):
        start_s, stop_s = float(recording.seconds(run.start)), float(recording.seconds(run.stop))
        if stop_s < to_s and not has_turned(evidence, run, direction):
            continue
        first, last = np.searchsorted(passages_s, (max(from_s, start_s), min(to_s, stop_s)))
        moments = passages_s[first:last][way[first:last] == direction]
        rpm = np.abs(recording.w_at(moments)) * 30.0 / np.pi
        fast = np.flatnonzero(rpm >= above_rpm)
        if len(fast):
            return float(moments[fast[0]])
    return None


def has_turned(evidence: Evidence, run: Span, direction: int) -> bool:
    """Whether the rotor makes a whole mechanical turn in `direction` within `run`."""
    recording = evidence.recording
    ends = recording.theta_at(recording.seconds(np.array([run.start, run.stop])))
    return bool((ends[1] - ends[0]) * direction >= 2.0 * np.pi * recording.drive.motor.pole_pairs)


def turned_from_outside(evidence: Evidence, from_s: float, to_s: float) -> bool:
    """Whether in [from_s, to_s] something else than the drive turns the rotor, or could."""
    scenario, drive = evidence.recording.scenario, evidence.recording.drive
    hold_nm = drive.load.coulomb_nm.nominal * scenario.parts.get("coulomb", 1.0)
    for trace, limit in ((scenario.load_nm, hold_nm), (scenario.speed_rpm, evidence.limits["rest_rpm"])):
        moments = [from_s, to_s, *(t for t, _ in trace if from_s < t < to_s)]
        if any(abs(linear_value(trace, t, 0.0)) > limit for t in moments):
            return True
    return False


DRIFT_SHARE = 0.2
"""Of the ideal speed kv V: a stream that turns a free propeller so fast has a twenty-fifth of the torque that
it takes to turn it at full speed."""


def drifts(evidence: Evidence, from_s: float, to_s: float) -> bool:
    """Whether throughout [from_s, to_s] the water turns the rotor, but no faster than in a slow drift.

    Torque from outside above the friction, and no more than friction and propeller take at `DRIFT_SHARE` of
    the ideal speed: T = Tc + kq w^2 (fan law).
    """
    scenario, drive = evidence.recording.scenario, evidence.recording.drive
    ideal_rad_s = drive.motor.kv_rpm_per_v.nominal * drive.supply.v_v.nominal * np.pi / 30.0
    most_nm = drive.load.coulomb_nm.high + drive.load.kq_nm_s2.nominal * (DRIFT_SHARE * ideal_rad_s) ** 2
    hold_nm = drive.load.coulomb_nm.nominal * scenario.parts.get("coulomb", 1.0)
    moments = [from_s, to_s, *(t for t, _ in scenario.load_nm if from_s < t < to_s)]
    pushes = [abs(linear_value(scenario.load_nm, t, 0.0)) for t in moments]
    return not scenario.speed_rpm and min(pushes) > hold_nm and max(pushes) <= most_nm


def longest_within(values: Floats, span: float) -> tuple[int, int]:
    """(first, number) of the longest stretch of `values` that keeps within less than `span`.

    Of two as long, the earlier. No stretch reaches over a step of `span`, as a turning rotor makes them.
    """
    leaps = np.flatnonzero(np.abs(np.diff(values)) >= span) + 1
    best, best_first = 0, 0
    for begin, end in pairwise([0, *leaps.tolist(), len(values)]):
        if end - begin > best:
            first, number = _longest_within(values[begin:end], span)
            if number > best:
                best, best_first = number, begin + first
    return best_first, best


def _longest_within(values: Floats, span: float) -> tuple[int, int]:
    best, best_first, first = 0, 0, 0
    high: list[int] = []  # indices of falling values: the maximum of the stretch is the first
    low: list[int] = []
    data = values.tolist()
    high_at = low_at = 0
    for k, value in enumerate(data):
        while len(high) > high_at and data[high[-1]] <= value:
            high.pop()
        while len(low) > low_at and data[low[-1]] >= value:
            low.pop()
        high.append(k)
        low.append(k)
        while data[high[high_at]] - data[low[low_at]] >= span:
            first += 1
            high_at += high[high_at] < first
            low_at += low[low_at] < first
        if k + 1 - first > best:
            best, best_first = k + 1 - first, first
    return best_first, best
