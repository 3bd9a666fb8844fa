"""Tones: a drive that is left alone for long enough to be heard, and tones that are cut short."""

from dryspin.drive import Drive
from dryspin.scenario import Scenario
from dryspin.search.course import SIZES, START_UP_S, Course, Stick, armed_s, restart
from dryspin.search.draws import Draws
from dryspin.search.rehearsal import Rehearsal, Spans

IDLE_S = 5.0
"""Left alone for so long: the tone after the rite, and at least one of those that say it is waiting."""

WAITING_S = 4.0
"""From the rite on, where that takes longer than the common second."""

READY_S = 0.5
"""From the rite to the end of the tone that follows it, where no rehearsal has shown it."""

SPIN_DOWN_S = 1.3
"""A rotor in water stands by then."""


def tones(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """A rite with its tone, then what may cut a tone short: stick, reset, power cut; or just time.

    Rarely it is not armed at all, or started anew with the rotor turning, which must stay silent.
    """
    stick = Stick(drive)
    course = Course([(0.0, stick.neutral_us)], 0.0)
    seen = rehearsal.tones_s.get(frame_ms, ())
    idle_s = max(IDLE_S, armed_s(drive, rehearsal, frame_ms) + WAITING_S)
    ready_s = seen[0][1] + 0.05 if seen else armed_s(drive, rehearsal, frame_ms) + READY_S
    kind = draws.index("kind", 7)
    up_us = stick.demand(draws.index("way", 2), draws.pick("size", SIZES))
    if kind in (0, 6):
        course.end_s = idle_s
    elif kind in (1, 2):
        at_s = _within(draws, seen, armed_s(drive, rehearsal, frame_ms))
        if kind == 1:
            course.step(at_s, up_us)
            at_s += draws.pick("run", (0.5, 0.1, 0.3))
            course.step(at_s, stick.neutral_us)
            course.end_s = at_s + SPIN_DOWN_S
        else:
            course.step(at_s, draws.pick("stick at restart", (stick.neutral_us, up_us)))
            at_s = restart(draws, course, at_s - 0.025) + 0.1
            course.step(at_s, stick.neutral_us)
            course.end_s = at_s + ready_s
    elif kind == 3:
        course.step(ready_s, up_us)
        at_s = ready_s + draws.pick("run", (0.6, 0.4, 0.8))
        course.step(at_s, stick.neutral_us)
        course.end_s = restart(draws, course, at_s) + ready_s + SPIN_DOWN_S
    elif kind == 4:
        course.step(0.0, draws.pick("instead", (*stick.bad_us, stick.demand(0, 0.2), stick.demand(1, 1.0))))
        course.step(draws.pick("instead for", (3.0, 4.0)), stick.neutral_us)
        course.end_s = idle_s
    else:
        course.step(ready_s, up_us)
        course.step(ready_s + 0.5, stick.neutral_us)
        course.end_s = idle_s
    course.end_s = max(round(course.end_s, 4), ready_s + 0.5, 2.0)
    return course


def idle_alone(drive: Drive, frame_ms: float) -> Scenario:
    """A drive that is armed and left alone, for the rehearsal."""
    steps = ((0.0, drive.throttle.neutral_us),)
    return Scenario(seed=0, end_s=IDLE_S, rest_deg=0.0, frame_ms=frame_ms, throttle_us=steps)


def _within(draws: Draws, seen: Spans, otherwise_s: float) -> float:
    """A moment within one of the tones, to a two hundredth of its length."""
    share = draws.index("within", 100) / 100.0 + draws.index("within finer", 2) / 200.0
    if not seen:
        return max(otherwise_s, START_UP_S) + share * READY_S
    from_s, to_s = draws.pick("which tone", seen[:4])
    return from_s + share * (to_s - from_s)
