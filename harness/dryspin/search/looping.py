"""Controller: an endless loop of the code while the windings are driven, and the way back from it."""

from dryspin.drive import Drive
from dryspin.search.course import SIZES, Course, Stick, armed_s, rite
from dryspin.search.draws import Draws
from dryspin.search.rehearsal import Rehearsal

BITE_S = 0.3
"""Until the watchdog must have bitten, whatever its time-out."""


def controller(draws: Draws, drive: Drive, frame_ms: float, rehearsal: Rehearsal) -> Course:
    """A run, rarely a reversal; the code loops at any instant of it; then the rite again, and a run."""
    stick = Stick(drive)
    course = rite(drive, draws, frame_ms, rehearsal)
    way = draws.index("way", 2)
    course.step(course.end_s, stick.demand(way, draws.pick("size", SIZES)))
    at_s = course.end_s + draws.pick("run", (0.6, 0.3, 0.8, 0.1, 1.0))
    if draws.index("turn", 4) == 1:
        course.step(at_s, stick.demand(1 - way, draws.pick("back", SIZES)))
        at_s += draws.pick("turned", (0.02, 0.1, 0.2))
    # Every phase of a carrier period is to be met.
    at_s += draws.index("loop ms", 50) / 1000.0 + draws.index("loop tenth", 10) / 10000.0
    course.fault("endless loop", at_s)
    at_s += BITE_S
    if draws.index("again", 2):
        course.step(at_s, stick.neutral_us)
        at_s += armed_s(drive, rehearsal, frame_ms)
        course.step(at_s, stick.demand(draws.index("again way", 2), 1.0))
        at_s += 0.3
    course.end_s = max(at_s + 0.1, 2.0)
    return course
