"""The course of a scenario, one flavour per family: what the stick does, and what goes wrong.

Each flavour meets the precondition of its family by construction: a reversal is asked only of a
rotor that had time to run up, an arming rite always meets a bad pulse. Choices count from the
simplest: few steps, early, round, forward, full stick.
"""

import math
from collections.abc import Callable

from dryspin.drive import Drive
from dryspin.scenario import Fault
from dryspin.search.course import (
    RARE,
    RUN_UP_S,
    SIZES,
    START_UP_S,
    Course,
    Stick,
    armed_s,
    restart,
    rite,
    rite_frames,
)
from dryspin.search.draws import Draws
from dryspin.search.learning import calibration
from dryspin.search.loading import electrical
from dryspin.search.looping import controller
from dryspin.search.rehearsal import Rehearsal
from dryspin.search.sounding import tones
from dryspin.search.stalling import synchronism
from dryspin.search.starting import startup
from dryspin.search.sweeping import throttle_map
from dryspin.search.unarmed import KINDS, STORIES

HANDS = 12
"""One reversal in so many has a hand on the stick that cannot make up its mind."""

HESITATES = 7
"""Times it asks and lets go, before it goes all the way."""

RESTS_S = 0.4
"""From one time to the next: a start that is not called off is under way for longer than a stop may take."""

Flavour = Callable[[Draws, Drive, float, Rehearsal], Course]
"""From choices, the drive, the frame period in ms, and what the firmware did in rehearsal."""


