"""Electrical: what asks most of the parts: full stick on a heavy propeller, a reversal, a jam."""

from dryspin.drive import Drive
from dryspin.search.course import RUN_UP_S, Course, Stick, rite
from dryspin.search.draws import Draws
from dryspin.search.rehearsal import Rehearsal
from dryspin.search.stalling import ONSET_S

SIZES = (1.0, 0.9, 0.75)

JAM = 10000.0
"""Times the propeller's own torque: a full-speed rotor stands within an onset."""

THEN_JAMMED = 2
"""The kind of story in which something jams the rotor."""

JAMS = 2
"""So many at most, each in a demand of its own."""

LET_GO_S = 0.4
"""At neutral for long enough to be stopped, and to have let go of what came before."""

AGAIN_S = 1.3
"""Start and run-up, then full duty for long enough to be averaged."""


def electrical(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """A run at high stick for long enough to be extrapolated; then it goes on, turns round, or is jammed.

    What jams it is gone soon; the stick goes to neutral and asks for all again, sometimes into the next jam.
    """
    stick = Stick(drive)
    course = rite(drive, draws, frame_ms, rehearsal)
    way = draws.index("way", 2)
    course.step(course.end_s, stick.demand(way, draws.pick("size", SIZES)))
    course.begun(draws, course.end_s + RUN_UP_S)
    at_s = course.end_s + RUN_UP_S + draws.index("run", 5) * 0.05
    what = draws.index("then", 3)
    if what == 1:
        course.step(at_s, stick.demand(1 - way, draws.pick("back", SIZES)))
        at_s += RUN_UP_S
    elif what == THEN_JAMMED:
        at_s += draws.index("jam ms", 50) / 1000.0
        course.jam = ((0.0, 1.0),)
        for _ in range(1 + draws.index("jams more", JAMS)):
            trace = ((at_s, 1.0), (at_s + ONSET_S, JAM), (at_s + 0.12, JAM), (at_s + 0.14, 1.0))
            course.jam += tuple((round(t_s, 4), times) for t_s, times in trace)
            at_s += 0.5
            course.step(at_s, stick.neutral_us)
            course.step(at_s + LET_GO_S, stick.demand(way, 1.0))
            at_s += LET_GO_S + AGAIN_S
    course.end_s = max(at_s + 0.3, 2.0)
    return course
