"""Commutation: in RUN the steps follow the rotor, in order, the right way, at the right angle."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryspin.monitors.claim import Claim, Needs
from dryspin.monitors.evidence import Evidence, Floats
from dryspin.monitors.following import Running, Sensing, crossing_marks, ramping, running, sensing, torn_out
from dryspin.monitors.motion import WAY
from dryspin.monitors.offset import allowances
from dryspin.monitors.verdict import Ruling, at_most, by_margin, discrete, not_exercised, worst
from dryspin.recording import LEG_NAMES, Signal
from dryspin.recording.sixstep import (
    DRIVEN,
    NO_STEP,
    OPEN_LEG,
    ideal_crossing_rad,
    ideal_start_rad,
    lateness_rad,
    rises,
)
from dryspin.recording.timeline import stretches

ORDER = 20

Bools = NDArray[np.bool_]

_NO_RUN = "the firmware never took two steps in RUN"


def order(evidence: Evidence) -> Ruling:
    """Each step is the next one of its run's direction: none skipped, repeated, or back."""
    recording, taken = evidence.recording, evidence.derive(running)
    steps, later = recording.steps, taken.later
    if not len(later):
        return not_exercised(_NO_RUN)
    gap = steps.cycles[later] - steps.stops[later - 1]
    rewritten = (taken.move == 0) & (gap <= evidence.limits["transition_us"] * 1e-6 * recording.f_cpu_hz)
    wrong = np.flatnonzero((taken.move != taken.direction_of(later)) & ~rewritten)
    if not len(wrong):
        return discrete(False, f"{len(later)} steps in order")
    k = int(later[wrong[0]])
    text = f"step {_pair(steps.step[k])} follows {_pair(steps.step[k - 1])} in a run whose direction is "
    text += WAY.get(int(taken.direction_of(later[wrong[:1]])[0]), "not to be seen")
    return discrete(True, text, recording.seconds(int(steps.cycles[k])), int(steps.rows[k]))


def direction(evidence: Evidence) -> Ruling:
    """Steps go the way the stick asks for, or asked for until shortly before: in a run, and in a ramp."""
    rulings = [_late(evidence, evidence.derive(taken)) for taken in (running, ramping)]
    return worst([ruling for ruling in rulings if ruling], _NO_RUN)


def _late(evidence: Evidence, taken: Running) -> Ruling | None:
    """The step that comes longest after the last pulse that could ask for its way."""
    recording = evidence.recording
    steps, later = recording.steps, taken.later[taken.direction_of(taken.later) != 0]
    if not len(later):
        return None
    times, way = recording.seconds(steps.cycles[later]), taken.direction_of(later)
    age_s = np.empty(len(later))
    for sign in (1, -1):
        mine = way == sign
        age_s[mine] = times[mine] - _last_before(evidence.demand.maybe_falls_s(sign), times[mine])
    k = int(np.argmax(age_s))
    text = f"steps go {WAY[int(way[k])]} {age_s[k]:.3f} s after the last pulse that could ask for it"
    limit_s = evidence.limits["demand_act_s"]
    return at_most(float(age_s[k]), limit_s, "s", text, float(times[k]), int(steps.rows[later[k]]))


def sensed_phase(evidence: Evidence) -> Ruling:
    """Whenever the sense interrupt is on, the comparator looks at the open phase."""
    seen = evidence.derive(sensing)
    looks = seen.step != NO_STEP
    wrong = looks & (OPEN_LEG[seen.step] != seen.leg)

    def text(k: int) -> str:
        return (
            f"phase {LEG_NAMES[seen.leg[k]]} is sensed while {_pair(seen.step[k])} is driven "
            f"and {LEG_NAMES[OPEN_LEG[seen.step[k]]]} is open"
        )

    return _sense_ruling(evidence, seen, looks, wrong, text)


def sensed_edge(evidence: Evidence) -> Ruling:
    """The edge waited for is the one that step and direction bring."""
    seen, way = evidence.derive(sensing), evidence.derive(running).direction
    looks = (seen.step != NO_STEP) & (OPEN_LEG[seen.step] == seen.leg)
    run_way = way[np.maximum(seen.run, 0)] if len(way) else np.zeros(len(seen.run), np.int64)
    looks &= run_way != 0
    wrong = looks & ((seen.edge == 1) != rises(seen.step, run_way))

    def text(k: int) -> str:
        edge = "rising" if seen.edge[k] else "falling"
        return f"a {edge} crossing is waited for in step {_pair(seen.step[k])} going {WAY[int(run_way[k])]}"

    return _sense_ruling(evidence, seen, looks, wrong, text)


