"""Startup: starts from rest, in a stream, against what holds the rotor; and the next one after it."""

from dryspin.drive import Drive
from dryspin.search.course import BLOCKED_S, RARE, SIZES, Course, Stick, rite
from dryspin.search.draws import Draws
from dryspin.search.rehearsal import Rehearsal
from dryspin.search.stalling import ONSET_S
from dryspin.search.streams import FLICKED_MS, SLOW_SHARE, stream
from dryspin.search.teaching import READY_S

STARTS = 12
"""Kinds of start: one blocked, some in a stream, the others from rest."""

STREAMS = (RARE + 2, RARE + 3)
"""Kinds in which the water turns the rotor the way that is asked for: one forward, one reverse in a plan."""

FLICKED = RARE + 4
"""The kind in which it does, and the stick goes the other way while the drive still finds out."""

PUSHES_S = 0.3
"""From one move of an impatient hand to the next."""

AGAINST = RARE + 5
"""The kind in which it turns the rotor the other way: what a thruster is there for when the boat drifts."""

GIVES_UP_S = 6.1
"""Time for all tries, and a moment to see what came of them."""

HELD = RARE + 6
"""The kind in which something holds the rotor until the drive has given up, and then lets it go."""

BRAKED_S = 1.8
"""At neutral for longer than anybody brakes a rotor that goes on turning."""

HELD_S = 5.0
"""Four tries with a pause after each; whoever has more left starts when the rotor is free."""

HELD_TIMES = 300000.0
"""Times the propeller's own torque: what a start can do turns the rotor once in some seconds."""


def startup(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """A start from rest; then, mostly, a stop and a second start from wherever the rotor is.

    Rarely something holds the rotor, for as long as it takes to try in vain and to give up; or the water
    turns it the same way when the demand comes.
    """
    stick = Stick(drive)
    kind = draws.index("kind", STARTS)
    flicked = kind == FLICKED and drive.load.kq_nm_s2.low > 0.0
    frame_ms = FLICKED_MS if flicked else frame_ms
    course = rite(drive, draws, frame_ms, rehearsal)
    way = draws.index("way", 2)
    course.step(course.end_s, stick.demand(way, draws.pick("size", SIZES)))
    if kind == RARE:
        course.blocked = course.aside = True
        # Without an offset a comparator at rest tells noise, with one always the same.
        offset_v = drive.sense.offset_v
        course.parts["offset_v"] = draws.pick("offset", (offset_v.nominal, offset_v.high, offset_v.low))
        if draws.index("in turn", 2):
            # Whoever sees nothing turn moves the stick: more, less, more. It asks for the same all the time.
            for k in range(1, round(BLOCKED_S / PUSHES_S)):
                course.step(course.end_s + k * PUSHES_S, stick.demand(way, 0.9 if k % 2 else 1.0))
        course.end_s += BLOCKED_S
        return course
    if kind == HELD and drive.load.kq_nm_s2.nominal > 0.0:
        return _held(course, drive, stick, way)
    if kind in STREAMS and drive.load.kq_nm_s2.low > 0.0:
        return _stream(course, drive, stick, way)
    if kind == AGAINST and drive.load.kq_nm_s2.low > 0.0:
        return _against(course, drive, stick, way)
    if flicked:
        return _flicked(draws, course, drive, stick, way)
    at_s = course.end_s + draws.pick("run", (0.8, 1.0, 0.6))
    if draws.index("water", 4) == 1:
        # What the water pushes with, friction holds: more is no rotor at rest.
        hold_nm = drive.load.coulomb_nm.low
        course.load_nm = ((0.0, draws.pick("push", (hold_nm, -hold_nm))),)
    if draws.index("stop", 4):
        course.step(at_s, stick.neutral_us)
        at_s += draws.pick("pause", (0.4, 0.2, 0.1, 0.05))
        again = draws.index("again way", 2)
        course.step(at_s, stick.demand(again, draws.pick("again size", SIZES)))
    course.end_s = max(at_s + 0.8, 2.1)
    return course


def _held(course: Course, drive: Drive, stick: Stick, way: int) -> Course:
    """What holds the rotor lets go of it when the drive has given up; the stick goes to neutral, and asks."""
    free_s = course.end_s + HELD_S
    course.jam = ((0.0, HELD_TIMES), (round(free_s, 4), HELD_TIMES), (round(free_s + ONSET_S, 4), 1.0))
    course.aside = True
    course.step(free_s + 0.1, stick.neutral_us)
    course.step(free_s + 0.6, stick.demand(way, 1.0))
    course.end_s = free_s + 1.6
    return course


def _stream(course: Course, drive: Drive, stick: Stick, way: int) -> Course:
    """The boat gathers way once the drive is armed and its tone is over; then the demand.

    After a stay at neutral, with the boat still under way, it comes a second time.
    """
    course.throttle_us = [course.throttle_us[0]]
    asks_s, from_s = course.end_s + 1.0, course.end_s + READY_S
    course.load_nm = stream(drive, from_s, way)
    for _ in range(2):
        course.step(asks_s, stick.demand(way, 1.0))
        course.step(asks_s + 1.0, stick.neutral_us)
        asks_s += 1.0 + BRAKED_S
    course.end_s = round(asks_s - BRAKED_S, 4)
    return course


def _against(course: Course, drive: Drive, stick: Stick, way: int) -> Course:
    """The boat drifts slowly, and is asked to go the other way: to stop the water's rotor, and start it."""
    course.throttle_us = [course.throttle_us[0]]
    course.load_nm = stream(drive, course.end_s + READY_S, 1 - way, SLOW_SHARE)
    course.aside = True
    course.step(course.end_s + 1.0, stick.demand(way, 1.0))
    course.end_s = round(course.end_s + 1.0 + GIVES_UP_S, 4)
    return course


def _flicked(draws: Draws, course: Course, drive: Drive, stick: Stick, way: int) -> Course:
    """The water turns the rotor as the stick asks, but for a few frames only: then it asks otherwise."""
    course.throttle_us = [course.throttle_us[0]]
    asks_s = course.end_s + 1.0
    course.aside, course.frame_ms = True, FLICKED_MS
    course.load_nm = stream(drive, course.end_s + READY_S, way, SLOW_SHARE)
    course.step(asks_s, stick.demand(way, 1.0))
    course.step(asks_s + (2 + draws.index("frames", 2)) * FLICKED_MS / 1000.0, stick.demand(1 - way, 1.0))
    course.end_s = round(asks_s + 0.8, 4)
    return course
