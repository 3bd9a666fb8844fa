"""What a commutation takes of its step, the speed at which it would take all it may, and which came late.

A step is a sixth of an electrical turn: it lasts 10 / (p n) seconds with p pole pairs at n rpm. Two deadlines
follow from it. The crossing comes half a step before the commutation that it times, so what handlers do
between the two must fit into half a step. And all handlers of a step must fit into the step, or the next
crossing waits.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from dryspin.drive import Claims
from dryspin.monitors import Evidence, Limits
from dryspin.monitors.commutation import angles
from dryspin.recording import Mark, Recording, Signal, Vector
from dryspin.timing.handlers import Call


@dataclass(frozen=True, slots=True)
class Lateness:
    """Commutations in RUN, and how many lay outside the limits of commutation.angle.

    slowest_rpm: the lowest speed, mechanical, at which one did; None where none did.
    """

    commutations: int
    outside: int
    slowest_rpm: float | None

    def and_also(self, other: "Lateness") -> "Lateness":
        """Of two runs together."""
        slowest = [rpm for rpm in (self.slowest_rpm, other.slowest_rpm) if rpm is not None]
        return Lateness(
            self.commutations + other.commutations, self.outside + other.outside, min(slowest, default=None)
        )


def lateness(recording: Recording, claims: Claims) -> Lateness:
    """What the recording shows, by the limits that `claims` has for the monitors."""
    seen = angles(Evidence(recording, Limits(recording.drive, claims)))
    outside = seen.times[seen.outside]
    speeds = np.abs(recording.w_at(outside)) * 30.0 / np.pi
    return Lateness(len(seen.steps), len(outside), float(speeds.min()) if len(outside) else None)


NEAR_TOP = 0.95
"""Share of the highest speed from which on a moment counts as top speed."""


@dataclass(frozen=True, slots=True)
class StepTime:
    """Steps at top speed, in cycles: mean length, most work of handlers in one, longest reaction.

    work: of all handlers from one commutation to the next. reaction: of the handler that found the crossing,
    and of the one that commutated until the bridge stood, one handler or two. work_rpm, reaction_rpm:
    mechanical speeds at which they reach their deadlines.
    """

    top_rpm: float
    steps: int
    step: float
    work: int
    reaction: int
    work_rpm: float
    reaction_rpm: float

    @property
    def limit_rpm(self) -> float:
        """Highest speed at which handlers, by their cycles, meet both deadlines."""
        return min(self.work_rpm, self.reaction_rpm)

    @property
    def by(self) -> str:
        """Which deadline limits it."""
        return "work" if self.work_rpm <= self.reaction_rpm else "reaction"


def top_window(recording: Recording) -> tuple[int, int]:
    """Cycles of the longest stretch of top speed."""
    speed = np.abs(recording.state_w_rad_s)
    if not len(speed):
        return 0, 0
    fast = np.concatenate(([0], (speed >= NEAR_TOP * speed.max()).astype(np.int8), [0]))
    begins, ends = np.flatnonzero(np.diff(fast) == 1), np.flatnonzero(np.diff(fast) == -1) - 1
    times = recording.state_t_s
    longest = int(np.argmax(times[ends] - times[begins]))
    return recording.cycle_of(float(times[begins[longest]])), recording.cycle_of(float(times[ends[longest]]))


def step_time(recording: Recording, calls: Sequence[Call], window: tuple[int, int]) -> StepTime | None:
    """Steps in the window that a handler commutated; None where there are fewer than two."""
    starts = [call.start for call in calls]
    seen = _crossings(recording, calls)
    inside = [int(c) for c in recording.steps.cycles if window[0] <= c <= window[1]]
    work: list[int] = []
    reaction: list[int] = []
    for before, cycle in pairwise(inside):
        if (acting := _holding(calls, starts, cycle)) is None:
            continue
        here = calls[bisect_left(starts, before) : bisect_right(starts, cycle)]
        work.append(sum(call.own for call in here))
        k = bisect_right(seen, cycle) - 1
        finding = _holding(calls, starts, seen[k]) if k >= 0 and seen[k] > before else None
        found = finding.own if finding is not None and finding.start < acting.start else 0
        reaction.append(cycle - acting.start + found)
    if not work or len(inside) < 2:
        return None
    step = (inside[-1] - inside[0]) / (len(inside) - 1)
    pole_pairs, f_hz = recording.drive.motor.pole_pairs, recording.f_cpu_hz
    return StepTime(
        top_rpm=10.0 * f_hz / (pole_pairs * step),
        steps=len(work),
        step=step,
        work=max(work),
        reaction=max(reaction),
        work_rpm=10.0 * f_hz / (pole_pairs * max(work)),
        reaction_rpm=5.0 * f_hz / (pole_pairs * max(reaction)),
    )


def _crossings(recording: Recording, calls: Sequence[Call]) -> list[int]:
    """Cycles at which a handler found a crossing: as marked; written for registers, the comparator's calls.

    The last of these before a commutation counts: one that finds noise waits for another.
    """
    if recording.drive.pins is not None:
        return [call.start for call in calls if call.vector == Vector.COMPARATOR_EDGE]
    cycles, marks, _ = recording.of(Signal.MARK)
    return [int(c) for c, mark in zip(cycles, marks, strict=True) if mark == Mark.CROSSING]


def _holding(calls: Sequence[Call], starts: Sequence[int], cycle: int) -> Call | None:
    """The innermost call that was running then."""
    for k in range(bisect_right(starts, cycle) - 1, -1, -1):
        if calls[k].stop >= cycle:
            return calls[k]
        if not calls[k].under:
            return None
    return None
