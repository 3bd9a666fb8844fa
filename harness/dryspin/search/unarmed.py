"""Ways past the rite of arming: a drive that must not obey a stick that is up, or must go on obeying.

What leads there is told step by step: neutral that is interrupted again and again, signals lost where nothing
turns, or for so long that counters go round, and a drive that is left alone for as long.
"""

import math
from collections.abc import Callable

from dryspin.drive import Drive
from dryspin.search.course import (
    BLOCKED_S,
    RARE,
    SIZES,
    START_UP_S,
    Course,
    Stick,
    armed_s,
    rite,
    rite_frames,
)
from dryspin.search.draws import Draws
from dryspin.search.rehearsal import Rehearsal
from dryspin.search.streams import stream

KINDS = 20
LOST_AT_REST, ADDED_UP, LOST_FOR_LONG, LEFT_ALONE, LOST_WHEN_GIVEN_UP, LOST_IN_A_STOP, ONE_MISSING = range(
    RARE, RARE + 7
)
"""Of all kinds of arming story those that are not the usual one."""

LOST_S = (0.4, 0.3, 1.0, 0.2, 0.12)
"""The last two may go unnoticed."""

LONG_S = (9.0, 17.5, 34.0, 5.5)
"""Counters of 8 bits go round after 5.1 s of 20 ms frames or 8.4 s of the timer's wraps (65 536 counts of
0.5 us), those of ticks long before, of milliseconds in 16 bits only after a minute."""

NEUTRAL_SHARES = (0.7, 0.5, 0.8, 0.3)
"""Of the frames that arming takes: not enough by themselves."""

RUNS = 4

FAST_MS = (10.0, 5.0)
"""Frames of which one may be missing within a gap that is no loss at 20 ms."""

SHORTEST_S = 2.0
"""Of a scenario: many together are to give time enough."""

MUST_NOT_S, RUN_S = 0.5, 0.4
"""A stick is up for so long that a drive which obeys it turns, where it must not, and where it must."""


def _up(draws: Draws, stick: Stick) -> float:
    return stick.demand(draws.index("way", 2), draws.pick("size", SIZES))


def _back(draws: Draws, course: Course, stick: Stick, at_s: float, frame_ms: float, up_us: float) -> float:
    """The signal is back, at neutral for some frames only, or not at all: then the stick is up."""
    course.step(at_s, stick.neutral_us)
    at_s += draws.pick("frames back", (0, 3, 1, 8)) * frame_ms / 1000.0
    course.step(at_s, up_us)
    return at_s + MUST_NOT_S


def _obeys(
    draws: Draws, course: Course, drive: Drive, rehearsal: Rehearsal, frame_ms: float, at_s: float
) -> Course:
    """After all that the whole rite counts as ever."""
    stick = Stick(drive)
    course.step(at_s, stick.neutral_us)
    at_s += armed_s(drive, rehearsal, frame_ms)
    course.step(at_s, stick.demand(draws.index("again way", 2), 1.0))
    course.end_s = round(max(at_s + RUN_S, SHORTEST_S), 4)
    return course