@dataclass(frozen=True)
class Angles:
    """Commutations in RUN: index into the recording's steps, moment (s), degrees late, both limits."""

    steps: NDArray[np.int64]
    times: Floats
    late_deg: Floats
    early_limit_deg: Floats
    late_limit_deg: Floats

    @property
    def outside(self) -> Bools:
        """Which lie outside their limits."""
        return (self.late_deg > self.late_limit_deg) | (-self.late_deg > self.early_limit_deg)


def angles(evidence: Evidence) -> Angles:
    """Each commutation against the ideal rotor angle; its limits, what physics takes included."""
    recording, taken = evidence.recording, evidence.derive(running)
    steps, later = recording.steps, taken.later
    later = later[taken.move == taken.direction_of(later)]
    later = later[~torn_out(evidence, recording.seconds(steps.cycles[later]))]
    if not len(later):
        return Angles(later, *(np.zeros(0) for _ in range(4)))
    way, times = taken.direction_of(later), recording.seconds(steps.cycles[later])
    theta = recording.theta_at(times)
    late = np.degrees(lateness_rad(theta, ideal_start_rad(steps.step[later], way), way))
    sampling, offset = allowances(evidence, times)
    # The delay is half of the last interval, which the offset has stretched by twice its angle:
    # late by one share at the crossing, by another after it.
    early_limit = np.maximum(evidence.limits["step_early_deg"], sampling) + 2.0 * offset
    late_limit = np.maximum(evidence.limits["step_late_deg"], sampling) + 2.0 * offset
    return Angles(later, times, late, early_limit, late_limit)


def angle(evidence: Evidence) -> Ruling:
    """Each commutation lies within [-early, +late] of the ideal rotor angle, plus what physics takes."""
    seen = evidence.derive(angles)
    if not len(seen.steps):
        return not_exercised(_NO_RUN)
    steps, late = evidence.recording.steps, seen.late_deg
    k, margin = _worst_angle(late, seen.early_limit_deg, seen.late_limit_deg)
    limit = seen.late_limit_deg[k] if late[k] > 0 else seen.early_limit_deg[k]
    at = seen.steps[k]
    text = f"step {_pair(steps.step[at])} begins {_off(late[k])} its rotor angle"
    return by_margin(margin, abs(late[k]), limit, "deg", text, seen.times[k], int(steps.rows[at]))


def false_crossings(evidence: Evidence) -> Ruling:
    """A crossing taken as real lies at a zero of the sensed phase's EMF."""
    recording, taken = evidence.recording, evidence.derive(running)
    cycles, rows, run = crossing_marks(evidence)
    known = taken.direction[run] != 0 if len(run) else np.zeros(0, bool)
    known &= ~torn_out(evidence, recording.seconds(cycles))
    cycles, rows, run = cycles[known], rows[known], run[known]
    if not len(cycles):
        return not_exercised("no crossing was taken in RUN")
    way, times = taken.direction[run], recording.seconds(cycles)
    leg = recording.value_at(Signal.SENSE_LEG, cycles)
    rising = recording.value_at(Signal.SENSE_EDGE, cycles) == 1
    zero = np.radians(120.0 * leg + np.where(rising, 0.0, 180.0))
    late = np.degrees(lateness_rad(recording.theta_at(times), zero, way))
    sampling, offset = allowances(evidence, times)
    limits = np.maximum(evidence.limits["crossing_deg"], sampling) + offset
    k, margin = _worst_angle(late, limits, limits)
    text = f"a crossing of phase {LEG_NAMES[leg[k]]} is taken {_off(late[k])} the true one"
    return by_margin(margin, abs(late[k]), limits[k], "deg", text, times[k], int(rows[k]))