def gates(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """Runs, changes of throttle, and always one reset while the legs are likely to be driven."""
    stick = Stick(drive)
    course = rite(drive, draws, frame_ms, rehearsal)
    start_s = course.end_s
    way = draws.index("way", 2)
    course.step(start_s, stick.demand(way, draws.pick("size", SIZES)))
    # Milliseconds off the round value: the reset is to meet every phase of a carrier period.
    reset_s = start_s + draws.pick("reset", (0.5, 0.2, 0.35, 0.7, 0.9)) + draws.index("reset ms", 50) / 1000.0
    if draws.index("change", 2):
        # Rarely the other way: the reset then comes into braking or listening, with gates open.
        other = draws.index("other way", 8) == 1
        course.step(start_s + 0.15, stick.demand(way ^ other, draws.pick("other size", SIZES)))
    course.faults.append(Fault("reset", round(reset_s, 4)))
    again_s = reset_s + draws.pick("release", (0.1, 0.04, 0.2))
    if draws.index("again", 2):
        course.step(again_s, stick.neutral_us)
        course.step(
            again_s + armed_s(drive, rehearsal, frame_ms), stick.demand(draws.index("again way", 2), 1.0)
        )
    course.end_s = max(again_s + armed_s(drive, rehearsal, frame_ms) + 0.3, 2.1)
    return course


def commutation(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """A start, then up to two further demands: speed, load and duty change while it turns."""
    stick = Stick(drive)
    course = rite(drive, draws, frame_ms, rehearsal)
    way = draws.index("way", 2)
    course.step(course.end_s, stick.demand(way, draws.pick("size", SIZES)))
    at_s = course.end_s
    for k in range(draws.index("changes", 3)):
        at_s += draws.pick(f"hold {k}", (0.6, 0.4, 0.5))
        course.step(at_s, stick.demand(way, draws.pick(f"size {k}", SIZES)))
    course.end_s = max(at_s + 0.6, 2.2)
    return course


def reversal(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """Up to high speed, then the other way: at once, rarely over neutral; sometimes back again.

    Rarely the stick has been moved in vain before: no start came about.
    """
    stick = Stick(drive)
    course = rite(drive, draws, frame_ms, rehearsal)
    way = draws.index("way", 2)
    if draws.index("hand", HANDS) == RARE:
        _hesitate(draws, course, stick, way)
    course.step(course.end_s, stick.demand(way, draws.pick("size", (1.0, 0.9, 0.8))))
    course.begun(draws, course.end_s + RUN_UP_S)
    at_s = course.end_s + RUN_UP_S + draws.index("run", 5) * 0.05
    # A stick moved by hand passes neutral; but braking takes half the speed in 40 ms, so only now and then.
    pause_s = {1: 0.02, 2: 0.04}.get(draws.index("pause", 8), 0.0)
    if pause_s:
        course.step(at_s, stick.neutral_us)
        at_s += pause_s
    course.step(at_s, stick.demand(1 - way, draws.pick("back", SIZES)))
    at_s += RUN_UP_S
    if draws.index("again", 4) == 1:
        course.step(at_s, stick.demand(way, draws.pick("again size", SIZES)))
        at_s += RUN_UP_S
    course.end_s = at_s
    return course


def _hesitate(draws: Draws, course: Course, stick: Stick, way: int) -> None:
    """Again and again the stick asks and goes elsewhere before anything turns: to neutral, or far over."""
    course.aside = True
    asks_s = draws.pick("asks for", (0.1, 0.2, 0.15))
    in_turn = draws.index("in turn", 2)
    for _ in range(HESITATES):
        course.step(course.end_s, stick.demand(way, 1.0))
        course.step(course.end_s + asks_s, stick.demand(1 - way, 1.0) if in_turn else stick.neutral_us)
        course.end_s += asks_s + RESTS_S


def arming(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """A rite with a bad pulse in it, a run, a new start of the controller; another run, a lost signal.

    Before the rite the stick may be up, which must not arm. Reset, power cut or supply gap come at any
    instant under drive, with any stick; after that and after the loss the stick may stay up, which
    must not drive. It may then go through the rite again, with a rotor that turns or has come to rest.
    Some kinds tell of other ways past the rite.
    """
    other = STORIES.get(draws.index("kind", KINDS))
    if other:
        course = other(draws, drive, frame_ms, rehearsal)
        course.aside = True
        return course
    stick = Stick(drive)
    way = draws.index("way", 2)
    up_us = stick.demand(way, draws.pick("size", SIZES))
    course = _damaged_rite(draws, stick, frame_ms, up_us, rite_frames(drive, rehearsal, frame_ms))
    course.step(course.end_s, up_us)
    at_s = course.end_s + draws.pick("run", (0.4, 0.2, 0.3, 0.6, 0.05))
    if draws.index("bad in run", 4) == 1 and at_s - 0.1 > course.end_s:
        frame = round((at_s - 0.1) * 1000.0 / frame_ms)
        _bad_frames(
            course, stick, frame_ms, frame, 1, draws.pick("bad pulse in run", stick.bad_us[1:]), up_us
        )
    if draws.index("restart first", 12) != RARE:
        down_us = draws.pick("stick at restart", (up_us, stick.neutral_us, stick.demand(1 - way, 1.0)))
        course.step(at_s, down_us)
        at_s = restart(draws, course, at_s) + draws.pick("release", (0.1, 0.0, 0.2))
        course.step(at_s, stick.neutral_us)
        at_s += armed_s(drive, rehearsal, frame_ms)
        course.step(at_s, up_us)
        at_s += draws.pick("run again", (0.3, 0.4))
    course.begun(draws, at_s)
    course.step(at_s, draws.pick("lost as", stick.bad_us))
    at_s += draws.pick("lost", (0.4, 0.3, 0.6))
    course.step(at_s, up_us)
    if draws.index("again", 3) == 1:
        at_s += draws.pick("release again", (0.1, 0.8, 1.2))
        course.step(at_s, stick.neutral_us)
        at_s += armed_s(drive, rehearsal, frame_ms)
        course.step(at_s, stick.demand(draws.index("again way", 2), 1.0))
    course.end_s = max(at_s + 0.4, 2.0)
    return course


def _damaged_rite(draws: Draws, stick: Stick, frame_ms: float, up_us: float, rite_takes: int) -> Course:
    """A rite of `rite_takes` frames that meets a bad pulse; `end_s` is the moment of the demand.

    Rarely that comes before the full rite.
    """
    course = Course([(0.0, stick.neutral_us)], 0.0)
    first = 0
    if draws.index("stick up", 5) == 1:
        course.throttle_us[0] = (0.0, up_us)
        first = round((0.2 + 0.1 * draws.index("held", 4)) * 1000.0 / frame_ms)
        course.step(first * frame_ms / 1000.0, stick.neutral_us)
    # Pulses that come while the controller starts up are nobody's pulses.
    first = max(first, math.ceil(START_UP_S * 1000.0 / frame_ms)) + 1 + draws.index("bad at", 20)
    count = 1 + draws.index("bad frames", 3)
    bad_us = draws.pick("bad", stick.bad_us[1:])
    after = _bad_frames(course, stick, frame_ms, first, count, bad_us, stick.neutral_us)
    if draws.index("missing", 3) == 1:
        # Late enough that what came before the gap and what comes after it are no rite each.
        missing, count = after + 2 + draws.index("missing at", 20), 1 + draws.index("frames missing", 2)
        after = missing + count
        course.step(missing * frame_ms / 1000.0, 0.0)
        course.step(after * frame_ms / 1000.0, stick.neutral_us)
    frames = min(10, rite_takes // 2) if draws.index("impatient", 20) == 1 else rite_takes
    course.end_s = math.ceil((after + frames) * frame_ms / 50.0) * 0.05
    return course


def _bad_frames(
    course: Course, stick: Stick, frame_ms: float, first: int, count: int, bad_us: float, then_us: float
) -> int:
    """Bad pulses in `count` frames from number `first` on, then `then_us`; returns the first good frame.

    Steps are set between two pulses: pulse k rises half a frame after k frames.
    """
    course.step(first * frame_ms / 1000.0, bad_us)
    course.step((first + count) * frame_ms / 1000.0, then_us)
    return first + count


FLAVOURS: dict[str, Flavour] = {
    "gates": gates,
    "commutation": commutation,
    "startup": startup,
    "synchronism": synchronism,
    "reversal": reversal,
    "arming": arming,
    "calibration": calibration,
    "tones": tones,
    "electrical": electrical,
    "throttle_map": throttle_map,
    "controller": controller,
}
"""The flavour of each family, in the order in which a check reports them."""

FRAMES_MS = (20.0, 10.0, 25.0, 15.0)
RITE_FRAMES_MS = {
    "arming": (*FRAMES_MS, 5.0),
    "calibration": (10.0,),
    "throttle_map": (10.0, 15.0, 20.0),
}
"""Arming meets fast frames, too. The rites of the others count so many frames that only short ones keep a
scenario short."""


def frames_ms(family: str) -> tuple[float, ...]:
    """Frame periods to choose from, the simplest first."""
    return RITE_FRAMES_MS.get(family, FRAMES_MS)