def _lost_at_rest(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """Armed and never asked for anything, the drive loses its signal."""
    stick = Stick(drive)
    course = rite(drive, draws, frame_ms, rehearsal)
    up_us = _up(draws, stick)
    at_s = course.end_s + draws.pick("armed for", (0.1, 0.0, 0.4, 1.0))
    course.step(at_s, draws.pick("lost as", stick.bad_us))
    at_s += draws.pick("lost", LOST_S)
    at_s = _back(draws, course, stick, at_s, frame_ms, up_us)
    return _obeys(draws, course, drive, rehearsal, frame_ms, at_s)


def _added_up(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """Neutral in pieces: the stick leaves it, or pulses fail, before any of them is enough."""
    stick = Stick(drive)
    course = Course([(0.0, stick.neutral_us)], 0.0)
    up_us = _up(draws, stick)
    between_us = draws.pick("between", (stick.demand(0, 0.2), up_us, stick.demand(1, 0.3), *stick.bad_us))
    frames = rite_frames(drive, rehearsal, frame_ms)
    at = math.ceil(START_UP_S * 1000.0 / frame_ms)
    for k in range(RUNS):
        at += max(1, math.floor(frames * draws.pick(f"neutral {k}", NEUTRAL_SHARES)))
        course.step(at * frame_ms / 1000.0, between_us)
        at += 1 + draws.index(f"frames between {k}", 3)
        course.step(at * frame_ms / 1000.0, stick.neutral_us)
    at += max(1, frames // 4)
    course.step(at * frame_ms / 1000.0, up_us)
    return _obeys(draws, course, drive, rehearsal, frame_ms, round(at * frame_ms / 1000.0 + MUST_NOT_S, 4))


def _lost_for_long(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """Under way the signal is lost, for so long that a counter of what is missing may have gone round."""
    stick = Stick(drive)
    course = rite(drive, draws, frame_ms, rehearsal)
    up_us = _up(draws, stick)
    course.step(course.end_s, up_us)
    at_s = course.end_s + draws.pick("run", (0.4, 0.2, 0.8))
    course.step(at_s, draws.pick("lost as", stick.bad_us))
    at_s += draws.pick("lost for long", LONG_S)
    at_s = _back(draws, course, stick, at_s, frame_ms, up_us)
    return _obeys(draws, course, drive, rehearsal, frame_ms, at_s)


def _left_alone(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """Armed, and nothing is asked for as long; then the stick is obeyed at once."""
    stick = Stick(drive)
    course = rite(drive, draws, frame_ms, rehearsal)
    up_us = _up(draws, stick)
    at_s = course.end_s + draws.pick("left alone for", LONG_S[:3])
    course.step(at_s, up_us)
    course.step(at_s + 1.0, stick.neutral_us)
    course.end_s = round(at_s + 1.5, 4)
    return course


def _lost_when_given_up(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """Something holds the rotor until it is given up; the signal goes then, and comes back at neutral."""
    stick = Stick(drive)
    course = rite(drive, draws, frame_ms, rehearsal)
    course.blocked = True
    up_us = _up(draws, stick)
    course.step(course.end_s, up_us)
    at_s = course.end_s + BLOCKED_S
    course.step(at_s, draws.pick("lost as", stick.bad_us))
    at_s += draws.pick("lost", LOST_S[:3])
    course.step(at_s, stick.neutral_us)
    at_s += draws.pick("frames back", (4, 2, 8)) * frame_ms / 1000.0
    course.step(at_s, up_us)
    course.end_s = round(at_s + MUST_NOT_S, 4)
    return course


def _lost_in_a_stop(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """The stick lets go of a thruster, or asks the other way; the signal goes before the rotor stands.

    Mostly a stream keeps that waiting: what is lost meanwhile must be noticed by whatever waits.
    """
    stick = Stick(drive)
    course = rite(drive, draws, frame_ms, rehearsal)
    way = draws.index("way", 2)
    course.step(course.end_s, stick.demand(way, draws.pick("size", SIZES)))
    stop_s = course.end_s + draws.pick("run", (1.0, 0.6, 0.8))
    if draws.index("still water", 4) != 1 and drive.load.kq_nm_s2.low > 0.0:
        course.load_nm = stream(drive, stop_s - 0.1, way)
    course.step(stop_s, draws.pick("let go to", (stick.demand(1 - way, 1.0), stick.neutral_us)))
    at_s = stop_s + draws.pick("lost after", (0.05, 0.1, 0.2, 0.02))
    course.step(at_s, draws.pick("lost as", stick.bad_us))
    at_s += draws.pick("lost", LOST_S[:2])
    at_s = _back(draws, course, stick, at_s, frame_ms, stick.demand(draws.index("again way", 2), 1.0))
    course.end_s = round(at_s + RUN_S, 4)
    return course


def _one_missing(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """Fast frames, of which one is missing; the stick is up as soon as there were enough without it.

    Mostly one of the first, when how far apart they are is hardly known.
    """
    stick = Stick(drive)
    course = Course([(0.0, stick.neutral_us)], 0.0)
    course.frame_ms = frame_ms = draws.pick("fast", FAST_MS)
    takes, first = rite_frames(drive, rehearsal, frame_ms), math.ceil(START_UP_S * 1000.0 / frame_ms)
    missing = first + draws.pick("missing after", (4, 2, 3, takes // 4, takes // 2, takes - 2))
    course.step(missing * frame_ms / 1000.0, 0.0)
    course.step((missing + 1) * frame_ms / 1000.0, stick.neutral_us)
    up_s = (first + takes + 2) * frame_ms / 1000.0
    course.step(up_s, _up(draws, stick))
    return _obeys(draws, course, drive, rehearsal, frame_ms, round(up_s + MUST_NOT_S, 4))


STORIES: dict[int, Callable[[Draws, Drive, float, Rehearsal], Course]] = {
    LOST_AT_REST: _lost_at_rest,
    ADDED_UP: _added_up,
    LOST_FOR_LONG: _lost_for_long,
    LEFT_ALONE: _left_alone,
    LOST_WHEN_GIVEN_UP: _lost_when_given_up,
    LOST_IN_A_STOP: _lost_in_a_stop,
    ONE_MISSING: _one_missing,
}
"""Story by kind; the other kinds are arming's usual one."""