def missed_crossings(evidence: Evidence) -> Ruling:
    """No step goes on to the next without having taken the crossing that came in it."""
    recording, taken = evidence.recording, evidence.derive(running)
    steps, later = recording.steps, taken.later
    # Steps with a successor in the same run; the first of a run may have been crossed before RUN.
    whole = np.intersect1d(later, later - 1)
    whole = whole[taken.direction_of(whole) != 0]
    whole = whole[~torn_out(evidence, recording.seconds(steps.cycles[whole]))]
    if not len(whole):
        return not_exercised(_NO_RUN)
    way = taken.direction_of(whole)
    passages_s, multiple, turning = recording.sixths
    owner = np.searchsorted(recording.seconds(steps.cycles[whole]), passages_s, side="right") - 1
    inside = owner >= 0
    inside[inside] = passages_s[inside] < recording.seconds(steps.cycles[whole + 1])[owner[inside]]
    wanted = np.round(np.degrees(ideal_crossing_rad(steps.step[whole], way)) / 60.0).astype(np.int64) % 6
    hit = inside & (multiple % 6 == wanted[owner]) & (turning == way[owner])
    crossed = np.zeros(len(whole), bool)
    crossed[owner[hit]] = True
    marks, _, _ = crossing_marks(evidence)
    count = np.searchsorted(marks, steps.cycles[whole + 1]) - np.searchsorted(marks, steps.cycles[whole])
    missed = np.flatnonzero(crossed & (count == 0))
    if not len(missed):
        return discrete(False, f"{int(crossed.sum())} crossings, none missed")
    k = int(whole[missed[0]])
    text = f"phase {LEG_NAMES[OPEN_LEG[steps.step[k]]]} crosses in step {_pair(steps.step[k])}, "
    text += "and the next step comes without a crossing taken"
    return discrete(True, text, recording.seconds(int(steps.cycles[k + 1])), int(steps.rows[k + 1]))


def _sense_ruling(
    evidence: Evidence, seen: Sensing, looks: Bools, wrong: Bools, text: Callable[[int], str]
) -> Ruling:
    if not np.any(looks & (seen.ends > seen.cycles)):
        return not_exercised("the sense interrupt was never on in RUN")
    limit_us = evidence.limits["transition_us"]
    start, stop = stretches(wrong)
    if not len(start):
        return at_most(0.0, limit_us, "us", "the comparator was always set to what was to come")
    long_us = (seen.ends[stop - 1] - seen.cycles[start]) / evidence.recording.f_cpu_hz * 1e6
    k = int(np.argmax(long_us))
    moment_s = evidence.recording.seconds(int(seen.cycles[start[k]]))
    words = f"for {long_us[k]:.1f} us {text(int(start[k]))}"
    return at_most(float(long_us[k]), limit_us, "us", words, moment_s, int(seen.rows[start[k]]))


def _worst_angle(late: Floats, early_limit: Floats, late_limit: Floats) -> tuple[int, float]:
    margins = np.minimum((late_limit - late) / late_limit, (late + early_limit) / early_limit)
    k = int(np.argmin(margins))
    return k, float(margins[k])


def _last_before(moments_s: Floats, times_s: Floats) -> Floats:
    """Latest of `moments_s` at or before each of `times_s`; power-on where there is none."""
    at = np.searchsorted(moments_s, times_s, side="right")
    return np.append(0.0, moments_s)[at]


def _pair(step: int) -> str:
    high, low = DRIVEN[step]
    return f"{LEG_NAMES[high]}+{LEG_NAMES[low]}-"


def _off(late_deg: float) -> str:
    return f"{abs(late_deg):.1f} degrees {'after' if late_deg >= 0 else 'before'}"


CLAIMS = (
    Claim("order", "in RUN each step is the next of its direction", Needs.INSIDE, order, ("transition_us",)),
    Claim("direction", "steps go the way the stick asks for", Needs.INSIDE, direction, ("demand_act_s",)),
    Claim(
        "sensed_phase",
        "while the sense interrupt is on, the open phase is sensed",
        Needs.INSIDE,
        sensed_phase,
        ("transition_us",),
    ),
    Claim(
        "sensed_edge",
        "the edge waited for is that of step and direction",
        Needs.INSIDE,
        sensed_edge,
        ("transition_us",),
    ),
    Claim(
        "angle",
        "each commutation lies near its ideal rotor angle",
        Needs.INSIDE,
        angle,
        ("step_early_deg", "step_late_deg"),
    ),
    Claim(
        "false_crossings",
        "a crossing taken as real lies near a true one of the sensed phase",
        Needs.INSIDE,
        false_crossings,
        ("crossing_deg",),
    ),
    Claim("missed_crossings", "no step ends without its crossing taken", Needs.INSIDE, missed_crossings),
)
